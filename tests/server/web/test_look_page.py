"""The demo's page of the look, made from the stylesheet itself."""

import pytest
from django.urls import reverse

pytestmark = pytest.mark.django_db


def test_the_demo_shows_every_colour_of_the_stylesheet(client, settings, tmp_path):
    settings.DEMO_MAIL_DIR = str(tmp_path)
    page = client.get(reverse("look")).content.decode()
    assert page.count('fill="var(--') >= 9 and 'fill="var(--accent)"' in page
    assert "#a2340c" in page and "#f2976b" in page
    assert page.count("<svg") >= 12


def test_there_is_no_such_page_elsewhere(client, settings):
    settings.DEMO_MAIL_DIR = ""
    assert client.get(reverse("look")).status_code == 404

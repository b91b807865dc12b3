import pytest
from django.template.loader import render_to_string
from django.test import Client
from django.urls import reverse

from tests.server.web.pages import at, words

pytestmark = pytest.mark.django_db


def test_a_page_that_is_not_there_says_so_in_our_look(browser):
    page = browser().get("/nothing/here/")
    assert page.status_code == 404 and "There is nothing at this address" in words(page)
    assert "flyround.css" in page.content.decode()


def test_what_a_role_does_not_include_is_told_with_whom_to_ask(browser, ben, northfield):
    page = browser(ben).get(at("people", northfield))
    assert page.status_code == 403 and "Ask the owner or the adviser to do it." in words(page)


def test_a_form_from_elsewhere_is_refused_with_what_to_do(anna):
    client = Client(enforce_csrf_checks=True)
    client.force_login(anna)
    page = client.post(reverse("set_language"), {"language": "es"})
    assert page.status_code == 403 and "Nothing was stored." in words(page)


def test_a_fault_of_ours_is_told_without_a_request_to_draw_from():
    page = render_to_string("500.html")
    assert "It is our fault and not yours." in page and " style=" not in page


def test_pages_of_a_farm_are_kept_by_no_cache(browser, anna, northfield):
    page = browser(anna).get(at("farm", northfield))
    assert "no-store" in page["Cache-Control"] and "Cookie" in page["Vary"]

"""How long records are kept: told to every farm, set by the group's coordinator alone."""

import pytest
from django.urls import reverse

from farms.models import GroupRetention
from tests.cast import as_factory
from tests.server.web.pages import at, words

pytestmark = pytest.mark.django_db
USUAL = {"notes": "36", "photos": "24", "applicators": "36", "mails": "24", "log": "24"}


def test_everybody_of_a_farm_reads_it(browser, anna, ben, dana, northfield):
    ben_reads = browser(ben)
    for client in (browser(anna), browser(dana)):
        told = words(client.get(at("farm_kept", northfield)))
        assert "Notes on rounds, matters, calls and work 36 months" in told
        assert "Counts, rounds, work, plans, results, applications for as long as the farm is here" in told
    assert "36" in words(ben_reads.get(at("farm_kept", northfield)))


def test_the_coordinator_sets_it_and_farms_are_told(browser, anna, dana, erik, northfield):
    page = reverse("group_kept", args=[northfield.group_id])
    assert "Set other times" in words(browser(erik).get(page))
    assert "Set other times" not in words(browser(dana).get(page))
    assert browser(dana).post(page, USUAL).status_code == 403
    refused = browser(erik).post(page, USUAL | {"applicators": "12"})
    assert refused.status_code == 422 and "Choose 24 months or more" in words(refused)
    with as_factory():
        assert not GroupRetention.objects.exists()
    assert browser(erik).post(page, USUAL | {"notes": "", "log": "60"}).status_code == 302
    told = words(browser(anna).get(at("farm_kept", northfield)))
    assert "calls and work for as long as the farm is here" in told and "who came in 60 months" in told
    assert "lines of who came in, 60 months (Erik)" in words(browser(erik).get(page))

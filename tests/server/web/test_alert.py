"""An open matter's page, a level tried on the last season, and the pages of a group's rules."""

import pytest
from django.urls import reverse

from alerts.models import AlertEvent, GroupRule
from farms.models import Farm, Group
from tests.alerts.scene import alerts, check, count_week, monday
from tests.cast import as_factory
from tests.server.web.pages import at, words

pytestmark = pytest.mark.django_db(transaction=True, databases="__all__")


@pytest.fixture
def matter(group: Group, northfield: Farm, cards):
    count_week(cards, monday(7), [150] * 5)
    check(group, monday(7))
    return alerts(northfield, rule="over")[0]


def test_it_is_taken_on_with_a_word_and_put_off(browser, ben, northfield, matter):
    client, address = browser(ben), at("alert", northfield, alert_id=matter.id)
    page = words(client.post(address, {"act": "note", "note": "Clearing the pens."}, follow=True))
    assert "Clearing the pens." in page
    page = words(client.post(address, {"act": "later", "until": "2026-06-10"}, follow=True))
    assert "to Wednesday, June 10" in page
    with as_factory():
        kinds = AlertEvent.objects.filter(alert_id=matter.id).order_by("at", "id").values_list("kind", flat=True)
        assert list(kinds) == ["opened", "acknowledged", "snoozed"]


def test_a_day_that_is_too_far_keeps_what_was_typed(browser, anna, northfield, matter):
    answer = browser(anna).post(at("alert", northfield, alert_id=matter.id), {"act": "later", "until": "2027-06-10"})
    assert answer.status_code == 422
    assert "Choose a day from 2026-06-02 to 2026-07-31" in words(answer)
    assert 'value="2027-06-10"' in answer.content.decode()


def test_a_matter_of_how_they_hang_says_what_to_look_at(browser, anna, northfield, matter):
    (siting,) = alerts(northfield, rule="siting")
    page = words(browser(anna).get(at("alert", northfield, alert_id=siting.id)))
    assert "Only 2 traps hang there (Free-stall barn): five or more say more." in page
    assert "the label and local rules decide where they may hang" in page


def test_carla_finds_no_matter_here(browser, carla, northfield, matter):
    address = at("alert", northfield, alert_id=matter.id)
    assert browser(carla).get(address).status_code == 404
    assert browser(carla).post(address, {"act": "seen"}).status_code == 404


def test_a_level_is_tried_and_nothing_is_changed(browser, anna, northfield, matter):
    address = at("levels", northfield)
    page = words(browser(anna).get(f"{address}?try_method=card&try_facility=&try_value=200"))
    assert "with an action level of 200: 0 alerts over the level. By the levels of then there was 1." in page
    page = words(browser(anna).get(f"{address}?try_method=card&try_facility=&try_value=120"))
    assert "May 25 not before the end 150" in page
    assert "Type a number above 0." in words(browser(anna).get(f"{address}?try_method=card&try_value=-1"))


class TestAGroupsRules:
    def test_are_changed_by_its_coordinator_and_read_by_its_farms(self, browser, erik, anna, group, northfield):
        assert "round overdue on days without a round: 10" in words(
            browser(anna).get(reverse("rules", args=[group.id]))
        )
        address = reverse("rule", args=[group.id, "overdue"])
        sent = {"is_on": "on", "days": "14", "valid_from": "2026-06-01", "reason": "every ten days"}
        page = words(browser(erik).post(address, sent, follow=True))
        assert "days without a round: 14" in page
        with as_factory():
            assert GroupRule.objects.get().numbers == {"days": 14.0}

    def test_a_number_outside_is_told_beside_its_field(self, browser, erik, group, northfield):
        address = reverse("rule", args=[group.id, "overdue"])
        sent = {"is_on": "off", "days": "3", "valid_from": "2026-06-01", "reason": "x"}
        answer = browser(erik).post(address, sent)
        assert answer.status_code == 422
        assert "Choose one from 8 to 30." in words(answer)

    def test_nobody_else_changes_them(self, browser, anna, carla, erik, group, northfield):
        address = reverse("rule", args=[group.id, "overdue"])
        assert browser(anna).get(address).status_code == 403
        assert browser(carla).get(address).status_code == 404
        assert browser(erik).get(reverse("rule", args=[group.id, "moon"])).status_code == 404

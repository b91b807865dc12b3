"""Planning a visit asks where the adviser was before and shows the rules; the farm sees what is planned."""

import pytest
from django.urls import reverse

from farms.models import PlannedVisit
from tests.cast import as_factory
from tests.server.web.pages import at, words

pytestmark = pytest.mark.django_db
PLAN = {"kind": "visit", "day": "2026-06-09", "last_farm": "Hollow Creek", "last_on": "2026-05-29"}


def test_an_adviser_plans_a_visit_and_the_farm_sees_it(browser, anna, ben, dana, northfield):
    page = words(browser(dana).get(at("visits", northfield)))
    assert "Last farm visited, when?" in page and "Nothing but people goes from farm to farm" in page
    assert browser(dana).post(at("visits", northfield), PLAN).status_code == 302
    for user in (anna, ben):
        told = words(browser(user).get(at("farm", northfield)))
        assert "Visit, Tuesday, June 9 · Dana" in told and "Rules for visits" in told
        shown = words(browser(user).get(at("visits", northfield)))
        assert "Hollow Creek" not in told + shown and "Plan it" not in shown
    assert "Last farm visited: Hollow Creek, May 29. Only you see this." in words(
        browser(dana).get(at("visits", northfield))
    )


def test_while_the_farm_is_closed_it_is_a_call(browser, anna, dana, northfield):
    browser(dana).post(at("visits", northfield), PLAN)
    browser(anna).post(at("closure", northfield), {"from_on": "2026-06-02"})
    told = words(browser(dana).get(at("visits", northfield)))
    assert "Call, Tuesday, June 9" in told and "Planned as a visit; the farm is closed to visits that day" in told
    monday = words(browser(dana).get(reverse("monday")))
    assert "Northfield: Call, Tuesday, June 9" in monday and "Rules for visits" in monday
    browser(anna).post(at("closure_lift", northfield), {"from_on": "2026-06-09"})
    assert "Northfield: Visit, Tuesday, June 9" in words(browser(dana).get(reverse("monday")))


def test_it_is_taken_back_and_the_last_farm_erased(browser, anna, dana, northfield):
    browser(dana).post(at("visits", northfield), PLAN)
    with as_factory():
        visit = PlannedVisit.objects.get()
    erase = at("erase_last_farm", northfield, planned_visit_id=visit.id)
    assert browser(dana).post(erase).status_code == 302
    assert "Hollow Creek" not in words(browser(dana).get(at("visits", northfield)))
    take_back = at("take_back_visit", northfield, planned_visit_id=visit.id)
    assert browser(anna).post(take_back).status_code == 403
    assert browser(dana).post(take_back).status_code == 302
    assert "Nothing is planned." in words(browser(dana).get(at("visits", northfield)))


def test_half_an_answer_is_asked_for_the_other_half(browser, dana, northfield):
    answer = browser(dana).post(at("visits", northfield), PLAN | {"last_on": ""})
    assert answer.status_code == 422 and "Say both" in words(answer)
    assert browser(dana).post(at("visits", northfield), PLAN | {"last_on": "", "last_farm": ""}).status_code == 302


def test_nobody_but_the_adviser_plans(browser, anna, ben, carla, erik, northfield):
    for user, status in ((anna, 403), (ben, 403), (carla, 404), (erik, 404)):
        assert browser(user).post(at("visits", northfield), PLAN).status_code == status
    with as_factory():
        assert not PlannedVisit.objects.exists()


def test_a_coordinator_writes_the_rules_and_the_group_reads_them(browser, anna, carla, dana, erik, group, northfield):
    page = reverse("visit_rules", args=[group.id])
    assert "Keep these rules" in words(browser(erik).get(page))
    assert browser(erik).post(page, {"text": "Clean boots.\nPark outside."}).status_code == 302
    for user in (anna, dana):
        told = words(browser(user).get(page))
        assert "Clean boots. Park outside." in told and "Keep these rules" not in told
        assert browser(user).post(page, {"text": "None."}).status_code == 403
        assert "Park outside." in words(browser(user).get(at("farm", northfield)))
    assert browser(erik).post(page, {"text": " "}).status_code == 422
    assert browser(carla).get(page).status_code == browser(carla).post(page, {"text": "None."}).status_code == 404
    assert browser().get(page).status_code == 302

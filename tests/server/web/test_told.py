"""The tick on the Monday list that a farm was told, and how."""

import pytest
from django.urls import reverse

from alerts.models import Told
from farms.models import User
from tests.alerts.scene import check, count_week, monday
from tests.cast import as_factory
from tests.server.web.pages import at, words

pytestmark = pytest.mark.django_db
BY_CALL = {"week": "2026-05-25", "how": "call", "told_on": "2026-06-01"}


@pytest.fixture
def untold(group, northfield, cards):
    with as_factory():
        User.objects.filter(name="Anna").update(email="anna@nowhere.invalid")
    count_week(cards, monday(7), [130, 140, 150, 160, 170])
    check(group, monday(7))
    return northfield


def test_the_adviser_ticks_it_and_takes_it_back(browser, dana, untold):
    client = browser(dana)
    page = words(client.get(reverse("monday")))
    assert page.index("Not told yet") < page.index("Northfield") and "Call first" not in page
    answer = client.post(at("told", untold), BY_CALL, follow=True)
    page = words(answer)
    assert "Northfield was told. What opened up to that week counts as seen." in page
    assert "Told by a call, Jun 1." in page and "Call first" in page and "Not told yet" not in page
    page = words(client.post(at("take_back_told", untold), {"week": "2026-05-25"}, follow=True))
    assert "Northfield was not told after all." in page and "Not told yet" in page


def test_a_refusal_is_told_on_the_list(browser, dana, untold):
    page = words(browser(dana).post(at("told", untold), BY_CALL | {"told_on": "2026-06-02"}, follow=True))
    assert "A week is told when it is over." in page
    assert "Not told yet" in words(browser(dana).post(at("told", untold), {}, follow=True))


def test_a_farm_that_gets_mail_has_no_tick(browser, dana, group, northfield, cards):
    count_week(cards, monday(7), [130, 140, 150, 160, 170])
    check(group, monday(7))
    assert "Not told yet" not in words(browser(dana).get(reverse("monday")))


def test_nobody_else_notes_it(browser, anna, ben, carla, erik, untold):
    for user, status in ((anna, 403), (ben, 403), (carla, 404), (erik, 404)):
        assert browser(user).post(at("told", untold), BY_CALL).status_code == status
    with as_factory():
        assert not Told.objects.exists()

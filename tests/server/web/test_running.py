"""The page that tells how the service runs: to a group's coordinators, and to the office of all groups."""

import re
from datetime import timedelta

import pytest
from django.urls import reverse

from alerts import monday as a_monday
from alerts.delivery import outbox
from alerts.models import CheckFailure, CheckRun, Running
from farms import services
from farms.models import Group, GroupMember
from server import tasks
from server.web.running import error_in_words
from tests.alerts.scene import check_time, monday
from tests.alerts.test_running import break_for, note, owned, run_monday  # noqa: F401  owned is a fixture
from tests.cast import NOW, acting, as_factory, as_role, make_user
from tests.server.web.pages import words

pytestmark = pytest.mark.django_db(transaction=True, databases="__all__")
MONDAY = check_time(monday(0))


def page_of(group):
    return reverse("running", args=[group.id])


@pytest.fixture
def at(standing_clock):
    def moment(now):
        standing_clock.write_text(now.isoformat())

    moment(MONDAY)
    return moment


@pytest.fixture
def judged(group, owned, at):  # noqa: F811
    run_monday(group, MONDAY)
    with as_role("worker"):
        outbox.send_due(MONDAY)
    return note(MONDAY, group)


@pytest.fixture
def office(db):
    return make_user("Olive", is_staff=True)


@pytest.fixture
def aside(group, owned, southmead, at, monkeypatch):  # noqa: F811
    """Southmead can't be judged."""
    with monkeypatch.context() as patch:
        break_for(southmead, patch)
        run_monday(group, MONDAY)
    return note(MONDAY, group)


def test_where_all_is_well_it_says_so_at_once(browser, erik, group, judged):
    page = words(browser(erik).get(page_of(group)))
    assert "All is well: the week of April 6 was judged, and no mail waits." in page
    assert "last heard on Apr 13, 05:30" in page  # the group's own time
    assert "The week of April 13 comes next: on Apr 20, 05:00." in page
    assert "farms to judge 1 judged 1 failed 0 farms with a mail 1 of 1" in page
    assert "wait 0 being sent 0 sent, week of April 6 3 refused, week of April 6 0" in page
    assert re.search(r"Apr 6 done began Apr 13, 05:30, took \d+ s 1 0", page)
    assert "None. A farm whose week cannot be judged would stand here" in page


def test_a_week_that_is_late_and_a_silent_bell_are_told_first(browser, erik, group, judged, at):
    at(judged.due_at + timedelta(hours=3))
    page = words(browser(erik).get(page_of(group)))
    assert "All is well" not in page
    assert "Not all is well. The bell was last heard 1 week ago: checks and mails may stand still." in page
    assert "The check of the week of April 13 has been due for 3 hours and has not run." in page


def test_counts_that_do_not_match_and_what_waits_too_long(browser, erik, group, judged, at):
    with as_factory():
        Running.objects.update(
            to_judge=3, owed=2, settled_at=None, waiting=2, oldest_mail_at=MONDAY - timedelta(hours=9), imports=1,
            oldest_import_at=MONDAY - timedelta(hours=5),
        )  # fmt: skip
    page = words(browser(erik).get(page_of(group)))
    for sentence in (
        "1 of 3 farms of the newest week were judged or set aside with an error.",
        "1 of 2 farms have their mail of the newest week.",
        "2 mails wait, the oldest for 9 hours already.",
        "1 file waits to be stored, for 5 hours already.",
    ):
        assert sentence in page


def test_before_the_first_bell_it_says_that(browser, erik, group, at):
    page = words(browser(erik).get(page_of(group)))
    assert "The bell was not heard yet: checks and mails may stand still." in page
    assert "No week has been judged yet." in page


def test_a_run_that_stopped_tells_its_error_in_words_only(browser, erik, group, owned, at, monkeypatch):  # noqa: F811
    def stops(**_given):
        raise RuntimeError("Northfield: 61943")

    monkeypatch.setattr(a_monday, "run_group_week", stops)
    run_monday(group, MONDAY)
    note(MONDAY, group)
    page = words(browser(erik).get(page_of(group)))
    assert "Apr 6 due: an error in the service (RuntimeError) began Apr 13, 05:30" in page
    assert "61943" not in page and "Northfield" not in page


@pytest.mark.parametrize(
    ("stored", "told"),
    [
        ("", ""),
        ("OperationalError: the server closed", "the database did not answer"),
        ("RunLost: The run of ...", "another worker took it over"),
        ("ValueError: Northfield", "an error in the service (ValueError)"),
        ("Northfield had 12", "an error in the service"),
        (
            "Region reports were not published. KeyError: 'x'",
            "region reports were not published: an error in the service (KeyError)",
        ),
        (
            "Lists or reports were not all written. ValueError: Northfield",
            "Monday lists or coordinators' reports were not all written: an error in the service (ValueError)",
        ),
        (
            "Region reports were not published. KeyError: 'x'\nLists or reports were not all written. ValueError: y",
            (
                "region reports were not published: an error in the service (KeyError); Monday lists or coordinators' "
                "reports were not all written: an error in the service (ValueError)"
            ),
        ),
    ],
)
def test_an_error_is_told_by_its_kind(stored, told):
    assert error_in_words(stored) == told


class TestFarmsSetAside:
    def test_a_coordinator_who_may_see_none_is_told_how_many(self, browser, erik, group, aside):
        page = words(browser(erik).get(page_of(group)))
        assert "1 farm is set aside. Its name and its error are told to whoever may see the farm." in page
        assert "The next try is on Apr 13, 06:30." in page
        assert "All is well" not in page
        assert (
            "The week of April 6 was judged; 1 farm is set aside with an error, and is tried again by itself." in page
        )
        assert "Southmead" not in page and "invented fault" not in page

    def test_who_may_see_the_farm_by_its_consent_is_told_its_name(self, browser, group, southmead, carla, aside):
        both = make_user("Freya")
        with as_factory():
            for role in ("coordinator", "adviser"):
                GroupMember.objects.create(group=group, user=both, role=role)
        with acting(carla):
            services.give_consent(farm=southmead, kind="adviser", adviser=both, by=carla, now=NOW)
        page = words(browser(both).get(page_of(group)))
        assert "Southmead Week of April 6: an error in the service (ValueError) Apr 13, 06:30" in page
        assert "invented fault" not in page and "that you may not see" not in page

    def test_the_coordinator_lets_them_be_tried_again_and_the_worker_does_it(self, browser, erik, group, aside, at):
        client, later = browser(erik), MONDAY + timedelta(minutes=10)
        at(later)
        note(later, group)
        page = words(client.post(reverse("try_again", args=[group.id]), follow=True))
        assert "The farms set aside are tried again within a few minutes." in page
        assert "Another try was asked for at 05:40" in page
        assert "Try the farms set aside again now" not in page
        with as_role("worker"):
            tasks.watch()
            assert CheckFailure.objects.get().retry_at == later
            a_monday.judge_again(group, later)
            tasks.watch()
        page = words(client.get(page_of(group)))
        assert "None. A farm whose week cannot be judged" in page

    def test_where_none_is_set_aside_there_is_nothing_to_try(self, browser, erik, group, judged):
        client = browser(erik)
        assert "Try the farms" not in words(client.get(page_of(group)))
        page = words(client.post(reverse("try_again", args=[group.id]), follow=True))
        assert "No farm is set aside: there is nothing to try again." in page
        assert Running.objects.get().retry_asked_at is None


class TestDoors:
    def test_carla_and_others_of_the_group_do_not_come_in(
        self, browser, anna, ben, dana, carla, group, southmead, aside
    ):  # fmt: skip
        stranger = make_user("Stella")
        for user, code in ((anna, 403), (ben, 403), (dana, 403), (carla, 403), (stranger, 404)):
            client = browser(user)
            assert client.get(page_of(group)).status_code == code
            assert client.post(reverse("try_again", args=[group.id])).status_code == code
            assert client.get(reverse("running_everywhere")).status_code == 404
        assert Running.objects.get().retry_asked_at is None

    def test_another_groups_coordinator_finds_nothing(self, browser, erik, group, aside):
        with as_factory():
            other = Group.objects.create(name="Hill Advisers", slug="hill")
        note(MONDAY, other)
        client = browser(erik)
        assert client.get(page_of(other)).status_code == 404
        assert client.post(reverse("try_again", args=[other.id])).status_code == 404

    def test_nobody_is_asked_to_sign_in(self, browser, group):
        for address in (page_of(group), reverse("running_everywhere")):
            assert browser().get(address).status_code == 302

    def test_the_page_only_shows_and_the_button_only_sends(self, browser, erik, group, aside):
        assert browser(erik).post(page_of(group)).status_code == 405
        assert browser(erik).get(reverse("try_again", args=[group.id])).status_code == 405


class TestOffice:
    def test_it_sees_every_group_at_one_glance_and_no_farm(self, browser, office, group, aside, at):
        with as_factory():
            Group.objects.create(name="Hill Advisers", slug="hill")
        note(MONDAY, group)
        page = words(browser(office).get(reverse("running_everywhere")))
        assert "In 2 groups every count matches, and nothing is late." in page
        assert "Hill Advisers No week has been judged yet. 0 farms judged" in page
        told = r"Valley Advisers Week of April 6: done, took \d+ s\. 1 farm judged · 1 set aside · 2 mails wait"
        assert re.search(told, page)
        assert "Southmead" not in page and "Northfield" not in page

    def test_it_is_told_which_group_needs_somebody(self, browser, office, group, judged, at):
        at(judged.due_at + timedelta(hours=3))
        with as_role("worker"):
            from alerts.checks.running import note_running

            note_running(judged.due_at + timedelta(hours=3))
        page = words(browser(office).get(reverse("running_everywhere")))
        assert "1 group needs somebody to look." in page
        assert "The check of the week of April 13 has been due for 3 hours and has not run." in page

    def test_a_silent_bell_is_told_before_the_groups(self, browser, office, group, judged, at):
        at(MONDAY + timedelta(minutes=30))
        page = words(browser(office).get(reverse("running_everywhere")))
        assert page.index("The bell was last heard 30 minutes ago") < page.index("Valley Advisers")

    def test_it_may_open_a_groups_page_and_not_press_its_button(self, browser, office, group, aside):
        page = words(browser(office).get(page_of(group)))
        assert "1 farm is set aside." in page and "Try the farms" not in page
        assert browser(office).post(reverse("try_again", args=[group.id])).status_code == 404

    def test_it_is_led_there(self, browser, office, erik, group, judged):
        assert reverse("running_everywhere") in browser(office).get(reverse("farms")).content.decode()
        assert reverse("running_everywhere") not in browser(erik).get(reverse("farms")).content.decode()
        assert page_of(group) in browser(erik).get(reverse("group", args=[group.id])).content.decode()


def test_another_run_is_counted_by_its_tries(browser, erik, group, judged):
    with as_factory():
        CheckRun.objects.update(attempts=3)
    assert re.search(r"took \d+ s, 3 tries", words(browser(erik).get(page_of(group))))

"""The adviser's Monday list: which farms to call first and why, and no farm that did not let the adviser in."""

import re
from datetime import date, timedelta
from email import message_from_bytes, policy
from typing import Any

import pytest
from django.db import OperationalError

from alerts import monday as a_monday
from alerts.delivery import coordinator_report, monday_list
from alerts.delivery.message import message_of
from alerts.delivery.monday_list import queue_monday_lists
from alerts.models import CheckFailure, CheckRun, CoordinatorReport, MondayList
from alerts.selectors import MondayRow, monday_rows
from farms import services
from farms.models import Consent, Farm, FarmClosure, Group, Region, RegionClosure, User
from farms.models.access import GroupRole
from monitoring.models import Station, Work
from tests.alerts.scene import FIRST, check, check_time, count_week, monday
from tests.cast import (
    NOW,
    acting,
    as_factory,
    as_role,
    make_facility,
    make_farm,
    make_group_member,
    make_stations,
    make_user,
)  # fmt: skip

pytestmark = pytest.mark.django_db
WEEK = monday(12)


def add_farm(name: str, region: Region, adviser: User, weeks: list[int | None]) -> Farm:
    """A farm with five cards in its calf barn, counted over the weeks up to `WEEK`; None: nobody counted."""
    owner = make_user(name.replace(" ", ""))
    farm = make_farm(name, region, owner)
    with acting(owner):
        services.give_consent(farm=farm, kind="adviser", adviser=adviser, by=owner, now=NOW)
    cards = make_stations(make_facility(farm, "Calf barn", "calf_barn"), "card", range(1, 6))
    for back, specks in enumerate(reversed(weeks)):
        if specks is not None:
            count_week(cards, WEEK - timedelta(weeks=back), [specks - 4, specks - 2, specks, specks + 2, specks + 4])
    return farm


@pytest.fixture
def rows(group: Group, region: Region, dana: User) -> dict[str, MondayRow]:
    """Six farms in six different states, judged week by week; the list in its order."""
    add_farm("Quiet Hill", region, dana, [30] * 8)
    add_farm("Just Over", region, dana, [90, 92, 91, 93, 90, 94, 92, 101])
    add_farm("On the Way", region, dana, [20, 24, 30, 36, 44, 52, 63, 75])
    add_farm("Sorrel Flats", region, dana, [98, 97, 66, 43, 27, None, None, None])
    hollow = add_farm("Hollow Creek", region, dana, [45, 46, 44, 46, 45, 62, 90, 130])
    add_farm("Far Over", region, dana, [150] * 8)
    with as_factory():
        Work.objects.create(
            farm=hollow, kind="clean_out", done_on=date(2026, 6, 18), actor_kind="farm_staff", recorded_at=NOW, entry=0
        )
    for number in range(13):
        check(group, monday(number))
    with acting(dana):
        return {row.farm.name: row for row in monday_rows(dana, WEEK)}


def test_call_first_comes_first_and_what_is_surely_over_and_rising_leads(rows: dict[str, MondayRow]):
    assert [(name, row.verdict.value) for name, row in rows.items()] == [
        ("Hollow Creek", "call"),
        ("Far Over", "call"),
        ("Just Over", "call"),
        ("On the Way", "call"),
        ("Sorrel Flats", "ask"),
        ("Quiet Hill", "fine"),
    ]


def test_each_line_says_why(rows: dict[str, MondayRow]):
    assert rows["Hollow Creek"].reasons == ("cards over", "third week up", "calf barn", "nothing noted since June 18")
    assert rows["Just Over"].reasons == ("cards over", "calf barn", "not certain", "no work noted")
    assert rows["On the Way"].reasons == ("cards near and rising", "up for 7 weeks", "no work noted")
    # Seen from Monday, July 6; the last round was on June 15.
    assert rows["Sorrel Flats"].reasons == ("no round for 21 days", "last seen falling")
    assert rows["Quiet Hill"].reasons == ("cards below",)


def test_a_line_that_only_rises_names_what_rises(group: Group, region: Region, dana: User):
    add_farm("Windrow Hill", region, dana, [10, 11, 10, 11, 10, 16, 24, 23, 36])
    add_farm("Old Orchard", region, dana, [10, 11, 12, 13, 14, 18, 26, 37])
    for number in range(13):
        check(group, monday(number))
    with acting(dana):
        found = {row.farm.name: row for row in monday_rows(dana, WEEK)}
    assert (found["Windrow Hill"].verdict, found["Windrow Hill"].reasons) == ("ask", ("cards rising",))
    assert found["Old Orchard"].reasons == ("cards rising", "up for 7 weeks")


def test_each_line_carries_its_figures(rows: dict[str, MondayRow]):
    hollow = rows["Hollow Creek"]
    assert re.fullmatch(r"130 specks a card \(1[12]\d to 1[34]\d\), level 100", hollow.numbers)
    assert (hollow.facility_name, hollow.level_word) == ("calf barn", "over")
    assert hollow.weeks == (45, 46, 44, 46, 45, 62, 90, 130)
    assert rows["Sorrel Flats"].weeks[-3:] == (None, None, None)
    assert {alert.rule for alert in rows["Sorrel Flats"].alerts} == {"overdue"}


def test_a_farm_whose_check_failed_is_to_be_asked(group: Group, region: Region, dana: User):
    farm = add_farm("Clearbrook", region, dana, [30])
    with as_factory():
        CheckFailure.objects.create(farm=farm, week=WEEK, error="?", failed_at=NOW, retry_at=NOW)
    with acting(dana):
        (row,) = monday_rows(dana, WEEK)
    assert (row.verdict, row.reasons) == ("ask", ("the check failed here and is tried again",))


def test_half_the_cards_lost_is_to_be_asked(group: Group, region: Region, dana: User):
    farm = add_farm("Clearbrook", region, dana, [])
    with as_factory():
        cards = list(Station.objects.filter(farm=farm).order_by("number"))
    count_week(cards, WEEK, [30, 30, "lost", "lost", "wet"])
    check(group, WEEK)
    with acting(dana):
        (row,) = monday_rows(dana, WEEK)
    assert (row.verdict, row.reasons) == ("ask", ("3 of 5 without a count",))


def test_only_farms_that_let_the_adviser_in_are_on_it(
    group: Group, northfield: Farm, southmead: Farm, cards: list[Station], dana: User, carla: User
):
    check(group, FIRST)
    with as_role("worker"):
        # The worker sees every farm; the list must not.
        assert [row.farm.name for row in monday_rows(dana, FIRST)] == ["Northfield"]
        assert monday_rows(carla, FIRST) == []


def close(farm: Farm, user: User) -> None:
    with as_factory():
        FarmClosure.objects.create(farm=farm, closed=True, from_on=date(2026, 7, 1), set_by=user, set_at=NOW, entry=0)


def test_a_farm_that_is_closed_to_visits_keeps_its_place_and_says_so(rows: dict[str, MondayRow], dana: User):
    close(rows["Hollow Creek"].farm, dana)
    with acting(dana):
        told = monday_rows(dana, WEEK)
        before = monday_rows(dana, WEEK, day=date(2026, 6, 30))
    assert [row.farm.name for row in told] == list(rows)
    assert [(row.verdict, row.weeks) for row in told] == [(row.verdict, row.weeks) for row in rows.values()]
    assert told[0].reasons == (*rows["Hollow Creek"].reasons, "call, don't visit") and told[0].closed
    assert [row.reasons for row in told[1:]] == [row.reasons for row in list(rows.values())[1:]]
    assert not any(row.closed for row in before)


def test_the_farms_of_a_closed_region_say_so(rows: dict[str, MondayRow], region: Region, erik: User, dana: User):
    with as_factory():
        RegionClosure.objects.create(region=region, closed=True, from_on=date(2026, 7, 6), set_by=erik, set_at=NOW)
    with acting(dana):
        assert all(row.reasons[-1] == "call, don't visit" for row in monday_rows(dana, WEEK))


class TestTheMail:
    def write(self, group: Group) -> list[MondayList]:
        with as_role("worker"):
            queue_monday_lists(group, week=WEEK, now=check_time(WEEK))
        with as_factory():
            return list(MondayList.objects.select_related("recipient").order_by("recipient__name"))

    def test_one_an_adviser_with_farms_and_none_without(self, group: Group, rows: dict[str, MondayRow], dana: User):
        make_group_member("Fred", group, GroupRole.ADVISER)
        (mail,) = self.write(group)
        (again,) = self.write(group)
        assert (mail.recipient, mail.id) == (dana, again.id)
        assert mail.subject == "4 farms to call, 1 to ask: week of June 29"

    def test_the_plain_text_is_a_line_a_farm_in_order(self, group: Group, rows: dict[str, MondayRow]):
        (mail,) = self.write(group)
        text = " ".join(mail.text.split())
        assert "Far Over · cards over · calf barn · no work noted · 150 specks a card" in text
        assert "CALL FIRST Hollow Creek · cards over · third week up · calf barn · nothing noted since June 18" in text
        assert (
            "ASK Sorrel Flats · no round for 21 days · last seen falling NOTHING PRESSING Quiet Hill · cards below"
            in text
        )

    def test_a_closed_farm_is_called_and_not_visited(self, group: Group, rows: dict[str, MondayRow], dana: User):
        close(rows["Hollow Creek"].farm, dana)
        (mail,) = self.write(group)
        assert "nothing noted since June 18 · call, don't visit · 130 specks" in " ".join(mail.text.split())
        assert mail.subject == "4 farms to call, 1 to ask: week of June 29"
        assert mail.text.count("call, don't visit") == 1

    def test_in_spanish_too(self, group: Group, rows: dict[str, MondayRow], dana: User):
        close(rows["Hollow Creek"].farm, dana)
        with as_factory():
            User.objects.filter(id=dana.id).update(language="es")
        (mail,) = self.write(group)
        assert "llamar, no visitar" in mail.text

    def test_its_picture_is_told_in_words(self, group: Group, rows: dict[str, MondayRow]):
        (mail,) = self.write(group)
        message = message_from_bytes(message_of([mail], now=NOW).message().as_bytes(), policy=policy.default)
        assert message.get_content_type() == "multipart/related"
        (words,) = re.findall(r' alt="([^"]+)"', message.get_body(("html",)).get_content())
        assert "Hollow Creek: 45, 46, 44, 46, 45, 62, 90, 130." in words

    def test_it_says_that_farms_are_not_to_be_compared(self, group: Group, rows: dict[str, MondayRow]):
        (mail,) = self.write(group)
        assert "Counts of different farms should not be compared" in " ".join(mail.text.split())

    def test_in_spanish_it_is_spanish(self, group: Group, rows: dict[str, MondayRow], dana: User):
        with as_factory():
            User.objects.filter(id=dana.id).update(language="es")
        (mail,) = self.write(group)
        text = " ".join(mail.text.split())
        assert mail.subject == "4 lecherías por llamar, 1 por preguntar: semana del 29 de junio"
        assert "LLAMAR PRIMERO" in text
        assert "Hollow Creek · tarjetas por encima · tercera semana en aumento · becerrera" in text
        english = r"\b(cards|over|week|level|noted|round|days|below|call|fine|specks|farms)\b"
        assert re.findall(english, text.replace("Far Over", "").replace("Just Over", ""), re.IGNORECASE) == []

    def test_a_farm_that_withdrew_is_gone_from_the_next_one(self, group: Group, rows: dict[str, MondayRow]):
        with as_factory():
            Consent.objects.filter(farm__name="Hollow Creek").update(withdrawn_at=NOW)
        (mail,) = self.write(group)
        assert "Hollow Creek" not in mail.text + mail.html


class TestAListThatCanNotBeWritten:
    """One adviser's fault is kept where it can be seen, tried again, and is nobody else's."""

    @pytest.fixture(autouse=True)
    def frida(self, group: Group, northfield: Farm, southmead: Farm, carla: User) -> User:
        frida = make_group_member("Frida", group, GroupRole.ADVISER)
        with acting(carla):
            services.give_consent(farm=southmead, kind="adviser", adviser=frida, by=carla, now=NOW)
        return frida

    @staticmethod
    def break_list(of: User, error: Exception, monkeypatch: pytest.MonkeyPatch) -> None:
        def fails(adviser: User, *args: Any, **options: Any) -> list[MondayRow]:
            if adviser.id == of.id:
                raise error
            return monday_rows(adviser, *args, **options)

        monkeypatch.setattr(monday_list, "monday_rows", fails)

    @staticmethod
    def readers() -> set[str]:
        with as_factory():
            return set(MondayList.objects.values_list("recipient__name", flat=True))

    @staticmethod
    def run_of(group: Group) -> CheckRun:
        return CheckRun.objects.filter(group=group).latest("week")

    @pytest.mark.parametrize("of", ["dana", "frida"])
    def test_stops_no_other_is_told_on_the_run_and_written_by_a_later_tick(
        self, group: Group, frida: User, dana: User, of: str, monkeypatch: pytest.MonkeyPatch
    ):
        now = check_time(FIRST)
        with monkeypatch.context() as broken, as_role("worker"):
            self.break_list({"dana": dana, "frida": frida}[of], ValueError("an invented fault"), broken)
            assert a_monday.check_group(group, now) == [FIRST]
            a_monday.judge_again(group, now + timedelta(minutes=5))
        assert self.readers() == {"Dana", "Frida"} - {of.capitalize()}
        run = self.run_of(group)
        assert run.state == "done"
        assert run.error.endswith("Lists or reports were not all written. ValueError: an invented fault")
        with as_role("worker"):
            a_monday.judge_again(group, now + timedelta(minutes=10))
        assert self.readers() == {"Dana", "Frida"}
        assert "Lists" not in self.run_of(group).error

    def test_of_a_week_that_is_no_longer_the_newest_is_told_and_not_written_any_more(
        self, group: Group, frida: User, monkeypatch: pytest.MonkeyPatch
    ):
        with monkeypatch.context() as broken, as_role("worker"):
            self.break_list(frida, ValueError("an invented fault"), broken)
            a_monday.check_group(group, check_time(FIRST))
        with as_role("worker"):
            a_monday.judge_again(group, check_time(monday(1)))
        assert self.readers() == {"Dana"}
        assert "Lists or reports were not all written." in self.run_of(group).error

    def test_the_database_is_no_advisers_fault(self, group: Group, frida: User, monkeypatch: pytest.MonkeyPatch):
        self.break_list(frida, OperationalError("terminating connection"), monkeypatch)
        with as_role("worker"):
            assert a_monday.check_group(group, check_time(FIRST)) == []
        run = self.run_of(group)
        assert (run.state, run.error) == ("due", "OperationalError: terminating connection")

    def test_a_coordinators_report_is_no_obstacle_either(
        self, group: Group, erik: User, monkeypatch: pytest.MonkeyPatch
    ):
        with monkeypatch.context() as broken, as_role("worker"):
            broken.setattr(coordinator_report, "report_of", lambda *_: 1 / 0)
            assert a_monday.check_group(group, check_time(FIRST)) == [FIRST]
        assert "Lists or reports were not all written. ZeroDivisionError" in self.run_of(group).error
        with as_role("worker"):
            a_monday.judge_again(group, check_time(FIRST) + timedelta(minutes=5))
        with as_factory():
            assert CoordinatorReport.objects.get().recipient == erik

"""The mail between two Mondays: where something crossed its action level sharply, once, and never where it wobbles."""

import re
from datetime import UTC, datetime, time, timedelta
from email import message_from_bytes, policy

import numpy as np
import pytest
from django.core import mail as django_mail

from alerts.delivery import midweek, outbox
from alerts.delivery.digest import queue_digests
from alerts.delivery.letter import Letter
from alerts.delivery.message import message_of
from alerts.delivery.missed_sentences import weeks_last_told
from alerts.models import Alert, CheckFailure, CheckRun, Digest
from alerts.models.mail_choice import ChoiceWay
from alerts.monday import judge_again
from alerts.selectors.mail_choices import subscription_for
from alerts.services import choose_how_often
from farms.models import Farm, Group, Membership, Region, Season, User
from farms.models.access import FarmRole
from monitoring.models import Station, Work
from monitoring.selectors import round_ranges
from tests.alerts.between_mondays import (
    FRIDAY,
    HIGH,
    JUDGED,
    SHARP_LEGS,
    WEEK,
    barn_of,
    look,
    noon,
    queries_of_a_look,
    walk,
    written,
)
from tests.alerts.scene import check, check_time, count_week, monday, result
from tests.cast import NOW, acting, as_factory, as_role, make_facility, make_farm, make_stations, make_user

pytestmark = pytest.mark.django_db


@pytest.fixture
def quiet(group: Group, northfield: Farm, cards: list[Station]) -> None:
    """The week before was judged, and was below the level of 100."""
    count_week(cards, JUDGED, [60, 50, 70, 40, 55])
    check(group, JUDGED)


@pytest.mark.usefixtures("quiet")
class TestWhen:
    def test_a_sharp_crossing_makes_one_mail_an_owner(
        self, group: Group, northfield: Farm, cards: list[Station], anna: User
    ):
        walk(cards, FRIDAY, HIGH)
        (mail,) = look(group)
        assert (mail.recipient, mail.occasion, mail.needs_a_look) == (anna, "2026-W23-midweek", True)
        assert mail.subject == "Northfield: cards far over your action level in the calf barn, round of June 5"

    def test_looking_again_and_another_round_make_no_second(self, group: Group, cards: list[Station]):
        walk(cards, FRIDAY, HIGH)
        look(group)
        walk(cards, FRIDAY + timedelta(days=1), HIGH, days=8)
        assert len(look(group, noon(FRIDAY + timedelta(days=1), 19))) == 1

    def test_a_crashed_look_loses_nothing(self, group: Group, cards: list[Station], monkeypatch: pytest.MonkeyPatch):
        walk(cards, FRIDAY, HIGH)
        with monkeypatch.context() as broken:
            broken.setattr("alerts.delivery.midweek.queue", lambda mails: 1 / 0)
            with pytest.raises(ZeroDivisionError):
                look(group)
        assert written() == []
        assert len(look(group)) == 1

    def test_a_mail_that_can_not_be_written_stops_no_other_and_is_tried_again(
        self, group: Group, northfield: Farm, southmead: Farm, cards: list[Station], monkeypatch: pytest.MonkeyPatch
    ):
        places = make_stations(make_facility(southmead, "Heifer barn", "heifer_barn"), "card", range(11, 16))
        for stations in (cards, places):
            walk(stations, FRIDAY, HIGH)
        written_of = midweek.letter_of

        def fails(told: midweek.Midweek) -> Letter:
            return written_of(told) if told.farm.id != northfield.id else 1 / 0  # type: ignore[return-value]

        with monkeypatch.context() as broken:
            broken.setattr(midweek, "letter_of", fails)
            assert [mail.farm_id for mail in look(group)] == [southmead.id]
        with as_factory():
            failure = CheckFailure.objects.get()
        assert (failure.farm_id, failure.week) == (northfield.id, JUDGED)
        assert failure.error.startswith("ZeroDivisionError")
        later = noon(FRIDAY, 20)
        with as_role("worker"):
            judge_again(group, later)
        assert {mail.farm_id for mail in look(group, later)} == {northfield.id, southmead.id}

    def test_a_round_that_the_last_look_could_not_see_is_found_by_the_next(self, group: Group, cards: list[Station]):
        """It was received a minute before that look, and stored after it."""
        look(group, noon(FRIDAY))
        walk(cards, FRIDAY, HIGH, received=noon(FRIDAY) - timedelta(minutes=1))
        assert len(look(group, noon(FRIDAY, 18))) == 1

    def test_what_was_looked_at_long_ago_is_not_looked_at_again(self, group: Group, cards: list[Station]):
        look(group, noon(FRIDAY, 20))
        walk(cards, FRIDAY, HIGH, received=noon(FRIDAY, 17))
        assert look(group, noon(FRIDAY, 21)) == []
        with as_factory():
            assert CheckRun.objects.get().looked_to == noon(FRIDAY, 21)

    def test_two_days_outage_lose_nothing(self, group: Group, cards: list[Station]):
        walk(cards, FRIDAY, HIGH)
        assert len(look(group, noon(FRIDAY + timedelta(days=2), 12))) == 1

    def test_the_sharp_one_of_two_rounds_before_a_look_is_not_lost(
        self, group: Group, northfield: Farm, cards: list[Station], leg_station: Station
    ):
        """Ben's cards, then Anna's legs, within one look's five minutes."""
        walk(cards, FRIDAY, HIGH)
        walk([leg_station], FRIDAY, [[1, 0, 2, 1, 0, 3, 1, 2, 0, 1]], received=noon(FRIDAY) + timedelta(minutes=2))
        (mail,) = look(group)
        assert mail.subject == "Northfield: cards far over your action level in the calf barn, round of June 5"

    def test_two_rounds_are_told_by_the_day_of_the_one_that_found_it(
        self, group: Group, cards: list[Station], leg_station: Station
    ):
        walk(cards, FRIDAY, HIGH, received=noon(FRIDAY, 16))
        walk([leg_station], FRIDAY + timedelta(days=1), [[1, 0, 2, 1, 0, 3, 1, 2, 0, 1]])
        assert look(group, noon(FRIDAY + timedelta(days=1), 18))[0].subject.endswith("round of June 5")

    def test_two_rounds_of_a_place_pool_as_a_weeks_do(self, group: Group, cards: list[Station]):
        walk(cards, FRIDAY, HIGH)
        walk(cards, FRIDAY + timedelta(days=1), [40] * 5, days=6)
        assert look(group, noon(FRIDAY + timedelta(days=1), 18)) == []  # 125 a card

    def test_a_round_older_than_three_days_waits_for_monday(self, group: Group, cards: list[Station]):
        walk(cards, WEEK + timedelta(days=2), HIGH, days=3)
        assert look(group, noon(WEEK + timedelta(days=6))) == []

    def test_nor_one_received_now_that_was_walked_before(self, group: Group, cards: list[Station]):
        walk(cards, WEEK + timedelta(days=2), HIGH, days=3, received=noon(WEEK + timedelta(days=6)))
        assert look(group, noon(WEEK + timedelta(days=6), 18)) == []

    def test_nothing_before_the_last_week_is_judged(self, group: Group, cards: list[Station]):
        day = FRIDAY + timedelta(days=7)
        walk(cards, day, HIGH)
        assert look(group, noon(day, 18)) == []

    def test_in_the_night_to_monday_the_check_tells_it(self, group: Group, cards: list[Station]):
        walk(cards, WEEK + timedelta(days=6), HIGH)
        before_five = datetime.combine(WEEK + timedelta(days=7), time(8), UTC)
        assert look(group, before_five) == []


class TestTheFirstLookOfAWeek:
    """It sees all that came in of its week, whenever the check ran."""

    @pytest.mark.parametrize("hour", [7, 14])  # 02:00 and 09:00 in Chicago
    @pytest.mark.parametrize("checked", [noon(WEEK, 10), noon(WEEK, 20)])
    def test_a_leg_count_of_monday_is_not_lost(
        self, group: Group, leg_station: Station, cards: list[Station], hour: int, checked: datetime
    ):
        count_week(cards, JUDGED, [60] * 5)
        walk([leg_station], WEEK, [SHARP_LEGS], received=noon(WEEK, hour))
        check(group, JUDGED, now=checked)
        (mail,) = look(group, max(checked, noon(WEEK, 14)) + timedelta(minutes=5))
        assert "legs far over your action level in the dry lot" in mail.subject

    def test_nor_that_of_a_farm_further_east_whose_monday_has_begun(
        self, group: Group, northfield: Farm, leg_station: Station
    ):
        with as_factory():
            Farm.objects.filter(id=northfield.id).update(time_zone="America/New_York")
        walk([leg_station], WEEK, [SHARP_LEGS], received=noon(WEEK, 4) + timedelta(minutes=30))
        check(group, JUDGED)
        assert len(look(group, check_time(JUDGED) + timedelta(minutes=5))) == 1


def test_a_look_takes_no_query_a_farm(group: Group, region: Region, cards: list[Station], anna: User):
    check(group, JUDGED)
    walk(cards, FRIDAY, HIGH)
    asked = [queries_of_a_look(group, noon(FRIDAY, 18))]
    for number in range(4):
        walk(barn_of(make_farm(f"Hill {number}", region, anna)), FRIDAY + timedelta(days=1), HIGH)
    asked.append(queries_of_a_look(group, noon(FRIDAY + timedelta(days=1), 18)))
    assert len(written()) == 5 and asked[0] == asked[1]


@pytest.mark.usefixtures("quiet")
class TestWhat:
    def test_its_range_is_that_of_the_weekly_check(
        self, group: Group, northfield: Farm, calf_barn, dry_lot, cards: list[Station], leg_station: Station
    ):
        read = walk(cards, FRIDAY, [200, 220, 90, 330, 210])
        legs = walk([leg_station], FRIDAY, [[22, 25, 0, 30, 24, 21, 26, 23, 28, 20]])
        with as_factory():
            own = round_ranges(read) | round_ranges(legs)
        check(group, WEEK)
        for facility, method in ((calf_barn, "card"), (dry_lot, "leg")):
            judged = result(northfield, WEEK, method, facility)
            assert own[facility.id, method] == pytest.approx((judged.low, judged.high))

    @pytest.mark.parametrize("counts", [[140] * 5, [149] * 5, [60] * 5])
    def test_less_than_half_above_the_level_does_not(self, group: Group, cards: list[Station], counts: list[int]):
        walk(cards, FRIDAY, counts)
        assert look(group) == []

    def test_half_above_it_does(self, group: Group, cards: list[Station]):
        walk(cards, FRIDAY, [150] * 5)
        assert len(look(group)) == 1

    def test_not_where_the_range_reaches_the_level(self, group: Group, cards: list[Station]):
        walk(cards, FRIDAY, [20, 30, 900, 40, 60])  # a mean of 210, by one card
        assert look(group) == []

    def test_nor_where_there_are_too_few_for_a_range(self, group: Group, cards: list[Station]):
        walk(cards[:2], FRIDAY, [300, 310])
        assert look(group) == []

    def test_leg_counts_have_theirs_from_the_animals(self, group: Group, leg_station: Station):
        walk([leg_station], FRIDAY, [SHARP_LEGS])
        (mail,) = look(group)
        assert "legs far over your action level in the dry lot" in mail.subject

    def test_the_groups_own_number_holds(self, group: Group, cards: list[Station], erik: User):
        from alerts.models import GroupRule

        with as_factory():
            GroupRule.objects.create(
                group=group, rule="over", is_on=True, numbers={"sharply": 3.0}, valid_from=WEEK, reason="?",
                set_by=erik, set_at=NOW,
            )  # fmt: skip
        walk(cards, FRIDAY, HIGH)
        assert look(group) == []

    def test_nothing_where_the_rule_is_off(self, group: Group, cards: list[Station], erik: User):
        from alerts.models import GroupRule

        with as_factory():
            GroupRule.objects.create(
                group=group, rule="over", is_on=False, numbers={}, valid_from=WEEK, reason="?", set_by=erik, set_at=NOW
            )
        walk(cards, FRIDAY, HIGH)
        assert look(group) == []

    def test_not_out_of_season(self, group: Group, northfield: Farm, cards: list[Station]):
        walk(cards, FRIDAY, HIGH)
        with as_factory():
            Season.objects.filter(farm=northfield).update(closes_on=FRIDAY - timedelta(days=1))
        assert look(group) == []

    def test_not_of_a_farm_that_the_check_set_aside(self, group: Group, northfield: Farm, cards: list[Station]):
        with as_factory():
            CheckFailure.objects.create(farm=northfield, week=JUDGED, error="?", failed_at=NOW, retry_at=NOW)
        walk(cards, FRIDAY, HIGH)
        assert look(group) == []

    def test_not_where_no_owner_has_an_address(self, group: Group, anna: User, cards: list[Station]):
        with as_factory():
            User.objects.filter(id=anna.id).update(email="anna@nowhere.invalid")
        walk(cards, FRIDAY, HIGH)
        assert look(group) == []

    def test_each_owner_and_no_recorder(self, group: Group, northfield: Farm, cards: list[Station], ben: User):
        zoe = make_user("Zoe", language="es")
        with as_factory():
            Membership.objects.create(farm=northfield, user=zoe, role=FarmRole.OWNER, began_at=NOW)
        walk(cards, FRIDAY, HIGH)
        assert [mail.recipient.name for mail in look(group)] == ["Anna", "Zoe"]


class TestKnownAlready:
    def test_not_where_the_judged_week_was_over(self, group: Group, northfield: Farm, cards: list[Station]):
        count_week(cards, JUDGED, [150] * 5)
        check(group, JUDGED)
        with as_factory():
            Alert.objects.update(closed_at=NOW, closed_week=JUDGED)
        walk(cards, FRIDAY, HIGH)
        assert look(group) == []

    def test_nor_where_a_matter_over_the_level_is_open(self, group: Group, northfield: Farm, cards: list[Station]):
        count_week(cards, monday(6), [150] * 5)
        check(group, monday(6))
        count_week(cards, JUDGED, [60] * 5)  # below, but a matter closes after two such weeks
        check(group, JUDGED)
        walk(cards, FRIDAY, HIGH)
        assert look(group) == []


def test_half_a_year_of_wobbling_about_the_level_makes_none(group: Group, northfield: Farm, cards: list[Station]):
    """Rounds within ten percent of the level of 100, below it and over it, week after week."""
    draw = np.random.default_rng(27)
    for number in range(26):
        day = monday(number) + timedelta(days=4)
        walk(cards, day, [int(each) for each in draw.integers(90, 111, 5)])
        if number:
            look(group, noon(day, 18))
        check(group, monday(number))
    assert written() == []
    with as_factory():
        assert CheckRun.objects.filter(looked_to__isnull=False).count() == 25


@pytest.mark.usefixtures("quiet")
class TestTheMail:
    def parsed(self, mail: Digest) -> tuple[str, str]:
        with as_role("worker"):
            raw = message_of([mail], now=NOW).message().as_bytes()
        message = message_from_bytes(raw, policy=policy.default)
        assert "/mail-choice/" in message["List-Unsubscribe"] and message["Auto-Submitted"] == "auto-generated"
        assert [part.get_content_type() for part in message.walk() if not part.is_multipart()] == [
            "text/plain", "text/html",
        ]  # fmt: skip
        plain, html = message.get_body(("plain",)), message.get_body(("html",))
        assert plain is not None and html is not None
        return plain.get_content(), html.get_content()

    def test_text_and_html_say_the_same(self, group: Group, northfield: Farm, calf_barn, cards: list[Station]):
        with as_factory():
            Work.objects.create(
                farm=northfield, facility=calf_barn, kind="clean_out", done_on=monday(6), recorded_at=NOW,
                actor_kind="farm_staff", entry=0,
            )  # fmt: skip
        walk(cards, FRIDAY, HIGH)
        (mail,) = look(group)
        text, html = self.parsed(mail)
        told = " ".join(text.split())
        shown = " ".join(re.sub(r"<[^>]+>", "", html).replace("&nbsp;", " ").split())
        for sentence in (
            "Cards in the calf barn: 210 specks a card (195 to 227).",
            "Over your action level of 100.",
            "That is 2.1 times the level, and the whole range is over it.",
            "In the week of May 25 it was 55 specks a card",
            "Worth a look in the calf barn: corners behind the pens",
            "Last noted: clean-out in the calf barn, May 18.",
            "This mail did not wait for Monday",
            "Before any spray, pour-on or bait, the label, local rules and licensed people decide.",
            "You get this mail as an owner of Northfield.",
        ):
            assert sentence in told, sentence
            assert sentence in shown.replace("&#x27;", "'"), sentence

    @pytest.mark.parametrize(
        ("how_often", "state"), [("when_needed", "sent"), ("every_week", "sent"), ("none", "unwanted")]
    )
    def test_as_often_as_its_reader_chose(
        self, group: Group, northfield: Farm, cards: list[Station], anna: User, how_often: str, state: str
    ):
        with acting(anna):
            choose_how_often(
                subscription=subscription_for(anna, "digest", northfield.id), by=anna, how_often=how_often,
                way=ChoiceWay.PAGE, now=NOW,
            )  # fmt: skip
        walk(cards, FRIDAY, HIGH)
        look(group)
        with as_role("worker"):
            assert dict(outbox.send_due(noon(FRIDAY, 18))) == {state: 1}
        assert len(django_mail.outbox) == (state == "sent")

    def test_an_owner_of_two_farms_gets_one_message(
        self, group: Group, region: Region, northfield: Farm, cards: list[Station], anna: User
    ):
        other = make_farm("Fallow", region, anna)
        walk(barn_of(other), FRIDAY, HIGH)
        walk(cards, FRIDAY, HIGH)
        mails = look(group)
        assert [mail.occasion for mail in mails] == ["2026-W23-midweek"] * 2
        with as_role("worker"):
            subject = message_of(mails, now=NOW).subject
            assert dict(outbox.send_due(noon(FRIDAY, 18))) == {"sent": 1}
        assert subject.startswith("Fallow: cards far over") and subject.endswith("week of June 1")

    def test_the_weekly_mail_of_the_same_week_comes_all_the_same(
        self, group: Group, northfield: Farm, cards: list[Station]
    ):
        walk(cards, FRIDAY, HIGH)
        look(group)
        check(group, WEEK)
        with as_role("worker"):
            # What was told between Mondays is no weekly mail: the week before still counts as not told.
            assert weeks_last_told([northfield.id], WEEK + timedelta(days=7)) == {}
            queue_digests(group, [northfield], week=WEEK, now=check_time(WEEK))
            assert weeks_last_told([northfield.id], WEEK + timedelta(days=7)) == {northfield.id: WEEK}
        with as_factory():
            assert sorted(Digest.objects.values_list("occasion", flat=True)) == ["2026-W23", "2026-W23-midweek"]

"""The weekly mail to a farm's owner: what it says, in whose language, and how it is put together."""

import re
from collections.abc import Callable
from datetime import date, datetime, timedelta
from email import message_from_bytes, policy
from email.message import EmailMessage

import pytest
from django.db import OperationalError

from alerts.checks.group_week import judge_late_readings
from alerts.delivery import digest
from alerts.delivery.digest import queue_digests
from alerts.delivery.message import message_of
from alerts.models import CheckFailure, Digest
from farms.models import Facility, Farm, Group, Membership, Region, User
from farms.models.access import FarmRole
from monitoring.models import Reading, Siting, Station, Work
from tests.alerts.scene import check, check_time, correct, count_week, monday
from tests.cast import NOW, as_factory, as_role, make_facility, make_farm, make_stations

pytestmark = pytest.mark.django_db
WEEK = monday(12)  # the week of June 29
Write = Callable[..., Digest]


@pytest.fixture
def write(group: Group) -> Write:
    """Write a farm's mail for a week as the check does, and give it back."""

    def written(farm: Farm, week: date = WEEK, now: datetime | None = None) -> Digest:
        with as_role("worker"):
            queue_digests(group, [farm], week=week, now=now or check_time(week))
        with as_factory():
            occasion = f"2026-W{week.isocalendar().week}"
            return Digest.objects.select_related("recipient").get(farm=farm, occasion=occasion)

    return written


@pytest.fixture
def rising(group: Group, northfield: Farm, cards: list[Station], traps: list[Station]) -> Farm:
    """Northfield's cards on the way up to 83 specks in the week of June 22; traps quiet; Card 2 hangs near water."""
    with as_factory():
        Siting.objects.filter(farm=northfield, station_id=cards[1].id).update(near="water")
    for number, specks in enumerate((20, 24, 33, 39, 50, 65, 83), start=5):
        count_week(cards, monday(number), [specks] * 5)
        count_week(traps, monday(number), [130, 150])
        check(group, monday(number))
    return northfield


@pytest.fixture
def over(group: Group, rising: Farm, cards: list[Station], traps: list[Station]) -> Farm:
    """... and over the level in the week of June 29, most of it on Cards 2 and 4; Card 3 was lost."""
    count_week(cards, WEEK, [40, 190, "lost", 220, 50])
    count_week(traps, WEEK, [130, 150])
    check(group, WEEK)
    return rising


def parsed(row: Digest) -> EmailMessage:
    message = message_from_bytes(message_of([row], now=check_time(WEEK)).message().as_bytes(), policy=policy.default)
    assert isinstance(message, EmailMessage)
    return message


def flat(text: str) -> str:
    """One line, so that wrapping doesn't matter."""
    return " ".join(text.split())


class TestHowItIsPutTogether:
    def test_text_and_html_are_alternatives_with_the_chart_beside_them(self, over: Farm, write: Write):
        message = parsed(write(over))
        assert message.get_content_type() == "multipart/related"
        alternatives, picture = message.iter_parts()
        assert alternatives.get_content_type() == "multipart/alternative"
        assert [part.get_content_type() for part in alternatives.iter_parts()] == ["text/plain", "text/html"]
        assert (picture.get_content_type(), picture.get_content_disposition()) == ("image/png", "inline")
        assert picture.get_content().startswith(b"\x89PNG\r\n")

    def test_the_html_names_the_picture_and_says_it_in_words(self, over: Farm, write: Write):
        message = parsed(write(over))
        html = message.get_body(("html",)).get_content()
        (named,) = re.findall(r'src="cid:([^"]+)"', html)
        assert list(message.iter_parts())[1]["Content-ID"] == f"<{named}>"
        (words,) = re.findall(r' alt="([^"]+)"', html)
        assert "Jun 22: 83; Jun 29: 125." in words
        assert "Action level 100" in words

    def test_the_html_holds_nothing_that_mail_programs_drop(self, over: Farm, write: Write):
        # One block of style, which only has dark's colours: what drops it shows the mail on light paper.
        html = re.sub(r"<style>.*?</style>", "", write(over).html, flags=re.DOTALL)
        refused = ("<style", "<script", "<link", "position:", "display:flex", "display:grid", "url(")
        assert [each for each in refused if each in html] == []
        assert re.findall(r'src="(?!cid:)', html) == []
        assert len(html) < 100_000  # longer ones are cut

    def test_sent_again_it_has_the_same_message_id(self, over: Farm, write: Write):
        row = write(over)
        assert parsed(row)["Message-ID"] == parsed(row)["Message-ID"] == f"<{row.id}@127.0.0.1>"
        assert parsed(row)["Auto-Submitted"] == "auto-generated"

    def test_a_farms_name_can_not_break_out(self, group: Group, region: Region, carla: User, write: Write):
        farm = make_farm("Mud & <b>Sons</b>\nBcc: x@example.org", region, carla)
        row = write(farm)
        assert "Bcc" not in parsed(row).keys()  # noqa: SIM118 - a message is no dictionary
        assert "<b>Sons</b>" not in row.html and "&lt;b&gt;Sons" in row.html


class TestWhatItSays:
    def test_the_week_against_the_level_with_what_is_not_certain(self, over: Farm, write: Write):
        text = flat(write(over).text)
        assert "Northfield: week of June 29 Cards: 125 specks a card (" in text
        assert "up from 83. Over your action level of 100. Not certain: the range reaches below it." in text
        assert "Up for 7 weeks running; over the last eight weeks about a quarter more each week." in text
        assert "Only 4 cards were counted: a rough figure." in text
        assert "Traps: 140 flies a trap, as before. Below your action level of 250." in text
        assert "Legs: not counted this week." in text

    def test_where_most_of_it_is_and_what_to_check_on_the_spot(self, group: Group, rising: Farm, write: Write):
        cards = make_stations(_barn(rising), "card", range(6, 11))
        count_week(cards, WEEK, [40, 40, 900, 40, 40])
        check(group, WEEK)
        text = flat(write(rising).text)
        assert "Most of it in the calf barn: Card 8 holds more than half the specks." in text
        assert "Card 8 has nothing near that draws them. Worth a look there first: corners behind the pens," in text

    def test_flies_that_may_only_rest_are_told_apart(
        self, group: Group, rising: Farm, cards: list[Station], write: Write
    ):
        count_week(cards, WEEK, [20, 900, 20, 20, 20])
        check(group, WEEK)
        assert "Card 2 hangs near water, so flies may only rest there." in flat(write(rising).text)

    def test_a_card_that_lasts_at_the_top_is_told(
        self, group: Group, northfield: Farm, cards: list[Station], write: Write
    ):
        for number in range(5, 12):
            count_week(cards, monday(number), [20, 160, 24, 18, 22])
        count_week(cards, WEEK, [60, 480, 70, 50, 66])
        check(group, WEEK)
        assert "Card 2 is very likely the highest, for 8 weeks in a row." in " ".join(write(northfield).text.split())

    def test_one_that_is_the_highest_for_once_is_not(self, over: Farm, write: Write):
        assert "very likely" not in write(over).text

    def test_a_hot_barn_is_told_where_the_farms_mean_is_low(self, group: Group, rising: Farm, write: Write):
        heifers = make_facility(rising, "East shed", "heifer_barn", 4)
        count_week(make_stations(_barn(rising), "card", range(6, 26)), WEEK, [10] * 20)
        count_week(make_stations(heifers, "card", range(26, 31)), WEEK, [140] * 5)
        check(group, WEEK)
        row = write(rising)
        assert row.subject == "Northfield: cards over your action level in East shed, week of June 29"
        assert "In East shed it is 140 specks a card (" in flat(row.text)
        assert row.picture_text.startswith("Cards week by week, East shed")

    def test_what_was_lost_and_when_the_next_round_is(self, over: Farm, write: Write):
        text = flat(write(over).text)
        assert "Next round: Monday, July 13." in text
        assert "Card 3 was lost: hang the next one out of reach of the animals." in text

    def test_what_was_done_last_and_that_it_is_too_early_to_tell(self, over: Farm, calf_barn: Facility, write: Write):
        with as_factory():
            Work.objects.create(
                farm=over, facility_id=calf_barn.id, kind="clean_out", done_on=WEEK, actor_kind="farm_staff",
                recorded_at=NOW, entry=0,
            )  # fmt: skip
        text = flat(write(over).text)
        assert "Last noted: clean-out in the calf barn, June 29 (C in the chart)." in text
        assert "Since then: too early to tell." in text

    def test_the_caution_stands_wherever_work_is_mentioned(self, over: Farm, write: Write):
        text = flat(write(over).text)
        assert "the label, local rules and licensed people decide" in text
        assert "stay out of pits" in text

    def test_too_early_is_said_with_what_is_missing(
        self, group: Group, northfield: Farm, cards: list[Station], write: Write
    ):
        for week in (monday(0), monday(1)):
            count_week(cards, week, [30] * 5)
            check(group, week)
        assert "Trend: too early, 2 of 5 weeks." in flat(write(northfield, monday(1)).text)

    def test_a_mean_just_over_the_level_is_not_told_as_the_level(
        self, group: Group, northfield: Farm, cards: list[Station], write: Write
    ):
        count_week(cards, WEEK, [100, 100, 100, 100, 101])
        check(group, WEEK)
        assert "Cards: 100.2 specks a card" in flat(write(northfield).text)

    def test_a_farm_that_stopped_counting_is_told_so(self, group: Group, rising: Farm, write: Write):
        check(group, WEEK)
        row = write(rising, WEEK, check_time(WEEK) + timedelta(days=3))
        assert "Cards, traps and legs: not counted this week." in flat(row.text)
        # Thursday, July 9: the last round was on June 29.
        assert "No round for 10 days. It was due on Monday, July 6." in flat(row.text)

    def test_an_older_week_that_was_corrected_is_told_once(
        self, group: Group, rising: Farm, cards: list[Station], write: Write
    ):
        with as_factory():
            last = Reading.objects.get(farm=rising, station_id=cards[0].id, hung_on=monday(11))
        correct(last, 23, received=check_time(monday(11)) + timedelta(hours=20))
        with as_role("worker"):
            judge_late_readings(group, check_time(monday(11)) + timedelta(days=1))
        check(group, WEEK)
        text = flat(write(rising).text)
        assert re.search(r"Corrected since: Cards, week of June 22: 71 specks a card \([^)]*\), not 83 specks", text)
        check(group, monday(13))
        assert "Corrected" not in flat(write(rising, monday(13)).text)

    def test_what_only_came_late_is_not_told_as_an_error(
        self, group: Group, rising: Farm, cards: list[Station], write: Write
    ):
        count_week(make_stations(_barn(rising), "card", range(6, 7)), monday(11), [10])
        with as_role("worker"):
            judge_late_readings(group, check_time(monday(11)) + timedelta(days=1))
        check(group, WEEK)
        text = flat(write(rising).text)
        assert re.search(r"Came in since: Cards, week of June 22: 71 specks a card \([^)]*\), before that 83 ", text)
        assert "Corrected" not in text
        count_week(cards, WEEK, [90] * 5)
        with as_role("worker"):
            judge_late_readings(group, check_time(WEEK) + timedelta(days=1))
        check(group, monday(13))
        text = flat(write(rising, monday(13)).text)
        assert "Came in since: Cards, week of June 29: 90 specks a card" in text
        assert "before that" not in text and "no count" not in text

    def test_weeks_judged_without_a_mail_are_told_in_the_next_one_and_then_no_more(
        self, group: Group, rising: Farm, cards: list[Station], write: Write
    ):
        """As after an outage, when only the newest week's mail goes out."""
        assert "Earlier weeks" not in write(rising, monday(10)).text
        for number, specks in ((12, 130), (13, 90)):
            count_week(cards, monday(number), [specks] * 5)
            check(group, monday(number))
        assert (
            "Earlier weeks, judged late or not told before. Week of June 22: 83 specks a card (76 to 92), near your "
            "action level of 100; 140 flies a trap, below your action level of 250. Week of June 29: 130 specks a card "
            "(121 to 141), over your action level of 100."
        ) in flat(write(rising, monday(13)).text)
        check(group, monday(14))
        assert "Earlier weeks" not in write(rising, monday(14)).text

    def test_it_is_about_as_long_as_agreed(self, over: Farm, write: Write):
        """The sample agreed on has about 150 words."""
        assert 90 < len(write(over).text.split()) < 200

    def test_no_word_of_ours_is_on_a_farms_page(self, over: Farm, write: Write):
        ours = r"hysteresis|episode|cohort|exposure|dispersion|larva|breeding site|treatment|\bsafe\b|\bclear\b flies"
        assert re.findall(ours, write(over).text) == []


class TestForWhom:
    def test_each_owner_has_one_in_their_language_and_nobody_else(
        self, group: Group, over: Farm, anna: User, ben: User, carla: User
    ):
        with as_factory():
            # Ben, who reads Spanish, was a recorder; now he owns it too.
            Membership.objects.filter(farm=over, user=ben).update(role=FarmRole.OWNER)
        with as_role("worker"):
            queue_digests(group, [over], week=WEEK, now=check_time(WEEK))
            queue_digests(group, [over], week=WEEK, now=check_time(WEEK))
        with as_factory():
            rows = {row.recipient_id: row for row in Digest.objects.filter(farm=over)}
        assert set(rows) == {anna.id, ben.id}
        assert rows[anna.id].language == "en"
        spanish = flat(rows[ben.id].text)
        assert "Northfield: semana del 29 de junio Tarjetas: 125 manchitas por tarjeta (de " in spanish
        assert "Sobre su nivel de acción de 100." in spanish
        assert "Próximo recorrido: lunes 13 de julio." in spanish
        assert 'lang="es"' in rows[ben.id].html

    def test_the_spanish_mail_is_spanish_throughout(self, group: Group, over: Farm, ben: User):
        with as_factory():
            Membership.objects.filter(farm=over, user=ben).update(role=FarmRole.OWNER)
        with as_role("worker"):
            queue_digests(group, [over], week=WEEK, now=check_time(WEEK))
        with as_factory():
            row = Digest.objects.get(farm=over, recipient=ben)
        english = r"\b(the|of|week|cards?|traps?|legs|your|over|level|hang|round|next|specks|flies|not|look|farm)\b"
        assert re.findall(english, f"{row.subject} {row.text} {row.picture_text}", re.IGNORECASE) == []
        visible = re.sub(r"<[^>]+>", " ", row.html)
        assert re.findall(english, visible, re.IGNORECASE) == []

    def test_a_mail_that_can_not_be_written_stops_no_other(
        self, group: Group, region: Region, over: Farm, carla: User, monkeypatch: pytest.MonkeyPatch
    ):
        other = make_farm("Windy Lea", region, carla)
        written = digest.letter_of

        def fails_for_the_other(told, since):  # type: ignore[no-untyped-def]
            if told.farm.id == other.id:
                raise ValueError("no words for this")
            return written(told, since)

        monkeypatch.setattr(digest, "letter_of", fails_for_the_other)
        with as_role("worker"):
            queue_digests(group, [other, over], week=WEEK, now=check_time(WEEK))
        with as_factory():
            assert [row.farm_id for row in Digest.objects.all()] == [over.id]
            assert CheckFailure.objects.get().error == "ValueError: no words for this"

    def test_a_week_that_can_not_be_read_stops_no_others_mail(
        self, group: Group, region: Region, over: Farm, carla: User, monkeypatch: pytest.MonkeyPatch
    ):
        others = [make_farm(f"Windy Lea {number}", region, carla) for number in range(3)]
        broken = others[1]
        self.break_weeks(broken, ZeroDivisionError("an invented fault"), monkeypatch)
        with as_role("worker"):
            assert queue_digests(group, [*others, over], week=WEEK, now=check_time(WEEK)) == 3
        with as_factory():
            assert broken.id not in set(Digest.objects.values_list("farm_id", flat=True))
            failure = CheckFailure.objects.get()
            assert (failure.farm_id, failure.error) == (broken.id, "ZeroDivisionError: an invented fault")

    def test_a_database_that_is_away_is_no_farms_fault(
        self, group: Group, over: Farm, monkeypatch: pytest.MonkeyPatch
    ):  # fmt: skip
        self.break_weeks(over, OperationalError("terminating connection"), monkeypatch)
        with as_role("worker"), pytest.raises(OperationalError):
            queue_digests(group, [over], week=WEEK, now=check_time(WEEK))
        with as_factory():
            assert not CheckFailure.objects.exists()

    @staticmethod
    def break_weeks(farm: Farm, error: Exception, monkeypatch: pytest.MonkeyPatch) -> None:
        """Let reading weeks fail where a farm is among them."""
        read = digest.weeks_of_farms

        def fails(farms, *args):  # type: ignore[no-untyped-def]
            if farm.id in {each.id for each in farms}:
                raise error
            return read(farms, *args)

        monkeypatch.setattr(digest, "weeks_of_farms", fails)


def _barn(farm: Farm) -> Facility:
    with as_factory():
        return Facility.objects.get(farm=farm, name="Calf barn")

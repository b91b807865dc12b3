"""The coordinator's report: which rounds came, region by region, and nothing from which a farm could be told."""

import re
from datetime import date, timedelta
from email import message_from_bytes, policy
from uuid import uuid4

import pytest
from django.core import mail as django_mail
from django.db import connection, transaction
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from alerts.delivery import outbox
from alerts.delivery.coordinator_report import queue_coordinator_reports
from alerts.delivery.message import message_of
from alerts.delivery.participation import Participation, Told, told_of
from alerts.models import CheckFailure, CoordinatorReport
from alerts.models.mail_choice import ChoiceWay
from alerts.selectors.mail_choices import subscription_for
from alerts.services import choose_how_often
from farms.models import Farm, FarmClosure, Group, GroupMember, Region, RegionClosure, User
from farms.models.access import GroupRole
from monitoring.models import RegionReport, Round, Skip
from tests.alerts.scene import check_time, monday
from tests.cast import NOW, acting, as_factory, as_role, make_farm, make_group_member, make_user

pytestmark = pytest.mark.django_db
WEEK = monday(12)  # of June 29
NOON = check_time(WEEK)


def walk(farm: Farm, day: date) -> None:
    with as_factory():
        Round.objects.create(
            farm=farm, walked_on=day, source="form", actor_kind="farm_staff", received_at=NOW, entry=0
        )  # fmt: skip


def farms_in(region: Region, weeks_ago: list[int | None]) -> list[Farm]:
    """Farms whose last round was on the Thursday of so many weeks ago, 0 for the week itself; None: no round yet."""
    owner = make_user(f"Owner of {region.name}".replace(" ", ""))
    farms = [make_farm(f"{region.name} farm {number}", region, owner) for number in range(len(weeks_ago))]
    for farm, ago in zip(farms, weeks_ago, strict=True):
        if ago is not None:
            walk(farm, WEEK + timedelta(days=3) - ago * timedelta(days=7))
    return farms


def new_region(group: Group, name: str) -> Region:
    with as_factory():
        return Region.objects.create(group=group, name=name, slug=name.lower())


def published(region: Region, **disclosures: str) -> None:
    with as_factory():
        for method, disclosure in disclosures.items():
            RegionReport.objects.create(
                region=region, method=method, week=WEEK, disclosure=disclosure, cutoff_at=NOW, published_at=NOW,
                cohort_hash=bytes(32), rule_version="1", code_version="1",
            )  # fmt: skip


def write(group: Group) -> list[CoordinatorReport]:
    with as_role("worker"):
        queue_coordinator_reports(group, WEEK, NOON)
    with as_factory():
        return list(CoordinatorReport.objects.select_related("recipient", "group").order_by("recipient__name"))


def told_in(mail: CoordinatorReport) -> str:
    return " ".join(mail.text.split())


class TestWhatItSays:
    def test_rounds_by_region_and_in_all(self, group: Group, region: Region, elsewhere: Region, erik: User):
        farms_in(region, [0, 0, 0, 1, 3, None])
        late = farms_in(elsewhere, [0, 0, 0, 0, 0])
        with as_factory():
            CheckFailure.objects.create(farm=late[0], week=WEEK, error="?", failed_at=NOW, retry_at=NOW)
        (mail,) = write(group)
        assert (mail.recipient, mail.occasion, mail.subject) == (
            erik, "2026-W27", "8 of 11 rounds came: week of June 29",
        )  # fmt: skip
        text = told_in(mail)
        # Overdue from ten days after the last round on, as the rule of a farm says: three weeks ago, and never.
        assert "Lower Valley: 6 farms in season · 3 rounds came · 3 rounds overdue" in text
        assert "Upper Valley: 5 farms in season · 5 rounds came · 1 farm set aside with an error, tried again" in text
        assert "The whole group: 11 farms in season · 8 rounds came · 3 rounds overdue · 1 farm set aside" in text

    def test_two_regions_of_one_name_are_told_apart(self, group: Group, region: Region, elsewhere: Region, erik: User):
        farms_in(region, [0] * 6)
        farms_in(elsewhere, [0, 0, 0, 0, 1])
        with as_factory():
            Region.objects.filter(id=elsewhere.id).update(name=region.name)
        (mail,) = write(group)
        text = told_in(mail)
        assert "Lower Valley: 6 farms in season · 6 rounds came" in text
        assert "Lower Valley: 5 farms in season · 4 rounds came" in text

    def test_no_farm_is_named(self, group: Group, region: Region, erik: User):
        farms = farms_in(region, [0, 1, 2, 3, None, 0])
        (mail,) = write(group)
        told = mail.subject + mail.text + mail.html
        for farm in farms:
            assert farm.name not in told and str(farm.id) not in told

    def test_whether_a_regions_report_was_published_and_as_what(
        self, group: Group, region: Region, elsewhere: Region, erik: User
    ):
        farms_in(region, [0] * 5)
        published(region, card="numbers", trap="numbers", leg="nothing")
        (mail,) = write(group)
        assert "Lower Valley: Published: cards and traps with numbers; nothing may be said of legs." in told_in(mail)
        assert "Upper Valley: Not published." in told_in(mail)

    def test_a_skipped_round_is_not_overdue(self, group: Group, region: Region, erik: User):
        farms = farms_in(region, [2] * 5)
        with as_factory():
            Skip.objects.create(
                farm=farms[0], skipped_on=WEEK, next_round_on=WEEK + timedelta(days=21), made_at=NOW,
                actor_kind="farm_staff",
            )  # fmt: skip
        (mail,) = write(group)
        assert "5 farms in season · 0 rounds came · 4 rounds overdue" in told_in(mail)

    def test_once_a_coordinator_group_and_week(self, group: Group, region: Region, erik: User, dana: User):
        make_group_member("Fay", group, GroupRole.COORDINATOR)
        farms_in(region, [0] * 5)
        first, again = write(group), write(group)
        assert [mail.id for mail in first] == [mail.id for mail in again]
        assert [mail.recipient.name for mail in first] == ["Erik", "Fay"]

    def test_out_of_season_there_is_none(self, group: Group, region: Region, erik: User):
        assert write(group) == []

    def test_as_many_queries_for_many_farms_as_for_few(
        self, group: Group, region: Region, elsewhere: Region, erik: User
    ):
        def queries() -> int:
            with as_role("worker"), CaptureQueriesContext(connection) as asked:
                queue_coordinator_reports(group, WEEK, NOON)
            return len(asked)

        farms_in(region, [0] * 5)
        few = queries()
        farms_in(elsewhere, [0, 3, None] * 8)
        assert queries() <= few


class TestSmallRegions:
    """No number stands for fewer than five farms, nor remains for them when the numbers beside it are taken away."""

    def one(self, farms: int) -> Participation:
        return Participation(farms, farms, 0, 0)

    @pytest.mark.parametrize(
        ("sizes", "alone", "smaller", "total"),
        [
            ([5], [5], None, 5),
            ([4], [], None, None),
            ([5, 4], [], None, 9),
            ([5, 4, 1], [5], 5, 10),
            ([2, 2, 1], [], 5, 5),
            ([1, 1, 1], [], None, None),
            ([8, 6], [8, 6], None, 14),
        ],
    )
    def test_what_may_be_told(self, sizes: list[int], alone: list[int], smaller: int | None, total: int | None):
        told = told_of({uuid4(): self.one(size) for size in sizes})
        assert [own.farms for own in told.regions.values()] == alone
        assert (told.smaller and told.smaller.farms) == smaller
        assert (told.total and told.total.farms) == total
        assert isinstance(told, Told)

    def test_nothing_that_is_told_stands_for_fewer_than_five(self):
        for sizes in ([a, b, c] for a in range(1, 8) for b in range(1, 8) for c in range(1, 8)):
            told = told_of({uuid4(): self.one(size) for size in sizes})
            parts = [own.farms for own in told.regions.values()] + ([told.smaller.farms] if told.smaller else [])
            rest = told.total.farms - sum(parts) if told.total else 0
            assert all(farms >= 5 for farms in parts) and (rest == 0 or rest >= 5), sizes

    def test_small_regions_stand_together(self, group: Group, region: Region, elsewhere: Region, erik: User):
        farms_in(region, [0, 0, 1])
        farms_in(elsewhere, [0, 0])
        farms_in(new_region(group, "Plain"), [0] * 6)
        (mail,) = write(group)
        rounds = told_in(mail).partition("REGION REPORTS")[0]
        assert "Smaller regions: 5 farms in season · 4 rounds came" in rounds
        assert "Lower Valley" not in rounds and "Plain: 6 farms" in rounds

    def test_a_group_of_a_few_farms_is_told_no_number(
        self, group: Group, region: Region, elsewhere: Region, erik: User
    ):
        farms_in(region, [0, 3, None])
        published(region, card="nothing")
        published(elsewhere, card="nothing")
        (mail,) = write(group)
        assert mail.subject == "Valley Advisers: week of June 29" and not mail.needs_a_look
        assert "Fewer than 5 farms of the group are in season" in told_in(mail)
        assert "rounds came" not in mail.text + mail.html


def test_a_closure_changes_not_one_byte(group: Group, region: Region, elsewhere: Region, erik: User):
    farms = farms_in(region, [0, 0, 0, 3, None, 0])
    farms_in(elsewhere, [0] * 5)
    (before,) = write(group)
    with as_factory():
        CoordinatorReport.objects.all().delete()
        for farm in farms[2:5]:
            FarmClosure.objects.create(farm=farm, closed=True, from_on=WEEK, set_by=erik, set_at=NOW, entry=0)
        RegionClosure.objects.create(region=elsewhere, closed=True, from_on=WEEK, set_by=erik, set_at=NOW)
    (after,) = write(group)
    for column in ("subject", "text", "html", "needs_a_look", "language", "occasion"):
        assert getattr(after, column) == getattr(before, column)


class TestSending:
    def send(self) -> dict[str, int]:
        with as_role("worker"):
            return dict(outbox.send_due(NOON))

    def test_it_leaves_with_its_way_out(self, group: Group, region: Region, erik: User):
        farms_in(region, [0] * 5)
        (mail,) = write(group)
        assert self.send() == {"sent": 1}
        (sent,) = django_mail.outbox
        assert sent.to == ["erik@example.org"] and sent.subject == "5 of 5 rounds came: week of June 29"
        address = sent.extra_headers["List-Unsubscribe"].strip("<>")
        assert address in sent.body and "/mail-choice/" in address
        with as_role("worker"):
            message = message_from_bytes(message_of([mail], now=NOON).message().as_bytes(), policy=policy.default)
        plain = message.get_body(("plain",))
        html = message.get_body(("html",))
        assert plain is not None and html is not None and message["Content-Language"] == "en"
        # Each sentence of the text stands in the HTML as well.
        shown = " ".join(re.sub(r"<[^>]+>", " ", html.get_content()).split())
        for line in ("5 farms in season · 5 rounds came", "No farm is named here", "Lower Valley", "Not published."):
            assert line in " ".join(plain.get_content().split()) and line in shown

    def test_a_coordinator_whose_role_ended_gets_nothing(self, group: Group, region: Region, erik: User):
        farms_in(region, [0] * 5)
        write(group)
        with as_factory():
            GroupMember.objects.filter(user=erik).update(ended_at=timezone.now())
        assert self.send() == {"refused": 1} and django_mail.outbox == []
        with as_factory():
            assert CoordinatorReport.objects.get().reason == "role_ended"

    @pytest.mark.parametrize(
        ("how_often", "weeks_ago", "state"),
        [
            ("when_needed", [0] * 5, "unwanted"),
            ("when_needed", [0, 0, 0, 0, 4], "sent"),
            ("none", [4] * 5, "unwanted"),
            ("every_week", [0] * 5, "sent"),
        ],
    )
    def test_as_often_as_its_reader_chose(
        self, group: Group, region: Region, erik: User, how_often: str, weeks_ago: list[int], state: str
    ):
        farms_in(region, weeks_ago)
        published(region, card="numbers")
        with acting(erik):
            subscription = subscription_for(erik, "coordinator_report", group.id)
            choose_how_often(
                subscription=subscription, by=erik, how_often=how_often, way=ChoiceWay.PAGE, now=NOW
            )  # fmt: skip
        write(group)
        assert self.send() == {state: 1}

    def test_row_security_shows_it_to_its_reader_alone(
        self, group: Group, region: Region, erik: User, dana: User, carla: User
    ):
        farms_in(region, [0] * 5)
        write(group)
        for user, number in ((erik, 1), (dana, 0), (carla, 0)):
            with acting(user), transaction.atomic():
                assert CoordinatorReport.objects.count() == number

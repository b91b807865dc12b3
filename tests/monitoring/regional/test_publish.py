"""Region reports: frozen once, gated by the week's contributors, readable by the region role and by nobody else."""

from datetime import date, timedelta

import pytest
from django.db import ProgrammingError, connection, transaction

from farms.models import Consent
from farms.models.access import ConsentKind
from monitoring.models import Cohort, Reading, RegionReport, WeeklySummary
from monitoring.regional import publish_week
from monitoring.regional.cohort import quarter_of
from monitoring.regional.selectors import reports_of_region
from tests.cast import NOW, as_factory, as_role, make_farm, make_user

pytestmark = pytest.mark.django_db
WEEK = date(2026, 5, 25)
LEVELS = {"card": 100.0, "leg": 10.0}


def consenting_farms(region, many, means):
    """Farms of one holding each, all consenting, with their mean of the week; None is a week without a count."""
    owner = make_user(f"Owner{region.slug}{many}")
    farms = [make_farm(f"{region.slug} {number}", region, owner) for number in range(many)]
    with as_factory():
        for farm, mean in zip(farms, means, strict=True):
            Consent.objects.create(farm=farm, kind=ConsentKind.REGIONAL, given_by=owner, given_at=NOW, entry=1)
            summary(farm, WEEK, mean)
    return farms


def summary(farm, week, mean):
    WeeklySummary.objects.create(
        farm=farm, method="card", week=week, stations=5, devices=5, missing=0, counted=500, days=35, animals=0,
        mean=mean, at_least=False, last_received_at=NOW,
    )  # fmt: skip


def publish(group, week=WEEK):
    with as_role("cohort"):
        return publish_week(group_id=group.id, week=week, levels=LEVELS, now=NOW, code_version="test", using="default")


def reports(region, week=WEEK):
    with as_role("region"):
        return {r.method: r for r in reports_of_region(region.id, since=week, using="default") if r.week == week}


def test_twelve_holdings_give_numbers_a_band_and_no_more(group, region):
    consenting_farms(region, 12, [80.0, 90, 95, 100, 105, 110, 115, 120, 125, 130, 135, 140])
    publish(group)
    card = reports(region)["card"]
    assert (card.disclosure, card.contributors, card.mean, card.share_over) == ("numbers", "10 to 14", 110.0, 0.7)


def test_nine_that_counted_out_of_twelve_give_a_word(group, region):
    consenting_farms(region, 12, [130.0] * 9 + [None] * 3)
    publish(group)
    card = reports(region)["card"]
    assert (card.disclosure, card.word, card.mean, card.share_over) == ("word", "high", None, None)


def test_four_give_nothing_and_a_method_nobody_used_gives_nothing(group, region):
    consenting_farms(region, 4, [130.0] * 4)
    publish(group)
    found = reports(region)
    assert (found["card"].disclosure, found["card"].word) == ("nothing", "")
    assert found["leg"].disclosure == "nothing"


def test_two_farms_of_one_holding_are_one_contributor(group, region):
    farms = consenting_farms(region, 10, [90.0] * 10)
    with as_factory():
        farms[1].holding = farms[0].holding
        farms[1].save(update_fields=["holding"])
    publish(group)
    assert reports(region)["card"].disclosure == "word"


def test_a_published_report_stays_whatever_arrives_later(group, region):
    farms = consenting_farms(region, 12, [100.0] * 12)
    assert publish(group) == 2
    with as_factory():
        WeeklySummary.objects.filter(farm_id=farms[0].id, week=WEEK).update(mean=4000)
    assert publish(group) == 0
    assert reports(region)["card"].mean == 100.0


def test_the_cohort_is_fixed_for_the_quarter_and_a_joiner_waits(group, region):
    consenting_farms(region, 12, [100.0] * 12)
    publish(group)
    joiner = make_farm("Joiner", region, make_user("Joiner"))
    later = WEEK + timedelta(days=7)
    with as_factory():
        Consent.objects.create(farm=joiner, kind=ConsentKind.REGIONAL, given_by=make_user("J"), given_at=NOW, entry=1)
        summary(joiner, later, 900.0)
    publish(group, later)
    assert quarter_of(WEEK) == quarter_of(later) == date(2026, 4, 1)
    with as_factory():
        assert joiner.id not in Cohort.objects.get(region=region).farms
    assert reports(region, later)["card"].disclosure == "nothing"


def test_a_member_gone_within_the_quarter_leaves_words_only(group, region):
    farms = consenting_farms(region, 14, [100.0] * 14)
    publish(group)
    later = WEEK + timedelta(days=7)
    with as_factory():
        for farm in farms:
            summary(farm, later, 100.0)
        Consent.objects.filter(farm_id=farms[0].id).update(withdrawn_at=NOW)
    publish(group, later)
    assert reports(region, later)["card"].disclosure == "word"


@pytest.mark.parametrize("model", [Reading, WeeklySummary, Cohort])
def test_the_region_role_reads_reports_and_nothing_else(group, region, model):
    with as_role("region"), pytest.raises(ProgrammingError, match="permission denied"), transaction.atomic():
        list(model.objects.all()[:1])


def test_the_cohort_role_reads_no_reading_and_no_farm_that_did_not_consent(group, region):
    farm = make_farm("Silent", region, make_user("Silent"))
    with as_factory():
        summary(farm, WEEK, 100.0)
    with as_role("cohort"):
        assert not WeeklySummary.objects.exists()
        with pytest.raises(ProgrammingError, match="permission denied"), transaction.atomic():
            list(Reading.objects.all()[:1])


def test_the_app_reads_no_region_report_but_through_the_region_role(group, region):
    with pytest.raises(ProgrammingError, match="permission denied"), transaction.atomic():
        list(RegionReport.objects.all()[:1])


@pytest.mark.parametrize(
    "statement", ["UPDATE monitoring_regionreport SET mean = 1", "DELETE FROM monitoring_regionreport"]
)
def test_not_even_the_cohort_role_changes_a_report(group, region, statement):
    with as_role("cohort"), connection.cursor() as cursor, pytest.raises(ProgrammingError), transaction.atomic():
        cursor.execute(statement)

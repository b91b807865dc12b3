"""Region reports: frozen once, gated by the week's contributors, audited, read by the region role and nobody else."""

from datetime import timedelta

import numpy as np
import pytest
from django.db import IntegrityError, ProgrammingError, connection, transaction

from farms.models import Farm
from monitoring.analysis.disclosure import Release
from monitoring.models import Cohort, Contribution, HeldReport, Reading, RegionReport, WeeklySummary
from monitoring.regional import cells
from monitoring.regional.publish import ReportsHeld
from tests.cast import NOW, acting, as_factory, as_role, make_facility, make_farm, make_user
from tests.monitoring.regional.scene import WEEK, consenting_farms, publish, reports, summary, withdraw

pytestmark = pytest.mark.django_db
TWELVE = [80.0, 90, 95, 100, 105, 110, 115, 120, 125, 130, 135, 140]


def test_twelve_holdings_give_rounded_numbers_and_a_band(region):
    consenting_farms(region, TWELVE)
    publish(region)
    card = reports(region)["card"]
    assert (card.disclosure, card.contributors, card.mean, card.middle, card.share_over) == (
        "numbers", "10 to 14", 110.0, 110.0, 0.7,
    )  # fmt: skip


def test_nine_that_counted_out_of_twelve_give_a_word(region):
    consenting_farms(region, [130.0] * 9 + [None] * 3)
    publish(region)
    card = reports(region)["card"]
    assert (card.disclosure, card.word, card.mean, card.middle, card.share_over) == ("word", "high", None, None, None)


def test_four_give_nothing_and_a_method_nobody_used_gives_nothing(region):
    consenting_farms(region, [130.0] * 4)
    publish(region)
    found = reports(region)
    assert (found["card"].disclosure, found["card"].word) == ("nothing", "")
    assert found["leg"].disclosure == "nothing"


def test_two_farms_of_one_holding_are_one_contributor(region):
    farms = consenting_farms(region, [90.0] * 10)
    with as_factory():
        Farm.objects.filter(id=farms[1].id).update(holding=farms[0].holding)
    publish(region)
    assert reports(region)["card"].disclosure == "word"


def test_a_published_report_stays_whatever_arrives_later(region):
    farms = consenting_farms(region, [100.0] * 12)
    assert publish(region) == 2
    with as_factory():
        WeeklySummary.objects.filter(farm_id=farms[0].id, week=WEEK).update(mean=4000)
    assert publish(region) == 0
    assert reports(region)["card"].mean == 100.0


def test_a_second_report_of_the_same_week_is_refused_by_the_database(region):
    consenting_farms(region, TWELVE)
    publish(region)
    with as_factory():
        card = RegionReport.objects.get(method="card")
        card.id = Cohort().id
        with pytest.raises(IntegrityError, match="region_report_once_a_week"), transaction.atomic():
            RegionReport.objects.bulk_create([card])


def test_each_farm_finds_its_own_third_frozen_and_no_other_farms(region):
    farms = consenting_farms(region, TWELVE)
    owner = make_user("Last")
    with as_factory():
        last = make_farm("Last", region, owner)
    publish(region)
    with as_factory():
        thirds = {row.farm_id: row.third for row in Contribution.objects.all()}
        mine = farms[0]
        member = type(mine)._meta.apps.get_model("farms", "Membership").objects.get(farm_id=mine.id)
    assert [thirds[farm.id] for farm in farms] == [1] * 4 + [2] * 4 + [3] * 4
    with acting(member.user):
        assert {row.farm_id for row in Contribution.objects.all()} <= {farm.id for farm in farms}
    with acting(owner):
        assert not Contribution.objects.filter(farm_id__in=[farm.id for farm in farms]).exists()
        assert not Contribution.objects.filter(farm_id=last.id).exists()


def test_a_word_tells_nobody_a_third(region):
    consenting_farms(region, [130.0] * 9)
    publish(region)
    assert reports(region)["card"].disclosure == "word"
    with as_factory():
        assert set(Contribution.objects.values_list("third", flat=True)) == {None}


def test_own_normals_and_growth_come_from_the_weeks_before(region):
    farms = consenting_farms(region, [200.0] * 12)
    for farm, own in zip(farms, np.linspace(0.9, 1.1, 12), strict=True):
        for back in range(1, 8):
            summary(farm, WEEK - timedelta(weeks=back), 100.0 * own)
    publish(region)
    card = reports(region)["card"]
    assert (card.normal, card.normal_middle) == (2.0, 2.0)
    assert card.growth is not None and card.growth_low <= card.growth <= card.growth_high


def test_without_four_weeks_of_their_own_nobody_is_held_against_their_normal(region):
    consenting_farms(region, TWELVE)
    publish(region)
    card = reports(region)["card"]
    assert (card.normal, card.normal_share, card.growth, card.share_rising) == (None, None, None, None)


def test_one_who_leaves_is_counted_until_the_quarter_ends(region):
    farms = consenting_farms(region, [100.0] * 14)
    publish(region)
    later = WEEK + timedelta(days=7)
    for farm in farms:
        summary(farm, later, 100.0)
    withdraw(farms[0], NOW)
    publish(region, later)
    assert reports(region, later)["card"].disclosure == "numbers"


def test_a_farm_sold_within_the_quarter_leaves_at_once_and_words_are_left(region):
    farms = consenting_farms(region, [100.0] * 14)
    publish(region)
    later = WEEK + timedelta(days=7)
    for farm in farms:
        summary(farm, later, 100.0)
    with as_factory():
        bought = make_farm("Bought", region, make_user("Buyer"))
        Farm.objects.filter(id=farms[0].id).update(holding=bought.holding)
    publish(region, later)
    assert reports(region, later)["card"].disclosure == "word"


def test_an_adviser_who_sees_all_but_one_is_told_no_number_of_the_one(region, dana):
    farms = consenting_farms(region, TWELVE)
    with as_factory():
        consents = [row for farm in farms[1:] for row in [_advised(farm, dana)]]
    assert len(consents) == 11
    publish(region)
    card = reports(region)["card"]
    assert (card.disclosure, card.mean) != ("numbers", 110.0)
    assert card.mean is None


def _advised(farm, adviser):
    consent = type(farm)._meta.apps.get_model("farms", "Consent")
    return consent.objects.create(
        farm=farm, kind="adviser", adviser=adviser, given_by=adviser, given_at=NOW, entry=2
    )  # fmt: skip


def test_an_adviser_who_sees_half_of_them_takes_no_number_away(region, dana):
    farms = consenting_farms(region, TWELVE)
    with as_factory():
        for farm in farms[::2]:
            _advised(farm, dana)
    publish(region)
    assert reports(region)["card"].mean == 110.0


def split_farms(region, kinds):
    farms = consenting_farms(region, list(np.linspace(60, 140, len(kinds))))
    for farm, kind in zip(farms, kinds, strict=True):
        make_facility(farm, "Cows", kind)
    with as_factory():
        region.split_by_housing = True
        region.save()
    return farms


def test_a_region_split_by_housing_tells_both_or_neither(region):
    split_farms(region, ["free_stall_barn", "tie_stall_barn"] * 12)
    publish(region)
    whole, free, rest = (reports(region, part=part)["card"] for part in ("", "free_stall_barn", "rest"))
    assert [each.disclosure for each in (whole, free, rest)] == ["numbers"] * 3
    assert (whole.middle, whole.share_over) == (None, None)
    assert free.middle is not None and rest.middle is not None


def test_where_one_housing_has_too_few_normals_the_whole_does_not_tell_them_with_the_other(region):
    farms = split_farms(region, ["free_stall_barn", "tie_stall_barn"] * 12)
    for number, farm in enumerate(farms):
        for back in range(1, 8) if number % 2 == 0 or number < 6 else ():
            summary(farm, WEEK - timedelta(weeks=back), 100.0 + number)
    publish(region)
    whole, free, rest = (reports(region, part=part)["card"] for part in ("", "free_stall_barn", "rest"))
    assert free.normal is not None and free.growth is not None
    assert (whole.mean is not None, whole.normal, whole.growth) == (True, None, None)
    assert (rest.normal, rest.growth) == (None, None)


def test_a_split_whose_rest_is_too_few_is_not_made(region):
    split_farms(region, ["free_stall_barn"] * 15 + ["tie_stall_barn"] * 6)
    publish(region)
    assert reports(region, part="free_stall_barn") == {}
    assert reports(region)["card"].middle is not None


def test_where_one_housing_has_too_few_counts_in_a_week_the_other_is_withheld_too(region):
    farms = split_farms(region, ["free_stall_barn", "tie_stall_barn"] * 10)
    publish(region)
    later = WEEK + timedelta(days=7)
    for number, farm in enumerate(farms):
        summary(farm, later, 100.0 + number if number != 1 else None)
    publish(region, later)
    assert [reports(region, later, part)["card"].disclosure for part in ("free_stall_barn", "rest")] == ["nothing"] * 2
    assert reports(region, later)["card"].middle is not None


def test_what_the_audit_refuses_is_held_back_with_its_reason_and_comes_out_as_it_was_frozen(region, monkeypatch):
    farms = consenting_farms(region, TWELVE)
    gate = cells.release
    # A gate that forgot its rules: the mean of everybody, whoever stands out.
    with as_factory():
        WeeklySummary.objects.filter(farm_id=farms[-1].id, week=WEEK).update(mean=40_000.0)
    monkeypatch.setattr(
        cells, "release", lambda values, *_, **__: Release("numbers", "10 to 14", _rounded(values), word="high")
    )
    with pytest.raises(ReportsHeld):
        publish(region, levels={"card": 100.0})
    assert reports(region) == {}
    with as_factory():
        assert list(HeldReport.objects.values_list("region_id", "week", "reason")) == [(region.id, WEEK, "bounded")]
        assert Contribution.objects.count() == 12
        WeeklySummary.objects.filter(farm_id=farms[-1].id, week=WEEK).update(mean=140.0)
    monkeypatch.setattr(cells, "release", gate)
    publish(region, levels={"card": 100.0})
    # As it was frozen: the correction that came in between changes nothing.
    assert reports(region)["card"].disclosure == "word"


def _rounded(values):
    return float(f"{np.mean(values):.2g}") if len(values) else 0.0


def test_a_figure_that_does_not_follow_from_what_was_frozen_is_held_back(region, monkeypatch):
    consenting_farms(region, TWELVE)
    monkeypatch.setattr(cells, "release", lambda *_, **__: Release("numbers", "10 to 14", 150.0, word="high"))
    with pytest.raises(ReportsHeld):
        publish(region, levels={"card": 100.0})
    with as_factory():
        assert HeldReport.objects.get().reason == "untrue"


def test_the_usual_band_comes_from_stored_reports_of_earlier_years(region):
    consenting_farms(region, TWELVE)
    with as_factory():
        for apart, mean in enumerate([60.0, 70, 80, 90, 100], start=-2):
            RegionReport.objects.create(
                region=region, method="card", week=WEEK - timedelta(weeks=52 - apart), disclosure="numbers", mean=mean,
                normal=mean / 80, level=100, cutoff_at=NOW, published_at=NOW, cohort_hash=b"", rule_version="x",
                code_version="x",
            )  # fmt: skip
    publish(region)
    card = reports(region)["card"]
    assert (card.usual_low, card.usual_high) == (64.0, 96.0)  # numpy's quantiles .1 and .9 of the five
    assert (card.usual_normal_low, card.usual_normal_high) == (0.8, 1.2)


@pytest.mark.parametrize("model", [Reading, WeeklySummary, Cohort, Contribution])
def test_the_region_role_reads_reports_and_nothing_else(region, model):
    with as_role("region"), pytest.raises(ProgrammingError, match="permission denied"), transaction.atomic():
        list(model.objects.all()[:1])


def test_the_cohort_role_reads_no_reading_and_no_farm_that_did_not_agree(region):
    farm = make_farm("Silent", region, make_user("Silent"))
    summary(farm, WEEK, 100.0)
    with as_role("cohort"):
        assert not WeeklySummary.objects.exists()
        with pytest.raises(ProgrammingError, match="permission denied"), transaction.atomic():
            list(Reading.objects.all()[:1])


def test_the_app_reads_no_region_report_but_through_the_region_role(region):
    with pytest.raises(ProgrammingError, match="permission denied"), transaction.atomic():
        list(RegionReport.objects.all()[:1])


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE monitoring_regionreport SET mean = 1", "DELETE FROM monitoring_regionreport",
        "UPDATE monitoring_contribution SET third = 1", "DELETE FROM monitoring_contribution",
    ],
)  # fmt: skip
def test_not_even_the_cohort_role_changes_what_is_frozen(region, statement):
    with as_role("cohort"), connection.cursor() as cursor, pytest.raises(ProgrammingError), transaction.atomic():
        cursor.execute(statement)


@pytest.mark.parametrize("table", ["monitoring_reading", "monitoring_weeklysummary", "monitoring_contribution"])
@pytest.mark.parametrize("role", ["worker", "region"])
def test_neither_worker_nor_region_writes_counts_or_contributions(region, role, table):
    with as_role(role), connection.cursor() as cursor, pytest.raises(ProgrammingError), transaction.atomic():
        cursor.execute(f"INSERT INTO {table} (farm_id) VALUES (uuidv7())")

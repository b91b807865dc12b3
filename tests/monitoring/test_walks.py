"""Fly walks: which places are asked about, what a finding may be, and that it is stored once, whole and chained."""

from dataclasses import replace
from datetime import date, timedelta

import pytest
from django.db import IntegrityError, ProgrammingError, connection, transaction
from django.utils import timezone

from farms.errors import Missing
from farms.ids import uuid7
from farms.models.farm import FacilityKind
from farms.selectors import facilities_of
from farms.services import make_token
from monitoring.errors import AlreadyMended, FindingRefused, WalkDiffers, WalkRefused
from monitoring.models import Finding, FindingWords, Walk
from monitoring.models.walk import Place
from monitoring.rules.walk import CHECKLISTS, LOOK_AGAIN_AFTER, checklist_of, is_spring
from monitoring.selectors import findings_of, versions_of, walks_of, words_of_findings
from monitoring.services import FindingMended, WalkSent, correct_finding, record_walk
from tests.cast import NOW, acting, acting_token, as_factory, as_role
from tests.monitoring.sending import STAFF, TODAY, chain_holds, words_hold
from tests.monitoring.walking import found, only_finding, walk

DAY = timedelta(days=1)


class TestChecklists:
    """The places are common practice, no source: what is held here is that each kind of place has its own."""

    def test_every_kind_of_barn_or_lot_has_places_and_none_twice(self):
        assert set(FacilityKind.values) - set(CHECKLISTS) == {"other"}
        for kind in (*FacilityKind.values, None):
            for spring in (False, True):
                places = checklist_of(kind, spring=spring)
                assert len(places) >= 2 and len(set(places)) == len(places)
                assert Place.OTHER not in places  # own words are always asked for

    def test_a_calf_barn_is_asked_for_corners_and_in_spring_for_the_winters_pack_first(self):
        assert Place.PEN_CORNERS in checklist_of("calf_barn", spring=False)
        assert Place.WINTER_PACK not in checklist_of("calf_barn", spring=False)
        assert checklist_of("calf_barn", spring=True)[0] == Place.WINTER_PACK

    def test_spring_is_the_farms_own_on_either_half_of_the_earth(self):
        for opened in (date(2026, 4, 6), date(2026, 10, 5)):
            assert is_spring(opened, opened) and is_spring(opened, opened + timedelta(days=55))
            assert not is_spring(opened, opened + timedelta(days=56)) and not is_spring(opened, opened - DAY)
        assert not is_spring(None, date(2026, 4, 6))

    def test_looking_again_comes_before_a_fly_could_hatch_in_heat(self):
        """House fly, egg to adult at 35 C: 8.8 days (Lysyk & Axtell 1987, Can Entomol 119, their fastest)."""
        assert timedelta(days=8.8) > LOOK_AGAIN_AFTER


@pytest.mark.django_db
class TestNoting:
    def test_a_walk_is_one_entry_with_all_it_found(self, northfield, calf_barn, cards, anna):
        alert = uuid7()
        with acting(anna):
            walk(
                northfield,
                found(facility=calf_barn, station=cards[3], to_do="Scrape it out", by_whom="Luis", due_on=TODAY + DAY),
                found("bedding", nothing=True, facility=calf_barn),
                found("other", place_words="behind the silo bags", note="smells"),
                facility=calf_barn, station=cards[3], alert_id=alert,
            )  # fmt: skip
            (noted,) = walks_of(northfield)
            assert (noted.places, noted.facility, noted.alert_id) == (3, calf_barn, alert)
            rows = {row.place: row for row in findings_of(northfield)}
            assert {place: row.state for place, row in rows.items()} == {
                "waterers": "to_do", "bedding": "nothing", "other": "to_do"
            }  # fmt: skip
            assert (rows["waterers"].due, rows["other"].due, rows["bedding"].due) == (TODAY + DAY, None, None)
            words = words_of_findings(northfield, [row.id for row in rows.values()])
            assert words[rows["waterers"].id] == {"to_do": "Scrape it out", "by_whom": "Luis"}
            assert words[rows["other"].id] == {"place_words": "behind the silo bags", "note": "smells"}
        with as_factory():
            assert Walk.objects.get().entry == Finding.objects.filter(place="other").get().entry
        assert chain_holds(northfield) and words_hold(northfield)

    def test_nothing_found_is_stored_and_what_nobody_looked_at_is_not(self, northfield, anna):
        with acting(anna):
            walk(northfield, found("gutters", nothing=True))
            assert list(findings_of(northfield).values_list("place", "nothing", "larvae")) == [("gutters", True, "")]

    def test_sent_five_times_it_is_stored_once(self, northfield, anna):
        sent = WalkSent(uuid7(), TODAY, (found(to_do="Drain it"), found("gutters", nothing=True)))
        with acting(anna):
            for late in range(5):
                record_walk(farm=northfield, sent=sent, actor=STAFF, now=NOW + late * DAY)
            assert (walks_of(northfield).count(), findings_of(northfield).count()) == (1, 2)
            other = replace(sent.findings[0], moisture="dry")
            words = replace(sent.findings[0], said=replace(sent.findings[0].said, to_do="Leave it"))
            for changed in (
                replace(sent, walked_on=TODAY - DAY), replace(sent, findings=sent.findings[:1]),
                replace(sent, findings=(other, sent.findings[1])), replace(sent, findings=(words, sent.findings[1])),
                replace(sent, id=uuid7()),
            ):  # fmt: skip
                with pytest.raises(WalkDiffers):
                    record_walk(farm=northfield, sent=changed, actor=STAFF, now=NOW)
        assert chain_holds(northfield) and words_hold(northfield)

    @pytest.mark.parametrize(
        ("wrong", "pointer", "says"),
        [
            ({"place": "barn_roof"}, "/place", "Use one of: pen_corners"),
            ({"material": "gold"}, "/material", "Use one of: manure"),
            ({"larvae": "lots"}, "/larvae", "Use one of: none, some, many"),
            ({"place": "other"}, "/place_words", "which place"),
            ({"material": "", "moisture": "", "larvae": ""}, "/nothing", "If it was nothing, say so"),
            ({"nothing": True, "larvae": "some"}, "/nothing", "Take one of them away"),
            ({"nothing": True, "larvae": "", "to_do": "Clean"}, "/nothing", "Take one of them away"),
            ({"x": 0.5}, "/x", "Give both"),
            ({"x": 0.5, "y": 1.01}, "/x", "from 0 to 1"),
            ({"x": float("nan"), "y": 0.5}, "/x", "from 0 to 1"),
            ({"due_on": TODAY - DAY}, "/due_on", "before the one on which it was found"),
            ({"due_on": TODAY + 367 * DAY}, "/due_on", "more than a year ahead"),
            ({"due_on": date(26, 7, 1)}, "/due_on", "This year can't be meant"),
            ({"to_do": "x" * 301}, "/to_do", "longer than 300"),
            ({"note": "a\x00b"}, "/note", "no text"),
            ({"note": "\ud800"}, "/note", "no text"),
        ],
    )
    def test_what_cant_be_right_is_named_with_its_place(self, northfield, anna, wrong, pointer, says):
        with acting(anna):
            with pytest.raises(WalkRefused) as refused:
                walk(northfield, found("gutters", nothing=True), found(**{"place": "waterers", **wrong}))
            assert [each.pointer for each in refused.value.errors] == [f"/findings/1{pointer}"]
            assert says in refused.value.errors[0].detail
            assert not walks_of(northfield).exists() and not findings_of(northfield).exists()
        assert chain_holds(northfield)

    def test_a_walk_in_the_future_or_of_nothing_or_elsewhere_is_refused(self, northfield, southmead, anna, carla):
        with acting(carla):
            barn = facilities_of(southmead)[0]
        one = found()
        for wrong, pointer in (
            ({"on": TODAY + DAY}, "/walked_on"), ({"on": date(26, 6, 1)}, "/walked_on"), ({"facility": barn},
            "/facility_id"), ({"findings": ()}, "/findings"), ({"findings": (one, one)}, "/findings"),
            ({"findings": (found(facility=barn),)}, "/findings/0/facility_id"),
        ):  # fmt: skip
            findings = wrong.pop("findings", (found(),))
            with acting(anna):
                with pytest.raises(WalkRefused) as refused:
                    walk(northfield, *findings, **wrong)
                assert [each.pointer for each in refused.value.errors] == [pointer]
        with acting(anna):
            assert not walks_of(northfield).exists()

    def test_the_farms_own_day_counts(self, northfield, anna):
        """At 3:00 UTC on June 2 it is still June 1 in Chicago."""
        night = NOW + timedelta(hours=15)
        with acting(anna):
            walk(northfield, found(), on=TODAY, now=night)
            with pytest.raises(WalkRefused):
                walk(northfield, found(), on=TODAY + DAY, now=night)

    def test_the_database_holds_what_a_row_can_break_alone(self, northfield, anna):
        with acting(anna):
            walked = walk(northfield, found())
            first = Finding.objects.get()
        usual = {"walk_id": walked.id, "place": "gutters", "seen_on": TODAY, "actor_kind": "farm_staff", "entry": 1}
        for wrong, name in (
            ({"x": 0.5}, "finding_lies_on_the_plan"),
            ({"nothing": True, "larvae": "many"}, "finding_of_nothing_has_no_maggots_and_no_day"),
            ({"nothing": True, "due_on": TODAY}, "finding_of_nothing_has_no_maggots_and_no_day"),
            ({"withdrawn": True}, "finding_replaced_names_its_first"),
            ({"replaces_id": first.id}, "finding_replaced_names_its_first"),
        ):
            with acting(anna), pytest.raises(IntegrityError, match=name), transaction.atomic():
                Finding.objects.create(farm=northfield, recorded_at=NOW, **usual, **wrong)


@pytest.mark.django_db
class TestMending:
    def test_a_finding_is_mended_by_a_later_row_and_is_known_by_its_first(self, northfield, anna, calf_barn):
        with acting(anna):
            walk(northfield, found(to_do="Drain it"))
            first = only_finding(northfield)
            mended = FindingMended(first, "it was the other barn", found(facility=calf_barn, larvae="many"))
            second = correct_finding(farm=northfield, mended=mended, actor=STAFF, now=NOW)
            now = only_finding(northfield)
            assert (now.id, now.known, now.larvae, now.facility) == (second.id, first.id, "many", calf_barn)
            assert [each.id for each in versions_of(now)] == [first.id, second.id]
            assert words_of_findings(northfield, [second.id]) == {second.id: {"reason": "it was the other barn"}}
            with pytest.raises(AlreadyMended):
                correct_finding(farm=northfield, mended=mended, actor=STAFF, now=NOW)
            third = FindingMended(now, "looked again at the photo", found(moisture="dry"), seen_on=TODAY - DAY)
            correct_finding(farm=northfield, mended=third, actor=STAFF, now=NOW)
            assert (only_finding(northfield).known, only_finding(northfield).seen_on) == (first.id, TODAY - DAY)
        assert chain_holds(northfield) and words_hold(northfield)

    def test_what_was_noted_by_mistake_is_withdrawn_with_its_reason(self, northfield, anna):
        with acting(anna):
            walk(northfield, found())
            first = only_finding(northfield)
            for reason in ("", "  ", "x" * 201):
                with pytest.raises(FindingRefused) as refused:
                    correct_finding(farm=northfield, mended=FindingMended(first, reason), actor=STAFF, now=NOW)
                assert refused.value.errors[0].pointer == "/reason"
            correct_finding(farm=northfield, mended=FindingMended(first, "noted twice"), actor=STAFF, now=NOW)
            assert not findings_of(northfield).exists() and walks_of(northfield).get().places == 0
            assert [each.withdrawn for each in versions_of(first)] == [False, True]
        assert chain_holds(northfield)

    def test_a_correction_is_held_to_the_same_rules(self, northfield, anna):
        with acting(anna):
            walk(northfield, found())
            wrong = FindingMended(only_finding(northfield), "why", found(place="roof"), seen_on=TODAY + DAY)
            with pytest.raises(FindingRefused) as refused:
                correct_finding(farm=northfield, mended=wrong, actor=STAFF, now=NOW)
            assert [each.pointer for each in refused.value.errors] == ["/seen_on", "/place"]


@pytest.mark.django_db
class TestRowSecurity:
    def test_a_walk_is_the_farms_own_peoples(self, northfield, southmead, anna, ben, dana, carla, erik):
        with acting(ben):
            walk(northfield, found(to_do="Drain it"))
        for who, seen in ((anna, 1), (ben, 1), (dana, 1), (carla, 0), (erik, 0)):
            with acting(who):
                assert [table.objects.count() for table in (Walk, Finding, FindingWords)] == [seen] * 3
        with acting(carla), pytest.raises(Missing):
            walk(northfield, found())

    def test_a_key_writes_words_and_never_reads_them(self, northfield, anna):
        now = timezone.now()
        with acting(anna):
            token, _key = make_token(
                farm=northfield, name="loader", scope="write", by=anna, expires_at=now + 9 * DAY, now=now
            )
        sent = WalkSent(uuid7(), TODAY, (found(to_do="Drain it"),))
        with acting_token(token):
            for _time in range(2):
                record_walk(farm=northfield, sent=sent, actor=STAFF, now=NOW)
            assert (Finding.objects.count(), FindingWords.objects.count()) == (1, 0)
        with acting(anna):
            assert FindingWords.objects.get().words == {"to_do": "Drain it"}

    def test_nobody_changes_or_deletes_but_the_eraser_and_the_chain_still_holds(self, northfield, southmead, anna):
        with acting(anna):
            walk(northfield, found(to_do="Luis drains it"))
            for table in ("walk", "finding", "findingwords"):
                for verb in (f"UPDATE monitoring_{table} SET farm_id = farm_id", f"DELETE FROM monitoring_{table}"):
                    with pytest.raises(ProgrammingError, match="denied"), transaction.atomic():
                        connection.cursor().execute(verb)
        for farm, left in ((southmead, 1), (northfield, 0)):
            with as_role("eraser"), connection.cursor() as cursor:
                cursor.execute("SELECT set_config('app.farm_id', %s, true)", [str(farm.id)])
                cursor.execute("DELETE FROM monitoring_findingwords")
            with as_factory():
                assert FindingWords.objects.count() == left
        assert chain_holds(northfield)
        # What was erased comes back with no retry, and the same walk is still known.
        with acting(anna):
            assert words_of_findings(northfield, [only_finding(northfield).id]) == {}

    @pytest.mark.parametrize("role", ["worker", "cohort", "region"])
    @pytest.mark.parametrize("table", ["walk", "finding", "findingwords", "findingstep", "findingpicture"])
    def test_no_other_role_reads_it(self, northfield, role, table):
        with as_role(role), pytest.raises(ProgrammingError, match="permission denied"), transaction.atomic():
            connection.cursor().execute(f"SELECT 1 FROM monitoring_{table}")

"""The data agreement below the pages: the group's terms, what advisers say, a farm's yes on a page and on paper."""

from datetime import date, timedelta
from hashlib import sha256

import pytest
from django.db.utils import ProgrammingError
from django.utils import timezone
from packaging.licenses import canonicalize_license_expression

from farms import services
from farms.agreement import (
    IN_FORCE,
    VERSIONS,
    acceptances_of,
    agreement_accepted,
    agreement_of,
    licence_of_group,
    papers_of,
    standing_of,
    terms_of_group,
)
from farms.errors import Forbidden, Invalid, TooLarge
from farms.ledger import row_hash, row_values, salted, verify_links
from farms.licences import LICENCES, USUAL
from farms.models import Acceptance, AdviserDeclaration, Consent, Farm, GroupTerms, LedgerEntry, SignedPaper, User
from farms.selectors import consents_of, log_of
from farms.services.agreement import MOST_BYTES, kind_of_scan, paper_hash
from farms.tenancy.acting import erase_on_farm
from tests.cast import NOW, acting, acting_token, as_factory, as_role

pytestmark = pytest.mark.django_db
TODAY = NOW.date()
DAY = timedelta(days=1)
PDF = b"%PDF-1.7\n%an invented scan\n%%EOF\n"
YES = services.Yes(IN_FORCE, "en")


def terms(**changed: object) -> services.NewTerms:
    usual = {"licence": "ODbL-1.0", "sells_products": False, "contact": "Office, 555 0100", "valid_from": TODAY}
    return services.NewTerms(**{**usual, **changed})


def paper(**changed: object) -> services.PaperSigned:
    usual = {"version": IN_FORCE, "language": "es", "signed_on": TODAY - DAY, "signed_by": "Ana Campo", "scan": PDF}
    return services.PaperSigned(**{**usual, **changed})


def set_terms(group, erik, now=NOW, **changed):
    with acting(erik):
        return services.set_terms(group=group, terms=terms(**changed), by=erik, now=now)


def accept(farm: Farm, by: User, now=NOW, yes=YES) -> Acceptance:
    with acting(by):
        return services.accept_agreement(farm=farm, yes=yes, by=by, now=now)


class TestTerms:
    def test_every_licence_offered_is_one_of_the_spdx_list(self):
        """Held to the list that the library packaging carries."""
        assert {canonicalize_license_expression(spdx) for spdx in LICENCES} == set(LICENCES)
        assert USUAL.spdx == "CC-BY-4.0"

    def test_a_group_that_wrote_none_publishes_under_the_usual_licence(self, group):
        assert terms_of_group(group.id, TODAY).sells_products is None
        assert licence_of_group(group.id, TODAY) == USUAL

    def test_they_hold_from_their_day_on_and_the_later_row_over_the_earlier(self, group, erik):
        set_terms(group, erik)
        set_terms(group, erik, licence="CC0-1.0", valid_from=TODAY + 5 * DAY)
        told = [licence_of_group(group.id, TODAY + number * DAY).spdx for number in (-1, 0, 4, 5)]
        assert told == ["CC-BY-4.0", "ODbL-1.0", "ODbL-1.0", "CC0-1.0"]
        set_terms(group, erik, licence="PDDL-1.0", now=NOW + DAY / 4)
        assert licence_of_group(group.id, TODAY).spdx == "PDDL-1.0"
        assert licence_of_group(group.id, TODAY + 5 * DAY).spdx == "CC0-1.0"

    @pytest.mark.parametrize(("changed", "code"), [
        ({"licence": "MIT"}, "licence_unknown"),
        ({"valid_from": TODAY - DAY}, "terms_day_wrong"),
        ({"valid_from": TODAY + 367 * DAY}, "terms_day_wrong"),
        ({"contact": "  "}, "contact_wrong"),
        ({"contact": "x" * 201}, "contact_wrong"),
        ({"contact": "a\x00b"}, "contact_wrong"),
    ])  # fmt: skip
    def test_what_cannot_be_right_is_refused(self, group, erik, changed, code):
        with pytest.raises(Invalid) as refused:
            set_terms(group, erik, **changed)
        assert refused.value.code == code
        assert not GroupTerms.objects.exists()

    def test_the_region_role_reads_the_licence_and_nothing_else_of_them(self, group, erik):
        set_terms(group, erik)
        with as_role("region"):
            assert licence_of_group(group.id, TODAY, using="default").spdx == "ODbL-1.0"
        with pytest.raises(ProgrammingError, match="permission denied"), as_role("region"):
            GroupTerms.objects.values_list("contact").first()


class TestYes:
    def test_it_is_a_row_an_entry_of_the_chain_and_a_line_of_the_log(self, northfield, anna, group, erik):
        written = set_terms(group, erik)
        made = accept(northfield, anna)
        assert (made.version, made.language, made.terms_id, made.signed_on) == (IN_FORCE, "en", written.id, None)
        with acting(anna):
            entry = LedgerEntry.objects.get(farm=northfield, number=made.entry)
            assert (entry.kind, entry.actor_kind, entry.rows) == ("agreement_accepted", "farm_staff", 1)
            assert verify_links(northfield.id) == []
            line = log_of(northfield).first()
            assert (line.kind, line.actor_id, line.about) == ("agreement_accepted", anna.id, IN_FORCE)
            assert standing_of(northfield, TODAY).holds

    def test_what_was_accepted_already_is_not_accepted_twice(self, northfield, anna):
        accept(northfield, anna)
        with pytest.raises(services.AgreementAccepted):
            accept(northfield, anna)

    def test_other_terms_are_told_and_asked_for_again_and_nothing_is_lost(self, northfield, anna, group, erik, dana):
        first = accept(northfield, anna)
        set_terms(group, erik, sells_products=True)
        with acting(dana):
            services.say_what_you_sell(group=group, sells_products=False, by=dana, now=NOW + DAY)
        with acting(anna):
            standing = standing_of(northfield, TODAY)
            told = [(each.what, each.before, each.now) for each in standing.changes]
            assert told == [
                ("licence", USUAL, LICENCES["ODbL-1.0"]), ("group", None, True), ("adviser", None, False)
            ]  # fmt: skip
            assert not standing.holds and standing.accepted == first
        second = accept(northfield, anna, now=NOW + 2 * DAY)
        with acting(anna):
            assert standing_of(northfield, TODAY).holds
            assert list(acceptances_of(northfield)) == [second, first]
            assert agreement_accepted(acceptances_of(northfield)[1]).terms.sells_products is None
            assert agreement_accepted(acceptances_of(northfield)[1]).advisers[0].sells_products is None

    def test_whom_to_ask_may_change_without_asking_again(self, northfield, anna, group, erik):
        set_terms(group, erik)
        accept(northfield, anna)
        set_terms(group, erik, contact="Office, 555 0199", now=NOW + DAY / 4)
        with acting(anna):
            assert standing_of(northfield, TODAY).holds

    def test_a_newer_version_is_asked_for_and_the_older_one_can_still_be_told(self, northfield, anna, monkeypatch):
        accept(northfield, anna)
        monkeypatch.setitem(VERSIONS, "2027-1", date(2026, 5, 1))
        monkeypatch.setattr("farms.agreement.IN_FORCE", "2027-1")
        with acting(anna):
            (change,) = standing_of(northfield, TODAY).changes
            assert (change.what, change.before, change.now) == ("version", "2026-1", "2027-1")
            assert agreement_accepted(acceptances_of(northfield).get()).version == "2026-1"
        with pytest.raises(services.AgreementChanged):
            accept(northfield, anna)
        assert accept(northfield, anna, yes=services.Yes("2027-1", "es")).language == "es"

    def test_what_was_read_is_what_is_accepted(self, northfield, anna, group, erik):
        with acting(anna):
            edition = agreement_of(northfield, TODAY).edition
        set_terms(group, erik)
        with pytest.raises(services.AgreementChanged):
            accept(northfield, anna, yes=services.Yes(IN_FORCE, "en", edition))
        with pytest.raises(services.VersionUnknown):
            accept(northfield, anna, yes=services.Yes("1999-1", "en"))
        with pytest.raises(services.AgreementLanguageUnknown):
            accept(northfield, anna, yes=services.Yes(IN_FORCE, "fr"))

    def test_nobody_but_an_owner_says_it(self, northfield, ben, dana, carla, erik):
        for user in (ben, dana, carla, erik):
            with pytest.raises(Forbidden):
                accept(northfield, user)

    def test_a_key_of_the_owners_says_nothing(self, northfield, anna):
        now = timezone.now()
        with acting(anna):
            token, _key = services.make_token(
                farm=northfield, name="x", scope="write", by=anna, expires_at=now + DAY, now=now
            )
            services.accept_agreement(farm=northfield, yes=YES, by=anna, now=NOW)
        with acting_token(token):
            assert Farm.objects.exists() and not Acceptance.objects.exists()
            with pytest.raises(ProgrammingError, match="row-level security"):
                Acceptance.objects.create(
                    farm=northfield, version=IN_FORCE, language="en", accepted_by=anna, accepted_at=NOW, entry=99
                )


class TestPaper:
    @pytest.fixture
    def kept(self, northfield, dana) -> SignedPaper:
        with acting(dana):
            return services.keep_signed_paper(farm=northfield, paper=paper(), by=dana, now=NOW)

    def test_the_adviser_brings_it_and_the_farm_has_accepted(self, kept, northfield, anna):
        with acting(anna):
            standing = standing_of(northfield, TODAY)
            assert standing.holds and standing.accepted.signed_on == TODAY - DAY
            entry = LedgerEntry.objects.get(farm=northfield, number=kept.entry)
            assert (entry.kind, entry.actor_kind, entry.rows) == ("agreement_accepted", "adviser", 2)
            assert log_of(northfield).first().kind == "agreement_on_paper"
            assert verify_links(northfield.id) == []

    def test_the_chain_holds_neither_name_nor_picture_but_says_which_they_were(self, kept, northfield, anna):
        with acting(anna):
            stored = SignedPaper.objects.get(id=kept.id)
            entry = LedgerEntry.objects.get(farm=northfield, number=kept.entry)
            accepted = Acceptance.objects.get(id=kept.acceptance_id)
        hashes = sorted([paper_hash(stored), row_hash("farms_acceptance", row_values(accepted))])
        assert bytes(entry.rows_hash) == sha256(b"".join(hashes)).digest()
        assert salted(bytes(stored.scan), bytes(stored.salt)) == sha256(bytes(stored.salt) + PDF).hexdigest()

    def test_an_owner_erases_it_and_the_yes_stays(self, kept, northfield, anna, dana):
        with acting(dana), pytest.raises(Forbidden):
            services.erase_signed_paper(paper=papers_of(northfield).get(), by=dana, now=NOW)
        with acting(anna):
            services.erase_signed_paper(paper=papers_of(northfield).get(), by=anna, now=NOW)
            assert not SignedPaper.objects.exists()
            assert standing_of(northfield, TODAY).holds
            assert log_of(northfield).first().kind == "paper_erased"
            assert verify_links(northfield.id) == []

    def test_the_eraser_may_too(self, kept, northfield):
        with as_role("eraser"):
            erase_on_farm(northfield.id, using="default")
            assert SignedPaper.objects.all().delete()[0] == 1

    def test_its_terms_are_those_of_the_day_it_was_signed(self, northfield, anna, group, erik):
        set_terms(group, erik)
        with acting(anna):
            services.keep_signed_paper(farm=northfield, paper=paper(), by=anna, now=NOW)
            assert [each.what for each in standing_of(northfield, TODAY).changes] == ["licence", "group"]
            services.keep_signed_paper(farm=northfield, paper=paper(signed_on=TODAY), by=anna, now=NOW)
            assert standing_of(northfield, TODAY).holds

    def test_an_old_paper_brought_in_late_does_not_take_the_place_of_a_newer_yes(self, northfield, anna, group, erik):
        set_terms(group, erik)
        accept(northfield, anna)
        with acting(anna):
            services.keep_signed_paper(farm=northfield, paper=paper(), by=anna, now=NOW + DAY)
            assert standing_of(northfield, TODAY).holds

    @pytest.mark.parametrize(("changed", "code"), [
        ({"scan": b""}, "scan_missing"),
        ({"scan": b"GIF89a" + PDF}, "scan_kind_unknown"),
        ({"scan": b"<html>%PDF-</html>"}, "scan_kind_unknown"),
        ({"scan": PDF.ljust(MOST_BYTES + 1)}, "scan_too_large"),
        ({"signed_on": TODAY + DAY}, "signed_day_wrong"),
        ({"signed_on": VERSIONS[IN_FORCE] - DAY}, "signed_day_wrong"),
        ({"signed_by": " "}, "signer_missing"),
        ({"signed_by": "A" * 121}, "signer_missing"),
        ({"version": "1999-1"}, "version_unknown"),
    ])  # fmt: skip
    def test_what_cannot_be_right_is_refused_and_nothing_is_kept(self, northfield, anna, changed, code):
        with acting(anna):
            with pytest.raises((Invalid, TooLarge)) as refused:
                services.keep_signed_paper(farm=northfield, paper=paper(**changed), by=anna, now=NOW)
            assert refused.value.code == code
            assert not Acceptance.objects.exists()

    @pytest.mark.parametrize(("content", "kind"), [
        (PDF, "pdf"), (PDF.ljust(MOST_BYTES), "pdf"), (b"\xff\xd8\xff\xe0JFIF", "jpeg"),
        (b"\x89PNG\r\n\x1a\nrest", "png"),
    ])  # fmt: skip
    def test_what_it_is_follows_from_what_it_holds(self, content, kind):
        assert kind_of_scan(content) == kind

    def test_who_sees_it(self, kept, northfield, anna, ben, dana, carla, erik):
        """The farm's owners and its adviser, by row security alone; who counts there, strangers and others nothing."""
        for user, papers in ((anna, 1), (dana, 1), (ben, 0), (carla, 0), (erik, 0)):
            with acting(user):
                assert SignedPaper.objects.count() == Acceptance.objects.count() == papers
        for role in ("worker", "cohort", "region"):
            with pytest.raises(ProgrammingError, match="permission denied"), as_role(role):
                SignedPaper.objects.exists()

    def test_who_left_sees_it_no_more(self, kept, northfield, anna, dana):
        with acting(anna):
            services.withdraw_consent(consent=consents_of(northfield).get(), by=anna, now=NOW)
        with acting(dana):
            assert not SignedPaper.objects.exists()

    def test_nobody_but_an_owner_or_an_adviser_brings_one(self, northfield, ben, carla, erik):
        for user in (ben, carla, erik):
            with acting(user), pytest.raises(Forbidden):
                services.keep_signed_paper(farm=northfield, paper=paper(), by=user, now=NOW)
        with acting(ben), pytest.raises(ProgrammingError, match="row-level security"):
            Acceptance.objects.create(
                farm=northfield, version=IN_FORCE, language="en", accepted_by=ben, accepted_at=NOW, entry=99
            )


class TestComparison:
    def test_the_farm_is_counted_once_it_has_accepted(self, northfield, anna):
        with acting(anna):
            with pytest.raises(services.AgreementNotAccepted, match="/agreement/acceptances"):
                services.join_comparison(farm=northfield, by=anna, now=NOW)
            services.accept_agreement(farm=northfield, yes=YES, by=anna, now=NOW)
            assert services.join_comparison(farm=northfield, by=anna, now=NOW).kind == "regional"

    def test_new_terms_end_no_consent(self, northfield, anna, group, erik):
        accept(northfield, anna)
        with acting(anna):
            services.join_comparison(farm=northfield, by=anna, now=NOW)
        set_terms(group, erik)
        with as_factory():
            assert Consent.objects.filter(farm=northfield, kind="regional", withdrawn_at__isnull=True).exists()


def test_the_newest_word_of_an_adviser_holds(northfield, group, anna, dana):
    with acting(dana):
        for sells, moment in ((True, NOW), (False, NOW + DAY)):
            services.say_what_you_sell(group=group, sells_products=sells, by=dana, now=moment)
    with acting(anna):
        (said,) = agreement_of(northfield, TODAY).advisers
        assert (said.adviser, said.sells_products) == (dana, False)
    with pytest.raises(ProgrammingError, match="permission denied"), as_role("app"):
        AdviserDeclaration.objects.update(sells_products=False)

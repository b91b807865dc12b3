"""The data agreement on its pages: read, accepted, signed on paper, asked for again; and before the farm is counted."""

import io

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse
from pypdf import PdfReader

from farms.models import Acceptance, Consent, Farm, LogEvent, SignedPaper
from farms.services import NewTerms, Yes, accept_agreement, give_consent, set_terms
from farms.services.agreement import MOST_BYTES
from tests.cast import NOW, acting, as_factory
from tests.server.api.senders import token_of
from tests.server.web.pages import at, hidden_fields, words

pytestmark = pytest.mark.django_db
PDF = b"%PDF-1.7\n%an invented scan\n%%EOF\n"
PNG = b"\x89PNG\r\n\x1a\nan invented picture"


def signed(content: bytes = PDF, name: str = "scan.pdf", **changed: object) -> dict[str, object]:
    usual = {"signed_by": "Ana Campo", "signed_on": "2026-05-30", "language": "es", "version": "2026-1"}
    return {**usual, "scan": SimpleUploadedFile(name, content), **changed}


def write_terms(group, erik, now=NOW, **changed):
    usual = {"licence": "ODbL-1.0", "sells_products": True, "contact": "Office, 555 0100", "valid_from": NOW.date()}
    with acting(erik):
        set_terms(group=group, terms=NewTerms(**{**usual, **changed}), by=erik, now=now)


@pytest.fixture
def accepted(northfield: Farm, anna) -> Acceptance:
    with acting(anna):
        return accept_agreement(farm=northfield, yes=Yes("2026-1", "en"), by=anna, now=NOW)


def test_an_owner_reads_it_and_accepts_what_was_read(browser, anna, northfield):
    client = browser(anna)
    page = client.get(at("agreement", northfield))
    told = words(page)
    assert "Version 2026-1 of Jan 12, 2026" in told and "Not accepted yet." in told
    assert "An agreement between the farm Northfield and the group Valley Advisers." in told
    assert "The adviser Dana: has not said whether they sell fly products." in told
    sent = client.post(at("accept_agreement", northfield), hidden_fields(page), follow=True)
    assert "Accepted for Northfield on Jun 1, 2026 by Anna." in words(sent)
    again = client.post(at("accept_agreement", northfield), hidden_fields(page), follow=True)  # pressed twice
    assert "Accepted for the farm." in words(again)
    with as_factory():
        assert Acceptance.objects.get(farm=northfield).language == "en"
    log = words(client.get(at("log", northfield)))
    assert "Data agreement accepted: 2026-1" in log


def test_in_spanish_it_is_accepted_in_spanish(browser, anna, northfield):
    client = browser(anna)
    client.post(reverse("set_language"), {"language": "es", "next": "/"})
    page = client.get(at("agreement", northfield), headers={"accept-language": "es"})
    assert "Acuerdo de datos" in words(page) and "Quién ve qué" in words(page)
    client.post(at("accept_agreement", northfield), hidden_fields(page), headers={"accept-language": "es"})
    with as_factory():
        assert Acceptance.objects.get(farm=northfield).language == "es"


def test_what_changed_meanwhile_is_not_accepted_unread(browser, anna, northfield, group, erik):
    client = browser(anna)
    read = hidden_fields(client.get(at("agreement", northfield)))
    write_terms(group, erik)
    assert "have changed since you read it" in words(
        client.post(at("accept_agreement", northfield), read, follow=True)
    )  # fmt: skip
    assert client.post(at("accept_agreement", northfield), {"version": "2026-1"}).status_code == 302
    with as_factory():
        assert not Acceptance.objects.exists()


def test_other_terms_are_told_and_asked_for_again(browser, anna, northfield, accepted, group, erik):
    write_terms(group, erik)
    client = browser(anna)
    page = client.get(at("agreement", northfield))
    told = words(page)
    assert "What has changed since the farm accepted it" in told
    assert "The licence of the region's reports: CC-BY-4.0 then, ODbL-1.0 now" in told
    assert "Whether the group sells fly products: then not said, now yes" in told
    assert "The group Valley Advisers: sells fly products." in told
    assert "changed since the farm accepted it" in words(client.get(at("settings", northfield)))
    client.post(at("accept_agreement", northfield), hidden_fields(page))
    assert "Data agreement accepted" in words(client.get(at("settings", northfield)))
    older = words(client.get(at("accepted_agreement", northfield, acceptance_id=accepted.id)))
    assert "As Anna accepted it on Jun 1, 2026." in older
    assert "Creative Commons Attribution 4.0 International (CC-BY-4.0)" in older
    assert "has not said whether it sells fly products" in older


class TestPaper:
    @pytest.mark.parametrize(("language", "wanted"), [
        ("en", ["Data agreement", "Who sees what", "For the farm Northfield", "Signature"]),
        ("es", ["Acuerdo de datos", "Quién ve qué", "Por la lechería Northfield", "Firma"]),
    ])  # fmt: skip
    def test_it_is_printed_in_both_languages_with_lines_to_sign(self, browser, dana, northfield, language, wanted):
        """Read by pypdf, a program of its own."""
        answer = browser(dana).get(at("print_agreement", northfield), {"language": language, "paper": "letter"})
        assert answer.headers["Content-Type"] == "application/pdf"
        assert f"agreement-2026-1-{language}.pdf" in answer.headers["Content-Disposition"]
        pages = PdfReader(io.BytesIO(answer.content)).pages
        told = " ".join(" ".join(page.extract_text() for page in pages).split())
        assert [each for each in [*wanted, "Version 2026-1" if language == "en" else "Versión 2026-1"]
                if each not in told] == []  # fmt: skip
        assert len(pages) == 2

    def test_the_adviser_brings_it_in_and_owner_and_adviser_save_it(self, browser, anna, dana, northfield):
        sent = browser(dana).post(at("agreement_paper", northfield), signed(name="anything.html"), follow=True)
        told = words(sent)
        assert "The signed agreement is kept" in told
        assert "signed on paper on May 30, 2026 by Ana Campo, brought in by Dana" in told
        with as_factory():
            paper = SignedPaper.objects.get()
        for user in (anna, dana):
            answer = browser(user).get(at("agreement_scan", northfield, signed_paper_id=paper.id))
            assert answer.content == PDF
            assert answer.headers["Content-Type"] == "application/pdf"
            assert answer.headers["X-Content-Type-Options"] == "nosniff"
            assert answer.headers["Content-Disposition"] == (
                'attachment; filename="agreement-signed-2026-05-30.pdf"'
            )  # fmt: skip

    def test_what_a_picture_is_follows_from_what_it_holds(self, browser, anna, northfield):
        browser(anna).post(at("agreement_paper", northfield), signed(PNG, "scan.pdf"))
        with as_factory():
            paper = SignedPaper.objects.get()
        answer = browser(anna).get(at("agreement_scan", northfield, signed_paper_id=paper.id))
        assert answer.headers["Content-Type"] == "image/png" and ".png" in answer.headers["Content-Disposition"]

    @pytest.mark.parametrize(("sent", "why"), [
        (signed(b"<script>alert(1)</script>", "scan.pdf"), "This file is no PDF and no JPEG or PNG picture"),
        (signed(b""), "This file is empty."),
        (signed(scan=""), "Choose a file."),
        (signed(signed_on="2026-06-02"), "Choose the day on which it was signed: from 2026-01-12"),
        (signed(signed_by=""), "This field is required."),
        (signed(version="1999-1"), "Select a valid choice."),
    ])  # fmt: skip
    def test_what_cannot_be_right_is_told_beside_its_field(self, browser, anna, northfield, sent, why):
        if not isinstance(sent["scan"], str):
            sent["scan"].seek(0)
        answer = browser(anna).post(at("agreement_paper", northfield), sent)
        assert answer.status_code == 422
        assert why in words(answer)
        with as_factory():
            assert not Acceptance.objects.exists() and not SignedPaper.objects.exists()

    def test_a_file_that_is_too_large_is_refused(self, browser, anna, northfield):
        answer = browser(anna).post(at("agreement_paper", northfield), signed(PDF.ljust(MOST_BYTES + 1)))
        assert answer.status_code == 422 and "more than 5 MB" in words(answer)

    def test_an_owner_erases_it(self, browser, anna, dana, northfield):
        browser(dana).post(at("agreement_paper", northfield), signed())
        with as_factory():
            paper = SignedPaper.objects.get()
        page = at("erase_scan", northfield, signed_paper_id=paper.id)
        assert browser(dana).post(page).status_code == 403
        told = words(browser(anna).post(page, follow=True))
        assert "signed on paper on May 30, 2026, brought in by Dana; the scan is erased" in told
        assert "Ana Campo" not in told
        with as_factory():
            assert not SignedPaper.objects.exists()
            assert LogEvent.objects.filter(kind="paper_erased", actor_id=anna.id).exists()


class TestWhoMay:
    def test_an_adviser_reads_it_and_does_not_accept_for_the_farm(self, browser, dana, northfield):
        client = browser(dana)
        page = client.get(at("agreement", northfield))
        assert page.status_code == 200 and "Accept for Northfield" not in words(page)
        assert client.post(at("accept_agreement", northfield), {"version": "2026-1", "edition": "x"}).status_code == 403

    def test_who_counts_there_strangers_and_keys_see_nothing_of_it(
        self, browser, anna, ben, carla, dana, erik, northfield, southmead, accepted
    ):
        browser(dana).post(at("agreement_paper", northfield), signed())
        with as_factory():
            paper = SignedPaper.objects.get()
        looked = [
            at("agreement", northfield), at("print_agreement", northfield),
            at("accepted_agreement", northfield, acceptance_id=accepted.id),
            at("agreement_scan", northfield, signed_paper_id=paper.id),
        ]  # fmt: skip
        sent = [
            at("accept_agreement", northfield), at("agreement_paper", northfield),
            at("erase_scan", northfield, signed_paper_id=paper.id),
        ]  # fmt: skip
        for user, status in ((ben, 403), (carla, 404), (erik, 404), (None, 302)):
            client = browser(user)
            assert {client.get(page).status_code for page in looked} == {status}, user
            assert {client.post(page, signed()).status_code for page in sent} == {status}, user
        reader = token_of(northfield, anna, "write")
        assert {reader.get(page).status_code for page in looked} == {302}
        with as_factory():
            assert SignedPaper.objects.count() == 1 and Acceptance.objects.count() == 2

    def test_another_farms_paper_is_not_found_under_ones_own(self, browser, carla, dana, northfield, southmead):
        browser(dana).post(at("agreement_paper", northfield), signed())
        with as_factory():
            paper = SignedPaper.objects.get()
        for page in (
            at("agreement_scan", southmead, signed_paper_id=paper.id),
            at("accepted_agreement", southmead, acceptance_id=paper.acceptance_id),
        ):
            assert browser(carla).get(page).status_code == 404


class TestBeforeTheFarmIsCounted:
    def test_it_accepts_the_agreement_first(self, browser, anna, northfield):
        client = browser(anna)
        page = words(client.get(at("consents", northfield)))
        assert "Before that the farm accepts the data agreement." in page
        assert "Count this farm in the region's reports" not in page
        answer = client.post(at("agree_region", northfield), follow=True)
        assert answer.redirect_chain[0][0] == at("agreement", northfield)
        assert "First read and accept the data agreement here" in words(answer)
        with as_factory():
            assert not Consent.objects.filter(kind="regional").exists()

    def test_joining_and_leaving_name_their_days(self, browser, anna, northfield, accepted):
        client = browser(anna)
        before = words(client.get(at("consents", northfield)))
        assert "If you agree, the farm counts from Wednesday, July 1 on, when the next quarter begins." in before
        told = words(client.post(at("agree_region", northfield), follow=True))
        assert "The farm counts in its region's reports from Wednesday, July 1 on." in told
        assert "If you end it before Wednesday, July 1, the farm does not begin to count." in told
        with as_factory():
            consent = Consent.objects.get(kind="regional")
        ended = words(client.post(at("withdraw", northfield, consent_id=consent.id), follow=True))
        assert "Withdrawn. The farm does not count in its region's reports." in ended

    def test_a_farm_that_counts_reads_before_signing_until_when_it_still_counts(self, browser, anna, northfield):
        with acting(anna):
            consent = give_consent(farm=northfield, kind="regional", by=anna, now=NOW.replace(month=2))
        client = browser(anna)
        before = words(client.get(at("consents", northfield)))
        assert "This farm counts. Agreed on Feb 1, 2026." in before
        assert (
            "If you end it, the farm still counts until Tuesday, June 30, when the quarter ends. "
            "From Wednesday, July 1 on it doesn't." in before
        )
        ended = words(client.post(at("withdraw", northfield, consent_id=consent.id), follow=True))
        assert "Withdrawn. The farm still counts until Tuesday, June 30; from Wednesday, July 1 on" in ended
        assert "This farm still counts until Tuesday, June 30." in ended

    def test_newer_terms_leave_it_counted(self, browser, anna, northfield, accepted, group, erik):
        browser(anna).post(at("agree_region", northfield))
        write_terms(group, erik)
        page = words(browser(anna).get(at("consents", northfield)))
        assert "This farm counts from Wednesday, July 1 on." in page and "Count it no longer" in page


class TestTerms:
    SENT = {"licence": "CC0-1.0", "sells_products": "no", "contact": "Office, 555 0100", "valid_from": "2026-06-01"}

    def test_a_coordinator_writes_them_and_everybody_of_the_group_reads_them(
        self, browser, anna, dana, erik, carla, group, northfield
    ):
        page = reverse("terms", args=[group.id])
        assert "nothing was written yet; the licence is the usual one" in words(browser(erik).get(page))
        assert "The group's terms are kept" in words(browser(erik).post(page, self.SENT, follow=True))
        for user in (anna, dana):
            told = words(browser(user).get(page))
            assert "Creative Commons Zero v1.0 Universal (CC0-1.0)" in told and "Office, 555 0100" in told
            assert "Keep these terms" not in told
            assert browser(user).post(page, self.SENT).status_code == 403
        assert browser(carla).get(page).status_code == browser(carla).post(page, self.SENT).status_code == 404
        assert browser().get(page).status_code == 302

    def test_what_is_set_for_later_is_told_and_does_not_hold_yet(self, browser, erik, group):
        page = reverse("terms", args=[group.id])
        told = words(browser(erik).post(page, self.SENT | {"valid_from": "2026-07-01"}, follow=True))
        assert "Written for later From Jul 1, 2026: CC0-1.0" in told
        assert "Creative Commons Attribution 4.0 International (CC-BY-4.0)" in told

    @pytest.mark.parametrize("changed", [
        {"licence": "MIT"}, {"sells_products": ""}, {"contact": " "}, {"valid_from": "2026-05-31"},
    ])  # fmt: skip
    def test_what_cannot_be_right_is_refused(self, browser, erik, group, changed):
        assert browser(erik).post(reverse("terms", args=[group.id]), self.SENT | changed).status_code == 422

    def test_an_adviser_says_it_of_themself_and_farm_and_coordinator_read_it(
        self, browser, anna, dana, erik, carla, group, northfield
    ):
        page, says = reverse("terms", args=[group.id]), reverse("adviser_sells", args=[group.id])
        assert "Dana not said" in words(browser(erik).get(page))
        monday = words(browser(dana).get(reverse("monday")))
        assert "Do you sell fly products? You have said so far: not said." in monday
        assert browser(dana).post(says, {"sells_products": ""}).status_code == 422
        assert "told to the farms that let you in" in words(
            browser(dana).post(says, {"sells_products": "yes"}, follow=True)
        )  # fmt: skip
        assert "Dana yes" in words(browser(erik).get(page))
        assert "The adviser Dana: sells fly products." in words(browser(anna).get(at("agreement", northfield)))
        for user, status in ((anna, 403), (erik, 403), (carla, 404)):
            assert browser(user).post(says, {"sells_products": "no"}).status_code == status

"""The group's terms, what advisers say of themselves, and a farm's yes to the data agreement, on a page or on paper.

A farm's yes is a row, an entry of its chain and a line of its log. The scan of a signed paper and the signer's name
enter the chain by salted hashes, so that both can be erased.
"""

import secrets
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db import transaction
from django.utils.translation import gettext_lazy as _

from farms.access import ADVISER, OWNER, Role, actor_on, role_on
from farms.agreement import VERSIONS, Agreement, standing_of, terms_of_group
from farms.clock import local_date
from farms.errors import Conflict, Forbidden, Invalid, TooLarge
from farms.ledger import append, lock_heads, next_number, row_hash, row_values, salted
from farms.licences import LICENCES
from farms.models import (
    Acceptance,
    AdviserDeclaration,
    Consent,
    Farm,
    Group,
    GroupTerms,
    LedgerHead,
    SignedPaper,
    User,
)
from farms.models.access import ConsentKind
from farms.models.agreement import ScanKind
from farms.models.group import LANGUAGES
from farms.models.log import LogKind
from farms.services.consent import give_consent
from farms.services.erasing import erase_rows
from farms.services.log import note_in_log

FURTHEST = timedelta(days=366)
LONGEST_CONTACT, LONGEST_NAME = 200, 120
MOST_BYTES = 5 * 1024 * 1024
# How a file of each kind begins: ISO 32000-2, 7.5.2; ITU-T T.81, B.1.1.3 (SOI and a marker); ISO/IEC 15948, 5.2.
BEGINNINGS = {ScanKind.PDF: b"%PDF-", ScanKind.JPEG: b"\xff\xd8\xff", ScanKind.PNG: b"\x89PNG\r\n\x1a\n"}


class LicenceUnknown(Invalid):
    code = "licence_unknown"
    message = _("Choose one of the licences offered: {licences}.")


class TermsDayWrong(Invalid):
    code = "terms_day_wrong"
    message = _("Choose a day from {today:%Y-%m-%d} on, at most a year ahead: what farms accepted before stays.")


class ContactWrong(Invalid):
    code = "contact_wrong"
    message = _("Say whom farms can ask, on one line of at most {most} characters: a name with a telephone or address.")


class VersionUnknown(Invalid):
    code = "version_unknown"
    message = _("There is no such version of the data agreement. Choose one of these: {versions}.")


class AgreementLanguageUnknown(Invalid):
    code = "agreement_language_unknown"
    message = _("The data agreement is there in these languages: {languages}. Choose one of them.")


class AgreementChanged(Conflict):
    code = "agreement_changed"
    message = _("The data agreement or its terms have changed since you read it. Read it again, then accept it.")


class AgreementAccepted(Conflict):
    code = "agreement_accepted"
    message = _("The farm has accepted this already, and nothing has changed since. Nothing needs to be done.")


class AgreementNotAccepted(Conflict):
    code = "agreement_not_accepted"
    message = _(
        "First accept the data agreement as it is now: in the farm's settings under “Data agreement”, or by a POST to "
        "/api/v1/farms/{farm}/agreement/acceptances."
    )


class SignedDayWrong(Invalid):
    code = "signed_day_wrong"
    message = _("Choose the day on which it was signed: from {first:%Y-%m-%d}, the date of this version, to today.")


class SignerMissing(Invalid):
    code = "signer_missing"
    message = _("Write the name of who signed, as it stands on the paper, in at most {most} characters.")


class ScanMissing(Invalid):
    code = "scan_missing"
    message = _("This file is empty. Choose the scan or photo again.")


class ScanKindUnknown(Invalid):
    code = "scan_kind_unknown"
    message = _("This file is no PDF and no JPEG or PNG picture, whatever its name says. Scan or photograph it anew.")


class ScanTooLarge(TooLarge):
    code = "scan_too_large"
    message = _("This file has more than 5 MB. Scan in grey, or take the photo with fewer pixels, and choose it again.")


@dataclass(frozen=True)
class NewTerms:
    """What a coordinator writes: the licence by its SPDX identifier, and from when all of it holds."""

    licence: str
    sells_products: bool
    contact: str
    valid_from: date


@dataclass(frozen=True)
class Yes:
    """What is accepted: a version, the language in which it was read, and the edition shown, where one was."""

    version: str
    language: str
    edition: str = ""


@dataclass(frozen=True)
class PaperSigned:
    """A paper that was signed: which version, when and by whom as it is written, and its scan."""

    version: str
    language: str
    signed_on: date
    signed_by: str
    scan: bytes


def set_terms(*, group: Group, terms: NewTerms, by: User, now: datetime) -> GroupTerms:
    """Write the group's terms from a day on. The entry point lets coordinators in only. Raises Invalid kinds."""
    today, contact = local_date(now, group.time_zone), " ".join(terms.contact.split())
    if terms.licence not in LICENCES:
        raise LicenceUnknown(pointer="/licence", licences=", ".join(LICENCES))
    if not today <= terms.valid_from <= today + FURTHEST:
        raise TermsDayWrong(pointer="/valid_from", today=today)
    if not contact or len(contact) > LONGEST_CONTACT or not contact.isprintable():
        raise ContactWrong(pointer="/contact", most=LONGEST_CONTACT)
    return GroupTerms.objects.create(
        group=group, licence=terms.licence, sells_products=terms.sells_products, contact=contact,
        valid_from=terms.valid_from, set_by=by, set_at=now,
    )  # fmt: skip


def say_what_you_sell(*, group: Group, sells_products: bool, by: User, now: datetime) -> AdviserDeclaration:
    """An adviser says of themself whether they sell fly products. The entry point lets the group's advisers in only."""
    return AdviserDeclaration.objects.create(group=group, adviser=by, sells_products=sells_products, said_at=now)


@transaction.atomic
def accept_agreement(*, farm: Farm, yes: Yes, by: User, now: datetime) -> Acceptance:
    """Say yes to the agreement in force; for the farm's owners. Raises Forbidden, Invalid kinds, AgreementChanged where
    something else was read than holds now, or AgreementAccepted.
    """
    _require_role(by, farm, OWNER)
    _check_text(yes.version, yes.language)
    head = lock_heads([farm.id])[farm.id]
    standing = standing_of(farm, local_date(now, farm.time_zone))
    agreement = standing.agreement
    if yes.version != agreement.version or yes.edition not in ("", agreement.edition):
        raise AgreementChanged()
    if standing.holds:
        raise AgreementAccepted()
    made = _accept(agreement, yes.language, head, by=by, now=now)
    append(head, kind="agreement_accepted", actor=actor_on(by, farm.id), row_hashes=[_hash(made)], now=now)
    _note(farm, LogKind.AGREEMENT_ACCEPTED, by, now, about=made.version)
    return made


@transaction.atomic
def keep_signed_paper(*, farm: Farm, paper: PaperSigned, by: User, now: datetime) -> SignedPaper:
    """Keep the scan of an agreement signed on paper: the farm's yes; for its owners and its advisers.

    Raises Forbidden, Invalid kinds or ScanTooLarge. The terms are those of the day on which it was signed.
    """
    _require_role(by, farm, OWNER, ADVISER)
    signed_by = " ".join(paper.signed_by.split())
    _check_paper(paper, signed_by, local_date(now, farm.time_zone))
    kind = kind_of_scan(paper.scan)
    head = lock_heads([farm.id])[farm.id]
    terms = terms_of_group(farm.group_id, paper.signed_on)
    agreement = Agreement(farm, paper.version, terms, ())
    accepted = _accept(agreement, paper.language, head, by=by, now=now, signed_on=paper.signed_on)
    kept = SignedPaper.objects.create(
        farm=farm, acceptance_id=accepted.id, signed_by=signed_by, kind=kind, scan=paper.scan,
        salt=secrets.token_bytes(16), entry=accepted.entry,
    )  # fmt: skip
    hashes = [_hash(accepted), paper_hash(kept)]
    append(head, kind="agreement_accepted", actor=actor_on(by, farm.id), row_hashes=hashes, now=now)
    _note(farm, LogKind.AGREEMENT_ON_PAPER, by, now, about=paper.version)
    return kept


@transaction.atomic
def erase_signed_paper(*, paper: SignedPaper, by: User, now: datetime) -> None:
    """Erase a scan and its signer's name; for the farm's owners. That the farm accepted stays, and on which day."""
    _require_role(by, paper.farm, OWNER)
    erase_rows([paper], now=now)
    _note(paper.farm, LogKind.PAPER_ERASED, by, now, about=paper.acceptance.version)


def join_comparison(*, farm: Farm, by: User, now: datetime) -> Consent:
    """Agree that the farm counts in region reports, once it has accepted the agreement as it is now.

    Raises AgreementNotAccepted or ConsentAlreadyGiven.
    """
    if not standing_of(farm, local_date(now, farm.time_zone)).holds:
        raise AgreementNotAccepted(farm=farm.id)
    return give_consent(farm=farm, kind=ConsentKind.REGIONAL, by=by, now=now)


def kind_of_scan(content: bytes) -> ScanKind:
    """What a file is by what it holds, whatever it is called. Raises ScanMissing, ScanTooLarge or ScanKindUnknown."""
    if not content:
        raise ScanMissing(pointer="/scan")
    if len(content) > MOST_BYTES:
        raise ScanTooLarge(pointer="/scan")
    for kind, beginning in BEGINNINGS.items():
        if content.startswith(beginning):
            return kind
    raise ScanKindUnknown(pointer="/scan")


def paper_hash(paper: SignedPaper) -> bytes:
    """What the chain holds of a signed paper: neither the name nor the picture."""
    salt, scan = bytes(paper.salt), bytes(paper.scan)
    values = row_values(paper, leave_out=("signed_by", "scan", "salt"))
    told = {"signed_by": salted(paper.signed_by, salt), "scan": salted(scan, salt)}
    return row_hash(SignedPaper._meta.db_table, values | told)


def _accept(
    agreement: Agreement, language: str, head: LedgerHead, *, by: User, now: datetime, signed_on: date | None = None
) -> Acceptance:
    return Acceptance.objects.create(
        farm=agreement.farm, version=agreement.version, language=language, terms_id=agreement.terms.id,
        accepted_by=by, accepted_at=now, signed_on=signed_on, entry=next_number(head),
    )  # fmt: skip


def _hash(made: Acceptance) -> bytes:
    return row_hash(made._meta.db_table, row_values(made))


def _note(farm: Farm, kind: LogKind, by: User, now: datetime, *, about: str) -> None:
    note_in_log(farm=farm, kind=kind, actor=actor_on(by, farm.id), now=now, about=about)


def _require_role(by: User, farm: Farm, *roles: Role) -> None:
    if role_on(by, farm.id) not in roles:
        raise Forbidden()


def _check_text(version: str, language: str) -> None:
    if version not in VERSIONS:
        raise VersionUnknown(pointer="/version", versions=", ".join(VERSIONS))
    if language not in dict(LANGUAGES):
        raise AgreementLanguageUnknown(pointer="/language", languages=", ".join(dict(LANGUAGES)))


def _check_paper(paper: PaperSigned, signed_by: str, today: date) -> None:
    _check_text(paper.version, paper.language)
    if not VERSIONS[paper.version] <= paper.signed_on <= today:
        raise SignedDayWrong(pointer="/signed_on", first=VERSIONS[paper.version])
    if not signed_by or len(signed_by) > LONGEST_NAME or not signed_by.isprintable():
        raise SignerMissing(pointer="/signed_by", most=LONGEST_NAME)

"""The data agreement: which version is in force, under which terms, and what a farm accepted of it.

Ids given by somebody come through `farms.access` first. The text itself is set in server/agreement/.
"""

import hashlib
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db.models import Exists, OuterRef, Q, QuerySet

from farms.ledger import canonical
from farms.licences import LICENCES, USUAL, Licence
from farms.models import (
    Acceptance,
    AdviserDeclaration,
    Consent,
    Farm,
    Group,
    GroupTerms,
    LedgerEntry,
    SignedPaper,
    User,
)
from farms.models.access import ConsentKind

# Every version that a farm may have accepted, with its date; a text that was ever in force is never changed.
VERSIONS = {"2026-1": date(2026, 1, 12)}
IN_FORCE = "2026-1"
# The entry of a farm's chain with which it came to another group.
HANDED_OVER = "handed_over"
TERMS = ("id", "group_id", "licence", "valid_from", "set_at")


@dataclass(frozen=True)
class Terms:
    """A group's terms. Where none were written: the usual licence, and nothing said of the rest."""

    licence: Licence = USUAL
    sells_products: bool | None = None
    contact: str = ""
    valid_from: date | None = None
    id: UUID | None = None


@dataclass(frozen=True)
class AdviserSays:
    """Whether an adviser says that they sell fly products; None where they didn't say."""

    adviser: User
    sells_products: bool | None


@dataclass(frozen=True)
class Agreement:
    """What a farm is shown: one version of the agreement, with the terms and the statements that belong to it."""

    farm: Farm
    version: str
    terms: Terms
    advisers: tuple[AdviserSays, ...]

    @property
    def made_on(self) -> date:
        return VERSIONS[self.version]

    @property
    def edition(self) -> str:
        """A short code of all that is shown: who accepts says by it what they read."""
        said = [[str(each.adviser.id), each.sells_products] for each in self.advisers]
        shown = canonical({"version": self.version, "terms": self.terms.id, "advisers": said})
        return hashlib.sha256(shown).hexdigest()[:16]


@dataclass(frozen=True)
class Change:
    """One thing that is otherwise than a farm accepted it: "version", "licence", "group" or "adviser".

    `before` and `now` are versions, licences, or whether products are sold; `adviser` of whom that is said.
    """

    what: str
    before: object
    now: object
    adviser: User | None = None


@dataclass(frozen=True)
class Standing:
    """How a farm stands to the agreement in force: its last yes, and what has changed since."""

    agreement: Agreement
    accepted: Acceptance | None
    changes: tuple[Change, ...]

    @property
    def holds(self) -> bool:
        """Whether what is in force now was accepted."""
        return self.accepted is not None and not self.changes


def terms_of_group(group_id: UUID, on: date) -> Terms:
    """A group's terms on a day."""
    return as_terms(_in_force(group_id, on, "default").first())


def licence_of_group(group_id: UUID, on: date, *, using: str = "default") -> Licence:
    """The open licence of a group's region reports on a day. The region role may ask for it, too."""
    row = _in_force(group_id, on, using).only(*TERMS).first()
    return LICENCES[row.licence] if row is not None else USUAL


def as_terms(row: GroupTerms | None) -> Terms:
    if row is None:
        return Terms()
    return Terms(LICENCES[row.licence], row.sells_products, row.contact, row.valid_from, row.id)


def written_terms_of(group: Group) -> QuerySet[GroupTerms]:
    """Everything that the group's coordinators wrote, newest first."""
    return GroupTerms.objects.filter(group_id=group.id).select_related("set_by").order_by("-set_at", "-id")


def said_by(group_id: UUID, advisers: Collection[User], *, until: datetime | None = None) -> dict[UUID, bool]:
    """What these advisers say of themselves, or said until a moment; who didn't say is left out. One query."""
    rows = AdviserDeclaration.objects.filter(group_id=group_id, adviser_id__in=[user.id for user in advisers])
    if until is not None:
        rows = rows.filter(said_at__lte=until)
    newest = rows.order_by("adviser_id", "-said_at", "-id").distinct("adviser_id")
    return dict(newest.values_list("adviser_id", "sells_products"))


def agreement_of(farm: Farm, today: date) -> Agreement:
    """What the farm would accept now."""
    advisers = _advisers(farm, Q(withdrawn_at__isnull=True))
    said = said_by(farm.group_id, advisers)
    return Agreement(farm, IN_FORCE, terms_of_group(farm.group_id, today), _says(advisers, said))


def agreement_accepted(acceptance: Acceptance) -> Agreement:
    """What the farm accepted then, as it was shown: its version, its terms, and what its advisers said."""
    at = agreed_at(acceptance)
    lasting = Q(given_at__lte=at) & (Q(withdrawn_at__isnull=True) | Q(withdrawn_at__gt=at))
    farm, advisers = acceptance.farm, _advisers(acceptance.farm, lasting)
    said = said_by(acceptance.terms.group_id if acceptance.terms else farm.group_id, advisers, until=at)
    return Agreement(farm, acceptance.version, as_terms(acceptance.terms), _says(advisers, said))


def standing_of(farm: Farm, today: date) -> Standing:
    """How the farm stands to the agreement in force."""
    agreement, accepted = agreement_of(farm, today), max(_said_to_its_group(farm), key=agreed_at, default=None)
    changes = _changes(agreement, accepted) if accepted is not None else ()
    return Standing(agreement, accepted, tuple(changes))


def agreed_at(acceptance: Acceptance) -> datetime:
    """When the farm said yes: on paper by the end of the day on which it was signed, whenever that was brought in."""
    if acceptance.signed_on is None:
        return acceptance.accepted_at
    day_after = datetime.combine(acceptance.signed_on + timedelta(days=1), time(), ZoneInfo(acceptance.farm.time_zone))
    return min(acceptance.accepted_at, day_after)


def acceptances_of(farm: Farm) -> QuerySet[Acceptance]:
    """Every yes of the farm, newest first."""
    rows = Acceptance.objects.filter(farm_id=farm.id).select_related("accepted_by", "terms", "farm")
    return rows.order_by("-entry")


def _said_to_its_group(farm: Farm) -> QuerySet[Acceptance]:
    """Every yes since the farm is with its group: what it said to one before holds for no other."""
    later = LedgerEntry.objects.filter(farm_id=farm.id, kind=HANDED_OVER, number__gt=OuterRef("entry"))
    return acceptances_of(farm).exclude(Exists(later))


def papers_of(farm: Farm) -> QuerySet[SignedPaper]:
    """What is kept of the papers that were signed; each scan is read when it is asked for."""
    return SignedPaper.objects.filter(farm_id=farm.id).defer("scan").order_by("-entry")


def _in_force(group_id: UUID, on: date, using: str) -> QuerySet[GroupTerms]:
    rows = GroupTerms.objects.using(using).filter(group_id=group_id, valid_from__lte=on)
    return rows.order_by("-valid_from", "-set_at", "-id")


def _advisers(farm: Farm, which: Q) -> list[User]:
    consents = Consent.objects.filter(which, farm_id=farm.id, kind=ConsentKind.ADVISER)
    return list(User.objects.filter(id__in=consents.values("adviser_id")).order_by("name", "id"))


def _says(advisers: Sequence[User], said: dict[UUID, bool]) -> tuple[AdviserSays, ...]:
    return tuple(AdviserSays(user, said.get(user.id)) for user in advisers)


def _changes(now: Agreement, accepted: Acceptance) -> list[Change]:
    before = as_terms(accepted.terms)
    advisers = [each.adviser for each in now.advisers]
    said = said_by(now.farm.group_id, advisers, until=agreed_at(accepted))
    pairs = [
        Change("version", accepted.version, now.version),
        Change("licence", before.licence, now.terms.licence),
        Change("group", before.sells_products, now.terms.sells_products),
        *(
            Change("adviser", said.get(each.adviser.id), each.sells_products, each.adviser)
            for each in now.advisers
        ),
    ]  # fmt: skip
    return [each for each in pairs if each.before != each.now]

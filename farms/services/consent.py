"""A farm's yes to its adviser, or to the regional comparison, and its end. Both are entries of the chain."""

from datetime import datetime
from uuid import UUID

from django.db import connection, transaction
from django.utils.translation import gettext_lazy as _

from farms.access import actor_on
from farms.constraints import explained
from farms.errors import Conflict, Invalid
from farms.ledger import append, lock_heads, next_number, row_hash, row_values
from farms.models import Consent, Farm, User
from farms.models.access import ConsentKind
from farms.models.log import LogKind
from farms.services.log import note_in_log
from farms.services.visit import take_visits_back
from farms.tenancy.acting import act_for_user


class ConsentAlreadyGiven(Conflict):
    code = "consent_already_given"
    message = _("The farm has already agreed to this. Nothing needs to be done.")


class AdviserUnknown(Invalid):
    code = "adviser_unknown"
    message = _("Choose an adviser of the farm's own group.")


class ConsentKindUnknown(Invalid):
    code = "consent_kind_unknown"
    message = _("There is no such consent. Choose adviser or regional.")


@transaction.atomic
def give_consent(
    *, farm: Farm, kind: str, adviser: User | None = None, whoever_follows: bool = False, by: User, now: datetime
) -> Consent:
    """Let an adviser see the farm, or count it in region reports. Raises Invalid kinds or ConsentAlreadyGiven.

    `whoever_follows`: also the next one that the group names, should this adviser leave it.
    """
    _check(farm, kind, adviser)
    head = lock_heads([farm.id])[farm.id]
    with explained(
        {
            "adviser_consent_once_while_it_lasts": ConsentAlreadyGiven(),
            "regional_consent_once_while_it_lasts": ConsentAlreadyGiven(),
        }
    ):
        consent = Consent.objects.create(
            farm=farm, kind=kind, adviser=adviser, given_by=by, given_at=now, entry=next_number(head),
            whoever_follows=True if whoever_follows and adviser is not None else None,
        )  # fmt: skip
    actor = actor_on(by, farm.id)
    append(head, kind="consent_given", actor=actor, row_hashes=[given_hash(consent)], now=now)
    note_in_log(farm=farm, kind=LogKind.CONSENT_GIVEN, actor=actor, now=now, about=_about(consent))
    return consent


@transaction.atomic
def withdraw_consent(*, consent: Consent, by: User, now: datetime) -> Consent:
    """End a consent at once; a second time changes nothing.

    What an adviser planned there is taken back, and where they were before is erased: once shut out they could do
    neither, and the farm can't. The transaction acts for `by` afterwards.
    """
    head = lock_heads([consent.farm_id])[consent.farm_id]
    consent.refresh_from_db()
    if consent.withdrawn_at is not None:
        return consent
    consent.withdrawn_at = now
    # Entry and note first: an adviser who gives the farm back may write nothing on it after the change.
    actor = actor_on(by, consent.farm_id)
    append(head, kind="consent_withdrawn", actor=actor, row_hashes=[withdrawn_hash(consent)], now=now)
    note_in_log(farm=consent.farm, kind=LogKind.CONSENT_WITHDRAWN, actor=actor, now=now, about=_about(consent))
    if consent.adviser_id is not None:
        act_for_user(consent.adviser_id)
        take_visits_back(adviser_id=consent.adviser_id, farm_ids=[consent.farm_id], now=now)
        act_for_user(by.id)
    Consent.objects.filter(farm_id=consent.farm_id, id=consent.id).update(withdrawn_at=now)
    return consent


def given_hash(consent: Consent) -> bytes:
    """What the chain holds of a consent when it is given: the row without its end."""
    return row_hash(consent._meta.db_table, row_values(consent, leave_out=["withdrawn_at"]))


def withdrawn_hash(consent: Consent) -> bytes:
    """What the chain holds of a consent when it ends: the whole row."""
    return row_hash(consent._meta.db_table, row_values(consent))


def _about(consent: Consent) -> str:
    return f"{consent.kind} {consent.adviser_id or ''}".strip()


def _check(farm: Farm, kind: str, adviser: User | None) -> None:
    if kind not in ConsentKind.values:
        raise ConsentKindUnknown(pointer="/kind")
    if kind == ConsentKind.REGIONAL and adviser is None:
        return
    if kind == ConsentKind.REGIONAL or adviser is None or not hold_adviser(adviser.id, farm.group_id):
        raise AdviserUnknown(pointer="/adviser")


def hold_adviser(user_id: UUID, group_id: UUID) -> bool:
    """Whether somebody advises the group; until the transaction ends their role can't end.

    Before the heads of chains, as in farms.services.adviser: who ends the role finds each consent that is given.
    """
    with connection.cursor() as cursor:
        cursor.execute("SELECT hold_adviser(%s, %s)", [user_id, group_id])
        return bool(cursor.fetchone()[0])

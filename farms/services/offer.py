"""Who is next where an adviser left: named by a coordinator, answered by the farm's owner, begun as agreed before."""

import logging
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from uuid import UUID

from django.db import InterfaceError, OperationalError, connection, transaction
from django.utils.translation import gettext_lazy as _

from farms.access import ADVISER, actor_on, role_on
from farms.clock import local_date
from farms.errors import Conflict, Forbidden, Invalid
from farms.ledger import Actor, append, lock_heads, next_number
from farms.models import AdviserOffer, Consent, Farm, GroupMember, OpenPromise, PlannedVisit, Region, User
from farms.models.access import ConsentKind, GroupRole
from farms.models.chain import ActorKind
from farms.models.log import LogKind
from farms.models.offer import OfferAnswer
from farms.models.promise import PromiseKind
from farms.offers import agreed_by_an_owner, all_offers
from farms.services.adviser import lock_role
from farms.services.consent import give_consent, given_hash, hold_adviser
from farms.services.log import note_in_log

# Each farm is told by its weekly mail, which comes within a week, and has days left after it to say no.
NOTICE = timedelta(days=14)
FURTHEST = timedelta(days=120)
logger = logging.getLogger(__name__)


class SuccessorUnknown(Invalid):
    code = "successor_unknown"
    message = _("Choose another adviser of the same group who is still there.")


class TakeOverDayWrong(Invalid):
    code = "take_over_day_wrong"
    message = _(
        "Choose a day from {first:%Y-%m-%d} to {last:%Y-%m-%d}: each farm is told in its next weekly mail, and has "
        "time to say no."
    )


class RegionElsewhere(Invalid):
    code = "region_elsewhere"
    message = _("Choose a region of the same group.")


class AdviserStays(Conflict):
    code = "adviser_stays"
    message = _("This adviser has not left the group. End the role first, then say who takes over.")


class OfferAnswered(Conflict):
    code = "offer_answered"
    message = _("This was answered already, or somebody else was named since. Load the page again.")


class OfferAnswerUnknown(Invalid):
    code = "offer_answer_unknown"
    message = _("Say yes or no.")


class PromiseTaken(Conflict):
    code = "promise_taken"
    message = _("Somebody has taken this over already. Load the page again to see what is still open.")


@dataclass(frozen=True)
class Successor:
    """Who would take over, from which day on: all farms of who left, or those of one region."""

    user: User
    begins_on: date
    region: Region | None = None


def check_successor(*, role: GroupMember, successor: Successor, now: datetime) -> None:
    """Raises SuccessorUnknown, TakeOverDayWrong or RegionElsewhere."""
    others = GroupMember.objects.lasting().filter(group_id=role.group_id, role=GroupRole.ADVISER)
    if not others.filter(user_id=successor.user.id).exclude(user_id=role.user_id).exists():
        raise SuccessorUnknown(pointer="/successor_id")
    if successor.region is not None and successor.region.group_id != role.group_id:
        raise RegionElsewhere(pointer="/region_id")
    first, last = days_to_begin(role, now)
    if not first <= successor.begins_on <= last:
        raise TakeOverDayWrong(pointer="/begins_on", first=first, last=last)


def days_to_begin(role: GroupMember, now: datetime) -> tuple[date, date]:
    """The first and the last day on which somebody may take over: each farm has time to read of it and to say no."""
    today = local_date(now, role.group.time_zone)
    return today + NOTICE, today + FURTHEST


@transaction.atomic
def name_successor(*, role: GroupMember, successor: Successor, now: datetime) -> int:
    """Name who would follow an adviser who left, to the farms that haven't said yes; how many farms that is.

    The transaction acts for a coordinator of the group. Raises Invalid kinds, AdviserStays or Forbidden.
    """
    role = lock_role(role, beside=successor.user)
    if role.ended_at is None:
        raise AdviserStays()
    check_successor(role=role, successor=successor, now=now)
    region = successor.region.id if successor.region else None
    return _by_function(
        "SELECT name_successor(%s, %s, %s, %s, %s, %s)",
        [role.group_id, role.user_id, successor.user.id, region, successor.begins_on, now],
    )


@transaction.atomic
def pass_promises(*, role: GroupMember, to: User, now: datetime) -> int:
    """Pass the open promises of who left to an adviser, on the farms that agreed to that one; how many those are."""
    role = lock_role(role)
    others = GroupMember.objects.lasting().filter(group_id=role.group_id, role=GroupRole.ADVISER, user_id=to.id)
    if not others.exists():
        raise SuccessorUnknown(pointer="/adviser_id")
    today = local_date(now, role.group.time_zone)
    return _by_function("SELECT pass_promises(%s, %s, %s, %s, %s)", [role.group_id, role.user_id, to.id, today, now])


@transaction.atomic
def answer_offer(*, offer: AdviserOffer, answer: str, by: User, now: datetime) -> AdviserOffer:
    """The owner's yes, which lets the successor in from now on, or no. Raises Invalid kinds or OfferAnswered."""
    if answer not in (OfferAnswer.YES, OfferAnswer.NO):
        raise OfferAnswerUnknown(pointer="/answer")
    if answer == OfferAnswer.YES and offer.successor_id is not None:
        hold_adviser(offer.successor_id, offer.farm.group_id)
    lock_heads([offer.farm_id])
    offer = all_offers().select_related("farm").get(farm_id=offer.farm_id, id=offer.id)
    if offer.ended_at or offer.answer != OfferAnswer.NOTHING or offer.successor is None:
        raise OfferAnswered()
    if answer == OfferAnswer.YES:
        _agree(offer, by, now)
    else:
        actor = actor_on(by, offer.farm_id)
        about = f"adviser {offer.successor_id}"
        note_in_log(farm=offer.farm, kind=LogKind.SUCCESSOR_REFUSED, actor=actor, now=now, about=about)
    offer.answer, offer.answered_by, offer.answered_at = OfferAnswer(answer), by, now
    AdviserOffer.objects.filter(farm_id=offer.farm_id, id=offer.id).update(
        answer=offer.answer, answered_by=by, answered_at=now
    )
    return offer


def _agree(offer: AdviserOffer, by: User, now: datetime) -> None:
    lasting = Consent.objects.filter(
        farm_id=offer.farm_id, adviser_id=offer.successor_id, kind=ConsentKind.ADVISER, withdrawn_at__isnull=True
    )
    if not lasting.exists():
        give_consent(farm=offer.farm, kind=ConsentKind.ADVISER, adviser=offer.successor, by=by, now=now)


def begin_due(*, group_id: UUID, today: date, now: datetime) -> int:
    """Let in the successors whose day has come where an owner agreed to whoever follows; how many. As the worker."""
    due = AdviserOffer.objects.filter(
        agreed_by_an_owner(), farm__group_id=group_id, ended_at__isnull=True, agreed_by__isnull=False,
        answer=OfferAnswer.NOTHING, begins_on__lte=today,
    )  # fmt: skip
    return sum(_begin_alone(offer, now) for offer in due.select_related("farm").order_by("farm_id", "id"))


def _begin_alone(offer: AdviserOffer, now: datetime) -> bool:
    """One farm's; where it fails, the farms behind it have theirs all the same, and it is tried again next time."""
    try:
        return _begin(offer, now)
    except (OperationalError, InterfaceError):
        raise  # the database, not a farm
    except Exception:
        logger.exception("farm %s: who follows its adviser could not be let in", offer.farm_id)
        return False


@transaction.atomic
def _begin(offer: AdviserOffer, now: datetime) -> bool:
    """One farm's, under the lock of its chain, so that a no at the same moment holds; so does an end of the role."""
    if offer.successor_id is None or not hold_adviser(offer.successor_id, offer.farm.group_id):
        return False
    head = lock_heads([offer.farm_id])[offer.farm_id]
    offer = all_offers().select_related("farm", "agreed_by").get(farm_id=offer.farm_id, id=offer.id)
    if offer.ended_at or offer.answer != OfferAnswer.NOTHING:
        return False
    if offer.agreed_by is None or not offer.begins_by_itself:
        return False
    known = Consent.objects.filter(
        farm_id=offer.farm_id, adviser_id=offer.successor_id, kind=ConsentKind.ADVISER, withdrawn_at__isnull=True
    )
    if not known.exists():
        consent = Consent.objects.create(
            farm_id=offer.farm_id, kind=ConsentKind.ADVISER, adviser_id=offer.successor_id,
            given_by=offer.agreed_by, given_at=now, whoever_follows=True, entry=next_number(head),
        )  # fmt: skip
        actor = Actor(ActorKind.SERVICE, None)
        append(head, kind="consent_given", actor=actor, row_hashes=[given_hash(consent)], now=now)
        about = f"adviser {offer.successor_id}"
        note_in_log(farm=offer.farm, kind=LogKind.CONSENT_GIVEN, actor=actor, now=now, about=about)
    AdviserOffer.objects.filter(farm_id=offer.farm_id, id=offer.id).update(
        answer=OfferAnswer.BY_ITSELF, answered_at=now
    )
    return True


@transaction.atomic
def take_promise_over(*, promise: OpenPromise, by: User, now: datetime) -> OpenPromise:
    """Take over what was promised to a farm; for its advisers. A visit or call that lies ahead is planned for them."""
    if role_on(by, promise.farm_id) is not ADVISER:
        raise Forbidden()
    open_ones = OpenPromise.objects.filter(farm_id=promise.farm_id, id=promise.id, taken_at__isnull=True)
    if not open_ones.update(taken_by=by, taken_at=now):
        raise PromiseTaken()
    farm = Farm.objects.get(id=promise.farm_id)
    ahead = promise.day >= local_date(now, farm.time_zone)
    if ahead and promise.kind in (PromiseKind.VISIT, PromiseKind.CALL):
        PlannedVisit.objects.create(farm=farm, adviser=by, kind=promise.kind, day=promise.day, planned_at=now)
    promise.taken_by, promise.taken_at = by, now
    return promise


def _by_function(sql: str, values: list[Any]) -> int:
    with connection.cursor() as cursor:
        cursor.execute(sql, values)
        return int(cursor.fetchone()[0])

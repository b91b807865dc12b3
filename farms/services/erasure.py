"""What is asked to be erased: a farm, somebody who counts on it, one's own account.

Here it is asked and taken back. It is done after a time of waiting, in the eraser's role and in no other
(server/erasing).
"""

from datetime import datetime, timedelta

from django.db import transaction
from django.utils.translation import gettext_lazy as _

from farms.access import OWNER, actor_on, role_on
from farms.constraints import explained
from farms.erasures import alone_on, waiting_erasures
from farms.errors import Conflict, Forbidden, Invalid
from farms.models import AccountErasure, ErasureRequest, Farm, GroupMember, Person, User
from farms.models.access import GroupRole
from farms.models.erasure import WAITS
from farms.models.log import LogKind
from farms.services.log import note_in_log

FARM_WAITS = timedelta(days=14)
PERSON_WAITS = timedelta(days=7)


class FarmNameDiffers(Invalid):
    code = "farm_name_differs"
    message = _("That is not the farm's name. Type it as it stands here: {name}.")


class ErasureAskedAlready(Conflict):
    code = "erasure_asked_already"
    message = _("That was asked for already, and waits for its day. It can be taken back until then.")


class ErasureDone(Conflict):
    code = "erasure_done"
    message = _("That was taken back already, or is done. Load the page again to see what holds.")


class LastOwnerErased(Conflict):
    code = "last_owner_erased"
    message = _(
        "You are the only owner of {farm}. Make somebody else an owner first, or ask for the farm to be erased: then "
        "your account goes with it."
    )


class StillOfAGroup(Conflict):
    code = "still_of_a_group"
    message = _("You still have a role in the group {group}. Ask its coordinator to end it first.")


@transaction.atomic
def ask_farm_erasure(*, farm: Farm, typed_name: str, by: User, now: datetime) -> ErasureRequest:
    """Ask for the whole farm to be erased; for its owners. Raises Forbidden, FarmNameDiffers, ErasureAskedAlready."""
    _require_owner(by, farm)
    if _plain(typed_name) != _plain(farm.name):
        raise FarmNameDiffers(pointer="/farm_name", name=farm.name)
    asked = _ask(farm, None, words=False, by=by, now=now, waits=FARM_WAITS)
    note_in_log(farm=farm, kind=LogKind.ERASURE_ASKED, actor=actor_on(by, farm.id), now=now)
    return asked


@transaction.atomic
def ask_person_erasure(*, person: Person, words: bool, by: User, now: datetime) -> ErasureRequest:
    """Ask for somebody who counts here to be erased; for the farm's owners. Raises Forbidden or ErasureAskedAlready.

    `words`: the notes of the rounds that they counted or typed, too.
    """
    farm = person.farm
    _require_owner(by, farm)
    asked = _ask(farm, person, words=words, by=by, now=now, waits=PERSON_WAITS)
    note_in_log(farm=farm, kind=LogKind.PERSON_TO_ERASE, actor=actor_on(by, farm.id), now=now)
    return asked


@transaction.atomic
def take_erasure_back(*, asked: ErasureRequest, by: User, now: datetime) -> ErasureRequest:
    """Keep what was to be erased; for the farm's owners, until it is done. Raises Forbidden or ErasureDone."""
    _require_owner(by, asked.farm)
    if not waiting_erasures(asked.farm_id).filter(id=asked.id).update(taken_back_at=now):
        raise ErasureDone()
    kind = LogKind.PERSON_KEPT if asked.person_id else LogKind.ERASURE_TAKEN_BACK
    note_in_log(farm=asked.farm, kind=kind, actor=actor_on(by, asked.farm_id), now=now)
    asked.taken_back_at = now
    return asked


@transaction.atomic
def ask_account_erasure(*, user: User, words: bool, now: datetime) -> AccountErasure:
    """Ask for one's own account to be erased. Raises LastOwnerErased, StillOfAGroup or ErasureAskedAlready.

    `words`: what was typed by this account on farms, too. Row security must act for the person.
    """
    farm = alone_on(user)
    if farm is not None:
        raise LastOwnerErased(farm=farm.name)
    role = GroupMember.objects.lasting().filter(user=user).exclude(role=GroupRole.GUEST).select_related("group").first()
    if role is not None:
        raise StillOfAGroup(group=role.group.name)
    with explained({"account_erasure_waits_once": ErasureAskedAlready()}):
        return AccountErasure.objects.create(user=user, words=words, asked_at=now, due_at=now + PERSON_WAITS)


@transaction.atomic
def take_account_erasure_back(*, user: User, now: datetime) -> None:
    """Keep one's account; until it is erased. Raises ErasureDone."""
    # Asked in the same statement: it may be done at this moment.
    if not AccountErasure.objects.filter(WAITS, user=user).update(taken_back_at=now):
        raise ErasureDone()


def _ask(
    farm: Farm, person: Person | None, *, words: bool, by: User, now: datetime, waits: timedelta
) -> ErasureRequest:  # fmt: skip
    with explained({"erasure_waits_once": ErasureAskedAlready()}):
        return ErasureRequest.objects.create(
            farm=farm, person_id=person.id if person else None, words=words, asked_by=by, asked_at=now,
            due_at=now + waits,
        )  # fmt: skip


def _plain(name: str) -> str:
    return " ".join(name.split()).casefold()


def _require_owner(by: User, farm: Farm) -> None:
    if role_on(by, farm.id) is not OWNER:
        raise Forbidden()

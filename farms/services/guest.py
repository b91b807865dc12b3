"""A coordinator's guests: they read the group's region reports until a day, and nothing else.

Named by e-mail address and by the name that the coordinator writes, which stays with the group: nothing is told of an
account that somebody may have here already.
"""

from datetime import datetime, timedelta

from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.db import transaction
from django.db.models import F
from django.utils.translation import gettext_lazy as _

from farms.constraints import explained
from farms.errors import Conflict, Detail, Invalid
from farms.models import Group, GroupMember, User
from farms.models.access import GroupRole

LONGEST_STAY = timedelta(days=400)


class AlreadyGuest(Conflict):
    code = "already_guest"
    message = _("This address is a guest of the group already. End that one before you invite it until another day.")


class GuestEndWrong(Invalid):
    code = "guest_end_wrong"
    message = _("A guest must leave at a later time than now, and within {days} days. Choose another end.")


@transaction.atomic
def invite_guest(*, group: Group, email: str, name: str, ends_at: datetime, now: datetime) -> GroupMember:
    """Let somebody read the group's region reports until `ends_at`; they sign in by a mailed code.

    Whoever has no account gets one. Raises Invalid, GuestEndWrong or AlreadyGuest.
    """
    email, name = email.strip().lower(), name.strip()
    _check(email, name)
    if not now < ends_at <= now + LONGEST_STAY:
        raise GuestEndWrong(pointer="/ends_at", days=LONGEST_STAY.days)
    user = _user(group, email)
    stays = GroupMember.objects.filter(group=group, user=user, role=GroupRole.GUEST, ended_at__isnull=True)
    # What ended by itself is written down as ended, so that the same person may come again.
    stays.filter(ends_at__lte=now).update(ended_at=F("ends_at"))
    with explained({"group_role_once_while_it_lasts": AlreadyGuest(pointer="/email")}):
        return GroupMember.objects.create(group=group, user=user, role=GroupRole.GUEST, name=name, ends_at=ends_at)


def end_guest(*, guest: GroupMember, now: datetime) -> GroupMember:
    """End a guest's stay at once; a second time changes nothing."""
    GroupMember.objects.filter(id=guest.id, role=GroupRole.GUEST, ended_at__isnull=True).update(ended_at=now)
    guest.refresh_from_db(fields=["ended_at"])
    return guest


def _user(group: Group, email: str) -> User:
    found = User.objects.filter(email=email).first()
    if found is not None:
        return found
    # Two coordinators who invite the same new person at the same moment: one of them tries again.
    with explained({"farms_user_email_key": Conflict()}):
        return User.objects.create_user(email, language=group.language)


def _check(email: str, name: str) -> None:
    wrong = []
    try:
        validate_email(email)
    except ValidationError:
        wrong.append(Detail("/email", str(_("Give an e-mail address, such as name@example.org.")), "bad_email"))
    if not name:
        wrong.append(Detail("/name", str(_("Give the guest's name.")), "blank"))
    if wrong:
        raise Invalid(errors=wrong)

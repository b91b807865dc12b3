"""What every invitation by mail has in common: how long it lives, what may be typed, a fresh key."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.db.models import Q, QuerySet
from django.utils.translation import gettext_lazy as _

from farms.constraints import explained
from farms.credentials import key_hash, new_key
from farms.errors import Conflict, Detail, Forbidden, Invalid
from farms.models import User
from farms.models.group import LANGUAGES
from farms.models.invitation import WAITS

LIFE = timedelta(days=14)
# What came to nothing is forgotten after this, with the address in it.
KEPT = timedelta(days=30)


class InvitationSpent(Invalid):
    code = "invitation_spent"
    message = _("This invitation was used, taken back or is older than 14 days. Ask whoever invited you for a new one.")


class InvitationDone(Conflict):
    code = "invitation_done"
    message = _("This invitation was accepted or taken back already. Look at the list again.")


class InvitedAlready(Conflict):
    code = "invited_already"
    message = _("This address is invited already. Send that invitation again, or take it back first.")


class TooManyInvitations(Conflict):
    code = "too_many_invitations"
    message = _("{most} invitations wait already. Take one back that nobody needs before you invite somebody else.")


class InvitedElsewhere(Forbidden):
    code = "invited_elsewhere"
    message = _("This invitation is for another address than the one you are signed in with.")


@dataclass(frozen=True)
class Invitee:
    """Whom somebody invites: an address, a name, a role and the language of the mail."""

    email: str
    name: str
    role: str
    language: str

    def columns(self) -> dict[str, Any]:
        """As they are stored."""
        who = {"email": self.email.strip().lower(), "name": self.name.strip()}
        return who | {"role": self.role, "language": self.language}

    def faults(self) -> list[Detail]:
        columns = self.columns()
        return address_faults(columns["email"], columns["name"], self.language)


def fresh(now: datetime) -> tuple[str, dict[str, Any]]:
    """A new key, told once, and the columns that change with it."""
    key = new_key()
    return key, {"key_hash": key_hash(key), "sent_at": now, "expires_at": now + LIFE}


def address_faults(email: str, name: str, language: str) -> list[Detail]:
    wrong = []
    try:
        validate_email(email)
    except ValidationError:
        wrong.append(Detail("/email", str(_("Give an e-mail address, such as name@example.org.")), "bad_email"))
    if email.endswith(".invalid"):
        wrong.append(Detail("/email", str(_("No mail reaches an address that ends in .invalid.")), "bad_email"))
    if not name.strip():
        wrong.append(Detail("/name", str(_("Give the name of whoever is invited.")), "blank"))
    if language not in dict(LANGUAGES):
        wrong.append(Detail("/language", str(_("Choose en or es.")), "unknown_language"))
    return wrong


def refuse(wrong: Sequence[Detail]) -> None:
    if wrong:
        raise Invalid(errors=list(wrong))


def forgotten(now: datetime) -> Q:
    """Invitations that came to nothing a month ago and more."""
    return Q(accepted_at__isnull=True) & (Q(withdrawn_at__lt=now - KEPT) | Q(expires_at__lt=now - KEPT))


def make_room(invitations: QuerySet[Any], most: int, now: datetime) -> None:
    """Forget what came to nothing. Raises TooManyInvitations where as many as may wait do so already."""
    invitations.filter(forgotten(now)).delete()
    if invitations.filter(WAITS).count() >= most:
        raise TooManyInvitations(most=most)


def renew(invitation: QuerySet[Any], by: User, now: datetime) -> str:
    """A new key for two more weeks; the one before opens nothing any more. Raises InvitationDone."""
    key, columns = fresh(now)
    if not invitation.filter(WAITS).update(**columns, invited_by=by):
        raise InvitationDone()
    return key


def use_up(invitation: QuerySet[Any], user: User, now: datetime) -> bool:
    """Note who accepted; no where it was accepted, taken back or has ended."""
    waiting = invitation.filter(WAITS, expires_at__gt=now)
    return bool(waiting.update(accepted_at=now, accepted_by=user))


def open_account(*, email: str, name: str, language: str) -> User:
    """The account of an invited address; made where nobody has one, since signing up is closed otherwise."""
    found = User.objects.filter(email=email).first()
    if found is not None:
        return found
    # Two clicks at once: one of them tries again.
    with explained({"farms_user_email_key": Conflict()}):
        return User.objects.create_user(email, name=name, language=language)

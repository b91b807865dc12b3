"""The address in a mail at which its reader chooses how often it comes, without signing in (RFC 8058).

It says whose mail of which farm or group it is, signed with a key of our own (alerts/models/mail_choice.py). It is put
in when the mail leaves: the stored mail has the page's plain address in its place, so that neither the outbox nor a
page that shows the mail to somebody else tells the secret one.
"""

from base64 import urlsafe_b64decode, urlsafe_b64encode
from binascii import Error
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.conf import settings
from django.core.signing import BadSignature, Signer
from django.urls import reverse

from alerts.models import CoordinatorReport, Digest
from alerts.models.mail_choice import MailKind
from alerts.models.outbox import Mail
from alerts.selectors.mail_choices import choice_keys
from alerts.services.choice_key import keys_to_sign

SALT = "alerts.choice_address"
# By their places in addresses that were given away: new ones at the end.
KINDS = (MailKind.DIGEST, MailKind.MONDAY_LIST, MailKind.COORDINATOR_REPORT)
LENGTH = 33  # a byte for the kind, two ids
EVERY = 0x80  # beside the kind: of every farm that somebody owns in the group that is named


@dataclass(frozen=True)
class Reader:
    """Whose mail it is, and of which farm or group; `every`: the digests of all their farms in that group."""

    user_id: UUID
    kind: MailKind
    about_id: UUID
    every: bool = False


def choice_page() -> str:
    """The page where whoever signs in finds the same choice: what stands in a stored mail."""
    return f"{settings.SITE_URL}{reverse('your_mails')}"


def choice_address(mail: Mail, now: datetime, *, every: bool = False) -> str:
    """The secret address of this mail's reader, the same in each of their mails of this kind.

    `every`: of a message that holds several farms' digests, which one click stops as a whole.
    """
    key = choice_token(_reader_of(mail, every=every), keys_to_sign(now))
    return f"{settings.SITE_URL}{reverse('mail_choice', args=[key])}"


def _reader_of(mail: Mail, *, every: bool) -> Reader:
    if isinstance(mail, Digest):
        about_id = mail.farm.group_id if every else mail.farm_id
        return Reader(mail.recipient_id, MailKind.DIGEST, about_id, every)
    kind = MailKind.COORDINATOR_REPORT if isinstance(mail, CoordinatorReport) else MailKind.MONDAY_LIST
    return Reader(mail.recipient_id, kind, mail.group_id)


def choice_token(reader: Reader, keys: list[bytes]) -> str:
    """The signed part of the address."""
    kind = KINDS.index(reader.kind) | (EVERY if reader.every else 0)
    said = bytes([kind]) + reader.user_id.bytes + reader.about_id.bytes
    return _signer(keys).sign(urlsafe_b64encode(said).decode())


def reader_of(token: str) -> Reader | None:
    """Whose token it is; None for one that no key of ours has signed."""
    keys = choice_keys()
    try:
        said = urlsafe_b64decode(_signer(keys).unsign(token)) if keys else b""
    except (BadSignature, Error, ValueError):
        return None
    if len(said) != LENGTH or said[0] & ~EVERY >= len(KINDS):
        return None
    return Reader(UUID(bytes=said[1:17]), KINDS[said[0] & ~EVERY], UUID(bytes=said[17:]), bool(said[0] & EVERY))


def _signer(keys: list[bytes]) -> Signer:
    # A dot, since a colon is written as %3A by some programs, and the whole stays one word for a mail program.
    return Signer(key=keys[0].hex(), fallback_keys=[key.hex() for key in keys[1:]], salt=SALT, sep=".")

"""The address in a mail at which its reader chooses how often it comes, without signing in (RFC 8058).

It says whose mail of which farms or group it is, signed with a key of our own (alerts/models/mail_choice.py). It is put
in when the mail leaves: the stored mail has the page's plain address in its place, so that neither the outbox nor a
page that shows the mail to somebody else tells the secret one.
"""

from base64 import urlsafe_b64decode, urlsafe_b64encode
from binascii import Error
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from django.conf import settings
from django.core.signing import BadSignature, Signer
from django.urls import reverse

from alerts.models import CoordinatorReport, Digest, RegionBulletin
from alerts.models.mail_choice import MailKind
from alerts.models.outbox import Mail
from alerts.selectors.mail_choices import choice_keys
from alerts.services.choice_key import keys_to_sign

SALT = "alerts.choice_address"
# By their places in addresses that were given away: new ones at the end.
KINDS = (MailKind.DIGEST, MailKind.MONDAY_LIST, MailKind.COORDINATOR_REPORT, MailKind.REGION_BULLETIN)
BEFORE_ABOUT, ID = 17, 16  # bytes: the kind and whose mail it is; then an id for each farm or group
# Beside the kind: of every farm that somebody owns in the group that is named. Joined mails said so before they named
# their farms; nothing signs it any more.
EVERY = 0x80


@dataclass(frozen=True)
class Reader:
    """Whose mail it is, and of which farm, group or region; `others`: the other farms in the same message.

    `every`, of old mails: the digests of all farms that they own in that group.
    """

    user_id: UUID
    kind: MailKind
    about_id: UUID
    others: tuple[UUID, ...] = ()
    every: bool = False

    @property
    def about_ids(self) -> tuple[UUID, ...]:
        return (self.about_id, *self.others)


def choice_page() -> str:
    """The page where whoever signs in finds the same choice: what stands in a stored mail."""
    return f"{settings.SITE_URL}{reverse('your_mails')}"


def choice_address(rows: Sequence[Mail], now: datetime) -> str:
    """The secret address of a message's reader, the same in each of their messages about the same.

    It names all farms whose digests the message holds and no other: one click stops these (RFC 8058).
    """
    key = choice_token(_reader_of(rows), keys_to_sign(now))
    return f"{settings.SITE_URL}{reverse('mail_choice', args=[key])}"


def _reader_of(rows: Sequence[Mail]) -> Reader:
    first = rows[0]
    if isinstance(first, Digest):
        about_id, *others = sorted(row.farm_id for row in rows if isinstance(row, Digest))
        return Reader(first.recipient_id, MailKind.DIGEST, about_id, tuple(others))
    if isinstance(first, RegionBulletin):
        return Reader(first.recipient_id, MailKind.REGION_BULLETIN, first.region_id)
    kind = MailKind.COORDINATOR_REPORT if isinstance(first, CoordinatorReport) else MailKind.MONDAY_LIST
    return Reader(first.recipient_id, kind, first.group_id)


def choice_token(reader: Reader, keys: list[bytes]) -> str:
    """The signed part of the address."""
    kind = KINDS.index(reader.kind) | (EVERY if reader.every else 0)
    said = bytes([kind]) + b"".join(each.bytes for each in (reader.user_id, *reader.about_ids))
    return _signer(keys).sign(urlsafe_b64encode(said).decode())


def reader_of(token: str) -> Reader | None:
    """Whose token it is; None for one that no key of ours has signed."""
    keys = choice_keys()
    try:
        said = urlsafe_b64decode(_signer(keys).unsign(token)) if keys else b""
    except (BadSignature, Error, ValueError):
        return None
    about, rest = divmod(len(said) - BEFORE_ABOUT, ID)
    if about < 1 or rest or said[0] & ~EVERY >= len(KINDS):
        return None
    user_id, about_id, *others = (UUID(bytes=said[at : at + ID]) for at in range(1, len(said), ID))
    return Reader(user_id, KINDS[said[0] & ~EVERY], about_id, tuple(others), bool(said[0] & EVERY))


def _signer(keys: list[bytes]) -> Signer:
    # A dot, since a colon is written as %3A by some programs, and the whole stays one word for a mail program.
    return Signer(key=keys[0].hex(), fallback_keys=[key.hex() for key in keys[1:]], salt=SALT, sep=".")

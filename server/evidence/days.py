"""Signing a day, and what becomes of it outside: a file, a mail, a time stamp. Found due and not done at each ring.

Whoever can change the database can't change what lies elsewhere. A day's head is signed at the first ring of its day in
UTC. A day on which nothing rang stays unsigned, and is never made up for: a head says what stood when it was made.
"""

import logging
import secrets
from collections.abc import Callable, Sequence
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import NamedTuple
from uuid import UUID

from django.conf import settings
from django.core.mail import EmailMessage
from django.db import connection, transaction
from django.db.models import Q

from farms.heads import SignedHead, leaf_of, read_head, sign_head
from farms.merkle import root_of
from farms.models import DailyHead, HeadLeaf, LedgerHead, SigningKey
from server.evidence.files import AlreadyThere, write_once
from server.evidence.keys import keep_public, public_pem, signing_key
from server.evidence.stamps import NotStamped, ask_for_stamp, authority_pem

# Asked of an advisory lock, so that two workers don't both make the day's head.
LOCK = 0x6865616473
SALT = 16
STAMPED_WITHIN = timedelta(days=30)
AT_ONCE = 10
FIRST_PAUSE, LONGEST_PAUSE = timedelta(minutes=1), timedelta(hours=6)
MAIL = """What stood in the records of all farms on {day}, as one signed head. Please keep this mail: it is a copy that nobody
who changes the database can change with it. It holds no farm's name, number or count.

{document}

It was signed with the key {key}.
Both files are attached. What they are for, and how records are checked with them: docs/evidence.md.
{site}
"""  # noqa: E501 - a mail program breaks its lines
logger = logging.getLogger(__name__)


class _Leaf(NamedTuple):
    hash: bytes
    farm_id: UUID
    number: int
    salt: bytes


def sign_day(now: datetime) -> DailyHead | None:
    """Sign the day that `now` falls in (UTC), if that is to be done and isn't: the new head. Raises NoKey.

    Without a farm there is nothing to sign.
    """
    day = now.astimezone(UTC).date()
    if not settings.HEADS_KEY or DailyHead.objects.filter(day=day).exists():
        return None
    key = signing_key()
    with transaction.atomic():
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(%s)", [LOCK])
        before = DailyHead.objects.order_by("-day").first()
        # Another worker may have been here; and a clock that was put back signs nothing before what is signed.
        if before is not None and before.day >= day:
            return None
        leaves = _leaves()
        if not leaves:
            return None
        head = sign_head(
            day=day, made_at=now, leaves=len(leaves), root=root_of([leaf.hash for leaf in leaves]),
            previous=bytes(before.hash) if before else None, key=key,
        )  # fmt: skip
        public = key.public_key().public_bytes_raw()
        SigningKey.objects.bulk_create(
            [SigningKey(id=head.key, public=public, first_used_on=day)], ignore_conflicts=True
        )
        return _store(head, leaves, now)


def _leaves() -> list[_Leaf]:
    """A leaf for each farm's chain as it stands in one moment, in the order of their hashes, which says nothing."""
    made = []
    for farm_id, number, head in LedgerHead.objects.values_list("farm_id", "number", "hash"):
        salt = secrets.token_bytes(SALT)
        made.append(_Leaf(leaf_of(farm_id, number, bytes(head), salt), farm_id, number, salt))
    return sorted(made)


def _store(head: SignedHead, leaves: Sequence[_Leaf], now: datetime) -> DailyHead:
    HeadLeaf.objects.bulk_create(
        (
            HeadLeaf(farm_id=leaf.farm_id, day=head.day, number=leaf.number, place=place, salt=leaf.salt)
            for place, leaf in enumerate(leaves)
        ),
        batch_size=5_000,
    )
    return DailyHead.objects.create(
        day=head.day, made_at=now, document=head.document, hash=head.hash,
        leaves=b"".join(leaf.hash for leaf in leaves), next_try_at=now,
    )  # fmt: skip


def do_errands(now: datetime) -> None:
    """File, mail and have stamped what isn't yet. What fails is tried again later, and stops nothing else."""
    newest = DailyHead.objects.order_by("-day").values_list("day", flat=True).first()
    if newest is None:
        return
    due = DailyHead.objects.filter(undone(now, newest), next_try_at__lte=now).order_by("-day")
    for day in list(due.values_list("day", flat=True)[:AT_ONCE]):
        with transaction.atomic():
            # Held while it is done; another worker passes it over.
            head = DailyHead.objects.select_for_update(skip_locked=True).filter(undone(now, newest), day=day).first()
            if head is not None:
                _do(head, newest, now)


def undone(now: datetime, newest: date) -> Q:
    """Heads of which a copy isn't yet where it belongs."""
    found = Q(pk__in=[])
    if settings.HEADS_DIR:
        found |= Q(filed_at__isnull=True)
    if settings.HEADS_MAIL_TO:
        # Only the newest: whoever was not told for days needs one mail, and it names the one before.
        found |= Q(mailed_at__isnull=True, day=newest)
    if settings.TIME_STAMP_URL:
        found |= Q(stamped_at__isnull=True, made_at__gt=now - STAMPED_WITHIN)
    return found


def _do(head: DailyHead, newest: date, now: datetime) -> None:
    errands: list[tuple[bool, Callable[[DailyHead, datetime], None]]] = [
        (bool(settings.HEADS_DIR) and head.filed_at is None, _file),
        (bool(settings.HEADS_MAIL_TO) and head.mailed_at is None and head.day == newest, _mail),
        (bool(settings.TIME_STAMP_URL) and head.stamped_at is None, _stamp),
    ]
    failed = []
    for wanted, errand in errands:
        if wanted:
            try:
                errand(head, now)
            except (OSError, AlreadyThere, NotStamped) as error:
                # SMTP's errors are OSErrors. Of another machine's words nothing is kept.
                told = str(error) if isinstance(error, NotStamped | AlreadyThere) else type(error).__name__
                failed.append(f"{errand.__name__.strip('_')}: {told}")
    if failed:
        logger.warning("The head of %s is signed, but: %s", head.day, "; ".join(failed))
        head.next_try_at = now + min(FIRST_PAUSE * 2 ** min(head.tries, 12), LONGEST_PAUSE)
        head.tries += 1
    head.error = "; ".join(failed)
    head.save(
        update_fields=["filed_at", "mailed_at", "stamped_at", "stamp", "authority", "next_try_at", "tries", "error"]
    )


def _file(head: DailyHead, now: datetime) -> None:
    folder = Path(settings.HEADS_DIR)
    for key in SigningKey.objects.all():
        keep_public(folder, key.id, bytes(key.public))
    write_once(folder / f"head-{head.day}.json", f"{head.document}\n".encode(), mode=0o644)
    head.filed_at = now


def _mail(head: DailyHead, now: datetime) -> None:
    """One message to all: the document as its text and as a file, so that it can be taken out to the letter."""
    key = SigningKey.objects.get(id=read_head(head.document).key)
    mail = EmailMessage(
        subject=f"Flyround: signed head of {head.day}",
        body=MAIL.format(day=head.day, document=head.document, key=key.id, site=settings.SITE_URL),
        to=list(settings.HEADS_MAIL_TO),
        headers={"Message-ID": f"<{bytes(head.hash).hex()[:32]}@flyround>", "Auto-Submitted": "auto-generated"},
    )
    mail.attach(f"head-{head.day}.json", f"{head.document}\n", "application/json")
    mail.attach(f"key-{key.id[:16]}.pem", public_pem(bytes(key.public)), "application/x-pem-file")
    mail.send()
    head.mailed_at = now


def _stamp(head: DailyHead, now: datetime) -> None:
    authority = authority_pem()
    head.stamp, _moment = ask_for_stamp(head.document, authority)
    head.authority, head.stamped_at = authority, now

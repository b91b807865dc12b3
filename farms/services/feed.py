"""Feed addresses: one a person and kind, told once, stored as their SHA-256. A new one ends the one before."""

from datetime import date, datetime

from django.db import transaction
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from farms.constraints import explained
from farms.credentials import key_hash, new_key
from farms.errors import Conflict, Invalid
from farms.models import FeedAddress, User
from farms.models.access import FeedKind
from farms.models.log import LogKind
from farms.selectors import feeds_of
from farms.services.log import note_in_all_logs


class FeedKindUnknown(Invalid):
    code = "feed_kind_unknown"
    message = _("There is no such feed. Choose calendar or matters.")


class FeedMadeMeanwhile(Conflict):
    code = "feed_made_meanwhile"
    message = _("Another address for this was made at the same moment. Make one again if it wasn't you who got it.")


@transaction.atomic
def make_feed(*, user: User, kind: str, now: datetime) -> tuple[FeedAddress, str]:
    """A new address: the row, and the key in it, told here and never again. Raises FeedKindUnknown or Conflict."""
    if kind not in FeedKind.values:
        raise FeedKindUnknown(pointer="/kind")
    for before in feeds_of(user).filter(kind=kind, revoked_at__isnull=True):
        revoke_feed(feed=before, by=user, now=now)
    key = new_key()
    with explained({"feed_once_a_person": FeedMadeMeanwhile()}):
        feed = FeedAddress.objects.create(user=user, kind=kind, key_hash=key_hash(key), made_at=now)
    note_in_all_logs(user=user, kind=LogKind.FEED_MADE, now=now, about=kind)
    return feed, key


@transaction.atomic
def revoke_feed(*, feed: FeedAddress, by: User, now: datetime) -> FeedAddress:
    """End an address at once; a second time changes nothing."""
    live = FeedAddress.objects.filter(id=feed.id, revoked_at__isnull=True)
    if live.update(revoked_at=now):
        note_in_all_logs(user=by, kind=LogKind.FEED_ENDED, now=now, about=feed.kind)
    feed.refresh_from_db(fields=["revoked_at"])
    return feed


def note_feed_use(*, feed: FeedAddress, today: date) -> None:
    """Keep the day on which an address was last asked for: one write a day, however often a program asks."""
    if feed.last_used_on != today:
        unused = FeedAddress.objects.filter(Q(last_used_on__isnull=True) | Q(last_used_on__lt=today), id=feed.id)
        unused.update(last_used_on=today)

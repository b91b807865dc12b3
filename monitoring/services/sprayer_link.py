"""A one-time address for a hired sprayer: made by the farm, used once, taken back.

What is filled in there is written acting for whoever made it: a person who may not give it any more has given nothing.
"""

from datetime import datetime, timedelta

from django.db import transaction

from farms.credentials import key_hash, new_key
from farms.ledger import Actor, lock_heads
from farms.models import Farm, User
from farms.models.log import LogKind
from farms.services.log import note_in_log
from farms.tenancy.acting import meanwhile_for_user
from monitoring.errors import SprayerLinkSpent, TooManySprayerLinks
from monitoring.models import Application, SprayerLink
from monitoring.selectors.sprayer_link import may_give, sprayer_links_of
from monitoring.services.application import Applied, Writer, record_application

LIVES = timedelta(days=7)
MOST_WAITING = 10


@transaction.atomic
def make_sprayer_link(*, farm: Farm, by: User, actor: Actor, now: datetime) -> tuple[SprayerLink, str]:
    """A link and the key of its address, told here and never again. Raises TooManySprayerLinks.

    `now` is real time, by which keys live.
    """
    lock_heads([farm.id])
    if sprayer_links_of(farm, now).count() >= MOST_WAITING:
        raise TooManySprayerLinks(most=MOST_WAITING)
    key = new_key()
    link = SprayerLink.objects.create(
        farm_id=farm.id, key_hash=key_hash(key), made_by_id=by.id, made_at=now, expires_at=now + LIVES
    )
    note_in_log(farm=farm, kind=LogKind.SPRAYER_LINK_MADE, actor=actor, now=now)
    return link, key


@transaction.atomic
def withdraw_sprayer_link(*, link: SprayerLink, actor: Actor, now: datetime) -> None:
    """Take a link back; a second time changes nothing."""
    rows = SprayerLink.objects.filter(farm_id=link.farm_id, id=link.id, used_at__isnull=True, withdrawn_at__isnull=True)
    if rows.update(withdrawn_at=now):
        note_in_log(farm=link.farm, kind=LogKind.SPRAYER_LINK_ENDED, actor=actor, now=now)


def record_by_link(*, link: SprayerLink, applied: Applied, now: datetime, real: datetime) -> Application:
    """Store what a hired sprayer filled in, and use the link up: both or neither.

    Raises SprayerLinkSpent, or ApplicationRefused, with which the link stays good. `now` is the service's clock, `real`
    the one by which keys live.
    """
    maker = User.objects.get(id=link.made_by_id)
    with meanwhile_for_user(link.made_by_id):
        role = may_give(maker, link.farm_id)
        rows = SprayerLink.objects.filter(
            farm_id=link.farm_id, id=link.id, used_at__isnull=True, withdrawn_at__isnull=True, expires_at__gt=real
        )
        if role is None or not rows.update(used_at=real):
            raise SprayerLinkSpent()
        farm = Farm.objects.select_related("group").get(id=link.farm_id)
        writer = Writer(Actor(role.actor_kind, link.id), through_link=True)
        return record_application(farm=farm, applied=applied, by=writer, now=now)

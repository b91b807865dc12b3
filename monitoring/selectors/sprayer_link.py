"""The one-time links of hired sprayers: those that wait, and the one that an address opens."""

from datetime import datetime
from uuid import UUID

from django.db import connection
from django.db.models import QuerySet

from farms.access import Need, Role, role_on
from farms.credentials import key_hash
from farms.models import Farm, User
from farms.tenancy.acting import meanwhile_for_user
from monitoring.models import SprayerLink


def sprayer_links_of(farm: Farm, now: datetime) -> QuerySet[SprayerLink]:
    """The links that wait to be used, newest first. `now` is real time, by which keys live."""
    rows = SprayerLink.objects.filter(farm_id=farm.id, used_at__isnull=True, withdrawn_at__isnull=True)
    return rows.filter(expires_at__gt=now).select_related("farm").order_by("-made_at", "-id")


def sprayer_link_by_key(key: str, now: datetime) -> SprayerLink | None:
    """The link that a key opens now, with its farm; None for a wrong, used, withdrawn or ended one."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT farm_id, link_id, made_by FROM find_sprayer_link(%s)", [key_hash(key)])
        named = cursor.fetchone()
    if named is None:
        return None
    farm_id, link_id, made_by = named
    with meanwhile_for_user(made_by):
        if may_give(User.objects.get(id=made_by), farm_id) is None:
            return None
        rows = SprayerLink.objects.filter(farm_id=farm_id, id=link_id, expires_at__gt=now)
        return rows.select_related("farm__group").first()


def may_give(maker: User, farm_id: UUID) -> Role | None:
    """The role by which somebody may give a hired sprayer a link, or None where they may not any more."""
    role = role_on(maker, farm_id)
    return role if role is not None and Need.MANAGE in role.may else None

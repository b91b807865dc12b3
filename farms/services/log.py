"""Lines of the farm's own log."""

from datetime import datetime

from farms.ledger import Actor
from farms.models import Farm, LogEvent
from farms.models.log import LogKind


def note_in_log(*, farm: Farm, kind: LogKind, actor: Actor, now: datetime, about: str = "") -> None:
    """Note what was done on a farm, by whom; `about` says which key or table it was, without names."""
    LogEvent.objects.create(farm=farm, at=now, kind=kind, actor_kind=actor.kind, actor_id=actor.id, about=about[:200])

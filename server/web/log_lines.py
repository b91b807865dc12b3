"""How an event of the farm's log is told: when, what, and by whom."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.utils.translation import gettext_lazy as _

from server.web.choices import choices_of

WHO = {
    "farm_staff": _("somebody of the farm"),
    "adviser": _("adviser"),
    "coordinator": _("coordinator"),
    "phone": _("farm phone"),
    "program": _("program"),
    "service": _("the service"),
}
# A farm phone's key ends as a program's does.
EITHER = {"token_ended": _("key or farm phone switched off")}
# Codes that stand in `about`; everything else there is a name or a table and is told as it is.
WORDS = {
    "code": _("by a mailed code"),
    "link": _("by a one-time link"),
    "adviser": _("sees the farm as its adviser"),
    "regional": _("counts in the region's reports"),
    "owner": _("owner"),
    "recorder": _("recorder"),
    "calendar": _("calendar of rounds due"),
    "matters": _("open matters"),
}
CODED = {
    "sign_in", "consent_given", "consent_withdrawn", "member_added", "member_ended", "invited", "invited_again",
    "invitation_withdrawn", "feed_made", "feed_ended",
}  # fmt: skip


def called(user_id: UUID | None, actor_kind: str, names: Mapping[UUID, str]) -> str:
    """What somebody is called where names are known, else in which part they acted."""
    name = names.get(user_id) if user_id else None
    return name or str(WHO.get(actor_kind, actor_kind))


@dataclass(frozen=True)
class LogLine:
    """One line of the page. `of` is the person whom it is about, where that isn't who acted."""

    at: datetime
    what: str
    about: str
    of: str
    who: str
    role: str


def line_of(event: Any, names: Mapping[UUID, str]) -> LogLine:
    code, person = _parts(event)
    name = names.get(event.actor_id, "")
    role = str(WHO.get(event.actor_kind, event.actor_kind))
    return LogLine(
        at=event.at,
        what=str(kinds_told()[event.kind]),
        about=str(WORDS.get(code, code)) if event.kind in CODED else event.about,
        of=names.get(person, "") if person else "",
        who=name or role,
        role=role if name else "",
    )


def kinds_told() -> dict[str, Any]:
    """Every kind of event, and how it is told."""
    return {code: EITHER.get(code, label) for code, label in choices_of("farms.LogEvent", "kind")}


def people_in(events: Collection[Any]) -> set[UUID]:
    """Everybody and every key that these events name."""
    about = {person for event in events if (person := _parts(event)[1])}
    return about | {event.actor_id for event in events if event.actor_id}


def _parts(event: Any) -> tuple[str, UUID | None]:
    """The code of `about` and the person behind it; no person where it is a name that somebody chose."""
    if event.kind not in CODED:
        return event.about, None
    code, _space, person = event.about.partition(" ")
    try:
        return code, UUID(person) if person else None
    except ValueError:
        return event.about, None

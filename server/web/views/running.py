"""How the service runs: a group's weeks, mails and farms set aside, for its coordinators and for the office (staff).

Farms are named to whoever may see them, and counted for everybody else.
"""

from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from alerts.selectors.running import (
    last_ring,
    newest_runs,
    off_in_group,
    running_everywhere,
    running_of,
    runs_of,
    what_is_off,
)
from alerts.services.running import ask_for_another_try
from farms import clock
from farms.access import GroupRole, group_for, watched_group
from farms.errors import Missing
from farms.selectors import group_roles_of
from monitoring.regional.selectors import held_back
from server.watchdog import allowed
from server.web.doors import signed_in
from server.web.running import aside_lines, held_in_words, off_in_words, run_line, well_in_words


@signed_in
@require_safe
def running(request: HttpRequest, group_id: UUID) -> HttpResponse:
    """One group's."""
    group, now = watched_group(request.user, group_id), clock.now()
    row, rung_at = running_of(group), last_ring()
    off = what_is_off([row] if row else [], rung_at, allowed(), now)
    aside, unseen = aside_lines(request.user, row)
    roles = {role.role for role in group_roles_of(request.user) if role.group_id == group_id}
    context = {
        "group": group,
        "row": row,
        "rung_at": rung_at,
        "now": now,
        "off": off_in_words(off, row, now),
        "well": well_in_words(row),
        "runs": [run_line(run) for run in runs_of(group)],
        "aside": aside,
        "unseen": unseen,
        "coordinates": GroupRole.COORDINATOR in roles,
        "held": [(each, held_in_words(each.reason)) for each in held_back(group_id=group_id)],
    }
    return render(request, "web/running.html", context)


@signed_in
@require_POST
def try_again(request: HttpRequest, group_id: UUID) -> HttpResponse:
    """Let the farms that are set aside be tried again now. For the group's coordinators."""
    group = group_for(request.user, group_id, role=GroupRole.COORDINATOR)
    if ask_for_another_try(group=group, now=clock.now()):
        messages.success(request, _("The farms set aside are tried again within a few minutes."))
    else:
        messages.info(request, _("No farm is set aside: there is nothing to try again."))
    return redirect("running", group_id=group_id)


@signed_in
@require_safe
def everywhere(request: HttpRequest) -> HttpResponse:
    """All groups, for the office."""
    if not request.user.is_staff:
        raise Missing()
    now, rows, rung_at, limits = clock.now(), running_everywhere(), last_ring(), allowed()
    runs = newest_runs()
    lines = [
        {
            "row": row,
            "off": off_in_words(list(off_in_group(row, limits, now)), row, now),
            "run": run_line(runs[row.group_id]) if row.group_id in runs else None,
        }
        for row in rows
    ]
    bell = off_in_words(what_is_off([], rung_at, limits, now), None, now)
    context = {
        "lines": lines,
        "bell": bell,
        "rung_at": rung_at,
        "now": now,
        "wrong": sum(bool(x["off"]) for x in lines),
    }
    return render(request, "web/running_everywhere.html", context)

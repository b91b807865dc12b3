"""The adviser's Monday list: which farms first, and why."""

from collections.abc import Sequence
from datetime import date, timedelta
from typing import Any
from urllib.parse import quote

from django.http import HttpRequest, HttpResponse
from django.middleware.csrf import get_token
from django.shortcuts import render
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from alerts.selectors import MondayRow, by_verdict, last_notes_of_farms, monday_rows, run_of, steps_of_farms
from alerts.selectors.promised import LOOKED_BACK, Notes, promised_of_farms
from alerts.selectors.running import late_week
from alerts.wording import list_promise
from farms import clock
from farms.agreement import said_by
from farms.clock import local_date, monday_of
from farms.errors import Missing
from farms.selectors import group_roles_of
from farms.visits import VisitTold, visit_rules_of, visits_of_adviser
from server.web.doors import signed_in
from server.web.forms.monday import ListForm, kept_query
from server.web.forms.told import TellingForm
from server.web.monday_lines import Line, Listed, regions_in, sections, written

WEEK = timedelta(weeks=1)
AHEAD = 2 * WEEK


@signed_in
@require_safe
def monday(request: HttpRequest) -> HttpResponse:
    """The newest week that is over, or an earlier one that is asked for."""
    role = next((role for role in group_roles_of(request.user) if role.role == "adviser"), None)
    if role is None:
        raise Missing()
    now = clock.now()
    today = local_date(now, role.group.time_zone)
    newest = monday_of(today) - WEEK
    week = min(_asked(request) or newest, newest)
    rows = monday_rows(request.user, week, day=today if week == newest else None)
    visits = visits_of_adviser(request.user, [row.farm for row in rows], today - LOOKED_BACK, today + AHEAD)
    listed, form = _listed(request.user, rows, visits, today), ListForm(request.GET, regions_in(rows))
    run = run_of(role.group, week)
    context = {
        "week": week,
        "today": today,
        "late": late_week(role.group_id, now),
        "rows": rows,
        "form": form,
        "sections": _written(request, sections(listed, form), week, today),
        "counts": _counts(rows),
        "letters": sum(row.judged and not row.gets_mail for row in rows),
        "promise": list_promise(),
        "planned": [told for told in visits if told.visit.day >= today],
        "rules": visit_rules_of(role.group),
        "group_id": role.group_id,
        "sells": said_by(role.group_id, [request.user]).get(request.user.id),
        "judged": run is not None and run.finished_at is not None,
        "earlier": week - WEEK,
        "later": week + WEEK if week < newest else None,
    }
    return render(request, "web/monday.html", context)


def _written(
    request: HttpRequest, parts: Sequence[tuple[str, str, Sequence[Line]]], week: date, today: date
) -> list[tuple[str, str, list[SafeString]]]:
    query = kept_query(request.GET)
    shared = {
        "week": week,
        "today": today,
        "query": query,
        "kept": quote(query, safe=""),
        "telling": TellingForm(initial={"told_on": today, "week": week}),
        "note_a_call": _("Note a call"),
        "csrf_token": get_token(request),
    }
    return [(part, heading, [written(line, shared) for line in lines]) for part, heading, lines in parts]


def _listed(user: Any, rows: Sequence[MondayRow], visits: Sequence[VisitTold], today: date) -> Listed:
    ids = [row.farm.id for row in rows]
    notes = Notes(last_notes_of_farms(ids), steps_of_farms(ids))
    return Listed(rows, today, promised_of_farms(user, ids, visits, notes, today), notes)


def _counts(rows: Sequence[MondayRow]) -> list[tuple[str, int]]:
    """How many are not told yet, to be called and to be asked."""
    untold = sum(row.untold for row in rows)
    first = [(_("Not told yet"), untold)] if untold else []
    return first + [(heading, len(some)) for verdict, heading, some in by_verdict(rows) if verdict != "fine"]


def _asked(request: HttpRequest) -> date | None:
    try:
        return monday_of(date.fromisoformat(request.GET.get("week", "")))
    except ValueError:
        return None

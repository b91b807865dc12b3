"""The adviser's Monday list: which farms first, and why."""

from collections.abc import Sequence
from datetime import date, timedelta

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from alerts.selectors import MondayRow, by_verdict, in_parts, monday_rows, run_of
from alerts.selectors.running import late_week
from alerts.wording import list_promise
from farms import clock
from farms.agreement import said_by
from farms.clock import local_date, monday_of
from farms.errors import Missing
from farms.selectors import group_roles_of
from farms.visits import visit_rules_of, visits_of_adviser
from server.web.doors import signed_in
from server.web.forms.told import TellingForm

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
    run = run_of(role.group, week)
    context = {
        "week": week,
        "late": late_week(role.group_id, now),
        "rows": rows,
        "sections": in_parts(rows),
        "counts": _counts(rows),
        "letters": sum(row.judged and not row.gets_mail for row in rows),
        "telling": TellingForm(initial={"told_on": today, "week": week}),
        "promise": list_promise(),
        "planned": visits_of_adviser(request.user, [row.farm for row in rows], today, today + AHEAD),
        "rules": visit_rules_of(role.group),
        "group_id": role.group_id,
        "sells": said_by(role.group_id, [request.user]).get(request.user.id),  # type: ignore[list-item,union-attr]
        "judged": run is not None and run.finished_at is not None,
        "earlier": week - WEEK,
        "later": week + WEEK if week < newest else None,
    }
    return render(request, "web/monday.html", context)


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

"""The week's letters as PDF: an adviser's for all their farms that get no mail, and one farm's."""

from collections.abc import Sequence
from datetime import date, timedelta

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from alerts.delivery.paper import PaperLetter, letter_of_farm, letters_of_adviser
from alerts.selectors import newest_week
from farms import clock
from farms.access import Need
from farms.clock import local_date, monday_of
from farms.errors import Missing
from farms.selectors import group_roles_of
from server.reports.letters import pdf_answer, sheets_of
from server.reports.typesetter import PAPERS, usual_paper
from server.web.doors import Visit, farm_page, signed_in

WEEK = timedelta(weeks=1)


@signed_in
@require_safe
def letters(request: HttpRequest) -> HttpResponse:
    """All of an adviser's letters for a week, one page each. Nobody else has any."""
    role = next((role for role in group_roles_of(request.user) if role.role == "adviser"), None)
    if role is None:
        raise Missing()
    today = local_date(clock.now(), role.group.time_zone)
    week = _week_asked(request, today)
    written = letters_of_adviser(request.user, week, today)  # type: ignore[arg-type]  # signed in
    return _pdf(request, written, week, role.group.time_zone) or redirect("monday")


@farm_page(Need.MANAGE)
@require_safe
def letter(request: HttpRequest, visit: Visit) -> HttpResponse:
    """One farm's letter, whether it gets mail or not; for its owner and its advisers."""
    week = _week_asked(request, visit.today, newest_week(visit.farm))
    written = letter_of_farm(visit.farm, week, visit.today, request.user)  # type: ignore[arg-type]  # signed in
    return _pdf(request, written, week, visit.farm.time_zone) or redirect("farm", farm_id=visit.farm.id)


def _pdf(request: HttpRequest, written: Sequence[PaperLetter], week: date, zone: str) -> HttpResponse | None:
    if not written:
        messages.warning(request, _("There is no letter for this week: it has no result yet, or all get their mail."))
        return None
    asked = request.GET.get("paper", "")
    paper = asked if asked in PAPERS else usual_paper(zone)
    return pdf_answer(written, sheets_of(week, str(request.user), paper), week)


def _week_asked(request: HttpRequest, today: date, judged: date | None = None) -> date:
    """The week that is asked for by one of its days, or else the newest one (that has a result)."""
    newest = judged or monday_of(today) - WEEK
    try:
        return min(monday_of(date.fromisoformat(request.GET.get("week", ""))), newest)
    except ValueError:
        return newest

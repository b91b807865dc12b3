"""A region's bulletin: one page as a PDF, and whether it comes by mail. From stored reports only."""

from datetime import date, timedelta
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import translation
from django.utils.translation import gettext as _
from django.views.decorators.http import require_POST, require_safe

from alerts.models.mail_choice import ChoiceWay, HowOften
from alerts.selectors.mail_choices import bulletin_of
from alerts.selectors.region_seasons import season_of_region
from alerts.services import choose_how_often
from farms import clock
from farms.agreement import licence_of_group
from farms.clock import local_date, monday_of
from farms.errors import Invalid
from server.reports.regions import bulletin_sheet, sheet_answer
from server.web.doors import signed_in
from server.web.views.region import language_asked, open_region

SHOWN = timedelta(weeks=15)


@signed_in
@require_safe
def bulletin(request: HttpRequest, region_id: UUID) -> HttpResponse:
    """The bulletin of a week (by one of its days; the newest unless one is asked for) as a PDF of one page."""
    found = open_region(request, region_id)
    today = local_date(clock.now(), found.group.time_zone)
    week = _week_asked(request, today)
    season = season_of_region(found.id, week - SHOWN, week)
    if season.week is None:
        messages.warning(request, _("There is no bulletin for this week: no report of it was published."))
        return redirect("region", region_id=region_id)
    with translation.override(language_asked(request)):
        sheet = bulletin_sheet(found, season, licence_of_group(found.group_id, today))
        return sheet_answer(sheet, found, f"{season.week:%Y-%m-%d}", request.GET.get("paper", ""))


@signed_in
@require_POST
def bulletin_mail(request: HttpRequest, region_id: UUID) -> HttpResponse:
    """Whether the bulletin comes by mail, to whoever asks and for nobody else."""
    found = open_region(request, region_id)
    try:
        chosen = choose_how_often(
            subscription=bulletin_of(request.user, found),  # type: ignore[arg-type]
            by=request.user,  # type: ignore[arg-type]
            how_often=request.POST.get("how_often", ""),
            way=ChoiceWay.PAGE,
            now=clock.now(),
        )
    except Invalid as refusal:
        messages.error(request, str(refusal))
        return redirect("region", region_id=region_id)
    wanted = chosen.how_often != HowOften.NONE
    messages.success(
        request,
        _("Noted. The bulletin comes to {address}.").format(address=request.user.email)  # type: ignore[union-attr]
        if wanted
        else _("Noted. No bulletin comes by mail any more."),
    )
    return redirect("region", region_id=region_id)


def _week_asked(request: HttpRequest, today: date) -> date:
    """The week that is asked for by one of its days, or else the newest one."""
    try:
        return monday_of(date.fromisoformat(request.GET.get("week", "")))
    except ValueError:
        return monday_of(today)

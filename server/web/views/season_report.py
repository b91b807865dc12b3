"""The season's report: a form that says what it is to be, and the file."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_http_methods

from farms.access import Need
from farms.selectors import seasons_of
from monitoring.selectors import complaints_of
from server.reports.typesetter import usual_paper
from server.season_report.files import FORMS, report_file
from server.season_report.ground import Ground
from server.season_report.wanted import usual_days
from server.web.complaints import ComplaintTold, complaints_told
from server.web.doors import Visit, farm_page
from server.web.forms.refusals import accepted
from server.web.forms.season_report import SeasonReportForm, usual_choices

MOST_LISTED = 50  # complaints that may be ticked


@farm_page(Need.MANAGE)
@require_http_methods(["GET", "HEAD", "POST"])
def season_report(request: HttpRequest, visit: Visit) -> HttpResponse:
    """A POST answers with the file, since it is noted in the farm's log."""
    seasons = list(seasons_of(visit.farm))
    days = usual_days([(row.opens_on, row.closes_on) for row in seasons], visit.today)
    usual = usual_choices(days, visit.farm.language, usual_paper(visit.farm.time_zone))
    is_owner = visit.may["own"]
    form = SeasonReportForm(request.POST or None, initial=usual, is_owner=is_owner, complaints=_complaints(visit))
    if form.is_valid():
        ground = Ground(visit.farm, form.wanted(), visit.now)
        if accepted(form, lambda: ground.check(is_owner=is_owner)):
            return report_file(ground, FORMS[form.cleaned_data["form"]], visit.actor)
    past = [row for row in seasons if row.opens_on <= visit.today]
    context = {"visit": visit, "form": form, "seasons": past}
    return render(request, "web/season_report.html", context, status=422 if form.errors else 200)


def _complaints(visit: Visit) -> list[ComplaintTold]:
    """What may be ticked: the newest ones."""
    return complaints_told(visit.farm, complaints_of(visit.farm)[:MOST_LISTED])

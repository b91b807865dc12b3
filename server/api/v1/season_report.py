"""The season's report as a file: for paper, as a page to keep, as a workbook."""

from typing import Any, ClassVar
from uuid import UUID

from django.http import HttpResponse
from django.utils.translation import override
from drf_spectacular.utils import OpenApiTypes, extend_schema, extend_schema_view
from rest_framework.request import Request

from farms.access import Need
from farms.clock import local_date
from farms.selectors import seasons_of
from farms.showing import showing, shown_to
from server.api.fields import Body, Choice, Day, Flag, Ids
from server.api.people_only import OnFarmForPeople
from server.api.v1.exports import ByAddress
from server.reports.typesetter import PAPERS, usual_paper
from server.season_report.files import FORMS, Form, report_file
from server.season_report.ground import Ground
from server.season_report.outlines import OUTLINES
from server.season_report.wanted import Wanted, usual_days
from server.web.choices import choices_of

SAYS = (
    "Everything on record of the days asked for, in the outline asked for. For the farm's owners and its advisers, not "
    "for keys. It is noted in the farm's log."
)


class SeasonReportQuery(Body):
    outline = Choice([*OUTLINES], required=False, help_text="For whom it is; the farm itself unless it is given.")
    since = Day(required=False, help_text="The newest season's first day unless it is given.")
    until = Day(required=False, help_text="The newest season's last day, or today, unless it is given.")
    language = Choice(choices_of("farms.Farm", "language"), required=False, help_text="The farm's unless it is given.")
    paper = Choice([*PAPERS], required=False, help_text="What is usual where the farm is unless it is given.")
    names = Flag(
        default=False, help_text="true: with names of who applied and people's words; an owner's choice alone."
    )
    picture = Flag(default=False, help_text="true: with the picture under the plan, which may show where the farm is.")
    evidence = Flag(default=True, help_text="false: without the farm's evidence in the PDF.")
    complaints = Ids(
        default="", help_text="Complaints to tell, by their ids with commas between; with outline neighbor alone."
    )


class SeasonReport(OnFarmForPeople):
    needs = {"retrieve": Need.MANAGE}
    content_negotiation_class = ByAddress
    form: ClassVar[Form]

    def retrieve(self, request: Request, farm_id: UUID) -> HttpResponse:
        wanted = self._wanted(self.query(SeasonReportQuery))
        ground = Ground(self.farm, wanted, self.now)
        ground.check(is_owner=Need.OWN in self.role.may)
        if request.method == "HEAD":
            return HttpResponse(content_type=self.form.media_type)
        with showing(shown_to(self.user, self.farm.time_zone)), override(wanted.language):
            return report_file(ground, self.form, self.actor)

    @property
    def _today(self) -> Any:
        return local_date(self.now, self.farm.time_zone)

    def _wanted(self, asked: dict[str, Any]) -> Wanted:
        seasons = [(row.opens_on, row.closes_on) for row in seasons_of(self.farm)]
        since, until = usual_days(seasons, self._today)
        return Wanted(
            outline=asked.get("outline") or "farm",
            since=asked.get("since") or since,
            until=asked.get("until") or until,
            language=asked.get("language") or self.farm.language,
            paper=asked.get("paper") or usual_paper(self.farm.time_zone),
            names=asked["names"],
            picture=asked["picture"],
            evidence=asked["evidence"],
            complaints=tuple(asked["complaints"]),
        )


def report_view(form: Form) -> type[SeasonReport]:
    """The view of one form, described for the document."""
    described = extend_schema(
        summary=f"The season's report as {form.ending.upper()}.",
        description=SAYS,
        parameters=[SeasonReportQuery],
        responses={(200, form.media_type.partition(";")[0]): OpenApiTypes.BINARY},
    )
    name = f"SeasonReportAs{form.ending.title()}"
    return extend_schema_view(retrieve=described)(type(name, (SeasonReport,), {"form": form}))


VIEWS = {f"report.{form.ending}": report_view(form) for form in FORMS.values()}

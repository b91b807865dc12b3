"""The week's letters as PDF, for farms that get no mail."""

from collections.abc import Sequence
from datetime import date, timedelta
from typing import Any
from uuid import UUID

from django.http import HttpResponse
from django.utils.translation import gettext_lazy as _
from drf_spectacular.utils import OpenApiTypes, extend_schema
from rest_framework.request import Request

from alerts.delivery.paper import PaperLetter, letter_of_farm, letters_of_adviser
from alerts.selectors import newest_week
from farms.access import Need, group_for
from farms.clock import local_date, monday_of
from farms.errors import Missing
from farms.models.access import GroupRole
from server.api.fields import Body, Choice, Day
from server.api.people_only import OnFarmForPeople
from server.api.v1.exports import ByAddress
from server.api.views import ApiViewSet
from server.reports.letters import pdf_answer, sheets_of
from server.reports.typesetter import PAPERS, usual_paper

WEEK = timedelta(weeks=1)
PDF = {(200, "application/pdf"): OpenApiTypes.BINARY}


class NoLetter(Missing):
    code = "no_letter"
    message = _("There is no letter for this week: it has no result yet, or all get their mail.")


class LetterQuery(Body):
    week = Day(required=False, help_text="Any day of the week; the newest one unless it is given.")
    paper = Choice([*PAPERS], required=False, help_text="What is usual where the farm is unless it is given.")


class LettersView(ApiViewSet):
    content_negotiation_class = ByAddress

    def written(self, letters: Sequence[PaperLetter], week: date, asked: dict[str, Any], zone: str) -> HttpResponse:
        """The letters as a file. Raises NoLetter where there are none."""
        if not letters:
            raise NoLetter()
        return pdf_answer(letters, sheets_of(week, str(self.user), asked.get("paper") or usual_paper(zone)), week)

    def week_asked(self, asked: dict[str, Any], zone: str, judged: date | None = None) -> tuple[date, date]:
        """The week's Monday, and today; unless it is given, the newest week (that has a result)."""
        today = local_date(self.now, zone)
        newest = judged or monday_of(today) - WEEK
        return min(monday_of(asked["week"]), newest) if "week" in asked else newest, today


class FarmLetter(OnFarmForPeople, LettersView):
    needs = {"retrieve": Need.MANAGE}

    @extend_schema(responses=PDF, parameters=[LetterQuery])
    def retrieve(self, request: Request, farm_id: UUID) -> HttpResponse:
        """The farm's week on one page to print, in the farm's language; for its owner and its advisers.

        It says what the mail says. What doesn't fit on the page is shortened; the cautions never are.
        """
        asked = self.query(LetterQuery)
        week, today = self.week_asked(asked, self.farm.time_zone, newest_week(self.farm))
        letters = letter_of_farm(self.farm, week, today, self.user)
        return self.written(letters, week, asked, self.farm.time_zone)


class GroupLetters(LettersView):
    @extend_schema(responses=PDF, parameters=[LetterQuery])
    def retrieve(self, request: Request, group_id: UUID) -> HttpResponse:
        """All your letters for a week in one file: the farms that you advise in this group and that get no mail.

        For the group's advisers, each their own farms; a coordinator has none.
        """
        group = group_for(self.who, group_id, role=GroupRole.ADVISER)
        asked = self.query(LetterQuery)
        week, today = self.week_asked(asked, group.time_zone)
        return self.written(letters_of_adviser(self.user, week, today, group_id=group.id), week, asked, group.time_zone)

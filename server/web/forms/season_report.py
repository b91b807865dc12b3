"""What a season report is to be: for whom, of which days, in which language and form."""

from collections.abc import Sequence
from datetime import date
from typing import Any
from uuid import UUID

from django import forms
from django.utils.text import Truncator
from django.utils.translation import gettext_lazy as _

from alerts.wording.numbers import dated_label
from server.season_report.files import FORMS
from server.season_report.outlines import OUTLINE_CHOICES
from server.season_report.wanted import Wanted
from server.web.choices import choices_of
from server.web.complaints import ComplaintTold
from server.web.forms.farm import day_field

MOST_SAID = 80  # signs of a complaint beside its tick


class SeasonReportForm(forms.Form):
    outline = forms.ChoiceField(label=_("For whom"), choices=OUTLINE_CHOICES, widget=forms.RadioSelect, initial="farm")
    since = day_field(_("From"))
    last_day = day_field(_("To"))
    language = forms.ChoiceField(label=_("Language"))
    paper = forms.ChoiceField(label=_("Paper"), choices=[("letter", _("Letter")), ("a4", "A4")])
    form = forms.ChoiceField(
        label=_("As"), choices=[(form.ending, form.name) for form in FORMS.values()], widget=forms.RadioSelect,
        initial="pdf",
    )  # fmt: skip
    evidence = forms.BooleanField(
        label=_("Attach the evidence to the PDF"), required=False, initial=True,
        help_text=_(
            "Then anybody can check the report without us. It holds the farm's whole chain, also of other years, and "
            "tells what kind of entry was made when."
        ),
    )  # fmt: skip
    picture = forms.BooleanField(
        label=_("The picture under the plan"),
        required=False,
        help_text=_("It may show where the farm is. Without it the outlines and places are drawn."),
    )
    names = forms.BooleanField(
        label=_("Names: who applied sprays, pour-ons and baits, who complained, and what people wrote about alerts and "
                "fly walks"),
        required=False,
        help_text=_("Left out unless you tick it. Ask those who are named."),
    )  # fmt: skip

    complaints = forms.MultipleChoiceField(
        label=_("Complaints, with what was said and answered"), required=False, widget=forms.CheckboxSelectMultiple,
        help_text=_("For a neighbor's complaint alone, and none unless you tick it. They are told word for word."),
    )  # fmt: skip

    def __init__(self, *args: Any, is_owner: bool, complaints: Sequence[ComplaintTold] = (), **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["complaints"].choices = [(str(each.row.known), _in_short(each)) for each in complaints]  # type: ignore[attr-defined]
        self.fields["language"].choices = choices_of("farms.Farm", "language")  # type: ignore[attr-defined]
        if not is_owner:
            del self.fields["names"]
        if not complaints:
            del self.fields["complaints"]

    def wanted(self) -> Wanted:
        """What a valid form asks for."""
        found = dict(self.cleaned_data)
        found.pop("form")
        found["until"] = found.pop("last_day")
        found["complaints"] = tuple(map(UUID, found.get("complaints", ())))
        return Wanted(**found)


def _in_short(told: ComplaintTold) -> str:
    """May 23, 2026, a neighbor: Flies on the porch since Thursday."""
    said = Truncator(told.words.get("said", "")).chars(MOST_SAID)
    return f"{dated_label(told.row.heard_on)}, {told.row.get_said_by_display()}: {said}"


def usual_choices(days: tuple[date, date], language: str, paper: str) -> dict[str, Any]:
    """What the form shows first."""
    since, until = days
    return {
        "outline": "farm", "form": "pdf", "since": since, "last_day": until, "language": language, "paper": paper,
        "evidence": True,
    }  # fmt: skip

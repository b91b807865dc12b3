"""What a season report is to be: for whom, of which days, in which language and form."""

from datetime import date
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from server.season_report.files import FORMS
from server.season_report.outlines import OUTLINE_CHOICES
from server.season_report.wanted import Wanted
from server.web.choices import choices_of
from server.web.forms.farm import day_field


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
        label=_("Names: who applied sprays, pour-ons and baits, and what people wrote about alerts"), required=False,
        help_text=_("Left out unless you tick it. Ask those who are named."),
    )  # fmt: skip

    def __init__(self, *args: Any, is_owner: bool, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["language"].choices = choices_of("farms.Farm", "language")  # type: ignore[attr-defined]
        if not is_owner:
            del self.fields["names"]

    def wanted(self) -> Wanted:
        """What a valid form asks for."""
        found = dict(self.cleaned_data)
        found.pop("form")
        found["until"] = found.pop("last_day")
        return Wanted(**found)


def usual_choices(days: tuple[date, date], language: str, paper: str) -> dict[str, Any]:
    """What the form shows first."""
    since, until = days
    return {
        "outline": "farm", "form": "pdf", "since": since, "last_day": until, "language": language, "paper": paper,
        "evidence": True,
    }  # fmt: skip

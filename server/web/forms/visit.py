"""Planning a visit or a call, and the group's rules for visits."""

from datetime import date
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from server.web.choices import choices_of
from server.web.forms.farm import day_field


class VisitForm(forms.Form):
    """What is planned, and where the adviser was before: left empty where it was nowhere this week."""

    kind = forms.ChoiceField(label=_("What"), widget=forms.RadioSelect, initial="visit")
    day = day_field(_("Day"))
    last_farm = forms.CharField(
        label=_("Last farm visited"), max_length=120, required=False,
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )  # fmt: skip
    last_on = day_field(_("When?"), required=False)

    def __init__(self, *args: Any, today: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["kind"].choices = choices_of("farms.PlannedVisit", "kind")  # type: ignore[attr-defined]
        self.fields["day"].widget.attrs["min"] = today.isoformat()
        self.fields["last_on"].widget.attrs["max"] = today.isoformat()


class VisitRulesForm(forms.Form):
    text = forms.CharField(
        label=_("Rules for visits"),
        max_length=1500,
        widget=forms.Textarea(attrs={"rows": 8}),
        help_text=_("A line a rule."),
        error_messages={"required": _("Write at least one rule.")},
    )

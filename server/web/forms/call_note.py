"""A note on a call or a visit, and the next step with its day."""

from datetime import date
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from server.web.forms.farm import day_field


class CallNoteForm(forms.Form):
    text = forms.CharField(
        label=_("Note"), max_length=500, required=False,
        widget=forms.Textarea(attrs={"rows": 2, "autocomplete": "off"}),
    )  # fmt: skip
    step = forms.CharField(
        label=_("Next step"), max_length=200, required=False, widget=forms.TextInput(attrs={"autocomplete": "off"})
    )
    step_on = day_field(_("By which day"), required=False)

    def __init__(self, *args: Any, today: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["step_on"].widget.attrs["min"] = today.isoformat()

"""That a farm was told its week, how and when."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from server.web.choices import choices_of
from server.web.forms.farm import day_field


class WeekForm(forms.Form):
    week = day_field(_("Week of"))


class TellingForm(WeekForm):
    how = forms.ChoiceField(label=_("How"))
    told_on = day_field(_("Told on"))

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["how"].choices = choices_of("alerts.Told", "how")  # type: ignore[attr-defined]

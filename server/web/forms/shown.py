"""In which degrees temperatures are shown, and in which form days."""

from django import forms
from django.utils.translation import gettext_lazy as _

from farms.showing import CELSIUS, DAYS_AS_USUAL, DEGREES_AS_USUAL, FAHRENHEIT, DaysForm

DEGREES = [
    (DEGREES_AS_USUAL, _("as is usual where the farm lies")),
    (CELSIUS, _("degrees Celsius (°C)")),
    (FAHRENHEIT, _("degrees Fahrenheit (°F)")),
]
DAYS = [
    (DAYS_AS_USUAL, _("as is usual in the language")),
    (DaysForm.DAY_FIRST, _("the day first: 29 June")),
    (DaysForm.MONTH_FIRST, _("the month first: June 29")),
    (DaysForm.ISO, _("in figures: 2026-06-29")),
]


class ShownForm(forms.Form):
    degrees = forms.ChoiceField(label=_("Temperatures"), choices=DEGREES, required=False, widget=forms.RadioSelect)
    days = forms.ChoiceField(label=_("Days"), choices=DAYS, required=False, widget=forms.RadioSelect)

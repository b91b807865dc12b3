"""The telephone number for text messages, and the code that came there."""

from django import forms
from django.utils.translation import gettext_lazy as _


class TextNumberForm(forms.Form):
    """A text here: the service alone says what is a number."""

    number = forms.CharField(
        label=_("Your telephone number"),
        max_length=40,
        help_text=_("With + and the country first, as in +1 202 555 0143."),
        widget=forms.TelInput(attrs={"autocomplete": "tel"}),
    )


class TextCodeForm(forms.Form):
    code = forms.CharField(
        label=_("The code that came there"),
        max_length=20,
        widget=forms.TextInput(attrs={"autocomplete": "one-time-code", "autocapitalize": "characters"}),
    )

"""The code that makes a phone the farm's."""

import re

from django import forms
from django.utils.translation import gettext_lazy as _


class PhoneCodeForm(forms.Form):
    code = forms.CharField(
        label=_("Code"),
        max_length=20,
        help_text=_("Eight digits, as the owner or the adviser shows them."),
        error_messages={"required": _("Type the eight digits of the code.")},
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "one-time-code"}),
    )
    name = forms.CharField(
        label=_("What is this phone called?"),
        max_length=40,
        required=False,
        help_text=_("So that the owner knows it in the list: barn phone, Lucia."),
    )

    def clean_code(self) -> str:
        digits = re.sub(r"\D", "", str(self.cleaned_data["code"]))
        if len(digits) != 8:
            raise forms.ValidationError(_("The code has eight digits. Type all of them."))
        return digits

"""Who is invited to read the region reports, and until when."""

from django import forms
from django.utils.translation import gettext_lazy as _

from server.web.forms.farm import day_field


class GuestForm(forms.Form):
    email = forms.CharField(
        label=_("E-mail address"), max_length=254,
        widget=forms.EmailInput(attrs={"autocomplete": "off"}),
        help_text=_("The code to sign in is mailed there."),
    )  # fmt: skip
    name = forms.CharField(label=_("Name"), max_length=120, help_text=_("For your own list: who that is."))
    until = day_field(_("Last day"), help_text=_("At most 400 days ahead."))

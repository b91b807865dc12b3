"""From which day on a farm or a region is closed to visits, or open again. A date, and nothing else is asked."""

from django import forms
from django.utils.translation import gettext_lazy as _

from server.web.forms.farm import day_field


class ClosureForm(forms.Form):
    from_on = day_field(_("From this day on"))

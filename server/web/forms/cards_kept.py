"""Where the dated cards are kept. Rules lie in the service."""

from django import forms
from django.utils.translation import gettext_lazy as _

from server.web.forms.application import line_field
from server.web.forms.farm import day_field


class CardsKeptForm(forms.Form):
    words = line_field(
        _("Where they are kept"), 300, required=True,
        help_text=_("Such as: a dry box in the office, a bundle a season. Dry, and where nobody tidies up."),
    )  # fmt: skip
    from_on = day_field(_("From"))

"""A farm kept organic, and what its certifier answered. Rules lie in the service."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from server.web.choices import choices_of
from server.web.forms.application import CHOOSE, line_field
from server.web.forms.farm import day_field


class OrganicForm(forms.Form):
    is_organic = forms.ChoiceField(
        label=_("The farm is"),
        choices=[("yes", _("kept organic")), ("no", _("not kept organic, or no more"))],
        widget=forms.RadioSelect,
    )
    from_on = day_field(_("From"))


class CertifierForm(forms.Form):
    product_name = line_field(_("Product, as on the label"), 120, required=True)
    registration_number = line_field(_("Registration number"), 40, required=True)
    asked_on = day_field(_("Asked on"))
    answered_on = day_field(_("Answered on"))
    said = forms.ChoiceField(label=_("Answer"), error_messages={"required": CHOOSE})
    words = line_field(_("In the certifier's words"), 300, help_text=_("Conditions, for example."))

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        answers = choices_of("monitoring.CertifierAnswer", "said", first=_("choose"))
        self.fields["said"].choices = answers  # type: ignore[attr-defined]

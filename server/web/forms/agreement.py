"""The data agreement: accepting it, bringing in a signed paper, and a group's terms."""

from datetime import date
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from farms.agreement import IN_FORCE, VERSIONS
from server.web.choices import choices_of
from server.web.forms.farm import day_field

LICENCE_HINT = _("Under which licence whoever has a region report may use it and pass it on.")


class AcceptForm(forms.Form):
    """What was on the page when somebody accepted it."""

    version = forms.CharField(max_length=10, widget=forms.HiddenInput)
    edition = forms.CharField(max_length=16, widget=forms.HiddenInput)


class PaperForm(forms.Form):
    """A scan or photo of what was signed."""

    scan = forms.FileField(
        label=_("Scan or photo"),
        help_text=_("A PDF, or a JPEG or PNG picture, of the page with the signatures; at most 5 MB."),
        error_messages={
            "required": _("Choose a file."),
            "empty": _("This file is empty. Choose the scan or photo again."),
        },
        widget=forms.ClearableFileInput(attrs={"accept": "application/pdf,image/jpeg,image/png"}),
    )
    signed_by = forms.CharField(
        label=_("Signed by"), max_length=120, help_text=_("The name of who signed for the farm, as it is written."),
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )  # fmt: skip
    signed_on = day_field(_("Signed on"))
    language = forms.ChoiceField(label=_("Language of the paper"))
    version = forms.ChoiceField(
        label=_("Version"), choices=[(name, name) for name in VERSIONS], initial=IN_FORCE,
        help_text=_("As it stands at the foot of each page."),
    )  # fmt: skip

    def __init__(self, *args: Any, today: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["language"].choices = choices_of("farms.Acceptance", "language")  # type: ignore[attr-defined]
        self.fields["signed_on"].widget.attrs["max"] = today.isoformat()


class SellsForm(forms.Form):
    """Whether somebody sells fly products."""

    sells_products = forms.TypedChoiceField(
        label=_("Do you sell fly products?"),
        choices=[("no", _("no")), ("yes", _("yes"))],
        coerce=lambda said: said == "yes",
        widget=forms.RadioSelect,
        help_text=_("Sprays, pour-ons, baits, traps, parasitic wasps and the like."),
        error_messages={"required": _("Say yes or no.")},
    )


class TermsForm(SellsForm):
    """A group's terms, from a day on."""

    licence = forms.ChoiceField(label=_("Licence of the region reports"), help_text=LICENCE_HINT)
    contact = forms.CharField(
        label=_("Whom to ask"), max_length=200, help_text=_("A name with a telephone number or an address.")
    )
    valid_from = day_field(_("From"))

    field_order = ["licence", "sells_products", "contact", "valid_from"]

    def __init__(self, *args: Any, today: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["licence"].choices = [  # type: ignore[attr-defined]
            (spdx, f"{name} ({spdx})") for spdx, name in choices_of("farms.GroupTerms", "licence")
        ]
        self.fields["sells_products"].label = _("Does the group sell fly products?")
        self.fields["valid_from"].widget.attrs["min"] = today.isoformat()

"""A new webhook: where, and for what."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from alerts.models.webhook import Happening
from alerts.outbound import LONGEST


class WebhookForm(forms.Form):
    """The address is a text here, so that the service alone says what is wrong with it."""

    address = forms.CharField(
        label=_("Address of your program"),
        max_length=LONGEST,
        help_text=_("It begins with https:// and can be reached from the internet."),
        widget=forms.TextInput(attrs={"inputmode": "url", "autocomplete": "off", "spellcheck": "false"}),
    )
    kinds = forms.MultipleChoiceField(
        label=_("Tell it when"),
        choices=Happening.choices,
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": _("Name one kind at least.")},
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["kinds"].initial = [Happening.ALERT_OPENED, Happening.ALERT_CLOSED]

"""For how many months a group keeps each kind of record; left empty, for as long as the farm is here."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from farms.retention import KEPT
from server.web.choices import choices_of


class RetentionForm(forms.Form):
    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for kind, label in choices_of("farms.GroupRetention", "kind"):
            kept = KEPT[kind]
            hint = _("Months; usually {usual}, at least {least}.").format(usual=kept.usual, least=kept.least)
            self.fields[kind] = forms.IntegerField(
                label=str(label)[:1].upper() + str(label)[1:], help_text=hint, required=False,
                widget=forms.TextInput(attrs={"inputmode": "numeric"}),
            )  # fmt: skip

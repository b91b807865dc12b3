"""What is asked when a farm, an account or somebody who counts is to be erased."""

from django import forms
from django.utils.translation import gettext_lazy as _


class EraseFarmForm(forms.Form):
    """The name is typed, so that nobody does it by a slip."""

    farm_name = forms.CharField(label=_("Type the farm's name"), max_length=120)


class EraseWordsForm(forms.Form):
    words = forms.BooleanField(required=False)

    def __init__(self, *args: object, label: object, **kwargs: object) -> None:
        super().__init__(*args, **kwargs)  # type: ignore[arg-type]
        self.fields["words"].label = str(label)

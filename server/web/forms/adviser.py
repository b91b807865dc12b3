"""An adviser leaves, and who is next."""

from datetime import date
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from server.web.forms.farm import day_field

ALL_FARMS = ("", _("all farms"))


class SuccessorForm(forms.Form):
    """Who would take over, where and from when; nobody yet where `may_be_nobody`."""

    successor_id = forms.ChoiceField(label=_("Who takes over"), required=False)
    region_id = forms.ChoiceField(label=_("Which farms"), required=False)
    begins_on = day_field(
        _("From"), required=False,
        help_text=_("At least two weeks ahead: each farm is told in its next weekly mail, and may say no."),
    )  # fmt: skip

    def __init__(
        self, *args: Any, advisers: list[Any], regions: list[Any], days: tuple[date, date], may_be_nobody: bool,
        **kwargs: Any,
    ) -> None:  # fmt: skip
        super().__init__(*args, initial={"begins_on": days[0]}, **kwargs)
        nobody = [("", _("nobody yet"))] if may_be_nobody else []
        fields: Any = self.fields
        fields["successor_id"].choices = [*nobody, *((str(user.id), str(user)) for user in advisers)]
        fields["successor_id"].required = fields["begins_on"].required = not may_be_nobody
        fields["region_id"].choices = [ALL_FARMS, *((str(region.id), region.name) for region in regions)]
        fields["begins_on"].widget.attrs |= {"min": days[0].isoformat(), "max": days[1].isoformat()}

    def clean(self) -> dict[str, Any]:
        """Somebody begins on a day, also where nobody had to be named."""
        typed = super().clean() or self.cleaned_data
        if typed.get("successor_id") and typed.get("begins_on") is None and "begins_on" not in self.errors:
            self.add_error("begins_on", _("Choose a day."))
        return typed


class PassForm(forms.Form):
    """To which adviser the open promises go."""

    adviser_id = forms.ChoiceField(label=_("To"))

    def __init__(self, *args: Any, advisers: list[Any], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["adviser_id"].choices = [(str(user.id), str(user)) for user in advisers]  # type: ignore[attr-defined]

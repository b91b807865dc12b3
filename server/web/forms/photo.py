"""A photo of a round, as a page's form or a script sends it. Rules lie in the service."""

from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from django import forms
from django.utils.dateparse import parse_datetime
from django.utils.translation import gettext_lazy as _

from farms.errors import Detail
from server.web.choices import choices_of

NOT_A_MOMENT = _("Write when it was taken as 2026-06-30T07:30:00Z, with Z or an offset, or leave it away.")


class PhotoForm(forms.Form):
    """The fields are named as in what a script sends. What isn't on the page (facility, place on the plan) may come."""

    id = forms.UUIDField(widget=forms.HiddenInput)
    file = forms.FileField(
        label=_("Photo"),
        help_text=_("A JPEG or PNG of at most 10 MB and 25 megapixels. Where and with what it was taken is not kept."),
        error_messages={
            "required": _("Choose a photo."),
            "empty": _("This file is empty. Choose the photo again, or take it anew."),
        },
        widget=forms.ClearableFileInput(attrs={"accept": "image/jpeg,image/png"}),
    )
    kind = forms.ChoiceField(label=_("What it shows"), widget=forms.RadioSelect)
    station_id = forms.ChoiceField(label=_("Which card, trap or leg count"), required=False)
    facility_id = forms.ChoiceField(required=False)
    taken_at = forms.CharField(required=False)
    sent_at = forms.CharField(required=False)
    x = forms.FloatField(required=False)
    y = forms.FloatField(required=False)

    def __init__(self, *args: Any, stations: list[Any], facilities: list[Any], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.stations = {str(each.id): each for each in stations}
        self.facilities = {str(each.id): each for each in facilities}
        self._offer("kind", choices_of("monitoring.Photo", "kind"))
        self._offer(
            "station_id", [("", _("none of them")), *((name, each.label) for name, each in self.stations.items())]
        )
        self._offer("facility_id", [("", ""), *((name, each.name) for name, each in self.facilities.items())])

    def _offer(self, name: str, choices: Any) -> None:
        self.fields[name].choices = choices  # type: ignore[attr-defined]

    def clean_taken_at(self) -> datetime | None:
        return self._moment("taken_at")

    def clean_sent_at(self) -> datetime | None:
        """By the phone's clock: how far that is from ours, `taken_at` is moved by."""
        return self._moment("sent_at")

    def _moment(self, name: str) -> datetime | None:
        """Without an offset it is one of UTC. None where it isn't said."""
        text = self.cleaned_data[name]
        if not text:
            return None
        try:
            moment = parse_datetime(text)
        except ValueError:
            moment = None
        if moment is None:
            raise forms.ValidationError(NOT_A_MOMENT, code="not_a_moment")
        return moment if moment.tzinfo else moment.replace(tzinfo=ZoneInfo("UTC"))

    def details(self) -> list[Detail]:
        """What is wrong, as a service would say it."""
        found = self.errors.get_json_data()
        return [Detail(f"/{name}", each["message"], each["code"]) for name, errors in found.items() for each in errors]

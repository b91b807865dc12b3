"""Who is invited by mail, to a farm or to a group."""

from typing import Any
from zoneinfo import available_timezones

from django import forms
from django.conf import settings
from django.utils.translation import gettext_lazy as _

from server.web.forms.farm import day_field


class InviteForm(forms.Form):
    """An address, a name and the language of the mail; the role is one of those that may be given."""

    email = forms.CharField(
        label=_("E-mail address"), max_length=254, widget=forms.EmailInput(attrs={"autocomplete": "off"}),
        help_text=_("The invitation is mailed there, and works for this address only."),
    )  # fmt: skip
    name = forms.CharField(label=_("Name"), max_length=120)
    role = forms.ChoiceField(label=_("As"), widget=forms.RadioSelect)
    language = forms.ChoiceField(label=_("Language of the mail"), choices=settings.LANGUAGES)

    def __init__(self, *args: Any, roles: list[tuple[str, Any]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["role"].choices = roles  # type: ignore[attr-defined]


def farm_roles(*, owner: bool) -> list[tuple[str, Any]]:
    """What somebody may be invited as; an owner only by an owner."""
    told = [("recorder", _("recorder: counts, and sees everything of the farm"))]
    return [*told, ("owner", _("owner: decides, too, who sees the farm"))] if owner else told


GROUP_ROLES = [
    ("adviser", _("adviser: sees the farms that agree to it")),
    ("coordinator", _("coordinator: regions, levels, people; no farm's counts")),
    ("guest", _("guest: reads the region reports until a day")),
]


class GroupInviteForm(InviteForm):
    until = day_field(_("Last day, for a guest"), required=False, help_text=_("At most 400 days ahead."))

    def clean(self) -> dict[str, Any]:
        typed: dict[str, Any] = super().clean() or self.cleaned_data
        if typed.get("role") == "guest" and not typed.get("until") and "until" not in self.errors:
            self.add_error("until", _("Choose the day until which the guest reads."))
        return typed


def zones() -> list[tuple[str, str]]:
    """Time zones of the IANA database that are a place's."""
    named = sorted(zone for zone in available_timezones() if "/" in zone and not zone.startswith(("Etc/", "posix/")))
    return [(zone, zone.replace("_", " ")) for zone in [*named, "UTC"]]


class NewFarmForm(forms.Form):
    """A farm that is registered as soon as its first owner accepts."""

    farm = forms.CharField(label=_("Name of the farm"), max_length=120)
    region = forms.ChoiceField(label=_("Region"))
    time_zone = forms.ChoiceField(label=_("Time zone"), help_text=_("Days and weeks of the farm go by it."))
    holding = forms.CharField(
        label=_("Holding"), max_length=120, required=False,
        help_text=_("Only where one owner has several farms here: the same name for each. Otherwise leave it empty."),
    )  # fmt: skip
    name = forms.CharField(label=_("Name of its owner"), max_length=120)
    email = forms.CharField(
        label=_("E-mail address of its owner"), max_length=254, widget=forms.EmailInput(attrs={"autocomplete": "off"}),
        help_text=_("The invitation is mailed there, and works for this address only."),
    )  # fmt: skip
    language = forms.ChoiceField(label=_("Language"), choices=settings.LANGUAGES)

    def __init__(self, *args: Any, regions: list[Any], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["region"].choices = [(str(each.id), each.name) for each in regions]  # type: ignore[attr-defined]
        self.fields["time_zone"].choices = zones()  # type: ignore[attr-defined]


class BeginForm(forms.Form):
    """What an invited owner begins in the group: a new farm, or one of their own that comes from another group."""

    bring = forms.ChoiceField(label=_("Which farm"), required=False, widget=forms.RadioSelect)

    def __init__(self, *args: Any, name: str, farms: list[Any], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.farms = {str(each.id): each for each in farms}
        begin = _("Begin %(farm)s as a new farm") % {"farm": name}
        over = [(key, _("Bring %(farm)s over") % {"farm": each.name}) for key, each in self.farms.items()]
        self.fields["bring"].choices = [("", begin), *over]  # type: ignore[attr-defined]

    @property
    def brought(self) -> Any:
        """The farm that is brought over, None where a new one begins."""
        return self.farms.get(self.cleaned_data["bring"])


class RegionForm(forms.Form):
    name = forms.CharField(label=_("Name of the region"), max_length=120)

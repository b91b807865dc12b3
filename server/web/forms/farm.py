"""What owners and advisers set on a farm: people, keys, consents, levels, seasons, barns, stations, work."""

from datetime import date
from typing import Any

from django import forms
from django.core.validators import MinValueValidator
from django.utils.dates import WEEKDAYS
from django.utils.translation import gettext_lazy as _

from monitoring.methods import METHOD_CHOICES
from monitoring.rules.cells import FIRST_DAY, YEAR_CUT
from server.web.choices import choices_of

DAY_INVALID = _("Type the day as year-month-day, such as 2026-07-06.")


def day_field(label: Any, **kwargs: Any) -> forms.DateField:
    return forms.DateField(
        label=label,
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        error_messages={"invalid": DAY_INVALID, "required": _("Choose a day.")},
        validators=[MinValueValidator(FIRST_DAY, YEAR_CUT)],
        **kwargs,
    )


class PersonForm(forms.Form):
    name = forms.CharField(label=_("Name"), max_length=120)
    initials = forms.CharField(label=_("Initials"), max_length=6, help_text=_("As they write them on the paper sheet."))


class DaysForm(forms.Form):
    """From which day to which; either may be left open."""

    since = day_field(_("From"), required=False)
    until = day_field(_("To"), required=False)


class KeyForm(forms.Form):
    """A program's key."""

    LIVES = [("30", _("30 days")), ("180", _("half a year")), ("365", _("a year"))]

    name = forms.CharField(label=_("Which program will use it?"), max_length=120)
    scope = forms.ChoiceField(
        label=_("It may"),
        choices=[("read", _("read only")), ("write", _("read, and send rounds"))],
        widget=forms.RadioSelect,
        initial="read",
    )
    days = forms.ChoiceField(label=_("It ends after"), choices=LIVES, initial="180")


class AdviserForm(forms.Form):
    """Which adviser of the group may see the farm."""

    adviser = forms.ChoiceField(label=_("Adviser"))
    whoever_follows = forms.BooleanField(
        label=_("Also whoever follows"), required=False,
        help_text=_(
            "Should this adviser leave, the next one begins on the day that the group names, two weeks ahead or more. "
            "You are told first and may say no. Without it nobody begins before you say yes."
        ),
    )  # fmt: skip

    def __init__(self, *args: Any, advisers: list[Any], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["adviser"].choices = [(str(user.id), str(user)) for user in advisers]  # type: ignore[attr-defined]


class MailDayForm(forms.Form):
    """The weekday of the farm's mail; 1 is Monday."""

    weekday = forms.TypedChoiceField(
        label=_("Weekday"), coerce=int, choices=[(number + 1, name) for number, name in WEEKDAYS.items()]
    )


class LevelForm(forms.Form):
    """An action level: how high, from when, and why."""

    method = forms.ChoiceField(label=_("For"), choices=METHOD_CHOICES)
    facility = forms.ChoiceField(label=_("Where"), required=False)
    value = forms.FloatField(
        label=_("Action level"),
        localize=True,
        required=False,
        widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
        error_messages={"invalid": _("Type a number, such as 80.")},
        help_text=_("Left empty, an own level is taken back and the usual one applies again."),
    )
    valid_from = day_field(_("From"))
    reason = forms.CharField(
        label=_("Reason"), max_length=300, help_text=_("Why this farm acts earlier or later: for the record.")
    )

    def __init__(self, *args: Any, facilities: list[Any] | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        if facilities is None:
            del self.fields["facility"]
            self.fields["reason"].help_text = _("Why the group acts earlier or later: for the record.")
            return
        whole = [("", _("the whole farm"))]
        self.fields["facility"].choices = whole + [(str(item.id), item.name) for item in facilities]  # type: ignore[attr-defined]


class SeasonForm(forms.Form):
    opens_on = day_field(_("First day"))


class CloseSeasonForm(forms.Form):
    closes_on = day_field(_("Last day"))


class FacilityForm(forms.Form):
    name = forms.CharField(label=_("Name"), max_length=120)
    kind = forms.ChoiceField(label=_("Kind"))
    position = forms.IntegerField(
        label=_("Place in the walk"), min_value=0, max_value=999, initial=0,
        widget=forms.TextInput(attrs={"inputmode": "numeric"}),
    )  # fmt: skip

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["kind"].choices = choices_of("farms.Facility", "kind")  # type: ignore[attr-defined]


class SitingForm(forms.Form):
    """How a card or trap hangs: part of what its counts mean."""

    near = forms.ChoiceField(label=_("What is near that draws flies"))
    windy = forms.BooleanField(label=_("in wind or draught"), required=False)
    out_of_reach = forms.ChoiceField(
        label=_("Out of reach of animals and children"),
        choices=[("", _("not looked")), ("yes", _("yes")), ("no", _("no"))],
        required=False,
    )
    since = day_field(_("Since"))

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["near"].choices = choices_of("monitoring.Siting", "near")  # type: ignore[attr-defined]

    @property
    def reach(self) -> bool | None:
        return {"yes": True, "no": False}.get(self.cleaned_data["out_of_reach"])


class StationForm(SitingForm):
    """A new numbered card, trap or leg count."""

    facility = forms.ChoiceField(label=_("Where"))
    method = forms.ChoiceField(label=_("What"), choices=METHOD_CHOICES)
    number = forms.IntegerField(
        label=_("Number"), min_value=1, max_value=999, widget=forms.TextInput(attrs={"inputmode": "numeric"})
    )
    position = forms.IntegerField(
        label=_("Place in the walk"), min_value=0, max_value=999, initial=0,
        widget=forms.TextInput(attrs={"inputmode": "numeric"}),
    )  # fmt: skip

    field_order = ["facility", "method", "number", "position", "near", "windy", "out_of_reach", "since"]

    def __init__(self, *args: Any, facilities: list[Any], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["facility"].choices = [(str(item.id), item.name) for item in facilities]  # type: ignore[attr-defined]


class SkipForm(forms.Form):
    """The next round, later than usual: cards stay up, and nothing is overdue before."""

    next_round_on = day_field(_("Next round on"))

    def __init__(self, *args: Any, today: date, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["next_round_on"].widget.attrs["min"] = today.isoformat()


class ImportForm(forms.Form):
    """A file of counts. Looked through first; stored only when the person says so."""

    file = forms.FileField(
        label=_("File"),
        help_text=_("CSV, as a spreadsheet saves it. At most 5 MB and 50,000 rows."),
        error_messages={"required": _("Choose a file."), "empty": _("This file is empty. Choose another one.")},
        widget=forms.ClearableFileInput(attrs={"accept": ".csv,text/csv"}),
    )
    order = forms.ChoiceField(
        label=_("Dates in it"),
        choices=[
            ("", _("year first: 2026-06-01")),
            ("day_first", _("day first: 1.6.2026 or 1/6/2026")),
            ("month_first", _("month first: 6/1/2026")),
        ],
        required=False,
    )

"""Work that was done, work that is planned, and what becomes of a plan. Rules lie in the services."""

from datetime import date
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from server.web.choices import choices_of
from server.web.forms.farm import day_field

NUMBER = _("Type a whole number, such as 5000.")


def line_field(label: Any, most: int, *, required: bool = False, help_text: Any = "") -> forms.CharField:
    """One line of words."""
    return forms.CharField(
        label=label, max_length=most, required=required, help_text=help_text,
        widget=forms.TextInput(attrs={"autocomplete": "off"}),
    )  # fmt: skip


def whole_field(label: Any, **more: Any) -> forms.IntegerField:
    return forms.IntegerField(
        label=label, required=False, min_value=1, error_messages={"invalid": NUMBER, "min_value": NUMBER},
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}), **more,
    )  # fmt: skip


class PlaceForm(forms.Form):
    """What is done, in one barn or lot or on the whole farm."""

    kind = forms.ChoiceField(label=_("What"))
    facility = forms.ChoiceField(label=_("Where"), required=False)
    kinds_of = "monitoring.Work"

    def __init__(self, *args: Any, facilities: list[Any], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.places = {str(item.id): item for item in facilities}
        self.fields["kind"].choices = choices_of(self.kinds_of, "kind")  # type: ignore[attr-defined]
        whole = [("", _("the whole farm"))]
        self.fields["facility"].choices = whole + [(key, item.name) for key, item in self.places.items()]  # type: ignore[attr-defined]

    @property
    def place(self) -> Any:
        return self.places.get(self.cleaned_data["facility"])


class WorkForm(PlaceForm):
    """Work done against flies. Sprays, pour-ons and baits need their full record and are not noted here."""

    done_on = day_field(_("Day"))
    thorough = forms.ChoiceField(
        label=_("All of it, down to the floor and along the walls?"),
        choices=[("", _("not said")), ("yes", _("yes")), ("no", _("no, a part"))],
        required=False,
    )
    not_reached = line_field(
        _("What could not be reached"), 200, help_text=_("Places, such as “under the feed bunk”. No names of people.")
    )
    species = line_field(_("Species of the wasps"), 100)
    number = whole_field(_("How many wasps"))
    batch = line_field(_("The supplier's batch"), 60)
    # Which day of which plan it stands for.
    planned = forms.UUIDField(required=False, widget=forms.HiddenInput)
    planned_for = forms.DateField(required=False, widget=forms.HiddenInput)

    @property
    def was_thorough(self) -> bool | None:
        return {"yes": True, "no": False}.get(self.cleaned_data["thorough"])

    @property
    def of_clean_out(self) -> list[forms.BoundField]:
        return [self["thorough"], self["not_reached"]]

    @property
    def of_wasps(self) -> list[forms.BoundField]:
        return [self["species"], self["number"], self["batch"]]


class AgainForm(PlaceForm):
    """What is usually done, done again today: one tap."""


class DoneForm(forms.Form):
    """A planned day done today: one tap."""

    day = forms.DateField(widget=forms.HiddenInput)


class MistakeForm(forms.Form):
    """A work that was noted by mistake, and why."""

    why = line_field(
        _("Why"), 200, required=True, help_text=_("Such as “tapped the wrong barn”. It stays on record with the work.")
    )


class PlanForm(PlaceForm):
    """Work to be done once, or again and again until a last day."""

    kinds_of = "monitoring.PlannedWork"
    first_day = day_field(_("First day"))
    every = whole_field(_("Again every"), help_text=_("A number. Leave it empty for work that is done once."))
    unit = forms.ChoiceField(label=_("Days, weeks or months"), required=False)
    last_day = day_field(
        _("Until"), required=False,
        help_text=_("The last day, at most 400 days after the first; it can be planned anew then."),
    )  # fmt: skip
    words = line_field(_("What to do"), 200, help_text=_("In a few words, such as “behind the hutches, too”."))
    species = line_field(_("Species of the wasps"), 100)
    number = whole_field(_("How many wasps each time"))
    product_id = forms.ChoiceField(label=_("Product of the group's list"), required=False)
    use_kind = forms.ChoiceField(
        label=_("Or what it is for"), required=False, help_text=_("Where the product isn't on the list.")
    )
    # Shown once something is asked.
    thought_of = forms.BooleanField(label=_("That was thought of"), required=False)

    def __init__(self, *args: Any, products: list[Any], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.products = {str(each.id): each for each in products}
        listed = [(key, each.name) for key, each in self.products.items()]
        self.fields["product_id"].choices = [("", _("none")), *listed]  # type: ignore[attr-defined]
        uses = choices_of("monitoring.Product", "kind", first=_("choose"))
        self.fields["use_kind"].choices = uses  # type: ignore[attr-defined]
        self.fields["unit"].choices = choices_of("monitoring.PlannedWork", "unit")  # type: ignore[attr-defined]
        self.fields["unit"].initial = "week"

    @property
    def of_wasps(self) -> list[forms.BoundField]:
        return [self["species"], self["number"]]

    @property
    def of_application(self) -> list[forms.BoundField]:
        return [self["product_id"], self["use_kind"]]

    @property
    def product(self) -> Any:
        return self.products.get(self.cleaned_data["product_id"])


class StepForm(forms.Form):
    """A day of a plan that is left out, or the day from which on it is ended; and why."""

    day = forms.ChoiceField(label=_("Which day"))
    why = line_field(_("Why"), 200, required=True, help_text=_("In a few words; they stay on record."))

    def __init__(self, *args: Any, days: list[tuple[str, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["day"].choices = days  # type: ignore[attr-defined]

    @property
    def day_chosen(self) -> date:
        return date.fromisoformat(self.cleaned_data["day"])

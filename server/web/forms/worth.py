"""What a person types to see from how many flies on a work pays. It stands in the address only; nothing is kept."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from monitoring.analysis.worth import Stake

# Beyond these nobody means it, and the numbers stay ones that can be shown.
MOST, LEAST = 1e9, 1e-6


def number_field(label: Any, help_text: Any = "", *, most: float = MOST, least: float = LEAST) -> forms.FloatField:
    return forms.FloatField(
        label=label,
        help_text=help_text,
        localize=True,
        min_value=least,
        max_value=most,
        widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
        error_messages={
            "required": _("Type a number."),
            "invalid": _("Type a number, such as 80."),
            "min_value": _("Type a number above zero."),
            "max_value": _("This is more than can be meant. Check the number."),
        },
    )


class WorthForm(forms.Form):
    """The user's own prices, costs and losses; none of them has a number in it to begin with."""

    price = number_field(_("What a kilogram or pound of milk brings"), _("In your money."))
    loss_per_fly = number_field(
        _("Milk lost by a cow in a day for each stable fly on her"),
        _("In the same kilograms or pounds. Flyround has no number of its own for this."),
    )
    loss_source = forms.CharField(
        label=_("Where this number comes from"),
        help_text=_("In your own words: a bulletin, a trial, your own guess."),
        max_length=200,
        error_messages={"required": _("Say where it comes from, even if it is a guess.")},
    )
    cost = number_field(_("What the work costs, all of it"), _("Wages, machines, bedding, in your money."), least=0.0)
    animals = number_field(_("Cows in milk that it is for"), most=1e6)
    days = number_field(_("Days that it will keep flies down"), most=366)
    share_gone = number_field(
        _("Per cent of the flies that it will take away"),
        _("Your best guess, such as 50. The list of work done shows what earlier ones did."),
        most=100,
    )

    @property
    def stake(self) -> Stake:
        typed = self.cleaned_data
        return Stake(
            price=typed["price"],
            loss_per_fly=typed["loss_per_fly"],
            animals=typed["animals"],
            days=typed["days"],
            share_gone=typed["share_gone"] / 100,
        )

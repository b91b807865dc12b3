"""What somebody does about an open matter, and how a coordinator tunes the group's rules."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from alerts.models.alert import Rule
from alerts.rules import NUMBERS, RuleSetting
from monitoring.methods import METHOD_CHOICES
from server.web.forms.farm import day_field


class NoteForm(forms.Form):
    """Taking an open matter on."""

    note = forms.CharField(
        label=_("A word for the others"), max_length=2000, required=False, widget=forms.Textarea(attrs={"rows": 3})
    )


class LaterForm(forms.Form):
    """Putting an open matter off."""

    until = day_field(_("Remind me on"))


class WorkForm(forms.Form):
    """Which work was done about an open matter."""

    work_id = forms.ChoiceField(label=_("Work"))

    def __init__(self, *args: Any, works: list[tuple[str, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["work_id"].choices = works  # type: ignore[attr-defined]


class TryLevelForm(forms.Form):
    """An action level to try on the last season."""

    try_method = forms.ChoiceField(label=_("For"), choices=METHOD_CHOICES)
    try_facility = forms.ChoiceField(label=_("Where"), required=False)
    try_value = forms.FloatField(
        label=_("Action level to try"),
        localize=True,
        min_value=0.01,
        widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
        error_messages={"invalid": _("Type a number, such as 80."), "min_value": _("Type a number above 0.")},
    )

    def __init__(self, *args: Any, facilities: list[Any], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        places = [("", _("the whole farm")), *((str(place.id), place.name) for place in facilities)]
        self.fields["try_facility"].choices = places  # type: ignore[attr-defined]


class RuleForm(forms.Form):
    """One rule of a group: on or off, its numbers, from when and why."""

    is_on = forms.ChoiceField(
        label=_("This rule is"), choices=[("on", _("on")), ("off", _("off"))], widget=forms.RadioSelect
    )
    valid_from = day_field(_("From"))
    reason = forms.CharField(label=_("Reason"), max_length=300)

    def __init__(self, *args: Any, setting: RuleSetting, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["is_on"].initial = "on" if setting.is_on else "off"
        for name, known in NUMBERS[setting.rule].items():
            self.fields[name] = forms.FloatField(
                label=known.meaning, initial=setting.numbers[name], localize=True,
                widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
                error_messages={"invalid": _("Type a number.")},
                help_text=_("From %(least)g to %(most)g; usually %(usual)g.")
                % {"least": known.least, "most": known.most, "usual": known.usual},
            )  # fmt: skip
        self.order_fields(["is_on", *NUMBERS[setting.rule], "valid_from", "reason"])

    def numbers(self, rule: str) -> dict[str, float]:
        """The rule's numbers that were typed and differ from the usual ones."""
        typed = {name: self.cleaned_data[name] for name in NUMBERS[rule]}
        return {name: value for name, value in typed.items() if value != NUMBERS[rule][name].usual}


RULE_NAMES = dict(Rule.choices)

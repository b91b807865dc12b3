"""A complaint as it was said, and what was answered. Rules lie in the services."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from monitoring.rules.complaint import LONGEST
from server.web.choices import choices_of
from server.web.forms.farm import day_field


def words_field(name: str, label: Any, *, rows: int = 0, **kwargs: Any) -> forms.CharField:
    attrs = {"maxlength": LONGEST[name], "autocomplete": "off"}
    widget = forms.Textarea(attrs={"rows": rows, **attrs}) if rows else forms.TextInput(attrs=attrs)
    return forms.CharField(label=label, required=False, widget=widget, **kwargs)


class ComplaintForm(forms.Form):
    heard_on = day_field(_("When"))
    said_by = forms.ChoiceField(label=_("Who said it"), widget=forms.RadioSelect)
    came = forms.ChoiceField(label=_("How it came"), widget=forms.RadioSelect)
    said = words_field("said", _("What was said"), rows=4)
    sender = words_field("sender", _("Name, if you want to keep it"))
    place = words_field(
        "place", _("From where"), help_text=_("In words: a direction and how far, such as “half a mile east”.")
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in ("said_by", "came"):
            self.fields[name].choices = choices_of("monitoring.Complaint", name)  # type: ignore[attr-defined]


class MendComplaintForm(ComplaintForm):
    reason = words_field("reason", _("Why it is changed"))


class AnswerForm(forms.Form):
    answered_on = day_field(_("When"))
    went = forms.ChoiceField(label=_("How it went out"), widget=forms.RadioSelect)
    answered = words_field("answered", _("What was answered"), rows=4)
    by = words_field("by", _("Who answered"))

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["went"].choices = choices_of("monitoring.ComplaintAnswer", "went")  # type: ignore[attr-defined]


class MendAnswerForm(AnswerForm):
    reason = words_field("reason", _("Why it is changed"))

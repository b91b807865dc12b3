"""A complaint as it was said, and what was answered. Rules lie in the services."""

from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

from monitoring.rules.complaint import LONGEST
from server.web.choices import choices_of
from server.web.forms.farm import day_field
from server.web.forms.words import words_field


class ComplaintForm(forms.Form):
    heard_on = day_field(_("When"))
    said_by = forms.ChoiceField(label=_("Who said it"), widget=forms.RadioSelect)
    came = forms.ChoiceField(label=_("How it came"), widget=forms.RadioSelect)
    said = words_field(_("What was said"), LONGEST["said"], rows=4)
    sender = words_field(_("Name, if you want to keep it"), LONGEST["sender"])
    place = words_field(
        _("From where"), LONGEST["place"], help_text=_("In words: a direction and how far, such as “half a mile east”.")
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for name in ("said_by", "came"):
            self.fields[name].choices = choices_of("monitoring.Complaint", name)  # type: ignore[attr-defined]


class MendComplaintForm(ComplaintForm):
    reason = words_field(_("Why it is changed"), LONGEST["reason"])


class AnswerForm(forms.Form):
    answered_on = day_field(_("When"))
    went = forms.ChoiceField(label=_("How it went out"), widget=forms.RadioSelect)
    answered = words_field(_("What was answered"), LONGEST["answered"], rows=4)
    by = words_field(_("Who answered"), LONGEST["by"])

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["went"].choices = choices_of("monitoring.ComplaintAnswer", "went")  # type: ignore[attr-defined]


class MendAnswerForm(AnswerForm):
    reason = words_field(_("Why it is changed"), LONGEST["reason"])

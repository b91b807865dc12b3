"""Which farms of the Monday list are shown, and in which order: read from the address, so that a list can be kept."""

from collections.abc import Mapping, Sequence
from typing import Any
from urllib.parse import urlencode

from django import forms
from django.http import QueryDict
from django.utils.translation import gettext_lazy as _
from django.utils.translation import pgettext_lazy

ALL, CALL, SILENT, PROMISED, UNTOLD = "", "call", "silent", "promised", "untold"
SHOWN = [
    (ALL, _("every farm")),
    (CALL, _("to call first")),
    (SILENT, _("has not sent")),
    (PROMISED, _("promised and due")),
    (UNTOLD, _("not told yet")),
]
BY_LIST, BY_NAME, BY_DAYS, BY_OPEN = "", "name", "days", "open"
SORTED = [
    (BY_LIST, _("whom to call first")),
    (BY_NAME, pgettext_lazy("sorted by", "name")),
    (BY_DAYS, _("days since the last round")),
    (BY_OPEN, _("longest open first")),
]
KEPT = ("week", "q", "show", "region", "sort")
LONGEST = 80


class ListForm(forms.Form):
    q = forms.CharField(label=_("Farm"), max_length=LONGEST, required=False, widget=forms.SearchInput)
    show = forms.ChoiceField(label=_("Show"), choices=SHOWN, required=False)
    region = forms.ChoiceField(label=_("Region"), required=False)
    sort = forms.ChoiceField(label=_("In the order of"), choices=SORTED, required=False)

    def __init__(self, given: Mapping[str, Any], regions: Sequence[tuple[str, str]]) -> None:
        super().__init__(given, auto_id="list-%s")
        self.fields["region"].choices = [("", _("every region")), *regions]  # type: ignore[attr-defined]

    def asked(self, name: str) -> str:
        """What was asked for; nothing where it can't be, so that an old address still shows the list."""
        self.is_valid()
        return str(self.cleaned_data.get(name) or "")


def kept_query(given: QueryDict | str) -> str:
    """What the list's own form takes of a query string, and nothing else: safe to lead somebody back to."""
    query = QueryDict(given) if isinstance(given, str) else given
    return urlencode({name: query[name][:LONGEST] for name in KEPT if query.get(name)})

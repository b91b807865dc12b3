"""A field for words of somebody's own."""

from typing import Any

from django import forms


def words_field(label: Any, longest: int, *, rows: int = 0, **kwargs: Any) -> forms.CharField:
    """As much as the rules take; the service says so where it is more. One line, or `rows` of them."""
    attrs = {"maxlength": longest, "autocomplete": "off"}
    widget = forms.Textarea(attrs={"rows": rows, **attrs}) if rows else forms.TextInput(attrs=attrs)
    return forms.CharField(label=label, required=False, widget=widget, **kwargs)

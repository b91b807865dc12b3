"""The records' own choices, for forms: the pages name no other app's tables."""

from functools import cache
from typing import Any

from django.apps import apps


def choices_of(model: str, field: str, *, first: Any = None) -> list[tuple[str, Any]]:
    """What a column may hold and how it is called; `first` is the label of "nothing chosen" where that is allowed."""
    found = list(apps.get_model(model)._meta.get_field(field).choices)
    return found if first is None else [("", first), *found]


def label_of(model: str, field: str, value: str) -> Any:
    """How one value of a column is called; the value itself where it is not among the choices."""
    return _labels(model, field).get(value, value)


@cache
def _labels(model: str, field: str) -> dict[str, Any]:
    """The labels are translated when they are written, so they may be kept: a list of 300 farms asks for as many."""
    return dict(choices_of(model, field))

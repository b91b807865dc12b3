"""Flies on each animal: one box an animal, or all numbers in one box with spaces between them."""

import re
from typing import Any

from django import forms
from django.utils.translation import gettext_lazy as _

BOXES = 15


class SeveralBoxes(forms.TextInput):
    """Several inputs under one name, drawn by web/includes/animals.html."""

    def value_from_datadict(self, data: Any, files: Any, name: str) -> str:
        typed = data.getlist(name) if hasattr(data, "getlist") else [data.get(name) or ""]
        return " ".join(part.strip() for part in typed if part.strip())


def boxes_of(field: forms.BoundField) -> list[str]:
    """What stands in each box: what was typed, then empty ones. An empty box is no animal, a zero one without flies."""
    typed = re.split(r"[\s,;]+", str(field.value() or "").strip())
    typed = [part for part in typed if part]
    return typed + [""] * max(BOXES - len(typed), 1)


class AnimalsField(forms.Field):
    """A list of whole numbers, one an animal; None where every box is empty."""

    widget = SeveralBoxes

    def to_python(self, value: Any) -> list[int] | None:
        typed = [part for part in re.split(r"[\s,;]+", str(value or "")) if part]
        if not typed:
            return None
        wrong = next((part for part in typed if not re.fullmatch(r"[0-9]{1,7}", part)), None)
        if wrong is not None:
            raise forms.ValidationError(
                _("“%(part)s” is not a number of flies. Type whole numbers, 0 for an animal without flies."),
                params={"part": wrong[:20]},
            )
        return [int(part) for part in typed]

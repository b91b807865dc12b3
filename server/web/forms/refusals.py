"""A service's refusal, shown beside the field that it names."""

from collections.abc import Callable
from typing import Any

from django import forms

from farms.errors import Conflict, FlyroundError, Invalid


def accepted(form: forms.Form, act: Callable[[], Any]) -> bool:
    """Whether a service took what was sent. Where it refused, the form says why and keeps what was typed."""
    try:
        act()
    except (Invalid, Conflict) as refusal:
        show_refusal(form, refusal)
        return False
    return True


def show_refusal(form: forms.Form, refusal: FlyroundError) -> None:
    """Put each detail beside the field that its pointer ends with (/name, /levels/0/value), else above the form."""
    for detail in refusal.errors:
        name = detail.pointer.rsplit("/", 1)[-1]
        form.add_error(name if name in form.fields else None, detail.detail)
    if not refusal.errors:
        form.add_error(None, str(refusal))

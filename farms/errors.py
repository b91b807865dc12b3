"""What a service may refuse with. No HTTP here: server/api/problems.py maps a kind to a status.

Every class has a stable `code` and a `message`: a full sentence that says what to do. Texts are marked for
translation with gettext_lazy and formatted with the details given.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, ClassVar

from django.utils.translation import gettext_lazy as _


@dataclass(frozen=True)
class Detail:
    """One thing that is wrong: where (a JSON pointer such as /readings/0/count) and what to do about it."""

    pointer: str
    detail: str
    code: str = ""


class FlyroundError(Exception):
    """Anything a service refuses with. `details` become part of the sentence and of the answer."""

    code: ClassVar[str] = "error"
    message: ClassVar[Any] = _("Something went wrong. Try again, and tell your adviser if it happens twice.")
    # Seconds after which the same may work; None where waiting doesn't help.
    wait: ClassVar[int | None] = None

    def __init__(self, *, errors: Sequence[Detail] = (), pointer: str = "", **details: Any) -> None:
        self.details = details
        self.errors = list(errors)
        super().__init__(str(self.message).format(**details))
        if pointer and not self.errors:
            self.errors = [Detail(pointer, str(self), self.code)]


class Invalid(FlyroundError):
    """The request itself is wrong and must be changed."""

    code = "invalid"
    message = _("Some of what was sent can't be stored. Correct what is named below and send it again.")


class Missing(FlyroundError):
    """There is no such thing, or it isn't for this person to know of."""

    code = "not_found"
    message = _("There is nothing at this address. Check the link, or ask the owner of the farm to let you in.")


class Forbidden(FlyroundError):
    """The person is known here, but may not do this."""

    code = "forbidden"
    message = _("Your role on this farm doesn't include this. Ask the owner or the adviser to do it.")


class Conflict(FlyroundError):
    """It was right to ask, but what is stored already says otherwise."""

    code = "conflict"
    message = _("This was changed meanwhile. Load it again and repeat what you wanted to do.")


class TooLarge(FlyroundError):
    """More than the service takes in one piece."""

    code = "too_large"
    message = _("This is more than fits into one request. Split it and send the parts.")

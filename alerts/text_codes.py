"""The code that shows that a telephone number is its person's: letters only, and kept nowhere.

It is derived from the row under SECRET_KEY, so that the process that sends it and the one that compares it make the
same, and no table holds it.
"""

from datetime import timedelta

from django.utils.crypto import constant_time_compare, salted_hmac

from alerts.models import TextNumber

LETTERS = "BCDFGHJKLMNPQRSTVWXZ"  # no vowel: no word; no digit: no message of ours holds one
LENGTH = 8  # 20 ** 8 codes
VALID_FOR = timedelta(hours=1)
CODE = "code-"


def code_of(number: TextNumber) -> str:
    """The code of a number as it was typed at a moment."""
    made = salted_hmac("alerts.text_codes", f"{number.id}:{number.number}", algorithm="sha256").digest()
    return "".join(LETTERS[each % len(LETTERS)] for each in made[:LENGTH])


def is_code_of(number: TextNumber, typed: str) -> bool:
    """Whether that is the code; case, spaces and dashes don't matter."""
    plain = "".join(sign for sign in typed.upper() if sign.isalnum())
    return constant_time_compare(plain, code_of(number))


def code_occasion(number: TextNumber) -> str:
    """The occasion of the message that brings the code."""
    return f"{CODE}{int(number.asked_at.timestamp())}"

"""The mailed code: kept as a hash, and not to be guessed by asking for one code after another.

Tries are counted by the e-mail address that was typed, whether anybody has it or not, and by the address that asks;
a try is counted before the code is compared, so that many at once get no more. Ten wrong ones within a day, and signing
in by code rests for six hours; a one-time link goes on working.
"""

from typing import Any

from allauth.account.adapter import get_adapter
from allauth.account.forms import ConfirmLoginCodeForm
from django.http import HttpRequest
from django.utils.crypto import constant_time_compare, salted_hmac
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from server.limits import Tries, address_of, rest, rests_for, take_back, try_once

HOUR = 3600
OF_ONE_PERSON = Tries("sign-in-code", most=10, within=24 * HOUR, rests=6 * HOUR)
FROM_ONE_ADDRESS = Tries("sign-in-code-from", most=30, within=HOUR // 4, rests=HOUR // 4)


class CodeForm(ConfirmLoginCodeForm):  # type: ignore[misc]
    """allauth's form, with the hash of a code where that one has the code."""

    def clean_code(self) -> str:
        typed = str(self.cleaned_data["code"])
        if not constant_time_compare(fingerprint(typed), self.expected_code):
            raise get_adapter().validation_error("incorrect_code")
        return typed


def fingerprint(code: str) -> str:
    """HMAC-SHA-256 under SECRET_KEY: a code is too short for a plain hash. Dashes and case don't matter."""
    plain = "".join(sign for sign in code if sign.isalnum()).lower()
    return salted_hmac("server.sign_in_code", plain, algorithm="sha256").hexdigest()


def begin_try(request: HttpRequest, email: str) -> int:
    """Count a try before anything is compared: the number of this person's wrong ones, were it wrong; 0 for no more."""
    number = try_once(OF_ONE_PERSON, email.lower())
    if number and not try_once(FROM_ONE_ADDRESS, address_of(request)):
        take_back(OF_ONE_PERSON, email.lower())
        return 0
    return number


def was_right(request: HttpRequest, email: str) -> None:
    take_back(OF_ONE_PERSON, email.lower())
    take_back(FROM_ONE_ADDRESS, address_of(request))


def was_wrong(request: HttpRequest, email: str, number: int, user: Any) -> None:
    """After the last wrong try it rests, and the person, where there is one, is told by mail."""
    if number < OF_ONE_PERSON.most:
        return
    rest(OF_ONE_PERSON, email.lower())
    known = user is not None and user.is_active
    get_adapter().send_mail("account/email/code_rests", email, {"request": request, "known": known})


def why_not(email: str) -> str:
    """Why nobody can try a code for this address just now; empty where one can. The same for an unknown address."""
    seconds = rests_for(OF_ONE_PERSON, email.lower())
    if not seconds:
        return ""
    hours = -(-seconds // HOUR)
    left = ngettext("%(hours)d hour", "%(hours)d hours", hours) % {"hours": hours}
    return _(
        "Too many wrong codes were typed for this address. Signing in by code rests for %(left)s; "
        "a one-time link goes on working."
    ) % {"left": left}

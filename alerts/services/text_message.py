"""A person names the telephone number for their text messages, shows by a code that it is theirs, or takes it away."""

from datetime import datetime
from typing import TYPE_CHECKING

import phonenumbers
from django.db import transaction
from django.utils.translation import gettext_lazy as _

from alerts.models import TextMessage, TextNumber
from alerts.selectors.text_messages import text_number_of
from alerts.text_codes import VALID_FOR, code_occasion, is_code_of
from farms.errors import Conflict, Invalid

if TYPE_CHECKING:
    from farms.models import User


class TextNumberWrong(Invalid):
    code = "text_number_wrong"
    message = _("Type the number with + and the country first, as in +1 202 555 0143.")


class TextCodeWrong(Invalid):
    code = "text_code_wrong"
    message = _("That isn't the code. Look at the newest message, or let another one be sent.")


class TextCodeOld(Conflict):
    code = "text_code_old"
    message = _("The code was good for an hour. Let another one be sent.")


@transaction.atomic
def name_text_number(*, user: "User", number: str, now: datetime) -> TextNumber:
    """Send a code to this number in place of any other one that the person had named. Raises TextNumberWrong."""
    written = in_e164(number)
    TextNumber.objects.filter(user_id=user.id).delete()
    named = TextNumber.objects.create(user=user, number=written, asked_at=now)
    code = TextMessage(recipient=user, occasion=code_occasion(named), queued_at=now, next_try_at=now)
    TextMessage.objects.bulk_create([code], ignore_conflicts=True)
    return named


@transaction.atomic
def confirm_text_number(*, user: "User", code: str, now: datetime) -> TextNumber:
    """From now on messages go to the number. Raises TextCodeWrong or TextCodeOld."""
    named = text_number_of(user)
    if named is None or not is_code_of(named, code):
        raise TextCodeWrong(pointer="/code")
    if named.confirmed_at is None:
        if now - named.asked_at > VALID_FOR:
            raise TextCodeOld()
        named.confirmed_at = now
        TextNumber.objects.filter(id=named.id).update(confirmed_at=now)
    return named


def take_text_number_away(*, user: "User") -> bool:
    """Send no more text messages and forget the number. False where there was none."""
    deleted, _of_each = TextNumber.objects.filter(user_id=user.id).delete()
    return bool(deleted)


def in_e164(typed: str) -> str:
    """A number as ITU-T E.164 writes it, with + and digits. Raises TextNumberWrong for what no telephone can have.

    By the numbering plans of all countries, as phonenumbers has them.
    """
    try:
        number = phonenumbers.parse(typed, None)
    except phonenumbers.NumberParseException as error:
        raise TextNumberWrong(pointer="/number") from error
    if not phonenumbers.is_valid_number(number) or number.extension:
        raise TextNumberWrong(pointer="/number")
    return phonenumbers.format_number(number, phonenumbers.PhoneNumberFormat.E164)

"""The farm phone: a one-time code, shown on screen or paper, turns a phone into the farm's, to send rounds only."""

import secrets
from datetime import datetime, timedelta

from django.db import connection
from django.utils.translation import gettext_lazy as _

from farms.credentials import code_hash, key_hash, new_token_key
from farms.errors import Invalid
from farms.ids import uuid7
from farms.ledger import Actor
from farms.models import Farm, PhoneCode, User
from farms.models.chain import ActorKind
from farms.models.log import LogKind
from farms.services.log import note_in_log
from farms.tenancy.acting import act_for_token

CODE_LIFE = timedelta(minutes=15)
DIGITS = 8


class PhoneCodeWrong(Invalid):
    code = "phone_code_wrong"
    message = _(
        "This code doesn't fit, was used, or is older than 15 minutes. Ask the owner or the adviser for a new one."
    )


def make_phone_code(*, farm: Farm, by: User, now: datetime) -> tuple[PhoneCode, str]:
    """A new code: the row, and eight digits in two fours, told here and never again."""
    digits = f"{secrets.randbelow(10**DIGITS):0{DIGITS}}"
    code = PhoneCode.objects.create(
        farm=farm, code_hash=code_hash(digits), made_by=by, made_at=now, expires_at=now + CODE_LIFE
    )
    return code, f"{digits[:4]} {digits[4:]}"


def use_phone_code(*, code: str, name: str, expires_at: datetime, now: datetime) -> str:
    """Make the phone that holds this code the farm's, and return its key. Raises PhoneCodeWrong.

    `code` as it was typed; `name` tells the owner which phone it is; `expires_at` is the end of the season. From here
    to the end of the transaction row security acts for the phone.
    """
    digits = "".join(sign for sign in code if sign.isdigit())
    key, token_id = new_token_key(), uuid7()
    called = name.strip()[:120] or str(_("farm phone"))
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT farm_id FROM use_phone_code(%s, %s, %s, %s, %s)",
            [code_hash(digits), token_id, key_hash(key), called, expires_at],
        )
        found = cursor.fetchone()
    if found is None:
        raise PhoneCodeWrong(pointer="/code")
    act_for_token(found[0], token_id)
    phone = Actor(ActorKind.PHONE, token_id)
    note_in_log(farm=Farm.objects.get(id=found[0]), kind=LogKind.PHONE_JOINED, actor=phone, now=now, about=called)
    return key

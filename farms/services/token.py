"""API tokens: a program's key to one farm, shown once, stored as its SHA-256."""

from datetime import datetime, timedelta

from django.utils.translation import gettext_lazy as _

from farms.access import actor_on
from farms.credentials import key_hash, new_token_key
from farms.errors import Detail, Invalid
from farms.models import ApiToken, Farm, User
from farms.models.access import TokenScope
from farms.models.log import LogKind
from farms.services.log import note_in_log

LONGEST_LIFE = timedelta(days=400)


class TokenLifeWrong(Invalid):
    code = "token_life_wrong"
    message = _("A key must end at a later time than now, and within {days} days. Choose another end.")


def make_token(
    *, farm: Farm, name: str, scope: str, by: User, expires_at: datetime, now: datetime
) -> tuple[ApiToken, str]:
    """A new key for a program: the row, and the key, which is told here and never again. Raises Invalid."""
    _check(name, scope)
    if not now < expires_at <= now + LONGEST_LIFE:
        raise TokenLifeWrong(pointer="/expires_at", days=LONGEST_LIFE.days)
    key = new_token_key()
    token = ApiToken.objects.create(
        farm=farm, name=name.strip(), scope=scope, key_hash=key_hash(key), made_by=by, made_at=now,
        expires_at=expires_at,
    )  # fmt: skip
    note_in_log(farm=farm, kind=LogKind.TOKEN_MADE, actor=actor_on(by, farm.id), now=now, about=token.name)
    return token, key


def revoke_token(*, token: ApiToken, by: User, now: datetime) -> ApiToken:
    """End a key, or a farm phone, at once; a second time changes nothing."""
    live = ApiToken.objects.filter(farm_id=token.farm_id, id=token.id, revoked_at__isnull=True)
    ended = live.update(revoked_at=now)
    token.refresh_from_db(fields=["revoked_at"])
    if ended:
        actor = actor_on(by, token.farm_id)
        note_in_log(farm=token.farm, kind=LogKind.TOKEN_ENDED, actor=actor, now=now, about=token.name)
    return token


def _check(name: str, scope: str) -> None:
    wrong = []
    if not name.strip():
        wrong.append(Detail("/name", str(_("Name the program that will use the key.")), "blank"))
    if scope not in (TokenScope.READ, TokenScope.WRITE):
        wrong.append(Detail("/scope", str(_("Choose read or write.")), "unknown_scope"))
    if wrong:
        raise Invalid(errors=wrong)

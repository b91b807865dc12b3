"""Answers kept under an Idempotency-Key, so that what was sent twice is done once.

The lock is PostgreSQL's, for the transaction: whatever happens to the request, nothing stays claimed after it.
"""

import hashlib
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import connection
from django.utils.translation import gettext_lazy as _

from farms.credentials import key_hash
from farms.errors import Conflict, Invalid
from farms.models import Farm, FarmAnswer, OwnAnswer
from farms.models.answer import KEPT, KeptAnswer


class AnswerInFlight(Conflict):
    """The first request under this key isn't answered yet."""

    code = "in_flight"
    message = _("This was sent a moment ago and isn't answered yet. Wait a second and send it again as it is.")
    wait = 1


class KeyReused(Invalid):
    """The key was used for another request."""

    code = "idempotency_key_reused"
    message = _(
        "This Idempotency-Key was used for a request that said something else. Use a new one for a new request."
    )


class SecretToldOnce(Conflict):
    """The first answer told a key or a code, which is stored nowhere."""

    code = "secret_told_once"
    message = _(
        "This was done when it was first sent, and the secret in that answer can't be told again. If the answer was "
        "lost, switch off what was made then, and make another with a new Idempotency-Key."
    )


@dataclass(frozen=True)
class Asking:
    """A request that may come again: who asks (a user's or token's id), about which farm, its key and its content."""

    who: UUID
    farm: Farm | None
    key: str
    request: bytes

    @property
    def key_hash(self) -> bytes:
        return key_hash(self.key)

    @property
    def request_hash(self) -> bytes:
        return hashlib.sha256(self.request).digest()

    @property
    def lock(self) -> int:
        """A number for PostgreSQL's advisory lock, the same for the same key of the same asker."""
        farm = self.farm.id.bytes if self.farm else b""
        digest = hashlib.sha256(self.who.bytes + farm + self.key_hash).digest()
        return int.from_bytes(digest[:8], signed=True)

    @property
    def answers(self) -> Any:
        """Every answer kept for whoever asks, about this farm or about none."""
        if self.farm is None:
            return OwnAnswer.objects.filter(who=self.who)
        return FarmAnswer.objects.filter(farm_id=self.farm.id, who=self.who)


def recall(asking: Asking, *, now: datetime) -> KeptAnswer | None:
    """The answer given when this was first sent; None the first time, which then is this request's to answer.

    Raises AnswerInFlight while the first one is being answered, KeyReused for another request under the same key,
    SecretToldOnce where the first answer told a secret.
    """
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_try_advisory_xact_lock(%s)", [asking.lock])
        if not cursor.fetchone()[0]:
            raise AnswerInFlight()
    kept: KeptAnswer | None = asking.answers.filter(key_hash=asking.key_hash, made_at__gt=now - KEPT).first()
    if kept is None:
        return None
    if bytes(kept.request_hash) != asking.request_hash:
        raise KeyReused()
    if kept.answer is None:
        raise SecretToldOnce()
    return kept


def keep_answer(asking: Asking, *, status: int, answer: bytes | None, now: datetime) -> None:
    """Keep what was answered (None: it told a secret), in the transaction of what was done; the old ones go."""
    asking.answers.filter(made_at__lte=now - KEPT).delete()
    values = {
        "who": asking.who, "key_hash": asking.key_hash, "request_hash": asking.request_hash, "made_at": now,
        "status": status, "answer": answer,
    }  # fmt: skip
    if asking.farm is None:
        OwnAnswer.objects.create(**values)
    else:
        FarmAnswer.objects.create(farm=asking.farm, **values)

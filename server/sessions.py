"""Sessions in the database under the hash of their key: whoever reads the table, or a backup of it, is nobody by it."""

import hashlib
from typing import Any

from django.contrib.sessions.backends import db
from django.utils import timezone

KEY_LENGTH = 40  # of the table's column: 160 bits of the hash


class SessionStore(db.SessionStore):
    """Django's store; the browser's cookie holds the key, the row only its SHA-256."""

    def _get_session_from_db(self) -> Any:
        now = timezone.now()
        found = self.model.objects.filter(session_key=hashed(self.session_key), expire_date__gt=now).first()
        if found is None:
            self._session_key = None
        return found

    def exists(self, session_key: str) -> bool:
        return super().exists(hashed(session_key))

    def create_model_instance(self, data: dict[str, Any]) -> Any:
        row = super().create_model_instance(data)
        row.session_key = hashed(row.session_key)
        return row

    def delete(self, session_key: str | None = None) -> None:
        key = session_key or self.session_key
        if key is not None:
            super().delete(hashed(key))


def hashed(key: str | None) -> str:
    """What stands in the table for a session's key. It is random and long enough to need no salt."""
    return hashlib.sha256((key or "").encode()).hexdigest()[:KEY_LENGTH]

"""Sessions in the database under the hash of their key: whoever reads the table, or a backup of it, is nobody by it.

And their cookie, which only a sign-out takes away.
"""

import hashlib
from typing import Any

from django.contrib.sessions.backends import db
from django.contrib.sessions.middleware import SessionMiddleware
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.utils import timezone
from django.utils.cache import patch_vary_headers

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


class Sessions(SessionMiddleware):
    """Django's, but an answer doesn't take a cookie away whose session it merely didn't find.

    A phone asks for something while somebody signs in on it: that answer, to the session of before, would come after
    the sign-in's and take the new cookie with it. A cookie of no session opens nothing, so it may stay.
    """

    def process_response(self, request: HttpRequest, response: HttpResponseBase) -> HttpResponseBase:
        session = getattr(request, "session", None)
        if session is None or session.modified or not session.is_empty():
            return super().process_response(request, response)  # type: ignore[arg-type]
        if session.accessed:
            patch_vary_headers(response, ["Cookie"])  # type: ignore[arg-type]
        return response


def hashed(key: str | None) -> str:
    """What stands in the table for a session's key. It is random and long enough to need no salt."""
    return hashlib.sha256((key or "").encode()).hexdigest()[:KEY_LENGTH]

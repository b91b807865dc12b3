"""No secret stands in the database in words: every column of every table is walked after one of each was made."""

import base64
import re
import zlib
from datetime import timedelta

import pytest
from django.contrib.sessions.models import Session
from django.core import mail
from django.core.cache import cache
from django.db import connection
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from farms.models import User
from farms.services import make_sign_in_link
from tests.cast import as_factory
from tests.server.api.senders import Sender, session_of

pytestmark = pytest.mark.django_db(transaction=True, databases="__all__")


@pytest.fixture
def secrets(anna: User, northfield) -> dict[str, str]:
    """One of each secret that the service tells somebody once."""
    cache.clear()
    owner, farm = session_of(anna), f"/api/v1/farms/{northfield.id}"
    once = {"HTTP_IDEMPOTENCY_KEY": "5e2d8d1e-6a4b-4f53-9a51-0d3c5a7d9f10"}
    ends = (timezone.now() + timedelta(days=30)).isoformat()
    token = owner.post(f"{farm}/tokens", {"name": "Herd", "scope": "write", "expires_at": ends}, **once).json()["key"]
    code, spent = (owner.post(f"{farm}/phone-codes").json()["code"] for _ in range(2))
    phone = Sender().post("/api/v1/phone", {"code": spent, "name": "Barn"}, **once).json()["key"]
    link = make_sign_in_link(user=anna, now=timezone.now(), valid_for=timedelta(hours=1))
    browser = Client()
    browser.post(reverse("account_request_login_code"), {"email": "anna@example.org"})
    waiting = browser.cookies["sessionid"].value
    mailed = mail.outbox[-1].subject.split()[0]
    return {
        "token": token, "phone": phone, "phone code": code.replace(" ", ""), "phone code used": spent.replace(" ", ""),
        "phone code as shown": code, "link": link, "mailed code": mailed, "mailed code, plain": mailed.replace("-", ""),
        "session": owner.cookies["sessionid"].value, "session that waits": waiting,
    }  # fmt: skip


def everything() -> dict[str, str]:
    """What stands in each table, as text; sessions unpacked as well."""
    with as_factory(), connection.cursor() as cursor:
        cursor.execute(
            "SELECT relname FROM pg_class WHERE relnamespace = 'public'::regnamespace AND relkind IN ('r', 'p')"
            " AND NOT relispartition"
        )
        names = [name for (name,) in cursor.fetchall()]
        found = {}
        for name in names:
            cursor.execute(f'SELECT to_jsonb(t)::text FROM "{name}" t')
            found[name] = "\n".join(row for (row,) in cursor.fetchall())
    found["sessions unpacked"] = "\n".join(unpacked(found["django_session"]))
    return found


def unpacked(rows: str) -> list[str]:
    """The content of signed sessions: compressed, in URL-safe base64, before the first colon."""
    opened = []
    for data in re.findall(r'"session_data": "\.?([^":]+):', rows):
        raw = base64.urlsafe_b64decode(data + "=" * (-len(data) % 4))
        try:
            opened.append(zlib.decompress(raw).decode())
        except zlib.error:
            opened.append(raw.decode())
    return opened


def test_every_secret_is_stored_as_a_hash_only(secrets):
    stored = everything()
    assert len(stored) > 30 and all(secrets.values())
    assert "account_login" in stored["sessions unpacked"]  # the walk reaches into sessions
    told = {
        (name, table)
        for name, secret in secrets.items()
        for table, text in stored.items()
        if secret.lower() in text.lower()
    }
    assert told == set()
    for hidden in (name.encode().hex() for name in secrets.values()):  # bytea is shown in hexadecimal
        assert not any(hidden in text for text in stored.values())


def test_the_hashes_are_there_so_the_walk_saw_the_rows(secrets):
    stored = everything()
    from farms.credentials import code_hash, key_hash
    from server.sessions import hashed
    from server.web.sign_in_code import fingerprint

    assert key_hash(secrets["token"]).hex() in stored["farms_apitoken"]
    assert key_hash(secrets["phone"]).hex() in stored["farms_apitoken"]
    assert code_hash(secrets["phone code"]).hex() in stored["farms_phonecode"]
    assert key_hash(secrets["link"]).hex() in stored["farms_signinlink"]
    assert hashed(secrets["session"]) in stored["django_session"]
    assert fingerprint(secrets["mailed code"]) in stored["sessions unpacked"]


def test_a_stolen_row_of_sessions_opens_nothing(secrets, anna):
    keys = list(Session.objects.values_list("session_key", flat=True))
    assert len(keys) >= 2
    for key in keys:
        thief = Client()
        thief.cookies["sessionid"] = key
        assert thief.get("/api/v1/me").status_code == 401
    owner = Client()
    owner.cookies["sessionid"] = secrets["session"]
    assert owner.get("/api/v1/me").status_code == 200
    owner.post(reverse("account_logout"))
    assert owner.get("/api/v1/me").status_code == 401

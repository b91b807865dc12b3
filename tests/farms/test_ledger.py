"""What goes into a link of the chain, computed a second time by hand."""

import hashlib
from datetime import UTC, date, datetime, timedelta, timezone
from decimal import Decimal
from uuid import UUID

import pytest
from hypothesis import given
from hypothesis import strategies as some

from farms.ledger import GENESIS, canonical, link_hash, row_hash, salted

FARM = UUID("01900000-0000-7000-8000-000000000001")
MOMENT = datetime(2026, 6, 1, 7, 30, tzinfo=timezone(timedelta(hours=-5)))


def test_canonical_json_is_the_same_bytes_for_the_same_values():
    values = {"name": "Établo", "count": 61, "fraction": Decimal("0.25"), "day": date(2026, 6, 1), "at": MOMENT,
              "farm": FARM, "none": None, "yes": True, "hash": b"\x00\xff", "animals": [1, 2]}  # fmt: skip
    assert canonical(values).decode() == (
        '{"animals":[1,2],"at":"2026-06-01T12:30:00.000000+00:00","count":61,"day":"2026-06-01",'
        f'"farm":"{FARM}","fraction":"0.2500","hash":"00ff","name":"Établo","none":null,"yes":true}}'
    )


@given(some.dictionaries(some.text(max_size=8), some.integers() | some.text(max_size=8) | some.none()), some.randoms())
def test_the_order_of_keys_does_not_matter(values: dict, random):
    keys = list(values)
    random.shuffle(keys)
    assert canonical({key: values[key] for key in keys}) == canonical(values)


def test_what_has_no_canonical_form_is_refused():
    with pytest.raises(TypeError, match="set has no canonical form"):
        canonical({"animals": {1, 2}})


def test_a_link_is_the_hash_of_the_link_before_and_its_own_content():
    rows = hashlib.sha256(b"rows").digest()
    body = (
        f'{{"farm":"{FARM}","kind":"round","made_at":"2026-06-01T12:30:00.000000+00:00","number":1,'
        f'"rows":"{rows.hex()}"}}'
    )
    assert link_hash(FARM, 1, "round", MOMENT, rows, GENESIS) == hashlib.sha256(bytes(32) + body.encode()).digest()
    assert link_hash(FARM, 1, "round", MOMENT.astimezone(UTC), rows, GENESIS) == link_hash(
        FARM, 1, "round", MOMENT, rows, GENESIS
    )


def test_a_row_is_hashed_with_its_table():
    assert row_hash("a", {"count": 1}) == hashlib.sha256(b'a\n{"count":1}').digest()
    assert row_hash("a", {"count": 1}) != row_hash("b", {"count": 1})


def test_a_salted_text_tells_nothing_without_its_salt():
    assert salted("Pia", b"salt") == hashlib.sha256(b"saltPia").hexdigest()
    assert salted("Pia", b"salt") != salted("Pia", b"other")

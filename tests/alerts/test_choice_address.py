"""The way out of a mail, as RFC 8058 (Signaling One-Click Functionality for List Email Headers, 2017) asks for it."""

import re
from base64 import urlsafe_b64encode
from datetime import timedelta
from email import message_from_bytes, policy
from email.message import EmailMessage
from urllib.parse import urlsplit
from uuid import UUID

import pytest
from hypothesis import given
from hypothesis import strategies as st

from alerts.delivery.choice_address import Reader, _signer, choice_address, choice_token, reader_of
from alerts.delivery.message import RelatedMessage, message_of, way_out
from alerts.delivery.parts import MOST_PARTS
from alerts.models import ChoiceKey, Digest
from alerts.models.mail_choice import MailKind
from farms.ids import uuid7
from farms.models import Farm, User
from tests.alerts.test_outbox import make_digest
from tests.cast import NOW, as_factory

pytestmark = pytest.mark.django_db
LINK = "https://flies.example.org/mails/"


@pytest.fixture(autouse=True)
def over_tls(settings) -> None:
    settings.SITE_URL, settings.SECURE = "https://flies.example.org", True


@pytest.fixture
def digest(northfield: Farm, anna: User) -> Digest:
    row = make_digest(northfield, anna)
    row.text, row.html = f"Stop it: {LINK}\n", f'<a href="{LINK}">Stop it</a>'
    return row


def sent(row: Digest) -> EmailMessage:
    """As a mail program reads it, from the bytes that leave."""
    message = message_from_bytes(message_of([row], now=NOW).message().as_bytes(), policy=policy.default)
    assert isinstance(message, EmailMessage)
    return message


def test_the_headers_are_those_of_section_3_1(digest):
    """One HTTPS URI in List-Unsubscribe, and the one pair in List-Unsubscribe-Post."""
    message = sent(digest)
    (header,) = message.get_all("List-Unsubscribe")
    uris = re.findall(r"<([^<>]*)>", header)
    assert len(uris) == 1 and header.strip() == f"<{uris[0]}>"
    address = urlsplit(uris[0])
    assert (address.scheme, address.hostname, address.query, address.fragment) == ("https", "flies.example.org", "", "")
    assert message.get_all("List-Unsubscribe-Post") == ["List-Unsubscribe=One-Click"]


def test_the_header_is_not_cut_or_coded_on_its_way(digest):
    """Some writers of mail fold or encode a word longer than a line: then it would be no address any more."""
    raw = message_of([digest], now=NOW).message().as_bytes()
    (line,) = re.findall(rb"^List-Unsubscribe:\s*(.*)$", raw, re.MULTILINE)
    assert re.fullmatch(rb"<https://flies\.example\.org/mail-choice/[\w.=-]+/>", line.strip())
    assert max(map(len, raw.split(b"\n"))) <= 998  # RFC 5322, 2.1.1


def test_the_uri_holds_what_is_hard_to_forge_and_says_whose_mail_it_is(digest, anna, northfield):
    """Section 3.1: an opaque identifier or another hard-to-forge component beside, or in place of, plain names."""
    address = sent(digest)["List-Unsubscribe"]
    token = address.split("/")[-2]
    assert reader_of(token) == Reader(anna.id, MailKind.DIGEST, northfield.id)
    assert "anna" not in address and str(anna.id) not in address


def test_the_link_in_the_small_print_is_the_same_address_and_the_stored_mail_has_none(digest):
    message = sent(digest)
    address = message["List-Unsubscribe"].strip("<> ")
    for kind in ("plain", "html"):
        body = message.get_body((kind,)).get_content()
        assert address in body and LINK not in body
    assert "mail-choice" not in digest.text + digest.html


def test_without_tls_no_one_click_is_promised(digest, settings):
    settings.SITE_URL, settings.SECURE = "http://127.0.0.1:8000", False
    message = sent(digest)
    assert message["List-Unsubscribe"].strip().startswith("<http://127.0.0.1:8000/mail-choice/")
    assert message["List-Unsubscribe-Post"] is None


def test_it_opens_after_secret_key_was_changed_and_after_a_new_key_of_its_own(digest, settings):
    old = sent(digest)["List-Unsubscribe"].split("/")[-2]
    settings.SECRET_KEY, settings.SECRET_KEY_FALLBACKS = "another" * 10, []
    assert reader_of(old) is not None
    ChoiceKey.objects.create(key=bytes(range(32)), made_at=NOW + timedelta(days=1))
    new = sent(digest)["List-Unsubscribe"].split("/")[-2]
    assert new != old and reader_of(old) == reader_of(new)
    # Ended, a key opens nothing any more.
    with as_factory():
        ChoiceKey.objects.exclude(key=bytes(range(32))).update(ended_at=NOW)
    assert reader_of(old) is None and reader_of(new) is not None


def test_each_reader_and_farm_has_another_address_and_each_week_the_same(digest, northfield, southmead, anna, carla):
    rows = [digest, make_digest(northfield, anna, "2026-W23"), make_digest(southmead, carla)]
    addresses = [sent(row)["List-Unsubscribe"] for row in rows]
    assert addresses[0] == addresses[1] != addresses[2]


def test_a_message_of_several_farms_names_these_in_any_order(northfield, southmead, anna):
    rows = [make_digest(farm, anna) for farm in (northfield, southmead)]
    address = choice_address(rows, NOW)
    assert choice_address(rows[::-1], NOW) == address
    reader = reader_of(address.split("/")[-2])
    assert reader is not None and (reader.user_id, reader.every) == (anna.id, False)
    assert set(reader.about_ids) == {northfield.id, southmead.id}


def test_the_longest_address_fits_into_a_line_of_a_mail(northfield, anna):
    """RFC 5322, 2.1.1: 998 characters, and 78 would be nice; what is folded or encoded is no address any more."""
    row = make_digest(northfield, anna)
    rows = [Digest(farm_id=uuid7(), recipient=anna, text=LINK) for _ in range(MOST_PARTS)]
    address = choice_address(rows, NOW)
    assert len(address) < 700 and len(choice_address(rows[:10], NOW)) < 360
    message = RelatedMessage("A week", f"Stop it: {address}\n", to=[row.recipient.email], headers=way_out(address))
    raw = message.message().as_bytes()
    assert f"<{address}>".encode() in raw and max(map(len, raw.split(b"\n"))) <= 998
    reader = reader_of(address.split("/")[-2])
    assert reader is not None and len(reader.about_ids) == MOST_PARTS


# Given away by earlier versions, signed with KEY below: whose and of which farm; whose and all of theirs in a group.
WHOSE, ABOUT = UUID("0197a000-0000-7000-8000-000000000001"), UUID("0197a000-0000-7000-8000-000000000002")
GIVEN_AWAY = {
    "AAGXoAAAAHAAgAAAAAAAAAEBl6AAAABwAIAAAAAAAAAC.vt5Qoc9PTVpZ3MCI0W17VMzx57driyjj8Jgypi6o9e8": Reader(
        WHOSE, MailKind.DIGEST, ABOUT
    ),
    "gAGXoAAAAHAAgAAAAAAAAAEBl6AAAABwAIAAAAAAAAAC.Jrbg3zuXrXjBQfJV2Pvg_XYpgQW_d89xjDwGUxwMM90": Reader(
        WHOSE, MailKind.DIGEST, ABOUT, every=True
    ),
}


@pytest.mark.parametrize("token", GIVEN_AWAY)
def test_what_was_given_away_before_opens_the_same_as_before(known_key, token):
    assert reader_of(token) == GIVEN_AWAY[token]


@pytest.mark.parametrize("more", [1, 15, 17])
def test_what_is_no_whole_number_of_ids_says_nothing(known_key, more):
    said = bytes(1) + WHOSE.bytes + ABOUT.bytes + bytes(more)
    assert reader_of(_signer([KEY]).sign(urlsafe_b64encode(said).decode())) is None


KEY = bytes(range(32))
TOKEN = choice_token(Reader(uuid7(), MailKind.MONDAY_LIST, uuid7()), [KEY])


@pytest.fixture
def known_key() -> None:
    ChoiceKey.objects.create(key=KEY, made_at=NOW)


@pytest.mark.parametrize("place", range(len(TOKEN)))
def test_a_token_with_one_letter_changed_opens_nothing(known_key, place):
    other = "A" if TOKEN[place] != "A" else "B"
    changed = TOKEN[:place] + other + TOKEN[place + 1 :]
    # The last letter of each part holds bits that are thrown away; what it says must stay the same then.
    assert reader_of(TOKEN) is not None and reader_of(changed) in (None, reader_of(TOKEN))


@given(text=st.text(max_size=120))
def test_no_other_text_opens_anything(text):
    assert reader_of(text) is None

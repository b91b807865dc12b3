"""Signing a day: once, due and not done; what becomes of it outside; what is said where it can't be done."""

import json
import stat
from datetime import timedelta
from io import StringIO
from pathlib import Path

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey, Ed25519PublicKey
from django.core import mail
from django.core.management import CommandError, call_command

from farms.heads import HeadUnreadable, key_id, leaf_of, read_head
from farms.ledger import canonical
from farms.merkle import path_of, root_from
from farms.models import DailyHead, HeadLeaf, LedgerHead, SigningKey
from server import tasks, watchdog
from server.checks import signed_days, time_stamps
from server.evidence.days import do_errands, sign_day
from server.evidence.files import AlreadyThere, write_once
from server.evidence.keys import NoKey, public_in, signing_key
from server.evidence.watch import what_is_not_signed
from tests.cast import NOW, as_factory, as_role
from tests.server.evidence import scene
from tests.server.evidence.authority import Authority, serving
from tests.server.evidence.scene import signed

pytestmark = pytest.mark.django_db
DAY = timedelta(days=1)
# RFC 8032, 7.1, tests 1 to 3: secret key, public key, message, signature.
RFC_8032 = [
    ("9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
     "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a", "",
     ("e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24"
      "655141438e7a100b")),
    ("4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
     "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c", "72",
     ("92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aee"
      "b00d291612bb0c00")),
    ("c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
     "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025", "af82",
     ("6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984dc6594a7c15e9716ed28d"
      "c027beceea1ec40a")),
]  # fmt: skip


@pytest.fixture
def key(settings, tmp_path: Path) -> str:
    return scene.with_key(settings, tmp_path)


@pytest.mark.parametrize(("secret", "public", "message", "signature"), RFC_8032)
def test_ed25519_is_that_of_rfc_8032(secret, public, message, signature):
    """The vectors are from memory; a slip in them would not verify."""
    made = Ed25519PrivateKey.from_private_bytes(bytes.fromhex(secret))
    assert made.public_key().public_bytes_raw().hex() == public
    assert made.sign(bytes.fromhex(message)).hex() == signature
    Ed25519PublicKey.from_public_bytes(bytes.fromhex(public)).verify(bytes.fromhex(signature), bytes.fromhex(message))


def test_a_day_is_signed_once_over_all_farms(northfield, southmead, key: str, tmp_path: Path):
    head = read_head(signed(NOW).document)
    with as_role("worker"):
        assert sign_day(NOW + timedelta(hours=11)) is None
    assert (head.day, head.leaves, head.key, head.previous) == (NOW.date(), 2, key, None)
    assert head.is_signed_by(public_in((tmp_path / "public.pem").read_bytes()))
    with as_factory():
        stored = DailyHead.objects.get()
        leaves = [bytes(stored.leaves[at : at + 32]) for at in (0, 32)]
        for farm in (northfield, southmead):
            leaf, chain = HeadLeaf.objects.get(farm=farm), LedgerHead.objects.get(farm=farm)
            own = leaf_of(farm.id, chain.number, bytes(chain.hash), bytes(leaf.salt))
            assert root_from(own, leaf.place, 2, path_of(leaves, leaf.place)) == head.root
        # Nothing of a farm stands in what is told of all.
        told = stored.document + stored.leaves.hex()
        assert not any(text in told for text in (str(northfield.id), northfield.id.hex, northfield.name))
        assert len({bytes(leaf.salt) for leaf in HeadLeaf.objects.all()}) == 2


def test_the_next_day_names_the_one_before_and_none_is_made_up_for(northfield, key):
    first, second = read_head(signed(NOW).document), read_head(signed(NOW + 3 * DAY).document)
    assert second.previous == first.hash and second.day - first.day == 3 * DAY
    with as_role("worker"):
        # A clock that was put back signs nothing before what is signed.
        assert sign_day(NOW + DAY) is None


def test_a_changed_document_is_not_signed(northfield, key, tmp_path: Path):
    head = read_head(signed(NOW).document)
    public = public_in((tmp_path / "public.pem").read_bytes())
    said = json.loads(head.document)
    for name, other in (("leaves", 3), ("day", "2026-06-02"), ("root", "00" * 32), ("previous", "11" * 32)):
        assert not read_head(canonical(said | {name: other}).decode()).is_signed_by(public)
    assert not head.is_signed_by(Ed25519PrivateKey.generate().public_key().public_bytes_raw())
    for text in ("", "[]", "{}", "x" * 5000, head.document + ",", json.dumps(said), head.document[:-1] + ',"also":1}'):
        with pytest.raises(HeadUnreadable):
            read_head(text)


def test_a_new_key_signs_on_and_the_old_one_is_kept(northfield, key, settings, tmp_path: Path):
    first = read_head(signed(NOW).document)
    (tmp_path / "next").mkdir()
    call_command("make_signing_key", str(tmp_path / "next" / "key.pem"), stdout=StringIO())
    settings.HEADS_KEY = str(tmp_path / "next" / "key.pem")
    second = read_head(signed(NOW + DAY).document)
    assert first.key != second.key and second.previous == first.hash
    assert set(SigningKey.objects.values_list("id", flat=True)) == {first.key, second.key}
    kept = {key_id(public_in(each.read_bytes())) for each in (tmp_path / "heads").glob("key-*.pem")}
    assert kept == {first.key, second.key}


def test_heads_are_filed_by_day_and_never_overwritten(northfield, key, tmp_path: Path):
    head = signed(NOW)
    file = tmp_path / "heads" / "head-2026-06-01.json"
    assert file.read_text() == head.document + "\n" and head.filed_at == NOW
    assert not list((tmp_path / "heads").glob(".*"))
    write_once(file, file.read_bytes(), mode=0o644)
    with pytest.raises(AlreadyThere):
        write_once(file, b"other", mode=0o644)
    assert file.read_text() == head.document + "\n"


def test_a_file_of_this_name_that_says_something_else_is_told_and_stays(northfield, key, tmp_path: Path):
    file = tmp_path / "heads" / "head-2026-06-01.json"
    file.write_text("something")
    head = signed(NOW)
    assert head.filed_at is None and "never overwritten" in head.error and file.read_text() == "something"
    file.unlink()
    with as_role("worker"):
        do_errands(NOW)  # not yet: it waits
        head.refresh_from_db()
        assert head.filed_at is None
        do_errands(NOW + timedelta(minutes=2))
        head.refresh_from_db()
    assert head.filed_at is not None and head.error == ""


def test_the_head_goes_out_by_mail_once_a_day_to_the_letter(northfield, key, settings):
    settings.HEADS_MAIL_TO = ["office@example.org", "notary@example.org"]
    head = signed(NOW)
    with as_role("worker"):
        do_errands(NOW + timedelta(hours=1))
    (sent,) = mail.outbox
    assert sent.to == settings.HEADS_MAIL_TO and head.document in sent.body
    files = {name: content for name, content, _kind in sent.attachments}
    assert read_head(files["head-2026-06-01.json"]).document == head.document
    assert key_id(public_in(files[f"key-{key[:16]}.pem"].encode())) == key
    assert str(northfield.id) not in sent.body and northfield.name not in sent.body


def test_a_stamp_is_tried_again_and_stops_nothing(northfield, key, settings, tmp_path: Path):
    authority = Authority(NOW)
    (tmp_path / "ca.pem").write_text(authority.root_pem)
    settings.TIME_STAMP_CA = str(tmp_path / "ca.pem")
    with serving(authority) as address:
        settings.TIME_STAMP_URL, settings.TIME_STAMP_MAY_BE_PLAIN = address, True
        authority.answers_with = (503, "text/plain", b"busy", {})
        head = signed(NOW)
        assert head.stamp is None and head.filed_at == NOW and "answered 503" in head.error
        authority.answers_with = None
        with as_role("worker"):
            do_errands(NOW + timedelta(minutes=5))
            head.refresh_from_db()
    assert head.stamp is not None and head.authority == authority.root_pem and head.tries == 1


def test_without_a_key_nothing_is_signed_and_it_is_said(northfield, settings, tmp_path: Path, caplog):
    with as_role("worker"):
        assert sign_day(NOW) is None and what_is_not_signed(NOW) == []
        settings.HEADS_KEY = str(tmp_path / "none.pem")
        with pytest.raises(NoKey, match="make_signing_key"):
            sign_day(NOW)
        tasks.sign_days()
        assert "The day is not signed" in caplog.text and not DailyHead.objects.exists()
        assert "no day is signed" in what_is_not_signed(NOW)[0]
        settings.WATCHDOG_URL = "https://watch.example.org/secret"
        assert watchdog.tell([], NOW) is False and "make_signing_key" in caplog.text
    settings.DATABASE_ROLE = "worker"
    assert [each.id for each in signed_days(None)] == ["flyround.E010"]
    settings.HEADS_KEY = ""
    assert [each.id for each in signed_days(None)] == ["flyround.I001"]
    settings.TIME_STAMP_URL = "https://stamp.example.org/"
    assert [each.id for each in time_stamps(None)] == ["flyround.E011"]


def test_what_is_late_is_told(northfield, key, settings):
    with as_role("worker"):
        assert what_is_not_signed(NOW) == ["no day was signed yet"]
    signed(NOW)
    settings.TIME_STAMP_URL = "https://stamp.example.org/"
    with as_role("worker"):
        assert what_is_not_signed(NOW + timedelta(hours=11)) == []
        assert "waits" in what_is_not_signed(NOW + timedelta(hours=13))[0]
        assert what_is_not_signed(NOW + 2 * DAY) == ["no day has been signed since 2026-06-01"]
        settings.TIME_STAMP_URL, settings.HEADS_MAIL_TO = "", ["keeper@example.org"]
        assert "waits" in what_is_not_signed(NOW + timedelta(hours=13))[0]


def test_a_key_that_others_may_read_signs_nothing(key, settings):
    path = Path(settings.HEADS_KEY)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    path.chmod(0o640)
    with pytest.raises(NoKey, match="chmod 600"):
        signing_key()
    path.chmod(0o600)
    path.write_text("no key")
    with pytest.raises(NoKey, match="no private key"):
        signing_key()


def test_a_key_is_never_written_over(key, settings, tmp_path: Path):
    with pytest.raises(CommandError, match="there already"):
        call_command("make_signing_key", settings.HEADS_KEY)
    settings.HEADS_KEY = ""
    with pytest.raises(CommandError, match="Name the file"):
        call_command("make_signing_key")
    (tmp_path / "file").write_text("")
    with pytest.raises(CommandError, match="can't be written"):
        call_command("make_signing_key", str(tmp_path / "file" / "key.pem"))

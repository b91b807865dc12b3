"""Where evidence is told: the API, the farm's page, the command for the whole database."""

import json
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.db import connection
from django.test import Client

from farms.heads import key_id, leaf_of
from farms.merkle import root_from
from farms.models import LedgerEntry, LedgerHead, User
from monitoring.models import Reading
from server.evidence.keys import public_in
from tests.cast import as_factory
from tests.server.api.exporting import noted, taken
from tests.server.api.senders import Sender, session_of, token_of
from tests.server.evidence.conftest import Signed
from tests.server.web.pages import at, words

pytestmark = pytest.mark.django_db


def signed_in(user: User) -> Client:
    client = Client()
    client.force_login(user)
    return client


def test_anybody_reads_the_public_keys(signed: Signed):
    (key,) = Sender().get("/api/v1/signing-keys").json()["results"]
    assert key["id"] == signed.key == key_id(public_in(key["pem"].encode()))
    assert key["first_used_on"] == "2026-05-28"


def test_owners_and_advisers_read_the_newest_head_and_can_follow_it(signed: Signed, anna, dana):
    for user in (anna, dana):
        told = session_of(user).get(f"/api/v1/farms/{signed.farm.id}/head").json()
        with as_factory():
            chain = LedgerHead.objects.get(farm=signed.farm)
        assert told["number"] == chain.number and told["document"]["day"] == "2026-05-30" and told["stamp"] is None
        leaf = leaf_of(signed.farm.id, chain.number, bytes(chain.hash), bytes.fromhex(told["salt"]))
        path = [bytes.fromhex(each) for each in told["path"]]
        assert root_from(leaf, told["place"], 2, path).hex() == told["document"]["root"]


def test_keys_strangers_and_who_only_counts_get_no_evidence(signed: Signed, anna, ben, carla):
    key, address = token_of(signed.farm, anna, "write"), f"/api/v1/farms/{signed.farm.id}"
    for file in ("head", "exports/evidence.json"):
        assert key.get(f"{address}/{file}").status_code == 403
        assert session_of(ben).get(f"{address}/{file}").status_code == 403
        assert session_of(carla).get(f"{address}/{file}").status_code == 404
        assert Sender().get(f"{address}/{file}").status_code == 401


def test_without_a_signed_day_there_is_no_head_and_evidence_says_so(northfield, anna):
    sender = session_of(anna)
    assert sender.get(f"/api/v1/farms/{northfield.id}/head").status_code == 404
    evidence = json.loads(taken(sender, northfield, "evidence.json"))
    assert evidence["heads"] == [] and len(evidence["links"]) == 1


def test_taking_evidence_is_noted_in_the_farm_s_log(signed: Signed, anna):
    evidence = json.loads(taken(session_of(anna), signed.farm, "evidence.json"))
    assert evidence["farm"] == str(signed.farm.id)
    assert "evidence.json" in str(noted(signed.farm))


def test_the_farm_s_page_says_how_records_are_kept(signed: Signed, anna, ben):
    page = signed_in(anna).get(at("data", signed.farm))
    text = words(page)
    assert "How these records are kept" in text and signed.key in text and "it is no legal promise" in text
    with as_factory():
        number = LedgerEntry.objects.filter(farm=signed.farm).count()
    assert f"{number} entries of this farm" in text and "evidence.json" in page.content.decode()
    assert "exports/evidence.json" not in signed_in(ben).get(at("data", signed.farm)).content.decode()


def test_the_farm_s_page_says_so_where_no_day_was_signed(northfield, ben):
    page = words(signed_in(ben).get(at("data", northfield)))
    assert "No day was signed yet that covers this farm." in page


@pytest.mark.django_db(transaction=True, databases="__all__")
def test_the_command_reads_all_as_the_backup_role_and_writes_nothing(signed: Signed, tmp_path):
    """Its transaction is one look and read-only: as a login of its own that could not write anyway."""
    out = StringIO()
    call_command("verify_chains", "--json", stdout=out)
    told = json.loads(out.getvalue())
    assert told["faults"] == [] and told["farms"] == 2 and told["last_outside"] == "2026-05-30"
    with as_factory():
        with connection.cursor() as cursor:
            cursor.execute("SET LOCAL session_replication_role = replica")
        one = Reading.objects.filter(farm=signed.farm).order_by("id").first()
        Reading.objects.filter(farm=signed.farm, id=one.id).update(count=1)
    out = StringIO()
    with pytest.raises(CommandError, match="1 things don't hold"):
        call_command("verify_chains", "--heads", str(signed.heads), stdout=out)
    assert f"farm {signed.farm.id}, entry {one.entry}: the rows that it brought" in out.getvalue()
    (tmp_path / "empty").mkdir()
    out = StringIO()
    with pytest.raises(CommandError):
        call_command("verify_chains", "--heads", str(tmp_path / "empty"), stdout=out)
    assert "No head from outside was there" in out.getvalue()
    with pytest.raises(CommandError, match="is no folder"):
        call_command("verify_chains", "--heads", str(tmp_path / "none"))

"""Signing in leaves the token in one private file, shows it nowhere, and sends it to no other site."""

import json
import stat
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from farms.models import Farm
from tests.server.client.commands import NOWHERE, json_answer, run, service

COMMITS = pytest.mark.django_db(transaction=True, databases="__all__")
SECRET = "fly_secret"
ME = {
    "name": "Client", "kind": "program", "expires_at": None, "farms": [{"farm_id": "f", "name": "F", "may": ["read"]}]
}  # fmt: skip


@pytest.fixture
def seen() -> list[dict[str, str]]:
    """The headers of each request."""
    return []


@pytest.fixture
def site(seen: list[dict[str, str]]) -> Iterator[str]:
    def answer(method: str, path: str, headers: dict[str, str], body: bytes) -> Any:
        seen.append({name.lower(): value for name, value in headers.items()})
        return json_answer(ME)

    with service(answer) as url:
        yield url


def test_a_sign_in_is_kept_in_a_private_file_and_used(site: str, seen: list[dict[str, str]], home: Path):
    signed = run("sign-in", "--site", f"{site}/", input=f"{SECRET}\n")
    assert (signed.exit_code, signed.stdout.splitlines()[-1]) == (0, f"Signed in at {site} as Client (program).")
    file = home / "sign-in.json"
    assert json.loads(file.read_text()) == {"site": site, "token": SECRET}
    assert (stat.S_IMODE(file.stat().st_mode), stat.S_IMODE(home.stat().st_mode)) == (0o600, 0o700)
    assert {stat.S_IMODE(each.stat().st_mode) for each in home.iterdir()} == {0o600}
    whose = run("whose")
    assert (whose.exit_code, seen[-1]["authorization"]) == (0, f"Bearer {SECRET}")
    assert SECRET not in signed.output + whose.output


def test_a_token_that_is_given_goes_before_the_one_that_is_kept(
    site: str, seen: list[dict[str, str]], monkeypatch: pytest.MonkeyPatch
):
    run("sign-in", "--site", site, "--token", SECRET)
    monkeypatch.setenv("FLYROUND_TOKEN", "fly_environment")
    run("whose")
    run("whose", "--token", "fly_option")
    assert [each["authorization"].removeprefix("Bearer ") for each in seen] == [SECRET, "fly_environment", "fly_option"]


def test_a_kept_token_goes_to_no_other_site(site: str, seen: list[dict[str, str]]):
    run("sign-in", "--site", site, "--token", SECRET)
    elsewhere = run("whose", "--site", NOWHERE)
    assert elsewhere.exit_code == 2 and "Sign in at http://127.0.0.1:9 first" in elsewhere.stderr
    assert len(seen) == 1


def test_signing_out_forgets_the_token(site: str, home: Path):
    run("sign-in", "--site", site, "--token", SECRET)
    assert run("sign-out").stdout == "Signed out.\n"
    assert not (home / "sign-in.json").exists()
    assert run("sign-out").stdout == "Nobody was signed in.\n"
    asked = run("whose")
    assert (asked.exit_code, asked.stderr.startswith("Nobody is signed in here. Run `sign-in`")) == (2, True)


def test_the_service_is_asked_in_the_language_of_the_environment(
    site: str, seen: list[dict[str, str]], monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setenv("LANG", "es_MX.UTF-8")
    run("whose", "--site", site, "--token", SECRET)
    assert seen[0]["accept-language"] == "es-MX, es;q=0.9, en;q=0.5"


@COMMITS
def test_a_token_that_is_not_known_is_refused_in_spanish_and_not_kept(
    live_server: Any, northfield: Farm, home: Path, monkeypatch: pytest.MonkeyPatch
):
    refused = run("sign-in", "--site", live_server.url, "--token", "fly_nothing")
    assert (refused.exit_code, refused.stderr.startswith("This token isn't known")) == (1, True), refused.output
    assert not (home / "sign-in.json").exists()
    monkeypatch.setenv("LANG", "es_MX.UTF-8")
    assert "no se conoce" in run("whose", "--site", live_server.url, "--token", "fly_nothing").stderr.lower()


@pytest.mark.parametrize("token", ["fly a", "fly_\u00e9", "fly_\x00", "  "])
def test_what_is_no_token_is_told_without_showing_it(token: str):
    told = run("whose", "--token", token)
    assert told.exit_code == 2 and "fly_\u00e9" not in told.stderr


@pytest.mark.parametrize("site", ["flies.example.org", "ftp://flies.example.org", "http://", "file:///etc"])
def test_what_is_no_site_is_told(site: str):
    told = run("whose", "--token", SECRET, "--site", site)
    assert (told.exit_code, "isn't an address" in told.stderr) == (2, True), told.output


def test_a_spoiled_file_is_told_and_not_quoted(home: Path):
    home.mkdir()
    (home / "sign-in.json").write_text(f'{{"token": "{SECRET}"')
    told = run("whose")
    assert (told.exit_code, "Sign in again" in told.stderr, SECRET in told.output) == (2, True, False)


def test_a_service_that_is_not_there():
    told = run("whose", "--token", SECRET, "--site", NOWHERE)
    assert (told.exit_code, "can't be reached" in told.stderr) == (3, True)

"""Pages leave compressed, with a length that tells nothing; exports, the API and secret addresses as they are."""

import gzip

import pytest
from django.test import Client
from django.urls import reverse

from farms.models import Farm, User
from tests.server.api.senders import token_of
from tests.server.web.pages import at

pytestmark = pytest.mark.django_db
TAKES_IT = {"Accept-Encoding": "gzip"}


@pytest.fixture(autouse=True)
def at_the_casts_moment(standing_clock) -> None:
    """The farm's page looks at its season."""


@pytest.fixture
def client(anna: User) -> Client:
    client = Client(headers=TAKES_IT)
    client.force_login(anna)
    return client


def test_a_page_is_compressed_for_who_takes_that(client: Client, northfield: Farm):
    page = client.get(at("farm", northfield))
    assert page.headers["Content-Encoding"] == "gzip" and "Accept-Encoding" in page.headers["Vary"]
    assert b"Northfield" in gzip.decompress(page.content) and len(page.content) < 10_000
    plain = client.get(at("farm", northfield), headers={"Accept-Encoding": "identity"})
    assert "Content-Encoding" not in plain.headers and b"Northfield" in plain.content


def test_its_length_is_told_nobody_by_compression(client: Client, northfield: Farm):
    """Django adds up to a hundred random bytes: https://docs.djangoproject.com/en/5.2/ref/middleware/ (BREACH)."""
    assert len({len(client.get(at("farm", northfield)).content) for _ in range(8)}) > 1


def test_exports_the_api_and_secret_addresses_stay_as_they_are(client: Client, anna: User, northfield: Farm):
    key = {"Authorization": f"Bearer {token_of(northfield, anna, 'read').key}"} | TAKES_IT
    for address in (f"/api/v1/farms/{northfield.id}", f"/api/v1/farms/{northfield.id}/exports/readings.csv"):
        answer = Client(headers=key).get(address)
        assert answer.status_code == 200 and "Content-Encoding" not in answer.headers
        assert not answer.headers.get("ETag", "").startswith("W/")
    for address in (reverse("sign_in_link", args=["x"]), reverse("mail_choice", args=["x"]), "/feeds/x/rounds.ics"):
        assert "Content-Encoding" not in Client(headers=TAKES_IT).get(address).headers

"""What will be taken away says so in every answer: the forms of RFC 9745 and RFC 8594, on an invented address."""

from datetime import UTC, datetime

import pytest

from farms.models import Farm
from server.api.leaving import Leaving
from server.api.v1.seasons import Seasons
from tests.server.api.senders import Sender

# The dates of RFC 9745's first example (section 2.1) and of RFC 8594's (section 3).
DEPRECATED = datetime(2023, 6, 30, 23, 59, 59, tzinfo=UTC)
SUNSET = datetime(2018, 12, 31, 23, 59, 59, tzinfo=UTC)


def test_the_headers_are_written_as_the_two_rfcs_write_them():
    headers = Leaving(DEPRECATED, SUNSET, "https://flies.example.org/docs").headers()
    assert headers["Deprecation"] == "@1688169599"
    assert headers["Sunset"] == "Mon, 31 Dec 2018 23:59:59 GMT"
    assert headers["Link"] == '<https://flies.example.org/docs>; rel="deprecation sunset"'


@pytest.mark.django_db
def test_an_address_that_leaves_says_so_and_others_do_not(
    reader: Sender, northfield: Farm, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.setattr(Seasons, "leaving", Leaving(DEPRECATED, SUNSET, "/api/v1/docs"))
    path = f"/api/v1/farms/{northfield.id}"
    assert reader.get(f"{path}/seasons").headers["Deprecation"] == "@1688169599"
    assert "Deprecation" not in reader.get(f"{path}/facilities").headers

"""Everything that is told of a farm beyond its own people and its adviser, byte by byte: reports, feeds, files, pages.

One farm's closure must change nothing of it.
"""

import re
from typing import Any

from django.test import Client
from django.urls import reverse

from farms.models import Farm, User
from monitoring.models import Contribution, RegionReport
from tests.cast import as_factory
from tests.monitoring.regional.scene import publish
from tests.server.api.senders import session_of
from tests.server.feeds.reading import ask

SECRET = re.compile(rb'(name="csrfmiddlewaretoken" value=")[^"]*')
FILES = ("readings.csv", "weeks.csv", "results.csv", "stations.csv")


def seen_from_outside(coordinator: User, farm: Farm, owner: User, feeds: list[str]) -> dict[str, bytes]:
    """What a coordinator, a feed's reader, whoever gets the farm's files and the region's reports are told."""
    published = _published_anew(farm)
    region, group = farm.region_id, farm.group_id
    client = Client()
    client.force_login(coordinator)
    pages = [reverse("group", args=[group]), reverse("guests", args=[group]), reverse("farms")]
    pages += [reverse("region", args=[region]), reverse("region_closure", args=[region])]
    told = {page: SECRET.sub(rb"\1", client.get(page).content) for page in pages}
    office = session_of(coordinator)
    api = ["me", "farms", "regions", f"regions/{region}/reports", f"regions/{region}/closures"]
    api += [f"groups/{group}/action-levels"]
    told |= {path: office.get(f"/api/v1/{path}").content for path in api}
    told |= {path: ask(path).content for path in feeds}
    home = session_of(owner)
    told |= {file: _whole(home.get(f"/api/v1/farms/{farm.id}/exports/{file}")) for file in FILES}
    return told | {"published": published}


def _published_anew(farm: Farm) -> bytes:
    """The region's reports of a week as they come out now."""
    with as_factory():
        RegionReport.objects.all().delete()
        Contribution.objects.all().delete()
    publish(farm.region)
    with as_factory():
        rows = RegionReport.objects.order_by("region_id", "method").values()
        return repr([{name: value for name, value in row.items() if name != "id"} for row in rows]).encode()


def _whole(answer: Any) -> bytes:
    assert answer.status_code == 200
    return b"".join(answer.streaming_content)

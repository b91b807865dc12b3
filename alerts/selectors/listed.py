"""The group's list of a Monday: which farms it names as rising. An adviser sees the farms that named them as theirs."""

from collections import defaultdict
from collections.abc import Collection
from datetime import date
from uuid import UUID

from alerts.models import ListedRise


def listed_of(farm_ids: Collection[UUID], week: date) -> dict[UUID, set[str]]:
    """The methods in which the list of a week names each of these farms; farms that it doesn't name aren't in it."""
    methods: dict[UUID, set[str]] = defaultdict(set)
    for row in ListedRise.objects.filter(farm_id__in=farm_ids, week=week):
        methods[row.farm_id].add(row.method)
    return dict(methods)

"""What only the tests of the ground floor need."""

import pytest

from farms.models import Group
from tests.cast import as_factory


@pytest.fixture
def other_group(db: None) -> Group:
    with as_factory():
        return Group.objects.create(name="Hill Advisers", slug="hill")

"""What a farm's people and its advisers are told, and no key, whatever it may read else."""

from typing import Any

from farms.errors import Forbidden
from farms.models import User
from server.api.views import OnFarm


class OnFarmForPeople(OnFarm):
    """Under a farm, for persons only: what a key reads goes on to programs of others."""

    def enter(self, **kwargs: Any) -> None:
        super().enter(**kwargs)
        if not isinstance(self.who, User):
            raise Forbidden()

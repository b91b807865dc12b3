"""To whom text messages are offered."""

from typing import TYPE_CHECKING

from django.conf import settings

from farms.selectors import owns_a_farm

if TYPE_CHECKING:
    from farms.models import User


def are_texts_offered(user: "User") -> bool:
    """To owners, where whoever runs this has set where messages go."""
    return bool(settings.TEXT_MESSAGE_URL) and owns_a_farm(user)

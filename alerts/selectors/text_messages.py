"""A person's telephone number for text messages, and the last one that went there."""

from typing import TYPE_CHECKING

from alerts.models import TextMessage, TextNumber
from alerts.models.text_message import TextState
from alerts.text_codes import CODE

if TYPE_CHECKING:
    from farms.models import User


def text_number_of(user: "User") -> TextNumber | None:
    """The number that a person named, confirmed or not."""
    return TextNumber.objects.filter(user_id=user.id).first()


def last_text_of(user: "User") -> TextMessage | None:
    """The newest message about a week that left for a person."""
    sent = TextMessage.objects.filter(recipient_id=user.id, state=TextState.SENT)
    return sent.exclude(occasion__startswith=CODE).order_by("-sent_at").first()

"""What a text message says: a fixed sentence and where to read more. No count, no date, no name of a farm.

Whoever looks over a shoulder learns nothing, and nobody acts on a number without its interval. Each fits into one
message: 160 signs of the alphabet of 3GPP TS 23.038, or 70 where one of them is not in it, as Spanish accents.
"""

from django.conf import settings
from django.urls import reverse
from django.utils.translation import gettext as _
from django.utils.translation import override

from alerts.models import TextMessage, TextNumber
from alerts.models.outbox import MIDWEEK
from alerts.text_codes import CODE, code_of


def text_of(message: TextMessage, number: TextNumber) -> str:
    """The whole message, in its reader's language."""
    with override(message.recipient.language):
        if message.occasion.startswith(CODE):
            return _code(code_of(number))
        return _between_mondays() if message.occasion.endswith(MIDWEEK) else _week()


def _week() -> str:
    return _("Flyround: the weekly check found something to look at. Read it at {url}").format(url=_address())


def _between_mondays() -> str:
    return _("Flyround: a round needs a look before the next weekly mail. Read it at {url}").format(url=_address())


def _code(code: str) -> str:
    return _("Flyround: your code is {code}. If you didn't ask for one, do nothing.").format(code=code)


def _address() -> str:
    return str(settings.SITE_URL + reverse("home"))

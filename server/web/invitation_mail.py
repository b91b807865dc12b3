"""The mail of an invitation: whose, to what, and its address. Sent as a sign-in mail is, when the answer is out.

Names come from people, and the mail goes to somebody who may be a stranger. So a name is shortened to what names are
made of: nothing in it can be an address, a sentence of some length, or another line.
"""

import re
from typing import Any

from django.conf import settings
from django.http import HttpRequest
from django.urls import reverse
from django.utils import translation
from django.utils.translation import gettext_lazy as _

from farms.errors import Conflict
from server.limits import Tries, try_once
from server.web.templated_mail import post

DAY = 24 * 3600
TO_ONE_ADDRESS = Tries("invitations-to", most=5, within=DAY, rests=DAY)
BY_ONE_PERSON = Tries("invitations-by", most=60, within=DAY, rests=DAY)
LONGEST_NAME = 60
NO_PART_OF_A_NAME = re.compile(r"[^\w .,&'\N{RIGHT SINGLE QUOTATION MARK}-]+")


class TooManyMails(Conflict):
    code = "too_many_mails"
    message = _("Enough invitations went there for today. Send it again tomorrow, or ask whether the address is right.")


class TooManySent(Conflict):
    code = "too_many_sent"
    message = _("You have sent many invitations today. Go on tomorrow.")


def name_in_mail(name: str) -> str:
    """A name as a stranger may be written it.

    >>> name_in_mail("Hollow Creek, see http://a.example/x")
    'Hollow Creek, see http a. example x'
    """
    plain = " ".join(NO_PART_OF_A_NAME.sub(" ", name).split())
    # A dot between two letters makes an address of them for many mail programs.
    return re.sub(r"\.(?=\w)", ". ", plain)[:LONGEST_NAME].strip()


def count_mail(email: str, by: Any) -> None:
    """Count a mail before it is written. Raises TooManyMails or TooManySent."""
    if not try_once(BY_ONE_PERSON, str(by.id)):
        raise TooManySent()
    if not try_once(TO_ONE_ADDRESS, email.strip().lower()):
        raise TooManyMails(pointer="/email")


def post_invitation(request: HttpRequest, invitation: Any, key: str, place: str) -> None:
    """Write the mail now, in the language chosen, and send it when the answer is out."""
    words = {
        "place": name_in_mail(place),
        "by": name_in_mail(str(request.user)),
        "farm": invitation.is_to_a_farm,
        "address": settings.SITE_URL + reverse("invitation", args=[key]),
    }
    with translation.override(invitation.language):
        words["role"] = invitation.get_role_display()
    post(request, "invitation", to=invitation.email, language=invitation.language, words=words)

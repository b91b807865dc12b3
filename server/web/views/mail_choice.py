"""Where the link and the headers of a mail lead: its reader says how often it comes, without signing in.

The address is the key; no cookie, session or form's token is asked for (RFC 8058, 3.1), so the view needs none of them
against forgery: who could forge a request here knows the address. GET shows the choice and changes nothing, since mail
programs and scanners fetch what stands in a mail; a POST does it at once, and is never redirected.
"""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import translation
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_http_methods

from alerts.delivery.choice_address import Reader, reader_of
from alerts.models.mail_choice import ChoiceWay, HowOften
from alerts.selectors.mail_choices import Subscription, digests_in_group, subscriptions_for
from alerts.services import choose_how_often
from alerts.wording.places import and_list
from farms import clock
from farms.errors import FlyroundError, Missing
from farms.selectors import active_user
from farms.tenancy.acting import act_for_nobody, act_for_user
from server.web.limits import WINDOW, tried_too_often

# Addresses that open nothing, in a quarter of an hour from one place.
MOST_MISSES = 30
FIELD, ONE_CLICK = "List-Unsubscribe", "One-Click"


@csrf_exempt
@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def mail_choice(request: HttpRequest, key: str) -> HttpResponse:
    reader = reader_of(key)
    user = active_user(reader.user_id) if reader else None
    if reader is None or user is None:
        return _nothing(request)
    act_for_user(user.id)
    try:
        with translation.override(user.language):
            return _answer(request, user, _subscriptions(user, reader))
    except Missing:
        # No mail comes any more: the role on the farm or in the group has ended.
        return _nothing(request)
    finally:
        act_for_nobody()


def _subscriptions(user: Any, reader: Reader) -> list[Subscription]:
    """What the message held: one mail, or the digests of several farms of an owner."""
    if reader.every:
        return digests_in_group(user, reader.about_id)
    return subscriptions_for(user, reader.kind, reader.about_ids)


def _answer(request: HttpRequest, user: Any, mails: list[Subscription]) -> HttpResponse:
    if request.method != "POST":
        return _page(request, mails)
    asked, now = _asked(request), clock.now()
    try:
        chosen = [
            choose_how_often(subscription=each, by=user, how_often=asked, way=ChoiceWay.MAIL, now=now) for each in mails
        ]
    except FlyroundError as refusal:
        return _page(request, mails, refusal=str(refusal), status=422)
    return _page(request, chosen, done=True)


def _asked(request: HttpRequest) -> str:
    """What a button of the page, or a mail program with its one click, asks for; "" for anything else."""
    if request.POST.get(FIELD) == ONE_CLICK:
        return HowOften.NONE.value
    return request.POST.get("how_often", "")


def _page(
    request: HttpRequest, mails: list[Subscription], *, done: bool = False, refusal: str = "", status: int = 200
) -> HttpResponse:
    names = and_list([each.name for each in mails])
    context = {"mail": mails[0], "names": names, "choices": HowOften.choices, "done": done, "refusal": refusal}
    response = render(request, "web/mail_choice.html", context, status=status)
    response.headers["Content-Language"] = translation.get_language() or ""
    return response


def _nothing(request: HttpRequest) -> HttpResponse:
    """The same for every address that opens nothing, whatever the reason."""
    if tried_too_often(request, "mail-choice", limit=MOST_MISSES):
        response = HttpResponse(_("Wait a quarter of an hour, then try again."), status=429, content_type="text/plain")
        response.headers["Retry-After"] = str(WINDOW)
        return response
    return render(request, "web/mail_choice_unknown.html", status=404)

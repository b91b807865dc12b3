"""What an invitation's address opens. Opening it changes nothing, since mail programs open addresses too.

Whoever isn't signed in gets a code mailed, to the very address that was invited and to no other; signed in as that
address, one click accepts. A wrong address, a used one, one taken back and one that ended are answered alike.
"""

from typing import Any
from urllib.parse import urlencode

from allauth.account.internal.flows.login_by_code import LoginCodeVerificationProcess
from allauth.core import ratelimit
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from farms import clock
from farms.errors import FlyroundError
from farms.invitations import Opened, invitation_by_key
from farms.services import InvitationSpent, open_account
from farms.tenancy.acting import act_for_user
from server.web.invitation_mail import name_in_mail
from server.web.limits import too_often, tried_too_often
from server.web.sign_in import speak
from server.web.sign_in_code import fingerprint, why_not

INVITED = "web/invitation.html"


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def invitation(request: HttpRequest, key: str) -> HttpResponse:
    if tried_too_often(request, "invitation", limit=60):
        return too_often(request)
    opened = invitation_by_key(key, timezone.now())
    if opened is None:
        return _spent(request)
    fits = request.user.is_authenticated and request.user.email == opened.invitation.email  # type: ignore[union-attr]
    if request.method != "POST":
        return render(request, INVITED, _told(request, opened, fits=fits))
    if fits:
        return _accept(request, opened)
    return redirect("invitation", key=key) if request.user.is_authenticated else _send_code(request, opened, key)


def _told(request: HttpRequest, opened: Opened, **more: Any) -> dict[str, Any]:
    return {
        "opened": opened,
        "place": name_in_mail(opened.place),
        "by": name_in_mail(str(opened.by)),
        "role": opened.invitation.get_role_display(),
        "farm": opened.invitation.is_to_a_farm,
        **more,
    }


def _spent(request: HttpRequest) -> HttpResponse:
    """One page for all that opens nothing."""
    return render(request, INVITED, {"refusal": str(InvitationSpent())}, status=410)


def _send_code(request: HttpRequest, opened: Opened, key: str) -> HttpResponse:
    """Mail a code to the invited address; its account is made now, where it has none."""
    invited = opened.invitation
    resting = why_not(invited.email)
    if resting:
        return render(request, INVITED, _told(request, opened, fits=False, resting=resting), status=429)
    if not ratelimit.consume(request, action="request_login_code", key=invited.email):
        return too_often(request)
    user = open_account(email=invited.email, name=invited.name, language=invited.language)
    process = LoginCodeVerificationProcess.initiate(
        request=request, user=user if user.is_active else None, email=invited.email
    )  # fmt: skip
    if process.code:
        process.state["code"] = fingerprint(process.code)
        process.persist()
    back = urlencode({"next": reverse("invitation", args=[key])})
    return redirect(f"{reverse('account_confirm_login_code')}?{back}")


def _accept(request: HttpRequest, opened: Opened) -> HttpResponse:
    user: Any = request.user
    try:
        farm = opened.accept(user, now=timezone.now(), begins_at=clock.now())
    except InvitationSpent:
        return _spent(request)
    except FlyroundError as refusal:
        return render(request, INVITED, _told(request, opened, fits=True, refused=str(refusal)), status=409)
    act_for_user(user.id)
    if farm is None:
        response = redirect("home")
    else:
        response = redirect("start" if opened.invitation.role == "owner" else "farm", farm_id=farm.id)
    speak(response, user.language)
    return response

"""What an invitation's address opens. Opening it changes nothing, since mail programs open addresses too.

Whoever isn't signed in gets a code mailed, to the very address that was invited and to no other; signed in as that
address, one click accepts. A wrong address, a used one, one taken back and one that ended are answered alike.
"""

from typing import Any
from urllib.parse import urlencode

from allauth.account.internal.flows.login_by_code import LoginCodeVerificationProcess
from allauth.core import ratelimit
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from farms import clock
from farms.errors import FlyroundError
from farms.invitations import Opened, farms_to_bring, invitation_by_key
from farms.selectors import Farm
from farms.services import InvitationSpent, open_account
from farms.tenancy.acting import act_for_user
from server.web.forms.invitation import BeginForm
from server.web.hand_over_mail import tell_of_hand_over
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
        return _accept(request, opened, _begin_form(request, opened))
    return redirect("invitation", key=key) if request.user.is_authenticated else _send_code(request, opened, key)


def _told(request: HttpRequest, opened: Opened, **more: Any) -> dict[str, Any]:
    return {
        "opened": opened,
        "place": name_in_mail(opened.place),
        "by": name_in_mail(str(opened.by)),
        "role": opened.invitation.get_role_display(),
        "farm": opened.invitation.is_to_a_farm,
        "form": _begin_form(request, opened) if more.get("fits") else None,
        **more,
    }


def _begin_form(request: HttpRequest, opened: Opened) -> BeginForm:
    user: Any = request.user
    typed = request.POST if request.method == "POST" else None
    return BeginForm(typed, name=opened.place, farms=farms_to_bring(opened, user), initial={"bring": ""})


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


def _accept(request: HttpRequest, opened: Opened, form: BeginForm) -> HttpResponse:
    if not form.is_valid():
        return render(request, INVITED, _told(request, opened, fits=True), status=422)
    user: Any = request.user
    try:
        farm = _bring(request, opened, form.brought) if form.brought else _begin(opened, user)
    except InvitationSpent:
        return _spent(request)
    except FlyroundError as refusal:
        return render(request, INVITED, _told(request, opened, fits=True, refused=str(refusal)), status=409)
    act_for_user(user.id)
    response = redirect(_first_page(opened, form), farm_id=farm.id) if farm else redirect("home")
    speak(response, user.language)
    return response


def _begin(opened: Opened, user: Any) -> Farm | None:
    return opened.accept(user, now=timezone.now(), begins_at=clock.now())


def _bring(request: HttpRequest, opened: Opened, farm: Farm) -> Farm:
    """A farm of one's own, in place of a new one."""
    user: Any = request.user
    done = opened.bring(farm, user, now=timezone.now(), begins_at=clock.now())
    tell_of_hand_over(request, done)
    told = _("%(farm)s belongs to the group %(group)s now. Choose here who advises it, and whether it is compared.")
    messages.success(request, told % {"farm": done.farm.name, "group": done.farm.group.name})
    return done.farm


def _first_page(opened: Opened, form: BeginForm) -> str:
    if form.brought:
        return "consents"
    return "start" if opened.invitation.role == "owner" else "farm"

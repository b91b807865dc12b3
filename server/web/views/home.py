"""The first page: what this is, or straight on to what somebody came for."""

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import translation
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_POST, require_safe

from farms.access import farms_of
from farms.selectors import group_roles_of, guest_roles_of, regions_open_to
from farms.services import set_language
from server.web.doors import signed_in
from server.web.phone import phone_of
from server.web.sign_in import speak


@require_safe
def home(request: HttpRequest) -> HttpResponse:
    if not request.user.is_authenticated:
        phone = phone_of(request)
        return redirect("count", farm_id=phone.farm_id) if phone else render(request, "web/home.html")
    roles = list(group_roles_of(request.user))
    if any(role.role == "adviser" for role in roles):
        return redirect("monday")
    own = list(farms_of(request.user)[:2])
    if len(own) == 1 and not roles:
        return redirect("farm", farm_id=own[0].id)
    if len(roles) == 1 and not own:
        return redirect("group", group_id=roles[0].group_id)
    return redirect("farms")


@signed_in
@require_safe
def farms(request: HttpRequest) -> HttpResponse:
    """Every farm and group that lets this person in."""
    roles = list(group_roles_of(request.user))
    context = {"farms": farms_of(request.user), "roles": roles, "advises": any(r.role == "adviser" for r in roles)}
    visited = guest_roles_of(request.user).values("group_id")
    context["visited"] = regions_open_to(request.user).filter(group_id__in=visited)
    return render(request, "web/choose.html", context)


@require_POST
def language(request: HttpRequest) -> HttpResponse:
    """Speak another language in this browser, and in this person's mails."""
    wanted = request.POST.get("language", "")
    back = request.POST.get("next", "/")
    if not url_has_allowed_host_and_scheme(back, {request.get_host()}, require_https=request.is_secure()):
        back = "/"
    response = redirect(back)
    if translation.check_for_language(wanted) and wanted in dict(settings.LANGUAGES):
        speak(response, wanted)
        if request.user.is_authenticated:
            set_language(user=request.user, language=wanted)
    return response

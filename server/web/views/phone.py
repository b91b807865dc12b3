"""A farm phone: it types the farm's one-time code once, then counts without an account."""

from datetime import timedelta

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST

from farms.errors import FlyroundError
from farms.services import use_phone_code
from server.web.forms.phone import PhoneCodeForm
from server.web.limits import phone_code_tried_too_often, phone_code_was_right, too_often
from server.web.phone import LASTS, forget, phone_of, remember


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def phone(request: HttpRequest) -> HttpResponse:
    """Type the code. Reading it from the picture fills it in; only the button uses it up."""
    if request.method != "POST":
        form = PhoneCodeForm(initial={"code": request.GET.get("code", "")})
        return render(request, "web/phone.html", {"form": form, "phone": phone_of(request)})
    form = PhoneCodeForm(request.POST)
    if phone_code_tried_too_often(request):
        return too_often(request)
    if not form.is_valid():
        return render(request, "web/phone.html", {"form": form}, status=422)
    now = timezone.now()
    expires = now + timedelta(seconds=LASTS)
    name = form.cleaned_data["name"] or _("phone")
    try:
        key = use_phone_code(code=form.cleaned_data["code"], name=name, expires_at=expires, now=now)
    except FlyroundError as refusal:
        form.add_error("code", str(refusal))
        return render(request, "web/phone.html", {"form": form}, status=422)
    phone_code_was_right()
    response = redirect("home")
    remember(request, response, key)
    return response


@require_POST
def leave_phone(request: HttpRequest) -> HttpResponse:
    """Take the farm off this phone. The owner's list still shows it until it is switched off there."""
    response = redirect("home")
    forget(response)
    return response

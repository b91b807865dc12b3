"""Signing in: by a mailed code, or by a one-time link.

Opening a link changes nothing, since mail programs open links too: the button signs in.
"""

from typing import Any
from uuid import uuid4

from allauth.account.internal.flows.login_by_code import LoginCodeVerificationProcess
from allauth.account.views import ConfirmLoginCodeView, RequestLoginCodeView
from django.contrib import messages
from django.contrib.auth import get_user_model
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from farms.errors import FlyroundError
from farms.services import use_sign_in_link
from server.web.limits import too_often, tried_too_often
from server.web.sign_in import enter, speak
from server.web.sign_in_code import begin_try, fingerprint, was_right, was_wrong, why_not


class AskForCode(RequestLoginCodeView):  # type: ignore[misc]
    """allauth's page; a code is mailed in words and kept as a hash, and none is mailed while signing in rests."""

    def form_valid(self, form: Any) -> HttpResponse:
        email = form.cleaned_data["email"]
        resting = why_not(email)
        if resting:
            form.add_error("email", resting)
            return self.form_invalid(form)  # type: ignore[no-any-return]
        user = form._user  # noqa: SLF001 - allauth's view asks its form for it, too
        process = LoginCodeVerificationProcess.initiate(request=self.request, user=user, email=email)
        if process.code:
            process.state["code"] = fingerprint(process.code)
            process.persist()
        return HttpResponseRedirect(self.get_success_url())


class TypeCode(ConfirmLoginCodeView):  # type: ignore[misc]
    """allauth's page; tries are counted over all codes, not for one code only."""

    number = 0

    @property
    def email(self) -> str:
        return str(self._process.state.get("email", ""))

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if self._process.user is None:
            # Looked up for an address that somebody has: an unknown one takes as long.
            get_user_model().objects.filter(pk=uuid4()).first()
        self.number = begin_try(request, self.email)
        if self.number:
            return super().post(request, *args, **kwargs)  # type: ignore[no-any-return]
        resting = why_not(self.email)
        if not resting:
            return too_often(request)
        self._process.abort()
        messages.error(request, resting)
        return redirect("account_request_login_code")

    def form_valid(self, form: Any) -> HttpResponse:
        was_right(self.request, self.email)
        return super().form_valid(form)  # type: ignore[no-any-return]

    def form_invalid(self, form: Any) -> HttpResponse:
        was_wrong(self.request, self.email, self.number, self._process.user)
        return super().form_invalid(form)  # type: ignore[no-any-return]


ask_for_code = AskForCode.as_view()
type_code = TypeCode.as_view()


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def sign_in_link(request: HttpRequest, key: str) -> HttpResponse:
    if request.method != "POST":
        return render(request, "web/sign_in_link.html")
    if tried_too_often(request, "sign-in-link", limit=30):
        return too_often(request)
    try:
        user = use_sign_in_link(key=key, now=timezone.now())
    except FlyroundError as refusal:
        return render(request, "web/sign_in_link.html", {"refusal": str(refusal)}, status=410)
    enter(request, user, way="link")
    response = redirect("home")
    speak(response, user.language)
    return response

"""One's own account: who one is here, and how it is erased."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.http import require_http_methods, require_POST

from farms import clock
from farms.erasures import waiting_account_erasure
from farms.errors import Conflict
from farms.services import ask_account_erasure, take_account_erasure_back
from server.web.doors import signed_in
from server.web.forms.erasure import EraseWordsForm
from server.web.forms.refusals import accepted

WORDS_TOO = gettext_lazy("Also what I wrote: notes on rounds, matters, calls and work")


@signed_in
@require_http_methods(["GET", "HEAD", "POST"])
def account(request: HttpRequest) -> HttpResponse:
    form = EraseWordsForm(request.POST if request.method == "POST" else None, label=WORDS_TOO)
    if form.is_valid() and accepted(form, lambda: _ask(request, words=form.cleaned_data["words"])):
        messages.success(request, _("Asked for. Until the day below you can take it back here."))
        return redirect("account")
    context = {"form": form, "waiting": waiting_account_erasure(request.user)}  # type: ignore[arg-type]
    return render(request, "web/account.html", context, status=422 if form.errors else 200)


@signed_in
@require_POST
def keep_account(request: HttpRequest) -> HttpResponse:
    try:
        take_account_erasure_back(user=request.user, now=clock.now())  # type: ignore[arg-type]
        messages.success(request, _("Taken back: your account stays."))
    except Conflict as refusal:
        messages.error(request, str(refusal))
    return redirect("account")


def _ask(request: HttpRequest, *, words: bool) -> None:
    ask_account_erasure(user=request.user, words=words, now=clock.now())  # type: ignore[arg-type]

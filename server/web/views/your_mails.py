"""A signed-in reader's own mails: how often each of them comes."""

from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from alerts.models.mail_choice import ChoiceWay, HowOften
from alerts.selectors.mail_choices import subscription_for, subscriptions_of
from alerts.services import address_works_again, choose_how_often
from farms import clock
from farms.errors import Invalid
from server.web.doors import signed_in
from server.web.texts_offered import are_texts_offered


@signed_in
@require_http_methods(["GET", "HEAD", "POST"])
def your_mails(request: HttpRequest) -> HttpResponse:
    if request.method == "POST":
        return _choose(request)
    return _page(request)


@signed_in
@require_POST
def works_again(request: HttpRequest) -> HttpResponse:
    """Their own address works again, says whoever is signed in."""
    if address_works_again(user=request.user, now=clock.now()):  # type: ignore[arg-type]
        messages.success(request, _("Noted. The next mail goes to {address} again.").format(address=request.user.email))  # type: ignore[union-attr]
    return redirect("your_mails")


def _choose(request: HttpRequest) -> HttpResponse:
    sent = request.POST
    subscription = subscription_for(request.user, sent.get("kind", ""), _id_in(sent.get("about", "")))  # type: ignore[arg-type]
    try:
        choose_how_often(
            subscription=subscription,
            by=request.user,  # type: ignore[arg-type]
            how_often=sent.get("how_often", ""),
            way=ChoiceWay.PAGE,
            now=clock.now(),
        )
    except Invalid as refusal:
        messages.error(request, str(refusal))
        return _page(request, status=422)
    messages.success(request, _("Noted. It holds for what waits to be sent, too."))
    return redirect("your_mails")


def _page(request: HttpRequest, status: int = 200) -> HttpResponse:
    context = {
        "mails": subscriptions_of(request.user),  # type: ignore[arg-type]
        "choices": HowOften.choices,
        "text_messages": are_texts_offered(request.user),  # type: ignore[arg-type]
    }
    return render(request, "web/your_mails.html", context, status=status)


def _id_in(text: str) -> UUID | None:
    try:
        return UUID(text)
    except ValueError:
        return None

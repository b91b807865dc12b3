"""Webhooks of a farm: made, switched and taken away by an owner; each secret is shown once."""

from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods, require_POST

from alerts.selectors import webhooks_of
from alerts.services import NewWebhook, end_webhook, make_webhook, switch_webhook
from farms.access import Need, one_of
from farms.errors import FlyroundError
from server.web.doors import Visit, farm_page
from server.web.forms.refusals import show_refusal
from server.web.forms.webhook import WebhookForm


@farm_page(Need.OWN)
@require_http_methods(["GET", "HEAD", "POST"])
def webhooks(request: HttpRequest, visit: Visit) -> HttpResponse:
    """A POST makes a webhook and shows its secret here and never again, so this page is its answer."""
    form = WebhookForm(request.POST or None)
    secret = _made(visit, form) if form.is_valid() else ""
    context = {"visit": visit, "form": form, "webhooks": webhooks_of(visit.farm), "secret": secret}
    return render(request, "web/webhooks.html", context, status=422 if form.errors else 200)


def _made(visit: Visit, form: WebhookForm) -> str:
    new = NewWebhook(address=form.cleaned_data["address"], kinds=form.cleaned_data["kinds"])
    try:
        _webhook, secret = make_webhook(farm=visit.farm, new=new, by=visit.who, now=visit.now)  # type: ignore[arg-type]
    except FlyroundError as refusal:
        show_refusal(form, refusal)
        return ""
    return secret


@farm_page(Need.OWN)
@require_POST
def switch_webhook_here(request: HttpRequest, visit: Visit, webhook_id: UUID) -> HttpResponse:
    """On where it says so, else off."""
    on = request.POST.get("on") == "yes"
    webhook = one_of(webhooks_of(visit.farm), webhook_id)
    switch_webhook(webhook=webhook, on=on, by=visit.who, now=visit.now)  # type: ignore[arg-type]
    told = _("The webhook is switched on.") if on else _("The webhook is switched off. Nothing is sent there any more.")
    messages.success(request, told)
    return redirect("webhooks", farm_id=visit.farm.id)


@farm_page(Need.OWN)
@require_POST
def end_webhook_here(request: HttpRequest, visit: Visit, webhook_id: UUID) -> HttpResponse:
    end_webhook(webhook=one_of(webhooks_of(visit.farm), webhook_id), by=visit.who, now=visit.now)  # type: ignore[arg-type]
    messages.success(request, _("The webhook is taken away. Nothing is sent there any more."))
    return redirect("webhooks", farm_id=visit.farm.id)

"""Where the mail service reports what became of mails: bounces and complaints, at one address with a secret.

anymail's view of the service named by MAIL_EVENTS checks who reports and reads the report. It would tell Django's
signals; here it is told straight to the service that acts on it, so that a reader of the code sees what happens next.
"""

from functools import cache
from typing import Any

from anymail.urls import urlpatterns
from anymail.webhooks.base import AnymailCoreWebhookView
from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.views import View
from django.views.decorators.csrf import csrf_exempt

from alerts.delivery.events import take_event
from farms import clock


class Straight(AnymailCoreWebhookView):
    """Behind one of anymail's views, where it would tell the signals: what it has read goes to `take_event`.

    Behind, so that what a view does first is done: one answers a report without a login so that the login is sent.
    """

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        self.run_validators(request)
        for event in self.parse_events(request):
            take_event(event, clock.now())
        return HttpResponse()


def services() -> dict[str, type[View]]:
    """The views that anymail has, by the name of the mail service."""
    ending = "_tracking_webhook"
    return {
        str(each.name).removesuffix(ending): each.callback.view_class
        for each in urlpatterns
        if str(each.name).endswith(ending)
    }


@cache
def _view_of(name: str) -> Any:
    return type("MailEvents", (services()[name], Straight), {}).as_view()


# The secret in the request is what is asked for; a mail service has no form's token.
@csrf_exempt
def mail_events(request: HttpRequest) -> HttpResponseBase:
    if not settings.MAIL_EVENTS:
        raise Http404
    answer: HttpResponseBase = _view_of(settings.MAIL_EVENTS)(request)
    return answer

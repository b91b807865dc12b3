"""What is done when the answer is out, such as sending a mail: how long it takes tells the one who asks nothing."""

import logging
from collections.abc import Callable
from threading import Thread

from django.conf import settings
from django.http import HttpRequest
from django.http.response import HttpResponseBase

Act = Callable[[], object]
logger = logging.getLogger(__name__)


def when_answered(request: HttpRequest, act: Act) -> None:
    """Do this once the answer has gone out; never, where the request failed. It must not touch the database."""
    waiting: list[Act] = getattr(request, "when_answered", [])
    request.when_answered = [*waiting, act]  # type: ignore[attr-defined]


def acts_when_answered(
    get_response: Callable[[HttpRequest], HttpResponseBase],
) -> Callable[[HttpRequest], HttpResponseBase]:
    """Middleware: do what the request left for afterwards when the server closes the answer that it has sent."""

    def answer(request: HttpRequest) -> HttpResponseBase:
        response = get_response(request)
        acts: list[Act] = getattr(request, "when_answered", [])
        if acts and response.status_code < 500:
            # The way by which Django's own streaming answers are told that they were sent; there is no public one.
            response._resource_closers.append(lambda: _start(acts))  # type: ignore[attr-defined]  # noqa: SLF001
        return response

    return answer


def _start(acts: list[Act]) -> None:
    # In a thread, since the same connection may bring another question, whose answer would come late.
    if settings.AFTER_ANSWER_IN_THREAD:
        Thread(target=_do, args=[acts]).start()
    else:
        _do(acts)


def _do(acts: list[Act]) -> None:
    for act in acts:
        try:
            act()
        except Exception:  # nobody waits for an answer any more: the log is told
            logger.exception("What was left for after an answer failed")

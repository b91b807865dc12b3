"""One transaction a request, in which row security knows for whom it acts; 503 where there is no database for it."""

from collections.abc import Callable

import redis
from django.db import InterfaceError, OperationalError, transaction
from django.http import HttpRequest, HttpResponse

from farms.tenancy.acting import act_for_nobody, act_for_user
from server.outage import unavailable

GetResponse = Callable[[HttpRequest], HttpResponse]
# Answered without a database transaction of their own: a health check must not hang on a full pool.
WITHOUT_TRANSACTION = ("/healthz", "/readyz", "/static/", "/metrics")
# The database or the cache is gone, is full, or gave up on a statement: nothing was stored, and later it may work.
GONE = (OperationalError, InterfaceError, redis.ConnectionError, redis.TimeoutError)


class TenancyMiddleware:
    """Opens the transaction itself, since ATOMIC_REQUESTS would start only after authentication.

    A signed-in user's session acts for the user; an API token replaces that in server/api/authentication.py. An
    exception that leaves a view, and any answer of 500 or above, undoes everything the request wrote.
    """

    def __init__(self, get_response: GetResponse) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if request.path.startswith(WITHOUT_TRANSACTION):
            return self.get_response(request)
        try:
            return self._answer(request)
        except GONE as error:
            return unavailable(request, error)

    def _answer(self, request: HttpRequest) -> HttpResponse:
        with transaction.atomic():
            # Nobody first: reading the session's user must not see a farm.
            act_for_nobody()
            if request.user.is_authenticated:
                act_for_user(request.user.pk)
            response = self.get_response(request)
            if response.status_code >= 500:
                transaction.set_rollback(True)
            return response

    def process_exception(self, request: HttpRequest, exception: Exception) -> HttpResponse | None:
        if transaction.get_connection().in_atomic_block:
            transaction.set_rollback(True)
        return unavailable(request, exception) if isinstance(exception, GONE) else None

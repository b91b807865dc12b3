"""Two addresses for whoever watches the service: `/healthz` (the process lives) and `/readyz` (it can do its work).

Neither tells anything of a farm, and neither opens a request's transaction (server/middleware.py).
"""

from functools import cache

import redis
from django.conf import settings
from django.db import DatabaseError, connection
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder
from django.http import HttpRequest, JsonResponse
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

PATIENCE = 2.0  # seconds for the bell to answer
DONE = "answers"


@never_cache
@require_safe
def healthz(request: HttpRequest) -> JsonResponse:
    """200 while the process takes requests, whatever becomes of the database: restarting it would not help there."""
    return JsonResponse({"status": "alive"})


@never_cache
@require_safe
def readyz(request: HttpRequest) -> JsonResponse:
    """200 when the database answers and is migrated, else 503.

    The broker is told, but doesn't count: it is only the bell, and pages go on without it; the API and codes don't.
    """
    database = database_state()
    state = {"status": "ready" if database == DONE else "not ready", "database": database, "broker": broker_state()}
    return JsonResponse(state, status=200 if database == DONE else 503)


def database_state() -> str:
    try:
        applied = MigrationRecorder(connection).applied_migrations()
    except DatabaseError:
        return "no answer"
    waiting = migrations_here() - set(applied)
    return f"{len(waiting)} migrations wait" if waiting else DONE


@cache
def migrations_here() -> frozenset[tuple[str, str]]:
    """App and name of every migration of this release."""
    return frozenset(MigrationLoader(None).disk_migrations)


def broker_state() -> str:
    client = redis.Redis.from_url(settings.REDIS_URL, socket_timeout=PATIENCE, socket_connect_timeout=PATIENCE)
    try:
        client.ping()
    except redis.RedisError:
        return "no answer"
    finally:
        client.close()
    return DONE

"""The bell of long imports, and of watching over all of it.

The worker's role finds the imports that wait, the app's role does them for whoever sent them.
"""

import logging

from celery import shared_task

from alerts.checks.running import note_running, retry_where_asked
from farms.clock import now
from monitoring.services import ring_due
from server import imports, watchdog
from server.evidence.days import do_errands, sign_day
from server.evidence.keys import NoKey

logger = logging.getLogger(__name__)


@shared_task
def ring_for_imports() -> None:
    """Ring for what waits, and for what its worker left halfway. In the worker's role."""
    for waiting in ring_due():
        imports.ring("do_import", waiting)


@shared_task
def do_import(farm_id: str, import_id: str, user_id: str | None, token_id: str | None) -> None:
    """Do one import, part by part. In the app's role, from the queue `imports`."""
    run = imports.begin(imports.named(farm_id, import_id, user_id, token_id), now())
    while run is not None and imports.go_on(run, now()):
        pass


@shared_task
def shut_import(farm_id: str, import_id: str, user_id: str | None, token_id: str | None) -> None:
    """End an import whose sender may not come in any more. In the worker's role."""
    imports.shut(imports.named(farm_id, import_id, user_id, token_id), now())


@shared_task
def watch() -> None:
    """Count what must match and tell the watchdog; hand on what coordinators asked for. In the worker's role."""
    moment = now()
    retry_where_asked(moment)
    watchdog.tell(note_running(moment), moment)


@shared_task
def sign_days() -> None:
    """Sign the day where that is due and not done, and file, mail and stamp what is signed. In the worker's role."""
    moment = now()
    try:
        sign_day(moment)
    except NoKey as error:
        logger.error("The day is not signed: %s", error)  # noqa: TRY400 - the sentence says it all
    do_errands(moment)

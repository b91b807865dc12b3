"""The Celery application and its beat table. The rows in PostgreSQL are the queue; beat only rings the bell."""

import os

from celery import Celery
from django.conf import settings

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "server.settings")
app = Celery("flyround")
app.config_from_object(settings.CELERY)
app.conf.beat_schedule = {
    "weekly check: find what is due": {"task": "alerts.tasks.check_due_groups", "schedule": 60.0},
    "weekly check: judge late readings again": {"task": "alerts.tasks.judge_again", "schedule": 300.0},
    "outbox: send what waits": {"task": "alerts.tasks.send_due_mail", "schedule": 30.0},
    "imports: ring for what waits": {"task": "server.tasks.ring_for_imports", "schedule": 20.0},
}
# Imports are done in the app's role, for whoever sent them: by processes of their own (docs/running.md).
app.conf.task_routes = {"server.tasks.do_import": {"queue": "imports"}}
app.autodiscover_tasks(["alerts", "server"])

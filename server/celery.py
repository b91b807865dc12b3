"""The Celery application and its beat table. The rows in PostgreSQL are the queue; beat only rings the bell."""

import os

from celery import Celery
from django.conf import settings

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "server.settings")
app = Celery("flyround", task_cls="server.logged_task:LoggedTask")
app.config_from_object(settings.CELERY)
app.conf.beat_schedule = {
    "weekly check: find what is due": {"task": "alerts.tasks.check_due_groups", "schedule": 60.0},
    "weekly check: judge late readings again": {"task": "alerts.tasks.judge_again", "schedule": 300.0},
    "between Mondays: look at rounds that came in": {"task": "alerts.tasks.look_between_mondays", "schedule": 300.0},
    "advisers: let in who takes over today": {"task": "alerts.tasks.begin_successors", "schedule": 300.0},
    "outbox: send what waits": {"task": "alerts.tasks.send_due_mail", "schedule": 30.0},
    "text messages: send what waits": {"task": "alerts.tasks.send_text_messages", "schedule": 30.0},
    "webhooks: tell what happened": {"task": "alerts.tasks.ring_webhooks", "schedule": 30.0},
    "running: count what must match": {"task": "server.tasks.watch", "schedule": 60.0},
    "evidence: sign the day": {"task": "server.tasks.sign_days", "schedule": 60.0},
    "imports: ring for what waits": {"task": "server.tasks.ring_for_imports", "schedule": 20.0},
}
for entry in app.conf.beat_schedule.values():
    # A bell that nobody heard is not kept: after days without a worker there is one to hear, not thousands.
    entry["options"] = {"expires": 300}
# Queues of their own, with processes of their own (docs/running.md): no slow mail server holds up a check, no long
# check a mail, no address of a farm's program either. Imports are done in the app's role, for whoever sent them.
QUEUES = {
    "checks": (
        "check_due_groups",
        "check_group",
        "judge_again",
        "judge_group_again",
        "look_between_mondays",
        "look_at_group",
        "begin_successors",
        "begin_successors_of_group",
    ),
    "mail": ("send_due_mail", "send_mail_of_group", "send_text_messages"),
    "hooks": ("ring_webhooks", "send_to_webhook"),
}
app.conf.task_routes = {
    **{f"alerts.tasks.{task}": {"queue": queue} for queue, tasks in QUEUES.items() for task in tasks},
    "server.tasks.do_import": {"queue": "imports"},
}
app.autodiscover_tasks(["alerts", "server"])

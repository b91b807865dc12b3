"""The class of all Celery tasks: each line that is written while one works carries its id and its name.

django_structlog does the same by Celery's signals; here nothing happens by signal, and a class can be read.
"""

from typing import Any

from celery import Task
from structlog.contextvars import bound_contextvars


class LoggedTask(Task):  # type: ignore[type-arg]
    """A task whose lines can be told from those of others."""

    abstract = True

    def __call__(self, *args: Any, **kwargs: Any) -> Any:
        with bound_contextvars(task=self.name, task_id=self.request.id):
            return super().__call__(*args, **kwargs)

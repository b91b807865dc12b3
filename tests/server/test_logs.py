"""The lines of the log: each says of which task, run and mail it is, and none tells of a farm or a person."""

import io
import json
import logging
import smtplib
from collections.abc import Callable, Iterator
from datetime import timedelta
from typing import Any

import pytest
from django.core.mail.backends.locmem import EmailBackend
from django.db import IntegrityError, connection
from structlog.contextvars import bound_contextvars, get_contextvars
from structlog.stdlib import ProcessorFormatter

from alerts import monday as a_monday
from alerts.checks import judge
from alerts.checks.side_by_side import side_by_side
from alerts.delivery import outbox
from alerts.models import CheckFailure, CheckRun, Digest
from farms.models import Farm, Group
from monitoring.models import Station
from server.celery import app
from tests.alerts.scene import check_time, count_week, monday
from tests.cast import as_factory, as_role

COUNT = 61943  # in no id of a test, as good as surely
Lines = Callable[[], list[dict[str, Any]]]


@pytest.fixture
def lines() -> Iterator[Lines]:
    """What is written from now on, as the service writes it."""
    console = next(each for each in logging.getLogger().handlers if isinstance(each.formatter, ProcessorFormatter))
    text = io.StringIO()
    handler = logging.StreamHandler(text)
    handler.setFormatter(console.formatter)
    logging.getLogger().addHandler(handler)
    yield lambda: [json.loads(line) for line in text.getvalue().splitlines()]
    logging.getLogger().removeHandler(handler)


def broken(monkeypatch: pytest.MonkeyPatch, error: Callable[[], BaseException]) -> None:
    """Let the judging of any farm fail."""

    def breaks(*args: Any) -> None:
        raise error()

    monkeypatch.setattr(judge, "_judge_together", breaks)


@pytest.mark.django_db
class TestRuns:
    def test_every_line_of_a_week_names_its_run_its_group_and_the_week(
        self, lines: Lines, group: Group, northfield: Farm, southmead: Farm, monkeypatch: pytest.MonkeyPatch
    ):
        broken(monkeypatch, lambda: ValueError("an invented fault"))
        with as_role("worker"):
            a_monday.check_group(group, check_time(monday(1)))
        runs = {str(run.week): str(run.id) for run in CheckRun.objects.all()}
        ours = [line for line in lines() if line["logger"].startswith("alerts.")]
        assert {line["week"] for line in ours} == set(runs) == {"2026-04-06", "2026-04-13"}
        assert len(ours) >= 4  # of each farm and week
        for line in ours:
            assert (line["run"], line["group"]) == (runs[line["week"]], str(group.id))

    def test_afterwards_nothing_is_left_of_it(self, lines: Lines, group: Group, northfield: Farm):
        with as_role("worker"):
            a_monday.check_group(group, check_time(monday(0)))
        logging.getLogger("later").warning("something else")
        assert not {"run", "group", "week"} & lines()[-1].keys()

    def test_a_farm_tried_again_names_group_and_week(
        self, lines: Lines, group: Group, northfield: Farm, monkeypatch: pytest.MonkeyPatch
    ):
        broken(monkeypatch, lambda: ValueError("an invented fault"))
        now = check_time(monday(0))
        with as_role("worker"):
            a_monday.check_group(group, now)
            a_monday.judge_again(group, now + timedelta(hours=1))
        again = [line for line in lines() if line["logger"] == "alerts.checks.failures"]
        assert len(again) == 2
        assert {(line["week"], line["group"]) for line in again} == {("2026-04-06", str(group.id))}

    def test_a_run_that_stops_says_where_and_the_row_says_why(
        self, lines: Lines, group: Group, northfield: Farm, monkeypatch: pytest.MonkeyPatch
    ):
        monkeypatch.setattr(a_monday, "run_group_week", raising(RuntimeError("Northfield: 61943")))
        with as_role("worker"):
            a_monday.check_group(group, check_time(monday(0)))
        (line,) = lines()
        assert "stopped" in line["event"] and "builtins.RuntimeError" in line["exception"]
        assert "alerts/monday.py" in line["exception"]
        assert CheckRun.objects.get().error == "RuntimeError: Northfield: 61943"


def raising(error: BaseException) -> Callable[..., None]:
    def fails(*args: Any, **kwargs: Any) -> None:
        raise error

    return fails


@pytest.mark.django_db(transaction=True, databases="__all__")
def test_what_is_done_side_by_side_knows_whose_it_is():
    assert not connection.in_atomic_block
    with bound_contextvars(run="an invented run"):
        found = side_by_side([lambda: get_contextvars().get("run")] * 5)
    assert found == ["an invented run"] * 5


@pytest.mark.django_db
class TestMails:
    def test_each_is_named_by_its_row(self, lines: Lines, group: Group, northfield: Farm):
        now = check_time(monday(0))
        with as_role("worker"):
            a_monday.check_group(group, now)
            outbox.send_due(now)
        with as_factory():
            mails = {str(each) for each in Digest.objects.values_list("id", flat=True)}
        told = {line["mail"]: line["event"] for line in lines() if line["logger"] == "alerts.delivery.outbox"}
        assert mails <= set(told) and set(told.values()) == {"a mail is sent"}


@pytest.mark.django_db
class TestNothingOfAFarm:
    SECRETS = ("Northfield", "Calf barn", "anna@example.org", "Anna", "dana@example.org", str(COUNT))

    @pytest.fixture
    def counted(self, northfield: Farm, cards: list[Station]) -> Farm:
        count_week(cards, monday(0), [COUNT] * 5)
        return northfield

    def assert_nothing(self, written: list[dict[str, Any]]) -> None:
        text = json.dumps(written)
        assert [secret for secret in self.SECRETS if secret in text] == []

    def test_when_all_goes_well(self, lines: Lines, group: Group, counted: Farm):
        now = check_time(monday(0))
        with as_role("worker"):
            a_monday.check_group(group, now)
            outbox.send_due(now)
            a_monday.judge_again(group, now)
        assert lines()
        self.assert_nothing(lines())

    @pytest.mark.parametrize("error", [
        ValueError(f"Northfield's Calf barn has {COUNT}"),
        IntegrityError(f"null value in column\nDETAIL:  Failing row contains (Northfield, {COUNT}, anna@example.org)."),
        ExceptionGroup("of Northfield", [ValueError("Anna")]),
    ])  # fmt: skip
    def test_when_judging_fails_with_the_farm_in_its_words(
        self, lines: Lines, group: Group, counted: Farm, monkeypatch: pytest.MonkeyPatch, error: Exception
    ):
        broken(monkeypatch, lambda: error)
        with as_role("worker"):
            a_monday.check_group(group, check_time(monday(0)))
        failed = [line for line in lines() if "exception" in line]
        assert failed and type(error).__name__ in failed[0]["exception"]
        self.assert_nothing(lines())
        with as_factory():
            assert CheckFailure.objects.get().error == f"{type(error).__name__}: {error}"

    def test_when_an_error_came_from_another(self, lines: Lines):
        with bound_contextvars(week="2026-04-06"):
            second = RuntimeError("of Anna")
            second.__cause__ = ValueError(f"Northfield {COUNT}")
            try:
                raising(second)()
            except RuntimeError:
                logging.getLogger("alerts").exception("an invented fault")
        told = lines()[-1]["exception"]
        assert told.index("builtins.ValueError") < told.index("builtins.RuntimeError")
        self.assert_nothing(lines())

    def test_when_a_mail_is_refused_with_its_address(
        self, lines: Lines, group: Group, counted: Farm, monkeypatch: pytest.MonkeyPatch
    ):
        refusal = smtplib.SMTPRecipientsRefused({"anna@example.org": (550, b"no such user")})
        monkeypatch.setattr(EmailBackend, "send_messages", raising(refusal))
        now = check_time(monday(0))
        with as_role("worker"):
            a_monday.check_group(group, now)
            outbox.send_due(now)
        assert any(line["event"] == "a mail is refused" for line in lines())
        self.assert_nothing(lines())

    def test_when_the_database_shows_a_row_anywhere_else(self, lines: Lines):
        shown = f'duplicate key value violates "x"\nDETAIL:  Key (name)=(Northfield) and {COUNT} already exists.'
        try:
            raising(IntegrityError(shown))()
        except IntegrityError:
            logging.getLogger("celery.app.trace").exception("Task raised: %s", shown)
        assert "duplicate key" in lines()[-1]["exception"]
        self.assert_nothing(lines())

    def test_when_a_library_names_somebodys_address(self, lines: Lines):
        logging.getLogger("smtp").warning("anna@example.org and dana@example.org were not reached by celery@host")
        assert lines()[-1]["event"] == "...@... and ...@... were not reached by celery@host"


class TestTasks:
    def test_each_line_of_a_task_carries_its_id_and_its_name(self, lines: Lines):
        @app.task(name="tests.invented")
        def invented() -> None:
            logging.getLogger("alerts").warning("within")

        done = invented.apply()
        logging.getLogger("alerts").warning("after")
        within, after = [line for line in lines() if line["logger"] == "alerts"]
        assert (within["task"], within["task_id"]) == ("tests.invented", done.id)
        assert not {"task", "task_id"} & after.keys()

    def test_shared_tasks_are_of_that_class_too(self):
        from alerts.tasks import check_group
        from server.logged_task import LoggedTask
        from server.tasks import watch

        assert isinstance(app.tasks[check_group.name], LoggedTask) and isinstance(app.tasks[watch.name], LoggedTask)

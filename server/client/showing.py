"""What a person sees of rounds, files and exports: lines on standard output, faults on standard error, bars between."""

import sys
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Self

import typer
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TaskID, TextColumn, TimeElapsedColumn

from server.client.book import Book
from server.client.files import SentFile, refused_rows
from server.client.terminal import problem_line, shortened, tell_wrong
from server.client.waiting import WaitingRound


def progress_bar() -> Progress:
    """A bar on standard error where a person looks at it, nothing otherwise."""
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeElapsedColumn())
    return Progress(*columns, console=Console(stderr=True), disable=not sys.stderr.isatty(), transient=True)


@dataclass
class Shown:
    """Looks on while files are sent: a bar of the files, one of a long import's rows, a line for each that ended."""

    book: Book
    files: int

    def __post_init__(self) -> None:
        self.progress = progress_bar()
        self.all: TaskID = self.progress.add_task("files", total=self.files)
        self.long: TaskID = self.progress.add_task("rows", total=None, visible=False)

    def __enter__(self) -> Self:
        self.progress.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.progress.stop()

    def begins(self, name: str) -> None:
        self.progress.update(self.all, description=name)

    def rows(self, done: int, of: int) -> None:
        self.progress.update(self.long, completed=done, total=of or None, visible=True)

    def ends(self, file: SentFile) -> None:
        self.progress.update(self.long, visible=False)
        self.progress.advance(self.all)
        show_file(self.book, file)


def show_file(book: Book, file: SentFile) -> None:
    """What became of a file, and each of its rows that was refused."""
    if file.state == "done":
        typer.echo(f"{file.name}: {taken(vars(file))}")
    else:
        tell_wrong([f"{file.name}: {file.said}"])
    tell_wrong(shortened([row_line(row, error) for row, errors in refused_rows(book, file.number) for error in errors]))


def taken(figures: Mapping[str, Any], *, dry_run: bool = False) -> str:
    """12 readings stored in 3 rounds; 2 were known before, 1 row was refused."""
    readings, rounds = (_number(int(figures[name]), name) for name in ("stored", "rounds"))
    known, refused = int(figures["known"]), int(figures.get("refused") or 0)
    more = f", {_number(refused, 'rows')} {'was' if refused == 1 else 'were'} refused" if refused else ""
    verb = "would be stored" if dry_run else "stored"
    return f"{readings} {verb} in {rounds}; {known} {'was' if known == 1 else 'were'} known before{more}."


def _number(number: int, what: str) -> str:
    """1 round, 2 rounds; what is stored are readings."""
    what = {"stored": "readings"}.get(what, what)
    return f"{number} {what.removesuffix('s') if number == 1 else what}"


def row_line(row: int, error: Mapping[str, Any]) -> str:
    """Something wrong in a file: row 4, count '-3': ..."""
    value = f" {error['value']!r}" if error.get("value") else ""
    where = f"row {row}, {error.get('column', '')}{value}" if row else error.get("column") or "the whole"
    return f"{where}: {error.get('reason', '')}"


def show_refused(waiting: WaitingRound) -> None:
    """A round that the service refused: it stays in the line with its sentence."""
    first = f"The round of {waiting.walked_on} ({waiting.round_id}) was refused: {waiting.said}"
    tell_wrong([first, *shortened([problem_line(each) for each in waiting.errors])])
    tell_wrong([f"It is kept: correct it and send it again, or see `waiting` (number {waiting.number})."])


def waiting_line(waiting: WaitingRound) -> str:
    """One round of the line, as `waiting` lists it."""
    what = "refused" if waiting.refused else "waits"
    since = datetime.fromtimestamp(waiting.put_at).astimezone().strftime("%Y-%m-%d %H:%M")
    said = f": {waiting.said}" if waiting.said else ""
    return f"{waiting.number:4}  {what:8} round of {waiting.walked_on}, farm {waiting.farm}, put here {since}{said}"


def file_line(file: SentFile) -> str:
    """One file that isn't stored whole, as `waiting` lists it."""
    what = "waits" if file.state == "waiting" else "refused"
    said = f": {file.said}" if file.said else f": {file.refused} of its rows" if file.refused else ""
    return f"{file.number:4}  {what:8} file {file.path}, farm {file.farm}{said}"

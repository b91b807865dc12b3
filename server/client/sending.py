"""What the commands do with the line of rounds and with files: send, say what became of it, and how to end."""

import json
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import typer

from server.client.answers import Away, Refused
from server.client.book import Busy
from server.client.files import file_of, files_noted, send_files
from server.client.showing import Shown, progress_bar, row_line, show_refused, taken
from server.client.sign_in import Unusable
from server.client.terminal import Door, Ends, shortened, tell_wrong
from server.client.waiting import Sent, in_line, is_due, send_line

Found = TypeVar("Found")
NOT_KEPT = "{away} Nothing was kept: before anything can wait here, this computer must have asked once. {remedy}"
REMEDY = "Run `sign-in` where there is a network, or give --farm, and the round as a JSON file."


def needed(ask: Callable[[], Found]) -> Found:
    """What has to be known before something can wait here. Raises Unusable where the service can't say it now."""
    try:
        return ask()
    except Away as away:
        raise Unusable(NOT_KEPT.format(away=away, remedy=REMEDY)) from away


def send_rounds(door: Door, new: int) -> Ends:
    """Send the line of rounds and say what became of it; `new` of them were put there just now."""
    try:
        sent = _send_line(door)
    except (Busy, Refused) as stopped:
        tell_wrong([str(stopped), _left(door)])
        return Ends.WAITING if isinstance(stopped, Busy) else Ends.REFUSED
    for refused in sent.refused:
        show_refused(refused)
    left = len(_waiting(door))
    # Another process may have sent some of them.
    stored = max(sent.stored, new - len(sent.refused) - left)
    typer.echo(f"{stored} {'round is' if stored == 1 else 'rounds are'} stored.")
    if left:
        tell_wrong([*([str(sent.away)] if sent.away else []), _left(door)])
        return Ends.WAITING
    return Ends.REFUSED if sent.refused else Ends.ALL_STORED


def _send_line(door: Door) -> Sent:
    with progress_bar() as progress:
        task = progress.add_task("rounds", total=len(_waiting(door)))
        return send_line(door.book, door.flyround, door.farm, told=lambda: progress.advance(task))


def _waiting(door: Door) -> list[int]:
    """The numbers of this farm's rounds that wait."""
    line = in_line(door.book, door.flyround.site)
    return [each.number for each in line if each.farm == door.farm and not each.refused]


def _left(door: Door) -> str:
    left = len(_waiting(door))
    waits = "1 round waits here and goes" if left == 1 else f"{left} rounds wait here and go"
    return f"{waits} with the next command, or with `send --waiting`."


def send_due(door: Door) -> None:
    """Send what waited long enough, beside what the command is for; how it went changes nothing for that."""
    try:
        if is_due(door.book, door.flyround.site, door.farm):
            for refused in send_line(door.book, door.flyround, door.farm).refused:
                show_refused(refused)
    except (Away, Busy) as away:
        tell_wrong([str(away)])


def send_noted(door: Door) -> Ends:
    """Send the files that were put here for this farm and never got through."""
    site, farm = door.flyround.site, door.farm
    numbers = [each.number for each in files_noted(door.book, site) if each.farm == farm and each.state == "waiting"]
    return send_numbers(door, numbers) if numbers else Ends.ALL_STORED


def send_numbers(door: Door, numbers: list[int]) -> Ends:
    """Send the files of these numbers, and sum up how it went."""
    stopped = None
    with Shown(door.book, len(numbers)) as shown:
        try:
            send_files(door.book, door.flyround, numbers, shown)
        except (Away, Busy) as away:
            stopped = away
    files = [file_of(door.book, number) for number in numbers]
    figures = {name: sum(getattr(each, name) for each in files) for name in ("stored", "known", "refused", "rounds")}
    waiting = sum(each.state == "waiting" for each in files)
    if waiting:
        tell_wrong([*([str(stopped)] if stopped else []), f"{waiting} of {len(files)} files wait: run it again."])
    typer.echo(taken(figures))
    if waiting:
        return Ends.WAITING
    return Ends.REFUSED if any(each.state == "refused" or each.refused for each in files) else Ends.ALL_STORED


def try_files(door: Door, contents: list[tuple[Path, bytes]]) -> Ends:
    """Ask what would become of files, and store nothing."""
    ends = Ends.ALL_STORED
    for path, content in contents:
        answer = door.flyround.begin_import(door.farm, content, door.plan, key="")
        typer.echo(f"{path.name}: {taken(answer, dry_run=True)}")
        wrong = [(each["row"], error) for each in answer.get("results", ()) for error in each["errors"]]
        tell_wrong(shortened([row_line(row, error) for row, error in wrong]))
        ends = Ends.REFUSED if wrong else ends
    return ends


def known_stations(door: Door) -> list[dict[str, Any]]:
    """The farm's stations: as the service lists them now, or as it did the last time where it is away."""
    what = f"{door.flyround.site} stations of {door.farm}"
    try:
        stations = list(door.flyround.stations(door.farm))
    except Away:
        noted = door.book.known(what)
        if noted is None:
            raise
        return list(json.loads(noted))
    door.book.note(what, json.dumps([{"id": each["id"], "label": each["label"]} for each in stations]), time.time())
    return stations

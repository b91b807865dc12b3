"""`python -m server.client`: sign in, send rounds and files of counts, take a season home."""

import json
from datetime import datetime
from pathlib import Path
from typing import Annotated, NoReturn

import typer

from server.client import sign_in as signing
from server.client.book import Book
from server.client.files import (
    content_of,
    csv_files,
    files_noted,
    forget_file,
    note_files,
    send_again,
)
from server.client.flyround import Flyround, Plan
from server.client.patience import Patience
from server.client.rounds import round_in, round_of_words
from server.client.season import FORMATS, Export, fetch, season_days
from server.client.sending import known_stations, needed, send_due, send_noted, send_numbers, send_rounds, try_files
from server.client.showing import file_line, progress_bar, waiting_line
from server.client.sign_in import SignIn, Unusable, own_folder
from server.client.terminal import (
    HERE,
    Door,
    Ends,
    Site,
    Token,
    at_the_door,
    sentences,
    site_of,
    tell_wrong,
    token_of,
)
from server.client.verify import verify
from server.client.waiting import in_line, put_back, put_in_line, take_away

HELP = """Send counts to Flyround, and read what it made of them.

A command ends with 0 where all is stored, 1 where something was refused, 2 where the command or something on this
computer can't be used, 3 where the service can't be reached: what was to be sent is kept and goes later.
"""
Folder = Annotated[Path, typer.Argument(file_okay=False, help="The folder for the files; it is made if need be.")]
Files = Annotated[list[Path] | None, typer.Argument(exists=True, dir_okay=False, help="Rounds in the API's JSON form.")]
On = Annotated[datetime | None, typer.Option("--on", formats=["%Y-%m-%d"], help="The day of the round, 2026-06-01.")]
Counts = Annotated[
    list[str] | None,
    typer.Option("--count", help='What a station had: "Card 4=61", "Card 5=300+", "Trap 2=lost", "Leg count 1=3,0,5".'),
]
HungOn = Annotated[datetime | None, typer.Option("--hung-on", formats=["%Y-%m-%d"], help="When these were hung.")]
Hang = Annotated[list[str] | None, typer.Option("--hang", help="A station where a fresh one was hung that day.")]
FileOrFolder = Annotated[Path | None, typer.Argument(exists=True, help="A CSV file, or a folder of them.")]
Waiting = Annotated[bool, typer.Option("--waiting", help="Send what waits, without the pause after the last try.")]
Again = Annotated[bool, typer.Option("--again", help="Send files too that are done, or were refused.")]
Format = Annotated[str, typer.Option("--format", help=f"One of {', '.join(FORMATS)}.")]
Since = Annotated[datetime | None, typer.Option("--since", formats=["%Y-%m-%d"], help="From this day on.")]
Until = Annotated[datetime | None, typer.Option("--until", formats=["%Y-%m-%d"], help="Up to this day.")]
Anew = Annotated[bool, typer.Option("--anew", help="Fetch whole files again too.")]
Numbers = Annotated[
    list[int] | None, typer.Option("--retry", help="Put the refused round of this number in line again.")
]
Forgotten = Annotated[list[int] | None, typer.Option("--forget", help="Drop the round of this number, sent or not.")]
NoFiles = Annotated[list[int] | None, typer.Option("--forget-file", help="Forget the file of this number.")]
Evidence = Annotated[Path, typer.Argument(exists=True, help="A report (PDF), an evidence file, or an export's folder.")]
KeyFiles = Annotated[
    list[Path] | None,
    typer.Option("--key", exists=True, dir_okay=False, help="The service's public keys: PEM, or its list."),
]
HeadFile = Annotated[
    Path | None,
    typer.Option("--head", exists=True, dir_okay=False, help="A daily head from elsewhere, as from a kept mail."),
]
Authority = Annotated[
    Path | None,
    typer.Option("--authority", exists=True, dir_okay=False, help="The time stamp authority's certificate, PEM."),
]

# No local variables in a traceback: one of them is the token.
app = typer.Typer(
    help=HELP, no_args_is_help=True, pretty_exceptions_show_locals=False, add_completion=False, rich_markup_mode=None
)


@app.command("sign-in")
def sign_in(token: Token = "", site: Site = "") -> None:
    """Keep a token on this computer, after trying it.

    It lies in a file that only you can read; --token and FLYROUND_TOKEN go before it.
    """
    with sentences():
        site = site_of(site or HERE)
        token = token_of(token or typer.prompt("Token (not shown)", hide_input=True))
        with Flyround(site, token, Patience.of_environment()) as flyround, Book(own_folder()) as book:
            me = flyround.me()
            # Noted here, so that the first round may be sent without a network.
            Door(flyround, book, "", Plan()).note_farm(me)
        signing.keep(SignIn(site, token), own_folder())
        typer.echo(f"Signed in at {site} as {me['name']} ({me['kind']}).")
        if site.startswith("http://") and not site.startswith(("http://127.0.0.1", "http://localhost")):
            tell_wrong(["Mind that this address isn't encrypted: whoever is on the way can read the token. Use https."])


@app.command("sign-out")
def sign_out() -> None:
    """Forget the token. What waits here stays."""
    with sentences():
        typer.echo("Signed out." if signing.forget(own_folder()) else "Nobody was signed in.")


@app.command("whose")
@at_the_door
def whose(door: Door) -> None:
    """Say whose token this is, for which farm, and what it may do."""
    me = door.flyround.me()
    typer.echo(f"{me['name']} ({me['kind']}), until {me['expires_at']}")
    for farm in me["farms"]:
        typer.echo(f"{farm['name']}  {farm['farm_id']}  may {', '.join(farm['may'])}")
    if len(me["farms"]) == 1:
        door.note_farm(me)
        send_due(door)


@app.command("round")
@at_the_door
def send_round(
    door: Door,
    files: Files = None,
    on: On = None,
    count: Counts = None,
    hung_on: HungOn = None,
    hang: Hang = None,
) -> None:
    """Send rounds: from JSON files, or one from --on and --count.

    Sent twice, a round is stored once. One that can't be sent now waits here and goes with the next command, or with
    `send --waiting`. Where a file gives no ids they are made and kept: one round a day, one reading a station and
    hanging.
    """
    if bool(files) == (on is not None):
        raise Unusable('Name a file, or say the round: --on 2026-06-01 --count "Card 4=61".')
    # All are read before the first one goes into the line: a slip in the last one finds nothing half sent.
    rounds = [round_in(path) for path in files or []]
    if on is not None:
        hung = hung_on.date() if hung_on else None
        stations = needed(lambda: known_stations(door))
        rounds.append(round_of_words(on.date(), count or [], hung, hang or [], stations))
    put_in_line(door.book, door.flyround.site, needed(lambda: door.farm), rounds)
    end_as(send_rounds(door, len(rounds)))


@app.command("send")
@at_the_door(plan=True)
def send(door: Door, path: FileOrFolder = None, waiting: Waiting = False, again: Again = False) -> None:  # noqa: FBT002
    """Send a CSV file, or all in a folder; go on where it broke off.

    Good rows are stored, bad ones are told, unless --atomic is given. What is stored isn't sent again, until the file
    changes.
    """
    if (path is None) != waiting:
        raise Unusable("Name a file or a folder, or say --waiting to send what waits.")
    if path is None:
        end_as(max(send_rounds(door, 0), send_noted(door)))
    contents = [(each, content_of(each)) for each in csv_files(path)]
    if door.plan.dry_run:
        end_as(try_files(door, contents))
    where = (door.flyround.site, needed(lambda: door.farm))
    numbers = note_files(door.book, where, door.plan, contents)
    if again:
        send_again(door.book, numbers)
    send_due(door)
    end_as(send_numbers(door, numbers))


@app.command("waiting")
def show_waiting(retry: Numbers = None, forget: Forgotten = None, forget_file_: NoFiles = None) -> None:
    """List what waits and what was refused, each with its sentence."""
    with sentences(), Book(own_folder()) as book:
        for numbers, change in ((retry, put_back), (forget, take_away), (forget_file_, forget_file)):
            for number in numbers or []:
                if not change(book, number):
                    raise Unusable(f"Nothing of number {number} waits. See `waiting`.")
        rounds = in_line(book)
        files = [each for each in files_noted(book) if each.state != "done" or each.refused]
        for line in [*map(waiting_line, rounds), *map(file_line, files)]:
            typer.echo(line)
        if not rounds and not files:
            typer.echo("Nothing waits, and nothing was refused.")
        if any(each.refused for each in rounds) or any(each.state != "waiting" for each in files):
            end_as(Ends.REFUSED)
        end_as(Ends.WAITING if rounds or files else Ends.ALL_STORED)


@app.command("export")
@at_the_door
def export(
    door: Door,
    folder: Folder,
    table_format: Format = "csv",
    since: Since = None,
    until: Until = None,
    anew: Anew = False,  # noqa: FBT002 - an option of the command line
) -> None:
    """Take a season home: every table as a file, and how to read it.

    Broken off, it goes on where it was. Without --since and --until it is the farm's newest season.
    """
    if table_format not in FORMATS:
        raise Unusable(f"{table_format!r} isn't a format. Use one of {', '.join(FORMATS)}.")
    days = [day.date().isoformat() if day else "" for day in (since, until)]
    if not any(days):
        days = list(season_days(door.flyround, door.farm))
    wanted = Export(door.flyround.site, door.farm, table_format, *days)
    files = wanted.files_of(door.flyround.exports(door.farm))
    with progress_bar() as progress:
        task = progress.add_task("export", total=len(files))
        for file, there in fetch(door.flyround, wanted, files, folder, anew=anew):
            progress.update(task, advance=1, description=file)
            typer.echo(f"{file}: whole{' already' if there else ''}")
    send_due(door)


@app.command("results")
@at_the_door
def results(door: Door) -> None:
    """Print the weekly results as lines of JSON, oldest week first."""
    for row in door.flyround.results(door.farm):
        typer.echo(json.dumps(row))
    send_due(door)


@app.command("verify")
def verify_file(file: Evidence, key: KeyFiles = None, head: HeadFile = None, authority: Authority = None) -> None:
    """Check that a report or an export is what was signed, without a network.

    Ends with 0 where all of it holds, and 1 where something doesn't: it says what, and from where on.
    """
    with sentences():
        lines, holds = verify(file, key or [], head, authority)
        for line in lines:
            typer.echo(line)
        end_as(Ends.ALL_STORED if holds else Ends.REFUSED)


def end_as(ends: Ends) -> NoReturn:
    raise typer.Exit(int(ends))


if __name__ == "__main__":
    app(prog_name="python -m server.client")

"""`python -m server.client`: send a file of counts, see whose key it is, read the results."""

import json
from collections.abc import Callable, Sequence
from functools import wraps
from inspect import Parameter, Signature, signature
from pathlib import Path
from typing import Annotated, Any, NoReturn

import httpx
import typer

from server.client import Flyround, Refused

ADDRESS = "http://127.0.0.1:8000"
MOST_SHOWN = 20
app = typer.Typer(help="Send counts to Flyround and read what it made of them.", no_args_is_help=True)

Farm = Annotated[str, typer.Option("--farm", help="The farm's id; without it, the farm of the key.")]
File = Annotated[Path, typer.Argument(exists=True, dir_okay=False, help="A CSV file with one reading a line.")]
DryRun = Annotated[bool, typer.Option("--dry-run", help="Store nothing; say what would be stored, and what is wrong.")]
Atomic = Annotated[bool, typer.Option("--atomic", help="Store every line, or none where any is bad.")]
Order = Annotated[str, typer.Option("--order", help="day_first or month_first, for dates such as 1/6/2026.")]
TOKEN = Annotated[str, typer.Option("--token", envvar="FLYROUND_TOKEN", help="The farm's key, fly_...")]
SITE = Annotated[str, typer.Option("--site", envvar="FLYROUND_SITE", help="Where Flyround answers.")]
DOOR = (
    Parameter("token", Parameter.KEYWORD_ONLY, annotation=TOKEN),
    Parameter("site", Parameter.KEYWORD_ONLY, annotation=SITE, default=ADDRESS),
)


def at_the_door(command: Callable[..., None]) -> Callable[..., None]:
    """Give a command the options --token and --site and the open door; a refusal ends it with a sentence."""

    @wraps(command)
    def run(*, token: str, site: str, **options: Any) -> None:
        try:
            with Flyround(site, token) as flyround:
                command(flyround, **options)
        except Refused as refusal:
            end_with(str(refusal), [f"{_place(each)}: {each['detail']}" for each in refusal.errors])
        except httpx.TransportError:
            end_with(f"{site} can't be reached. Check the address and the network, then try again.")

    own = [each.replace(kind=Parameter.KEYWORD_ONLY) for each in signature(command).parameters.values()][1:]
    # Typer reads from these two what to ask for.
    run.__signature__ = Signature([*own, *DOOR])  # type: ignore[attr-defined]
    run.__annotations__ = {each.name: each.annotation for each in (*own, *DOOR)}
    return run


@app.command("import")
@at_the_door
def import_file(
    flyround: Flyround,
    file: File,
    farm: Farm = "",
    order: Order = "",
    dry_run: DryRun = False,  # noqa: FBT002 - an option of the command line
    atomic: Atomic = False,  # noqa: FBT002
) -> None:
    """Import a file of readings; the bad lines are left out and named. Sent twice, it is stored once."""
    result = flyround.send_file(farm or own_farm(flyround), file, order=order, dry_run=dry_run, atomic=atomic)
    tell_import(result)
    if result["refused"]:
        raise typer.Exit(1)


@app.command("whose")
@at_the_door
def whose_key(flyround: Flyround) -> None:
    """Say whose key this is, for which farm, and what it may do."""
    me = flyround.me()
    typer.echo(f"{me['name']} ({me['kind']}), until {me['expires_at']}")
    for farm in me["farms"]:
        typer.echo(f"{farm['name']}  {farm['farm_id']}  may {', '.join(farm['may'])}")


@app.command("results")
@at_the_door
def read_results(flyround: Flyround, farm: Farm = "") -> None:
    """Print the weekly results, one JSON object a line, oldest week first."""
    for row in flyround.results(farm or own_farm(flyround)):
        typer.echo(json.dumps(row))


def own_farm(flyround: Flyround) -> str:
    """The id of the one farm that a key is for."""
    return str(flyround.me()["farms"][0]["farm_id"])


def tell_import(result: dict[str, Any]) -> None:
    verb = "would be stored" if result["dry_run"] else "stored"
    typer.echo(f"{result['stored']} readings {verb} in {result['rounds']} rounds; {result['known']} were known before.")
    bad = [(row["row"], cell) for row in result["results"] for cell in row["errors"]]
    for row, cell in bad[:MOST_SHOWN]:
        typer.echo(f"row {row}, {cell['column']} {cell['value']!r}: {cell['reason']}", err=True)
    if len(bad) > MOST_SHOWN:
        typer.echo(f"... and {len(bad) - MOST_SHOWN} more.", err=True)


def end_with(sentence: str, lines: Sequence[str] = ()) -> NoReturn:
    """Leave with an error on standard error and exit code 1."""
    typer.echo(sentence, err=True)
    for line in lines[:MOST_SHOWN]:
        typer.echo(line, err=True)
    if len(lines) > MOST_SHOWN:
        typer.echo(f"... and {len(lines) - MOST_SHOWN} more.", err=True)
    raise typer.Exit(1)


def _place(error: dict[str, str]) -> str:
    """Where something is wrong, as a person would say it: row 3, count."""
    steps = error.get("parameter", error.get("pointer", "")).strip("/").split("/")
    if steps[0] in ("rows", "readings") and len(steps) > 1:
        return ", ".join([f"row {steps[1]}", *steps[2:]])
    return "/".join(steps) or "the whole"


if __name__ == "__main__":
    app()

"""What the commands share: the door to the service, sentences instead of tracebacks, exit codes."""

import hashlib
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from enum import IntEnum
from functools import wraps
from inspect import Parameter, Signature, signature
from typing import Annotated, Any, NoReturn

import httpx
import typer

from server.client.answers import Away, Refused
from server.client.book import Book, Busy
from server.client.flyround import Flyround, Plan
from server.client.patience import Patience
from server.client.sign_in import SignIn, Unusable, kept, own_folder

HERE = "http://127.0.0.1:8000"
MOST_SHOWN = 20


class Ends(IntEnum):
    """How a command ends, for the program that started it."""

    ALL_STORED = 0
    REFUSED = 1
    USAGE = 2
    WAITING = 3


Token = Annotated[
    str, typer.Option("--token", envvar="FLYROUND_TOKEN", help="The farm's token, fly_...; else that of the sign-in.")
]
Site = Annotated[
    str, typer.Option("--site", envvar="FLYROUND_SITE", help=f"Where Flyround answers; else the sign-in's, or {HERE}.")
]
Farm = Annotated[str, typer.Option("--farm", help="The farm's id; without it, the farm of the token.")]
Order = Annotated[str, typer.Option("--order", help="day_first or month_first, for dates such as 1/6/2026.")]
DryRun = Annotated[bool, typer.Option("--dry-run", help="Store nothing; say what would be stored, and what is wrong.")]
Atomic = Annotated[bool, typer.Option("--atomic", help="Store a file whole or not at all; else its good rows.")]
DOOR = {"token": Token, "site": Site, "farm": Farm}
PLAN = {"order": (Order, ""), "dry_run": (DryRun, False), "atomic": (Atomic, False)}


@dataclass(frozen=True)
class Door:
    """What a command works with: the service, what is remembered here, and the farm that was named."""

    flyround: Flyround
    book: Book
    named: str
    plan: Plan

    @property
    def farm(self) -> str:
        """The id of the farm: the one named, or the one that the token is for. Raises Away, Refused or Unusable."""
        return self.named or self.book.known(self._token_mark) or self.note_farm(self.flyround.me())

    def note_farm(self, me: Mapping[str, Any]) -> str:
        """Remember which farm the token is for; it is for the same one always. Raises Unusable where it isn't one."""
        if len(me["farms"]) != 1:
            raise Unusable("This token doesn't open exactly one farm. Name it: --farm ID; see `whose`.")
        farm = str(me["farms"][0]["farm_id"])
        self.book.note(self._token_mark, farm, 0.0)
        return farm

    @property
    def _token_mark(self) -> str:
        """Stands for the token, and doesn't tell it."""
        return f"{self.flyround.site} farm of {hashlib.sha256(self.flyround.token.encode()).hexdigest()[:16]}"


def at_the_door(command: Callable[..., None] | None = None, *, plan: bool = False) -> Any:
    """Give a command --token, --site and --farm (with `plan` --order, --dry-run, --atomic too) and the open door."""
    if command is None:
        return lambda command: at_the_door(command, plan=plan)

    @wraps(command)
    def run(*, token: str, site: str, farm: str, **options: Any) -> None:
        with sentences():
            planned = Plan(**{name: options.pop(name) for name in PLAN}) if plan else Plan()
            sign_in = whose(token, site)
            flyround = Flyround(sign_in.site, sign_in.token, Patience.of_environment())
            with Book(own_folder()) as book, flyround:
                command(Door(flyround, book, farm, planned), **options)

    own = [each.replace(kind=Parameter.KEYWORD_ONLY) for each in signature(command).parameters.values()][1:]
    more = {name: (kind, "") for name, kind in DOOR.items()} | (PLAN if plan else {})
    own += [
        Parameter(name, Parameter.KEYWORD_ONLY, annotation=kind, default=usual) for name, (kind, usual) in more.items()
    ]
    # Typer reads from these two what to ask for.
    run.__signature__ = Signature(own)  # type: ignore[attr-defined]
    run.__annotations__ = {each.name: each.annotation for each in own}
    return run


def whose(token: str, site: str) -> SignIn:
    """The site and token to use: those given, else those of the sign-in. Raises Unusable."""
    known = kept(own_folder())
    site = site_of(site or (known.site if known else HERE))
    if token:
        return SignIn(site, token_of(token))
    if known is None:
        raise Unusable("Nobody is signed in here. Run `sign-in` first, or set FLYROUND_TOKEN.")
    if known.site != site:
        raise Unusable(f"The sign-in is for {known.site}, and its token goes nowhere else. Sign in at {site} first.")
    return known


def site_of(said: str) -> str:
    """An address as it is kept: without a slash at its end. Raises Unusable where it is none."""
    try:
        url = httpx.URL(said.strip())
    except httpx.InvalidURL:
        url = httpx.URL()
    if url.scheme not in ("http", "https") or not url.host:
        raise Unusable(f"{said!r} isn't an address of a site. It should look like https://flies.example.org.")
    return str(url.copy_with(query=None, fragment=None)).rstrip("/")


def token_of(said: str) -> str:
    """A token as it can stand in a header. Raises Unusable, without showing it."""
    token = said.strip()
    if not token.isascii() or not token.isprintable() or " " in token or not token:
        raise Unusable("This doesn't look like a token: it should be one word that begins with fly_. Copy it again.")
    return token


@contextmanager
def sentences() -> Iterator[None]:
    """End with a sentence and an exit code, whatever happens that was to be expected."""
    try:
        yield
    except Refused as refusal:
        end_with(Ends.REFUSED, str(refusal), [problem_line(each) for each in refusal.errors])
    except Unusable as unusable:
        end_with(Ends.USAGE, str(unusable))
    except (Away, Busy) as away:
        end_with(Ends.WAITING, str(away))


def end_with(code: Ends, sentence: str, lines: Sequence[str] = ()) -> NoReturn:
    """Leave with a sentence on standard error."""
    tell_wrong([sentence, *shortened(lines)])
    raise typer.Exit(int(code))


def tell_wrong(lines: Iterable[str]) -> None:
    for line in lines:
        typer.echo(line, err=True)


def shortened(lines: Sequence[str]) -> list[str]:
    """The first lines, and how many more there are."""
    more = len(lines) - MOST_SHOWN
    return [*lines[:MOST_SHOWN], *([f"... and {more} more."] if more > 0 else [])]


def problem_line(error: Mapping[str, Any]) -> str:
    """Something wrong in what was sent, as a person would say it: row 3, count: ..."""
    steps = str(error.get("parameter", error.get("pointer", ""))).strip("/").split("/")
    place = ", ".join([f"row {steps[1]}", *steps[2:]]) if len(steps) > 1 and steps[0] in ("rows", "readings") else ""
    return f"{place or '/'.join(steps) or 'the whole'}: {error.get('detail', '')}"

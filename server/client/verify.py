"""`verify`: whether a report or an export still is what was signed, in plain words, without a network."""

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from server.client.evidence import Checked, check
from server.client.evidence_file import authorities_in, evidence_in, head_in, public_keys_in
from server.client.evidence_stamps import Stamped, check_stamps
from server.client.evidence_tables import check_tables
from server.client.sign_in import Unusable
from server.client.verify_words import say, say_wrong

MOST_DAYS, MOST_WRONG = 6, 20
NEEDS_A_KEY = (
    "Name the public key, --key FILE, or a daily head that you have from elsewhere, --head FILE: without either, "
    "whoever made the file could have made all of it."
)


def verify(path: Path, keys: Sequence[Path], head: Path | None, authority: Path | None) -> tuple[list[str], bool]:
    """The sentences to show, and whether all of it holds. Raises Unusable."""
    if not keys and head is None:
        raise Unusable(say(NEEDS_A_KEY))
    evidence = evidence_in(path)
    outside = head_in(head) if head else None
    found = check(evidence, [key for each in keys for key in public_keys_in(each)], outside)
    if not found.wrong and not found.last_covered:
        found.no("nothing_signed")
    if any(each.what == "misshapen" for each in found.wrong):
        # Nothing more can be read of it.
        return [*_the_end(found)], False
    authorities = authorities_in(authority, evidence)
    stamped = check_stamps(evidence, authorities, found, named=authority is not None)
    tables = list(check_tables(path, evidence, found)) if path.is_dir() else []
    lines = [*_what_holds(found), *tables, *_days(found), *_stamps(stamped, named=authority is not None)]
    return [*lines, *_later(found), *_the_end(found)], not found.wrong


def _what_holds(found: Checked) -> Iterator[str]:
    bad = {each.what for each in found.wrong}
    if not bad & {"rows", "rows_gone", "no_entry", "other_farm"}:
        yield say(
            "Rows: {rows} are as their entries recorded them; {hashes} more are told by hash only, {erased} of them "
            "erased.", rows=found.rows, hashes=found.by_hash, erased=found.erased,
        )  # fmt: skip
    if not bad & {"link", "links_gone"}:
        yield say("Entries: 1 to {entries} follow one another without a gap.", entries=found.entries)
    if found.without_rows:
        kinds = ", ".join(f"{kind} {number}" for kind, number in sorted(found.without_rows.items()))
        yield say("Told without rows: {kinds}.", kinds=kinds)


def _days(found: Checked) -> Iterator[str]:
    """The first signed days, and the last ones."""
    days = sorted(found.covered.items())
    shown = days if len(days) <= MOST_DAYS else days[: MOST_DAYS // 2] + days[-MOST_DAYS // 2 :]
    for place, (day, number) in enumerate(shown):
        yield say("Signed on {day}: entries 1 to {number} stood so on that day.", day=day, number=number)
        if len(shown) < len(days) and place == MOST_DAYS // 2 - 1:
            yield say("... and {number} signed days between.", number=len(days) - len(shown))
    if found.outside == "elsewhere":
        yield say(
            "The head from outside is of a day that this file can't be compared with: take one of a day within it."
        )
    elif found.outside:
        yield say("The head from outside, of {day}, is the one in this file, or follows it.", day=found.outside)


def _stamps(stamped: Sequence[Stamped], *, named: bool) -> Iterator[str]:
    if not stamped:
        yield say("No time stamp by an authority is in this file.")
        return
    for each in [stamped[0], *([stamped[-1]] if len(stamped) > 1 else [])]:
        told: Mapping[str, Any] = {"authority": each.authority, "day": each.day, "moment": each.moment}
        yield say("Time stamp: {authority} saw what was signed on {day} at {moment}.", **told)
    if not named:
        yield say(
            "The authority's certificate came with the file. Compare its SHA-256 with the authority's own: "
            "{fingerprint}.", fingerprint=stamped[-1].fingerprint,
        )  # fmt: skip


def _later(found: Checked) -> Iterator[str]:
    if not found.wrong and found.last_covered < found.entries:
        first = found.last_covered + 1
        yield say(
            "Not yet covered: entries {first} to {last} came after the last signed day ({moment}).",
            first=first, last=found.entries, moment=found.made_at[first],
        )  # fmt: skip


def _the_end(found: Checked) -> Iterator[str]:
    if found.wrong:
        yield say("This doesn't hold:")
        for each in found.wrong[:MOST_WRONG]:
            yield "- " + say_wrong(each.what, **each.values)
        if len(found.wrong) > MOST_WRONG:
            yield f"- ... {len(found.wrong) - MOST_WRONG}"
    else:
        yield say("All of it holds.")
        yield say(
            "It shows that these records stood so on the days named, and that what stood then wasn't changed since."
        )
    yield say(
        "It doesn't show that a count is true, nor who counted, nor what was never recorded. It is no legal promise."
    )

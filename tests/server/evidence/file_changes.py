"""What somebody could do to an evidence file on its way, one thing at a time."""

import copy
import random
from collections.abc import Callable
from typing import Any


def changed(rng: random.Random, evidence: dict[str, Any]) -> tuple[str, dict[str, Any]]:
    """The evidence with one thing changed, and what."""
    made = copy.deepcopy(evidence)
    kind = rng.choice(list(CHANGES))
    CHANGES[kind](rng, made)
    return kind, made


def _row(rng: random.Random, made: dict[str, Any]) -> dict[str, Any]:
    return rng.choice([row for row in made["rows"] if "values" in row])


def _covering(rng: random.Random, made: dict[str, Any]) -> dict[str, Any]:
    return rng.choice([each for each in made["heads"] if "leaf" in each])


def value(rng: random.Random, made: dict[str, Any]) -> None:
    values = _row(rng, made)["values"]
    name = rng.choice(sorted(values))
    values[name] = rng.choice([None, 7, "x", True]) if values[name] not in (7, "x") else 8


def row_out(rng: random.Random, made: dict[str, Any]) -> None:
    made["rows"].remove(_row(rng, made))


def rows_out(rng: random.Random, made: dict[str, Any]) -> None:
    entry = _row(rng, made)["entry"]
    made["rows"] = [each for each in made["rows"] if each["entry"] != entry]


def row_twice(rng: random.Random, made: dict[str, Any]) -> None:
    made["rows"].append(_row(rng, made))


def row_moved(rng: random.Random, made: dict[str, Any]) -> None:
    _row(rng, made)["entry"] += rng.choice([-1, 1])


def hash_of_words(rng: random.Random, made: dict[str, Any]) -> None:
    rng.choice([each for each in made["rows"] if "hash" in each])["hash"] = "00" * 32


def link(rng: random.Random, made: dict[str, Any]) -> None:
    one, name = rng.choice(made["links"]), rng.choice(["kind", "made_at", "rows_hash", "hash", "number"])
    one[name] = 9_999 if name == "number" else one[name][:-1] + ("0" if one[name][-1] != "0" else "1")


def link_out(rng: random.Random, made: dict[str, Any]) -> None:
    made["links"].remove(rng.choice(made["links"]))


def tail_out(rng: random.Random, made: dict[str, Any]) -> None:
    cut = rng.randint(1, len(made["links"]) - 1)
    made["links"] = made["links"][:cut]
    made["rows"] = [each for each in made["rows"] if each["entry"] <= cut]


def other_farm(_rng: random.Random, made: dict[str, Any]) -> None:
    made["farm"] = "01900000-0000-7000-8000-000000000001"


def leaf(rng: random.Random, made: dict[str, Any]) -> None:
    _covering(rng, made)["leaf"][rng.choice(["number", "place"])] += 1


def salt(rng: random.Random, made: dict[str, Any]) -> None:
    _covering(rng, made)["leaf"]["salt"] = "00" * 16


def path(rng: random.Random, made: dict[str, Any]) -> None:
    _covering(rng, made)["path"][0] = "11" * 32


def document(rng: random.Random, made: dict[str, Any]) -> None:
    head, name = _covering(rng, made)["document"], rng.choice(["root", "day", "leaves", "made_at", "previous"])
    head[name] = {"root": "22" * 32, "day": "2026-05-01", "leaves": 9}.get(name, "33" * 32)


def signature(rng: random.Random, made: dict[str, Any]) -> None:
    _covering(rng, made)["document"]["signature"] = "44" * 64


CHANGES: dict[str, Callable[[random.Random, dict[str, Any]], None]] = {
    each.__name__: each
    for each in (value, row_out, rows_out, row_twice, row_moved, hash_of_words, link, link_out, tail_out, other_farm,
                 leaf, salt, path, document, signature)
}  # fmt: skip

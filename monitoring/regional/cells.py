"""The cells of a region's week by one method: the whole region, and its housings where it is split; what each may show.

A split region tells middle thirds, shares over the level and own thirds by housing, and of the whole the mean alone.
Either both housings are told or neither: one of them and the whole would tell the other.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from monitoring.analysis.disclosure import (
    NOTHING,
    NUMBERS_FROM,
    NormalRelease,
    Release,
    release,
    release_normal,
    share_to_tenth,
)
from monitoring.analysis.shapes import Bools, Floats
from monitoring.regional.contributions import Contributors

WHOLE = ""
Growth = tuple[float | None, float | None, float | None]
UNKNOWN: Growth = (None, None, None)
NO_NORMAL = NormalRelease()


@dataclass(frozen=True)
class Cell:
    """What a part's report may show, and of whom: `members` (n,) among the contributors."""

    part: str
    members: Bools
    release: Release
    normal: NormalRelease = NO_NORMAL
    share_rising: float | None = None
    growth: Growth = UNKNOWN

    @property
    def tells_thirds(self) -> bool:
        return self.release.thirds.size > 0


@dataclass(frozen=True)
class Asked:
    """How a week's cells are to be made."""

    level: float
    at_least: bool
    words_only: bool
    watchers: Sequence[Bools]


def cells_of(contributors: Contributors, parts: Sequence[str], asked: Asked) -> list[Cell]:
    """Give the cell of the whole region, then those of its parts; `parts` names each contributor's, or is empty."""
    everybody = np.ones(len(contributors.holdings), bool)
    whole = _cell(WHOLE, everybody, contributors, asked)
    names = sorted(set(parts))
    if len(names) < 2:
        return [whole]
    of = np.array(parts)
    cells = [_cell(name, of == name, contributors, asked) for name in names]
    if all(cell.release.disclosure == "numbers" for cell in [whole, *cells]):
        return [_beside(whole, cells), *cells]
    return [whole, *(Cell(cell.part, cell.members, NOTHING) for cell in cells)]


def _beside(whole: Cell, cells: Sequence[Cell]) -> Cell:
    """The whole region beside its parts: the mean, and of normal and growth what every part tells of itself, too.

    Fewer have a normal or four weeks than counted: where a part has too few to tell, the whole and the other would.
    """
    every_normal = all(cell.normal.ratio is not None for cell in cells)
    return replace(
        whole,
        release=replace(whole.release, middle=None, share_over=None, thirds=NOTHING.thirds),
        normal=replace(whole.normal, middle=None, share_above=None) if every_normal else NO_NORMAL,
        growth=whole.growth if all(cell.growth != UNKNOWN for cell in cells) else UNKNOWN,
        share_rising=None,
    )


def _cell(part: str, members: Bools, contributors: Contributors, asked: Asked) -> Cell:
    seen = [each[members] for each in asked.watchers]
    told = release(
        contributors.values[members], asked.level, at_least=asked.at_least, words_only=asked.words_only, watchers=seen
    )
    if told.disclosure != "numbers":
        return Cell(part, members, told)
    return Cell(
        part,
        members,
        told,
        release_normal(contributors.ratios[members], watchers=seen),
        _share_rising(contributors.rising[members]),
        _growth(contributors, members),
    )


def _share_rising(rising: Floats) -> float | None:
    known = rising[~np.isnan(rising)]
    return share_to_tenth(known > 0) if known.size >= NUMBERS_FROM else None


def _growth(contributors: Contributors, members: Bools) -> Growth:
    growth = contributors.growth_of(members)
    return UNKNOWN if growth is None else growth.rounded()

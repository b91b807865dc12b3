"""What keeping farms apart costs: cells without numbers, measured, and what docs/region-reports.md says of them."""

import re
from collections import Counter

import numpy as np
import pytest

from monitoring.analysis.disclosure import release
from monitoring.analysis.simulated_regions import LEVELS, RegionSeason, simulate_season
from tests.architecture.source import ROOT

DOCUMENT = ROOT / "docs" / "region-reports.md"
SEASONS = {10: 20, 14: 20, 20: 20, 30: 20, 100: 8, 1000: 2}
EVEN, USUAL, UNEVEN = 0.4, 0.6, 0.8
NEAR = 2  # hundredths: another machine's last digits may move a cell or two


def cost_of(farms, unlike, method, sees):
    """In hundredths of the weeks of some seasons in which all farms count: a word or nothing, a middle third told, a
    share over the level told. `sees` is the share of farms that one adviser sees.
    """
    counts: Counter[str] = Counter()
    for number in range(SEASONS[farms]):
        rng = np.random.default_rng([farms, number])
        region = RegionSeason(unlike=unlike, missing=0.0, changing=0.0)
        season = simulate_season(rng, region, farms, method)
        adviser = rng.random(farms) < sees
        for values in season.means.T:
            cell = release(values, season.level, at_least=season.at_least, watchers=[adviser])
            counts["weeks"] += 1
            counts["held"] += cell.disclosure != "numbers"
            counts["middle"] += cell.middle is not None
            counts["share"] += cell.share_over is not None
    return tuple(round(100 * counts[what] / counts["weeks"]) for what in ("held", "middle", "share"))


def without_numbers():
    """Rows of the first table: farms, even or uneven, then each method without and with an adviser of seven in ten."""
    for farms in (10, 30, 100, 1000):
        for name, unlike in (("even", EVEN), ("uneven", UNEVEN)):
            held = [cost_of(farms, unlike, method, sees)[0] for method in LEVELS for sees in (0.0, 0.7)]
            yield [f"{farms:,}", name, *map(str, held)]


def what_is_told():
    """Rows of the second: farms, then for cards and legs what is held back, and told of the middle third and share."""
    for farms in SEASONS:
        told = [figure for method in ("card", "leg") for figure in cost_of(farms, USUAL, method, 0.0)]
        yield [f"{farms:,}", *map(str, told)]


def rows_under(heading):
    """The rows of figures of the table under a heading of the document."""
    section = DOCUMENT.read_text().split(f"## {heading}\n")[1].split("\n## ")[0]
    lines = re.findall(r"^\| *([\d,]+ \|.*) \|$", section, re.MULTILINE)
    return [[cell.strip() for cell in line.split("|")] for line in lines]


@pytest.mark.full
@pytest.mark.parametrize(
    ("heading", "measured"), [("What it costs", without_numbers), ("What numbers tell", what_is_told)]
)
def test_the_document_says_what_is_measured(heading, measured):
    found = list(measured())
    print("\n".join("| " + " | ".join(row) + " |" for row in found))
    written = rows_under(heading)
    assert [[cell for cell in row if not cell.isdigit()] for row in written] == [
        [cell for cell in row if not cell.isdigit()] for row in found
    ]
    for said, row in zip(written, found, strict=True):
        for figure, true in zip(said, row, strict=True):
            if true.isdigit():
                assert abs(int(figure) - int(true)) <= NEAR, (said, row)

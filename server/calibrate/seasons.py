"""What would a season's cards say where weather drives the flies, and what was so? For judging statements about it."""

from dataclasses import dataclass

import numpy as np

from monitoring.analysis.shapes import Floats, Ints
from monitoring.analysis.simulated_counts import (
    SPECKS_A_DAY,
    Hangings,
    as_counted,
    catchability,
    counts_on_cards,
    without_lost,
)
from monitoring.analysis.simulated_flies import (
    HOUSE_FLY,
    Places,
    activity_of,
    simulate_flies,
    usual_places,
    with_weekly_shock,
)
from monitoring.analysis.simulated_weather import HeatWave, season_weather

DAYS = np.arange("2026-04-01", "2026-10-01", dtype="M8[D]")
# The flies begin four weeks before the first card is hung.
FIRST_HUNG, WEEK = 28, 7
WEEKS = (DAYS.size - FIRST_HUNG) // WEEK
REGIONS, BARNS, CARDS_A_BARN = 3, 3, 3
# How much room for maggots calf barn, free-stall and heifer barn have, and how unlike farms are in it.
ROOM, TIDY = 0.55 * np.array([1.0, 0.5, 0.4]), 0.3
FARM_SHOCK, LOST = 0.2, 0.04
# A tenth of the farms leave a corner uncleaned in the calf barn, which then has so many times the room; a fifth clean
# out once, a fifth spray once. All begin between these days of the season.
CORNER, CORNER_TIMES, CLEANED, SPRAYED = 0.1, 6.0, 0.2, 0.2
SPRAY_DAYS, CLEAN_LASTS = 10, 60
FROM_DAY, UNTIL_DAY = 65, 125
HEAT_DAYS, HOTTER = 9, 5.0


@dataclass(frozen=True)
class Season:
    """What a season's cards say, and what was so.

    `counts` and `days` (n_farms, n_stations, n_weeks), `days` times the part counted; `true` (n_farms, n_weeks), the
    log of what usual cards would see without the farm's own shocks; `corner`, `cleaned`, `sprayed` (n_farms,), the day
    of the season on which it began, -1 = never.
    """

    counts: Floats
    days: Floats
    true: Floats
    corner: Ints
    cleaned: Ints
    sprayed: Ints

    @classmethod
    def of(cls, rng: np.random.Generator, farms: int) -> "Season":
        """Simulate a season of farms in three neighbouring regions, every other one with a heat wave."""
        region = np.repeat(rng.integers(0, REGIONS, farms), BARNS)
        waves = [HeatWave(DAYS[int(rng.integers(FROM_DAY, UNTIL_DAY))], HEAT_DAYS, HOTTER)] * int(rng.integers(0, 2))
        weather = season_weather(rng, DAYS, REGIONS, heat_waves=waves)
        corner, cleaned, sprayed = (_begins(rng, farms, share) for share in (CORNER, CLEANED, SPRAYED))
        places = _places(rng, corner, cleaned, sprayed)
        lowest, highest = weather.lowest[region], weather.highest[region]
        activity = activity_of(simulate_flies(HOUSE_FLY, lowest, highest, places), lowest, highest)
        farm = np.repeat(np.arange(farms), BARNS)
        counts, days = _cards(rng, with_weekly_shock(rng, activity, farm, scatter=FARM_SHOCK))
        return cls(counts, days, _true(activity), corner, cleaned, sprayed)

    def change(self, week: int, over: int) -> Floats:
        """Give how much the log of the farms' flies really changed over some weeks, (n_farms,)."""
        return np.asarray(self.true[:, week] - self.true[:, week - over], np.float64)

    def found_later(self, week: int, ahead: int) -> Floats:
        """Give the mean that was counted so many weeks later on the stations of a week, (n_farms,), a card and 7 days.

        NaN where one of them was lost then: what is left is not the mean that was foretold.
        """
        seen = ~np.isnan(self.counts[:, :, week])
        later = self.counts[:, :, week + ahead] / self.days[:, :, week + ahead] * WEEK
        total = np.where(seen, later, 0.0).sum(axis=1)
        return np.where(seen.any(axis=1), total / np.maximum(seen.sum(axis=1), 1), np.nan)


def taken_on(week: int) -> int:
    """The day of the season on which a week's cards are taken."""
    return FIRST_HUNG + WEEK * (week + 1)


def _begins(rng: np.random.Generator, farms: int, share: float) -> Ints:
    """Draw on which day of the season something begins on each farm; -1 = never."""
    day = rng.integers(FROM_DAY, UNTIL_DAY, farms)
    return np.where(rng.random(farms) < share, day, -1)


def _places(rng: np.random.Generator, corner: Ints, cleaned: Ints, sprayed: Ints) -> Places:
    """Give the barns of all farms, one farm after the other; the calf barn, where things happen, is the first."""
    tidy = np.exp(TIDY * rng.standard_normal((corner.size, 1)))
    places = usual_places((tidy * ROOM).ravel(), DAYS.size)
    for farm in np.flatnonzero(corner >= 0).tolist():
        places = places.with_corner(BARNS * farm, int(corner[farm]), CORNER_TIMES)
    for farm in np.flatnonzero(cleaned >= 0).tolist():
        places = places.with_clean_out(BARNS * farm, int(cleaned[farm]), lasts=CLEAN_LASTS)
    for farm in np.flatnonzero(sprayed >= 0).tolist():
        places = places.with_adults_treated(BARNS * farm, int(sprayed[farm]), SPRAY_DAYS)
    return places


def _cards(rng: np.random.Generator, activity: Floats) -> tuple[Floats, Floats]:
    """Hang three cards in each barn for every week: what is counted of them, and days times the part counted."""
    stations = np.arange(len(activity) * CARDS_A_BARN)
    station, week = (each.ravel() for each in np.meshgrid(stations, np.arange(WEEKS), indexing="ij"))
    hung = FIRST_HUNG + WEEK * week
    hangings = Hangings(station, station // CARDS_A_BARN, hung, hung + WEEK)
    factor = catchability(rng, np.zeros(stations.size, np.bool_), np.full(stations.size, "nothing"))
    counts, _why = without_lost(rng, counts_on_cards(rng, activity, hangings, factor), share=LOST)
    counted, part = as_counted(rng, counts)
    shape = (len(activity) // BARNS, BARNS * CARDS_A_BARN, WEEKS)
    return counted.reshape(shape), WEEK * part.reshape(shape)


def _true(activity: Floats) -> Floats:
    """Give the log of what usual cards of each farm would see in each week, (n_farms, n_weeks)."""
    days = activity[:, FIRST_HUNG : FIRST_HUNG + WEEK * WEEKS].reshape(-1, BARNS, WEEKS, WEEK)
    return np.asarray(np.log(np.maximum(SPECKS_A_DAY * days.mean(axis=1).sum(axis=2), 1e-3)), np.float64)

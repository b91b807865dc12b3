"""Which station has the most, how much of it, for how long, and what is to be asked on the spot?"""

from dataclasses import dataclass

import numpy as np

from monitoring.analysis.owners import OwnerSums
from monitoring.analysis.rates import StationWeeks
from monitoring.analysis.shapes import Bools, Floats, Ints, Words, refuse, refuse_outside, refuse_unlike

NOTHING_NEAR, DRAWS = "nothing", ("milk", "feed", "water")
MAY_ONLY_REST_HERE, MAY_BE_AVOIDED, LOOK_HERE_FIRST = "may_only_rest_here", "may_be_avoided", "look_here_first"
HALF = 0.5
# Shares are sums of floats: equal rates may differ in the last digit.
SAME = 1e-9


@dataclass(frozen=True)
class HotStations:
    """Where most of a week's catch is; see `hot_stations`.

    (n_stations,) arrays: `share` of the owner's total rate (NaN = no count, or nothing caught), `holds_most` marks the
    few stations that together hold more than half, `at_top` those with the highest rate (several in a tie),
    `weeks_at_top` how many counted weeks in a row, up to this one, a station was there (0 = it is not now). (n_owners,)
    arrays: `top` is the station at the top, -1 where nothing was caught (in a tie the one longest there, then the
    first), `share_held` what the marked stations hold together (0 = none stand out), `at_least` whether a share rests
    on an at-least count.
    """

    share: Floats
    holds_most: Bools
    at_top: Bools
    weeks_at_top: Ints
    top: Ints
    share_held: Floats
    at_least: Bools
    owner: Ints

    def holders(self, owner: int) -> Ints:
        """Give the stations that hold more than half of an owner's catch, most first; empty where none stand out."""
        mine = np.flatnonzero(self.holds_most & (self.owner == owner))
        return mine[np.argsort(-self.share[mine], kind="stable")]


def hot_stations(station_weeks: StationWeeks, owner: Ints, n_owners: int, *, week: int) -> HotStations:
    """Find the stations that hold most of a week's catch, for every owner (a farm or a facility, and a method) at once.

    Parameters
    ----------
    station_weeks : StationWeeks -- (n_stations, n_weeks).
    owner : (n_stations,) int -- whose station it is, from 0.
    n_owners : int
    week : int -- index of the week that is judged.

    Returns
    -------
    HotStations

    Notes
    -----
    A share is a station's rate over the sum of its owner's rates that week. The stations marked are the fewest that
    together hold more than half, with every one equal to the last of them, and only if they are fewer than half of the
    counted stations: where flies are evenly spread, none stands out. Where nothing was caught no station is at the top.
    A week in which the owner counted nothing is passed over, since nobody knows; a station that is missing in a counted
    week ends its row of weeks. Missing is never zero: a station without a count is neither ranked nor in the total.
    """
    n_stations, n_weeks = station_weeks.rate.shape
    refuse_unlike(owner, (n_stations,), "owner")
    refuse_outside(owner, n_owners, "owner")
    refuse_outside(np.array([week]), n_weeks, "week")
    add = OwnerSums(owner, (n_owners, n_weeks))
    rate = station_weeks.rate
    at_top = _at_top(rate, add)
    total = add(np.nan_to_num(rate))[owner, week]
    share = np.where(total > 0, rate[:, week] / np.where(total > 0, total, 1.0), np.nan)
    holds_most = _hold_most(share, owner, n_owners)
    weeks_at_top = _weeks_in_a_row(at_top, (add(~np.isnan(rate)) > 0)[owner], week)
    return HotStations(
        share=share,
        holds_most=holds_most,
        at_top=at_top[:, week],
        weeks_at_top=weeks_at_top,
        top=_first_of(weeks_at_top, owner, n_owners),
        share_held=np.bincount(owner, np.where(holds_most, np.nan_to_num(share), 0.0), n_owners).astype(np.float64),
        at_least=add(station_weeks.at_least)[:, week] > 0,
        owner=owner,
    )


def question_on_the_spot(windy: Bools, near: Words) -> Words:
    """Turn the record of a station's siting into the question to check before its count is believed.

    Parameters
    ----------
    windy : (n,) bool -- in wind or draught.
    near : (n,) str -- "nothing", "milk", "feed" or "water": what close by draws flies.

    Returns
    -------
    (n,) str -- "may_only_rest_here" (something draws flies: a high count need not mean that they hatch close by),
    "may_be_avoided" (wind: a low count need not mean few flies), "look_here_first" (nothing speaks against the count).
    What draws flies comes before wind, since it is a high count that is asked about.

    References
    ----------
    Common practice; a high card can mean breeding close by or only a place flies like, a low one few flies or a place
    they avoid.

    Examples
    --------
    >>> question_on_the_spot(np.array([True, True, False]), np.array(["nothing", "milk", "nothing"])).tolist()
    ['may_be_avoided', 'may_only_rest_here', 'look_here_first']
    """
    refuse_unlike(near, windy.shape, "near")
    draws = np.isin(near, DRAWS)
    refuse(~draws & (near != NOTHING_NEAR), "near", 'must be "nothing", "milk", "feed" or "water"')
    return np.where(draws, MAY_ONLY_REST_HERE, np.where(windy, MAY_BE_AVOIDED, LOOK_HERE_FIRST))


def _at_top(rate: Floats, add: OwnerSums) -> Bools:
    """Mark the stations at their owner's highest rate, where that is above zero."""
    known, highest = np.nan_to_num(rate), np.zeros(add.shape)
    order = np.argsort(add.owner, kind="stable")
    owners, first = np.unique(add.owner[order], return_index=True)
    if owners.size:
        highest[owners] = np.maximum.reduceat(known[order], first, axis=0)
    best = highest[add.owner]
    return np.asarray((best > 0) & (known >= best * (1 - SAME)), np.bool_)


def _hold_most(share: Floats, owner: Ints, n_owners: int) -> Bools:
    """Mark the fewest stations that hold more than half, with those equal to the last, if they are fewer than half."""
    known = np.flatnonzero(~np.isnan(share))
    order = known[np.lexsort((-share[known], owner[known]))]
    mine, sorted_share = owner[order], share[order]
    number = np.bincount(mine, minlength=n_owners)
    first = np.cumsum(number) - number
    running = np.cumsum(sorted_share)
    before = running - sorted_share - np.append(0.0, running)[first[mine]]
    # The last one needed: what stands before it holds no more than half.
    needed = before <= HALF + SAME
    smallest = np.full(n_owners, np.inf)
    np.minimum.at(smallest, mine[needed], sorted_share[needed])
    marked = sorted_share >= smallest[mine] - SAME
    stands_out = 2 * np.bincount(mine[marked], minlength=n_owners) < number
    holds = np.zeros(len(share), np.bool_)
    holds[order] = marked & stands_out[mine]
    return holds


def _weeks_in_a_row(at_top: Bools, counted: Bools, week: int) -> Ints:
    """Count back from a week while a station is at the top, passing over weeks in which its owner counted nothing."""
    still = at_top[:, week].copy()
    weeks = np.zeros(len(at_top), np.int64)
    for past in range(week, -1, -1):
        still &= at_top[:, past] | ~counted[:, past]
        weeks += still & counted[:, past]
    return weeks


def _first_of(weeks_at_top: Ints, owner: Ints, n_owners: int) -> Ints:
    """Give each owner's station with the longest row of weeks at the top, the first in a tie, -1 where none is."""
    order = np.lexsort((-weeks_at_top, owner))
    order = order[weeks_at_top[order] > 0]
    top = np.full(n_owners, -1, np.int64)
    # Written from the back, so the first of each owner stays.
    top[owner[order][::-1]] = order[::-1]
    return top

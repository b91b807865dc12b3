"""Is this week unlike the farm's own past? A chart for one farm and method, or for many at once."""

from dataclasses import dataclass

import numpy as np

from monitoring.analysis.run_length import limit_for, long_run_spread
from monitoring.analysis.shapes import Bools, Floats, Ints, Words, refuse, refuse_unlike
from monitoring.analysis.week_scores import WeekScores

# With 0.4 a farm that doubles every two weeks leaves the limits soonest at this run length (tried from 0.2 to 1), and
# one odd week alone counts for little.
WEIGHT, RUN_LENGTH = 0.4, 50.0
ABOVE, BELOW, WITHIN = "above", "below", "within"
BY_SEASON, BY_WEEKS = "season", "weeks"


@dataclass(frozen=True)
class OwnPast:
    """Each farm's smoothed weeks between the limits of its own past; arrays are (n_farms, n_weeks), see `own_past`.

    `smoothed`, `low`, `high` and `expected` are logs of the mean in the method's unit, NaN where `reason` is not "".
    `word` is "above", "below" or "within", "" where there is a reason. `weeks_outside` counts the weeks in a row, up to
    this one, on the same side; weeks without a count are passed over. `basis` says what was expected by: "season" or
    "weeks", "" where there is a reason. A farm that stays level first leaves the limits after `run_length` weeks on
    average.
    """

    smoothed: Floats
    low: Floats
    high: Floats
    expected: Floats
    word: Words
    weeks_outside: Ints
    basis: Words
    reason: Words
    run_length: float = RUN_LENGTH


def own_past(scores: WeekScores, n_weeks: int) -> OwnPast:
    """Smooth each farm's weeks and say which of them lie outside the limits of its own past.

    Parameters
    ----------
    scores : WeekScores -- (n_farms x n_weeks,), farm by farm and in order of weeks.
    n_weeks : int -- weeks a farm.

    Returns
    -------
    OwnPast

    Notes
    -----
    An exponentially weighted average of the scores, weight 0.4. A CUSUM of counts was the other choice: the average was
    taken because its line can be drawn in the farm's own unit, and because scores take the station, part of a card and
    overdispersion in already. The limits stand at 2.229 standard deviations of the average, so that a level farm first
    leaves them after 50 weeks on average (`run_length`). Because a score holds each week against no more than what was
    known before it, a short past makes limits wider and does not make signals more frequent: of simulated level farms
    41 to 61 weeks with the network's scatter, and by the season's level 42 to 64. Without a network the printed
    correlation of weeks gives 34 weeks (weather that lasts) to 118 (weather that does not). A farm that doubles every
    two weeks is outside within three weeks in 41 to 79 of a hundred, within four in 73 to 98.

    A gap stays a gap: a week without a count has no point, and the next one goes on from the last. Where the past is
    too short the line starts anew. After a lasting change the weeks since then become the past, and the line comes
    back within the limits: that says that the farm is like its last weeks, not that it is well.

    References
    ----------
    Roberts 1959, Control chart tests based on geometric moving averages, Technometrics 1:239-250 (from memory).
    NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.4.

    Examples
    --------
    >>> from monitoring.analysis.week_scores import score_newest, windows_from
    >>> counts = np.array([[[40.0, 44, 37, 41, 38, 45, 40, 60, 90, 130]] * 9])
    >>> windows = windows_from(counts, np.full(counts.shape, 7.0), np.arange(10) * 7.0, 1.5)
    >>> own_past(score_newest(windows), 10).word[0, 6:].tolist()
    ['within', 'within', 'above', 'above']
    """
    refuse(np.array([n_weeks < 1 or len(scores.score) % max(n_weeks, 1) != 0]), "n_weeks", "must divide the scores")
    shape = (-1, n_weeks)
    reason, expected = scores.reason.reshape(shape), scores.expected.reshape(shape)
    anew = np.asarray((reason != "") & (reason != "not_counted"), np.bool_)
    line = smoothed(scores.score.reshape(shape), WEIGHT, 0.0, anew=anew)
    limit = limit_for(WEIGHT, RUN_LENGTH) * long_run_spread(WEIGHT)
    spread, told = scores.spread.reshape(shape), ~np.isnan(line)
    side = np.where(told, np.sign(line) * (np.abs(np.where(told, line, 0.0)) > limit), 0.0)
    word = np.select([~told, side > 0, side < 0], ["", ABOVE, BELOW], default=WITHIN)
    basis = np.where(scores.by_season.reshape(shape), BY_SEASON, BY_WEEKS)
    return OwnPast(
        smoothed=expected + spread * line,
        low=expected - spread * limit,
        high=expected + spread * limit,
        expected=expected,
        word=word,
        weeks_outside=_in_a_row(side, told),
        basis=np.where(told, basis, ""),
        reason=reason,
    )


def smoothed(values: Floats, weight: float, start: float, *, anew: Bools | None = None) -> Floats:
    """Give the exponentially weighted average of each row: z = (1 - weight) z + weight x.

    Parameters
    ----------
    values : (n, n_weeks) float -- NaN = missing: no average there, and the next goes on from the last.
    weight : float -- above 0, at most 1.
    start : float -- the average before the first value.
    anew : (n, n_weeks) bool -- missing weeks after which the average begins at `start` again; None = none.

    Returns
    -------
    (n, n_weeks) float

    Examples
    --------
    >>> smoothed(np.array([[52.0, np.nan, 47.0]]), 0.3, 50.0)
    array([[50.6 ,   nan, 49.52]])
    """
    if not 0 < weight <= 1:
        raise ValueError("weight must be above 0 and at most 1.")
    begin = np.zeros(values.shape, np.bool_) if anew is None else anew
    refuse_unlike(begin, values.shape, "anew")
    last, found = np.full(len(values), float(start)), np.full(values.shape, np.nan)
    for week in range(values.shape[1]):
        counted = ~np.isnan(values[:, week])
        last = np.where(counted, (1 - weight) * last + weight * np.where(counted, values[:, week], 0.0), last)
        last = np.where(begin[:, week] & ~counted, start, last)
        found[:, week] = np.where(counted, last, np.nan)
    return found


def _in_a_row(side: Floats, told: Bools) -> Ints:
    """Count the weeks in a row on the same side, up to each, passing over weeks that are not told."""
    weeks = np.zeros(side.shape, np.int64)
    run, last = np.zeros(len(side), np.int64), np.zeros(len(side))
    for week in range(side.shape[1]):
        now = side[:, week]
        longer = np.where(now == 0, 0, np.where(now == last, run + 1, 1))
        run, last = np.where(told[:, week], longer, run), np.where(told[:, week], now, last)
        weeks[:, week] = np.where(told[:, week], run, 0)
    return weeks

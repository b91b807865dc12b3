"""Charts of what was seen, as SVG text: the same picture in a page, on paper and (through to_mail_png) in a mail.

Pure functions on frozen values; nothing here knows Django, a clock or a database, and nothing here judges: a week's
word (below, near, over) comes with the data.
"""

from monitoring.charts.mail_png import to_mail_png
from monitoring.charts.marks import level_mark
from monitoring.charts.own_past import own_past_chart
from monitoring.charts.palette import DARK, LIGHT, Palette
from monitoring.charts.png import to_png
from monitoring.charts.season import season_chart
from monitoring.charts.series import ChartWords, Level, SeasonSeries, WeekAhead, WorkMark
from monitoring.charts.station import StationAxis, station_chart
from monitoring.charts.warmth import WarmthSeries, WarmthWords, warmth_chart
from monitoring.charts.weeks import weeks_line

__all__ = [
    "DARK",
    "LIGHT",
    "ChartWords",
    "Level",
    "Palette",
    "SeasonSeries",
    "StationAxis",
    "WarmthSeries",
    "WarmthWords",
    "WeekAhead",
    "WorkMark",
    "level_mark",
    "own_past_chart",
    "season_chart",
    "station_chart",
    "to_mail_png",
    "to_png",
    "warmth_chart",
    "weeks_line",
]

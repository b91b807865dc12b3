"""What is read of levels, results and alerts. Ids given by somebody come through `farms.access` first."""

from alerts.selectors.alerts import alert_history, alerts_of, open_alerts
from alerts.selectors.levels import levels_of, levels_of_farms, levels_of_group, own_levels_of, set_levels_of_group
from alerts.selectors.monday import MondayRow, by_verdict, monday_rows
from alerts.selectors.results import assessments_of, newest_week, run_of, week_result

__all__ = [
    "MondayRow",
    "alert_history",
    "alerts_of",
    "assessments_of",
    "by_verdict",
    "levels_of",
    "levels_of_farms",
    "levels_of_group",
    "monday_rows",
    "newest_week",
    "open_alerts",
    "own_levels_of",
    "run_of",
    "set_levels_of_group",
    "week_result",
]

"""What is read of levels, results and alerts. Ids given by somebody come through `farms.access` first."""

from alerts.selectors.alerts import alert_history, open_alerts
from alerts.selectors.levels import levels_of, levels_of_farms, levels_of_group
from alerts.selectors.results import assessments_of, newest_week, run_of, week_result

__all__ = [
    "alert_history",
    "assessments_of",
    "levels_of",
    "levels_of_farms",
    "levels_of_group",
    "newest_week",
    "open_alerts",
    "run_of",
    "week_result",
]

"""What is read of levels, results and alerts. Ids given by somebody come through `farms.access` first."""

from alerts.selectors.alerts import (
    alert_history,
    alerts_last_changed,
    alerts_of,
    histories_of,
    not_counted_since,
    notes_of,
    open_alerts,
    open_alerts_of_farms,
    with_state,
    works_linked_to,
)
from alerts.selectors.call_notes import call_notes_of, last_notes_of_farms, steps_of_farms
from alerts.selectors.levels import levels_of, levels_of_farms, levels_of_group, own_levels_of, set_levels_of_group
from alerts.selectors.mail_days import mail_day_of, mail_days_chosen
from alerts.selectors.monday import MondayRow, by_verdict, in_parts
from alerts.selectors.monday_rows import monday_rows
from alerts.selectors.results import assessments_of, assessments_of_farms, newest_week, run_of, week_result
from alerts.selectors.rounds import RoundDue, rounds_due
from alerts.selectors.rules import rules_of_group, set_rules_of_group
from alerts.selectors.told import told_of_farms, told_rows_of
from alerts.selectors.webhooks import webhooks_of

__all__ = [
    "MondayRow",
    "RoundDue",
    "alert_history",
    "alerts_last_changed",
    "alerts_of",
    "assessments_of",
    "assessments_of_farms",
    "by_verdict",
    "call_notes_of",
    "histories_of",
    "in_parts",
    "last_notes_of_farms",
    "levels_of",
    "levels_of_farms",
    "levels_of_group",
    "mail_day_of",
    "mail_days_chosen",
    "monday_rows",
    "newest_week",
    "not_counted_since",
    "notes_of",
    "open_alerts",
    "open_alerts_of_farms",
    "own_levels_of",
    "rounds_due",
    "rules_of_group",
    "run_of",
    "set_levels_of_group",
    "set_rules_of_group",
    "steps_of_farms",
    "told_of_farms",
    "told_rows_of",
    "webhooks_of",
    "week_result",
    "with_state",
    "works_linked_to",
]

"""Recording many readings at once, from a file or a program: checked by column, stored in one go or part by part."""

from monitoring.services.table.outcome import OUTCOMES, ImportResult
from monitoring.services.table.record import ImportPlan, judged_table, record_part, record_table

__all__ = ["OUTCOMES", "ImportPlan", "ImportResult", "judged_table", "record_part", "record_table"]

"""Recording many readings at once, from a file or a program: checked by column, stored in one go or not at all."""

from monitoring.services.table.record import ImportPlan, ImportResult, record_table

__all__ = ["ImportPlan", "ImportResult", "record_table"]

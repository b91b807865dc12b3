"""Files of readings, as spreadsheets write them: see docs/readings-file.md for what a file may look like."""

from monitoring.csv_import.read import read_csv

__all__ = ["read_csv"]

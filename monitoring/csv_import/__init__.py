"""Files of readings and of temperatures, as spreadsheets write them; docs/readings-file.md tells of the former."""

from monitoring.csv_import.read import read_csv
from monitoring.csv_import.temperatures import read_temperatures

__all__ = ["read_csv", "read_temperatures"]

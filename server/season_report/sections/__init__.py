"""The sections of a season report, a module a noun; server/season_report/outlines.py says their order."""

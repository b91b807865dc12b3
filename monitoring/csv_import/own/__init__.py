"""A table of a farm's own, whatever its columns are called: read as text, understood by what somebody chose."""

from monitoring.csv_import.own.choices import LEAVE_OUT, REFUSE, Choices, Layout, Meaning, understood_before
from monitoring.csv_import.own.grid import Grid, grids_of
from monitoring.csv_import.own.guess import guessed, names_of
from monitoring.csv_import.own.take import NewBuilding, NewGround, NewPlace, make_places, new_places, take_own
from monitoring.csv_import.own.understand import Understood, understand, usual_word

__all__ = [
    "LEAVE_OUT",
    "REFUSE",
    "Choices",
    "Grid",
    "Layout",
    "Meaning",
    "NewBuilding",
    "NewGround",
    "NewPlace",
    "Understood",
    "grids_of",
    "guessed",
    "make_places",
    "names_of",
    "new_places",
    "take_own",
    "understand",
    "understood_before",
    "usual_word",
]

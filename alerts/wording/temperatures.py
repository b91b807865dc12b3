"""Temperatures and degree-days in the reader's own degrees. Stored and reckoned they are Celsius, always."""

from django.utils.formats import number_format
from django.utils.translation import gettext as _

from farms.showing import FAHRENHEIT, shown

PER_DEGREE, ZERO = 1.8, 32.0


def in_fahrenheit() -> bool:
    return shown().degrees == FAHRENHEIT


def unit_of_degrees() -> str:
    """°C; °F."""
    return "°F" if in_fahrenheit() else "°C"


def in_degrees(celsius: float) -> float:
    """A temperature as a number in the reader's degrees."""
    return celsius * PER_DEGREE + ZERO if in_fahrenheit() else celsius


def in_degree_days(celsius_days: float) -> float:
    """A sum of degree-days as a number in the reader's degrees: without the 32 of temperatures."""
    return celsius_days * PER_DEGREE if in_fahrenheit() else celsius_days


def degrees(celsius: float, decimals: int = 0) -> str:
    """15 °C; 59 °F."""
    return f"{figure(celsius, decimals)} {unit_of_degrees()}"


def figure(celsius: float, decimals: int = 0) -> str:
    """The same without its unit. Rounded here: number_format() cuts off."""
    # Adding zero turns -0.0 into 0.0.
    return number_format(round(in_degrees(celsius), decimals) + 0.0, decimals)


def degree_days(celsius_days: float) -> str:
    """210 degree-days (°C); 378 degree-days (°F)."""
    number = number_format(round(in_degree_days(celsius_days)), 0, force_grouping=True)
    return _("{number} degree-days ({unit})").format(number=number, unit=unit_of_degrees())

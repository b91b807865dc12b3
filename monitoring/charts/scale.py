"""Axes: where a week and a value lie on the picture."""

import math
from dataclasses import dataclass

_STEPS = (1.0, 2.0, 2.5, 5.0, 10.0)
_WANTED_TICKS = 4


@dataclass(frozen=True)
class ValueAxis:
    """From zero at `bottom` up to `top_value` at `top` [picture units, y downwards]."""

    top_value: float
    step: float
    top: float
    bottom: float

    def y(self, value: float) -> float:
        """The height of a value; values beyond the axis lie on its upper end."""
        share = min(value / self.top_value, 1.0)
        return self.bottom - share * (self.bottom - self.top)

    def ticks(self) -> tuple[float, ...]:
        return tuple(self.step * index for index in range(round(self.top_value / self.step) + 1))


@dataclass(frozen=True)
class WeekAxis:
    """Equal slots from `left` to `right`, one a week; a short season keeps room on the right to grow into.

    `ahead` weeks have their slots after the last one.
    """

    n_weeks: int
    left: float
    right: float
    least_slots: int = 6
    ahead: int = 0

    @property
    def slot(self) -> float:
        return (self.right - self.left) / max(self.n_weeks + self.ahead, self.least_slots)

    def x(self, index: float) -> float:
        """The middle of a week's slot."""
        return self.left + (index + 0.5) * self.slot

    def edge(self, index: float) -> float:
        """Where a week's slot begins."""
        return self.left + index * self.slot

    def labelled(self, label_width: float) -> tuple[int, ...]:
        """The weeks whose labels fit beside each other, counted back from the last, which always has one."""
        every = max(1, math.ceil(label_width / self.slot))
        every = next((step for step in (1, 2, 4, 6, 8, 13, 26) if step >= every), every)
        return tuple(range(self.n_weeks - 1, -1, -every))[::-1]


def value_axis(highest: float, *, top: float, bottom: float) -> ValueAxis:
    """An axis from zero that holds `highest`, with four or five round ticks."""
    highest = highest if highest > 0 else 1.0
    rough = highest / _WANTED_TICKS
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(factor for factor in _STEPS if factor * power >= rough * 0.999) * power
    return ValueAxis(top_value=math.ceil(highest / step * 0.999) * step, step=step, top=top, bottom=bottom)

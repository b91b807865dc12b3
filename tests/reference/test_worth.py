"""The economic injury level against a published example."""

import pytest

from monitoring.analysis.worth import economic_injury_level


def test_a_worked_economic_injury_level():
    """P: North Carolina State University, General Entomology, Economics of Pest Control: 20 x 800 / (500 x 0.10).

    Their N insects that do the injury make I = 1/N; D is the share lost, and all of it is prevented.
    """
    assert economic_injury_level(cost=20, value=500, injury=1 / 800, damage=0.10) == pytest.approx(320)

"""Every test of the scientific core runs with floating-point surprises as errors."""

from collections.abc import Iterator

import numpy as np
import pytest


@pytest.fixture(autouse=True)
def no_floating_surprise() -> Iterator[None]:
    """Raise where NumPy would overflow, underflow, divide by zero or make a NaN."""
    with np.errstate(all="raise"):
        yield

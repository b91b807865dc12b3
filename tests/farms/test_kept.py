"""What is made once of the same values."""

import gc
import weakref

import numpy as np
import pytest

from farms.kept import content_of, forget, kept


class Drawing:
    """Something that a maker holds, such as a request."""


def test_the_same_is_made_once_and_another_anew():
    made: list[str] = []
    for name in ("north", "south", "north"):
        assert kept(("test", name), lambda name=name: made.append(name) or f"{name}!") == f"{name}!"
    assert made == ["north", "south"]
    forget()
    assert kept(("test", "north"), lambda: "anew") == "anew"


def test_what_fails_is_not_kept():
    with pytest.raises(ZeroDivisionError):
        kept(("test", "fails"), lambda: 1 / 0)
    assert kept(("test", "fails"), lambda: 1) == 1


def test_the_maker_is_let_go():
    drawing = Drawing()
    there = weakref.ref(drawing)
    kept(("test", "held"), lambda held=drawing: str(held))
    del drawing
    gc.collect()
    assert there() is None


def test_arrays_are_the_same_by_shape_type_and_values():
    two = np.array([[1.0, np.nan], [3.0, 4.0]])
    assert content_of(two, None) == content_of(two.copy(order="F"), None)
    others = [two.T, two.ravel(), two.astype(np.float32), np.array([[1.0, np.nan], [3.0, 4.5]])]
    assert all(content_of(other) != content_of(two) for other in others)

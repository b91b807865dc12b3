"""Taylor's power law: fitted or published, and what follows from it."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from monitoring.analysis.taylor import k_by_taylor, precision_by_taylor, taylor_laws, variance_by_taylor

NONE = float("nan")
LAWS = {"a": st.floats(0.05, 20), "b": st.floats(0.5, 3)}


def farm_weeks(number=40, *, a=1.5, b=1.6, noise=0.6, seed=20260601):
    """Invented means and variances about a law."""
    rng = np.random.default_rng(seed)
    mean = np.exp(rng.uniform(np.log(5), np.log(300), number))
    return mean, a * mean**b * np.exp(noise * rng.standard_normal(number))


def law(mean, variance, method="card"):
    return taylor_laws(mean, variance, np.zeros(len(mean), int), [method])


def test_from_fifteen_farm_weeks_on_the_law_is_the_groups_own():
    found = law(*farm_weeks(15))
    assert (found.source[0], found.reason[0], found.farm_weeks[0]) == ("own", "", 15)
    assert found.b[0] == pytest.approx(1.6, abs=4 * found.b_error[0])
    assert np.log(found.a[0]) == pytest.approx(np.log(1.5), abs=4 * found.log_a_error[0])


@pytest.mark.parametrize(
    ("method", "source", "a", "b"),
    [("card", "published", 0.27, 2), ("trap", "published", 0.1575, 2), ("leg", "none", NONE, NONE)],
)
def test_below_fifteen_it_is_the_published_one_where_there_is_one(method, source, a, b):
    found = law(*farm_weeks(14), method)
    assert (found.source[0], found.reason[0], found.farm_weeks[0]) == (source, "too_few_farm_weeks", 14)
    np.testing.assert_allclose([found.a[0], found.b[0]], [a, b])
    np.testing.assert_allclose(found.mean_a[0], a)
    assert np.isnan([found.b_error[0], found.log_a_error[0], found.residual[0]]).all()


def test_farm_weeks_of_one_mean_are_no_line():
    found = law(np.full(20, 7.0), np.linspace(1, 9, 20), "trap")
    assert (found.source[0], found.reason[0], found.a[0]) == ("published", "means_alike", 0.1575)


def test_zero_and_missing_have_no_logarithm_and_are_left_out():
    mean, variance = farm_weeks(20)
    one = law(mean, variance)
    more = law([0.0, 5.0, NONE, 5.0, *mean], [0.0, 0.0, 3.0, NONE, *variance])
    assert more.farm_weeks[0] == 20
    np.testing.assert_allclose([more.a[0], more.b[0]], [one.a[0], one.b[0]])


def test_each_group_and_method_has_its_own_line():
    one, other = farm_weeks(30), farm_weeks(40, a=0.5, b=2, seed=1)
    both = [np.concatenate(pair) for pair in zip(one, other, strict=True)]
    found = taylor_laws(*both, np.repeat([2, 0], [30, 40]), ["card", "leg", "trap"])
    assert found.source.tolist() == ["own", "none", "own"]
    np.testing.assert_allclose([found.b[2], found.b[0]], [law(*one).b[0], law(*other).b[0]])


def test_on_the_line_nothing_scatters():
    found = law(*farm_weeks(noise=0.0))
    np.testing.assert_allclose([found.a[0], found.b[0], found.smearing[0]], [1.5, 1.6, 1])
    assert found.residual[0] == pytest.approx(0, abs=1e-12)


@given(st.floats(0.01, 100))
def test_counting_in_another_unit_keeps_b(times):
    """Means times c and variances times c squared: b stays, a becomes a c^(2 - b)."""
    mean, variance = farm_weeks()
    one, other = law(mean, variance), law(mean * times, variance * times**2)
    assert other.b[0] == pytest.approx(one.b[0])
    assert other.a[0] == pytest.approx(one.a[0] * times ** (2 - one.b[0]))
    assert other.residual[0] == pytest.approx(one.residual[0])


@given(st.randoms())
def test_the_order_of_farm_weeks_changes_nothing(random):
    mean, variance = farm_weeks()
    order = list(range(len(mean)))
    random.shuffle(order)
    assert law(mean[order], variance[order]).b[0] == pytest.approx(law(mean, variance).b[0])


@given(st.floats(0.1, 1000), st.floats(0.2, 50))
def test_the_variance_of_a_negative_binomial_gives_its_k_again(mean, k):
    # m + m^2/k at this m, as a law with b = 2
    assert k_by_taylor(mean, 1 / mean + 1 / k, 2.0) == pytest.approx(k, rel=1e-6)


@given(mean=st.floats(0.01, 1e4), **LAWS)
def test_k_and_variance_say_the_same(mean, a, b):
    variance, k = variance_by_taylor(mean, a, b), k_by_taylor(mean, a, b)
    if variance > mean * (1 + 1e-9):
        assert mean + mean**2 / k == pytest.approx(float(variance), rel=1e-6)
    elif variance < mean:
        assert k == np.inf


def test_a_variance_no_more_than_the_mean_is_chance():
    np.testing.assert_array_equal(k_by_taylor([1.0, 50.0, 50.0], [1.0, 1.0, 0.5], 1.0), np.inf)


@given(mean=st.floats(0.01, 1e4), devices=st.integers(1, 100), **LAWS)
def test_four_times_the_devices_are_twice_as_precise(mean, devices, a, b):
    one, four = (precision_by_taylor(mean, n, a, b) for n in (devices, 4 * devices))
    assert four == pytest.approx(one / 2)


def test_what_is_missing_stays_missing_and_zero_has_no_k():
    np.testing.assert_array_equal(variance_by_taylor([NONE, 0.0, 1.0], [1.0, 2.0, NONE], 2.0), [NONE, 0, NONE])
    assert np.isnan(k_by_taylor([NONE, 0.0, 1.0, 1.0], [3.0, 3.0, NONE, 3.0], [2.0, 2.0, 2.0, NONE])).all()
    assert np.isnan(precision_by_taylor([NONE, 0.0, 1.0], 5, [3.0, 3.0, NONE], 2.0)).all()


def test_the_ends_of_the_ranges_bring_no_surprise():
    for mean in (1e-300, 1e-9, 1e9):
        for b in (-10.0, 10.0):
            assert np.isfinite(variance_by_taylor(mean, 1e-9, b)) and k_by_taylor(mean, 1e9, b) >= 0
            assert precision_by_taylor(mean, 1, 1e9, b) >= 0
    ends = law([1e-300, 1e9] * 10, [1e18, 1e-300] * 10)
    assert ends.source[0] == "own" and np.isfinite([ends.a[0], ends.b[0], ends.residual[0]]).all()


def below_the_truth(rng, devices, *, k=1.5, number=20_000, mean=40.0):
    """By how many per cent a m^b and mean_a m^b are below m + m^2/k, fitted to simulated farm-weeks."""
    means = np.exp(rng.uniform(np.log(5), np.log(300), (number, 1)))
    counts = rng.poisson(rng.gamma(k, means / k, (number, devices)))
    found = law(counts.mean(axis=1), counts.var(axis=1, ddof=1))
    true = mean + mean**2 / k
    return [100 * float(1 - variance_by_taylor(mean, a, found.b)[0] / true) for a in (found.a, found.mean_a)]


def test_with_few_devices_the_usual_variance_is_too_low_and_the_mean_one_nearly_right(capsys):
    rng = np.random.default_rng(20260601)
    with np.errstate(under="ignore"):
        found = {devices: below_the_truth(rng, devices) for devices in (5, 9, 20)}
    with capsys.disabled():
        for devices, (usual, mean) in found.items():
            print(
                f"\nTaylor, {devices} devices, k 1.5: a m^b {usual:.0f} % below the variance, mean_a m^b {mean:.0f} %"
            )
    assert all(0 < mean < usual for usual, mean in found.values())
    assert found[5][0] < 33 and found[5][1] < 13 and found[20][1] < 3


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"mean": [-1.0]}, "mean must lie"), ({"mean": [np.inf]}, "mean must lie"),
        ({"variance": [-1.0]}, "variance must lie"), ({"variance": [1.0, 2.0]}, "variance must have the shape"),
        ({"group": [1]}, "group must lie"), ({"group": [0, 0]}, "group must have the shape"),
    ],
)  # fmt: skip
def test_bad_farm_weeks_are_refused_by_name(change, words):
    with pytest.raises(ValueError, match=f"^{words}"):
        taylor_laws(**({"mean": [1.0], "variance": [1.0], "group": [0], "method": ["card"]} | change))


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"mean": -1.0}, "mean must lie"), ({"a": 0.0}, "a must be"), ({"a": np.inf}, "a must be"),
        ({"b": 11.0}, "b must lie"), ({"devices": 0}, "devices must be"), ({"devices": NONE}, "devices must be"),
    ],
)  # fmt: skip
def test_a_bad_law_is_refused_by_name(change, words):
    with pytest.raises(ValueError, match=f"^{words}"):
        precision_by_taylor(**({"mean": 1.0, "devices": 5, "a": 1.0, "b": 2.0} | change))

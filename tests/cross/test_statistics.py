"""Statistics of few values. References: scipy.stats (Student's distribution), numpy (quantiles), and the random-effects
moments of DerSimonian and Laird written out."""

import pytest
from conftest import library, written

Z = 1.959963984540054


def test_students_interval():
    stats = library("scipy.stats")
    for degrees, half_width in written("statistics")["student"]:
        assert half_width == pytest.approx(stats.t.ppf(0.975, degrees), rel=2e-3), degrees


def test_quantiles():
    numpy = library("numpy")
    values = written("statistics")
    for share, found in values["quantiles"]:
        assert found == pytest.approx(numpy.quantile(values["values"], share), abs=1e-12)


def test_random_effects():
    numpy, stats = library("numpy"), library("scipy.stats")
    for case in written("statistics")["pooled"]:
        value, ci95 = numpy.array(case["values"]).T
        variance = (ci95 / Z) ** 2
        weight = 1 / variance
        mean = numpy.average(value, weights=weight)
        q = (weight * (value - mean) ** 2).sum()
        tau2 = max(0, (q - (len(value) - 1)) / (weight.sum() - (weight**2).sum() / weight.sum()))
        # Errors alone stay below the quantile of their χ² distribution.
        least = (stats.chi2.ppf(0.95, len(value) - 1) - (len(value) - 1)) / (weight.sum() - (weight**2).sum() / weight.sum())
        assert case["least_shown"] == pytest.approx(least**0.5, rel=0.03)
        weight = 1 / (variance + tau2)
        assert case["mean"] == pytest.approx(numpy.average(value, weights=weight), abs=1e-6)
        assert case["spread"] == pytest.approx(tau2**0.5, abs=1e-6)
        half_width = stats.t.ppf(0.975, len(value) - 1) / weight.sum() ** 0.5
        assert case["ci95"] == pytest.approx(half_width, rel=3e-3)

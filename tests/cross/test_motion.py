"""Shifts of pictures and correlation at every lag. References: scikit-image (registration.phase_cross_correlation) and
scipy (signal.correlate) on the same arrays."""

import pytest
from conftest import library, written


def test_shifts():
    numpy = library("numpy")
    registration = library("skimage.registration")
    for case in written("motion")["shifts"]:
        before, after = (numpy.array(case[name]).reshape(case["height"], case["width"]) for name in ("before", "after"))
        # It says how far the second has to move to lie on the first.
        down, right = -registration.phase_cross_correlation(before, after, upsample_factor=100, normalization=None)[0]
        # Two estimators of a shift that is known: both within a twentieth of a pixel of it.
        assert (right, down) == pytest.approx((case["right"], case["down"]), abs=0.05)
        assert (case["found_right"], case["found_down"]) == pytest.approx((right, down), abs=0.08)


def test_products_at_every_lag():
    numpy = library("numpy")
    signal = library("scipy.signal")
    case = written("motion")["products"]
    expected = signal.correlate(numpy.array(case["b"]), numpy.array(case["a"]), "full")
    assert case["found"] == pytest.approx(expected, rel=1e-9, abs=1e-9)


def test_likeness():
    numpy = library("numpy")
    case = written("motion")["likeness"]
    a, b = numpy.array(case["a"]), numpy.array(case["b"])
    for lag, correlation in case["found"]:
        part = b[max(lag, 0) : lag + len(a)]
        own = a[max(-lag, 0) :][: len(part)]
        assert correlation == pytest.approx(numpy.corrcoef(own, part)[0, 1], abs=1e-9)

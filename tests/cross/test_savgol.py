"""Sliding polynomial fits. Reference: scipy.signal (savgol_coeffs, savgol_filter)."""

import pytest
from conftest import library, written


def settings(case):
    return dict(deriv=case["derivative"], delta=case["step"])


def test_coefficients():
    signal = library("scipy.signal")
    for case in written("savgol")["cases"]:
        expected = signal.savgol_coeffs(case["window"], case["order"], use="dot", **settings(case))
        assert case["coefficients"] == pytest.approx(expected, rel=1e-9, abs=1e-12)


def test_a_closed_line_is_filtered():
    signal = library("scipy.signal")
    values = written("savgol")["values"]
    for case in written("savgol")["cases"]:
        expected = signal.savgol_filter(values, case["window"], case["order"], mode="wrap", **settings(case))
        assert case["periodic"] == pytest.approx(expected, rel=1e-8, abs=1e-9)

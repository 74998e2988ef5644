"""Heading and curvature of a closed line. References: trajectory-planning-helpers (calc_head_curv_num) and scipy
(periodic cubic spline)."""

import sys
import types

import numpy as np
import pytest
from conftest import library, written


@pytest.fixture(params=[0, 1], ids=["anticlockwise", "clockwise"])
def line(request):
    case = written("closed_line")[request.param]
    points, shape = np.array(case["points_m"]), np.array(case["shape"])
    steps = np.linalg.norm(np.roll(points, -1, axis=0) - points, axis=1)
    return types.SimpleNamespace(
        points=points, steps=steps, heading=shape[:, 0], curvature=shape[:, 1], length=case["length_m"]
    )


def heading_miss(ours, reference):
    return np.abs(np.angle(np.exp(1j * (ours - reference))))


def planning_function():
    """One function of that package; its own __init__ would load a solver that it does not need."""
    name = "trajectory_planning_helpers"
    if name not in sys.modules:
        import importlib.util

        found = importlib.util.find_spec(name)
        if found is None:
            return library(name)
        shell = types.ModuleType(name)
        shell.__path__ = list(found.submodule_search_locations)
        sys.modules[name] = shell
    return library(f"{name}.calc_head_curv_num").calc_head_curv_num


def test_against_trajectory_planning_helpers(line):
    heading, curvature = planning_function()(path=line.points, el_lengths=line.steps, is_closed=True)
    # That package counts heading from north.
    assert heading_miss(line.heading, heading + np.pi / 2).max() < np.radians(0.5)
    # Both take curvature over a few metres: it is flattened by a few per cent where the bend is tightest.
    assert np.abs(line.curvature - curvature).max() < 0.04 * np.abs(curvature).max()


def test_against_a_periodic_spline(line):
    interpolate = library("scipy.interpolate")
    along = np.concatenate([[0.0], np.cumsum(line.steps)])
    spline = interpolate.CubicSpline(along, np.vstack([line.points, line.points[:1]]), bc_type="periodic")
    (dx, dy), (ddx, ddy) = spline(along[:-1], 1).T, spline(along[:-1], 2).T
    curvature = (dx * ddy - dy * ddx) / (dx * dx + dy * dy) ** 1.5
    assert heading_miss(line.heading, np.arctan2(dy, dx)).max() < np.radians(0.5)
    assert np.abs(line.curvature - curvature).max() < 0.04 * np.abs(curvature).max()


def test_one_turn_in_all(line):
    turned = np.sum(line.curvature) * line.length / len(line.points)
    assert abs(turned) == pytest.approx(2 * np.pi, abs=1e-9)
    assert line.length == pytest.approx(line.steps.sum(), abs=1e-9)

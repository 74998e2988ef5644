"""Projection to the session's plane. References: PROJ (pyproj) and GeographicLib (geographiclib)."""

import math

import pytest
from conftest import library, written


def topocentric(origin):
    pyproj = library("pyproj")
    latitude, longitude, height = origin
    return pyproj.Transformer.from_pipeline(
        "+proj=pipeline +step +proj=unitconvert +xy_in=deg +xy_out=rad +step +proj=cart +ellps=WGS84 "
        f"+step +proj=topocentric +ellps=WGS84 +lon_0={longitude} +lat_0={latitude} +h_0={height}"
    )


def test_published_topocentric_example():
    case = written("plane")["topocentric"]
    latitude, longitude, height = case["point"]
    expected = topocentric(case["origin"]).transform(longitude, latitude, height)
    assert case["enu_m"] == pytest.approx(expected, abs=1e-6)


def test_points_of_the_plane_are_topocentric():
    for case in written("plane")["points"]:
        (latitude, longitude) = case["point_deg"]
        east, north, _ = topocentric([*case["origin_deg"], 0.0]).transform(longitude, latitude, 0.0)
        assert case["plane_m"] == pytest.approx([east, north], abs=1e-6)


def test_degrees_come_back():
    for case in written("plane")["points"]:
        # A nanodegree is a tenth of a millimetre.
        assert case["back_deg"] == pytest.approx(case["point_deg"], abs=1e-10)


def test_distances_on_the_plane_are_geodesic_distances():
    geodesic = library("geographiclib.geodesic").Geodesic.WGS84
    for case in written("plane")["points"]:
        length = geodesic.Inverse(*case["origin_deg"], *case["point_deg"])["s12"]
        # A plane that touches a sphere of radius r shortens s by s^3/(6 r^2): 2 mm in 8 km.
        shorter = length**3 / (6 * 6.35e6**2)
        assert math.hypot(*case["plane_m"]) == pytest.approx(length - shorter, abs=1e-4 + 0.1 * shorter)

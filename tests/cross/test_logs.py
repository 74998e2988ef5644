"""Log readers. References: pynmea2 (sentences and checksums), gpxpy (points), geographiclib (length of the way).

A reader may leave fixes out (repeats, jumps, standstill) but never make one up or move it in place or time."""

import datetime

import pytest
from conftest import library, written

KNOT = 1852 / 3600


def micros(moment):
    """Microseconds since 1970 of a datetime; one without a zone is UTC."""
    if moment.tzinfo is None:
        moment = moment.replace(tzinfo=datetime.timezone.utc)
    return round(moment.timestamp() * 1e6)


def content(case):
    if "text" in case:
        return case["text"].encode()
    with open(case["path"], "rb") as file:
        return file.read()


class Sentences:
    """A whole file as pynmea2 sees it."""

    def __init__(self, data):
        pynmea2 = library("pynmea2")
        self.right = self.wrong = self.valid = self.void = 0
        self.way, self.fixes, self.speeds = [], {}, {}
        for part in data.split(b"$")[1:]:
            line = "$" + part.split(b"\r")[0].split(b"\n")[0].decode("latin-1")
            if "*" not in line:
                continue
            try:
                message = pynmea2.parse(line, check=True)
            except pynmea2.ChecksumError:
                self.wrong += 1
                continue
            except pynmea2.ParseError:
                # A sentence type that it does not know: the checksum was looked at before.
                message = None
            self.right += 1
            if getattr(message, "sentence_type", "") == "RMC":
                self.take(message)

    def take(self, message):
        if message.status != "A":
            self.void += 1
            return
        self.valid += 1
        at = micros(message.datetime)
        self.way.append((message.latitude, message.longitude))
        self.fixes.setdefault(at, []).append((message.latitude, message.longitude))
        if message.spd_over_grnd is not None:
            self.speeds.setdefault(at, []).append(message.spd_over_grnd * KNOT)


@pytest.mark.parametrize("case", written("nmea"), ids=lambda it: it.get("path", "text").rsplit("/", 1)[-1])
def test_nmea(case):
    reference = Sentences(content(case))
    assert (case["checksums_right"], case["checksums_wrong"]) == (reference.right, reference.wrong)
    assert (case["rmc_valid"], case["rmc_void"]) == (reference.valid, reference.void)
    assert len(case["fixes"]) > 0.9 * reference.valid
    for at, latitude, longitude in case["fixes"]:
        # GGA may have written the same place with more digits.
        near = [it for it in reference.fixes[at] if abs(it[0] - latitude) < 2e-5 and abs(it[1] - longitude) < 2e-5]
        assert near, (at, latitude, longitude, reference.fixes[at])
    for at, speed in case["speed"]:
        assert any(it == pytest.approx(speed, abs=1e-9) for it in reference.speeds[at]), at


@pytest.mark.parametrize("case", written("nmea"), ids=lambda it: it.get("path", "text").rsplit("/", 1)[-1])
def test_length_of_the_way(case):
    geodesic = library("geographiclib.geodesic").Geodesic.WGS84
    way = Sentences(content(case)).way
    length = sum(geodesic.Inverse(*a, *b)["s12"] for a, b in zip(way, way[1:]))
    assert case["rmc_length_m"] == pytest.approx(length, abs=1e-3)


@pytest.mark.parametrize("case", written("gpx"), ids=lambda it: it.get("path", "text").rsplit("/", 1)[-1])
def test_gpx(case):
    gpx = library("gpxpy").parse(content(case))
    points = {}
    for point in gpx.walk(only_points=True):
        if point.time is not None:
            points.setdefault(micros(point.time), []).append((point.latitude, point.longitude))
    assert len(case["fixes"]) > 0.9 * len(points)
    for at, latitude, longitude in case["fixes"]:
        assert (latitude, longitude) in points[at], at
    if "text" in case:
        assert len(case["fixes"]) == len(points)

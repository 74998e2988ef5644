"""Time codes of frame numbers. Reference: the PyPI package timecode (SMPTE ST 12-1)."""

from conftest import library, written


def test_codes_are_the_same():
    timecode = library("timecode")
    for case in written("timecode"):
        assert len(case["codes"]) > 400
        for frame, code in case["codes"]:
            # That package numbers frames from 1.
            assert str(timecode.Timecode(case["rate"], frames=frame + 1)) == code, (case["rate"], frame)

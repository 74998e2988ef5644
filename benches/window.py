"""How long the window lets one wait: from the start to the first frame, and the longest stall of its main loop.

Called by benches/window.rs in a session bus of its own: `window.py PROGRAM FOLDER`, with the sample in the folder. The
main loop is asked for a name over AT-SPI again and again: the longest time to an answer is no shorter than its longest
stall, for the loop answers between two things it does.
"""

import os
import statistics
import subprocess
import sys
import time

HOME = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))
sys.path.insert(0, os.path.join(HOME, "tests", "window"))

from desk import Desk, display, name_of  # noqa: E402
from review import Review  # noqa: E402

STARTS = 5
STEPS = 200
LOG_T_S_AT_ZERO = 45.1084
START_GOAL_S = 1.5
STALL_GOAL_MS = 50


def stall_ms(node, is_over):
    """The longest that the program took to answer until it was over, ms."""
    longest_s = 0.0
    while not is_over():
        asked = time.monotonic()
        name_of(node)
        longest_s = max(longest_s, time.monotonic() - asked)
    return 1000 * longest_s


def start(program, book):
    """Time from the start to the frame in the picture, s, and the longest stall on the way, ms."""
    began = time.monotonic()
    with Desk(program, book) as desk:
        stall = stall_ms(desk.tree, lambda: desk.find("label", ".* · 0:.*") is not None)
        Review(desk, LOG_T_S_AT_ZERO)
        return time.monotonic() - began, stall


def stepping(program, book):
    with Desk(program, book) as desk:
        review = Review(desk, LOG_T_S_AT_ZERO)
        target = review.frame() + STEPS
        keys = subprocess.Popen(["xdotool", "key", "--delay", "25", *["Right"] * STEPS])
        stall = stall_ms(desk.tree, lambda: review.frame() == target)
        keys.wait()
        return stall


def main():
    program, folder = sys.argv[1:]
    os.chdir(folder)
    inputs = ["--log", "driver-a.csv", "--track", "track.geojson", "--video", "driver-a.mp4"]
    new = [program, "new", "sample", *inputs, "--offset", str(LOG_T_S_AT_ZERO)]
    subprocess.run(new, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    book = os.path.join(folder, "sample.cornerbook")
    with display():
        starts = [start(program, book) for _ in range(STARTS)]
        seconds = sorted(it[0] for it in starts)
        print(
            f"start to the first frame: median {statistics.median(seconds):.2f} s, worst {seconds[-1]:.2f} s"
            f" (goal {START_GOAL_S} s; the display is looked at every 0.1 s or so)"
        )
        print(f"longest stall while a book opens: {max(it[1] for it in starts):.0f} ms (goal {STALL_GOAL_MS} ms)")
        print(f"longest stall in {STEPS} steps, 40 a second: {stepping(program, book):.0f} ms (goal {STALL_GOAL_MS} ms)")


if __name__ == "__main__":
    main()

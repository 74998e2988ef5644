"""How long the window lets one wait: from the start to the first frame, and the longest stall of its main loop.

Called by benches/window.rs in a session bus of its own: `window.py PROGRAM FOLDER`, with the sample in the folder. The
main loop is asked over AT-SPI again and again: the longest time to an answer is no shorter than its longest
stall, for the loop answers between two things it does.
"""

import os
import statistics
import subprocess
import sys
import time

HOME = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))
sys.path.insert(0, os.path.join(HOME, "tests", "window"))

from desk import Desk, display, name_of, wait  # noqa: E402
from review import Review  # noqa: E402

STARTS = 5
STEPS = 200
LOG_T_S_AT_ZERO = 45.1084
START_GOAL_S = 1.5
STALL_GOAL_MS = 50


def stall_ms(ask, is_over, after_s=0.0):
    """The longest that the program took to answer until it was over and for so long after, ms."""
    longest_s, end = 0.0, None
    while end is None or time.monotonic() < end:
        asked = time.monotonic()
        answer = ask()
        answered = time.monotonic()
        longest_s = max(longest_s, answered - asked)
        if end is None and is_over(answer):
            end = answered + after_s
    return 1000 * longest_s


def first_frame_s(program, book):
    """Time from the start to the frame in the picture, s."""
    began = time.monotonic()
    with Desk(program, book) as desk:
        Review(desk, LOG_T_S_AT_ZERO)
        return time.monotonic() - began


def opening_stall_ms(program, book):
    """From the window's appearance until all that follows on the opened book is done, ms."""
    with Desk(program, book) as desk:
        # It names the book once that is open.
        title = desk.expect("label", "cornerbook")
        return stall_ms(lambda: name_of(title), lambda words: words != "cornerbook", after_s=2.0)


def stepping_stall_ms(program, book):
    with Desk(program, book) as desk:
        review = Review(desk, LOG_T_S_AT_ZERO)
        first = name_of(review.label)
        target = review.frame() + STEPS
        keys = subprocess.Popen(["xdotool", "key", "--delay", "25", *["Right"] * STEPS])
        stall = stall_ms(lambda: name_of(review.label), lambda words: words != first and keys.poll() is not None)
        wait("the last step", lambda: review.frame() == target)
        return stall


def main():
    program, folder = sys.argv[1:]
    os.chdir(folder)
    inputs = ["--log", "driver-a.csv", "--track", "track.geojson", "--video", "driver-a.mp4"]
    new = [program, "new", "sample", *inputs, "--offset", str(LOG_T_S_AT_ZERO)]
    subprocess.run(new, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    book = os.path.join(folder, "sample.cornerbook")
    with display():
        seconds = sorted(first_frame_s(program, book) for _ in range(STARTS))
        print(
            f"start to the first frame: median {statistics.median(seconds):.2f} s, worst {seconds[-1]:.2f} s"
            f" (goal {START_GOAL_S} s; the display is looked at every 0.1 s or so)"
        )
        opening = max(opening_stall_ms(program, book) for _ in range(STARTS))
        print(f"longest stall while a book opens: {opening:.0f} ms (goal {STALL_GOAL_MS} ms)")
        stepping = stepping_stall_ms(program, book)
        print(f"longest stall in {STEPS} steps, 40 a second: {stepping:.0f} ms (goal {STALL_GOAL_MS} ms)")


if __name__ == "__main__":
    main()

"""A mark is dragged along the strip, and the picture goes along with it."""

from desk import wait, xdotool
from review import FRAME_S

# As far from a mark as still means it, and as a drag goes, px.
BESIDE_PX = 6
DRAG_PX = 60


def check_mark_drag(case):
    with case.open("sample.cornerbook") as desk:
        review = case.review(desk)
        at_mark = review.position()
        assert at_mark["phase"] == "at turn-in", at_mark
        # The strip says the same of the frame, and pages that are brought up leave the keys to it.
        desk.expect("label", f"{at_mark['distance_m']} m, {at_mark['speed']:.0f} km/h, {at_mark['corner']}")
        for page in ("Files", "Passes"):
            desk.click(desk.expect("label", page))
        review.step("Right", 1)
        x = place_of(desk, review, at_mark["distance_m"])
        y = height_of_mark(desk, review, x, at_mark)
        before = review.press("Right")

        drag = held_drag(x, y)
        dragged = wait("the picture some way on", lambda: moved_past(review, at_mark, metres=10))
        assert review.wait_for_picture() == review.frame()
        assert not case.book()["marks"], "nothing is set before it is let go"
        desk.picture("in_the_hand")
        # The key alone: `desk.key` lets go of the button first.
        xdotool("key", "Escape")
        wait("the picture where it was", lambda: review.position() == before)
        drag.let_go()
        assert not case.book()["marks"]

        table = review.table()
        drag = held_drag(x, y)
        wait("the picture there again", lambda: review.position() == dragged)
        drag.let_go()
        saved = wait("the mark in the book's file", lambda: case.book()["marks"])
        assert [it["mark"] for it in saved] == ["turn_in"], saved
        # On the frame that is seen.
        assert 0 <= saved[0]["t_s"] - dragged["t_s"] + 0.0005 < FRAME_S + 0.001, (saved, dragged)
        wait("the figures of the mark", lambda: review.table() != table)
        wait("the words for the frame", lambda: review.position()["phase"] == "at turn-in")
        assert review.position()["t_s"] == dragged["t_s"]
        desk.picture("dropped")
        desk.key("ctrl+z")
        wait("the figures as they were", lambda: review.table() == table)


def place_of(desk, review, distance_m):
    """Where on the display a distance along the lap lies, left to right, as two clicks tell."""
    left, _, width, _ = desk.box(review.strip)
    shares = (0.25, 0.75)
    # Low enough to miss the marks, which lie on the line of speed.
    told_m = [review.act("a click", lambda: desk.click(review.strip, it, 0.93))["distance_m"] for it in shares]
    share = shares[0] + (distance_m - told_m[0]) / (told_m[1] - told_m[0]) * (shares[1] - shares[0])
    return left + width * share


def height_of_mark(desk, review, x, at_mark):
    """Where on the display the mark at `x` is: a click beside it leads to the mark, one elsewhere to where it is."""
    _, top, _, height = desk.box(review.strip)
    beside = BESIDE_PX
    for down in range(26, height - 20, 8):
        beside = -beside

        def click():
            xdotool("mousemove", str(round(x + beside)), str(top + down), "click", "1")

        if review.act(f"a click {down} px down", click)["t_s"] == at_mark["t_s"]:
            return top + down
    raise AssertionError("there is no mark at the playhead")


class held_drag:
    """A drag of a mark to the right, as far as the button is still down."""

    def __init__(self, x, y):
        xdotool("mousemove", str(round(x)), str(y), "mousedown", "1")
        for part in (0.2, 0.5, 1.0):
            xdotool("mousemove", str(round(x + part * DRAG_PX)), str(y))

    def let_go(self):
        xdotool("mouseup", "1")


def moved_past(review, place, metres):
    """The position, once it lies so far behind a place and has come to rest."""
    position = review.position()
    return position if position["distance_m"] - place["distance_m"] >= metres else None

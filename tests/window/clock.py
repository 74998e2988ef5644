"""The footage's clock under a person's hand: pins, steps against the log, and what is seen to move."""

from desk import children, name_of, role_of, wait
from review import FRAME_S


def check_clock(case):
    """The sample's book has one pin, which its offset stands for."""
    with case.open("sample.cornerbook") as desk:
        review = case.review(desk)
        desk.click(desk.expect("label", "Clock"))
        desk.expect("label", r"The footage is on the log's clock by hand to ±0\.04 s\.")
        assert len(pins_listed(desk)) == len(pins(case)) == 1
        at_first = review.wait_for_picture()
        here = review.position()
        first_pin = pins(case)[0]

        # The picture moves on by a frame, and the moment of the log stays.
        desk.key("alt+period", "alt+period", "alt+comma")
        wait("the next frame", lambda: review.frame_on_show() == at_first + 1)
        moved = wait("the pin a frame earlier", lambda: [it for it in pins(case) if it != first_pin])[0]
        assert abs(first_pin["log_t_s"] - moved["log_t_s"] - FRAME_S) < 1e-6, (first_pin, moved)
        assert review.position() == here
        for _ in range(3):
            desk.key("ctrl+z")
        wait("the frame as it was", lambda: review.frame_on_show() == at_first and pins(case) == [first_pin])

        # Three frames behind the turn-in: that frame is pinned to the turn-in, and stays on show.
        turn_in_s = min(it for it in case.times_s("turn_in") if it > here["t_s"] - FRAME_S)
        review.step("Right", 3)
        desk.click(desk.expect("push button", "Pin"))
        wait("a second pin", lambda: len(pins(case)) == 2)
        pin = pins(case)[1]
        assert abs(pin["log_t_s"] - turn_in_s) < 1e-4, (pin, turn_in_s)
        wait("the moment of the turn-in", lambda: abs(review.position()["t_s"] - turn_in_s) < 0.001)
        assert review.frame_on_show() == at_first + 3
        listed = wait("both pins listed", lambda: pins_listed(desk) if len(pins_listed(desk)) == 2 else None)
        assert f"lap {here['lap']}, {here['corner']} turn-in" in listed[1], listed
        desk.picture("pinned")
        desk.click(desk.expect("push button", f"Remove the pin {listed[1]}"))
        wait("one pin", lambda: pins(case) == [first_pin])

        # Where the motion puts it: the sample's truth is known to a tenth of a frame, and the picture says how well.
        desk.click(desk.expect("push button", "Find by motion"))
        desk.expect("label", r"Without pins it is on the log's clock to ±.* s; .* later on the log\.|.* earlier on the log\.")
        desk.expect("image", "Seen and logged turning: begins at log time .*")
        desk.picture("seen")
        desk.click(desk.expect("push button", "Go by it"))
        wait("no pins", lambda: not pins(case))
        desk.expect("label", r"The footage is on the log's clock to ±.*")
        wait("a picture", lambda: review.frame_on_show() is not None)
        wait("the same frame or its neighbour", lambda: abs(review.frame_on_show() - review.frame()) <= 1)
        desk.key("ctrl+z")
        wait("the pin again", lambda: pins(case) == [first_pin])


def check_unclocked(case):
    """Footage of which nothing tells where it lies on the log is seen, pinned, and then in step: the page comes up by
    itself."""
    with case.open("unclocked.cornerbook") as desk:
        desk.expect("label", r"The footage is not on the log's clock: .* Until a frame is pinned, .*")
        desk.picture("unclocked")
        desk.click(desk.expect("push button", "Pin"))
        pin = wait("the pin in the book's file", lambda: case.book("unclocked")["pins"])[0]
        known_s = case.times_s("turn_in", "apex", "exit")
        assert min(abs(pin["log_t_s"] - it) for it in known_s) < 1e-4, pin
        desk.expect("label", r"The footage is on the log's clock by hand to ±0\.04 s\.")
        desk.expect("push button", "+1 frame".replace("+", r"\+"))
        desk.picture("pinned")


def check_footage_alone(case):
    """A film is a book by itself: its corners are seen, laps begin where a person says, and figures of speed are open."""
    with case.open("alone.cornerbook") as desk:
        label = desk.expect("label", r"Lap \d+ · T\d+, at turn-in · – km/h · .*")
        desk.click(desk.expect("label", "Clock"))
        desk.expect("label", r"There is no log: times are the footage's own\.")
        assert not desk.find("push button", "Pin"), "there is nothing to pin it to"
        desk.key("Right", "Right", "Right")
        wait("three frames on", lambda: ", entry · " in name_of(label))
        at_s = float(name_of(label).rsplit(":", 1)[1])
        desk.click(desk.expect("push button", "It is here"))
        wait("the crossing in the book's file", lambda: case.book("alone")["marked_crossing_s"])
        assert abs(case.book("alone")["marked_crossing_s"] - at_s) < 0.001
        # The lap on show begins on this frame.
        desk.expect("label", r"0:00\.0, no speed here, .*")
        desk.picture("alone")
        desk.key("ctrl+z")
        wait("no crossing", lambda: case.book("alone")["marked_crossing_s"] is None)


def pins(case):
    return case.book()["pins"]


def pins_listed(desk):
    """The pins as the page lists them, in words."""
    found = desk.expect("list", "Pins")
    return [name_of(it) for it in children(found) if role_of(it) == "list item"]

"""What a person does at the window, and what must come of it: one function per check.

Called by tests/window.rs inside a session bus of its own: `checks.py CHECK PROGRAM FOLDER PICTURES`. The folder holds the
sample's book and what the command line says of it; pictures are kept. Ends with an exception where a check fails.
"""

import json
import os
import random
import signal
import sys
import time

from gi.repository import Atspi

from clock import check_clock, check_footage_alone, check_unclocked  # noqa: F401 (called by their names)
from desk import Desk, display, has_state, name_of, role_of, wait, xdotool
from findings import check_findings  # noqa: F401 (called by its name)
from marks import check_mark_drag  # noqa: F401 (called by its name)
from reel import check_reel  # noqa: F401 (called by its name)
from review import FRAME_S, POSITION, Review, button
from unsaved import check_unsaved  # noqa: F401 (called by its name)

MARKS = ("turn_in", "apex", "exit")
# What a person can press, choose or type into.
CONTROLS = {"push button", "toggle button", "check box", "radio button", "combo box", "text", "spin button", "slider"}


class Case:
    """The files of one check."""

    def __init__(self, program, folder, pictures):
        self.program, self.folder, self.pictures = program, folder, pictures
        with open(self.path("passes.json"), encoding="utf-8") as file:
            told = json.load(file)
        self.passes, self.laps = told["passes"], told["laps"]
        with open(self.path("truth.json"), encoding="utf-8") as file:
            self.log_t_s_at_zero = json.load(file)["footage"][0]["log_t_s_at_zero"]

    def path(self, name):
        return os.path.join(self.folder, name)

    def open(self, *books):
        return Desk(self.program, *map(self.path, books), pictures=self.pictures)

    def review(self, desk):
        return Review(desk, self.log_t_s_at_zero)

    def book(self, name="sample"):
        with open(self.path(f"{name}.cornerbook"), encoding="utf-8") as file:
            return json.load(file)

    def settings(self):
        """What is kept of the settings; nothing before the first change."""
        try:
            with open(os.path.join(os.environ["XDG_CONFIG_HOME"], "cornerbook", "settings.json"), encoding="utf-8") as file:
                return json.load(file)
        except FileNotFoundError:
            return {}

    def times_s(self, *marks):
        """Log times of these marks in all passes, rising, as the command line tells them."""
        return sorted(it[mark]["t_s"] for it in self.passes for mark in marks if it[mark])


def check_start_page(case):
    with case.open() as desk:
        for name in ("New book from files…", "Open book…", "Try the sample…"):
            assert has_state(desk.expect("push button", name), Atspi.StateType.SENSITIVE), name
        assert desk.find("push button", "Start page") is None, "the start page leads to itself"
        assert_controls_are_named(desk, at_least=4)
        desk.picture("start")


def check_moving(case):
    with case.open("sample.cornerbook") as desk:
        review = case.review(desk)
        desk.picture("review")
        assert_controls_are_named(desk, at_least=8)
        assert_places_are_those_of_the_command_line(case, review)

        first = review.wait_for_picture()
        review.step("Right", 100)
        assert review.wait_for_picture() == first + 100
        review.step("Left", 100)
        assert review.wait_for_picture() == first

        jumps_follow(case, review, "shift+Right", "shift+Left", case.times_s(*MARKS))
        jumps_follow(case, review, "ctrl+Right", "ctrl+Left", case.times_s("turn_in"))
        jumps_follow(case, review, "Page_Down", "Page_Up", [it["start_t_s"] for it in case.laps], times=1)
        # The gate is crossed while this frame is on show; the next lies on the lap.
        review.step("Right", 1)
        position = review.position()
        assert position["lap"] == 1 and position["distance_m"] <= 2, position


def assert_places_are_those_of_the_command_line(case, review):
    """The review opens on the first pass that can be seen, on its turn-in."""
    opened = review.position()
    of_pass = min(
        (it for it in case.passes if it["turn_in"] and it["turn_in"]["t_s"] >= case.log_t_s_at_zero),
        key=lambda it: it["turn_in"]["t_s"],
    )
    turn_in = of_pass["turn_in"]
    # The frame on show began at most one frame before: 0.04 s at 30 m/s.
    assert 0 <= turn_in["t_s"] - opened["t_s"] + 0.0005 < FRAME_S + 0.001, opened
    assert abs(turn_in["distance_m"] - opened["distance_m"]) <= 2, opened
    assert abs(turn_in["speed_mps"] * 3.6 - opened["speed"]) <= 1.5 and opened["unit"] == "km/h", opened
    assert (opened["lap"], opened["corner"]) == (of_pass["lap"], f"T{of_pass['corner']}"), opened


def jumps_follow(case, review, forward, back, times_s, times=3):
    """Jumps forward and back meet the next times in turn; the frame on show begins at most one frame before each."""
    end_s = case.log_t_s_at_zero + 2318 * FRAME_S

    def is_on(t_s):
        return -0.001 <= t_s - review.position()["t_s"] < FRAME_S + 0.001

    for key, way in [(forward, 1)] * times + [(back, -1)] * times:
        here_s = review.position()["t_s"]
        ahead = [it for it in times_s if way * (it - here_s) > FRAME_S / 2 and it < end_s and not is_on(it)]
        wanted_s = min(ahead) if way > 0 else max(ahead)
        review.press(key)
        assert is_on(wanted_s), f"{key} from {here_s} s led to {review.position()}, not to {wanted_s} s"
        review.wait_for_picture()


def check_frames(case):
    """Wherever the strip is clicked, the frame on show is the one of that moment; then play, and pause on a frame."""
    choose = random.Random(7)
    with case.open("sample.cornerbook") as desk:
        review = case.review(desk)
        for number in range(12):
            # Low enough to miss the marks, which lie on the line of speed.
            along = choose.uniform(0.02, 0.98)
            position = review.act("a click", lambda: desk.click(review.strip, along, 0.93))
            assert position["lap"] in (1, 2), position
            if number == 5:
                review.press("Page_Down")
            review.wait_for_picture()
        review.press("Page_Up")
        from_s = review.position()["t_s"]
        desk.key("space")
        wait("a second of play", lambda: review.position()["t_s"] > from_s + 1.0)
        desk.key("space")
        desk.expect("push button", "Play")
        assert review.wait_for_picture() == review.frame()
        desk.picture("paused")


def check_marks(case):
    with case.open("sample.cornerbook") as desk:
        review = case.review(desk)
        apexes_s = case.times_s("apex")
        here_s = review.position()["t_s"]
        review.press("shift+Right")
        assert abs(review.position()["t_s"] - min(it for it in apexes_s if it > here_s)) < FRAME_S + 0.001
        review.step("Right", 12)
        before = review.table()
        assert not case.book()["marks"]
        desk.key("ctrl+2")
        wait("the pass table to follow the mark", lambda: review.table() != before)
        saved = wait("the mark in the book's file", lambda: case.book()["marks"])
        assert abs(saved[0]["t_s"] - review.position()["t_s"]) < 0.001, saved
        after = wait("the mark's figures", lambda: settled(review, lambda it: it != before))
        desk.key("ctrl+z")
        wait("the figures as they were", lambda: review.table() == before)
        wait("no mark in the book's file", lambda: not case.book()["marks"])
        desk.key("ctrl+shift+z")
        wait("the figures of the mark again", lambda: review.table() == after)
        wait("the mark in the book's file again", lambda: case.book()["marks"] == saved)
        desk.key("ctrl+0")
        wait("the marks given back", lambda: not case.book()["marks"])
        # The mark on the frame on show goes along with the keys, frame by frame.
        review.press("ctrl+Left")
        from_frame = review.frame()
        desk.key("ctrl+shift+Right", "ctrl+shift+Right", "ctrl+shift+Left", "ctrl+shift+Right")
        wait("the frame two on", lambda: review.frame() == from_frame + 2)
        wait("the mark there", lambda: is_mark_at(case, "turn_in", review.position()["t_s"]))
        desk.key("ctrl+0")
        wait("the marks given back again", lambda: not case.book()["marks"])
        wait("the program's own figures", lambda: review.table() == before)


def is_mark_at(case, kind, t_s):
    """Whether the book's file has one mark, of this kind, at a log time as the position label tells it."""
    marks = case.book()["marks"]
    return len(marks) == 1 and marks[0]["mark"] == kind and abs(marks[0]["t_s"] - t_s) < 0.001


def settled(review, is_right):
    """The table once it says the same twice in a row: its rows are filled one after the other."""
    table = review.table()
    return table if is_right(table) and review.table() == table else None


def check_tags(case):
    with case.open("sample.cornerbook") as desk:
        review = case.review(desk)
        desk.key("1")
        tags = wait("the tag in the book's file", lambda: case.book()["tags"])
        assert len(tags) == 1 and abs(tags[0]["on"]["frame"]["t_s"] - review.position()["t_s"]) < 0.001, tags
        desk.key("ctrl+z")
        wait("no tag in the book's file", lambda: not case.book()["tags"])
        # A program that is told to end saves what waits.
        desk.key("2")
        wait("a change to undo", lambda: has_state(desk.find("push button", "Undo"), Atspi.StateType.SENSITIVE))
        desk.program.send_signal(signal.SIGTERM)
        desk.program.wait(timeout=20)
        assert desk.program.returncode == 0, desk.program.returncode
        assert len(case.book()["tags"]) == 1, case.book()["tags"]
    # So does one that is closed right after the change.
    with case.open("sample.cornerbook") as desk:
        case.review(desk)
        desk.key("3", "ctrl+w")
        desk.program.wait(timeout=20)
        assert desk.program.returncode == 0, desk.program.returncode
        assert len(case.book()["tags"]) == 2, case.book()["tags"]


def check_keys_after_menus(case):
    """A menu or a message that has gone has not taken the keys along."""
    with case.open("sample.cornerbook") as desk:
        review = case.review(desk)
        desk.key("F10")
        desk.expect("menu item", "Settings.*")
        desk.key("Escape")
        wait("the menu to go", lambda: desk.find("menu item", "Settings.*") is None)
        review.step("Right", 2)
        for menu in ("Menu", "Tag", "What is shown over the picture"):
            desk.click(button(desk, menu))
            wait(f"the menu {menu}", lambda: desk.find("(check |radio )?menu item"))
            desk.key("Escape")
            wait("the menu to go", lambda: desk.find("(check |radio )?menu item") is None)
            review.step("Right", 2)
            review.step("Left", 1)


def check_notes(case):
    """A note comes from the tag menu; it is kept with Ctrl and Enter, and Escape leaves all as it was."""
    with case.open("sample.cornerbook") as desk:
        case.review(desk)

        def write(words, last):
            desk.click(button(desk, "Tag"))
            desk.choose("Note…", "Up")
            field = desk.expect("text", "Note")
            wait("the note's field", lambda: has_state(field, Atspi.StateType.FOCUSED))
            desk.key(*words)
            desk.picture("note")
            desk.key(last)
            wait("the note's window to close", lambda: desk.find("text", "Note") is None)

        write("wide", "ctrl+Return")
        tags = wait("the note in the book's file", lambda: case.book()["tags"])
        assert [(it["what"], it["note"]) for it in tags] == [("note", "wide")], tags
        write("late", "Escape")
        assert case.book()["tags"] == tags, case.book()["tags"]


def check_second_window(case):
    with case.open("sample.cornerbook") as desk:
        case.review(desk)
        with case.open("sample.cornerbook") as second:
            assert_one_sentence(second, ".*open (elsewhere|in another).*")
        desk.expect("label", POSITION.pattern)


def check_bad_books(case):
    for book, sentence in (
        ("newer.cornerbook", ".*is a book of version 99, .*use a newer cornerbook for it"),
        ("missing.cornerbook", ".*gone.csv.*"),
        ("damaged.cornerbook", ".*damaged.cornerbook.*"),
        ("nowhere.cornerbook", ".*nowhere.cornerbook.*"),
    ):
        with case.open(book) as desk:
            assert_one_sentence(desk, sentence)
            desk.expect("push button", "Try the sample…")
            desk.picture(book.split(".")[0])
            close = button(desk, "Close this message")
            close.get_action_iface().do_action(0)
            wait("the message to go", lambda: not desk.has_label(sentence))


def assert_one_sentence(desk, sentence):
    words = name_of(desk.expect("label", sentence))
    assert "\n" not in words and len(words) < 250, words


def check_settings(case):
    with case.open("sample.cornerbook") as desk:
        review = case.review(desk)
        in_kmh = review.position()["speed"]
        desk.key("ctrl+comma")
        choice = desk.expect("(radio button|check box)", "mph")
        assert_controls_are_named(desk, at_least=7)
        desk.picture("settings")
        desk.click(choice)
        wait("miles an hour in the label", lambda: review.position()["unit"] == "mph")
        assert abs(review.position()["speed"] * 1.609344 - in_kmh) < 0.2
        wait("miles an hour in the table", lambda: any("mph" in it for it in review.table()))
        assert not any("km/h" in it for it in review.table())
        wait("miles an hour on the map", lambda: "mph" in desk.expect("image", "Map of the circuit").get_description())
        memory = desk.expect("spin button", "Memory for frames, MiB")
        desk.click(memory, along=0.2)
        desk.key("ctrl+a", "2", "5", "6", "Escape")
        wait("the settings to close", lambda: desk.find("(radio button|check box)", "mph") is None)
        wait("the memory in the settings' file", lambda: case.settings().get("cache_mib") == 256)
        # The footage is opened anew for it, and is where it was.
        review.step("Right", 3)
        review.wait_for_picture()
        desk.key("F1")
        desk.expect("label", "Previous or next mark")
        desk.picture("shortcuts")


def check_tag_set(case):
    """The window of the tag set comes from the menu, by keys alone; Undo takes back what was done there."""
    with case.open("sample.cornerbook") as desk:
        case.review(desk)
        kinds = case.book()["tag_kinds"]
        desk.key("F10")
        desk.choose("Tag set…")
        remove = desk.expect("push button", f"Remove {kinds[0]['name']}")
        assert_controls_are_named(desk, at_least=20)
        desk.picture("tag-set")
        desk.click(remove)
        wait("one kind less in the book's file", lambda: len(case.book()["tag_kinds"]) == len(kinds) - 1)
        desk.key("Escape")
        wait("the window of the tag set to close", lambda: desk.find("frame", "Tag set") is None)
        desk.key("ctrl+z")
        wait("the kind in the book's file again", lambda: case.book()["tag_kinds"] == kinds)


def check_another_book(case):
    """Another driver's lap is laid beside this one by place: in words, on the map and in the plot of speeds."""
    with case.open("sample.cornerbook") as desk:
        review = case.review(desk)
        desk.key("F2")
        desk.click(wait("the choice of what is beside", lambda: button(desk, "Beside: Another lap")))
        desk.choose("Another book…")
        choose_in_dialog(desk, "Compare", case.path("other.cornerbook"))
        desk.expect("label", "There is no footage of this place: Driver B, lap .*")
        review.press("ctrl+Right")
        review.step("Right", 40)
        desk.click(desk.expect("label", "Speed"))
        plot = desk.expect("image", "Speed through the corner")

        def described(words):
            return wait(f"{words} in the description", lambda: words in plot.get_description())

        described("Driver B, lap")
        desk.picture("beside")
        desk.click(desk.expect("label", "Map"))
        desk.picture("map")
        desk.key("F2")
        wait("this book's lap alone", lambda: "Driver B" not in plot.get_description())


def check_trackside(case):
    """Trackside footage is added, pinned at a turn-in, and from then on shows the moment of the onboard picture. It is a
    clip of the onboard footage itself, so that the codes of two frames that belong together are the same."""
    with case.open("sample.cornerbook") as desk:
        review = case.review(desk)
        turn_in_s = min(it for it in case.times_s("turn_in") if it >= review.position()["t_s"])
        desk.key("F10")
        desk.choose("Add trackside footage…")
        choose_in_dialog(desk, "Add", case.path("kerb.mp4"))
        second = desk.expect("image", "Second picture")
        desk.expect("label", "kerb.mp4 · .* · not pinned yet")
        begin = wait("the first frame of the trackside footage", lambda: review.frame_on_show(second))
        assert_controls_are_named(desk, at_least=20)

        # Unpinned it is stepped by itself, to the frame that is nearest to the turn-in.
        onboard = review.wait_for_picture()
        target = round((turn_in_s - case.log_t_s_at_zero) / FRAME_S)
        assert target > begin, (target, begin)
        desk.key(*["Right"] * (target - begin))
        wait(f"frame {target} beside", lambda: review.frame_on_show(second) == target)
        assert review.wait_for_picture() == onboard, "the first picture stays where it is"
        desk.picture("pinning")
        desk.click(desk.expect("push button", "Pin"))
        pins = wait("the pin in the book's file", lambda: case.book()["trackside"][0]["pins"])
        assert len(pins) == 1 and abs(pins[0]["log_t_s"] - turn_in_s) < 0.001, pins
        desk.expect("label", "kerb.mp4 · .* · in step by 1 pin")

        def both():
            wait("both pictures at one moment", lambda: review.frame_on_show(second) == review.wait_for_picture())

        both()
        review.step("Right", 30)
        both()
        review.step("Left", 45)
        both()
        review.press("Page_Down")
        review.press("ctrl+Right")
        both()
        desk.picture("in-step")
        # Another pin, at the place that is nearest now.
        desk.key("F4")
        desk.click(desk.expect("push button", "Pin"))
        two = wait("two pins in the book's file", lambda: (it := case.book()["trackside"][0]["pins"])[1:] and it)
        assert two[0] == pins[0] and abs(two[1]["log_t_s"] - review.position()["t_s"]) < FRAME_S, two
        desk.expect("label", "kerb.mp4 · .* · in step by 2 pins")
        both()
        desk.key("ctrl+z")
        desk.expect("label", "kerb.mp4 · .* · in step by 1 pin")
        draw_and_tag_beside(case, desk, review, second)

        # The last corner of the last lap was not filmed from there.
        desk.click(review.strip, 0.97, 0.93)
        desk.expect("label", "kerb.mp4 does not show this moment, but .* of the log, laps 1 to 2.")
        desk.picture("elsewhere")
        desk.key("ctrl+z", "ctrl+z", "ctrl+z")
        wait("no pin in the book's file", lambda: not case.book()["trackside"][0]["pins"])
        desk.expect("label", "kerb.mp4 · .* · not pinned yet")
        desk.key("ctrl+z")
        wait("no trackside footage in the book's file", lambda: not case.book()["trackside"])
        wait("another lap beside", lambda: button(desk, "Beside: Another lap"))
        desk.key("ctrl+shift+z", "ctrl+shift+z")
        wait("the pin in the book's file again", lambda: case.book()["trackside"][0]["pins"] == pins)


def check_drops(case):
    """Files dropped on the window become a book; a film dropped on a book that is open is trackside footage."""
    with case.open() as desk:
        start = desk.expect("push button", "Try the sample…")
        desk.drop(start, *map(case.path, ("driver-a.csv", "driver-a.mp4", "track.geojson")))
        desk.expect("label", POSITION.pattern)
        desk.picture("dropped")
        picture = desk.expect("image", "Footage")
        desk.drop(picture, case.path("kerb.mp4"))
        desk.expect("label", "kerb.mp4 · .* · not pinned yet")
        desk.picture("film")


def check_trackside_alone(case):
    """What is done to trackside footage without a pin is on its own frames; a pin that cannot be is refused in words."""
    with case.open("sample.cornerbook") as desk:
        review = case.review(desk)
        desk.key("F2")
        desk.click(wait("the choice of what is beside", lambda: button(desk, "Beside: Another lap")))
        desk.choose("kerb.mp4")
        second = desk.expect("image", "Second picture")
        begin = wait("the first frame of the trackside footage", lambda: review.frame_on_show(second))
        desk.key(*["Right"] * 10)
        wait("ten frames on beside", lambda: review.frame_on_show(second) == begin + 10)

        def footage_s(on):
            assert on["trackside"]["id"] == case.book()["trackside"][0]["id"], on
            return on["trackside"]["footage_s"]

        desk.key("1")
        tag = wait("the tag in the book's file", lambda: case.book()["tags"])[0]
        desk.key("F3")
        desk.drag(second, (0.4, 0.5), (0.6, 0.5))
        drawing = wait("the drawing in the book's file", lambda: case.book()["drawings"])[0]
        # The clip keeps every frame of the onboard footage, but begins in the middle of one.
        for on in (tag["on"], drawing["on"]):
            assert abs(footage_s(on) - 10 * FRAME_S) < FRAME_S / 2, on
        desk.key("F3")

        pin = desk.expect("push button", "Pin")
        desk.click(pin)
        pins = wait("the pin in the book's file", lambda: case.book()["trackside"][0]["pins"])
        # The same place a lap later, on the footage's first frames, before the first pin.
        review.press("Page_Down")
        desk.key("F4")
        desk.click(desk.expect("slider", "Place in the trackside footage"), 0.0)
        wait("the beginning of the trackside footage", lambda: review.frame_on_show(second) in range(begin, begin + 10))
        desk.click(desk.expect("push button", "Pin"))
        desk.expect("label", "pin 2 of trackside footage .* is not later than the one before, .*")
        desk.picture("refused")
        assert case.book()["trackside"][0]["pins"] == pins, case.book()["trackside"]


def check_missing_trackside(case):
    """Trackside footage whose file has moved is asked for, and found again."""
    os.rename(case.path("kerb.mp4"), case.path("moved.mp4"))
    with case.open("sample.cornerbook") as desk:
        case.review(desk)
        desk.key("F2")
        menu = wait("the choice of what is beside", lambda: button(desk, "Beside: Another lap"))
        desk.click(menu)
        desk.choose("kerb.mp4")
        desk.expect("label", "kerb.mp4 is not in its place, nor beside the book.")
        assert_controls_are_named(desk, at_least=20)
        desk.picture("missing")
        desk.click(desk.expect("push button", "Find the file…"))
        choose_in_dialog(desk, "This is it", case.path("moved.mp4"))
        desk.expect("label", "moved.mp4 · .* · not pinned yet")
        assert case.book()["trackside"][0]["path"] == "moved.mp4", case.book()["trackside"]
        desk.key("ctrl+z")
        desk.expect("label", "kerb.mp4 is not in its place, nor beside the book.")


def check_missing_onboard(case):
    """Onboard footage that is neither in its place nor beside the book is asked for, while the log is reviewed without."""
    os.mkdir(case.path("card"))
    os.rename(case.path("driver-a.mp4"), case.path("card/driver-a.mp4"))
    with case.open("sample.cornerbook") as desk:
        missing = "driver-a.mp4 is not in its place, nor beside the book."
        desk.expect("label", missing)
        desk.picture("missing")
        assert_controls_are_named(desk, at_least=20)
        desk.key("F3")
        desk.drag(desk.expect("image", "Footage"), (0.4, 0.3), (0.6, 0.3))
        desk.expect("label", "there is no frame here to draw on; go where there is footage")
        desk.key("F3", "Page_Down")
        desk.click(desk.expect("push button", "Find the file…"))
        choose_in_dialog(desk, "Use this file", case.path("card/driver-a.mp4"))
        review = case.review(desk)
        chapters = case.book()["footage"]
        assert chapters[0]["path"] == "card/driver-a.mp4", chapters
        review.step("Right", 5)
        review.wait_for_picture()
        desk.picture("found")
        desk.key("ctrl+z")
        desk.expect("label", missing)


def check_report(case):
    """The review is written as a report into the folder that is asked for, with stills; what is there stays as it is."""
    with case.open("sample.cornerbook") as desk:
        case.review(desk)
        desk.key("F10")
        desk.choose("Report…")
        choose_in_dialog(desk, "Write", case.path("handed over"))
        wait("the progress", progress_is_on_show)
        desk.expect("label", "The report is in .*handed over")
        folder = case.path("handed over")
        with open(os.path.join(folder, "index.html"), encoding="utf-8") as page:
            assert "<h1><bdi>sample</bdi></h1>" in page.read()
        marks = [it for it in os.listdir(os.path.join(folder, "stills")) if it.startswith("corner-")]
        assert len(marks) >= 3 * len({it["corner"] for it in case.passes}) - 3, marks
        assert not [it for it in os.listdir(case.folder) if it.startswith(".cornerbook-")]


def check_report_stopped(case):
    """A report that is stopped leaves nothing behind."""
    with case.open("sample.cornerbook") as desk:
        case.review(desk)
        desk.key("F10")
        desk.choose("Report…")
        choose_in_dialog(desk, "Write", case.path("stopped"))
        wait("the progress", progress_is_on_show)
        desk.key("Return")
        wait("the review alone", lambda: not progress_is_on_show())
        left = lambda: [it for it in os.listdir(case.folder) if it.startswith((".cornerbook-", "stopped"))]  # noqa: E731
        wait("nothing of the report", lambda: not left())


def progress_is_on_show():
    """By its title: the report of a short session is written before the accessible tree has been looked through."""
    return bool(xdotool("search", "--onlyvisible", "--name", "^Report$", may_fail=True))


def choose_in_dialog(desk, accept, path):
    """Types a path into the toolkit's own dialog, which says the name of its buttons twice."""
    desk.expect("push button", f"({accept} ?)+")
    desk.type(path)
    desk.key("Return")


def draw_and_tag_beside(case, desk, review, second):
    """The pen draws in the picture that it is put down in; a tag is on the moment, which both pictures show."""
    desk.key("F3")
    desk.drag(second, (0.4, 0.5), (0.6, 0.5))
    drawing = wait("the drawing in the book's file", lambda: case.book()["drawings"])[0]
    on = drawing["on"]["trackside"]
    assert on["id"] == case.book()["trackside"][0]["id"], drawing
    begin = case.book()["trackside"][0]["pins"][0]
    # Both run at one rate from the pin, which is good to half a frame.
    away_s = (on["footage_s"] - begin["footage_s"]) - (review.position()["t_s"] - begin["log_t_s"])
    assert abs(away_s) <= FRAME_S / 2 + 0.001, away_s
    desk.picture("drawn-beside")
    desk.key("F3", "1")
    tag = wait("the tag in the book's file", lambda: case.book()["tags"])[0]
    assert abs(tag["on"]["frame"]["t_s"] - review.position()["t_s"]) < 0.001, tag


def assert_controls_are_named(desk, at_least):
    controls = [node for node in desk.all() if role_of(node) in CONTROLS]
    unnamed = [(role_of(it), it.get_name(), name_of(it.get_parent())) for it in controls if not name_of(it)]
    assert not unnamed, f"controls without a name: {unnamed}"
    assert len(controls) >= at_least, [name_of(it) for it in controls]


def main():
    check, program, folder, pictures = sys.argv[1:]
    begin = time.monotonic()
    with display():
        globals()[f"check_{check}"](Case(program, folder, pictures))
    print(f"{check}: {time.monotonic() - begin:.1f} s")


if __name__ == "__main__":
    main()

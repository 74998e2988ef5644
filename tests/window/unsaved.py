"""A book that another program changes while it is open: what the window offers, and what becomes of the changes."""

import json

from desk import name_of, wait

CHANGED = r".*another program has changed it since.*"


def change_from_outside(case, driver):
    book = case.book()
    book["driver"] = driver
    with open(case.path("sample.cornerbook"), "w", encoding="utf-8") as file:
        json.dump(book, file)


def check_unsaved(case):
    with case.open("sample.cornerbook") as desk:
        case.review(desk)
        change_from_outside(case, "Someone")
        desk.key("1")
        desk.expect("label", CHANGED)
        desk.picture("message")
        # Written over on purpose.
        desk.click(desk.expect("push button", "Write over it"))
        wait("the tag in the book's file", lambda: case.book()["tags"])
        assert case.book()["driver"] != "Someone"
        wait("the message to go", lambda: not desk.has_label(CHANGED))

        # Closed right after a change that cannot be saved, the window asks first.
        change_from_outside(case, "Someone else")
        desk.key("2", "ctrl+w")
        desk.expect("label", "The last changes are not saved")
        desk.picture("question")
        desk.click(desk.expect("push button", "(Cancel ?)+"))
        wait("the question to go", lambda: not desk.has_label("The last changes are not saved"))
        assert desk.is_open()
        assert (len(case.book()["tags"]), case.book()["driver"]) == (1, "Someone else")

        # Under another name it goes on there.
        desk.key("ctrl+w")
        desk.expect("label", "The last changes are not saved")
        # The message behind the question has such a button too; here it is the one that Enter means.
        desk.key("Return")
        desk.expect("push button", "(Save ?)+")
        desk.key("ctrl+a")
        desk.type(case.path("mine"))
        desk.key("Return")
        desk.program.wait(timeout=20)
        with open(case.path("mine.cornerbook"), encoding="utf-8") as file:
            assert len(json.load(file)["tags"]) == 2
        assert len(case.book()["tags"]) == 1, "the other program's file is as it was"

    with case.open("mine.cornerbook") as desk:
        case.review(desk)
        # Discarded on purpose, as when another book is opened.
        with open(case.path("mine.cornerbook"), "a", encoding="utf-8") as file:
            file.write("\n")
        desk.key("3")
        desk.expect("label", CHANGED)
        desk.click(desk.expect("push button", "Start page"))
        desk.click(desk.expect("push button", "(Discard the changes ?)+"))
        desk.expect("push button", "Try the sample…")
        with open(case.path("mine.cornerbook"), encoding="utf-8") as file:
            assert len(json.load(file)["tags"]) == 2, name_of(desk.tree)

"""A reel is put together, put in order, previewed and written as a film, while the review goes on."""

import json
import os
import subprocess

from gi.repository import Atspi

from desk import children, has_state, name_of, role_of, wait
from review import FRAME_S, button


def check_reel(case):
    with case.open("sample.cornerbook") as desk:
        review = case.review(desk)
        here = review.position()
        desk.click(desk.expect("label", "Reel"))
        desk.expect("label", "No clips yet.*")
        assert not has_state(desk.expect("push button", "Preview"), Atspi.StateType.SENSITIVE)

        # This pass, and the next corner's.
        desk.click(desk.expect("push button", "Add this pass"))
        wait("a clip", lambda: len(cuts(case)) == 1)
        review.press("ctrl+Right")
        desk.click(desk.expect("push button", "Add this pass"))
        wait("a second clip", lambda: len(cuts(case)) == 2)
        first, second = cuts(case)
        assert (first["lap"], f"T{first['corner']}") == (here["lap"], here["corner"]), first
        assert second["corner"] == first["corner"] + 1, second
        # The best and the worst of this corner that are filmed.
        desk.click(button(desk, "Best and worst"))
        desk.expect("spin button", "So many of the best")
        desk.key("Tab", "Tab", "Tab", "Return")
        wait("the best and the worst", lambda: len(cuts(case)) >= 3)
        chosen = cuts(case)[2:]
        assert {it["corner"] for it in chosen} == {second["corner"]}, chosen
        wait("pictures of all clips", lambda: len(clips_listed(desk)) == len(cuts(case)))
        while len(cuts(case)) > 3:
            count = len(cuts(case))
            desk.click(button(desk, r"Take the clip out of the reel (Delete)"))
            wait("a clip fewer", lambda: len(cuts(case)) == count - 1)

        # In order by button, by keys and by dragging; each can be undone.
        order = [(it["lap"], it["corner"]) for it in cuts(case)]
        desk.click(button(desk, "Clip earlier (Alt+Up)"))
        wait("the last clip before the second", lambda: places(case) == [order[0], order[2], order[1]])
        desk.click(clips_listed(desk)[1])
        desk.key("alt+Up")
        wait("that clip first", lambda: places(case) == [order[2], order[0], order[1]])
        desk.key("ctrl+z", "ctrl+z")
        wait("the order as it was", lambda: places(case) == order)
        listed = clips_listed(desk)
        desk.drag_onto(listed[1], listed[0])
        wait("the second clip first", lambda: places(case) == [order[1], order[0], order[2]])

        # Its beginning, its words, and a title.
        words = desk.expect("text", "Words on the clip's card")
        desk.click(clips_listed(desk)[0])
        desk.click(words)
        desk.type("look at <b>the kerb</b>")
        desk.key("Return")
        wait("the words", lambda: any(it.get("words") == "look at <b>the kerb</b>" for it in cuts(case)))
        desk.click(desk.expect("text", "Title of the reel"))
        desk.type("Exits")
        desk.key("Return")
        wait("the title", lambda: case.book()["reel"]["title"] == "Exits")
        desk.picture("reel")

        # The preview begins with the first clip, its lead before the turn-in, and plays on.
        desk.click(desk.expect("push button", "Preview"))
        begin_s = turn_in_s(case, cuts(case)[0]) - 2.0
        wait("the first clip in the picture", lambda: begin_s - FRAME_S <= review.position()["t_s"] < begin_s + 2.0)
        wait("a second of it", lambda: review.position()["t_s"] > begin_s + 1.0)
        desk.click(desk.expect("push button", "Pause"))

        film = case.path("sample reel.mp4")
        desk.click(desk.expect("push button", "Write the film…"))
        desk.expect("push button", "(Write ?)+")
        desk.key("Return")
        # The review goes on meanwhile.
        wait("the dialog gone", lambda: not desk.find("push button", "(Write ?)+"))
        desk.click(review.picture)
        review.press("ctrl+Left")
        desk.expect("label", ".*sample reel.mp4: is written.*")
        desk.picture("written")
        assert_film(film, clips=3)

        # A film that is stopped is not there. A minute behind a pass makes it long enough to be stopped.
        desk.click(clips_listed(desk)[0])
        desk.click(desk.expect("spin button", "Seconds after exit"), along=0.15)
        desk.key("ctrl+a")
        desk.type("60")
        desk.key("Return")
        wait("a long clip", lambda: cuts(case)[0].get("tail_s") == 60)
        desk.click(desk.expect("push button", "Write the film…"))
        desk.expect("push button", "(Write ?)+")
        desk.key("ctrl+a")
        desk.type("long.mp4")
        desk.key("Return")
        desk.expect("progress bar", "This clip")
        desk.picture("writing")
        desk.click(desk.expect("push button", "Stop"))
        wait("nothing being written", lambda: not desk.find("progress bar", "This clip"))
        wait("nothing left of it", lambda: not [it for it in os.listdir(os.path.dirname(film)) if "long" in it])


def assert_film(film, clips):
    """Three cards and clips and the title card: chapters of the same number, and a film as long as they say."""
    told = subprocess.run(
        ["ffprobe", "-v", "error", "-show_chapters", "-show_format", "-of", "json", film],
        check=True,
        capture_output=True,
    )
    told = json.loads(told.stdout)
    assert len(told["chapters"]) == clips + 1, told["chapters"]
    end_s = float(told["chapters"][-1]["end_time"])
    assert abs(float(told["format"]["duration"]) - end_s) < 0.1, told
    assert not [it for it in os.listdir(os.path.dirname(film)) if it.startswith(".") and "reel" in it]


def cuts(case):
    return case.book()["reel"]["cuts"]


def places(case):
    return [(it["lap"], it["corner"]) for it in cuts(case)]


def turn_in_s(case, cut):
    of_pass = next(it for it in case.passes if (it["lap"], it["corner"]) == (cut["lap"], cut["corner"]))
    return of_pass["turn_in"]["t_s"]


def clips_listed(desk):
    found = desk.expect("list", "Clips of the reel")
    return [it for it in children(found) if role_of(it) == "list item" and name_of(it)]

"""What a person does on the page of findings, and what must come of it."""

from gi.repository import Atspi

from desk import has_state, name_of, role_of, wait


def check_findings(case):
    """The sample's one finding is looked at, taken as a tag, taken back, declined and asked again."""
    with case.open("sample.cornerbook") as desk:
        review = case.review(desk)
        desk.click(desk.expect("label", "Findings"))
        row = desk.expect("list item", r"T3 · lost time\. .*")
        desk.click(row)
        wait("the frame of lap 2 where it is seen", lambda: review.position()["lap"] == 2)
        assert review.position()["corner"] == "T3", review.position()
        assert review.wait_for_picture()
        desk.picture("findings")

        desk.click(desk.expect("push button", "Take as tags"))
        answers = wait("the answer in the book's file", lambda: case.book()["suggestions"])
        assert [(it["finding"], it["corner"], it["lap"], it["answer"]) for it in answers] == [
            ("lost_time", 3, 2, "taken")
        ], answers
        tags = case.book()["tags"]
        assert [it["on"]["pass"] for it in tags] == [{"lap": 2, "corner": 3}], tags
        desk.expect("list item", r"T3 · lost time, taken\. .*")
        desk.picture("taken")

        desk.key("ctrl+z")
        wait("neither answer nor tag", lambda: not case.book()["suggestions"] and not case.book()["tags"])
        desk.expect("list item", r"T3 · lost time\. .*")
        again = desk.expect("push button", "Ask again")
        assert not has_state(again, Atspi.StateType.SENSITIVE), name_of(again)
        desk.click(desk.expect("push button", "Decline"))
        wait("the finding declined", lambda: [it["answer"] for it in case.book()["suggestions"]] == ["declined"])
        assert not case.book()["tags"]
        desk.expect("list item", r"T3 · lost time, declined\. .*")
        wait("something to ask again", lambda: has_state(again, Atspi.StateType.SENSITIVE))
        desk.picture("declined")
        desk.click(again)
        wait("no answer", lambda: not case.book()["suggestions"])

        # A person who says that there was traffic has told why: then it is no finding of the driver's.
        desk.click(desk.expect("list item", r"T3 · lost time\. .*"))
        desk.key("shift+" + next(it["key"] for it in case.book()["tag_kinds"] if it["name"] == "traffic"))
        wait("a tag of traffic", lambda: case.book()["tags"])
        desk.expect("label", r"Nothing stands out.*")
        assert not any(role_of(it) == "list item" and "lost time" in name_of(it) for it in desk.all())

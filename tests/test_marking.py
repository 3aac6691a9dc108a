"""The marking widget without a browser: moves are answered, done once, and bend an outline."""

import numpy as np
import pytest

from kit.panels.measuring.marking import Grip, Line, Marking, outline_with_grips


@pytest.fixture
def marking():
    made = Marking()
    made.show(b"\xff\xd8\xff", 400, 300, "a photo")
    made.mark(
        [Grip("top", "top", 200, 50, "up"), Grip("base", "base", 200, 250, "down")],
        [Line("height", joins=["top", "base"], look="helper", closed=False)],
    )
    return made


def move(marking, grip, x, y, seq=1, client="one"):
    """As the browser sends it; return Python's answer."""
    answers = []
    marking.send = answers.append
    message = {"kind": "move", "client": client, "seq": seq, "grip": grip, "x": x, "y": y}
    marking._heard(marking, message, [])
    return answers[0]


def test_a_move_is_taken_answered_and_told_on(marking):
    heard = []
    marking.moved = heard.append
    answer = move(marking, "top", 210.5, 40)
    assert answer == {
        "kind": "answer", "client": "one", "seq": 1, "state": "taken", "says": "top: moved.",
    }  # fmt: skip
    assert marking.at("top") == (210.5, 40)
    assert marking.at("base") == (200, 250)
    assert heard == ["top"]


def test_answered_before_what_follows_is_done(marking):
    """Measuring anew takes its time; the browser must not think that nobody heard it."""
    order = []
    marking.send = lambda answer: order.append("answered")
    marking.moved = lambda key: order.append("measured")
    message = {"kind": "move", "client": "c", "seq": 1, "grip": "top", "x": 1, "y": 1}
    marking._heard(marking, message, [])
    assert order == ["answered", "measured"]


def test_a_message_that_comes_again_is_done_once(marking):
    heard = []
    marking.moved = heard.append
    first = move(marking, "top", 10, 20, seq=7)
    move(marking, "top", 11, 21, seq=8)
    assert move(marking, "top", 10, 20, seq=7) == first
    assert marking.at("top") == (11, 21)
    assert heard == ["top", "top"]
    assert move(marking, "top", 10, 20, seq=7, client="another page")["state"] == "taken"


@pytest.mark.parametrize(
    ("grip", "x", "y", "says"),
    [
        ("top", -1, 5, "top: that is outside the photo."),
        ("top", 5, 300, "top: that is outside the photo."),
        ("top", float("nan"), 5, "top: that is outside the photo."),
        ("left", 5, 5, "This mark is no longer on the photo."),
    ],
)
def test_what_cannot_be_is_refused_and_told(marking, grip, x, y, says):
    heard = []
    marking.moved = heard.append
    answer = move(marking, grip, x, y)
    assert (answer["state"], answer["says"]) == ("refused", says)
    assert marking.at("top") == (200, 50)
    assert heard == []


def test_an_outline_bends_near_the_hand_only():
    angle = np.linspace(0, 2 * np.pi, 240, endpoint=False)
    circle = np.column_stack([200 + 80 * np.cos(angle), 150 + 80 * np.sin(angle)])
    line, grips = outline_with_grips("outline", "outline", circle, 16)
    assert len(grips) == 16
    assert grips[2].label == "outline, point 3 of 16"
    marking = Marking()
    marking.show(b"\xff\xd8\xff", 400, 300, "a photo")
    marking.mark(grips, [line])
    which = 4  # at the bottom of the picture
    assert marking.at("outline-4") == pytest.approx((200, 230), abs=0.01)
    move(marking, "outline-4", 200, 245)
    now = np.array(marking.points("outline"))
    shift = np.hypot(*(now - circle).T)
    held = line.at[which]
    assert now[held] == pytest.approx((200, 245), abs=0.01)
    assert shift.argmax() == held
    near = [line.at[which - 1], line.at[which + 1]]
    assert shift[: near[0]].max() < 0.02
    assert shift[near[1] :].max() < 0.02
    assert shift[held + 3] == pytest.approx(
        15 * (1 + np.cos(np.pi * 3 / 15)) / 2, abs=0.05
    )  # a raised cosine over 15 points to the next grip


def test_other_marks_take_the_place_of_the_old(marking):
    marking.mark([Grip("left", "left end", 1, 2)])
    assert marking.at("left") == (1, 2)
    assert marking.marks["lines"] == []
    with pytest.raises(StopIteration):
        marking.at("top")

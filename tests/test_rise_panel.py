"""The rise panel without a browser: readings, what is shown, nonsense, all doughs."""

import re
from datetime import UTC, datetime, timedelta

import pytest

from kit import shipped
from kit.panels.rise import RisePanel
from kit.workspace import Workspace


def words(html):
    text = re.sub(r"<svg.*?</svg>", " ", html.value, flags=re.DOTALL)
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", text)).strip()


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    with Workspace(tmp_path_factory.mktemp("baker") / "bakes", who="Ida") as ws:
        shipped.load_demo(ws)
        yield ws


@pytest.fixture
def panel(tmp_path):
    with Workspace(tmp_path / "bakes", who="Ida") as ws:
        trial = ws.new_trial("malt", factors={"malt_percent": [0, 1]}, zone="Europe/Berlin")
        trial.add_dough(trial.add_bake())
        yield RisePanel(ws)


def press(panel, now, number="1", **more):
    """As the browser sends it; return Python's answer."""
    answers = []
    panel.reader.send = answers.append
    message = {
        "type": "note", "id": number, "dough": panel.reader.dough, "name": panel.reader.name,
        "way": "ratio", "now": now, "start": "1", "at": "",
        "pressed": datetime.now(UTC).isoformat(), **more,
    }  # fmt: skip
    panel._hear(panel.reader, message, [])
    return answers[0]


def ago(**length):
    return (datetime.now(UTC) - timedelta(**length)).isoformat()


def test_from_the_mark_to_double(panel):
    assert panel.reader.started is False
    assert "Its clock has not started" in words(panel.look)
    assert press(panel, "1", "0", pressed=ago(hours=2))["ok"]
    assert panel.reader.started is True
    assert "0 readings after the start and no earlier curves" in words(panel.look)
    for i, (after, ratio) in enumerate(((80, "1,18"), (60, "1.42"), (40, "1.7")), start=1):
        answer = press(panel, ratio, str(i), pressed=ago(minutes=after))
        assert answer["ok"]
        assert "times its start" in answer["text"]
    told = words(panel.look)
    assert re.search(r"Look (again at \d+:\d\d|at it now)\.", told)
    assert re.search(r"between \d+:\d\d and \d+:\d\d with 90 %", told)
    assert "kit-look" in panel.look.value
    assert panel.shown.value.count("<svg") == 1
    assert "1.42" in words(panel.shown)
    assert press(panel, "84", "9", way="level", start="40")["ok"]
    assert "It has doubled." in words(panel.look)
    assert "levels off" in words(panel.shown) or "It was double" in words(panel.shown)


def test_two_readings_cannot_foresee_double_but_can_have_seen_it(panel):
    press(panel, "1", "0", pressed=ago(hours=1))
    press(panel, "1.5", "1", pressed=ago(minutes=30))
    assert "too early to say when it will be double" in words(panel.look)
    press(panel, "2.1", "2", pressed=ago(minutes=5))
    assert words(panel.look) == "Read at 2.1 times: it has doubled."
    assert "It was double between 30 min and 55 min" in words(panel.shown)


def test_a_press_that_comes_twice_is_noted_once(panel):
    press(panel, "1", "0", pressed=ago(hours=1))
    first = press(panel, "1.3", "7")
    assert press(panel, "1.3", "7") == first
    assert len(panel.chosen.rise_readings()) == 1


@pytest.mark.parametrize(
    ("now", "more", "said"),
    [
        ("much", {}, "now 'much' is not a number."),
        ("", {}, "must not be empty. Enter what you read."),
        ("-1", {}, "must be above 0"),
        ("160", {}, "rise so far is 160 (dough 1A): must lie between 0.2 and 12"),
        ("84", {"way": "level", "start": ""}, "start (dough 1A) must not be empty."),
        ("84", {"way": "level", "start": "0"}, "start is 0: must be above 0."),
        ("1.4", {"at": "soon"}, "when it was 'soon' (dough 1A) is not a time"),
        ("1.4", {"at": "<b>9:40"}, "is not a time"),
        ("1e999", {}, "now '1e999' is too"),
        ("1.4", {"dough": "gone"}, "is not in this workspace any more"),
    ],
)
def test_nonsense_is_answered_and_nothing_is_stored(panel, now, more, said):
    answer = press(panel, now, **more)
    assert answer["ok"] is False
    assert answer["text"].startswith("Not noted: ")
    assert said in answer["text"]
    assert panel.chosen.readings().empty


def test_undo_takes_the_reading_back(panel):
    press(panel, "1", "0", pressed=ago(hours=1))
    press(panel, "1.3", "1")
    panel.undo.click()
    assert (
        words(panel.told)
        == "undone: malt: dough 1A at 1.30 times its start, "
        + (words(panel.told).rpartition("start, ")[2])
    )
    assert panel.chosen.rise_readings().empty


def test_all_doughs_of_the_demo(demo):
    panel = RisePanel(demo)
    assert panel.reader.name == "dough 8A"
    assert re.search(r"Double at about 09:\d\d", words(panel.look))
    assert "Invented data." in words(panel.shown)
    panel.dough.value = next(i for name, i in panel.dough.options if name.startswith("Dough 1A"))
    assert "It has doubled." in words(panel.look)
    assert "It took" in words(panel.shown)
    panel.draw.click()
    assert "of 12 doughs have a time to double" in words(panel.answer)
    assert "Diastatic malt" in panel.answer.value
    panel.keep.click()
    assert "Time to double kept for 10 of 12 doughs." in words(panel.answer)
    panel.compare.click()
    assert "10 doughs" in words(panel.answer)
    panel.by.value = ""
    panel.compare.click()
    assert "Pick what to tell apart." in words(panel.answer)


def test_times_to_double_are_kept_before_they_are_compared(panel):
    panel.compare.click()
    assert words(panel.answer) == (
        "Not yet: no time to double is kept yet: once doughs have doubled, press “Keep the times "
        "to double”."
    )


def test_another_room(demo):
    panel = RisePanel(demo)
    panel.room.value = "warm"
    panel.move.click()
    assert "is not a number" in words(panel.room.said)
    assert panel.moved.value == ""  # once is enough
    panel.room.value = "45"
    panel.move.click()
    assert "must lie between 15 and 35" in words(panel.room.said)
    assert words(panel.room.said).startswith("Not yet: room (°C) is ")
    assert panel.moved.value == ""
    panel.room.value = "26,5"
    panel.move.click()
    assert "A dough in a room of 26.5 °C doubles in about" in words(panel.moved)


def test_what_every_screen_says(panel):
    said = " ".join(words(w) for w in panel.children if hasattr(w, "value"))
    assert "about 1.26 × in height when the shape stays the same; 2 × in a ring" in said
    assert "food authority" in said


def test_an_empty_folder(tmp_path):
    with Workspace(tmp_path / "bakes") as ws:
        panel = RisePanel(ws)
        assert "There is no trial in this folder yet." in words(panel.shown)
        for button in (panel.draw, panel.keep, panel.compare, panel.move, panel.undo):
            assert button.disabled


def test_a_dough_of_another_day_is_said_to_be_of_it(panel):
    for i, (hours, ratio) in enumerate(((28, "1"), (27, "1.2"), (26.5, "1.4"), (26, "1.6"))):
        assert press(panel, ratio, str(i), pressed=ago(hours=hours))["ok"]
    told = words(panel.look)
    assert told.startswith("Looked back at: told as of its last reading, ")
    assert "Look again at" in told
    assert "Looked back at" not in words(panel.shown)  # once is enough

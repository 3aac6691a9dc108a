"""The record panel without a browser: what it offers, stores, asks and takes back."""

import re
from datetime import datetime, timedelta
from html import unescape
from zoneinfo import ZoneInfo

import pytest

import kit
from kit import panels
from kit.quantities import Quantity


@pytest.fixture
def ws(tmp_path):
    with kit.Workspace(tmp_path / "bakes") as made:
        yield made


@pytest.fixture
def trial(ws):
    made = ws.new_trial(
        "malt", question="Does <b>malt</b> matter?", factors={"malt_percent": [0, 0.8]},
        outcome="rise_height_mm", matters=2,
    )  # fmt: skip
    bake = made.add_bake("2026-06-18")
    for _ in range(2):
        dough = made.add_dough(bake)
        for _ in range(3):
            made.add_piece(dough)
    return made


@pytest.fixture
def panel(trial):
    return panels.record(trial.workspace)


def plain(html):
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html)).strip()


def columns(panel, level):
    return [head["key"] for head in panel.tables[level].entry.sheet["columns"]]


class Typist:
    """Types into the fields of a panel as the browser would."""

    def __init__(self, panel):
        self.panel, self.seq = panel, 0

    def __call__(self, level, thing, name, text, sure=False):
        entry = self.panel.tables[level].entry
        row, column = (name, thing.id) if level == "bake" else (thing.id, name)
        self.seq += 1
        answers = []
        entry.send = answers.append
        cell = {"row": row, "column": column, "text": text, "base": None, "sure": sure}
        entry._handle_custom_msg(
            {"kind": "write", "client": "t", "seq": self.seq, "cells": [cell]}, []
        )
        answer = answers[-1]["cells"][0]
        return answer["state"], answer["text"], answer["says"]


@pytest.fixture
def type_into(panel):
    return Typist(panel)


def test_columns_begin_with_what_the_trial_is_about(panel):
    assert columns(panel, "dough")[:2] == ["malt_percent", "dough_temp_c"]
    assert columns(panel, "piece")[0] == "rise_height_mm"
    assert panel.tables["load"].entry is None  # no load yet
    rows = panel.tables["bake"].entry.sheet["rows"]
    assert [row["key"] for row in rows] == ["room_temp_c", "day", "flour_lot", "yeast_lot", "note"]
    labels = [c["label"] for c in panel.tables["piece"].entry.sheet["cells"].values()]
    assert "Height mm, piece 1A1" in labels
    assert len(set(labels)) == len(labels)
    assert "&lt;b&gt;malt" in panel.about.value
    assert "2 mm would matter" in panel.about.value


@pytest.mark.parametrize(
    ("typed", "kept", "shown", "says"),
    [
        ("61,4", 61.4, "61.4", ""), ("31.50", 31.5, "31.5", ""),
        ("1 1/2 in", 38.1, "38.1", "saved: 1 1/2 in"), ("3,81 cm", 38.1, "38.1", "saved: 3,81 cm"),
    ],
)  # fmt: skip
def test_what_is_typed_is_read_as_it_is_meant(panel, trial, type_into, typed, kept, shown, says):
    piece = trial.piece("1A1")
    sure = kept > 60  # a tall one
    answer = type_into("piece", piece, "rise_height_mm", typed, sure)
    assert answer == ("saved", shown, says)
    assert trial.frame()["rise_height_mm"][0] == pytest.approx(kept)
    assert trial.readings()["how"].tolist() == ["entered"]
    assert "Height" in panel.last.value


def test_unusual_is_asked_and_stored_with_a_note(panel, trial, type_into):
    piece = trial.piece("1A1")
    state, text, says = type_into("piece", piece, "rise_height_mm", "12")
    assert (state, text) == ("asked", "12")
    assert says == "Height 12.0 mm is unusual (mostly 15 to 60 mm). Is it right?"
    assert trial.readings().empty
    assert type_into("piece", piece, "rise_height_mm", "12", sure=True)[0] == "saved"
    assert trial.readings()["note"].tolist() == ["unusual, asked about, and said to be right"]


@pytest.mark.parametrize(
    ("level", "quantity", "typed", "says"),
    [
        ("piece", "rise_height_mm", "1 1/4",
         "1 1/4 in would be 31.8 mm: write 1 1/4 in if you mean that."),
        ("piece", "ball_weight_g", "2.7", "2.7 oz would be 76.5 g: write 2.7 oz if you mean that."),
        ("piece", "side_minutes", "5:30", "It was read as hours and minutes. For minutes and "
                                          "seconds write 5.5."),
        ("dough", "dough_temp_c", "78", "78 °F would be 25.6 °C: write 78 F if you mean that."),
        ("dough", "malt_lintner", "5", "Is it right?"),
    ],
)  # fmt: skip
def test_another_unit_that_may_be_meant_is_offered(
    panel, trial, type_into, level, quantity, typed, says
):
    thing = trial.piece("1A1") if level == "piece" else trial.dough("1A")
    panel.tables[level].add(quantity)
    state, text, said = type_into(level, thing, quantity, typed)
    assert state in ("asked", "refused")
    assert text == typed
    assert said.endswith(says)
    assert trial.readings().empty


def test_a_setting_planned_for_others_is_asked_about(panel, trial, type_into):
    dough = trial.dough("1A")
    trial.record(dough, "malt_percent", 0, how="planned")
    panel.refresh()
    assert type_into("dough", dough, "malt_percent", "0.3")[0] == "saved"
    state, _, says = type_into("dough", dough, "malt_percent", "0.8")
    assert (state, says) == (
        "asked", "0 % was planned for dough 1A, and 0.8 % is for others. Is it right?",
    )  # fmt: skip
    told = type_into("dough", dough, "malt_percent", "0.7")[2]
    assert told == "0.7 % is nearer to 0.8 %, as of others, than to 0 %, as planned. Is it right?"
    assert trial.recorded(dough, "malt_percent") == 0.3
    assert type_into("dough", dough, "malt_percent", "0.8", sure=True)[0] == "saved"
    assert trial.recorded(dough, "malt_percent") == 0.8


def test_what_another_window_saved_is_not_overwritten_unasked(panel, trial, type_into):
    piece = trial.piece("1A1")
    assert type_into("piece", piece, "rise_height_mm", "29")[0] == "saved"
    assert type_into("piece", piece, "rise_height_mm", "29.5")[0] == "saved"  # its own value
    trial.record(piece, "rise_height_mm", 31.1)  # as from elsewhere
    assert type_into("piece", piece, "rise_height_mm", "31.1")[0] == "saved"  # the same
    trial.record(piece, "rise_height_mm", 33)
    state, text, says = type_into("piece", piece, "rise_height_mm", "30.5")
    assert (state, text, says) == (
        "asked", "30.5", "Meanwhile it became 33.0 mm, in another window or from a photo. Put "
                         "this in its place?",
    )  # fmt: skip
    assert trial.recorded(piece, "rise_height_mm") == 33
    sheet = panel.tables["piece"].sheet
    assert sheet.store(piece.id, "rise_height_mm", "30.5", False).held == "33"  # the way back
    assert type_into("piece", piece, "rise_height_mm", "30.5", sure=True)[0] == "saved"
    assert trial.recorded(piece, "rise_height_mm") == 30.5
    trial.record(piece, "rise_height_mm", None)
    state, _, says = type_into("piece", piece, "rise_height_mm", "30")
    assert state == "asked"
    assert says.startswith("Meanwhile it was taken out")


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("0", "“0” must lie between 1 and 300 mm. Enter height in mm."),
        ("tall", "“tall” is not a number."),
        ("3 oz", "“3 oz” oz measures mass, expected length."),
        ("1,050", "“1,050” could mean two numbers. Write 1.050 or 1050."),
        ("-3", "“-3” must lie between"), ("nan", "“nan” is not a number."),
        ("<b>1</b>", "“<b>1</b>” is not a number."), ("9" * 200, "is too long to be a number"),
    ],
)  # fmt: skip
def test_impossible_is_refused_with_the_reason(panel, trial, type_into, typed, says):
    state, text, said = type_into("piece", trial.piece("1A1"), "rise_height_mm", typed)
    assert (state, text) == ("refused", typed)
    assert says in said
    assert trial.readings().empty


def test_emptied_is_missing_and_comes_back(panel, trial, type_into):
    piece = trial.piece("1A1")
    assert type_into("piece", piece, "rise_height_mm", "  ") == (
        "saved", "", "taken out: missing",
    )  # fmt: skip
    assert trial.readings().empty  # nothing was there
    type_into("piece", piece, "rise_height_mm", "31,5")
    type_into("piece", piece, "rise_height_mm", "")
    assert "rise_height_mm" not in trial.frame()
    panel.undo.click()
    assert "Undone: malt: Height taken back, piece 1A1." in panel.undone.value
    assert panel.tables["piece"].entry.text(piece.id, "rise_height_mm") == "31.5"


def test_words_lots_loads_and_places(panel, trial, type_into):
    bake, piece = trial.bake("1"), trial.piece("1A1")
    assert type_into("bake", bake, "flour_lot", " F2 ")[:2] == ("saved", "F2")
    assert type_into("bake", bake, "room_temp_c", "72 F") == ("saved", "22.22", "saved: 72 F")
    assert type_into("dough", trial.dough("1A"), "note", "a bit slack")[0] == "saved"
    assert trial.bake("1").flour_lot == "F2"
    panel.loads.value = "2"
    panel.add.click()
    assert columns(panel, "piece")[-2:] == ["load", "place"]
    assert type_into("piece", piece, "place", "3")[2] == (
        "“3” needs a load. Say on which load the piece lies as well."
    )
    assert type_into("piece", piece, "load", "2")[0] == "saved"
    assert type_into("piece", piece, "place", "3")[0] == "saved"
    assert type_into("piece", piece, "load", "7") == (
        "refused", "7", "no load '7'. There are: '1', '2'.",
    )  # fmt: skip
    assert type_into("piece", piece, "load", "first")[0] == "refused"
    assert trial.piece("1A1").load.position == 2
    heads = [row["more"] for row in panel.tables["piece"].entry.sheet["rows"]]
    assert heads[:2] == ["load 2, place 3", ""]
    assert type_into("piece", piece, "load", "")[0] == "saved"
    assert trial.piece("1A1").load is None


def test_a_bake_is_moved_to_another_day(panel, trial, type_into, ws):
    """A bake planned for another day is told of, and is today's once its day was changed."""
    bake = trial.bake("1")
    today = datetime.now(ZoneInfo(bake.zone)).date()
    later = (today + timedelta(days=8)).isoformat()
    assert type_into("bake", bake, "day", later) == ("saved", later, "")
    assert panel.bake.options == ((f"bake 1 of {later}", bake.id),)
    assert "It is planned in 8 days. Baked earlier or later?" in plain(panel.coming.value)
    assert panel.running.layout.display == "none"
    with pytest.raises(kit.errors.InputError, match="is not a day"):
        panel.tables["bake"].sheet.store("day", bake.id, "some day", sure=False)
    assert trial.bake("1").day.isoformat() == later
    assert type_into("bake", bake, "day", "Tomorrow")[1] == (today + timedelta(days=1)).isoformat()
    assert type_into("bake", bake, "day", "today")[:2] == ("saved", today.isoformat())
    assert panel.bake.value == bake.id
    assert (panel.coming.value, panel.running.layout.display) == ("", None)
    panel.undo.click()
    panel.undo.click()
    assert panel.bake.options == ((f"bake 1 of {later}", bake.id),)
    new = trial.add_bake(today)  # by the other one, at a desk
    assert type_into("bake", bake, "flour_lot", "F2")[0] == "saved"
    assert (f"bake 2 of {today}", new.id) in panel.bake.options
    assert panel.bake.value == bake.id


def test_a_place_the_griddle_does_not_have_is_asked_about(panel, trial, type_into):
    load, pieces = trial.add_load(trial.bake("1")), trial.pieces()
    panel.refresh()
    for place, piece in enumerate(pieces[:4], 1):  # row by row nothing is asked
        assert type_into("piece", piece, "load", "1")[0] == "saved"
        assert type_into("piece", piece, "place", str(place))[0] == "saved"
    type_into("piece", pieces[4], "load", "1")
    asked = type_into("piece", pieces[4], "place", "7")
    assert asked == (
        "asked", "7", "Place 7 is unusual: so far the griddle had places 1 to 5. Is it right?",
    )  # fmt: skip
    assert trial.pieces()[4].place is None
    assert type_into("piece", pieces[4], "place", "7", sure=True)[0] == "saved"
    assert trial.pieces()[4].place == 7
    type_into("piece", pieces[5], "load", "1")
    assert type_into("piece", pieces[5], "place", "6")[0] == "saved"
    assert trial.pieces()[5].load == load


@pytest.mark.parametrize("typed", ["31..5", "3 1.5", "31.5."])
def test_a_slip_in_a_number_is_told_how_to_write_it(trial, type_into, typed):
    state, _, says = type_into("piece", trial.piece("1A1"), "rise_height_mm", typed)
    assert state == "refused"
    assert says == (
        f"“{typed}” is not a number. Write digits, with a comma or a point before decimals, for "
        "example 2.5 or 3 1/2."
    )


def test_plan_stands_beside_what_was_done(trial, ws):
    dough = trial.dough("1A")
    trial.record(dough, "malt_percent", "0.8", how="planned")
    panel = panels.record(ws)
    cell = panel.tables["dough"].entry.sheet["cells"][f"{dough.id} malt_percent"]
    assert (cell["text"], cell["beside"]) == ("", "planned 0.8")
    assert Typist(panel)("dough", dough, "malt_percent", "0,75")[0] == "saved"
    panel.refresh()
    cell = panel.tables["dough"].entry.sheet["cells"][f"{dough.id} malt_percent"]
    assert (cell["text"], cell["beside"]) == ("0.75", "planned 0.8")
    trial.record(trial.piece("1A1"), "rise_height_mm", 30, how="photo")
    panel.refresh()
    cells = panel.tables["piece"].entry.sheet["cells"].values()
    assert [c["beside"] for c in cells if c["text"]] == ["from a photo"]


def test_computed_quantities_are_recorded_by_what_they_come_from(ws, trial):
    trial.change(outcome="bake_loss_percent")
    panel = panels.record(ws)
    assert columns(panel, "piece")[:2] == ["ball_weight_g", "baked_weight_g"]
    offered = [name for _, name in panel.tables["piece"].more.options]
    assert "bake_loss_percent" not in offered


def test_a_column_is_added_and_stays(panel, trial, type_into, ws):
    table = panel.tables["piece"]
    table.more.value = "core_temp_c"
    assert columns(panel, "piece")[-1] == "core_temp_c"
    assert table.more.value == ""
    assert "core_temp_c" not in [name for _, name in table.more.options]
    type_into("piece", trial.piece("1A1"), "core_temp_c", "94")
    assert "core_temp_c" in columns(panels.record(ws), "piece")
    # the browser asks for columns it holds unsaved texts of; only known ones come
    table.entry._handle_custom_msg({"kind": "seek", "columns": ["diameter_mm", "song"]}, [])
    assert columns(panel, "piece")[-1] == "diameter_mm"


def test_own_quantities_are_offered(ws, trial):
    own = Quantity("crust_mm", "Crust", "mm", "piece", (0, 20), (0.5, 5), 1, "Of the face.")
    ws.add_quantity(own)
    panel = panels.record(ws)
    assert ("Crust (mm)", "crust_mm") in panel.tables["piece"].more.options


def test_begin_a_trial_a_bake_and_what_it_has(tmp_path):
    with kit.Workspace(tmp_path / "empty") as ws:
        panel = panels.record(ws)
        assert panel.trial.value is None
        assert panel.begin.disabled
        assert panel.new.value  # nothing there: the form is open
        form = panel.form
        form.begin.click()
        assert "must not be empty" in form.name.said.value
        form.name.value, form.question.value = "salt", "Less salt?"
        form.settings.value = "1, 2"
        form.begin.click()
        assert "need to say what is changed. Choose it above." in form.settings.said.value
        form.factor.value = "salt_percent"
        form.settings.value = "much"
        form.begin.click()
        assert "is not a number" in form.settings.said.value
        form.settings.value = "1,5; 2"
        form.outcome.value = "rise_height_mm"
        assert form.matters.text.description == "What matters (mm)"
        form.matters.value = "1/8 in"
        form.begin.click()
        trial = ws.trial("salt")
        assert trial.factors == {"salt_percent": [1.5, 2.0]}
        assert trial.matters == pytest.approx(3.175)
        assert panel.trial.value == "salt"
        assert not panel.new.value

        panel.day.value = "26.11."
        panel.begin.click()
        assert "is not a day written year-month-day" in panel.day.said.value
        assert (panel.day.value, panel.said.value) == ("26.11.", "")  # said once
        panel.day.value = "2026-06-18"
        panel.begin.click()
        assert "bake 1 of 2026-06-18 begun" in panel.said.value
        assert str(trial.bake("1").day) == "2026-06-18"
        panel.doughs.value, panel.loads.value, panel.pieces.value = "2", "2", "six"
        panel.add.click()
        assert "must be a whole number" in panel.pieces.said.value
        assert trial.doughs() == []  # nothing half done
        panel.pieces.value = "6"
        panel.add.click()
        assert "Added: 2 doughs, 2 loads, 12 pieces." in panel.said.value
        panel.add.click()  # a second press with a floury knuckle
        assert "There are as many already." in panel.said.value
        assert len(trial.pieces()) == 12
        assert len(panel.tables["piece"].entry.sheet["rows"]) == 12


def test_same_name_twice_is_told_beside_the_name(panel):
    panel.form.name.value = "malt"
    panel.form.begin.click()
    assert "is taken by another trial" in panel.form.name.said.value
    panel.form.name.value = "other"
    panel.form.matters.value = "2"
    panel.form.begin.click()
    assert "Say what you measure." in panel.form.trouble.value


def test_the_trial_last_worked_on_is_shown(ws, trial):
    ws.new_trial("salt", outcome="rise_height_mm")
    assert panels.record(ws).trial.value == "salt"
    trial.record(trial.piece("1A1"), "rise_height_mm", 30)
    assert panels.record(ws).trial.value == "malt"


def test_what_is_on_its_way_when_another_bake_is_chosen_goes_where_it_was_typed(panel, trial):
    table, old = panel.tables["piece"], panel.tables["piece"].entry
    piece = trial.piece("1A1")
    panel.begin.click()
    assert panel.bake.label.startswith("bake 2")
    assert table.entry is None
    cell = {"row": piece.id, "column": "rise_height_mm", "text": "31,5", "base": None}
    old._heard(old, {"kind": "write", "client": "t", "seq": 1, "cells": [cell]}, [])
    assert trial.frame()["rise_height_mm"][0] == 31.5
    assert "Height 31.5 mm, piece 1A1" in panel.last.value


def test_a_piece_removed_meanwhile_is_said(panel, trial, type_into):
    piece = trial.piece("1A1")
    trial.remove(piece)
    state, _, says = type_into("piece", piece, "rise_height_mm", "30")
    assert state == "refused"
    assert "was removed" in says


def test_undo_and_history(panel, trial, type_into, ws):
    type_into("piece", trial.piece("1A1"), "rise_height_mm", "30")
    panel.past.value = True
    assert "malt: Height 30.0 mm, piece 1A1" in plain(panel.history.value)
    panel.undo.click()
    assert "malt: Height 30.0 mm, piece 1A1 (undone)" in plain(panel.history.value)
    while not panel.undo.disabled:
        panel.undo.click()
    assert ws.trials() == []
    assert panel.trial.value is None
    assert panel.tables["piece"].entry is None


def test_what_happened_is_noted_and_can_be_undone(panel, trial):
    form = panel.events
    assert form.layout.display == "none"
    panel.happened.value = True
    assert form.layout.display is None
    offered = [label for label, _ in form.of.options]
    assert offered[:3] == ["bake 1", "dough 1A", "dough 1B"]
    form.note.click()
    assert "must not be empty" in form.what.said.value
    form.of.value = trial.piece("1A2").id
    form.what.value, form.at.value = "burnt <i>", "half past"
    form.note.click()
    assert "is not a time" in form.at.said.value
    assert trial.events().empty
    form.more.value, form.at.value = "the flame was too high", "9:40"
    form.note.click()
    # the bake is over: a time alone is of its day
    told = "Noted: burnt &lt;i&gt;, piece 1A2, 09:40 on Thursday 2026-06-18. Undo takes it back."
    assert told in form.said.value
    assert form.what.value == form.more.value == form.at.value == ""
    told = trial.events().iloc[0]
    assert (told["kind"], told["code"], f"{told['at']:%H:%M}") == ("burnt <i>", "1A2", "09:40")
    said, listed = form.noted.children
    assert said.value == "Noted so far:"
    assert plain(listed.children[0].value).endswith(
        "09:40 piece 1A2: burnt &lt;i&gt; (the flame was too high)"
    )
    assert form.what.text.options[0] == "burnt <i>"  # the same word each time
    form.note.click()  # nothing typed: refused, and the last word is no longer "Noted"
    assert ("must not be empty" in form.what.said.value, form.said.value) == (True, "")
    assert "malt: event 'burnt <i>' on piece 1A2 noted" in unescape(panel.last.value)
    panel.undo.click()
    assert trial.events().empty
    assert form.noted.children == ()


def test_what_was_noted_by_mistake_is_taken_out(panel, trial):
    for kind in ("burnt", "torn", "dropped"):
        trial.event(kind, on=trial.piece("1A2"))
    panel.refresh()
    form = panel.events
    torn = form.noted.children[2]  # the newest stands first
    assert "torn" in torn.children[0].value
    out = torn.children[1]
    assert (out.description, out.tooltip) == (
        "Take it out", "Take out torn, piece 1A2: noted by mistake",
    )  # fmt: skip
    out.click()
    assert trial.events()["kind"].tolist() == ["burnt", "dropped"]
    assert len(form.noted.children) == 3
    assert "Taken out: torn, piece 1A2. Undo brings it back." in form.said.value
    out.click()  # as from a window that has not seen it go
    assert trial.events()["kind"].tolist() == ["burnt", "dropped"]
    panel.undo.click()
    assert sorted(trial.events()["kind"]) == ["burnt", "dropped", "torn"]


def test_what_happened_is_of_the_bake_that_is_shown(panel, trial):
    first = trial.bake("1")
    trial.event("fridge left open", on=first)
    second = trial.add_bake("2026-06-25")
    for bake in (first, second):
        trial.event("smoke", on=trial.add_load(bake))
    panel.refresh()
    for bake, noted in ((second, 1), (first, 2)):
        panel.bake.value = bake.id
        told = panel.events.noted.children[1:]
        assert len(told) == noted
        assert f"load 1 of bake {bake.code}: smoke" in told[0].children[0].value
    panel.events.what.value = "a" * 41
    panel.events.note.click()
    assert "must be at most 40 characters" in panel.events.what.said.value
    assert panel.events.what.value == "a" * 41  # nothing typed is lost


@pytest.mark.parametrize("typed", ["burnt", "n/a", "-"])
def test_a_word_in_a_number_s_field_is_told_where_to_go(panel, trial, type_into, typed):
    state, text, says = type_into("piece", trial.piece("1A1"), "rise_height_mm", typed)
    assert (state, text) == ("refused", typed)
    assert says == (
        f"“{typed}” is not a number. Leave it empty, and note below under “Something happened?” "
        "what it was."
    )


def test_fahrenheit_without_its_letter_is_offered(ws, trial, type_into):
    trial.change(outcome="core_temp_c")
    piece, dough = trial.piece("1A1"), trial.dough("1A")
    type_into.panel.refresh()
    type_into.panel.tables["dough"].add("dough_temp_c")
    offer = "76 °F would be 24.4 °C: write 76 F if you mean that."
    assert type_into("dough", dough, "dough_temp_c", "76") == (
        "refused", "76", f"“76” must lie between -10 and 60 °C. {offer}",
    )  # fmt: skip
    # 200 °F are 93.33 °C by the definition of the scale, (200 - 32) x 5/9
    assert (
        "200 °F would be 93.3 °C: write 200 F" in type_into("piece", piece, "core_temp_c", "200")[2]
    )
    assert "°F" not in type_into("piece", piece, "core_temp_c", "500")[2]
    assert "°F" not in type_into("dough", dough, "dough_temp_c", "40")[2]  # 40 °F is none either
    load = trial.add_load(trial.bake("1"))
    type_into.panel.refresh()
    type_into.panel.tables["load"].add("griddle_temp_c")
    state, _, says = type_into("load", load, "griddle_temp_c", "350")
    assert state == "asked"
    assert says == (  # the other scale is offered once
        "Griddle temperature 350 °C is unusual (mostly 140 to 230 °C; if it was typed without a "
        "unit and °F is meant, write 350 F). Is it right?"
    )
    assert type_into("load", load, "griddle_temp_c", "350 F")[0] == "saved"
    assert type_into("load", load, "griddle_temp_c", "350", sure=True)[0] == "saved"


def test_demo_is_called_invented(tmp_path):
    with panels.open_workspace(tmp_path / "bakes") as ws:
        panel = panels.record(ws)
        assert "Invented data" in panel.about.value
        assert len(panel.tables["piece"].entry.sheet["rows"]) == 12


def test_stages_of_a_running_bake_have_their_place(panel, trial):
    assert panel.running.layout.display == "none"  # not today
    panel.begin.click()
    assert panel.running.layout.display is None
    assert panel.running.children[0].bake.id == panel.bake.value


def test_every_control_has_a_label(panel):
    for control in (panel.trial, panel.bake, panel.day.text, panel.doughs.text, panel.begin):
        assert control.description


def test_a_pasted_block_is_one_undo(panel, trial):
    entry = panel.tables["piece"].entry
    entry.send = lambda _: None
    cells = [
        {"row": piece.id, "column": "rise_height_mm", "text": text, "base": None, "sure": False}
        for piece, text in zip(trial.pieces(), ("30", "31,5", "-4", "1 1/4 in"), strict=False)
    ]
    entry._handle_custom_msg({"kind": "write", "client": "t", "seq": 1, "cells": cells}, [])
    assert trial.frame()["rise_height_mm"].dropna().tolist() == [30, 31.5, 31.75]  # -4 is refused
    panel.undo.click()
    assert "Undone: malt: 4 values filled in." in plain(panel.undone.value)
    assert "rise_height_mm" not in trial.frame()


def test_what_is_added_at_once_is_one_undo(panel, trial):
    panel.doughs.value, panel.loads.value, panel.pieces.value = "4", "2", "6"
    panel.add.click()
    assert (len(trial.doughs()), len(trial.loads()), len(trial.pieces())) == (4, 2, 24)
    panel.undo.click()
    assert (len(trial.doughs()), len(trial.loads()), len(trial.pieces())) == (2, 0, 6)


def heads(panel):
    return [row["text"] for row in panel.tables["piece"].entry.sheet["rows"]]


def test_rows_in_the_order_of_the_bench_sheet_or_by_code_alone(panel, trial, type_into):
    load = trial.add_load(trial.bakes()[0])
    first, second, third, *_ = trial.pieces()
    for place, (piece, code) in enumerate(((third, "105"), (first, "933"), (second, "482")), 1):
        trial.change(piece, load=load, place=place, blind=code)
    trial.record(first, "side_minutes", 5, how="planned")
    trial.change(factors={"malt_percent": [0, 0.8], "side_minutes": [5, 6]})
    panel.refresh()
    table = panel.tables["piece"]
    assert heads(panel) == ["1A1", "1A2", "1A3", "1B1", "1B2", "1B3"]
    table.order.value = "griddle"
    assert heads(panel)[:3] == ["1A3", "1A1", "1A2"]
    table.order.value = "code"
    assert heads(panel) == ["105", "1B1", "1B2", "1B3", "482", "933"]
    assert "side_minutes" not in columns(panel, "piece")  # it would tell the setting
    assert "load" not in columns(panel, "piece")
    shown = str(table.entry.sheet)
    assert "planned" not in shown
    assert "1A1" not in shown
    assert type_into("piece", first, "rise_height_mm", "31,5")[0] == "saved"
    assert trial.frame().set_index("piece").loc["1A1", "rise_height_mm"] == 31.5
    assert heads(panel)[-1] == "933"


def test_a_trial_without_a_bake_can_begin_one(ws):
    ws.new_trial("salt", factors={"salt_percent": [1.2, 1.8]}, outcome="rise_height_mm")
    panel = panels.record(ws)
    assert panel.begin.layout.display is None
    assert panel.new.layout.display is None
    assert panel.change.layout.display == "none"  # nothing to add to yet
    panel.day.value = "2026-12-03"
    panel.begin.click()
    assert panel.chosen_bake.code == "1"
    assert panel.change.layout.display is None


def test_a_us_kitchen_reads_its_own_thermometer(ws, monkeypatch):
    monkeypatch.setenv("KIT_UNITS", "us")
    made = ws.new_trial("milk", factors={"liquid_temp_c": [21, 40.5]}, outcome="rise_height_mm")
    dough = made.add_dough(made.add_bake("2026-06-18"))
    made.add_piece(dough)
    made.record(dough, "liquid_temp_c", 21, how="planned")
    panel = panels.record(ws)
    told = "liquid temperature: 21 °C (70 °F), 40.5 °C (105 °F)"
    assert f"Changed on purpose: {told}" in plain(panel.about.value)
    sheet = panel.tables["dough"].entry.sheet
    head = next(c for c in sheet["columns"] if c["key"] == "liquid_temp_c")
    assert head["more"] == "°C or °F"
    assert sheet["cells"][f"{dough.id} liquid_temp_c"]["beside"] == "planned 21 °C (70 °F)"
    answer = panel.tables["dough"].sheet.store(dough.id, "liquid_temp_c", "104 F", False)
    assert answer.says == (
        "40 °C (104 °F) is nearer to 40.5 °C (105 °F), as of others, than to 21 °C (70 °F), as "
        "planned. Is it right?"
    )


def test_by_codes_alone_nothing_tells_whose_a_piece_is(ws):
    made = ws.new_trial("malt", factors={"malt_percent": [0, 1]}, outcome="rise_height_mm")
    made.keep(kit.design([kit.Factor("malt_percent", (0, 1))], kit.Kitchen(bakes=1, tubs=2)))
    panel = panels.record(ws)
    piece = made.pieces()[0]
    panel.tables["piece"].sheet.store(piece.id, "rise_height_mm", "31", False)
    panel.past.value = True
    panel.refresh()
    assert str(piece) in plain(panel.last.value)
    panel.tables["piece"].order.value = "code"
    for told in (panel.last, panel.history):
        assert f"code {piece.blind}" in plain(told.value)
        assert str(piece) not in plain(told.value)
    panel.tables["piece"].order.value = "dough"
    assert str(piece) in plain(panel.last.value)


def test_by_codes_alone_other_bakes_are_blind_too_and_other_trials_have_their_own_codes(ws):
    plan = kit.design([kit.Factor("malt_percent", (0, 1))], kit.Kitchen(bakes=2, tubs=2))
    made, other = (
        ws.new_trial(name, factors={"malt_percent": [0, 1]}, outcome="rise_height_mm")
        for name in ("malt", "rye")
    )
    for trial in (made, other):
        trial.keep(plan)
    panel = panels.record(ws)
    panel.trial.value = "malt"
    panel.tables["piece"].order.value = "code"
    elsewhere = next(p for p in made.pieces() if p.dough.bake != panel.chosen_bake)
    made.record(elsewhere, "rise_height_mm", 31)
    panel.refresh()
    assert panel.last.value.count(f"code {elsewhere.blind}") == 1
    other.record(other.pieces()[0], "rise_height_mm", 31)
    panel.refresh()
    assert f"rye: Height 31.0 mm, {other.pieces()[0]}" in plain(panel.last.value)
    panel.undo.click()
    panel.undo.click()
    assert plain(panel.undone.value) == f"Undone: malt: Height 31.0 mm, code {elsewhere.blind}."
    while not panel.undo.disabled:  # the trial with its bakes, too
        panel.undo.click()
        assert "Not yet" not in panel.undone.value


def test_a_bake_is_begun_on_a_day_as_it_is_said(panel, trial):
    today = datetime.now(ZoneInfo(trial.zone)).date()
    panel.day.value = "Yesterday"
    panel.begin.click()
    assert plain(panel.said.value) == f"bake 2 of {today - timedelta(days=1)} begun."


def test_a_table_of_a_trial_that_is_gone_says_so(panel, trial):
    """Another window took it away: a sentence stands there, nothing is raised."""
    table = panel.tables["piece"]
    with kit.Workspace(trial.workspace.folder) as other:
        other.remove_trial("malt")
    table.more.value = next(key for _, key in table.more.options if key)
    assert plain(table.said.value).startswith("Not yet: no trial &#x27;malt&#x27;.")
    table.said.value = ""
    table.order.value = "griddle"
    assert plain(table.said.value).startswith("Not yet: no trial &#x27;malt&#x27;.")

"""The entry table without a browser: what it answers to the messages the browser sends."""

import pytest

from kit.errors import InputError, NotFoundError, StoreError
from kit.panels.parts.entry import Answer, Cell, EntryTable, Heading

COLUMNS = [Heading("height", "Height", "mm"), Heading("weight", "Weight", "g")]
ROWS = [Heading("p1", "piece 1A1"), Heading("p2", "piece 1A2")]


class Store:
    """Stands for the records: remembers every call."""

    def __init__(self):
        self.calls = []

    def __call__(self, row, column, text, sure):
        self.calls.append((row, column, text, sure))
        if text == "locked":
            raise StoreError("the file is in use by another program")
        if text == "gone":
            raise NotFoundError("piece", "1A1", ["1A2"])
        if text == "0":
            raise InputError("height_mm", 0.0, "must be above 0", "Enter height in mm.", "piece")
        if text == "12" and not sure:
            return Answer("asked", text, "Is it right?")
        return Answer("saved", text.replace(",", "."))


@pytest.fixture
def store():
    return Store()


@pytest.fixture
def table(store):
    made = EntryTable(COLUMNS, ROWS, store, {("p2", "weight"): Cell("Weight g, piece 1A2", "70")})
    made.sent = []
    made.send = made.sent.append
    return made


def write(table, *cells, seq=1, client="me"):
    """Send what the browser would; return the answers to it."""
    listed = [
        {"row": row, "column": column, "text": text, "base": None, "sure": False, **more}
        for row, column, text, more in cells
    ]
    message = {"kind": "write", "client": client, "seq": seq, "cells": listed}
    table._handle_custom_msg(message, [])
    assert table.sent[-1]["seq"] == seq
    assert table.sent[-1]["client"] == client
    return [(a["state"], a["text"], a["says"]) for a in table.sent[-1]["cells"]]


def test_fields_are_named_after_row_and_column(table):
    cells = table.sheet["cells"]
    assert cells["p1 height"] == {
        "label": "Height mm, piece 1A1", "text": "", "beside": "", "words": False, "given": False,
    }  # fmt: skip
    assert cells["p2 weight"]["text"] == "70"
    assert [c["text"] for c in table.sheet["columns"]] == ["Height", "Weight"]


def test_a_value_is_stored_answered_and_kept_for_a_new_page(table, store):
    assert write(table, ("p1", "height", "61,4", {})) == [("saved", "61.4", "")]
    assert store.calls == [("p1", "height", "61,4", False)]
    assert table.text("p1", "height") == "61.4"


def test_a_block_is_answered_cell_by_cell(table, store):
    answers = write(
        table, ("p1", "height", "30", {}), ("p1", "weight", "0", {}), ("p2", "height", "12", {})
    )
    assert answers == [
        ("saved", "30", ""),
        ("refused", "0", "“0” must be above 0. Enter height in mm."),
        ("asked", "12", "Is it right?"),
    ]
    assert [table.text("p1", "height"), table.text("p1", "weight")] == ["30", ""]
    assert table.text("p2", "height") == ""


def test_saying_that_it_is_right_stores_it(table, store):
    write(table, ("p1", "height", "12", {}))
    assert write(table, ("p1", "height", "12", {"sure": True}), seq=2) == [("saved", "12", "")]
    assert store.calls[-1] == ("p1", "height", "12", True)


def test_a_message_that_comes_again_is_answered_and_not_stored_again(table, store):
    first = write(table, ("p1", "height", "30", {}))
    write(table, ("p1", "height", "31", {}), seq=2)
    assert write(table, ("p1", "height", "30", {})) == first
    assert [text for *_, text, _ in store.calls] == ["30", "31"]
    assert table.text("p1", "height") == "31"
    # another page counts for itself
    write(table, ("p1", "height", "32", {}), client="other page")
    assert store.calls[-1][2] == "32"


def test_answers_are_not_remembered_for_ever(table):
    for seq in range(1, 600):
        write(table, ("p1", "height", str(seq), {}), seq=seq)
    assert len(table._once) == 500


def test_what_cannot_be_stored_now_is_said_and_tried_again(table, store):
    answer = ("failed", "locked", "the file is in use by another program")
    assert write(table, ("p1", "height", "locked", {})) == [answer]
    assert write(table, ("p1", "height", "gone", {}), seq=2)[0][0] == "refused"
    assert table.text("p1", "height") == ""


def test_a_text_from_before_a_reload_does_not_overwrite_a_newer_value(table, store):
    # p2 weighs 70 by now; when this was typed it was empty
    answers = write(table, ("p2", "weight", "71", {"base": ""}))
    assert answers == [("differs", "71", "Since you typed this, 70 was saved.")]
    assert store.calls == []
    assert write(table, ("p2", "weight", "71", {"base": "70"}), seq=2)[0][0] == "saved"
    # its answer was lost, and it is there already
    assert write(table, ("p2", "weight", "71", {"base": ""}), seq=3)[0][0] == "saved"
    write(table, ("p2", "weight", "", {}), seq=4)
    taken = write(table, ("p2", "weight", "72", {"base": "71"}), seq=5)
    assert taken == [("differs", "72", "Since you typed this, the value was taken out.")]


def test_nonsense_is_refused(table, store):
    assert write(table, ("p9", "height", "30", {})) == [
        ("refused", "30", "This field is no longer in the table.")
    ]
    sent = len(table.sent)
    table._handle_custom_msg({"kind": "song"}, [])
    table._handle_custom_msg({}, [])
    assert len(table.sent) == sent
    assert store.calls == []
    long = write(table, ("p1", "height", "0", {}))[0][2]
    assert len(long) < 80


def test_who_listens_hears_what_was_stored(table):
    heard, sought = [], []
    table.after, table.seek = heard.append, sought.append
    write(table, ("p1", "height", "30", {}), ("p1", "weight", "0", {}))
    assert heard == [[("p1", "height")]]
    table._handle_custom_msg({"kind": "seek", "columns": ["core"]}, [])
    assert sought == [["core"]]


def test_other_rows_and_columns(table):
    write(table, ("p1", "height", "30", {}))
    table.show([COLUMNS[0]], ROWS[:1], {("p1", "height"): Cell("Height mm, piece 1A1", "30")})
    assert list(table.sheet["cells"]) == ["p1 height"]
    assert write(table, ("p2", "height", "30", {}), seq=2)[0][0] == "refused"


def test_an_error_nobody_foresaw_is_no_answer(store):
    """The browser then says NOT SAVED: better than an answer that is not true."""

    def broken(*_):
        raise RuntimeError("not foreseen")

    table = EntryTable(COLUMNS, ROWS, broken)
    table.sent = []
    table.send = table.sent.append
    with pytest.raises(RuntimeError, match="not foreseen"):
        table._heard(table, {"kind": "write", "client": "me", "seq": 1, "cells": [
            {"row": "p1", "column": "height", "text": "30"}]}, [])  # fmt: skip
    assert table.sent == []


def test_browser_part_is_beside_it():
    assert "export default" in str(EntryTable._esm)
    assert ".kit-entry" in str(EntryTable._css)

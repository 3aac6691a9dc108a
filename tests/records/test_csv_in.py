"""Tables with the kit's own column names, as a frame comes out of it."""

import math
from datetime import date

import pandas as pd
import pytest

from kit.errors import DataError
from kit.records.sheets.problems import problem_lines

GOOD = """bake,day,dough,load,piece,place,flour_lot,malt_percent,side_minutes,rise_height_mm,events
1,2026-11-26,1A,1,1A1,1,F2,0,6,38.5,
1,2026-11-26,1A,1,1A2,2,F2,0,6,,"burnt; dropped"
1,2026-11-26,1B,2,1B1,1,F2,0.8 %,7,1 1/2 in,
2,2026-12-03,2A,1,2A1,1,F3,0.8,6,39,
"""


def write(tmp_path, text, name="malt.csv", encoding="utf-8"):
    path = tmp_path / name
    path.write_text(text, encoding=encoding)
    return path


def bring(trial, source):
    look = trial.look_at(source)
    assert look.questions == ()
    assert look.problems.empty
    return trial.bring_in(look)


def problems(trial, source):
    """The problems of a table without open questions, as they are told."""
    look = trial.look_at(source)
    assert look.questions == ()
    return problem_lines(look.problems, 99)


def test_a_good_file(ws, trial, tmp_path):
    assert bring(trial, write(tmp_path, GOOD)).checks == (
        "time a side (6 and 7 min) is set differently within a bake: name each as a factor of the "
        "trial, or the answer about another will not hold it alike",
    )
    frame = trial.frame()
    assert frame["piece"].tolist() == ["1A1", "1A2", "1B1", "2A1"]
    assert frame["malt_percent"].tolist() == [0, 0, 0.8, 0.8]
    assert frame["rise_height_mm"].fillna(-1).tolist() == [38.5, -1, 38.1, 39]
    assert frame["events"].fillna("").tolist() == ["", "burnt; dropped", "", ""]
    assert frame["flour_lot"].tolist() == ["F2", "F2", "F2", "F3"]
    assert [bake.day for bake in trial.bakes()] == [date(2026, 11, 26), date(2026, 12, 3)]
    assert len(trial.loads()) == 3
    assert set(trial.provenance()["malt_percent"]) == {"entered"}
    assert ws.history(1)["what"].tolist() == ["malt: brought in 4 rows of malt.csv"]


@pytest.mark.parametrize(
    ("separator", "encoding"), [(";", "utf-8"), ("\t", "utf-8"), (";", "utf-8-sig")]
)
def test_as_a_spreadsheet_with_decimal_commas_writes_it(trial, tmp_path, separator, encoding):
    text = GOOD.replace(",", separator).replace("38.5", "38,5").replace("0.8", "0,8")
    bring(trial, write(tmp_path, text, encoding=encoding))
    assert trial.frame()["rise_height_mm"].fillna(-1).tolist() == [38.5, -1, 38.1, 39]


def test_what_came_out_goes_in_again(ws, trial, tmp_path):
    bring(trial, write(tmp_path, GOOD))
    piece = trial.piece("1A1")
    trial.record(piece, "ball_weight_g", 80.04)
    trial.record(piece, "baked_weight_g", 71.9)
    trial.record(trial.piece("2A1"), "bake_loss_percent", 11)
    frame = trial.frame()
    file = tmp_path / "out.csv"
    frame.to_csv(file, index=False)
    for name, source in (("file", file), ("frame", frame)):
        copy = ws.new_trial(name)
        bring(copy, source)
        pd.testing.assert_frame_equal(copy.frame(), frame)
        # computed before, computed again: it follows a corrected weight
        assert copy.provenance()["bake_loss_percent"].fillna("").tolist() == [
            "computed", "", "", "entered",
        ]  # fmt: skip
        copy.record(copy.piece("1A1"), "baked_weight_g", 72.036)
        assert copy.frame()["bake_loss_percent"].iloc[0] == pytest.approx(10)


def test_pieces_without_a_code_are_numbered(trial):
    table = pd.DataFrame({"bake": 1, "dough": ["A", "A", "A", "1B"], "piece": [None, "A1", "", 7]})
    bring(trial, table)
    assert trial.frame()["piece"].tolist() == ["A2", "A1", "A3", "7"]


def test_numbers_and_days_of_a_frame(trial):
    table = pd.DataFrame(
        {
            "bake": [1.0, 2.0], "dough": ["A", "A"], "load": [1.0, math.nan],
            "day": pd.to_datetime(["2026-11-26", None]), "rise_height_mm": [38.5, math.nan],
        }
    )  # fmt: skip
    bring(trial, table)
    frame = trial.frame()
    assert frame["bake"].tolist() == ["1", "2"]
    assert frame["day"].isna().tolist() == [False, True]
    assert frame["load"].isna().tolist() == [False, True]
    assert frame["rise_height_mm"].isna().tolist() == [False, True]


def test_blank_lines_and_columns_do_no_harm(trial, tmp_path):
    text = "bake,dough,rise_height_mm,,\n1,1A,38,,\n,,,,\n\n1,1A,tall,,\n"
    assert problems(trial, write(tmp_path, text)) == [
        "  row 5, rise_height_mm 'tall': Is not a number. Write digits, with a comma or a point "
        "before decimals, for example 2.5 or 3 1/2."
    ]
    bring(trial, write(tmp_path, text.replace("tall", "39")))
    assert trial.frame()["rise_height_mm"].tolist() == [38, 39]


def test_unusual_is_stored_and_told_once_a_thing(trial):
    table = pd.DataFrame(
        {
            "bake": 1, "dough": ["1A", "1A", "1B"], "malt_percent": [3, 3, 0.8],
            "rise_height_mm": [65, 38, 66],
        }
    )  # fmt: skip
    assert bring(trial, table).checks == (
        "row 2, malt_percent: Diastatic malt 3.00 % is unusual (mostly 0 to 2 %). Is it right?",
        "row 2, rise_height_mm: Height 65.0 mm is unusual (mostly 15 to 60 mm). Is it right?",
        "row 4, rise_height_mm: Height 66.0 mm is unusual (mostly 15 to 60 mm). Is it right?",
    )
    assert trial.frame()["rise_height_mm"].tolist() == [65, 38, 66]


BAD = """bake,day,dough,load,piece,place,malt_percent,room_temp_c,griddle_temp_c,hollow_tap
1,2026-11-26,1A,1,1A1,1,0,21,190,2
1,26/11/26,1A,1,1A1,1,0.8,22,190,1.5
1,2026-11-27,,1,x,,1000000,5 oz,190,2
,,1B,,1B1,3,0,,200,inf
1,,1C,first,1C1,0,0,,,
"""


def test_every_problem_is_told_at_once_by_row(ws, trial, tmp_path):
    before = len(ws.history())
    assert problems(trial, write(tmp_path, BAD)) == [
        "  row 3, piece '1A1': Is already in row 2. Give each piece of a dough its own code.",
        "  row 3, place '1': Is taken in load 1 of bake 1 by row 2. One place holds one piece.",
        "  row 3, malt_percent '0.8': Dough 1A has 0.00 % in row 2. "
        "One dough has one diastatic malt.",
        "  row 3, room_temp_c '22': Bake 1 has 21.0 °C in row 2. "
        "One bake has one room temperature.",
        "  row 3, hollow_tap '1.5': Must be a whole number. "
        "How it sounds when tapped: 0 dense, 1 between, 2 hollow.",
        "  row 4, day '2026-11-27': Bake 1 has 2026-11-26 in row 2. One bake has one day.",
        "  row 4, dough: Must not be empty. Say which dough it is.",
        "  row 4, malt_percent '1000000': Must lie between 0 and 20 %. Enter diastatic malt in %.",
        "  row 4, room_temp_c '5 oz': Oz measures mass, expected temperature. "
        "Write it in °C, for example 40.5 °C or 105 F.",
        "  row 5, bake: Must not be empty. Say which bake it is.",
        "  row 5, place '3': Needs a load. "
        "Fill in the column load as well: 1 where the griddle was filled once.",
        "  row 5, griddle_temp_c '200': Belongs to a load, and the row names none. "
        "Fill in the column load as well: 1 where the griddle was filled once.",
        "  row 5, hollow_tap 'inf': Is not a number. "
        "How it sounds when tapped: 0 dense, 1 between, 2 hollow.",
        "  row 6, load 'first': Must be a whole number from 1. Write 1, 2, 3 …",
        "  row 6, place '0': Must be a whole number from 1. Write 1, 2, 3 …",
    ]
    assert len(ws.history()) == before


def test_an_infinite_number_in_a_frame(trial):
    table = pd.DataFrame({"bake": [1], "dough": ["1A"], "rise_height_mm": [math.inf]})
    assert problems(trial, table) == ["  row 2, rise_height_mm inf: Is not a finite number."]


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("bake,rise_height_mm\n1,38\n", "Which column says the dough? Without it no row can be "
         "stored."),
        ("bake,dough,dough\n1,1A,1B\n",
         "'dough' and 'dough (2)' both mean dough. Which? Now the first."),
        ("bake,dough,hieght_mm\n1,1A,38\n", "Does 'hieght_mm' mean Height?"),
    ],
)  # fmt: skip
def test_columns_are_asked_about(trial, tmp_path, text, told):
    assert trial.look_at(write(tmp_path, text)).questions == (told,)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("bake,dough\n1,1A,38\n", "  row 2, row '38': Has more cells than the heading. Give each "
         "column a heading, and put text that holds a comma in quotes."),
        ("bake,dough,flour_lot\n1,1A,a\0b\n", "  row 2, flour_lot 'a\\x00b': Holds characters that "
         "cannot be stored. Type it anew."),
    ],
)  # fmt: skip
def test_rows_that_cannot_be_used(trial, tmp_path, text, told):
    assert problems(trial, write(tmp_path, text)) == [told]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "malt.csv holds nothing that could be a table; nothing was stored."),
        ("bake,dough\n", "malt.csv has no rows below the heading; nothing was stored."),
        (
            f"bake,dough\n1,{'x' * 200_000}\n",
            "malt.csv cannot be read: a cell in row 2 holds more than 131072 characters. "
            "Perhaps a quotation mark is not closed.",
        ),
    ],
)
def test_files_that_cannot_be_read(trial, tmp_path, text, message):
    with pytest.raises(DataError) as caught:
        trial.look_at(write(tmp_path, text))
    assert str(caught.value) == message


def test_not_text_at_all(trial, tmp_path):
    path = tmp_path / "malt.xlsx"
    path.write_bytes(b"PK\x03\x04\xff\xfe\xfa")
    with pytest.raises(DataError) as caught:
        trial.look_at(path)
    assert str(caught.value) == (
        "malt.xlsx is damaged or no workbook. Open it in your spreadsheet, save it anew."
    )
    missing = tmp_path / "none.csv"
    with pytest.raises(DataError) as caught:
        trial.look_at(missing)
    assert str(caught.value) == f"{missing} is not there. Give a CSV or XLSX file."

import math
from datetime import date

import pandas as pd
import pytest

from kit.errors import DataError, NotFoundError

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


def refused(kind, trial, source):
    history = len(trial.workspace.history())
    with pytest.raises(kind) as caught:
        trial.import_csv(source)
    assert len(trial.workspace.history()) == history
    assert trial.frame().empty
    return str(caught.value)


def test_a_good_file(ws, trial, tmp_path):
    assert trial.import_csv(write(tmp_path, GOOD)) == []
    frame = trial.frame()
    assert frame["piece"].tolist() == ["1A1", "1A2", "1B1", "2A1"]
    assert frame["malt_percent"].tolist() == [0, 0, 0.8, 0.8]
    assert frame["rise_height_mm"].fillna(-1).tolist() == [38.5, -1, 38.1, 39]
    assert frame["events"].fillna("").tolist() == ["", "burnt; dropped", "", ""]
    assert frame["flour_lot"].tolist() == ["F2", "F2", "F2", "F3"]
    assert [bake.day for bake in trial.bakes()] == [date(2026, 11, 26), date(2026, 12, 3)]
    assert len(trial.loads()) == 3
    assert set(trial.provenance()["malt_percent"]) == {"entered"}
    assert ws.history(1)["what"].tolist() == ["malt: imported 4 pieces from malt.csv"]


@pytest.mark.parametrize(
    ("separator", "encoding"), [(";", "utf-8"), ("\t", "utf-8"), (";", "utf-8-sig")]
)
def test_as_a_spreadsheet_with_decimal_commas_writes_it(trial, tmp_path, separator, encoding):
    text = GOOD.replace(",", separator).replace("38.5", "38,5").replace("0.8", "0,8")
    trial.import_csv(write(tmp_path, text, encoding=encoding))
    assert trial.frame()["rise_height_mm"].fillna(-1).tolist() == [38.5, -1, 38.1, 39]


def test_what_came_out_goes_in_again(ws, trial, tmp_path):
    trial.import_csv(write(tmp_path, GOOD))
    piece = trial.piece("1A1")
    trial.record(piece, "ball_weight_g", 80.04)
    trial.record(piece, "baked_weight_g", 71.9)
    trial.record(trial.piece("2A1"), "bake_loss_percent", 11)
    frame = trial.frame()
    file = tmp_path / "out.csv"
    frame.to_csv(file, index=False)
    for name, source in (("file", file), ("frame", frame)):
        copy = ws.new_trial(name)
        copy.import_csv(source)
        pd.testing.assert_frame_equal(copy.frame(), frame)
        # computed before, computed again: it follows a corrected weight
        assert copy.provenance()["bake_loss_percent"].fillna("").tolist() == [
            "computed", "", "", "entered",
        ]  # fmt: skip
        copy.record(copy.piece("1A1"), "baked_weight_g", 72.036)
        assert copy.frame()["bake_loss_percent"].iloc[0] == pytest.approx(10)


def test_pieces_without_a_code_are_numbered(trial):
    table = pd.DataFrame({"bake": 1, "dough": ["A", "A", "A", "1B"], "piece": [None, "A1", "", 7]})
    trial.import_csv(table)
    assert trial.frame()["piece"].tolist() == ["A2", "A1", "A3", "7"]


def test_numbers_and_days_of_a_frame(trial):
    table = pd.DataFrame(
        {
            "bake": [1.0, 2.0], "dough": ["A", "A"], "load": [1.0, math.nan],
            "day": pd.to_datetime(["2026-11-26", None]), "rise_height_mm": [38.5, math.nan],
        }
    )  # fmt: skip
    trial.import_csv(table)
    frame = trial.frame()
    assert frame["bake"].tolist() == ["1", "2"]
    assert frame["day"].isna().tolist() == [False, True]
    assert frame["load"].isna().tolist() == [False, True]
    assert frame["rise_height_mm"].isna().tolist() == [False, True]


def test_blank_lines_and_columns_do_no_harm(trial, tmp_path):
    text = "bake,dough,rise_height_mm,,\n1,1A,38,,\n,,,,\n\n1,1A,tall,,\n"
    assert refused(DataError, trial, write(tmp_path, text)) == (
        "malt.csv has 1 problem; nothing was stored. Row 1 is the heading.\n"
        "rise_height_mm is 'tall' (row 5): is not a number. Write digits, with a comma or a point "
        "before decimals, for example 2.5 or 3 1/2."
    )
    trial.import_csv(write(tmp_path, text.replace("tall", "39")))
    assert trial.frame()["rise_height_mm"].tolist() == [38, 39]


def test_unusual_is_stored_and_told_once_a_thing(trial):
    table = pd.DataFrame(
        {
            "bake": 1, "dough": ["1A", "1A", "1B"], "malt_percent": [3, 3, 0.8],
            "rise_height_mm": [65, 38, 66],
        }
    )  # fmt: skip
    assert trial.import_csv(table) == [
        "row 2, malt_percent: Diastatic malt 3.00 % is unusual (mostly 0 to 2 %). Is it right?",
        "row 2, rise_height_mm: Height 65.0 mm is unusual (mostly 15 to 60 mm). Is it right?",
        "row 4, rise_height_mm: Height 66.0 mm is unusual (mostly 15 to 60 mm). Is it right?",
    ]
    assert trial.frame()["rise_height_mm"].tolist() == [65, 38, 66]


BAD = """bake,day,dough,load,piece,place,malt_percent,room_temp_c,griddle_temp_c,hollow_tap
1,2026-11-26,1A,1,1A1,1,0,21,190,2
1,26/11/2026,1A,1,1A1,1,0.8,22,190,1.5
1,2026-11-27,,1,x,,1000000,5 oz,190,2
,,1B,,1B1,3,0,,200,inf
1,,1C,first,1C1,0,0,,,
"""


def test_every_problem_is_told_at_once_by_row_and_nothing_is_stored(trial, tmp_path):
    assert refused(DataError, trial, write(tmp_path, BAD)) == (
        "malt.csv has 16 problems; nothing was stored. Row 1 is the heading.\n"
        "day is '26/11/2026' (row 3): is not a day written year-month-day. Write 2026-11-26.\n"
        "piece is '1A1' (row 3): is already in row 2. "
        "Give each piece of a dough its own code.\n"
        "place is 1 (row 3): is taken in load 1 of bake 1 by row 2. One place holds one piece.\n"
        "malt_percent is '0.8' (row 3): dough 1A has 0.00 % in row 2. "
        "One dough has one malt_percent.\n"
        "room_temp_c is '22' (row 3): bake 1 has 21.0 °C in row 2. One bake has one room_temp_c.\n"
        "hollow_tap is '1.5' (row 3): must be a whole number. "
        "How it sounds when tapped: 0 dense, 1 between, 2 hollow.\n"
        "day is '2026-11-27' (row 4): bake 1 has 2026-11-26 in row 2. One bake has one day.\n"
        "dough is '' (row 4): must not be empty. Say which dough it is.\n"
        "malt_percent is '1000000' (row 4): must lie between 0 and 20 %. "
        "Enter diastatic malt in %.\n"
        "room_temp_c is '5 oz' (row 4): oz measures mass, expected temperature. "
        "Write it in °C, for example 40.5 °C or 105 F.\n"
        "bake is '' (row 5): must not be empty. Say which bake it is.\n"
        "place is 3 (row 5): needs a load. "
        "Fill in the column load as well: 1 where the griddle was filled once.\n"
        "griddle_temp_c is '200' (row 5): belongs to a load, and the row names none. "
        "Fill in the column load as well: 1 where the griddle was filled once.\n"
        "hollow_tap is 'inf' (row 5): is not a number. "
        "How it sounds when tapped: 0 dense, 1 between, 2 hollow.\n"
        "load is 'first' (row 6): must be a whole number from 1. Write 1, 2, 3 …\n"
        "place is '0' (row 6): must be a whole number from 1. Write 1, 2, 3 …"
    )


def test_of_many_problems_the_first_twenty(trial):
    table = pd.DataFrame({"bake": 1, "dough": "1A", "rise_height_mm": ["soft"] * 25})
    told = refused(DataError, trial, table).splitlines()
    assert told[0] == "the table has 25 problems; nothing was stored. Row 1 is the heading."
    assert [line.split(":")[0] for line in told[1:21]] == [
        f"rise_height_mm is 'soft' (row {row})" for row in range(2, 22)
    ]
    assert told[21:] == ["and 5 more"]


def test_an_infinite_number_in_a_frame(trial):
    table = pd.DataFrame({"bake": [1], "dough": ["1A"], "rise_height_mm": [math.inf]})
    assert refused(DataError, trial, table) == (
        "the table has 1 problem; nothing was stored. Row 1 is the heading.\n"
        "rise_height_mm is inf (row 2): is not a finite number."
    )


def test_a_bake_twice_is_refused(trial, tmp_path):
    file = write(tmp_path, GOOD)
    trial.import_csv(file)
    before = trial.frame()
    with pytest.raises(DataError) as caught:
        trial.import_csv(file)
    assert str(caught.value) == (
        "malt.csv has 2 problems; nothing was stored. Row 1 is the heading.\n"
        "bake is '1' (row 2): is already in the trial. "
        "Give the new bake another code, or undo the earlier import.\n"
        "bake is '2' (row 5): is already in the trial. "
        "Give the new bake another code, or undo the earlier import."
    )
    pd.testing.assert_frame_equal(trial.frame(), before)


KNOWN = (
    "'bake', 'day', 'dough', 'load', 'piece', 'place', 'flour_lot', 'yeast_lot', 'room_temp_c', "
    "'malt_percent', 'malt_lintner', 'hydration_percent', 'salt_percent', 'yeast_percent', "
    "'liquid_temp_c', 'dough_temp_c', 'retard_hours', 'retard_temp_c', 'proof_minutes', "
    "'double_minutes', 'proof_temp_c', 'griddle_temp_c', 'waited_minutes', 'ball_weight_g', "
    "'proof_ratio', 'side_minutes', 'extra_flips', 'core_temp_c', 'baked_weight_g', "
    "'bake_loss_percent', "
)
REST = (
    "'volume_ml', 'specific_volume_ml_per_g', 'crumb_openness', 'cells_per_cm2', "
    "'median_cell_mm2', 'browning_l', "
    "'hollow_tap', 'gumminess', 'liking', 'events'."
)


def test_unknown_columns_list_the_known_likely_ones_first(trial):
    table = pd.DataFrame({"bake": [1], "dough": ["1A"], "hieght_mm": [38], "colour": ["brown"]})
    assert refused(NotFoundError, trial, table) == (
        "no column 'hieght_mm, colour'. There are: 'rise_height_mm', 'diameter_mm', " + KNOWN + REST
    )


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            "bake,rise_height_mm\n1,38\n",
            "malt.csv has no column 'dough', which says what each piece belongs to; nothing was "
            "stored. There are: 'bake', 'rise_height_mm'.",
        ),
        (
            "",
            "malt.csv has no column 'bake', which says what each piece belongs to; nothing was "
            "stored. There are: none.",
        ),
        ("bake,dough\n", "malt.csv has no rows below the heading; nothing was stored."),
        (
            "bake,dough,dough\n1,1A,1B\n",
            "malt.csv has the column 'dough' twice; keep one. Nothing was stored.",
        ),
        (
            "bake,dough\n1,1A,38\n",
            "malt.csv has 1 problem; nothing was stored. Row 1 is the heading.\n"
            "row is '38' (row 2): has more cells than the heading. "
            "Give each column a heading, and put text that holds a comma in quotes.",
        ),
        (
            "bake,dough,flour_lot\n1,1A,a\0b\n",
            "malt.csv has 1 problem; nothing was stored. Row 1 is the heading.\n"
            "flour_lot is 'a\\x00b' (row 2): holds characters that cannot be stored. "
            "Type it anew.",
        ),
        (
            f"bake,dough\n1,{'x' * 200_000}\n",
            "malt.csv cannot be read: a cell in row 2 holds more than 131072 characters. "
            "Perhaps a quotation mark is not closed.",
        ),
    ],
)
def test_files_that_cannot_be_read(trial, tmp_path, text, message):
    assert refused(DataError, trial, write(tmp_path, text)) == message


def test_not_text_at_all(trial, tmp_path):
    path = tmp_path / "malt.xlsx"
    path.write_bytes(b"PK\x03\x04\xff\xfe\xfa")
    assert refused(DataError, trial, path) == (
        "malt.xlsx is damaged or no workbook. Open it in your spreadsheet, save it anew."
    )
    missing = tmp_path / "none.csv"
    assert refused(DataError, trial, missing) == (
        f"{missing} is not there. Give a CSV or XLSX file."
    )

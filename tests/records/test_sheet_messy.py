"""Ten years of spreadsheets: what a baker who looks at them reads otherwise than a program does."""

import unicodedata
from datetime import date, timedelta

import openpyxl
import pandas as pd
import pytest
from openpyxl.styles import Font

from kit.records.sheets.words import IGNORED, guess


def book(folder, rows, change=lambda sheet: None):
    made = openpyxl.Workbook()
    for row in rows:
        made.active.append(row)
    change(made.active)
    made.save(folder / "bakes.xlsx")
    return folder / "bakes.xlsx"


def csv(folder, text):
    (folder / "bakes.csv").write_text(text, encoding="utf-8")
    return folder / "bakes.csv"


HEADS = ["Bake", "Dough", "Height", "Baked weight"]


def test_a_second_table_below_is_not_read_under_the_headings_of_the_first(trial, tmp_path):
    other = ["Bake", "Dough", "Baked weight", "Height"]
    rows = [HEADS, [1, "A", 31, 40], [], other, [2, "A", 40, 30]]
    look = trial.look_at(book(tmp_path, rows))
    (asked,) = look.questions
    assert asked.startswith("Row 4 begins another table, with headings of its own")
    trial.bring_in(look)
    assert trial.frame()["bake"].tolist() == ["1"]


def test_headings_that_come_again_are_left_out(trial, tmp_path):
    text = "Bake,Dough,Height\n1,A,31\nbake,dough,height\n2,A,30\nBake,Dough,Height,\n"
    look = trial.look_at(csv(tmp_path, text))
    assert look.questions == ()
    assert "2 rows repeat the headings and are left out." in look.checks
    assert look.problems.empty
    trial.bring_in(look)
    assert trial.frame()["rise_height_mm"].tolist() == [31, 30]


def test_rows_of_words_are_no_headings(trial, tmp_path):
    text = "Bake,Dough,Height,Events\nNovember,malt,,room\nNovember,L,,burnt\n"
    look = trial.look_at(csv(tmp_path, text))
    assert look.to_frame()["dough"].tolist() == ["malt", "L"]


def test_hidden_columns_are_asked_about(trial, tmp_path):
    def hide(sheet):
        sheet.column_dimensions["C"].hidden = True
        sheet.column_dimensions["F"].hidden = True  # and holds nothing

    look = trial.look_at(book(tmp_path, [HEADS, [1, "A", 31, 70]], hide))
    assert look.questions == (
        "Hidden columns are read as well (C). Is that meant? If not, delete them from the sheet.",
    )


def test_what_is_struck_through_is_asked_about(trial, tmp_path):
    def strike(sheet):
        sheet["C3"].font = Font(strike=True)

    look = trial.look_at(book(tmp_path, [HEADS, [1, "A", 31, 70], [1, "B", 13, 70]], strike))
    assert look.questions == (
        "Cells that are struck through are read as well (the first in row 3). Is that meant? If "
        "not, empty them.",
    )


@pytest.mark.parametrize("heading", ["Malt €", "Malt $", "Malt ‰", "Height ×10"])
def test_a_sign_that_makes_it_something_else_is_not_passed_over(heading):
    assert guess(heading).meaning == IGNORED


@pytest.mark.parametrize("heading", ["Height ±", "Height ∆"])
def test_a_sign_that_may_make_it_something_else_is_asked_about(heading):
    assert guess(heading).doubt == f"Does {heading!r} mean Height?"


@pytest.mark.parametrize("heading", ['Height "', 'Height (")', "Height ″"])
def test_the_sign_of_inches_is_their_unit(trial, tmp_path, heading):
    frame = pd.DataFrame({"Bake": [1], "Dough": ["A"], heading: [1.25]})
    assert trial.look_at(frame).to_frame()["rise_height_mm"].tolist() == [31.75]


def test_a_part_of_a_unit_is_no_unit(trial, tmp_path):
    look = trial.look_at(csv(tmp_path, "Bake,Dough,Height (1/10 mm)\n1,A,250\n"))
    assert look.questions == (
        "'Height (1/10 mm)': 1/10 mm is no unit of Height. Which unit is it?",
    )


def test_signs_nobody_sees_make_no_other_dough(trial, tmp_path):
    composed = unicodedata.normalize("NFC", "Bär")
    codes = [composed, unicodedata.normalize("NFD", composed), f"\u200b{composed}\u00ad"]
    text = "Bake,Dough,Height\n" + "".join(f"1,{code},3{i}\n" for i, code in enumerate(codes))
    assert trial.look_at(csv(tmp_path, text)).to_frame()["dough"].tolist() == [composed] * 3
    headed = trial.look_at(csv(tmp_path, unicodedata.normalize("NFD", "Bake,Dough,Höhe\n1,A,31\n")))
    assert headed.to_frame()["rise_height_mm"].tolist() == [31]


@pytest.mark.parametrize(
    "codes",
    [("1", "1.0"), ("1", "01"), ("A 1", "A1"), ("A  1", "a 1"), ("A", "A*"), ("(A)", "A."),
     ("26.11.2026", "2026-11-26"), ("11/26/2026", "2026-11-26 00:00:00")],
)  # fmt: skip
def test_codes_written_otherwise_are_asked_about(trial, tmp_path, codes):
    one, other = codes
    look = trial.look_at(csv(tmp_path, f"Bake,Dough,Height\n{one},A,31\n{other},A,32\n"))
    said = f"Look again: row 3, bake: {other!r} and {one!r} count as two bakes. Is that right?"
    assert said in str(look)


@pytest.mark.parametrize("head", [["Bake", "Dough", "Height"], ["Dough", "Piece", "Height"]])
def test_a_code_that_the_spreadsheet_made_a_day_is_asked_about(trial, tmp_path, head):
    rows = [head, [1, "A", 31], [1, date(2026, 1, 2), 32]]
    look = trial.look_at(book(tmp_path, rows))
    asked = f"{head[1]!r}: 2026-01-02 is a day, and spreadsheets make one of 1-2. Is that right?"
    assert asked in look.questions
    assert asked not in look.with_column(head[1], head[1].lower()).questions


@pytest.mark.parametrize(
    ("cells", "asked"),
    [
        (
            ["0", "0.004", "0.008"],
            "is 0.008 a share, 0.8 %? It counts as 0.008 %; if it is a share",
        ),
        (
            ["0", "0,004", "0,008"],
            "is 0.008 a share, 0.8 %? It counts as 0.008 %; if it is a share",
        ),
        (["0", "0.4", "0.8"], ""),
        (["0", "0.05", "0.1"], ""),
        (["0", "0", "0"], ""),
        (["0 %", "0.004 %", "0.008 %"], ""),  # written out
    ],
)
def test_percent_that_may_be_shares_are_asked_about(trial, tmp_path, cells, asked):
    rows = "".join(f"1;{dough};{malt};31\n" for dough, malt in zip("ABC", cells, strict=True))
    look = trial.look_at(csv(tmp_path, f"Bake;Dough;Malt;Height\n{rows}"))
    assert [f"'Malt': {asked}" in question for question in look.questions] == [True] * bool(asked)
    assert look.with_column("Malt", "malt_percent").questions == ()


def test_shares_of_several_pieces_are_asked_about_once(trial, tmp_path):
    look = trial.look_at(csv(tmp_path, "Bake,Dough,Bake loss 1,Bake loss 2\n1,A,0.11,0.12\n"))
    assert [question for question in look.questions if "a share" in question] == [
        "'Bake loss 1': is 0.11 a share, 11 %? It counts as 0.11 %; if it is a share, write 11."
    ]
    assert look.with_column("Bake loss 2", "bake_loss_percent").questions == ()


def test_a_time_below_zero_is_refused_as_one(trial, tmp_path):
    frame = pd.DataFrame({"Bake": [1], "Dough": ["A"], "Proof": [timedelta(minutes=-30)]})
    (remedy,) = trial.look_at(frame).problems["remedy"]
    assert remedy == "Must lie between 0 and 1440 min. Enter warm proof in min."


def test_what_is_unusual_is_told_before_anything_is_stored(trial, tmp_path):
    rows = "".join(f"1,A{i},3.{i}\n" for i in range(12))
    told = str(trial.look_at(csv(tmp_path, f"Bake,Dough,Height\n{rows}"))).splitlines()
    assert told[-11] == (
        "Look again: row 2, rise_height_mm: Height 3.0 mm is unusual (mostly 15 to 60 mm). Is it "
        "right?"
    )
    assert told[-1] == "and 2 more to look at"


@pytest.mark.parametrize("sign", ["ditto", '"', "do.", "〃", "''"])
def test_a_sign_for_what_stands_above_is_no_dough(trial, sign):
    frame = pd.DataFrame({"Bake": [1, 1], "Dough": ["A", sign], "Height": [31, 32]})
    (problem,) = trial.look_at(frame).problems.to_dict("records")
    assert (problem["column"], problem["value"]) == ("Dough", sign)
    assert problem["remedy"] == "Says as above. Write out what stands above it."


def test_that_nothing_happened_is_no_event(trial, tmp_path):
    cells = ["none", "OK", "burnt; none", "nichts", "No"]
    rows = "".join(f"1,A,{cell},31\n" for cell in cells)
    trial.bring_in(trial.look_at(csv(tmp_path, f"Bake,Dough,Events,Height\n{rows}")))
    assert trial.events()["kind"].tolist() == ["burnt"]

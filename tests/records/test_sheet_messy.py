"""Ten years of spreadsheets: what a baker who looks at them reads otherwise than a program does."""

import difflib
import unicodedata
from datetime import date, timedelta

import openpyxl
import pandas as pd
import pytest
from openpyxl.styles import Font

from kit.errors import DataError
from kit.records.sheets.file import open_table
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


@pytest.mark.parametrize(
    ("heads", "again"),
    [
        ("Bake,Dough,Height (mm)", "Bake,Dough,Height mm"),
        ("Bake,Dough,Height,Notes", "Bake,Dough,Height,Remarks"),
        ("Bake,Dough,Baked weight,Height", "Bake,Dough,Baked  weight,Height"),
        ("Bake,Dough,Baked weight,Height", "Bake:,Dough:,Baked weight:,Height:"),
        ("Bake,Dough,Height,Baked weight", "Bake,Dough,Height"),
        ("Bake,Dough,Height", "Bake 2,Teig,Höhe"),
    ],
)
def test_headings_that_come_again_in_other_words_are_left_out(trial, tmp_path, heads, again):
    look = trial.look_at(csv(tmp_path, f"{heads}\n1,A,31\n\n{again}\n2,A,30\n"))
    assert "Row 4 repeats the headings and is left out." in look.checks
    assert look.to_frame()["bake"].tolist() == ["1", "2"]


def test_a_first_row_of_words_that_name_things_is_kept(trial, tmp_path):
    # it was taken for a second row of headings, and its event lost
    rows = "Bake 1,Dough 1,Piece 1,,burnt\nBake 1,Dough 1,Piece 2,38,\n"
    look = trial.look_at(csv(tmp_path, f"bake,dough,piece,height (mm),events\n{rows}"))
    trial.bring_in(look)
    assert len(trial.frame()) == 2
    assert trial.events()["kind"].tolist() == ["burnt"]


def test_a_row_of_other_headings_right_below_says_so(trial, tmp_path):
    with pytest.raises(DataError) as caught:
        trial.look_at(csv(tmp_path, "Bake,Dough,Height\nDough,Bake,Core temp\nA,1,95\n"))
    assert "Row 2 begins another table, with headings of its own" in str(caught.value)


@pytest.mark.parametrize("unit", ["cm", "in"])
def test_headings_that_come_again_with_other_units_are_asked_about(trial, tmp_path, unit):
    rows = f"1,A,31\n1,A,32\nBake,Dough,Rise height\n,,{unit}\n1,B,3.1\n"
    look = trial.look_at(csv(tmp_path, f"Bake,Dough,Height (mm)\n{rows}"))
    assert look.to_frame()["rise_height_mm"].tolist() == [31, 32]
    (asked,) = look.questions
    assert asked == (
        "Row 5 holds the units of another table, whose headings are those of this one: it and "
        "what is below are left out. Is that meant? Put it on a sheet of its own and bring that in."
    )


@pytest.mark.parametrize("heads", ["Bake,Dough,Height", "Bake,Dough,Height (mm)"])
def test_headings_that_come_again_with_the_same_units_are_left_out(trial, tmp_path, heads):
    rows = "1,A,31\nBake,Dough,Rise height\n,,mm\n1,B,32\n"
    look = trial.look_at(csv(tmp_path, f"{heads}\n{rows}"))
    assert (look.to_frame()["rise_height_mm"].tolist(), look.questions) == ([31, 32], ())


@pytest.mark.parametrize("again", ["Bake,Dough,Height (cm)", "Bake,Dough,Core temp"])
def test_headings_of_another_unit_or_meaning_are_asked_about(trial, tmp_path, again):
    look = trial.look_at(csv(tmp_path, f"Bake,Dough,Height (mm)\n1,A,31\n\n{again}\n2,A,3\n"))
    assert look.questions[0].startswith("Row 4 begins another table")


def test_words_that_may_be_headings_where_nothing_is_measured_are_told(trial, tmp_path):
    text = "Bake,Dough,Height\n1,A,31\n\nDough,Height\nA,30\n"
    assert (
        "Row 4 reads like headings and counts as a row like the others. If another table begins "
        "there, put it on a sheet of its own."
    ) in trial.look_at(csv(tmp_path, text)).checks


@pytest.mark.parametrize("value", ["-18", "<5", "~24", "+3"])
def test_a_row_with_a_number_is_no_heading(trial, tmp_path, value):
    text = f"thing,quantity,value\nMix,retard temp,{value}\nA,height,30\n"
    assert len(trial.look_at(csv(tmp_path, text)).sheet.rows) == 2


def test_words_of_a_long_sheet_are_not_compared_with_every_heading(trial, tmp_path, monkeypatch):
    compared = []
    near = difflib.get_close_matches
    monkeypatch.setattr(
        difflib, "get_close_matches", lambda *a, **k: compared.append(a) or near(*a, **k)
    )
    rows = "".join(f"November {i},malt {i},P{i},soft words {i}\n" for i in range(400))
    open_table(csv(tmp_path, f"Bake,Dough,Piece,Notes\n{rows}"))
    assert len(compared) < 2 * 400  # four a row where each cell is compared with every heading


def test_rows_of_words_are_no_headings(trial, tmp_path):
    text = "Bake,Dough,Height,Events\nNovember,malt,,room\nNovember,L,,burnt\n"
    look = trial.look_at(csv(tmp_path, text))
    assert look.to_frame()["dough"].tolist() == ["malt", "L"]
    text = "Bake,Dough,Piece,Events\nMonday,Malt,Bun,room\nMonday,Mix,Muffin,griddle\n"
    assert trial.look_at(csv(tmp_path, text)).to_frame()["dough"].tolist() == ["Malt", "Mix"]


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


def test_what_is_hidden_or_struck_and_not_read_is_not_asked_about(trial, tmp_path):
    def change(sheet):
        for cell in ("A1", "E3"):  # a title, and a column that is ignored
            sheet[cell].font = Font(strike=True)
        sheet.column_dimensions["E"].hidden = True

    rows = [["Old plan"], [*HEADS, "key"], [1, "A", 31, 70, "1A"]]
    look = trial.look_at(book(tmp_path, rows, change))
    assert look.questions == ("What is 'key'? It is left out unless you say.",)


def test_what_is_hidden_or_struck_is_told_where_its_column_is_answered(trial, tmp_path):
    def change(sheet):
        sheet["C2"].font = Font(strike=True)
        sheet.column_dimensions["C"].hidden = True

    look = trial.look_at(book(tmp_path, [HEADS, [1, "A", 31, 70]], change))
    assert len(look.questions) == 2
    answered = look.with_column("Height", "rise_height_mm")
    assert answered.questions == ()
    assert answered.checks == (
        "Hidden columns are read as well (C).",
        "Cells that are struck through are read as well (the first in row 2).",
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


@pytest.mark.parametrize(
    "codes",
    [("0.5", "5"), ("0,05", "0,5"), ("M+", "M-"), ("+1", "-1"), ("*", "**"), ("Do", "Mo")],
)
def test_codes_that_differ_in_what_counts_are_two(trial, tmp_path, codes):
    rows = "".join(f"1;{code};31\n" for code in codes)
    look = trial.look_at(csv(tmp_path, f"Bake;Dough;Height\n{rows}"))
    assert "count as two" not in str(look)
    assert look.to_frame()["dough"].tolist() == list(codes)


def test_codes_that_an_older_kit_kept_as_they_stood_are_found(trial):
    decomposed = unicodedata.normalize("NFD", "Müsli")
    dough = trial.add_dough(trial.add_bake("2026-11-26", code="1"), code=decomposed)
    trial.add_piece(dough, code=f"{decomposed}\u200b1")
    frame = pd.DataFrame({"Bake": [1], "Dough": [decomposed], "Height": [31]})
    assert trial.bring_in(trial.look_at(frame)).new == dict.fromkeys(
        ("bake", "dough", "load", "piece"), 0
    )
    assert trial.frame()["rise_height_mm"].tolist() == [31]
    composed = trial.add_dough(trial.bakes()[0], code="Müsli")  # that stands as it reads: it counts
    assert trial.bring_in(trial.look_at(frame)).new["piece"] == 1
    assert [len(trial.pieces(one)) for one in (dough, composed)] == [1, 1]


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


@pytest.mark.parametrize("sign", ["ditto", '"', "do.", "〃", "burnt; ditto"])
def test_a_sign_for_what_stands_above_is_no_event(trial, sign):
    frame = pd.DataFrame({"Bake": [1, 1], "Dough": "A", "Events": ["pale", sign], "Height": 31})
    look = trial.look_at(frame)
    (problem,) = look.problems.to_dict("records")
    assert (problem["row"], problem["column"]) == (3, "Events")
    assert problem["remedy"] == "Says as above. Write out what stands above it."
    trial.bring_in(look)
    assert trial.events()["kind"].tolist() == ["pale"]


@pytest.mark.parametrize("code", ["Do", "same"])
def test_a_weekday_or_a_word_is_a_dough(trial, code):
    frame = pd.DataFrame({"Bake": [1], "Dough": [code], "Height": [31]})
    assert trial.look_at(frame).problems.empty


def test_that_nothing_happened_is_no_event(trial, tmp_path):
    cells = ["none", "OK", "burnt; none", "nichts", "No"]
    rows = "".join(f"1,A,{cell},31\n" for cell in cells)
    trial.bring_in(trial.look_at(csv(tmp_path, f"Bake,Dough,Events,Height\n{rows}")))
    assert trial.events()["kind"].tolist() == ["burnt"]

"""Spreadsheets as kitchens make them, where a number could be stored that nobody measured."""

from datetime import UTC, date, datetime, time

import openpyxl
import pytest

from kit.errors import InputError
from kit.records.sheets.file import open_table
from kit.records.typed import day

HEAD = ["Bake", "Date", "Dough", "Malt", "Height"]
DAY = date(2026, 11, 26)


def book(tmp_path, rows, change=lambda sheet: None):
    made = openpyxl.Workbook()
    for row in rows:
        made.active.append(row)
    change(made.active)
    made.save(tmp_path / "bakes.xlsx")
    return tmp_path / "bakes.xlsx"


def csv(tmp_path, text):
    path = tmp_path / "bakes.csv"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("row", "column"),
    [
        ([1, DAY, "Mean", None, 39.5], "Dough"),
        (["Total", None, "A", None, 79], "Bake"),
        (["Average:", DAY, "A", 0.4, 39.5], "Bake"),
        ([1, DAY, "SUMME", None, 79], "Dough"),
    ],
)
def test_a_row_that_sums_up_others_is_no_dough(trial, tmp_path, row, column):
    look = trial.look_at(book(tmp_path, [HEAD, [1, DAY, "A", 0, 38], [1, DAY, "B", 0.8, 41], row]))
    assert look.problems[["row", "column"]].values.tolist() == [[4, column]]
    assert look.problems["remedy"].item() == (
        "Is what a row that sums up others is called. Leave that row out, or write another code."
    )
    trial.bring_in(look)
    assert trial.frame()["rise_height_mm"].tolist() == [38, 41]


def test_a_mean_of_the_pieces_is_no_piece(trial, tmp_path):
    rows = "Bake,Dough,Piece,Height\n1,A,1,38\n1,A,2,40\n1,A,mean,39\n"
    trial.bring_in(trial.look_at(csv(tmp_path, rows)))
    assert trial.frame()["piece"].tolist() == ["1", "2"]


def test_units_in_a_row_of_their_own_count(trial, tmp_path):
    rows = [["Bake", "Dough", "Retard", "Height", "Malt %"], [None, "no.", "(days)", "in", "%"]]
    look = trial.look_at(book(tmp_path, [*rows, [1, "A", 2, 1.5, 0], [1, "B", 1, 1.25, 0.8]]))
    assert look.checks == ("Row 2 is read as the units of the columns.",)
    assert look.problems.empty
    frame = look.to_frame()
    assert frame["row"].tolist() == [3, 4]
    assert frame["retard_hours"].tolist() == [48, 24]
    assert frame["rise_height_mm"].tolist() == pytest.approx([38.1, 31.75])
    assert frame["malt_percent"].tolist() == [0, 0.8]


def test_a_unit_that_does_not_fit_its_column_is_asked_about(trial, tmp_path):
    text = "Bake,Dough,Proof,Height\n,,min,h\n1,A,45,38\n"
    assert "'Height (h)': h is no unit of Height. Which unit is it?" in (
        trial.look_at(csv(tmp_path, text)).questions
    )


def test_a_first_row_that_measures_is_no_row_of_units(trial, tmp_path):
    text = "Bake,Dough,Proof,Height\n1,A,min,38 mm\n1,B,45,39\n"
    look = trial.look_at(csv(tmp_path, text))
    assert look.problems[["row", "column", "value"]].values.tolist() == [[2, "Proof", "min"]]


def test_a_unit_that_only_the_format_shows_counts(trial, tmp_path):
    def form(sheet):
        for cell, shown in {
            "A2": '"No. "0', "B2": '0"A"', "C2": '0" d"', "D2": "0.0\\ \\c\\m", "E2": '0" cups"',
            "F2": '0.0"g";[Red]-0.0"g"',
        }.items():  # fmt: skip
            sheet[cell].number_format = shown

    heading = ["Bake", "Dough", "Retard", "Height", "Diameter", "Baked weight"]
    look = trial.look_at(book(tmp_path, [heading, [1, 1, 2, 3.8, 9, 72.5]], form))
    frame = look.to_frame()
    assert frame[["bake", "dough"]].values.tolist() == [["1", "1A"]]
    assert frame["retard_hours"].tolist() == [48]
    assert frame["rise_height_mm"].tolist() == [38]
    assert frame["baked_weight_g"].tolist() == [72.5]
    assert look.problems[["column", "value"]].values.tolist() == [["Diameter", "9 cups"]]


def test_hidden_rows_are_asked_about(trial, tmp_path):
    def hide(sheet):
        sheet.row_dimensions[3].hidden = sheet.row_dimensions[9].hidden = True

    rows = [HEAD, [1, DAY, "A", 0, 38], [1, DAY, "B", 0.8, 41], [1, DAY, "C", 0.4, 40]]
    assert trial.look_at(book(tmp_path, rows)).questions == ()
    assert trial.look_at(book(tmp_path, rows, hide)).questions == (
        "Hidden rows are read as well (1, the first is row 3). Is that meant? If not, delete them "
        "from the sheet.",
    )


@pytest.mark.parametrize(
    ("text", "heading"),
    [
        ("Malt trial, November, 2026\n\nBake;Dough;Malt;Height\n1;A;0,4;38,5\n", "Bake"),
        ("Bake;Dough;Height, Malt, Salt\n1;A;38,5\n1;B;39,5\n", "Bake"),
        ("Bake\tDough\tHeight\n1\tA\t38,5\n1\tB\t39,25\n", "Bake"),
        ('Bake,Dough,"Height; of all"\n1,A,"38;2"\n', "Bake"),
        ("Bake,Dough,Events\n1,A,burnt;dropped\n1,B,burnt;dropped\n", "Bake"),
        ("Bake;Dough\n", "Bake"),
    ],
)
def test_cells_are_parted_by_what_most_lines_hold(tmp_path, text, heading):
    assert open_table(csv(tmp_path, text)).headings[0] == heading


def test_codes_that_a_slip_may_have_made_two_of_are_asked_about(trial, tmp_path):
    text = "Bake,Dough,Height\n1,A,38\n1,a,39\n01,A,40\n2,a,41\n"
    look = trial.look_at(csv(tmp_path, text))
    assert look.sheet.unusual == [
        "row 3, dough: 'a' and 'A' count as two doughs. Is that right?",
        "row 4, bake: '01' and '1' count as two bakes. Is that right?",
    ]


def test_problems_show_the_cell_as_the_spreadsheet_does(trial, tmp_path):
    rows = [["Bake", "Dough", "Side time", "Height"]]
    rows += [[1, None, time(5, 30), 38], *([1, "A", "soon", 38] for _ in range(11))]
    look = trial.look_at(book(tmp_path, rows))
    assert str(look).splitlines()[-11:] == [
        "  row 2, Dough: Must not be empty. Say which dough it is.",
        "  row 2, Side time '05:30:00': Must lie between 0 and 60 min. Enter time a side in min.",
        *(
            f"  row {row}, Side time 'soon': Is not a number. Write digits, with a comma or a "
            "point before decimals, for example 2.5 or 3 1/2."
            for row in range(3, 11)
        ),
        "  and 3 more",
    ]
    exact = trial.look_at(book(tmp_path, rows[:10]))
    assert len(exact.problems) == 10
    assert "more" not in str(exact)


@pytest.mark.parametrize("x", ["0026-11-26", date(1900, 1, 5), "2262-11-26"])
def test_a_day_in_no_year_of_a_kitchen_is_refused(x):
    with pytest.raises(InputError, match="must lie between 1970 and 2200"):
        day("day", x)


@pytest.mark.parametrize("x", ["0001-01-01 00:00", datetime(9999, 12, 31, tzinfo=UTC)])
def test_a_moment_in_no_year_of_a_kitchen_is_refused(trial, x):
    with pytest.raises(InputError, match="must lie between 1970 and 2200"):
        trial.event("burnt", at=x)

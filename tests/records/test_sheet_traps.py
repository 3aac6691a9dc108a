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


@pytest.mark.parametrize(
    "code", ["Means", "SD", "Max", "min", "Subtotal", "Mean height", "Ø", "A Total", "Mean (n=2)"]
)
def test_a_dough_is_not_called_as_what_sums_up_others(trial, tmp_path, code):
    look = trial.look_at(csv(tmp_path, f"Bake,Dough,Height\n1,A,38\n1,B,40\n1,{code},39\n"))
    assert look.problems[["row", "column"]].values.tolist() == [[4, "Dough"]]


def test_a_dough_whose_name_only_begins_so_is_one(trial, tmp_path):
    codes = ["Mean Street", "Max malt", "Standard", "Sumatra"]
    text = "Bake,Dough,Height\n" + "".join(f"1,{code},38\n" for code in codes)
    trial.bring_in(trial.look_at(csv(tmp_path, text)))
    assert trial.frame()["dough"].tolist() == codes


def test_a_dough_the_trial_has_is_one_whatever_it_is_called(trial):
    trial.add_piece(trial.add_dough(trial.add_bake("2026-11-26"), code="Total"))
    look = trial.look_at(trial.frame())
    assert look.problems.empty
    assert trial.bring_in(look).new == {"bake": 0, "dough": 0, "load": 0, "piece": 0}


@pytest.mark.parametrize("column", ["Bake", "Dough"])
def test_two_rows_that_sum_up_others_say_nothing_of_a_bake_or_dough(trial, tmp_path, column):
    rows = {"Bake": "Total,A,{malt},1,2,39\n", "Dough": "1,Mean,{malt},1,2,39\n"}[column]
    text = "Bake,Dough,Malt,Load,Place,Height\n1,A,0,1,1,38\n"
    text += rows.format(malt=0) + rows.format(malt=0.8)
    look = trial.look_at(csv(tmp_path, text))
    told = look.problems.query("column != 'Place'")
    assert told[["row", "column"]].values.tolist() == [[3, column], [4, column]]
    assert look.to_frame()["piece"].dropna().tolist() == ["A1"]


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


@pytest.mark.parametrize(
    "row", ["units,,days,cm³,cm²,0-10", "no.,#,days,cm3,cm2,", "Bake,Dough,d,ml,,"]
)
def test_units_with_a_digit_or_beside_a_scale_are_units(trial, tmp_path, row):
    text = f"Bake,Dough,Retard,Volume,Middle cell,Openness\n{row}\n1,A,2,150,,0.5\n"
    look = trial.look_at(csv(tmp_path, text))
    assert look.questions == ()
    assert look.problems.empty
    assert look.to_frame()[["retard_hours", "volume_ml"]].values.tolist() == [[48, 150]]


@pytest.mark.parametrize(
    ("text", "problems"),
    [
        ("Bake,Dough,Piece,Extra flips,Events\n1,A,1,x,burnt\n1,A,2,1,\n", [[2, "Extra flips"]]),
        ("Bake,Dough,Retard,Height\n1,A,day,\n1,B,2,40\n", [[2, "Retard"]]),
        ("Bake,Dough,Height\nx,A,m\ny,B,40\n", [[2, "Height"]]),
        ("Date,Dough,Height\n2026-11-26,,m\n2026-11-26,B,40\n", [[2, "Dough"], [2, "Height"]]),
        ("Bake,Dough,Height,Events\n,,mm,burnt\n1,B,40,\n",
         [[2, "Bake"], [2, "Dough"], [2, "Height"]]),
        ("Bake,Dough,Height,Proof\n,,mm,45\n1,B,40,45\n",
         [[2, "Bake"], [2, "Dough"], [2, "Height"]]),
    ],
)  # fmt: skip
def test_a_row_that_names_or_measures_something_is_no_row_of_units(trial, tmp_path, text, problems):
    look = trial.look_at(csv(tmp_path, text))
    assert look.problems[["row", "column"]].values.tolist() == problems
    assert look.sheet.rows[0] == 2


@pytest.mark.parametrize(
    ("heading", "unit", "asked"),
    [
        ("Retard (h)", "days", "Cold retard (h or days)"),
        ("Retard h", "in", "Cold retard (h or in)"),
        ("retard_hours", "days", "Cold retard (h or days)"),
    ],
)
def test_a_unit_below_a_heading_that_has_another_is_asked_about(
    trial, tmp_path, heading, unit, asked
):
    look = trial.look_at(csv(tmp_path, f"Bake,Dough,{heading},Height\n,,{unit},mm\n1,A,2,38\n"))
    (question,) = look.questions
    assert question.startswith(f"{asked!r}: ")
    assert look.with_column(asked, unit="h").questions == ()
    same = trial.look_at(csv(tmp_path, "Bake,Dough,Retard (h)\n,,hours\n1,A,2\n"))
    assert same.questions == ()
    assert same.to_frame()["retard_hours"].tolist() == [2]


def test_headings_merged_over_two_rows_are_neither_units_nor_asked_about(trial, tmp_path):
    rows = [["Bake", "Dough", "Malt", "Height"], [None, None, None, "in"], [1, "A", 0.4, 1.5]]

    def merge(sheet):
        for cells in ("A1:A2", "B1:B2", "C1:C2"):
            sheet.merge_cells(cells)

    look = trial.look_at(book(tmp_path, rows, merge))
    assert look.questions == ()
    assert look.problems.empty
    assert look.to_frame()[["malt_percent", "rise_height_mm"]].values.tolist() == [
        [0.4, pytest.approx(38.1)]
    ]


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


@pytest.mark.parametrize("form", ['General" d"', '0_)" d"', "0 [$d]", '0" d"_)', "0\\ [$d-407]"])
def test_a_unit_counts_whatever_else_the_format_holds(trial, tmp_path, form):
    def shown(sheet):
        sheet["C2"].number_format = form
        sheet["D2"].number_format = '# ?/8" in"'

    rows = [["Bake", "Dough", "Retard", "Height"], [1, "A", 2, 1.5]]
    frame = trial.look_at(book(tmp_path, rows, shown)).to_frame()
    assert frame[["retard_hours", "rise_height_mm"]].values.tolist() == [[48, pytest.approx(38.1)]]


@pytest.mark.parametrize("form", ['0" h "00" min"', '[<1]0.0" min";0" h"'])
def test_a_number_shown_in_parts_or_in_either_unit_is_refused(trial, tmp_path, form):
    def shown(sheet):
        sheet["C2"].number_format = form

    look = trial.look_at(book(tmp_path, [["Bake", "Dough", "Proof"], [1, "A", 130]], shown))
    assert look.problems[["row", "column"]].values.tolist() == [[2, "Proof"]]


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


RAGGED = "Bake;Dough;Height;Side time;Events\n" + "".join(
    f"1;{code};38,5;6,5" + (";burnt" if at % 2 else "") + "\n" for at, code in enumerate("ABCDEFGH")
)
QUOTED = "Bake,Dough,Height,Events,Note\n" + "".join(
    f'1,{code},38,burnt;dropped,"{note}"\n'
    for code, note in zip("ABCD", ["a, b", "a, b, c", "d", "d, e, f, g"], strict=True)
)
OVER_LINES = (
    'Bake,Dough,Height,Note\n1,A,38,"one;\ntwo;\nthree;\nfour;"\n1,B,39,"one;\ntwo;\nthree;"\n'
)


@pytest.mark.parametrize(("text", "height"), [(RAGGED, 38.5), (QUOTED, 38), (OVER_LINES, 38)])
def test_cells_are_parted_by_what_gives_the_headings(trial, tmp_path, text, height):
    look = trial.look_at(csv(tmp_path, text))
    assert look.problems.query("column != 'Events'").empty
    assert look.to_frame()["rise_height_mm"][0] == height


def test_codes_that_a_slip_may_have_made_anew_of_the_trials_are_asked_about(trial, tmp_path):
    trial.bring_in(trial.look_at(csv(tmp_path, "Bake,Dough,Height\n1,A,38\n")))
    told = trial.look_at(csv(tmp_path, "Bake,Dough,Height\n1,a,39\n01,A,39\n1,A,40\n")).sheet
    assert told.unusual == [
        "row 2, dough: 'a' and 'A' count as two doughs. Is that right?",
        "row 3, bake: '01' and '1' count as two bakes. Is that right?",
    ]


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
        "  row 2, Side time '05:30:00': Must lie between 0 and 60 min. It was read as 330 min. "
        "Enter time a side in min. For minutes and seconds write 5 min 30.",
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

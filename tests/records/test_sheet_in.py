"""Tables of every make: what is guessed, asked, corrected, stored, and stored again."""

import zipfile
from datetime import date, datetime, time

import openpyxl
import pandas as pd
import pytest
from openpyxl.styles import Font

from kit.errors import DataError, InputError, NotFoundError, StoreError
from kit.records.sheets import bring
from kit.records.sheets.words import guess

KITCHEN = """Bake;Datum;Teig;Stück;malt %;Height (in);Gewicht gebacken g;Colour
1;26.11.2026;1A;1;0,8;1,5;72,5;brown
1;26.11.2026;1A;2;0,8;1 1/2;71;brown
1;26.11.2026;1B;1;0;40 mm;;pale
"""


def csv(tmp_path, text, name="bakes.csv", encoding="utf-8"):
    path = tmp_path / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode(encoding))
    return path


def book(tmp_path, rows, change=None, name="bakes.xlsx"):
    made = openpyxl.Workbook()
    sheet = made.active
    sheet.title = "Thursday"
    for row in rows:
        sheet.append(row)
    if change:
        change(made, sheet)
    path = tmp_path / name
    made.save(path)
    return path


@pytest.mark.parametrize(
    ("heading", "meaning", "unit"),
    [
        ("Height (in)", "rise_height_mm", "in"),
        ("rise_height_mm", "rise_height_mm", ""),
        ("Retard h", "retard_hours", "h"),
        ("Proof [h]", "proof_minutes", "h"),
        ("Teig", "dough", ""),
        ("malt %", "malt_percent", "%"),
        ("Malz%", "malt_percent", "%"),
        ("Griddle °F", "griddle_temp_c", "°F"),
        ("Browning L*", "browning_l", ""),
        ("Kerntemperatur", "core_temp_c", ""),
        ("Datum", "day", ""),
        ("No.", "ignored", ""),
        ("Weight", "ignored", ""),  # raw or baked: asked
        ("Height (kg)", "rise_height_mm", ""),  # asked
    ],
)
def test_headings(heading, meaning, unit):
    got = guess(heading)
    assert (got.meaning, got.unit) == (meaning, unit)
    assert bool(got.doubt) == (heading in ("No.", "Weight", "Height (kg)"))


def test_a_kitchen_table_is_understood_and_nothing_is_stored(ws, trial, tmp_path):
    before = len(ws.history())
    look = trial.look_at(csv(tmp_path, KITCHEN))
    assert look.questions == (
        "'Gewicht gebacken g': the raw piece (ball_weight_g) or the baked one (baked_weight_g)? "
        "It is left out unless you say.",
        "What is 'Colour'? It is left out unless you say.",
    )
    look = look.with_column("Gewicht gebacken g", quantity="baked_weight_g")
    look = look.with_column("Colour", "ignored")
    assert look.questions == ()
    assert look.problems.empty
    frame = look.to_frame()
    assert frame["row"].tolist() == [2, 3, 4]
    assert frame["day"].tolist() == [date(2026, 11, 26)] * 3
    assert frame["rise_height_mm"].tolist() == [38.1, 38.1, 40]
    assert frame["malt_percent"].tolist() == [0.8, 0.8, 0]
    assert frame["baked_weight_g"].fillna(-1).tolist() == [72.5, 71, -1]
    assert len(ws.history()) == before
    told = trial.bring_in(look)
    assert (told.rows, told.stored, told.values, told.same) == (3, 3, 7, 0)
    assert told.new == {"bake": 1, "dough": 2, "load": 0, "piece": 3}
    assert trial.frame()["rise_height_mm"].tolist() == [38.1, 38.1, 40]
    assert ws.undo() == "undone: malt: brought in 3 rows of bakes.csv"
    assert trial.frame().empty


def test_one_word_about_a_cell_in_the_unit_it_was_read_in(trial, tmp_path):
    text = "Date,Dough,Height in\n03/12/2026,A,31.2\n04/12/2026,A,1.2\n"
    told = trial.look_at(csv(tmp_path, text)).problems[["row", "column", "remedy"]]
    assert told.to_numpy().tolist() == [
        [2, "Date", "Could be 2026-12-03 or 2026-03-12. Say whether days are day/month or "
                    "month/day."],
        [2, "Height in", "Must lie between 1 and 300 mm. Enter height in mm. It was read as "
                         "31.2 in."],
        [3, "Date", "Could be 2026-12-04 or 2026-04-12. Say whether days are day/month or "
                    "month/day."],
    ]  # fmt: skip


def test_good_rows_now_the_others_corrected_without_duplicates(ws, trial, tmp_path):
    # no codes of pieces: they are numbered by the order of the rows, the bad ones counted
    text = "bake,dough,Height mm,tap\n1,1A,38,2\n1,1A,tall,1\n1,1A,39,\n1,1B,500,0\n"
    look = trial.look_at(csv(tmp_path, text))
    assert look.problems.to_dict("records") == [
        {
            "sheet": "bakes.csv", "row": 3, "column": "Height mm", "value": "tall",
            "remedy": "Is not a number. Write digits, with a comma or a point before decimals, "
            "for example 2.5 or 3 1/2.",
        },
        {
            "sheet": "bakes.csv", "row": 5, "column": "Height mm", "value": "500",
            "remedy": "Must lie between 1 and 300 mm. Enter height in mm.",
        },
    ]  # fmt: skip
    first = trial.bring_in(look)
    assert (first.stored, first.rows) == (2, 4)
    assert trial.frame()["piece"].tolist() == ["1A1", "1A3"]
    assert [dough.code for dough in trial.doughs()] == ["1A"]  # nothing of a row left out
    again = trial.bring_in(look)
    assert (again.stored, again.values, again.same, again.changes) == (2, 0, 3, 0)
    corrected = text.replace("tall", "40").replace("500", "41").replace("39", "39.5")
    told = trial.bring_in(trial.look_at(csv(tmp_path, corrected)))
    assert (told.stored, told.values, told.same) == (4, 4, 2)
    assert told.changed == ("row 4, piece 1A3: Height 39.0 mm → 39.5 mm",)
    frame = trial.frame().set_index("piece")["rise_height_mm"]
    assert frame.to_dict() == {"1A1": 38, "1A2": 40, "1A3": 39.5, "1B1": 41}
    assert len(trial.readings()) == 8  # the 39 is still there, older
    ws.undo()
    assert trial.frame()["rise_height_mm"].tolist() == [38, 39]


def test_what_is_said_of_a_bake_or_a_place_is_corrected_and_told(ws, trial, made, tmp_path):
    text = "bake,day,dough,piece,load,place,flour_lot\n1,2026-11-27,1A,1A3,1,3,F3\n1,,1A,1A1,1,2,\n"
    told = trial.bring_in(trial.look_at(csv(tmp_path, text)))
    assert told.changed == (
        "row 2, bake 1: day 2026-11-26 → 2026-11-27",
        "row 2, bake 1: flour_lot F2 → F3",
    )
    assert told.problems["remedy"].tolist() == [
        "Is taken by another piece in the records. Move that piece first, or write another place."
    ]
    frame = trial.frame().set_index("piece")
    assert frame["place"].to_dict() == {"1A1": 1, "1A2": 2, "1A3": 3}
    assert set(frame["flour_lot"]) == {"F3"}
    ws.undo()
    assert trial.frame().set_index("piece")["place"].isna().to_dict()["1A3"]
    assert set(trial.frame()["flour_lot"]) == {"F2"}


def test_one_day_that_decides_for_several_others_is_asked_about(trial):
    days = ["12/3/2026", "12/10/2026", "13/12/2026"]  # the last may be a slip
    look = trial.look_at(pd.DataFrame({"bake": [1, 2, 3], "dough": "A", "day": days}))
    assert look.questions == (
        "Days are read as day/month, as '13/12/2026' alone shows: '12/3/2026' is 2026-03-12. Is "
        "that right?",
    )
    assert look.with_dates("month/day").questions == ()
    assert len(look.with_dates("month/day").problems) == 1
    both = pd.DataFrame({"bake": [1, 2], "dough": "A", "day": ["26/11/2026", "03/12/2026"]})
    assert trial.look_at(both).checks == (
        "Days are read as day/month, as '26/11/2026' shows: '03/12/2026' is 2026-12-03",
    )


@pytest.mark.parametrize(
    ("days", "order", "read"),
    [
        (["26/11/2026", "03/12/2026"], "day/month", [date(2026, 11, 26), date(2026, 12, 3)]),
        (["11/26/2026", "12/03/2026"], "month/day", [date(2026, 11, 26), date(2026, 12, 3)]),
        (["3.12.26", "2026-12-04"], "day/month", [date(2026, 12, 3), date(2026, 12, 4)]),
        (["05/05/2026", None], "", [date(2026, 5, 5), None]),
    ],
)
def test_days_decide_for_their_column(trial, days, order, read):
    look = trial.look_at(pd.DataFrame({"bake": [1, 2], "dough": "A", "day": days}))
    assert (look.date_order, look.questions, len(look.problems)) == (order, (), 0)
    assert [d or None for d in look.sheet.about_bake["day"]] == read


def test_days_that_could_be_two_are_asked_about(trial):
    look = trial.look_at(pd.DataFrame({"bake": [1], "dough": "A", "date": ["03/12/2026"]}))
    assert look.questions == ("Are these dates day/month or month/day, such as '03/12/2026'?",)
    assert look.problems["remedy"].tolist() == [
        "Could be 2026-12-03 or 2026-03-12. Say whether days are day/month or month/day."
    ]
    for order, meant in (("day/month", date(2026, 12, 3)), ("month/day", date(2026, 3, 12))):
        said = look.with_dates(order)
        assert (said.questions, said.sheet.about_bake["day"]) == ((), [meant])


def test_days_that_contradict_each_other_are_problems(trial):
    days = ["26/11/2026", "11/27/2026", "2026-11-28"]
    look = trial.look_at(pd.DataFrame({"bake": [1, 2, 3], "dough": "A", "day": days}))
    assert look.problems["row"].tolist() == [2, 3]
    assert look.sheet.good() == [2]


@pytest.mark.parametrize(
    ("cells", "read"),
    [
        (["38,5", "1,050 "], [38.5, 1.05]),  # the first shows what the comma is
        (["38.5", "1,050"], [38.5, 1050]),
        (["1.234,5", "1,234.5"], [1234.5, 1234.5]),  # each says it by itself
    ],
)
def test_decimal_commas(trial, cells, read):
    look = trial.look_at(pd.DataFrame({"bake": 1, "dough": "A", "ball weight g": cells}))
    assert look.to_frame()["ball_weight_g"].tolist() == read


def test_a_comma_that_could_be_either_is_asked_about(trial):
    look = trial.look_at(pd.DataFrame({"bake": [1], "dough": "A", "ball weight g": ["1,050"]}))
    assert look.questions == ("'ball weight g': is '1,050' with a decimal comma, or thousands?",)
    assert len(look.problems) == 1
    for mark, meant in (("comma", 1.05), ("point", 1050)):
        assert look.with_decimal(mark).to_frame()["ball_weight_g"].tolist() == [meant]
    german = pd.DataFrame({"bake": 1, "dough": "A", "ball weight g": ["80,5", "1.050"]})
    look = trial.look_at(german)  # decimal commas, and a point: not silently a thousand
    assert look.problems["row"].tolist() == [3]
    assert look.with_decimal("comma").to_frame()["ball_weight_g"].tolist() == [80.5, 1050]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "cp1252"])
@pytest.mark.parametrize("sign", [";", "\t"])
def test_separators_and_encodings(trial, tmp_path, encoding, sign):
    look = trial.look_at(csv(tmp_path, KITCHEN.replace(";", sign), encoding=encoding))
    assert look.cells["piece"] == ["1", "2", "1"]
    told = [check for check in look.checks if "1252" in check]
    assert told == (
        [
            "bakes.csv is not UTF-8; it was read as Windows-1252. "
            f"Does {'Bake;Datum;Teig;Stück;malt' if sign == ';' else 'Stück'!r} read as it should? "
            "If not, save it as CSV (UTF-8)."
        ]
        if encoding == "cp1252"
        else []
    )


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"", "bakes.csv holds nothing that could be a table; nothing was stored."),
        (b"\n , \n", "bakes.csv holds nothing that could be a table; nothing was stored."),
        (b"bake,dough\n", "bakes.csv has no rows below the heading; nothing was stored."),
        (
            b"bake,dough\n1," + b"x" * 1_000_000,
            "bakes.csv cannot be read: a cell in row 2 holds more than 131072 characters. "
            "Perhaps a quotation mark is not closed.",
        ),
        (
            b"\x81\x8d\xff\x00",
            "bakes.csv is not plain text. Save it as CSV (UTF-8) in your spreadsheet.",
        ),
        (
            b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"x" * 100,
            "bakes.csv is a workbook of the old kind (.xls), or locked with a password. "
            "Save it as .xlsx without a password.",
        ),
    ],
)
def test_files_that_are_no_table(trial, tmp_path, content, message):
    with pytest.raises(DataError) as caught:
        trial.look_at(csv(tmp_path, content))
    assert str(caught.value) == message


def test_cells_that_are_no_values(trial, tmp_path):
    text = (
        "bake,dough,piece,Height,Height,baked weight\n"
        '1,1A,a,=1+2,,72\n1,1A,b,38\0,,#N/A\n1,1A,c,38,39,72,too,many\n1,1A,"=1+2",38,,72\n'
    )
    look = trial.look_at(csv(tmp_path, text))
    assert look.questions == (
        "'Height' and 'Height (2)' both mean rise_height_mm. Which? Now the first.",
    )
    found = look.problems.to_dict("records")
    assert [(p["row"], p["column"], p["remedy"].split(".")[0]) for p in found] == [
        (2, "Height", "Is a formula, and a number is needed"),
        (3, "Height", "Has an unknown unit, expected length"),
        (3, "baked weight", "Is an error of the spreadsheet"),
        (4, "row", "Has more cells than the heading"),
    ]  # fmt: skip
    trial.bring_in(look)
    assert trial.frame()["piece"].tolist() == ["=1+2"]  # text stays text


def test_a_dash_is_not_measured_and_a_word_for_a_step_is_told_the_steps(trial, tmp_path):
    file = tmp_path / "kitchen.csv"
    file.write_text(
        "Bake,Dough,Height,Tap\n1,A,–,-\n1,A,n/a,2\n1,B,30 mm,hollow\n", encoding="utf-8"
    )
    look = trial.look_at(file)
    assert look.problems["row"].tolist() == [4]
    assert str(look).splitlines()[-1] == (
        "  row 4, Tap 'hollow': Is not a number. How it sounds when tapped: 0 dense, 1 between, "
        "2 hollow."
    )
    trial.bring_in(look)
    frame = trial.frame()
    assert len(frame) == 2
    assert "rise_height_mm" not in frame  # missing, never 0
    assert frame["hollow_tap"].isna().tolist() == [True, False]


def test_a_long_table(trial, tmp_path):
    text = (
        "bake,dough,piece,quantity,value,unit\n"
        "1,1A,,malt,0.8,%\n1,1A,1A1,Height,1.5,in\n1,1A,1A1,baked weight,72,g\n"
        "1,1A,1A2,height,38,\n1,1A,,Height,39,\n1,,,room temp,72,F\n1,1A,1A2,height,40,\n"
        "1,1A,1A2,colour,brown,\n1,1A,1A2,Height,40,g\n"
    )
    look = trial.look_at(csv(tmp_path, text))
    assert look.long
    assert [(p["row"], p["value"]) for p in look.problems.to_dict("records")] == [
        (6, "39"), (8, "40"), (9, "colour"), (10, "g"),
    ]  # fmt: skip
    trial.bring_in(look)
    frame = trial.frame().set_index("piece")
    assert frame["rise_height_mm"].to_dict() == {"1A1": 38.1, "1A2": 38}
    assert frame["malt_percent"].tolist() == [0.8, 0.8]
    assert frame["room_temp_c"].iloc[0] == pytest.approx(200 / 9)
    # by code alone, of things that are there
    things = "thing,quantity,value\n1A,malt,0.4\n1A2,height,38\nzz,height,38\n"
    told = trial.bring_in(trial.look_at(csv(tmp_path, things)))
    assert (told.stored, told.same) == (2, 1)
    assert told.changed == ("row 2, dough 1A: Diastatic malt 0.80 % → 0.40 %",)
    assert told.problems["remedy"].tolist() == [
        "Is no piece of this trial. Give columns bake, dough, load and piece instead."
    ]


def test_a_day_stands_for_the_bake_where_no_column_does(trial):
    look = trial.look_at(pd.DataFrame({"Datum": ["26.11.2026"], "Teig": "A", "Höhe": 38}))
    assert look.questions == (
        "No column says which bake it is: each day counts as one. Is that right?",
    )
    trial.bring_in(look)
    assert [(b.code, b.day) for b in trial.bakes()] == [("2026-11-26", date(2026, 11, 26))]


def test_corrections_are_checked(trial, tmp_path):
    look = trial.look_at(csv(tmp_path, KITCHEN))
    with pytest.raises(NotFoundError, match=r"no column 'Hieght'. There are: 'Bake', 'Datum'"):
        look.with_column("Hieght", unit="in")
    with pytest.raises(InputError, match=r"unit is 'kg' \(column 'Height \(in\)'\): is no unit of"):
        look.with_column("Height (in)", unit="kg")
    with pytest.raises(NotFoundError, match="no quantity 'colour'"):
        look.with_column("Colour", quantity="colour")
    with pytest.raises(InputError, match="must be 'day/month' or 'month/day'"):
        look.with_dates("d/m")
    in_cm = look.with_column("Height (in)", quantity="rise_height_mm", unit="cm")
    assert in_cm.to_frame()["rise_height_mm"].tolist() == [15, 15, 40]
    assert look.to_frame()["rise_height_mm"].tolist() == [38.1, 38.1, 40]  # as it was


HEAD = ["Bake", "Date", "Dough", "Malt %", "Height", "Proof"]


def test_a_workbook(trial, tmp_path):
    def change(made, sheet):
        sheet["A1"].font = Font(bold=True)
        for row in (4, 5):
            sheet.cell(row, 4).number_format = "0.0%"
        hidden = made.create_sheet("old")
        hidden.append(["Bake"])
        hidden.sheet_state = "hidden"
        made.create_sheet("Notes").append(["Harbour café, invented"])
        sheet.merge_cells("C4:C5")

    rows = [
        ["Harbour café", None], [], HEAD,
        [1, datetime(2026, 11, 26), "A", 0.008, 38.5, time(1, 30)],
        [1, date(2026, 11, 26), None, 0.008, "39,5", "1:30"],
        [2, "2026-12-03", "A", 0.4, "#N/A", 90],
        [2, 46359, "A", 0.4, date(2026, 2, 1), 90],
        [2, "2026-12-03", "A", 0.4, "=E4+1", 90],
    ]  # fmt: skip
    look = trial.look_at(book(tmp_path, rows, change))
    assert look.checks == (
        "Is 'Thursday' the sheet you mean? There are also 'Notes'.",
        "Hidden and not read: 'old'.",
        "Merged cells count for every row they cover (1 of them, the first in row 4: 'A'). "
        "Is that meant?",
        "The headings stand in row 3; what is above is left out.",
        "'Malt %': cells are formatted as percent, 0.008 shows as 0.8 %; they count as shown. "
        "Or is 0.008 % meant?",
    )
    frame = look.to_frame()
    assert frame["malt_percent"].tolist() == [0.8, 0.8, 0.4, 0.4, 0.4]
    assert frame["rise_height_mm"].tolist()[:2] == [38.5, 39.5]
    assert frame["proof_minutes"].tolist() == [90, 90, 90, 90, 90]
    assert frame["dough"].tolist() == ["A"] * 5
    stored = look.with_column("Malt %", percent="stored").to_frame()["malt_percent"]
    assert stored.tolist() == [0.008, 0.008, 0.4, 0.4, 0.4]
    assert look.problems[["sheet", "row", "column"]].values.tolist() == [
        ["Thursday", 6, "Height"], ["Thursday", 7, "Date"], ["Thursday", 7, "Height"],
        ["Thursday", 8, "Height"],
    ]  # fmt: skip
    assert look.problems["remedy"].tolist() == [
        "Is an error of the spreadsheet. Correct the formula, or empty the cell.",
        "Is a number, not a day. Format the column as date; it would be 2026-12-03.",
        "Is a day, and a number is needed. Spreadsheets make a day of 1/2. Write 0.5, or '1/2.",
        "Is a formula whose value the file does not hold. Open it in your spreadsheet, save it "
        "anew, or write the value itself.",
    ]
    with pytest.raises(NotFoundError) as caught:
        trial.look_at(tmp_path / "bakes.xlsx", sheet="Friday")
    assert str(caught.value) == "no sheet 'Friday'. There are: 'Thursday', 'old', 'Notes'."


def with_cached_value(path, formula, value):
    """Put the value a spreadsheet keeps beside its formula, which openpyxl cannot write."""
    with zipfile.ZipFile(path) as packed:
        parts = {name: packed.read(name) for name in packed.namelist()}
    name = "xl/worksheets/sheet1.xml"
    old = f"<f>{formula}</f><v></v>".encode(), f"<f>{formula}</f><v />".encode()
    new = f"<f>{formula}</f><v>{value}</v>".encode()
    assert any(o in parts[name] for o in old)
    for o in old:
        parts[name] = parts[name].replace(o, new)
    with zipfile.ZipFile(path, "w") as packed:
        for part, content in parts.items():
            packed.writestr(part, content)


def test_a_formula_counts_with_the_value_last_shown(trial, tmp_path):
    path = book(tmp_path, [["bake", "dough", "height"], [1, "A", "=40-1"], [1, "A", "=40-2"]])
    with_cached_value(path, "40-1", 39)
    look = trial.look_at(path)
    assert look.to_frame()["rise_height_mm"].fillna(-1).tolist() == [39, -1]
    assert look.problems["row"].tolist() == [3]


def test_workbooks_that_are_none(trial, tmp_path):
    def refused(path):
        with pytest.raises(DataError) as caught:
            trial.look_at(path)
        return str(caught.value)

    damaged = "is damaged or no workbook. Open it in your spreadsheet, save it anew."
    assert refused(csv(tmp_path, b"PK\x03\x04nothing", "a.xlsx")) == f"a.xlsx {damaged}"
    with zipfile.ZipFile(tmp_path / "b.xlsx", "w") as packed:
        packed.writestr("hello.txt", "no workbook")
    assert refused(tmp_path / "b.xlsx") == f"b.xlsx {damaged}"
    good = book(tmp_path, [["bake", "dough"], [1, "A"]])
    whole = good.read_bytes()
    assert refused(csv(tmp_path, whole[: len(whole) // 2], "c.xlsx")) == f"c.xlsx {damaged}"
    with zipfile.ZipFile(good) as packed, zipfile.ZipFile(
        tmp_path / "bomb.xlsx", "w", zipfile.ZIP_DEFLATED
    ) as bomb:  # fmt: skip
        for name in packed.namelist():
            bomb.writestr(name, packed.read(name))
        bomb.writestr("xl/worksheets/sheet9.xml", b" " * 100_000_000)
    assert refused(tmp_path / "bomb.xlsx") == (
        "bomb.xlsx unpacks to 100 MB, which no sheet of bakes needs; it was not opened. "
        "Copy the cells you need into a new workbook, or save them as CSV."
    )

    def hide(made, sheet):
        made.create_sheet("empty")
        sheet.sheet_state = "hidden"

    hidden = book(tmp_path, [["bake", "dough"], [1, "A"]], hide, "d.xlsx")
    assert refused(hidden) == (
        "d.xlsx has no sheet that shows and holds anything; nothing was stored. "
        "Hidden: 'Thursday'; name one: sheet='Thursday'."
    )
    assert trial.look_at(hidden, sheet="Thursday").to_frame()["dough"].tolist() == ["A"]


def table_of(count):
    return pd.DataFrame(
        {
            "bake": [i // 100 for i in range(count)], "dough": [i // 10 for i in range(count)],
            "piece": range(count), "malt": [i // 10 % 3 * 0.4 for i in range(count)],
            "height": [20 + i / 100 for i in range(count)],
        }
    )  # fmt: skip


def test_progress_stop_and_one_undo(ws, trial, monkeypatch):
    monkeypatch.setattr(bring, "BATCH", 100)
    look, done = trial.look_at(table_of(1000)), []
    told = trial.bring_in(look, progress=lambda *now: done.append(now), stop=lambda: len(done) == 3)
    assert done == [(100, 1000), (200, 1000), (300, 1000)]
    assert (told.stopped, told.stored) == (True, 300)
    assert "It was stopped. Bring the same table in again for the rest." in str(told)
    frame = trial.frame()
    assert len(frame) == 300
    assert frame[["malt_percent", "rise_height_mm"]].notna().all(axis=None)  # whole rows
    rest = trial.bring_in(look)
    assert (rest.stopped, rest.stored, rest.new["piece"]) == (False, 1000, 700)
    assert trial.frame()["rise_height_mm"].tolist() == table_of(1000)["height"].tolist()
    assert ws.history(2)["what"].tolist() == [
        "malt: brought in 300 rows of the table", "malt: brought in 1000 rows of the table",
    ]  # fmt: skip
    ws.undo()
    assert len(trial.frame()) == 300
    ws.undo()
    assert trial.frame().empty
    assert ws.check().ok, str(ws.check())


def test_a_disk_that_fills_up_half_way_is_told_with_what_is_stored(trial, tmp_path, monkeypatch):
    monkeypatch.setattr(bring, "BATCH", 10)
    rows = [{"bake": 1, "dough": "A", "piece": i, "rise_height_mm": 30} for i in range(30)]
    look = trial.look_at(pd.DataFrame(rows))
    store_lines, done = bring.store_lines, []

    def filling(*given):
        if done:
            raise StoreError("x cannot grow: the disk is full; nothing was stored.")
        done.append(store_lines(*given))

    monkeypatch.setattr(bring, "store_lines", filling)
    with pytest.raises(StoreError) as caught:
        trial.bring_in(look)
    assert str(caught.value) == (
        "x cannot grow: the disk is full. The rows before that are stored: one undo takes them "
        "back, and the same table brought in again brings the rest."
    )
    assert len(trial.frame()) == 10
    monkeypatch.setattr(bring, "store_lines", store_lines)
    assert trial.bring_in(look).new["piece"] == 20


def test_what_another_notebook_does_meanwhile_is_seen(ws, trial, monkeypatch):
    monkeypatch.setattr(bring, "BATCH", 10)
    table = table_of(20).assign(bake=1, dough="A").drop(columns="malt")

    def meanwhile(done, _total):
        if done == 10:
            other = trial.add_piece(trial.dough("A"), code="15")
            trial.record(other, "rise_height_mm", 99)

    told = trial.bring_in(trial.look_at(table), progress=meanwhile)
    assert told.changed == ("row 17, piece 15: Height 99.0 mm → 20.1 mm",)
    assert len(trial.pieces()) == 20


def test_results_tell_in_words_and_tables(trial, tmp_path):
    look = trial.look_at(csv(tmp_path, KITCHEN.replace("40 mm", "<b>")))
    assert repr(look) == "<Look at bakes.csv: 3 rows, 2 questions, 1 problems>"
    assert str(look).startswith(
        "bakes.csv: 3 rows, one piece a row; 2 can be stored, 1 cannot.\n  'Bake' → bake\n"
    )
    assert "<b>" not in look._repr_html_()
    told = trial.bring_in(look)
    assert str(told).startswith(
        "bakes.csv: 2 of 3 rows are stored (1 bake, 1 dough, 2 pieces, 3 values new).\n"
        "1 row left out"
    )
    assert "<b>" not in told._repr_html_()
    assert told.to_frame()["left_out"].tolist() == [1]


# what else the table sets


BESIDE = """bake,dough,piece,malt_percent,retard_hours,rise_height_mm
1,1A,1,0,24,30
1,1B,1,0.6,48,33
2,2A,1,0,48,31
2,2B,1,0.6,24,34
"""
TOLD = (
    "are set differently within a bake: name each as a factor of the trial, or the answer about "
    "another will not hold it alike"
)


def test_two_things_set_and_no_factor_named(ws, tmp_path):
    trial = ws.new_trial("beside")
    told = trial.bring_in(trial.look_at(csv(tmp_path, BESIDE)))
    assert told.checks == (f"diastatic malt (0 and 0.6 %) and cold retard (24 and 48 h) {TOLD}",)
    assert f"Look again: {told.checks[0]}" in str(told)


def test_one_of_two_things_set_is_a_factor(ws, tmp_path):
    trial = ws.new_trial("beside", factors={"malt_percent": [0, 0.6]})
    told = trial.bring_in(trial.look_at(csv(tmp_path, BESIDE)))
    assert told.checks == (f"cold retard (24 and 48 h) {TOLD.replace('are', 'is', 1)}",)


def test_both_things_set_are_factors(ws, tmp_path):
    trial = ws.new_trial("beside", factors={"malt_percent": [0, 0.6], "retard_hours": [24, 48]})
    assert trial.bring_in(trial.look_at(csv(tmp_path, BESIDE))).checks == ()


def test_one_thing_set_is_what_the_trial_will_ask_about(ws, tmp_path):
    trial = ws.new_trial("beside")
    one = BESIDE.replace(",24,", ",48,")
    assert trial.bring_in(trial.look_at(csv(tmp_path, one))).checks == ()

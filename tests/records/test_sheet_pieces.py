"""Spreadsheets with a row a dough: its pieces stand beside one another, numbered."""

import openpyxl
import pandas as pd
import pytest

from kit.records.sheets.words import uncounted


def ignoring(look, *headings):
    for heading in headings:
        look = look.with_column(heading, "ignored")
    return look


def csv(folder, text):
    (folder / "a.csv").write_text(text)
    return folder / "a.csv"


def book(folder, rows, *merged):
    made = openpyxl.Workbook()
    for row in rows:
        made.active.append(row)
    for cells in merged:
        made.active.merge_cells(cells)
    made.save(folder / "a.xlsx")
    return folder / "a.xlsx"


@pytest.fixture
def table(tmp_path):
    return csv(tmp_path, (
        "Bake;Dough;Malt %;Height 1 (mm);Height 2 (mm);Height 3 (mm);"
        "Baked weight 1;Baked weight 2\n"
        "1;A;0;30,5;31;;70;71\n"
        "1;B;0,8;33;;34,5;72;\n"
        "2;A;0,8;;;;;\n"
    ))  # fmt: skip


def test_pieces_beside_one_another_are_asked_about_and_read(trial, table):
    look = trial.look_at(table)
    assert look.questions == (
        "Are 'Height 1 (mm)', 'Height 2 (mm)' and 'Height 3 (mm)' those of 3 pieces of a dough? "
        "They are read so, and to say it of one counts for all. If it is one piece again, say "
        "ignored of all but one.",
        "Are 'Baked weight 1' and 'Baked weight 2' those of 2 pieces of a dough? They are read so, "
        "and to say it of one counts for all. If it is one piece again, say ignored of all but "
        "one.",
    )
    look = look.with_column("Height 2 (mm)", "rise_height_mm")  # one of them answers for all
    look = look.with_column("Baked weight 1", "baked_weight_g")
    assert look.questions == ()
    assert str(look).startswith(
        "a.csv: 3 rows, several pieces a row, 5 in all; 3 can be stored, 0 cannot.\n"
    )
    told = trial.bring_in(look)
    # what a dough's pieces share did not stand there before
    assert str(told) == (
        "a.csv: 3 of 3 rows are stored (2 bakes, 3 doughs, 5 pieces, 10 values new)."
    )
    frame = trial.frame()
    # a piece that is missing leaves the others what they are called
    assert frame["piece"].tolist() == ["A1", "A2", "B1", "B3", "A1"]
    assert frame["malt_percent"].tolist() == [0, 0, 0.8, 0.8, 0.8]
    assert frame["rise_height_mm"].tolist()[:4] == [30.5, 31, 33, 34.5]
    assert frame["baked_weight_g"].tolist()[:3] == [70, 71, 72]
    assert frame[["rise_height_mm", "baked_weight_g"]].isna().sum().tolist() == [1, 2]
    again = trial.bring_in(look)
    assert (again.values, again.same) == (0, 10)
    assert str(again).splitlines()[1:] == ["10 values stood there already."]
    assert len(trial.readings()) == 10


def test_a_piece_measured_later_changes_no_other(trial, table):
    trial.bring_in(trial.look_at(table))
    table.write_text(table.read_text().replace("33;;34,5", "33;33,5;34,5"))
    told = trial.bring_in(trial.look_at(table))
    assert (told.values, told.changes, told.new["piece"]) == (1, 0, 1)
    pieces = trial.frame().set_index(["bake", "piece"])["rise_height_mm"]
    assert pieces["1"][["B1", "B2", "B3"]].tolist() == [33, 33.5, 34.5]


def test_a_value_that_cannot_be_is_told_as_it_stands(trial, tmp_path):
    rows = "Bake,Dough,Muffin 1 height (in),Muffin 2 height (in)\n1,A,1 1/4,99\n1,B,1.2,1.3\n"
    look = trial.look_at(csv(tmp_path, rows))
    (problem,) = look.problems.to_dict("records")
    # the one column of several, and its cell as it stands there
    assert (problem["row"], problem["value"]) == (2, "99")
    assert problem["column"] == "Muffin 2 height (in)"
    assert problem["remedy"].endswith("It was read as 99 in.")
    assert trial.bring_in(look).stored == 1  # the row is left out whole
    assert trial.frame()["piece"].tolist() == ["B1", "B2"]


@pytest.mark.parametrize(
    "rows",
    [
        "Bake,Dough,Piece,Height 1,Height 2\n1,A,1,30,31\n1,A,2,33,34\n",  # a row a piece
        "Bake,Dough,Height,Height\n1,A,30,31\n1,A,33,34\n",  # and so, below one another
        "Bake,Batch,Dough,Height,Height\n1,X,A,30,31\n1,X,B,33,34\n",  # now the first counts
        "Bake,Dough,Side 1,Side 2\n1,A,5,6\n1,B,5,6\n",  # two sides of one
        "Bake,Dough,Height 1,Height 3\n1,A,30,31\n1,B,33,34\n",
        "Bake,Dough,Room temp 1,Room temp 2\n1,A,20,21\n1,B,20,21\n",  # of a bake
    ],
)
def test_what_is_no_row_of_pieces_is_asked_about_as_ever(trial, tmp_path, rows):
    look = trial.look_at(csv(tmp_path, rows))
    assert not look.unfolded
    assert look.questions


def test_a_heading_that_comes_again_is_another_piece(trial, tmp_path):
    look = trial.look_at(csv(tmp_path, "Bake,Dough,Height,Height\n1,A,30,31\n1,B,33,\n"))
    assert "'Height' and 'Height' those of 2 pieces" in look.questions[0]
    trial.bring_in(look)
    assert trial.frame()["rise_height_mm"].tolist() == [30, 31, 33]


MUFFINS = [[1, "A", 30, 80, 31, 81], [1, "B", 33, 82, 34, 83]]
NAMES = ["Height (mm)", "Diameter (mm)"] * 2


@pytest.mark.parametrize(
    ("rows", "merged", "said"),
    [
        ([["Our bakes"], ["Bake", "Dough", "Height", None, "Diameter", None],
          [None, None, 1, 2, 1, 2], *([*r[:2], r[2], r[4], r[3], r[5]] for r in MUFFINS)],
         ["A2:A3", "B2:B3", "C2:D2", "E2:F2"], "Rows 2 and 3 are read as one heading."),
        ([[None, None, "Muffin 1", None, "Muffin 2", None], ["Bake", "Dough", *NAMES], *MUFFINS],
         ["C1:D1", "E1:F1"], "Rows 1 and 2 are read as one heading."),
        ([["Bake", "Dough", "Muffin 1", None, "Muffin 2", None], [None, None, *NAMES], *MUFFINS],
         ["A1:A2", "B1:B2", "C1:D1", "E1:F1"], "Rows 1 and 2 are read as one heading."),
    ],
)  # fmt: skip
def test_a_heading_over_two_rows(trial, tmp_path, rows, merged, said):
    look = trial.look_at(book(tmp_path, rows, *merged))
    assert said in look.checks
    assert len(look.questions) == 2  # about the pieces alone
    trial.bring_in(look)
    pd.testing.assert_frame_equal(
        trial.frame()[["dough", "piece", "diameter_mm", "rise_height_mm"]],
        pd.DataFrame({"dough": [*"AABB"], "piece": ["A1", "A2", "B1", "B2"],
                      "diameter_mm": [80.0, 81, 82, 83], "rise_height_mm": [30.0, 31, 33, 34]}),
        check_dtype=False,
    )  # fmt: skip


@pytest.mark.parametrize(
    "rows",
    [
        [["Bake", "Dough", "Height", None], [1, "A", 30, "tall"], [2, "A", 31, "low"]],
        [["Bake", "Dough", "Height", "Salt"], [None, None, "mm", "%"], [1, "A", 30, 1.2]],
        [["Bakes", "of 2026"], ["Bake", "Dough", "Height"], [1, "A", 30]],
        # a bake that nobody named
        [["Bake", "Dough", "Height", "Height"], [None, None, 30, 31], [1, "A", 32, 33]],
        [["Bake", "Dough", "Height", "Height"], [None, None, "30 mm", "31 mm"], [1, "A", 32, 33]],
    ],
)
def test_a_row_of_values_or_units_or_a_title_is_no_heading(trial, tmp_path, rows):
    look = trial.look_at(book(tmp_path, rows))
    assert not any("one heading" in check for check in look.checks)
    assert look.to_frame()["rise_height_mm"].tolist()[0] == 30


@pytest.mark.parametrize("merged", [["C1:D1", "E1:F1"], []])
def test_a_name_over_columns_reaches_no_further_than_it_is_merged(trial, tmp_path, merged):
    rows = [
        [None, None, "Muffin 1", None, "Muffin 2", None, None, None],
        ["Bake", "Dough", *NAMES, "Malt %", "Core temp"], *([*r, 0.8, 96] for r in MUFFINS),
    ]  # fmt: skip
    look = trial.look_at(book(tmp_path, rows, *merged))
    assert [c.heading for c in look.columns if not c.piece][2:] == [
        "Malt %", "Core temp"
    ]  # fmt: skip
    trial.bring_in(look)
    assert trial.frame()["malt_percent"].tolist() == [0.8] * 4


@pytest.mark.parametrize(
    ("heading", "base", "number"),
    [
        ("Height 2", "Height", 2), ("height_3_mm", "height mm", 3),
        ("Höhe (1) [mm]", "Höhe [mm]", 1), ("Muffin 2 Höhe", "Höhe", 2),
        ("Muffin no. 2 height", "height", 2), ("Height #4", "Height", 4),
        ("Height (mm).1", "Height (mm)", 1), ("2026 height", "2026 height", None),
        ("Height 1 of 2", "Height 1 of 2", None),
    ],
)  # fmt: skip
def test_the_number_of_a_heading(heading, base, number):
    assert uncounted(heading) == (base, number)


TASTED = "Bake,Dough,Malt %,Height,Score 1,Score 2,Score 3\n1,A,0,30,7,8,6\n1,B,0.8,33,8,9,7\n"


def test_a_row_is_a_piece_again_where_no_column_of_several_counts(trial, tmp_path):
    look = trial.look_at(csv(tmp_path, TASTED))
    look = ignoring(look, "Score 1", "Score 2", "Score 3")
    assert look.questions == ()
    trial.bring_in(look)
    assert trial.frame()[["piece", "rise_height_mm"]].values.tolist() == [["A1", 30], ["B1", 33]]
    assert set(trial.readings()["quantity"]) == {"malt_percent", "rise_height_mm"}


def test_what_is_said_of_one_piece_is_asked_about_and_given_to_none(trial, tmp_path):
    rows = (
        "Bake,Dough,Salt,Side time,Height 1,Height 2,Core temp,Place,Events\n"
        "1,A,2,6,30,31,96,3,dropped\n1,B,1,6,33,34,97,4,\n"
    )
    look = trial.look_at(csv(tmp_path, rows))
    asked = [told for told in look.questions if told.startswith("Which piece's is ")]
    assert [told.split("'")[2] for told in asked] == ["Core temp", "Place", "Events"]
    # saying again what it is does not say of which
    assert look.with_column("Core temp", "core_temp_c").questions == look.questions
    trial.bring_in(look)
    frame = trial.frame()
    assert frame["side_minutes"].tolist() == [6] * 4  # decided for all of them
    assert frame["salt_percent"].tolist() == [2, 2, 1, 1]
    assert "core_temp_c" not in set(trial.readings()["quantity"])
    assert frame[["place", "events"]].isna().all(axis=None)
    alone = ignoring(trial.look_at(csv(tmp_path, rows)), "Height 1", "Height 2")
    assert alone.to_frame()["core_temp_c"].tolist() == [96, 97]


@pytest.mark.parametrize(
    ("heads", "last"), [("Height 1,Height 2,Height", "Height"), ("Height,Height,Height 2", "2")]
)
def test_a_mean_beside_its_pieces_takes_no_place_of_theirs(trial, tmp_path, heads, last):
    look = trial.look_at(csv(tmp_path, f"Bake,Dough,{heads}\n1,A,30,32,31\n1,B,33,35,34\n"))
    assert len(look.questions) == 2
    assert any("those of 2 pieces" in told for told in look.questions)
    assert any(f"{last}' both mean rise_height_mm" in told for told in look.questions)
    trial.bring_in(look)
    assert trial.frame()["rise_height_mm"].tolist() == [30, 32, 33, 35]


@pytest.mark.parametrize("second", ["Baked weight", "Proof ratio"])
def test_columns_left_of_different_pieces_are_not_put_together(trial, tmp_path, second):
    rows = f"Bake,Dough,Height 1,Height 2,{second} 1,{second} 2\n1,A,30,31,2,3\n"
    look = ignoring(trial.look_at(csv(tmp_path, rows)), "Height 1", f"{second} 2")
    assert len(look.questions) == 2
    frame = look.to_frame()
    assert frame["piece"].tolist() == ["A1", "A2"]
    assert frame["rise_height_mm"].fillna(0).tolist() == [0, 31]
    (name,) = {"baked_weight_g", "proof_ratio"} & {*frame}
    assert frame[name].fillna(0).tolist() == [2, 0]


def test_the_heading_without_a_number_is_the_one_written_alike(trial, tmp_path):
    rows = "Bake,Dough,{}\n1,A,30,31,32\n"
    for heads in ("Height,height,Height 2", "height,Height,Height 2"):
        look = trial.look_at(csv(tmp_path, rows.format(heads)))
        assert any("'Height' and 'height' both mean" in told for told in look.questions)
        own = [30, 32] if heads.startswith("H") else [31, 32]
        assert look.to_frame()["rise_height_mm"].tolist() == own


def test_two_measurements_under_the_same_numbers_are_not_mixed(trial, tmp_path):
    heads = "Height 1,Height 2,Rise height 1,Rise height 2,Rise height 3"
    look = trial.look_at(csv(tmp_path, f"Bake,Dough,{heads}\n1,A,30,31,20,21,22\n"))
    assert look.questions[0].startswith("Are 'Height 1' and 'Height 2' those of 2 pieces")
    assert [told.partition(" both")[0] for told in look.questions[1:]] == [
        f"'Height 1' and 'Rise height {number}'" for number in (1, 2, 3)
    ]
    assert look.to_frame()["rise_height_mm"].tolist() == [30, 31]


@pytest.mark.parametrize(
    "heads", ["Height 1,height 2,HEIGHT 3", "Height 1 (mm),Height 2 (in),Rise height 3 (cm)"]
)
def test_pieces_may_be_written_otherwise_and_in_units_of_their_own(trial, tmp_path, heads):
    cells = "30,31,32" if "HEIGHT" in heads else '30,"1 1/4",3.2'
    look = trial.look_at(csv(tmp_path, f"Bake,Dough,{heads}\n1,A,{cells}\n1,B,33,1.25,\n"))
    assert look.to_frame()["piece"].tolist() == ["A1", "A2", "A3", "B1", "B2"]
    wanted = [30, 31, 32, 33, 1.25] if "HEIGHT" in heads else [30, 31.75, 32, 33, 31.75]
    assert look.to_frame()["rise_height_mm"].tolist() == wanted


def test_a_piece_left_out_leaves_the_others_what_they_are_called(trial, tmp_path):
    rows = "Bake,Dough,Height 1,Height 2,Height 3\n1,A,30,31,32\n"
    look = ignoring(trial.look_at(csv(tmp_path, rows)), "Height 2")
    look = look.with_column("Height 3", "rise_height_mm")
    assert look.questions == ()
    assert look.to_frame()[["piece", "rise_height_mm"]].values.tolist() == [["A1", 30], ["A3", 32]]


def test_a_piece_of_which_nothing_that_counts_was_measured_is_none(trial, table):
    look = ignoring(trial.look_at(table), "Height 1 (mm)", "Height 2 (mm)", "Height 3 (mm)")
    assert look.to_frame()["piece"].tolist() == ["A1", "A2", "B1", "A1"]


def test_a_row_is_not_cut_where_the_table_is_stored_in_parts(trial, tmp_path, monkeypatch):
    monkeypatch.setattr("kit.records.sheets.bring.BATCH", 4)
    rows = "".join(f"{i},A,30,31,32\n" for i in range(5))
    look = trial.look_at(csv(tmp_path, f"Bake,Dough,Height 1,Height 2,Height 3\n{rows}"))
    parts: list[int] = []
    told = trial.bring_in(look, lambda done, of: parts.append(done), lambda: len(parts) == 1)
    assert (parts, told.stored) == ([6], 2)
    assert trial.frame().groupby("bake").size().tolist() == [3, 3]


def test_a_dough_has_its_pieces_in_one_row(trial, tmp_path):
    """Which of its pieces the second row holds, nothing says."""
    rows = "Bake,Tub,Dough,Height 1,Height 2\n1,X,A,30,31\n1,X,B,33,34\n2,X,A,35,36\n"
    look = trial.look_at(csv(tmp_path, rows)).with_column("Tub", "dough")
    (problem,) = look.problems.to_dict("records")
    assert (problem["row"], problem["column"], problem["value"]) == (3, "Tub", "X")
    assert problem["remedy"] == "Has its pieces in row 2. Give each piece a row of its own."
    assert look.to_frame()["usable"].tolist() == [True, True, False, False, True, True]


def test_a_problem_of_a_row_is_told_once(trial, tmp_path):
    rows = "Bake,Dough,Malt %,Height 1,Height 2\n1,A,lots,30,31\n1,,0,33,34\n"
    look = trial.look_at(csv(tmp_path, rows))
    assert look.problems[["row", "column"]].values.tolist() == [[2, "Malt %"], [3, "Dough"]]


PROOFS = {"dough": [*"AABB"], "piece": ["A1", "A2", "B1", "B2"], "proof_ratio": [1.6, 2, 1.7, 2.1]}


@pytest.mark.parametrize(
    "heads", ["Proof ratio 1,Proof ratio 2", "Proof ratio,Proof ratio", "Proof ratio,Proof ratio.1"]
)
def test_what_is_decided_and_numbered_is_each_pieces_own(trial, tmp_path, heads):
    rows = f"Bake,Dough,{heads},Height 1,Height 2\n1,A,1.6,2,30,31\n1,B,1.7,2.1,33,34\n"
    look = trial.look_at(csv(tmp_path, rows))
    assert [told.rpartition("dough? ")[2] for told in look.questions] == [
        "They are read so, and to say it of one counts for all. If they mean anything else, say "
        "ignored of each.",
        "They are read so, and to say it of one counts for all. If it is one piece again, say "
        "ignored of all but one.",
    ]
    trial.bring_in(look)
    pd.testing.assert_frame_equal(trial.frame()[[*PROOFS]], pd.DataFrame(PROOFS), check_dtype=False)


def test_what_is_decided_and_numbered_below_one_heading_is_each_pieces_own(trial, tmp_path):
    rows = [["Bake", "Dough", "Proof ratio", None, "Height", None], [None, None, 1, 2, 1, 2],
            [1, "A", 1.6, 2, 30, 31], [1, "B", 1.7, 2.1, 33, 34]]  # fmt: skip
    trial.bring_in(trial.look_at(book(tmp_path, rows, "C1:D1", "E1:F1")))
    pd.testing.assert_frame_equal(trial.frame()[[*PROOFS]], pd.DataFrame(PROOFS), check_dtype=False)


def test_the_times_of_two_sides_can_be_taken_back(trial, tmp_path):
    rows = "Bake,Dough,Side time 1,Side time 2,Height 1,Height 2\n1,A,5,7,30,31\n1,B,5,7,33,34\n"
    look = trial.look_at(csv(tmp_path, rows))
    assert look.to_frame()["side_minutes"].tolist() == [5, 7, 5, 7]
    assert look.questions[0].endswith("If they are the two sides of one, say ignored of each.")
    look = ignoring(look, "Side time 1", "Side time 2")
    assert "side_minutes" not in look.to_frame()


@pytest.mark.parametrize(
    ("heads", "asked"),
    [
        # not numbered as the heights are
        ("Proof ratio 1,Proof ratio 2", "Which piece's is 'Proof ratio 1'? A row holds several"),
        ("Proof ratio 1,Proof ratio 3", "Which piece's is 'Proof ratio 1'? A row holds several"),
        ("Diameter 1,Diameter 3", "Which piece's is 'Diameter 1'? A row holds several"),
        # a dough has one, and of which piece it was nobody knows
        ("Proof 1,Proof 2", "What is 'Proof 1'? A dough has one warm proof, and several stand "),
        ("Proof,Proof", "What is 'Proof'? A dough has one warm proof, and several stand here; "),
    ],
)  # fmt: skip
def test_what_is_numbered_and_no_piece_of_theirs_is_left_out(trial, tmp_path, heads, asked):
    rows = f"Bake,Dough,{heads},Height 1,Height 2,Height 3\n1,A,30,40,30,31,32\n1,B,30,40,33,34,\n"
    look = trial.look_at(csv(tmp_path, rows))
    assert look.questions[0].startswith(asked)
    assert len(look.questions) == 3
    for_all = "keep one column without a number if it is for all pieces"
    assert (for_all in look.questions[0]) == heads.startswith("Proof ratio")
    trial.bring_in(look)
    assert set(trial.readings()["quantity"]) == {"rise_height_mm"}
    if asked.startswith("What"):  # the dough's own, once somebody says so
        proof = look.with_column(heads.split(",")[0], "proof_minutes")
        assert proof.to_frame()["proof_minutes"].tolist() == [30] * 5


@pytest.mark.parametrize("last", ["Proof ratio 2", "Proof ratio"])
def test_one_of_several_numbered_columns_is_its_own_piece_s_alone(trial, tmp_path, last):
    first = "Proof ratio 1" if last[-1] == "2" else last
    rows = f"Bake,Dough,{first},{last},Height 1,Height 2\n1,A,1.6,2,30,31\n1,B,1.7,2.1,33,34\n"
    look = trial.look_at(csv(tmp_path, rows)).with_column(first, "proof_ratio")
    assert look.to_frame()["proof_ratio"].tolist() == [1.6, 2, 1.7, 2.1]
    one = ignoring(look, last if last != first else f"{last} (2)")
    assert one.to_frame()["proof_ratio"].fillna(0).tolist() == [1.6, 0, 1.7, 0]
    alone = ignoring(look, "Height 1", "Height 2")
    assert alone.to_frame()["proof_ratio"].tolist() == [1.6, 1.7]


def test_what_is_decided_once_for_all_pieces_is_told(trial, tmp_path):
    rows = "Bake,Dough,Proof ratio,{},Height 1,Height 2\n1,A,1.6,6,30,31\n1,B,2,6,33,34\n"
    look = trial.look_at(csv(tmp_path, rows.format("Flips 1")))
    assert "'Proof ratio' counts for all pieces of a row alike." in look.checks
    assert "Which piece's is 'Flips 1'?" in " ".join(look.questions)  # a number with no other
    assert look.to_frame()["proof_ratio"].tolist() == [1.6, 1.6, 2, 2]
    alone = ignoring(look, "Height 1", "Height 2")
    assert alone.checks == ("Does 'Flips 1' mean Extra turns?",)
    assert alone.to_frame()["extra_flips"].tolist() == [6, 6]


@pytest.mark.parametrize(
    "heads",
    ["Height,Height.1,Height.2", "Height,Height2,Height3", "Height mm,Height 2 mm,Height 3 mm"],
)
def test_a_heading_without_a_number_is_the_first_piece(trial, tmp_path, heads):
    look = trial.look_at(csv(tmp_path, f"Bake,Dough,{heads}\n1,A,30,31,32\n1,B,33,34,35\n"))
    assert len(look.questions) == 1
    assert "those of 3 pieces of a dough?" in look.questions[0]
    trial.bring_in(look)
    assert trial.frame()["piece"].tolist() == ["A1", "A2", "A3", "B1", "B2", "B3"]
    assert trial.frame()["rise_height_mm"].tolist() == [30, 31, 32, 33, 34, 35]


def test_a_data_frame_with_columns_called_alike(trial, tmp_path):
    path = csv(tmp_path, "Bake,Dough,Height,Height,Height\n1,A,30,31,32\n1,B,33,34,\n")
    trial.bring_in(trial.look_at(pd.read_csv(path)))
    assert trial.frame()["rise_height_mm"].tolist() == [30, 31, 32, 33, 34]


def test_a_value_of_a_dough_stood_there_once(trial, tmp_path):
    rows = "Bake,Dough,Malt %,Room temp,Height\n1,A,0,21,30\n1,A,0,21,31\n1,B,0.8,21,33\n"
    path = csv(tmp_path, rows)
    assert trial.bring_in(trial.look_at(path)).same == 0
    path.write_text(rows + "1,B,0.8,21,34\n")
    told = trial.bring_in(trial.look_at(path))
    assert (told.values, told.same) == (1, 6)

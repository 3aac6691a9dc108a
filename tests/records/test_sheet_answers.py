"""What is said of one of several numbered columns, and what it means for the others."""

import openpyxl
import pytest

from kit.errors import InputError, NotFoundError


def csv(folder, text):
    (folder / "a.csv").write_text(text)
    return folder / "a.csv"


def test_each_column_of_the_file_can_be_answered_by_itself(trial, tmp_path):
    look = trial.look_at(csv(tmp_path, "Bake,Dough,Height 1,Height 2\n1,A,30,31\n1,B,33,\n"))
    look = look.with_column("Height 2", "core_temp_c").with_column("Height 1", "rise_height_mm")
    assert look.questions == ()
    frame = look.to_frame()
    assert frame["piece"].tolist() == ["A1", "B1"]
    assert frame["rise_height_mm"].tolist() == [30, 33]
    assert frame["core_temp_c"].tolist()[0] == 31
    with pytest.raises(NotFoundError, match="Height 3"):
        look.with_column("Height 3", "ignored")


THREE = "Bake,Dough,Height 1,Height 2,Height 3\n1,A,2.8,2.9,3.1\n1,B,3.2,3.3,3.4\n"


def test_a_column_of_several_pieces_is_measured_on_each_or_ignored(trial, tmp_path):
    look = trial.look_at(csv(tmp_path, THREE))
    for other in ("malt_percent", "piece", "events"):
        with pytest.raises(InputError, match="must be something measured on each piece, or igno"):
            look.with_column("Height 1", other)
    back = look.with_column("Height 1", "liking").with_column("Height 1", "rise_height_mm")
    assert back.to_frame()["piece"].tolist() == ["A1", "A2", "A3", "B1", "B2", "B3"]


def test_a_column_of_several_pieces_may_mean_something_else(trial, tmp_path):
    look = trial.look_at(csv(tmp_path, "Bake,Dough,Height 1,Height 2\n1,A,30,8\n1,B,33,9\n"))
    other = look.with_column("Height 2", "liking")
    assert other.questions == ("Does 'Height 1' mean Height?",)
    assert other.to_frame()["piece"].tolist() == ["A1", "B1"]
    scored = look.with_column("Height 1", "liking").with_column("Height 2", "liking")
    assert scored.questions == ()
    assert scored.to_frame()["piece"].tolist() == ["A1", "A2", "B1", "B2"]


@pytest.mark.parametrize("unit_alone", [False, True])
def test_an_answer_that_confirms_gives_its_unit_to_all(trial, tmp_path, unit_alone):
    look = trial.look_at(csv(tmp_path, THREE))
    if unit_alone:
        look = look.with_column("Height 2", unit="cm")
    else:
        look = look.with_column("Height 1", "rise_height_mm", "cm")
    assert look.questions == ()
    trial.bring_in(look)
    assert trial.frame()["rise_height_mm"].tolist() == [28, 29, 31, 32, 33, 34]


def test_a_unit_in_the_heading_stays_unless_the_answer_names_one(trial, tmp_path):
    rows = "Bake,Dough,Height 1 (in),Height 2,Height 3 (mm)\n1,A,1.2,3,30\n"
    look = trial.look_at(csv(tmp_path, rows))
    confirmed = look.with_column("Height 1 (in)", "rise_height_mm")
    assert [column.unit for column in confirmed.columns[2:]] == ["in", "", "mm"]
    assert confirmed.questions == ()
    named = look.with_column("Height 2", "rise_height_mm", "cm")
    assert [column.unit for column in named.columns[2:]] == ["in", "cm", "mm"]
    assert named.to_frame()["rise_height_mm"].tolist() == [30.48, 30, 30]
    changed = look.with_column("Height 1 (in)", "rise_height_mm", "cm")
    assert [column.unit for column in changed.columns[2:]] == ["cm", "cm", "mm"]
    again = changed.with_column("Height 2", "rise_height_mm", "cm")
    assert [column.unit for column in again.columns[2:]] == ["cm", "cm", "mm"]


def test_a_unit_said_of_one_column_is_not_taken_from_it(trial, tmp_path):
    look = trial.look_at(csv(tmp_path, THREE)).with_column("Height 1", "rise_height_mm", "cm")
    look = look.with_column("Height 2", "rise_height_mm", "in")
    assert [column.unit for column in look.columns[2:]] == ["cm", "in", "cm"]
    (asked,) = look.questions  # which of the two the third has
    assert asked.startswith("Are 'Height 1', 'Height 2' and 'Height 3' those of 3 pieces")
    assert [bool(column.doubt) for column in look.columns[2:]] == [False, False, True]
    assert look.with_column("Height 3", "rise_height_mm").questions == ()


@pytest.mark.parametrize("meanwhile", ["ignored", "liking"])
def test_a_column_that_comes_back_is_asked_which_unit_it_has(trial, tmp_path, meanwhile):
    rows = "Bake;Dough;Height 1;Height 2\n1;A;3,1;3,2\n1;B;3,3;3,4\n"
    look = trial.look_at(csv(tmp_path, rows)).with_column("Height 1", "rise_height_mm", "cm")
    back = look.with_column("Height 1", meanwhile).with_column("Height 1", "rise_height_mm")
    for one in (back, back.with_column("Height 2", "rise_height_mm")):
        assert one.questions == (
            "In which unit is 'Height 1'? Of others of its kind cm was said. Say its unit.",
        )
    said = back.with_column("Height 1", "rise_height_mm", "cm")
    assert said.questions == ()
    assert said.to_frame()["rise_height_mm"].tolist() == [31, 32, 33, 34]
    # another unit is this column's alone, and the other is asked about
    said = back.with_column("Height 1", "rise_height_mm", "mm")
    (asked,) = said.questions
    assert asked.startswith("Are 'Height 1' and 'Height 2' those of 2 pieces")
    said = said.with_column("Height 2", "rise_height_mm")
    assert said.questions == ()
    assert said.to_frame()["rise_height_mm"].tolist() == [3.1, 32, 3.3, 34]


@pytest.mark.parametrize("said", ["", "cm"])
def test_pieces_that_made_way_come_back(trial, tmp_path, said):
    look = trial.look_at(csv(tmp_path, "Bake,Dough,Height 1,Height 2,Height\n1,A,30,31,32\n"))
    if said:
        look = look.with_column("Height 1", "rise_height_mm", said)
    mean = look.with_column("Height", "rise_height_mm")
    assert mean.questions == ()
    assert mean.to_frame()["rise_height_mm"].tolist() == [32]
    without = mean.with_column("Height", "ignored")
    (asked,) = without.questions
    assert asked.startswith("Are 'Height 1' and 'Height 2' those of 2 pieces")
    for one, heading in (mean, "Height 1"), (without, "Height 1"), (without, "Height 2"):
        again = one.with_column(heading, "rise_height_mm")
        assert again.questions == ()
        assert again.to_frame()["rise_height_mm"].tolist() == [30, 31]


@pytest.mark.parametrize(("heads", "answered"), [
    ("Height (mm);Height 2 (cm)", 1), ("Height;Height 2 (cm)", 1), ("Height 1 (cm)", 0),
    ("Height 2 (cm);Height 3 (cm)", 0), ("Height 2 (cm);Height 3 (cm)", 1),
    ("Rise 2 cm", 0), ("Oven height (cm)", 0), ("Height (cm) 2", 0),
])  # fmt: skip
def test_the_unit_in_a_heading_counts_whatever_else_it_says(trial, tmp_path, heads, answered):
    cells = ";".join("3,1" for _ in heads.split(";"))
    look = trial.look_at(csv(tmp_path, f"Bake;Dough;{heads}\n1;A;{cells}\n"))
    heading = heads.split(";")[answered]
    assert any(heading in told for told in look.questions)
    said = look.with_column(heading, "rise_height_mm")
    assert said.to_frame()["rise_height_mm"].tolist() == [31]


def test_the_unit_of_a_heading_that_could_be_two_counts(trial, tmp_path):
    look = trial.look_at(csv(tmp_path, "Bake,Dough,Weight (oz)\n1,A,2\n"))
    said = look.with_column("Weight (oz)", "baked_weight_g")
    assert said.to_frame()["baked_weight_g"].tolist() == pytest.approx([56.699], abs=0.01)


def test_which_unit_is_asked_of_a_second_column_too(trial, tmp_path):
    look = trial.look_at(csv(tmp_path, "Bake,Dough,Height,Height (h)\n1,A,30,31\n"))
    assert look.questions == (
        "'Height' and 'Height (h)' both mean rise_height_mm. Which? Now the first. "
        "'Height (h)': h is no unit of Height. Which unit is it?",
    )


def test_how_percent_count_is_asked_once_and_answered_for_all(trial, tmp_path):
    made = openpyxl.Workbook()
    made.active.append(["Bake", "Dough", "Bake loss 1", "Bake loss 2"])
    made.active.append([1, "A", 0.11, 0.12])
    for cell in ("C2", "D2"):
        made.active[cell].number_format = "0%"
    made.save(tmp_path / "a.xlsx")
    look = trial.look_at(tmp_path / "a.xlsx")
    asked = [told for told in look.questions if "formatted as percent" in told]
    assert len(asked) == 1
    assert look.to_frame()["bake_loss_percent"].tolist() == [11, 12]
    look = look.with_column("Bake loss 1", percent="stored")
    assert look.questions == ()
    assert look.to_frame()["bake_loss_percent"].tolist() == [0.11, 0.12]


def test_which_decimals_is_asked_once(trial, tmp_path):
    rows = 'Bake,Dough,Height 1,Height 2\n1,A,"1,050","1,150"\n'
    look = trial.look_at(csv(tmp_path, rows))
    assert [told for told in look.questions if "decimal comma" in told] == [
        "'Height 1': is '1,050' with a decimal comma, or thousands?"
    ]


def test_an_answer_that_does_not_confirm_leaves_the_others_asked_about(trial, tmp_path):
    look = trial.look_at(csv(tmp_path, THREE))
    two = "Are 'Height 2' and 'Height 3' those of 2 pieces of a dough?"
    assert look.with_column("Height 1", "ignored").questions[0].startswith(two)
    other = look.with_column("Height 3", "core_temp_c")
    assert [told.partition("?")[0] for told in other.questions] == [
        "Are 'Height 1' and 'Height 2' those of 2 pieces of a dough", "Which piece's is 'Height 3'"
    ]  # fmt: skip
    assert "core_temp_c" not in other.to_frame()
    one = look.with_column("Height 2", "ignored").with_column("Height 3", "ignored")
    assert one.questions == ("Does 'Height 1' mean Height?",)
    one = one.with_column("Height 1", "rise_height_mm", "cm")
    assert one.questions == ()
    assert one.to_frame()[["piece", "rise_height_mm"]].values.tolist() == [["A1", 28], ["B1", 32]]
    # also where one was confirmed before, which then is not asked about again
    later = look.with_column("Height 1", "rise_height_mm").with_column("Height 3", "ignored")
    assert [bool(column.doubt) for column in later.columns[2:]] == [False, True, False]


@pytest.mark.parametrize("first", ["Height 1 (cm)", "Height 2"])
def test_a_unit_is_asked_for_whatever_the_columns_are_said_to_be(trial, tmp_path, first):
    heads = ["Height 1 (cm)", "Height 2"]
    look = trial.look_at(csv(tmp_path, f"Bake,Dough,{','.join(heads)}\n1,A,8.1,82\n1,B,8.2,83\n"))
    for heading in sorted(heads, key=lambda x: x != first):
        look = look.with_column(heading, "diameter_mm")
    (asked,) = look.questions
    assert asked.startswith("In which unit is 'Height 2'? Of others of its kind cm was said.")
    said = look.with_column("Height 2", "diameter_mm", "mm")
    assert said.questions == ()
    assert said.to_frame()["diameter_mm"].tolist() == [81, 82, 82, 83]

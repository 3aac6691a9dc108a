"""Blind tastings in the records: planned, answered by code, blind until opened, undone."""

import pytest

from kit.errors import DataError, InputError, NotFoundError

PEOPLE = [f"P{k}" for k in range(1, 13)]


def wrong(plan, name):
    rows = plan.plates()
    codes = rows.loc[rows["taster"] == name, "code"]
    return next(c for c in codes if c != plan.right(name) and c != "R")


def planned(trial, rights=9, method="triangle"):
    plan = trial.plan_tasting(method, ["long", "short"], PEOPLE, seed=5)
    for k, name in enumerate(PEOPLE):
        trial.taste(name, plan.right(name) if k < rights else wrong(plan, name))
    return plan


def test_triangle_from_plan_to_answer(trial):
    planned(trial)
    told = trial.tastings()
    assert list(told.columns) == [
        "tasting", "method", "taster", "plate", "position", "code", "mark", "sample",
    ]  # fmt: skip
    assert told["sample"].isna().all()
    assert told["mark"].sum() == 12
    with pytest.raises(DataError) as caught:
        trial.tasting_answer()
    assert str(caught.value) == (
        "tasting 1 is still blind: record all answers, then open it with unblind; looking earlier "
        "would sway who still tastes."
    )
    assert trial.unblind() == "tasting 1 opened with 12 of 12 answers in"
    answer = trial.tasting_answer()
    assert answer.headline == "The tasters told them apart."
    assert (answer.right, answer.tasters) == (9, 12)
    assert set(trial.tastings()["sample"]) == {"long", "short"}


def test_key_is_kept_as_planned(trial):
    plan = trial.plan_tasting("scores", ["A", "B", "C"], PEOPLE[:4], seed=2, duplicate="B")
    kept = trial.serving()
    assert kept.table.values.tolist() == plan.table.values.tolist()
    assert (kept.method, kept.samples, kept.duplicate, kept.seed) == (
        "scores",
        plan.samples,
        "B",
        2,
    )


def test_history_tells_and_does_not_give_away(ws, trial):
    planned(trial)
    trial.unblind()
    told = ws.history()["what"].tolist()
    assert "malt: tasting 1 planned, triangle, 12 tasters" in told
    assert told[-1] == "malt: tasting 1 opened with 12 of 12 answers in"
    assert not any("long" in line or "short" in line for line in told)
    assert any(line.startswith("malt: tasting 1, P1 answered ") for line in told)
    ws.undo()
    assert trial.tastings()["sample"].isna().all()
    ws.undo()
    assert trial.tastings()["mark"].sum() == 11


def test_undoing_the_plan_takes_it_all_back(ws, trial):
    trial.plan_tasting("pair", ["A", "B"], ["Ida"])
    ws.undo()
    assert trial.tastings().empty
    with pytest.raises(DataError, match="no tasting is planned yet"):
        trial.unblind()


def test_answers_are_taken_by_code_and_may_be_changed(trial):
    plan = trial.plan_tasting("pair", ["A", "B"], ["Ida", "Jon"], seed=1)
    codes = plan.plates().query("taster == 'Ida'")["code"].tolist()
    assert trial.taste("Ida", codes[0]) == f"Ida answered {codes[0]}"
    trial.taste("Ida", codes[1])
    mine = trial.tastings().query("taster == 'Ida'").set_index("code")["mark"]
    assert mine.to_dict() == {codes[0]: 0.0, codes[1]: 1.0}
    assert trial.taste("Ida", None) == "Ida: answer taken back"
    assert trial.tastings()["mark"].isna().all()
    other = plan.plates().query("taster == 'Jon'")["code"].iloc[0]
    with pytest.raises(InputError) as caught:
        trial.taste("Ida", other)
    assert str(caught.value) == (
        f"code is {other!r}: is not on this plate. On it are {codes[0]} and {codes[1]}."
    )
    with pytest.raises(NotFoundError) as missing:
        trial.taste("Kim", codes[0])
    assert str(missing.value) == "no taster 'Kim'. There are: 'Ida', 'Jon'."
    with pytest.raises(NotFoundError, match="no plate '2'"):
        trial.taste("Ida", codes[0], plate=2)


def test_opening_waits_for_everybody(trial):
    plan = trial.plan_tasting("triangle", ["A", "B"], ["Ida", "Jon", "Kim"])
    with pytest.raises(DataError, match="nobody has answered in tasting 1 yet"):
        trial.unblind()
    trial.taste("Ida", plan.right("Ida"))
    with pytest.raises(DataError) as caught:
        trial.unblind()
    assert "Jon and Kim have not answered everything" in str(caught.value)
    assert trial.unblind(incomplete=True) == "tasting 1 opened with 1 of 3 answers in"
    with pytest.raises(InputError, match="comes after the tasting was opened"):
        trial.taste("Jon", plan.right("Jon"))
    with pytest.raises(DataError, match="tasting 1 is open already"):
        trial.unblind()
    # who did not answer is missing, not wrong
    assert trial.tasting_answer().counted == (1, 1)


def test_repeats_count_once_a_person(trial):
    plan = trial.plan_tasting("triangle", ["A", "B"], ["Ida", "Jon"], tries=3)
    for name in plan.tasters:
        for plate in (1, 2, 3):
            trial.taste(name, plan.right(name, plate), plate)
    trial.unblind()
    answer = trial.tasting_answer()
    assert (answer.tasters, answer.answers) == (2, 6)
    assert any("repeats are not more people" in check for check in answer.checks)
    # tasters are to doughs as a ruler is: a setting that was mixed once is its dough
    assert plan.checks[-1].startswith("serve muffins of several doughs of each setting")
    assert answer.checks[-1].endswith("the setting did it takes another tasting, of other doughs")


def test_ranking(trial):
    plan = trial.plan_tasting("ranking", ["A", "B", "C"], PEOPLE[:6], seed=3)
    for name, rows in plan.table.groupby("taster"):
        trial.taste(name, rows.sort_values("sample")["code"].tolist())  # A before B before C
    trial.unblind()
    answer = trial.tasting_answer()
    assert answer.sums.to_dict() == {"A": 6, "B": 12, "C": 18}
    assert answer.meaning == "liked most"
    with pytest.raises(InputError, match="is for pairs with a question of their own"):
        trial.plan_tasting("ranking", ["A", "B"], 6, expected="A")


def test_ranking_needs_every_code(trial):
    plan = trial.plan_tasting("ranking", ["A", "B", "C"], ["Ida"])
    codes = plan.plates()["code"].tolist()
    with pytest.raises(InputError, match=f"has no rank for {codes[2]}. Rank every one."):
        trial.taste("Ida", codes[:2])
    for far in (0, 4):
        with pytest.raises(InputError, match="must be a number from 1 to 3"):
            trial.taste("Ida", {codes[0]: 1, codes[1]: 2, codes[2]: far})


def test_every_tasting_is_another_draw_unless_asked(trial):
    people = [f"p{i}" for i in range(9)]
    first, second = (trial.plan_tasting("triangle", ["A", "B"], people) for _ in range(2))
    assert first.plates()["code"].tolist() != second.plates()["code"].tolist()
    assert trial.serving().seed == second.seed != first.seed


def test_scores_with_a_duplicate(trial):
    from kit.analysis.tasting import consistency

    plan = trial.plan_tasting("scores", ["A", "B"], PEOPLE[:6], duplicate=True, seed=8)
    for k, name in enumerate(PEOPLE[:6]):
        own = plan.table[plan.table["taster"] == name]
        marks = {
            c: (4 if s == "A" else 7) + k % 2
            for c, s in zip(own["code"], own["sample"], strict=True)
        }
        trial.taste(name, marks)
    trial.unblind()
    answer = trial.tasting_answer()
    assert answer.headline == "The tasters scored B higher."
    steady = consistency(trial.tastings(), mark="mark")
    assert steady.table["same"].tolist() == [0.0] * 6
    assert steady.unsteady == ()


def test_typed_scores(trial):
    plan = trial.plan_tasting("scores", ["A", "B"], ["Ida"])
    one, two = plan.plates()["code"]
    trial.taste("Ida", {one: "6,5", two: ""})
    told = trial.tastings().set_index("code")["mark"]
    assert told[one] == 6.5
    assert told.isna()[two]  # empty is missing, not 0
    with pytest.raises(InputError, match="must say a mark for each code"):
        trial.taste("Ida", [5, 6])


def test_expected_pair_is_one_sided(trial):
    plan = trial.plan_tasting(
        "pair", ["A", "B"], PEOPLE[:10], question="Which is saltier?", expected="B"
    )
    for k, name in enumerate(PEOPLE[:10]):
        own = plan.table[plan.table["taster"] == name].set_index("sample")["code"]
        trial.taste(name, own["B" if k < 9 else "A"])
    trial.unblind()
    answer = trial.tasting_answer()
    assert answer.names == ("B", "A")
    assert not answer.two_sided
    assert answer.p == pytest.approx(11 / 1024)


def test_samples_from_the_trial_itself(trial, made):
    plan = trial.plan_tasting("triangle", tasters=["Ida"])
    assert plan.samples == ("diastatic malt at 0 %", "diastatic malt at 0.8 %")
    other = trial.plan_tasting("pair", made.pieces[:2], ["Ida"])
    assert other.samples == ("piece 1A1", "piece 1A2")
    assert trial.tastings()["tasting"].unique().tolist() == [1, 2]
    assert trial.serving(1).method == "triangle"
    with pytest.raises(NotFoundError, match="no tasting '7'"):
        trial.serving(7)


def test_codes_avoid_those_of_pieces_and_open_plates(trial, made):
    trial.change(made.pieces[0], blind="234")
    codes = set()
    for _ in range(3):
        own = trial.plan_tasting("triangle", ["A", "B"], 40).plates()["code"]
        assert not codes & set(own)
        codes |= set(own)
    assert "234" not in codes


def test_other_trials_and_the_frame_are_left_alone(ws, trial, made):
    before = trial.frame()
    planned(trial)
    assert trial.frame().equals(before)
    assert trial.events().empty
    assert ws.new_trial("other").tastings().empty


def test_tasting_survives_reopening(ws, trial, tmp_path):
    from kit.workspace import Workspace

    planned(trial)
    with Workspace(tmp_path / "bakes", who="Jon") as again:
        other = again.trial("malt")
        assert other.unblind() == "tasting 1 opened with 12 of 12 answers in"
        assert other.tasting_answer().right == 9


def test_what_is_shared_while_still_blind_says_that_it_holds_the_key(trial, tmp_path):
    planned(trial)
    still = "holds the key of a tasting that is still blind"
    assert still in str(trial.package(tmp_path / "blind.zip"))
    trial.unblind()
    assert still not in str(trial.package(tmp_path / "open.zip"))

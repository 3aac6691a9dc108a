import copy
import math
import pickle
import subprocess
import sys

import pytest

from kit import quantities
from kit.errors import InputError, NotFoundError, StoreError
from kit.quantities import Quantity
from kit.workspace import Workspace

CRUST = Quantity("crust_mm", "Crust", "mm", "piece", (0, math.inf), (0.5, 5), 1, "Thickness.")


@pytest.fixture
def ws(tmp_path):
    with Workspace(tmp_path / "bakes", who="Ida") as workspace:
        yield workspace


@pytest.fixture
def forget_own():
    known = set(quantities._KNOWN)
    yield
    for name in set(quantities._KNOWN) - known:
        del quantities._KNOWN[name]


def refused(kind, call, *args, **kwargs):
    with pytest.raises(kind) as caught:
        call(*args, **kwargs)
    return str(caught.value)


def test_a_trial_says_what_it_is(ws):
    trial = ws.new_trial(
        "malt", question="Does more malt make a taller muffin?", outcome="rise_height_mm",
        factors={"malt_percent": ["0", "0,4 %", 0.8], "retard_hours": ["16", "1 day"]},
        matters="2,0", zone="Europe/Berlin", invented=True, baker="Ida",
    )  # fmt: skip
    again = ws.trial("malt")
    assert again == trial
    assert hash(again) == hash(trial)
    assert again.name == "malt"
    assert again.question == "Does more malt make a taller muffin?"
    assert again.outcome == "rise_height_mm"
    assert again.matters == 2.0
    assert again.zone == "Europe/Berlin"
    assert again.invented is True
    assert again.baker == "Ida"
    assert again.factors == {"malt_percent": [0.0, 0.4, 0.8], "retard_hours": [16.0, 24.0]}
    assert repr(again) == "<Trial 'malt', bakes: 0, doughs: 0, pieces: 0>"
    assert repr(ws) == f"<Workspace {str(ws.folder)!r}: 'malt'>"


def test_trials_come_oldest_first(ws):
    for name in ("malt", "retard", "apple"):
        ws.new_trial(name)
    assert [trial.name for trial in ws.trials()] == ["malt", "retard", "apple"]
    assert refused(NotFoundError, ws.trial, "mallt") == (
        "no trial 'mallt'. There are: 'malt', 'retard', 'apple'."
    )


def test_an_empty_workspace_says_so(ws):
    assert ws.trials() == []
    assert refused(NotFoundError, ws.trial, "malt") == "no trial 'malt'. There are none yet."
    assert ws.history().empty
    assert ws.undo() == "nothing to undo"


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({"name": "malt"}, "name is 'malt': is taken by another trial. Choose another name."),
        ({"name": " "}, "name is ' ': must not be empty."),
        ({"matters": -1}, "matters is -1: must be above 0."),
        (
            {"matters": "lots"},
            "matters is 'lots': is not a number. Write digits, with a comma or a point before "
            "decimals, for example 2.5 or 3 1/2.",
        ),
        (
            {"zone": "Berlin"},
            "zone is 'Berlin': is not a time zone. Write for example Europe/Berlin.",
        ),
        (
            {"factors": {"malt_percent": [0.4]}},
            "malt_percent is [0.4]: must be two or more settings, none of them empty or twice. "
            "A factor is what you change on purpose.",
        ),
        (
            {"factors": {"malt_percent": [0.4, "0.4 %"]}},
            "malt_percent is [0.4, '0.4 %']: must be two or more settings, none of them empty or "
            "twice. A factor is what you change on purpose.",
        ),
        (
            {"factors": {"malt_percent": "0, 0.4"}},
            "malt_percent is '0, 0.4': must be a list of settings. Write [0, 0.4, 0.8].",
        ),
        (
            {"factors": {"malt_percent": [0, 1e6]}},
            "malt_percent is 1000000 (factor): must lie between 0 and 20 %. "
            "Enter diastatic malt in %.",
        ),
    ],
)
def test_a_trial_that_cannot_be_leaves_nothing(ws, given, message):
    ws.new_trial("malt")
    assert refused(InputError, ws.new_trial, **{"name": "new", **given}) == message
    assert [trial.name for trial in ws.trials()] == ["malt"]
    assert len(ws.history()) == 1


def test_unknown_quantities_are_refused(ws):
    for given in ({"outcome": "hieght"}, {"factors": {"hieght": [1, 2]}}):
        told = refused(NotFoundError, ws.new_trial, "malt", **given)
        assert told.startswith("no quantity 'hieght'. There are: 'room_temp_c', ")
    assert ws.trials() == []


def test_a_trial_can_be_changed_and_changed_back(ws):
    trial = ws.new_trial("malt", factors={"malt_percent": [0, 0.8]}, matters=2)
    trial.change(
        name="malt II", matters=None, factors={"malt_percent": [0, 0.4], "proof_ratio": [1.5, 2]}
    )
    assert (trial.name, trial.matters) == ("malt II", None)
    assert trial.factors == {"malt_percent": [0, 0.4], "proof_ratio": [1.5, 2]}
    assert ws.history(1)["what"].iloc[0] == (
        "malt II: name now malt II, matters now empty, factors now malt_percent 0, 0.4; "
        "proof_ratio 1.5, 2"
    )
    ws.undo()
    assert (trial.name, trial.matters) == ("malt", 2)
    assert trial.factors == {"malt_percent": [0, 0.8]}
    assert refused(NotFoundError, trial.change, colour="brown") == (
        "no trial field 'colour'. There are: 'name', 'question', 'outcome', 'matters', 'zone', "
        "'invented', 'baker', 'factors'."
    )
    trial.change(name="malt")  # its own name is no other trial's
    ws.new_trial("retard")
    assert refused(InputError, trial.change, name="retard") == (
        "name is 'retard': is taken by another trial. Choose another name."
    )


def test_a_removed_trial_is_gone_until_undone(ws):
    trial = ws.new_trial("malt")
    piece = trial.add_piece(trial.add_dough(trial.add_bake("2026-11-26")))
    ws.remove_trial("malt")
    gone = "no trial 'malt'. There are none yet."
    assert refused(NotFoundError, ws.trial, "malt") == gone
    assert refused(NotFoundError, trial.frame) == gone
    assert refused(NotFoundError, trial.add_bake) == gone
    assert refused(InputError, trial.record, piece, "rise_height_mm", 38) == (
        "piece is 'piece 1A1': was removed. Undo that, or add it again."
    )
    ws.new_trial("malt")  # the name is free
    ws.undo()
    assert ws.undo() == "undone: malt: trial removed"
    assert trial.frame()["piece"].tolist() == ["1A1"]


def test_formula(ws):
    trial = ws.new_trial("malt")
    assert trial.formula() is None
    trial.set_formula(
        "base", [("bread flour", "flour", 90), ("rye", "flour", "10 %"), ("milk", "liquid", "72,5")]
    )
    formula = trial.formula()
    assert str(formula).splitlines() == [
        "base",
        "    90 %  bread flour",
        "    10 %  rye",
        "  72.5 %  milk (88 % water)",
        "In all 172.5 % of the flour's weight; hydration 63.8 %.",
    ]
    assert formula.to_frame()["percent"].tolist() == [90, 10, 72.5]
    trial.set_formula("other", [("flour", "flour", 100)])
    assert trial.formula().name == "other"
    ws.undo()
    assert trial.formula() == formula


@pytest.mark.parametrize(
    ("lines", "message"),
    [
        (
            [("flour", "flour", 95)],
            "flour is 95: must add up to 100. In baker's percentages all flours together are 100 "
            "and the rest is measured by them. Kept in proportion they would be: flour 100.",
        ),
        (
            [("flour", "flour", ""), ("milk", "liquid", 70)],
            "percent is None (flour): must not be empty. Flour cannot be left open.",
        ),
        (
            [("flour", "flour", 100), ("milk", "liquid", -1)],
            "percent is -1 (milk): must lie between 0 and 1000 %. Enter share in %.",
        ),
    ],
)
def test_a_formula_that_cannot_be(ws, lines, message):
    trial = ws.new_trial("malt")
    assert refused(InputError, trial.set_formula, "base", lines) == message
    assert trial.formula() is None


def test_an_unknown_role_lists_the_known(ws):
    trial = ws.new_trial("malt")
    assert refused(NotFoundError, trial.set_formula, "base", [("milk", "fluid", 72)]) == (
        "no role 'fluid'. There are: 'flour', 'liquid', 'salt', 'yeast', 'malt', 'fat', 'egg', "
        "'sugar', 'other'."
    )


def test_lots(ws):
    ws.add_lot("Flour", "F2", "from the mill")
    ws.new_trial("malt").add_bake("2026-11-26", flour_lot="F2", yeast_lot="Y7")
    ws.add_lot("flour", "F2", "from the mill, ash 0.55")
    assert ws.lots().values.tolist() == [
        ["flour", "F2", "from the mill, ash 0.55"], ["yeast", "Y7", ""],
    ]  # fmt: skip


def test_a_quantity_of_ones_own_is_remembered(ws, forget_own):
    assert ws.add_quantity(CRUST) is CRUST
    trial = ws.new_trial("malt", outcome="crust_mm")
    trial.add_piece(trial.add_dough(trial.add_bake("2026-11-26")))
    trial.record("1A1", "crust_mm", "2,5")
    ws.add_quantity(CRUST)  # twice is no harm
    ws.close()
    del quantities._KNOWN["crust_mm"]  # as in a new Python
    with Workspace(ws.folder) as again:
        assert quantities.get("crust_mm") == CRUST
        assert again.trial("malt").frame()["crust_mm"].tolist() == [2.5]


def test_a_quantity_in_a_unit_of_one_s_own_is_recorded_and_there_again(ws, forget_own):
    ws.add_quantity(
        Quantity("force_n", "Force", "N", "piece", [0, 50], [1, 20], 1, "To press it by a half.")
    )
    trial = ws.new_trial("texture", outcome="force_n", matters="0,5 N")
    piece = trial.add_piece(trial.add_dough(trial.add_bake("2026-11-26")))
    assert trial.record(piece, "force_n", "3 1/2 N").value == 3.5
    assert refused(InputError, trial.record, piece, "force_n", "3 kg") == (
        "force_n is '3 kg' (piece 1A1): must be in N. Write for example 2 N."
    )
    with Workspace(ws.folder) as again:
        assert again.trial("texture").frame()["force_n"].tolist() == [3.5]


def test_a_workspace_opens_with_a_quantity_that_is_no_longer_allowed(ws, forget_own, monkeypatch):
    monkeypatch.setattr(quantities, "add", quantities.remember)
    ws.add_quantity(Quantity("oven_f", "", "°F", "load", (0, 900), (300, 600), 0, "Old."))
    monkeypatch.undo()
    with Workspace(ws.folder) as again:
        assert again.trials() == []
        assert quantities.get("oven_f").unit == "°F"


def test_quantities_that_cannot_be_remembered(ws, forget_own):
    computed = Quantity(
        "twice", "Twice", "", "piece", (0, 9), (0, 9), 0, "x.", ("liking",), lambda x: 2 * x
    )
    assert refused(InputError, ws.add_quantity, computed) == (
        "formula is 'twice': cannot be remembered, only what is measured can. "
        "Compute it on the frame instead."
    )
    taken = Quantity("liking", "Joy", "", "piece", (0, 9), (0, 9), 0, "x.")
    assert refused(InputError, ws.add_quantity, taken) == (
        "name is 'liking': is taken by another quantity. Choose another name."
    )
    assert ws.history().empty


def test_two_workspaces_that_disagree_are_not_mixed(ws, tmp_path, forget_own):
    ws.add_quantity(CRUST)
    del quantities._KNOWN["crust_mm"]
    quantities.add(Quantity("crust_mm", "Crust", "mm", "piece", (0, 9), (0, 9), 1, "Other."))
    assert refused(StoreError, Workspace, ws.folder) == (
        f"{ws.store.name} has a quantity of its own, crust_mm, that differs from the one already "
        "known. Open this workspace in a fresh Python."
    )


def test_who_is_at_work(tmp_path, monkeypatch):
    monkeypatch.setenv("LOGNAME", "tom")
    with Workspace(tmp_path) as ws:
        ws.new_trial("malt")
        assert ws.history()["who"].tolist() == ["tom"]


def test_two_notebooks_see_each_others_work(tmp_path):
    with Workspace(tmp_path) as one, Workspace(tmp_path) as other:
        trial = one.new_trial("malt")
        piece = trial.add_piece(trial.add_dough(trial.add_bake("2026-11-26")))
        other.trial("malt").record(piece, "rise_height_mm", 38)
        assert trial.frame()["rise_height_mm"].tolist() == [38]
        assert one.undo() == "undone: malt: Height 38.0 mm, piece 1A1"
        assert "rise_height_mm" not in other.trial("malt").frame()


def test_import_kit_stays_light():
    code = "import sys, kit; sys.exit('sqlalchemy' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


@pytest.mark.parametrize("again", [copy.deepcopy, lambda x: pickle.loads(pickle.dumps(x))])
def test_a_workspace_and_its_trials_can_be_sent_to_another_process(ws, again):
    trial = ws.new_trial("malt")
    trial.add_piece(trial.add_dough(trial.add_bake("2026-11-26")))
    with again(ws) as other:
        assert other.trials() == [trial]
    sent = again(trial)
    assert (sent, sent.workspace.who) == (trial, ws.who)
    sent.record("1A1", "rise_height_mm", 38)
    assert trial.frame()["rise_height_mm"].tolist() == [38]
    sent.workspace.close()


@pytest.mark.parametrize("part", ["errors", "formula", "photo", "quantities", "units"])
def test_the_parts_that_the_documentation_names_are_there_after_import_kit(part):
    code = f"import kit; assert kit.{part}.__name__ == 'kit.{part}'; assert '{part}' in dir(kit)"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


def test_the_example_in_the_docstring():
    import doctest

    import kit.workspace

    assert doctest.testmod(kit.workspace).failed == 0


def test_what_the_trial_varies_has_no_percentage(ws):
    trial = ws.new_trial("malt")
    trial.set_formula("base", [("flour", "flour", 100), ("malt flour", "malt", None)])
    assert trial.formula().ingredients[1].percent is None
    assert str(trial.formula()).splitlines()[1:3] == ["  100 %  flour", "   open  malt flour"]
    assert trial.formula().to_frame()["percent"].isna().tolist() == [False, True]

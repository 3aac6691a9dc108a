"""What is one experiment: layouts that a sceptical reader tried to break the answer with."""

import numpy as np
import pandas as pd
import pytest

import kit
from kit.errors import DataError, DesignError


def layout(bakes=3, loads=4, doughs=3, pieces=3, seed=0):
    """Loads that cross the doughs of each bake; no effect of anything."""
    rng = np.random.default_rng(seed)
    rows = [
        (b, d, load)
        for b in range(bakes)
        for load in range(loads)
        for d in range(doughs)
        for _ in range(pieces)
    ]
    frame = pd.DataFrame(rows, columns=["bake", "dough", "load"])
    luck = rng.normal(0, 2, bakes * loads)[frame["bake"] * loads + frame["load"]]
    frame["y"] = 30 + luck + rng.normal(size=len(frame))
    frame["heat"] = np.where((frame["bake"] + frame["load"]) % 2, "hot", "mild")
    return frame


def ask(frame, by="heat", **more):
    return kit.compare(frame, "y", by, dough="dough", bake="bake", load="load", **more)


def test_factor_of_a_load_is_judged_between_loads():
    for seed in range(5):
        c = ask(layout(bakes=2, loads=2, seed=seed))
        assert c.unit == "load"
        assert "load" in c.fit.groups
        assert c.leading.df < 3  # four loads


def test_loads_of_whole_doughs():
    frame = layout(bakes=1, loads=6, doughs=3)
    frame["dough"] = frame["load"] * 10 + frame["dough"]
    c = ask(frame)
    assert c.unit == "load"
    assert c.fit.groups == ("load", "dough")
    assert c.leading.df == pytest.approx(4, abs=0.01)
    two = frame[frame["load"] < 2]
    with pytest.raises(DesignError) as caught:
        ask(two)
    assert str(caught.value) == (
        "each setting of heat was baked once (2 loads): no number of pieces can tell the setting "
        "from the load. Bake each setting in at least one more load, best on another bake."
    )


def test_a_piece_without_a_load_is_named_and_changes_nothing_else():
    frame = layout()
    full = ask(frame)
    frame["load"] = frame["load"].astype(float)
    frame.loc[0, "load"] = np.nan
    c = ask(frame)
    assert c.checks[0] == "1 piece of 108 left out: load is missing"
    assert c.unit == full.unit == "load"
    assert c.leading.df == pytest.approx(full.leading.df, abs=0.5)


def test_partly_aliased_factors_are_still_held_alike():
    rng = np.random.default_rng(4)
    rows = [(t, t * 10 + i, i % 2, f) for t, flours in ((1, "XXXYYY"), (2, "ZZZZZZ"))
            for i, f in enumerate(flours)]  # fmt: skip
    frame = pd.DataFrame(rows, columns=["trial", "dough", "malt", "flour"]).loc[
        lambda f: f.index.repeat(3)
    ]
    frame["y"] = rng.normal(size=len(frame)) + (frame["flour"] == "X") * 5
    c = kit.compare(frame, "y", "malt", dough="dough", trial="trial", adjust=["flour"])
    same = kit.mixed(frame, "y ~ C(malt) + C(trial) + C(flour)", ["dough"])
    assert c.adjusted == ("trial", "flour")
    assert c.test["p"] == pytest.approx(same.terms.loc["C(malt)", "p"], rel=1e-6)


def test_line_with_one_dough_a_value():
    frame = pd.DataFrame({"dough": np.repeat(np.arange(12), 4)})
    frame["dose"] = frame["dough"] * 1.0
    rng = np.random.default_rng(1)
    frame["y"] = frame["dose"] + rng.normal(0, 1, 12)[frame["dough"]] + rng.normal(size=48)
    c = kit.compare(frame, "y", "dose", dough="dough")
    assert c.kind == "line"
    assert c.leading.df == pytest.approx(10)


def test_number_that_says_the_same_is_refused():
    frame = pd.DataFrame({"dough": np.repeat(np.arange(12), 2), "y": np.arange(24) % 5})
    frame["dose"] = frame["dough"] * 1.0
    frame["fahrenheit"] = 1.8 * frame["dose"] + 32
    with pytest.raises(DesignError, match=r"^dose and fahrenheit cannot be told apart: "):
        kit.compare(frame, "y", "dose", dough="dough", adjust=["fahrenheit"])


def test_trials_of_one_bake_each():
    rng = np.random.default_rng(0)
    frame = pd.DataFrame({"trial": np.repeat([1, 2, 3], 12), "dough": np.repeat(np.arange(12), 3)})
    frame["malt"] = frame["dough"] % 2
    frame["y"] = rng.normal(size=36)
    c = kit.compare(frame, "y", "malt", dough="dough", trial="trial")
    assert c.fit.groups == ("dough",)


def test_one_odd_piece_does_not_change_the_unit():
    rng = np.random.default_rng(0)
    frame = pd.DataFrame({"dough": np.repeat(np.arange(8), 4)})
    frame["malt"] = frame["dough"] % 2
    frame["y"] = rng.normal(size=32)
    frame.loc[0, "malt"] = 1
    c = kit.compare(frame, "y", "malt", dough="dough")
    assert c.unit == "dough"
    assert c.checks[0] == (
        "1 dough held more than one setting of malt: if that is a slip of the pen, correct it"
    )


def test_the_largest_of_small_differences_is_the_one_shown():
    rng = np.random.default_rng(0)
    frame = pd.DataFrame({"dough": np.repeat(np.arange(60), 6)})
    frame["recipe"] = np.array(list("abc"))[frame["dough"] % 3]
    frame["y"] = frame["recipe"].map({"a": 0.0, "b": 0.3, "c": -0.1}) + rng.normal(0, 0.2, 360)
    c = kit.compare(frame, "y", "recipe", dough="dough", matters=2)
    assert abs(c.leading.difference) == c.differences["difference"].abs().max()


def test_nearly_saturated_layout_ends_in_words():
    """Five scattered pieces that once ended in a singular matrix."""
    frame = pd.DataFrame(
        {
            "bake": [3, 2, 0, 3, 1],
            "dough": ["10", "10", "00", "00", "00"],
            "s": list("bbaaa"),
            "y": [29.755870887470717, 30.325319765947828, 27.111840936875243,
                  28.533021085374504, 30.520479945204883],
        }
    )  # fmt: skip
    with pytest.raises(DesignError, match=r"degrees of freedom|too few pieces|use up every"):
        kit.compare(frame, "y", "s", dough="dough", bake="bake")


def test_a_setting_turned_from_another_unit_is_told_short():
    frame = pd.DataFrame({"room_temp_c": [(70 - 32) / 1.8] * 4, "rise_height_mm": [30, 31, 32, 34]})
    with pytest.raises(DataError, match=r"room temperature has one setting only \(21\.11\) among"):
        kit.compare(frame, "rise_height_mm", "room_temp_c")

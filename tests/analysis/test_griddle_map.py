"""The griddle mapped: joint intervals, an exact balanced case, words, refusals."""

import math

import numpy as np
import pandas as pd
import pytest
from scipy import integrate, stats

from kit.analysis.griddle_map import griddle_map
from kit.analysis.means import dunnett_critical
from kit.analysis.steadiness import steadiness
from kit.errors import DataError, DesignError, InputError, NotFoundError


def made(rng, effects, bakes=4, doughs=2, sd=(0.5, 0.5, 0.7)):
    """Every dough on every place once."""
    rows = []
    for bake in range(bakes):
        day = rng.normal(0, sd[0])
        for dough in range(doughs):
            own = rng.normal(0, sd[1])
            rows += [
                (bake, f"{bake}{dough}", place + 1, 28 + day + own + e + rng.normal(0, sd[2]))
                for place, e in enumerate(effects)
            ]
    return pd.DataFrame(rows, columns=["bake", "dough", "place", "rise_height_mm"])


@pytest.mark.parametrize(
    ("k", "df", "printed"),
    [
        # studentized maximum modulus, 5 %: Stoline & Ury (1979), Technometrics 21:87 (from memory)
        (3, 10, 2.83), (5, 20, 2.82), (6, math.inf, 2.63),
    ],
)  # fmt: skip
def test_critical_value_is_the_studentized_maximum_modulus(k, df, printed):
    big = 1e6 if math.isinf(df) else df
    found = dunnett_critical(0.95, big, np.zeros(k))

    def inside(s):  # s² · df is chi-square
        density = stats.chi.pdf(s * math.sqrt(big), big) * math.sqrt(big)
        return (2 * stats.norm.cdf(found * s) - 1) ** k * density

    width = 12 / math.sqrt(2 * big)
    held = integrate.quad(inside, max(0, 1 - width), 1 + width, limit=200)[0]
    assert held == pytest.approx(0.95, abs=1e-7)
    assert found == pytest.approx(printed, abs=0.02)


def test_balanced_places_are_the_classical_block_analysis():
    frame = made(np.random.default_rng(3), [0, 0.2, 2.0, -0.3, -1.6, 0])
    found = griddle_map(frame, "rise_height_mm", across=3)
    wide = frame.pivot(index="dough", columns="place", values="rise_height_mm")
    residual = wide.sub(wide.mean(axis=1), axis=0).sub(wide.mean()) + wide.to_numpy().mean()
    s2 = float((residual**2).to_numpy().sum()) / (7 * 5)
    difference = wide.mean() - wide.to_numpy().mean()
    assert found.places["difference"].tolist() == pytest.approx(difference.tolist())
    assert found.places["se"].tolist() == pytest.approx([math.sqrt(s2 / 8 * 5 / 6)] * 6)
    assert found.places["df"].tolist() == pytest.approx([35] * 6)
    half = dunnett_critical(0.95, 35, np.zeros(6)) * math.sqrt(s2 / 8 * 5 / 6)
    assert (found.places["high"] - found.places["difference"]).tolist() == pytest.approx([half] * 6)
    f = float((difference**2).sum()) * 8 / 5 / s2
    assert found.test["F"] == pytest.approx(f)
    assert found.apart["place"].tolist() == [3, 5]
    assert found.places[["row", "column"]].to_numpy().tolist() == [
        [1, 1], [1, 2], [1, 3], [2, 1], [2, 2], [2, 3],
    ]  # fmt: skip


def test_words():
    frame = made(np.random.default_rng(3), [0, 0.2, 2.0, -0.3, -1.6, 0])
    found = griddle_map(frame, "rise_height_mm", across=3)
    assert found.headline == "2 places of 6 differ from the mean of all in height."
    assert found.sentence.startswith("Place 3 comes out 2.20 mm more than")
    assert "The other 4 places cannot be told from the mean" in found.sentence
    assert "it burns" in found.next_step
    assert found.rests_on == "It rests on 4 bakes, 8 doughs and 48 pieces."
    assert repr(found).startswith("<GriddleMap rise_height_mm: 2 of 6 places apart, p = ")
    assert "analysis of means" in str(found)
    small = griddle_map(frame, "rise_height_mm", matters=5.0)
    assert small.next_step.startswith("Next: these differences are smaller than what matters")
    even = griddle_map(made(np.random.default_rng(3), [0.0] * 6), "rise_height_mm")
    assert even.headline == "No place differs surely from the others in height."
    assert even.sentence.startswith("The largest difference that fits these bakes at any place is ")


def test_a_place_never_used_leaves_a_gap():
    frame = made(np.random.default_rng(3), [0.0] * 6)
    found = griddle_map(frame[frame["place"] != 2], "rise_height_mm", across=3)
    assert found.places["column"].tolist() == [1, 3, 1, 2, 3]


def test_places_may_have_names_and_one_dough_is_enough():
    frame = made(np.random.default_rng(3), [0.0, 0.0, 3.0], bakes=1, doughs=1)
    frame = pd.concat([frame, made(np.random.default_rng(4), [0, 0, 3.0], bakes=1, doughs=1)])
    frame["place"] = frame["place"].map({1: "left", 2: "middle", 3: "right"})
    found = griddle_map(frame, "rise_height_mm", bake=None)
    assert found.places["place"].tolist() == ["left", "middle", "right"]
    assert "all of it is from one dough: what changes between doughs cannot be seen" in found.checks
    assert "fewer than three pieces lay on place left, middle and right" in found.checks


def test_places_that_went_with_a_setting_cannot_be_mapped():
    """All malt on the near row in every bake: neither is known from the other, and it is said."""
    frame = made(np.random.default_rng(3), [0.0] * 4 + [2.0] * 2)
    frame["malt_percent"] = 1.2 * (frame["place"] > 4)
    with pytest.raises(DesignError) as caught:
        griddle_map(frame, "rise_height_mm", factors=["malt_percent"])
    assert str(caught.value) == (
        "the places cannot be told from diastatic malt: one setting lay on some of them and "
        "another on the others. Bake at least one setting on all places."
    )
    told = steadiness(frame, "rise_height_mm", ["malt_percent"], place="place")
    assert "place" not in told.components["component"].tolist()
    assert str(caught.value).rstrip(".") in told.checks
    shared = frame.assign(malt_percent=1.2 * (frame["place"].gt(4) & frame["bake"].gt(0)))
    assert griddle_map(shared, "rise_height_mm", factors=["malt_percent"]).apart["place"].size


def test_refusals():
    frame = made(np.random.default_rng(3), [0.0, 0.0])
    with pytest.raises(DataError, match="all pieces with rise_height_mm lay on one place"):
        griddle_map(frame.assign(place=1), "rise_height_mm")
    for across in (0, 2.5, "2"):
        rule = r"must be a whole number, 1 or more\. Give the places in a row"
        with pytest.raises(InputError, match=f"across is {across!r}: {rule}"):
            griddle_map(frame, "rise_height_mm", across=across)
    with pytest.raises(InputError, match="matters is -1: must be above 0"):
        griddle_map(frame, "rise_height_mm", matters=-1)
    assert griddle_map(frame, "rise_height_mm", matters="1/8 in").matters == pytest.approx(3.175)
    with pytest.raises(NotFoundError, match="no column for place 'spot'"):
        griddle_map(frame, "rise_height_mm", place="spot")


@pytest.mark.long
def test_places_that_were_not_told_apart_are_not_called_alike():
    """Alike is what fits within what matters (Schuirmann 1987), not what was not seen."""
    frame = made(np.random.default_rng(4), [0.0] * 6, 3, 1)
    open_yet = griddle_map(frame, "rise_height_mm", matters=0.3)
    assert open_yet.apart.empty
    assert "nothing says that a place should be left out, nor that all are" in open_yet.next_step
    assert "use all places alike" in griddle_map(frame, "rise_height_mm", matters=9.0).next_step
    one = made(np.random.default_rng(5), [0.0] * 5 + [1.5], 3, 2)
    few = griddle_map(one, "rise_height_mm", matters=1.6)
    assert (few.apart["difference"].abs() < 1.6).all()
    assert few.apart["high"].max() > 1.6  # and so may matter
    assert "smaller than what matters" not in few.next_step


def test_a_level_griddle_is_called_so():
    """600 level griddles of six places: a place is called apart in 2.5 to 7.5 % of them.

    Standard error 0.9 %: fails by chance about once in 200. (The joint limits are a little wide.)
    """
    rng = np.random.default_rng(17)
    wrong = sum(
        not griddle_map(made(rng, [0.0] * 6, 3, 2), "rise_height_mm").apart.empty
        for _ in range(600)
    )
    assert 0.025 <= wrong / 600 <= 0.075

"""Drift with room and flour: the bake is the unit, slopes by hand, cautions, refusals."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from kit.analysis.drift import drift
from kit.errors import InputError, NotFoundError


def made(rng, slope, bakes=8, sd=0.4):
    rows = []
    for bake in range(bakes):
        room = 18.0 + bake * 5 % 9
        day = slope * room + rng.normal(0, sd)
        rows += [
            (bake, f"{bake}{dough}", room, f"F{2 - bake % 2}", 20 + day + rng.normal(0, 0.3))
            for dough in "ab" for _ in range(3)
        ]  # fmt: skip
    columns = ["bake", "dough", "room_temp_c", "flour_lot", "rise_height_mm"]
    return pd.DataFrame(rows, columns=columns)


def test_the_line_is_that_through_the_bake_means():
    """Balanced, so the mixed model is the regression of the means, with bakes − 2 df."""
    frame = made(np.random.default_rng(2), 0.4)
    found = drift(frame, "rise_height_mm", ["room_temp_c"])
    lead = found.answers["room_temp_c"].leading
    means = frame.groupby("bake")[["room_temp_c", "rise_height_mm"]].mean()
    line = stats.linregress(means["room_temp_c"], means["rise_height_mm"])
    span = means["room_temp_c"].max() - means["room_temp_c"].min()
    assert lead.difference == pytest.approx(line.slope * span)
    assert lead.se == pytest.approx(line.stderr * span)
    assert lead.df == pytest.approx(6)
    assert lead.p == pytest.approx(line.pvalue)
    assert found.answers["room_temp_c"].unit == "bake"
    assert found.headline == "Height went along with room temperature."
    assert found.followed == ("room_temp_c",)
    assert "none of this was set on purpose" in found.checks[0]


def test_lots_are_compared_by_their_bakes():
    frame = made(np.random.default_rng(2), 0.0)
    found = drift(frame, "rise_height_mm", ["room_temp_c", "flour_lot"])
    lead = found.answers["flour_lot"].leading
    means = frame.groupby(["flour_lot", "bake"])["rise_height_mm"].mean()
    t = stats.ttest_ind(means["F2"], means["F1"])
    assert abs(lead.t) == pytest.approx(abs(t.statistic))
    assert lead.df == pytest.approx(6)
    assert found.headline == (
        "Cannot tell yet whether height goes along with room temperature or flour lot."
    )
    sure = drift(frame, "rise_height_mm", ["room_temp_c", "flour_lot"], matters=5.0)
    assert sure.headline == (
        "Height does not go along with room temperature or flour lot by as much as matters."
    )
    assert found.to_frame()["condition"].tolist() == ["room_temp_c", "flour_lot"]
    assert "2 conditions were looked at: one of them may fit by luck alone" in found.checks


def test_a_reading_that_changed_within_a_bake_is_taken_at_its_mean():
    frame = made(np.random.default_rng(2), 0.4)
    moved = frame.assign(room_temp_c=frame["room_temp_c"] + frame["dough"].str[1].eq("b") * 1.0)
    by_mean = drift(moved, "rise_height_mm", ["room_temp_c"]).answers["room_temp_c"].leading
    plain = drift(frame, "rise_height_mm", ["room_temp_c"]).answers["room_temp_c"].leading
    assert by_mean.difference == pytest.approx(plain.difference)
    assert by_mean.df == pytest.approx(6)


def test_what_cannot_be_answered_is_said_and_the_rest_answered():
    frame = made(np.random.default_rng(2), 0.4).assign(
        yeast_lot=lambda f: "Y" + f["dough"].str[1],
        mill=lambda f: "M" + (f["bake"] > 6).astype(str),
    )
    frame["lot"] = "L" + frame["bake"].astype(str)
    found = drift(frame, "rise_height_mm", ["room_temp_c", "yeast_lot", "lot"])
    assert list(found.answers) == ["room_temp_c"]
    assert found.refused["yeast_lot"].startswith("it changed within a bake")
    assert "each setting was baked on one bake only" in found.refused["lot"]
    assert "Yeast lot: it changed within a bake" in str(found)
    assert found.plot().get_xlabel().startswith("Room temperature")


def test_the_outcome_among_the_factors_is_not_held_alike():
    frame = made(np.random.default_rng(2), 0.4)
    frame["malt_percent"] = frame["dough"].str[1].eq("b") * 1.0
    found, same = (
        drift(frame, "rise_height_mm", ["room_temp_c"], factors)
        for factors in (["malt_percent", "rise_height_mm"], ["malt_percent"])
    )
    assert not found.refused
    assert found.sentence == same.sentence


def test_refusals():
    frame = made(np.random.default_rng(2), 0.4)
    with pytest.raises(InputError, match=r"against is \[\]: must name a condition"):
        drift(frame, "rise_height_mm", [])
    with pytest.raises(NotFoundError, match="no column 'weather'"):
        drift(frame, "rise_height_mm", ["weather"])

"""Where on the griddle the settings lay: told where they kept to places of their own."""

import numpy as np
import pandas as pd
import pytest

import kit
from kit.analysis.dose import dose
from kit.analysis.on_places import on_places

GROUPS = {"dough": "dough", "bake": "bake"}


def baked(lies, hot=2.0, bakes=4, seed=55201):
    """Two doughs of six pieces a bake; `lies` gives their places; malt does nothing."""
    rng = np.random.default_rng(seed)
    rows = []
    for bake in range(bakes):
        places = lies(rng)
        day = rng.normal(30, 1)
        for i, malt in enumerate((0.0, 1.2)):
            own = day + rng.normal(0, 0.5)
            rows += [
                (bake, f"{bake}{i}", malt, p, own + hot * (p > 3) + rng.normal())
                for p in places[6 * i : 6 * i + 6]
            ]
    columns = ["bake", "dough", "malt_percent", "place", "rise_height_mm"]
    return pd.DataFrame(rows, columns=columns)


def apart(rng):
    return [1, 2, 3] * 2 + [4, 5, 6] * 2


def by_lot(rng):
    return rng.permutation([1, 2, 3, 4, 5, 6] * 2)


def said(frame, **more):
    found = kit.compare(
        frame, "rise_height_mm", "malt_percent", **GROUPS, matters=1, examine=True, **more
    )
    return [c for c in found.checks if "places of their own" in c]


def test_malt_on_the_hot_side_in_every_bake_is_told():
    """The griddle's 2 mm are called malt's, and the interval has nothing to say to that."""
    frame = baked(apart)
    told = (
        "the settings kept to places of their own (0 % on places 1, 2 and 3; 1.2 % on places 4, 5 "
        "and 6): what the griddle does there (a hot corner, a cool rim) is in the difference. Let "
        "every setting lie on every place in the next bakes"
    )
    assert said(frame) == [told]
    assert told in dose(frame, "rise_height_mm", "malt_percent", **GROUPS).checks
    named = frame.assign(place=frame["place"].map(lambda p: "left" if p < 4 else "right"))
    assert "(0 % on place left; 1.2 % on place right)" in said(named)[0]
    some = frame["bake"].eq(0) & frame["place"].isin([1, 4])
    swapped = frame.assign(place=frame["place"].where(~some, 5 - frame["place"]))
    assert said(swapped)[0].startswith("the settings mostly kept to places of their own (0 % on")


def test_what_lay_on_every_place_is_not():
    assert said(baked(lambda rng: [1, 2, 3, 4, 5, 6] * 2)) == []
    assert said(baked(apart).assign(place=np.nan)) == []
    assert said(baked(apart).assign(place=1)) == []


def test_places_do_not_keep_to_themselves():
    found = dose(baked(by_lot), "rise_height_mm", "place", **GROUPS)
    assert [c for c in found.checks if "places of their own" in c] == []


@pytest.mark.parametrize("bakes", [1, 2, 4])
def test_places_drawn_by_lot_are_seldom_said_to_be_a_settings_own(bakes):
    """1 in 100 is allowed at most; 400 trials of that give more than 10 once in 300 runs."""
    rng = np.random.default_rng(55202)
    frames = (baked(by_lot, bakes=bakes, seed=rng) for _ in range(400))
    assert sum(bool(on_places(frame, ["malt_percent"])) for frame in frames) <= 10

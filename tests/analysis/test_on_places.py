"""Where on the griddle the settings lay: told where they kept to places of their own."""

import tracemalloc

import numpy as np
import pandas as pd
import pytest

import kit
from kit.analysis.checking.kept import on_places
from kit.analysis.dose import dose

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
    found = (on_places(frame, ["malt_percent"], frame[["bake", "dough"]]) for frame in frames)
    assert sum(map(bool, found)) <= 10


@pytest.mark.parametrize(("bakes", "alarms"), [(3, (25, 80)), (5, (4, 26))])
def test_doughs_in_blocks_keep_to_places_as_often_as_lots_would_have_it(bakes, alarms):
    """Two blocks a bake lie alike in all of 3 bakes 1 time in 4, of 5 bakes 1 time in 16.

    200 trials of 1 in 16 lie outside 4 … 26 once in 1000, of 1 in 4 outside 25 … 80. All of these
    are told: what a side of the griddle does is in the difference then, by lot or not.
    """
    rng, alarmed, told = np.random.default_rng(31700500), 0, 0

    def blocks(rng):
        left, right = [1, 2, 3] * 2, [4, 5, 6] * 2
        return left + right if rng.random() < 0.5 else right + left

    for _ in range(200):
        frame = baked(blocks, bakes=bakes, seed=rng)
        found = on_places(frame, ["malt_percent"], frame[["bake", "dough"]])
        alarmed, told = alarmed + any(f.alarm for f in found), told + bool(found)
    assert alarms[0] <= alarmed <= alarms[1]
    assert told == alarmed


def test_a_side_of_the_griddle_for_one_time_a_side_in_every_dough_is_told():
    """What differs inside doughs is shared out among their pieces, not among the doughs."""
    frame = baked(lambda rng: [1, 2, 3, 4, 5, 6] * 2).assign(
        side_minutes=lambda f: 5 + (f.place > 3)
    )
    (found,) = on_places(frame, ["side_minutes"], frame[["bake", "dough"]])
    assert found.alarm
    assert "(5 min on places 1, 2 and 3; 6 min on places 4, 5 and 6)" in found.text


def laid(rows):
    """One row a piece: bake, dough, place, malt; and what `on_places` finds."""
    frame = pd.DataFrame(rows, columns=["bake", "dough", "place", "malt_percent"])
    return on_places(frame, ["malt_percent"], frame[["bake", "dough"]])


def kept(bakes, doughs=1, pieces=3):
    """Each bake holds both settings, each on its own side."""
    return [
        (b, f"{b}{malt}{d}", 1 + p % 3 + 3 * int(malt), malt)
        for b in range(bakes) for malt in (0.0, 1.0) for d in range(doughs) for p in range(pieces)
    ]  # fmt: skip


def test_a_setting_decided_bake_by_bake_is_shared_out_among_the_bakes():
    """Doughs of a bake all alike: nothing can be shared out inside it."""
    rows = [
        (b, f"{b}{d}", p + 3 * (b % 2), b % 2) for b in range(6) for d in (0, 1) for p in (1, 2)
    ]
    (found,) = laid(rows)
    assert found.alarm
    assert found.text.endswith("in the next bakes")  # lots: 1 time in 10
    few, *_ = laid([row for row in rows if row[0] < 4])
    assert few.alarm
    assert few.text.endswith("a draw by lot would have it 1 time in 3")


def test_one_piece_written_with_the_other_setting_silences_nothing():
    rows = kept(8)
    rows[0] = (*rows[0][:3], 1.0)
    (found,) = laid(rows)
    assert found.alarm
    assert found.text.startswith("the settings mostly kept to places of their own")


@pytest.mark.parametrize(("bakes", "often"), [(2, 2), (3, 4)])
def test_settings_that_kept_their_sides_in_two_or_three_bakes_are_told(bakes, often):
    """Lots can do hardly anything else there, and the griddle is in the difference all the same."""
    (found,) = laid(kept(bakes))
    assert found.alarm
    assert found.text.endswith(f"next bakes; a draw by lot would have it 1 time in {often}")
    hot = said(baked(apart, hot=5.0, bakes=bakes))
    assert len(hot) == 1


def test_a_bake_whose_only_doughs_lay_apart_is_told():
    """No lot could move anything: what happened is told as it is, if there are pieces enough."""
    (found,) = laid(kept(1, pieces=12))
    assert found.alarm
    assert found.text.endswith("in the next bakes")
    assert laid(kept(1)) == []


def test_pieces_are_shared_out_within_their_dough():
    """Three doughs of a piece on either side: 2 ways each, not 20 for all pieces of the bake."""
    (found,) = laid([(0, dough, 1 + s, float(s)) for dough in "ABC" for s in (0, 1)])
    assert found.text.endswith("a draw by lot would have it 1 time in 4")


def test_many_pieces_are_shared_out_in_little_room():
    """320 doughs of 12 pieces took 575 MB."""
    rows = [(d // 8, d, 1 + p, float(p % 8)) for d in range(320) for p in range(12)]
    laid(rows[:48])
    tracemalloc.start()
    (found,) = laid(rows)
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert found.alarm
    assert most < 100e6

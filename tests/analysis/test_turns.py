"""Where the settings stand in one and the same turn in every bake."""

import numpy as np
import pandas as pd
import pytest

import kit
from kit.analysis.dose import dose

GROUPS = {"dough": "dough", "bake": "bake"}


def series(order, bakes=5, settings=(0.0, 0.8), drift=0.0, seed=4, doughs=1, pieces=4):
    """Bakes of doughs in the turn that `order` gives; each turn adds `drift`, malt does nothing."""
    rng = np.random.default_rng(seed)
    rows = []
    for bake in range(bakes):
        mixed, day = [s for s in settings for _ in range(doughs)], rng.normal(30, 1)
        for turn, i in enumerate(order(rng, bake, len(mixed))):
            height = day + drift * turn + rng.normal(0, 0.8)
            name = f"{bake}{'ABCDEFGH'[turn]}"
            rows += [
                (bake, name, turn + 1, mixed[i], height + rng.normal(0, 1.2)) for _ in range(pieces)
            ]
    columns = ["bake", "dough", "load", "malt_percent", "rise_height_mm"]
    return pd.DataFrame(rows, columns=columns)


def always(rng, bake, doughs):
    return range(doughs)


def by_lot(rng, bake, doughs):
    return rng.permutation(doughs)


def swapped(rng, bake, doughs):
    return range(doughs)[:: 1 if bake % 2 else -1]


def said(frame, **more):
    asked = {**GROUPS, "matters": 2.0, "examine": True, **more}
    found = kit.compare(frame, "rise_height_mm", "malt_percent", **asked)
    return [(f.text, f.alarm) for f in found.examined.findings if f.subject == "turn"]


def test_one_order_in_every_bake_is_told():
    told = (
        "0 % came before 0.8 % in all 5 bakes, as the doughs are listed: if that was their turn, "
        "what the turn does (waiting, a griddle that gets hotter) is in the difference. Draw the "
        "turns by lot, or turn them round in the next bakes"
    )
    frame = series(always)
    assert said(frame) == [(told, True)]
    assert told in dose(frame, "rise_height_mm", "malt_percent", **GROUPS).checks
    assert said(frame, load="load") == [(told.replace("doughs", "doughs and loads"), True)]
    late = frame.assign(load=3 - frame["load"])  # mixed first, baked last
    assert [text[:16] for text, _ in said(late, load="load")] == [
        "0 % came before ",
        "0.8 % came befor",
    ]


def test_three_settings_are_named_in_their_order():
    ((text, alarm),) = said(series(always, 3, (0.4, 0.0, 0.8)))
    assert alarm
    assert text.startswith("0.4 %, 0 % and 0.8 % came in this order in all 3 bakes, as the doughs")


def test_other_orders_are_not_remarked():
    fine = "the settings came in different turns from bake to bake, as the doughs are listed"
    assert said(series(swapped)) == [(fine, False)]
    two = series(always, doughs=2)
    assert said(two)[0][1]  # both of the one before both of the other
    assert said(series(lambda rng, bake, n: (0, 2, 1, 3), doughs=2)) == [(fine, False)]


def test_too_few_bakes_to_see_an_order_kept():
    assert said(series(always, 2)) == []
    # what lots alone do in a quarter of such trials is told, and is no alarm
    few = (
        "0 % came before 0.8 % in all 3 bakes, as the doughs are listed, as a draw by lot would "
        "have it 1 time in 4: turn them round in the next bakes"
    )
    assert said(series(always, 3)) == [(few, False)]
    assert said(series(always, 4))[0][1]
    [(text, alarm)] = said(series(always, 2, (0.4, 0.0, 0.8)))
    assert "as a draw by lot would have it 1 time in 6:" in text
    assert not alarm


def test_lots_drawn_for_three_bakes_never_alarm():
    assert not any(said(series(by_lot, 3, seed=seed))[0][1] for seed in range(20))


def test_where_the_factor_decides_when_a_dough_is_mixed_its_turn_is_no_fault():
    frame = series(always).rename(columns={"malt_percent": "retard_hours"})
    found = kit.compare(
        frame, "rise_height_mm", "retard_hours", **GROUPS, mixing="retard_hours", examine=True
    )
    assert not [f for f in found.examined.findings if f.subject == "turn"]
    pieces = frame.assign(side=[5, 6] * 20)  # in every dough
    found = kit.compare(pieces, "rise_height_mm", "side", **GROUPS, examine=True)
    assert not [f for f in found.examined.findings if f.subject == "turn"]


@pytest.mark.long
def test_false_alarms_where_the_turn_tells():
    """500 series of 5 bakes a row (standard error 1 % at 5 %): malt does nothing, a turn 1 mm.

    Drawn by lot the interval holds; in one order it does not, and that order is always told.
    """
    for order in (by_lot, always):
        missed = told = 0
        for seed in range(500):
            frame = series(order, drift=1.0, seed=[seed, 93])
            found = kit.compare(frame, "rise_height_mm", "malt_percent", **GROUPS, examine=True)
            missed += not found.leading.low <= 0 <= found.leading.high
            told += any(f.subject == "turn" and f.alarm for f in found.examined.findings)
        share, told = missed / 500, told / 500
        print(f"{order.__name__}: false alarms {100 * share:.1f} %, told {100 * told:.1f} %")
        if order is by_lot:
            assert share < 0.08
            assert told < 0.1  # one order in 5 bakes: 1 time in 16
        else:
            assert share > 0.15
            assert told == 1

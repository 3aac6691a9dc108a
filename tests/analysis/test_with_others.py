"""What a factor does with each setting of another: an average of opposites is told."""

import re

import numpy as np
import pandas as pd
import pytest

import kit
from kit.analysis.checking.left_out import left_out_by_setting
from kit.analysis.dose import dose
from kit.analysis.overview import overview

GROUPS = {"dough": "dough", "bake": "bake"}
OF = ("rise_height_mm", "malt_percent")


def baked(rng, together, bakes=4, malts=(0.0, 1.2), pieces=4):
    """Doughs of every malt and retard in every bake; malt does +together/2 at 40 h, − at 16 h."""
    rows = []
    for bake in range(bakes):
        day = rng.normal(30, 1)
        for malt in malts:
            for retard in (16, 40):
                way = 1 if retard == 40 else -1
                own = day + rng.normal(0, 0.5) + way * together / 2 * malt / malts[-1]
                name = f"{bake}{malt}{retard}"
                rows += [(bake, name, malt, retard, own + rng.normal()) for _ in range(pieces)]
    return pd.DataFrame(rows, columns=["bake", "dough", "malt_percent", "retard_hours", OF[0]])


def told(checks):
    return [c for c in checks if "did not do the same at every setting of" in c]


def test_an_average_of_opposites_is_told_with_the_difference_at_each_setting():
    frame = baked(np.random.default_rng(55210), 8.0)
    found = kit.compare(frame, *OF, **GROUPS, matters=3, adjust=["retard_hours"], examine=True)
    [text] = told(found.checks)
    assert text.startswith("diastatic malt did not do the same at every setting of cold retard (p")
    assert text.endswith(
        "The answer is the average over them and may hold for none: ask whether the two work "
        "together, or answer it for each setting of cold retard by itself"
    )
    short, long = (frame[frame["retard_hours"] == h] for h in (16, 40))
    each = [kit.compare(part, *OF, **GROUPS).leading.difference for part in (short, long)]
    # every dough of a bake by itself: the differences are those of the two halves taken alone
    sizes = re.findall(r"(−?[\d.]+) mm \(", text)
    assert [float(s.replace("−", "-")) for s in sizes] == pytest.approx(each, abs=0.06)
    assert "1.2 % against 0 % made" in text
    assert "with cold retard at 16 h" in text
    assert told(dose(frame, *OF, **GROUPS, adjust=["retard_hours"]).checks)


def test_what_is_held_alike_may_be_yes_or_no():
    frame = baked(np.random.default_rng(55210), 8.0)
    frame["warm"] = frame["retard_hours"] > 20
    more = {**GROUPS, "matters": 3, "examine": True}
    [text] = told(kit.compare(frame, *OF, **more, adjust=["warm"]).checks)
    assert "with warm False" in text
    assert "with warm True" in text
    assert told(overview(frame, [OF[1], "warm"], [OF[0]], **GROUPS).checks)
    lost = left_out_by_setting(frame["warm"], frame["warm"], "warm", "piece", "left out")
    assert "(none of 32 with warm False, 32 of 32 with warm True)" in lost


def test_in_a_table_of_everything_it_is_told_once():
    frame = baked(np.random.default_rng(55210), 8.0)
    table = overview(frame, ["malt_percent", "retard_hours"], [OF[0]], **GROUPS)
    [text] = told(table.checks)
    assert text.startswith("for height, diastatic malt did not do the same")


def test_that_no_sign_was_seen_is_told_where_it_was_looked_for_and_alarms_nobody():
    frame = baked(np.random.default_rng(55210), 0.0)
    found = kit.compare(frame, *OF, **GROUPS, adjust=["retard_hours"], examine=True)
    [looked] = [f for f in found.examined.findings if f.subject == "together"]
    assert not looked.alarm
    assert re.fullmatch(
        r"no sign that diastatic malt did not do the same at every setting of cold retard "
        r"\(p = [\d.]+\), which is no proof", looked.text,
    )  # fmt: skip
    table = overview(frame, ["malt_percent", "retard_hours"], [OF[0]], **GROUPS)
    assert not [c for c in table.checks if "at every setting of" in c]


def test_of_three_doses_the_whole_span_is_told():
    frame = baked(np.random.default_rng(55211), 8.0, malts=(0.0, 0.6, 1.2))
    [text] = told(dose(frame, *OF, **GROUPS, adjust=["retard_hours"]).checks)
    assert "1.2 % against 0 % made" in text


def test_a_column_is_told_by_its_own_name():
    frame = baked(np.random.default_rng(55210), 8.0, malts=(0.0, 0.6, 1.2))
    frame = frame.rename(columns={OF[1]: "class"})
    [text] = told(dose(frame, OF[0], "class", **GROUPS, adjust=["retard_hours"]).checks)
    assert text.startswith("class did not do the same")


def test_nothing_is_said_where_nothing_else_is_held_alike_or_nothing_is_left_over():
    frame = baked(np.random.default_rng(55210), 8.0)
    short = frame[frame["retard_hours"] == 16]
    assert told(kit.compare(short, *OF, **GROUPS, examine=True).checks) == []
    fraction = frame[(frame["malt_percent"] > 0) == (frame["retard_hours"] > 20)]
    more = fraction.assign(side_minutes=fraction["bake"] % 2 + 5.0)
    found = kit.compare(more, *OF, **GROUPS, adjust=["side_minutes"], examine=True)
    assert all("side" not in c for c in told(found.checks))


def test_factors_that_work_by_themselves_are_seldom_said_to_work_together():
    """5 in 100 by chance; 100 trials give more than 12 once in 600 runs."""
    rng = np.random.default_rng(55212)
    hits = 0
    for _ in range(100):
        found = kit.compare(
            baked(rng, 0.0, 3, pieces=2), *OF, **GROUPS, adjust=["retard_hours"], examine=True
        )
        hits += bool(told(found.checks))
    assert hits <= 12


def test_a_table_of_everything_shares_the_chance_of_a_false_alarm_out():
    """5 in 100 tables at most, where of 24 pairs each at 5 some 70 would; 4 of 12: 1 in 500."""
    rng = np.random.default_rng(55213)
    outcomes = [f"o{i}" for i in range(8)]
    hits = 0
    for _ in range(12):
        grid = [(b, x, y, z) for b in range(3) for x in (0, 1) for y in (0, 1) for z in (0, 1)]
        frame = pd.DataFrame(grid, columns=["bake", "x", "y", "z"])
        frame["dough"] = range(len(frame))
        frame[outcomes] = rng.normal(size=(len(frame), 8))
        hits += bool(told(overview(frame, ["x", "y", "z"], outcomes, **GROUPS).checks))
    assert hits <= 3

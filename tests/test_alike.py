"""Results are equal when all they hold is, and never fail on ``==``."""

import copy
import math
import pickle
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

import kit
from kit.alike import alike
from kit.plan.schedule import schedule

ROWS = [
    (day, f"{day}{dough}", malt, 28 + 2 * malt + 0.3 * day + 0.2 * piece + 0.7 * (dough == "b"))
    for day in range(4)
    for dough, malt in (("a", 0), ("b", 1))
    for piece in range(3)
]
FRAME = pd.DataFrame(ROWS, columns=["bake", "dough", "malt_percent", "rise_height_mm"])


def answer(frame=FRAME):
    return kit.compare(frame, "rise_height_mm", "malt_percent", dough="dough", bake="bake")


def plan(seed=1):
    return kit.design([kit.Factor("malt_percent", (0, 1))], kit.Kitchen(4, tubs=2), seed=seed)


def timetable():
    runs = pd.DataFrame({"dough": list("AB"), "load": [1, 2], "retard_hours": [16, 40]})
    return schedule(runs, table_time="2026-11-05 10:00", zone="Europe/Berlin")


@pytest.mark.parametrize(
    "made", [answer, lambda: answer().fit, plan, timetable, lambda: kit.triangle(5, 6)]
)
def test_the_same_made_sent_or_copied_is_equal(made):
    result = made()
    others = [made(), copy.copy(result), copy.deepcopy(result), pickle.loads(pickle.dumps(result))]
    assert all(other == result for other in others)
    assert len({result, *others}) == 1


def test_another_number_somewhere_is_another_result():
    changed = FRAME.copy()
    changed.loc[3, "rise_height_mm"] += 1e-9
    assert answer(changed) != answer()
    assert plan(seed=2) != plan()
    assert replace(plan(), notes=()) != plan()
    assert answer() != plan()
    assert answer() != "an answer"


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        (math.nan, float("nan"), True),
        (1, 1.0, False),
        (np.array([1, np.nan]), np.array([1, np.nan]), True),
        (np.array([1, 2]), np.array([[1, 2]]), False),
        (np.array(["a", None]), np.array(["a", None]), True),
        (FRAME, FRAME.copy(), True),
        (FRAME, FRAME.iloc[::-1], False),
        ({"a": [FRAME]}, {"a": [FRAME.copy()]}, True),
        ({"a": 1}, {"b": 1}, False),
        ([1, 2], [1, 2, 3], False),
    ],
)
def test_by_hand(one, other, same):
    assert alike(one, other) is same

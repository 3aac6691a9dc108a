"""The optimal choice against exhaustive search, and the next bake of a trial under way."""

import itertools

import numpy as np
import pandas as pd
import pytest

from kit.errors import DataError, DesignError, InputError, NotFoundError
from kit.plan.design import design
from kit.plan.designs.model import make_model
from kit.plan.designs.optimal import Ratios, information, optimal
from kit.plan.designs.points import full
from kit.plan.extend import extend
from kit.plan.factors import Factor
from kit.plan.kitchen import Kitchen
from kit.plan.spread import Spread

MALT2 = Factor("malt_percent", (0, 1))
MALT3 = Factor("malt_percent", (0, 0.5, 1))
MALT = Factor.between("malt_percent", 0, 1.2)
HYDRATION = Factor("hydration_percent", (65, 80))
SIDE = Factor("side_minutes", (5, 6))
SIDE3 = Factor("side_minutes", (4, 5, 6))
KNOWN = Spread(dough=1.0, piece=1.5)


def exhaustive(factors, model, shape, ratios):
    """Largest log determinant over all plans: every filling of every dough, order not counted."""
    bakes, doughs, pieces = shape
    whole = [f for f in factors if f.level == "dough"]
    single = [f for f in factors if f.level != "dough"]
    piece_points = full([len(f.settings) for f in single]) if single else np.zeros((1, 0), int)
    dough_points = full([len(f.settings) for f in whole]) if whole else np.zeros((1, 0), int)
    fillings = [
        np.array([[*d, *piece_points[i]] for i in some])
        for d in dough_points
        for some in itertools.combinations_with_replacement(range(len(piece_points)), pieces)
    ]
    v = np.eye(doughs * pieces) + ratios.bake
    v += ratios.dough * np.kron(np.eye(doughs), np.ones((pieces, pieces)))
    inverse = np.linalg.inv(v)
    one_bake = []
    for some in itertools.combinations_with_replacement(range(len(fillings)), doughs):
        x = model.rows(np.concatenate([fillings[i] for i in some]))
        one_bake.append(x.T @ inverse @ x)
    one_bake = np.unique(np.round(one_bake, 9), axis=0)
    best = -np.inf
    for some in itertools.combinations_with_replacement(range(len(one_bake)), bakes - 1):
        rest = one_bake[list(some)].sum(axis=0) if some else 0.0
        best = max(best, float(np.linalg.slogdet(rest + one_bake)[1].max()))
    return best


@pytest.mark.parametrize(
    ("factors", "kind", "shape", "ratios"),
    [
        ([MALT3, SIDE], "quadratic", (1, 4, 2), Ratios(0.5, 10)),
        ([MALT3, SIDE3], "quadratic", (1, 4, 2), Ratios(1.0, 4)),
        ([MALT2, SIDE3], "quadratic", (2, 2, 3), Ratios(0.44, 4)),
        ([MALT2, HYDRATION, SIDE], "pairs", (2, 2, 2), Ratios(2.0, 1)),
        ([MALT3, SIDE], "settings", (2, 3, 2), Ratios(0.1, 10)),
    ],
)
def test_as_good_as_exhaustive_search(factors, kind, shape, ratios):
    """D-efficiency of at least 0.98, in seconds."""
    factors = sorted(factors, key=lambda f: f.level != "dough")
    model = make_model(factors, kind)
    found = optimal(factors, model, shape, ratios, np.random.default_rng(5))
    best = exhaustive(factors, model, shape, ratios)
    p = model.rows(np.zeros((1, len(factors)), dtype=int)).shape[1]
    efficiency = np.exp((found.log_det - best) / p)
    assert 0.98 <= efficiency <= 1 + 1e-6


def test_information_is_that_of_generalised_least_squares():
    rng = np.random.default_rng(1)
    x = rng.normal(size=(12, 3))
    bake = np.repeat([0, 1], 6)
    dough = np.repeat([0, 1, 2, 3], 3)
    v = np.eye(12) + 0.7 * (dough[:, None] == dough) + 2.0 * (bake[:, None] == bake)
    expected = x.T @ np.linalg.inv(v) @ x
    assert np.allclose(information(x, bake, dough, Ratios(0.7, 2.0)), expected)


def test_the_search_keeps_its_sums_right():
    model = make_model([MALT3, SIDE], "quadratic")
    ratios = Ratios(0.8, 3.0)
    found = optimal([MALT3, SIDE], model, (2, 3, 2), ratios, np.random.default_rng(2))
    rows = model.rows(found.settings.reshape(-1, 2))
    fresh = information(rows, np.repeat([0, 1], 6), np.repeat(np.arange(6), 2), ratios)
    assert np.linalg.slogdet(fresh)[1] == pytest.approx(found.log_det, abs=1e-6)


def test_bakes_and_doughs_shape_the_choice():
    # the only sensible plan: both settings in every bake, both side times in every dough
    plan = design([MALT2, SIDE], Kitchen(3, 2, 4), kind="optimal", spread=KNOWN)
    runs = plan.runs
    assert (runs.drop_duplicates("dough").groupby(["bake", "malt_percent"]).size() == 1).all()
    assert (runs.groupby(["dough", "side_minutes"]).size() == 2).all()


def test_too_few_doughs_for_bends_are_planned_without():
    plan = design([MALT3, HYDRATION], Kitchen(2, 2), kind="optimal", spread=KNOWN)
    assert plan.checks[0] == (
        "there are too few doughs for bends and what factors do together: planned for the rest only"
    )
    assert (
        "the curve uses up every dough: nothing is left over to judge it by (0 degrees of "
        "freedom). Repeat the middle of the range, or plan another bake"
    ) in plan.checks


def test_hopeless_limits_are_refused():
    with pytest.raises(DesignError) as refused:
        design([MALT3, HYDRATION], Kitchen(1, 2), kind="optimal")
    assert str(refused.value) == (
        "2 doughs of 6 pieces cannot tell apart 3 unknowns (diastatic malt, hydration). Ask about "
        "fewer factors or settings, or plan more doughs."
    )


def test_an_effect_that_is_one_with_the_bakes_is_refused():
    with pytest.raises(DesignError) as refused:
        design([MALT3, HYDRATION], Kitchen(2, 2), kind="optimal", model="pairs")
    assert str(refused.value) == (
        "2 bakes of 2 doughs cannot tell diastatic malt, hydration, diastatic malt and hydration "
        "apart from the bakes. Ask about fewer factors or settings, or plan more doughs a bake."
    )


def test_a_model_nobody_knows_is_refused():
    """A slip of the pen was planned as straight lines, and nothing said so."""
    with pytest.raises(InputError) as refused:
        design([MALT3, HYDRATION], Kitchen(4, 4), kind="optimal", model="quadratc")
    assert str(refused.value) == (
        "model is 'quadratc': must be one of settings, main, pairs, quadratic, all."
    )


def test_too_many_combinations_are_refused():
    many = [Factor(f"thing_{i}", range(9), "mixing") for i in range(5)]
    with pytest.raises(DesignError) as refused:
        design(many, Kitchen(5, 4), kind="optimal", model="main")
    assert str(refused.value) == (
        "9 × 9 × 9 × 9 × 9 combinations are too many to search. Take fewer factors or fewer "
        "settings of each."
    )


# ---- a trial under way


def test_a_lost_dough_is_made_up_for():
    plan = design([MALT2], Kitchen(3, 2), spread=KNOWN)
    lost = plan.doughs.query("bake == 2 and malt_percent == 1")["dough"].item()
    left = plan.runs[plan.runs["dough"] != lost]
    more = extend(left, [MALT2], Kitchen(1, 3), spread=KNOWN)
    assert sorted(more.doughs["malt_percent"]) == [0, 1, 1]
    assert list(more.doughs["bake"].unique()) == [4]
    assert list(more.doughs["dough"]) == ["4A", "4B", "4C"]
    assert more.notes[0] == "Added to 5 doughs on 3 bakes, where they tell most"


def test_the_next_bake_brings_together_what_never_met():
    # so far 0 met 0.4, and 0.8 met 1.2: the two halves hang together only by the bakes
    so_far = pd.DataFrame(
        {"bake": [1, 1, 2, 2], "dough": list("ABCD"), "malt_percent": [0, 0.4, 0.8, 1.2]}
    )
    more = extend(so_far, [MALT], Kitchen(1, 2), spread=Spread(1.0, 1.5, bake=10.0))
    low = more.doughs["malt_percent"] < 0.6
    assert low.sum() == 1


def test_checks_speak_of_old_and_new_together():
    plan = design([MALT2], Kitchen(1, 2), spread=KNOWN)
    assert "mixed once" in plan.checks[0]
    more = extend(plan.runs, [MALT2], Kitchen(2, 2), spread=KNOWN)
    assert more.checks[0] == (
        "diastatic malt is judged by about 2 degrees of freedom only (comparisons left over to see "
        "the spread by): its intervals will be wide, and one more bake narrows them a lot"
    )


def test_a_new_factor_inside_the_dough_is_shared_out():
    so_far = design([MALT, SIDE], Kitchen(2, 4), spread=KNOWN).runs
    more = extend(so_far, [MALT, SIDE], Kitchen(1, 4), spread=KNOWN)
    assert (more.runs.groupby(["dough", "side_minutes"]).size() == 3).all()
    assert sorted(more.doughs["malt_percent"]) == [0, 0.4, 0.8, 1.2]


SO_FAR = pd.DataFrame({"bake": [1, 1], "dough": ["A", "B"], "malt_percent": [0.0, 1.0]})


@pytest.mark.parametrize(
    ("so_far", "factor", "kind", "message"),
    [
        (
            SO_FAR.drop(columns="dough"), MALT2, NotFoundError,
            "no column 'dough'. There are: 'bake', 'malt_percent'.",
        ),
        (
            SO_FAR.iloc[:0], MALT2, DataError,
            "nothing has been baked yet: plan the trial with design().",
        ),
        (
            SO_FAR.assign(malt_percent=[0.0, None]), MALT2, DataError,
            "malt_percent is missing for 1 piece: fill it in, or leave those pieces out.",
        ),
        (
            SO_FAR, MALT, InputError,
            "malt_percent is 1 (pieces so far): is not among the settings planned on. Add it to "
            "the settings (0, 0.4, 0.8, 1.2).",
        ),
        (
            SO_FAR.assign(dough="A"), MALT2, DataError,
            "dough A of bake 1 has several settings of diastatic malt, which is decided for a "
            "whole dough. Correct it, or say decided='shaping'.",
        ),
        (
            SO_FAR.assign(griddle_temp_c=170), Factor("griddle_temp_c", (170, 190)), DesignError,
            "griddle temperature is decided for whole loads: plan a new trial with design().",
        ),
    ],
)  # fmt: skip
def test_extending_refuses(so_far, factor, kind, message):
    with pytest.raises(kind) as refused:
        extend(so_far, [factor], Kitchen(1, 2))
    assert str(refused.value) == message

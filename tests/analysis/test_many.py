"""Short cuts against the long way: many trials at once, doughs left out, columns from a recipe."""

import formulaic
import numpy as np
import pandas as pd
import pytest

import kit
from kit.analysis.checking.deletion import without_each
from kit.analysis.means import tukey_critical, tukey_criticals
from kit.analysis.model import reml
from kit.analysis.model.blocks import make_blocks, stack
from kit.analysis.model.kenward_roger import each_df, f_test, finish, single_df
from kit.analysis.model.likelihood import point
from kit.analysis.model.recipe import recipes
from kit.analysis.model.scaled import Scaled, may_go_below
from kit.analysis.verdict import Answer, decide, decide_each, settled


def layout(lost=0.0, loads=False, seed=1):
    """Four bakes of three doughs of four pieces: setting, groups, orthonormal columns."""
    rng = np.random.default_rng(seed)
    dough = np.repeat(np.arange(12), 4)
    dough = dough[rng.random(48) >= lost]
    bake = dough // 3
    groups = [bake, dough]
    if loads:
        load = 2 * bake + rng.integers(0, 2, len(dough))
        groups.append(np.unique(load, return_inverse=True)[1])
    q = np.linalg.qr(np.eye(3)[dough % 3])[0]
    y = [
        rng.normal(0, sd, (g.max() + 1, 30))[g]
        for g, sd in zip(groups, (0.5, 0.7, 0.4), strict=False)
    ]
    return q, groups, sum(y) + rng.normal(0, 1, (len(dough), 30))


@pytest.mark.parametrize("lost", [0.0, 0.15])
@pytest.mark.parametrize("loads", [False, True])
def test_many_trials_at_once_are_each_fitted_as_if_alone(lost, loads):
    q, groups, y = layout(lost, loads)
    names, n = ["bake", "dough", "load"][: len(groups)], np.ones(len(q))
    below = may_go_below(q, n, groups, "free", "nested")
    together = make_blocks(np.column_stack([q, y]), n, 0.0, groups, names, groups[0], 3)
    assert bool(together.batches) == bool(lost or loads)  # even blocks become strata
    many, problems = reml.estimate_many(together, below)
    assert not problems
    contrasts = np.eye(3)[1:]
    _, den, f = f_test(many, many.beta, contrasts)
    for i in range(y.shape[1]):
        own = make_blocks(np.column_stack([q, y[:, i]]), n, 0.0, groups, names, groups[0])
        one = reml.estimate(own, below)
        np.testing.assert_allclose(many.variance[i], one.variance, rtol=1e-5, atol=1e-7)
        np.testing.assert_allclose(many.phi_adjusted[i], one.phi_adjusted, rtol=1e-5, atol=1e-8)
        _, den_one, f_one = f_test(one, one.beta, contrasts)
        assert (den[i], f[i]) == pytest.approx((den_one, f_one), rel=1e-5)
        dfs = [single_df(one, row) for row in contrasts]
        np.testing.assert_allclose(each_df(one, contrasts), dfs, rtol=1e-10)


def test_strata_have_the_likelihood_of_the_whole_covariance():
    """The definition, with a dense matrix over all pieces."""
    q, groups, y = layout()
    y = y[:, 0]
    xy = np.column_stack([q, y])
    blocks = make_blocks(xy, np.ones(48), 0.0, groups, ["bake", "dough"], groups[0])
    assert not blocks.batches
    v = np.eye(48)
    for ratio, group in zip((0.3, 0.8), groups, strict=True):
        v += ratio * (group[:, None] == group)
    inverse = np.linalg.inv(v)
    a = q.T @ inverse @ q
    left = y - q @ np.linalg.solve(a, q.T @ inverse @ y)
    rss = left @ inverse @ left
    logs = np.linalg.slogdet(v)[1] + np.linalg.slogdet(a)[1]
    dense = 45 * (np.log(2 * np.pi * rss / 45) + 1) + logs
    assert point(blocks, np.array([[0.3, 0.8]])).criterion[0] == pytest.approx(dense, abs=1e-9)


def test_a_trial_that_cannot_be_fitted_does_not_stop_the_others():
    q, groups, y = layout()
    y[:, 3] = 30.0
    blocks = make_blocks(
        np.column_stack([q, y]), np.ones(48), 0.0, groups, ["b", "d"], groups[0], 3
    )
    many, problems = reml.estimate_many(blocks, [True, True])
    assert list(problems) == [3]
    assert str(problems[3]).startswith("the readings do not differ at all within a setting")
    assert np.isnan(many.beta[3]).all()
    assert np.isfinite(np.delete(many.beta, 3, axis=0)).all()


def test_groups_next_to_alike_inside_are_a_problem_not_a_crash():
    """Of ratios so large rounding leaves no covariance of the coefficients."""
    rng = np.random.default_rng(5175001)
    dough = np.repeat(np.arange(12), 3)
    own = np.column_stack([np.ones(36), rng.normal(size=(12, 4))[dough], rng.normal(size=(36, 4))])
    scaled = Scaled.of(own @ rng.normal(size=(9, 9)), rng.normal(size=36), np.ones(36), 0.0)
    blocks = scaled.blocks([dough], ["dough"], dough)
    assert not finish(blocks, point(blocks, np.array([[100.0]])))[1]
    (problem,) = finish(blocks, point(blocks, np.array([[1e14]])))[1].values()
    assert str(problem).startswith("too few pieces for so many groupings: the spread of dough and")


def test_known_variances_give_what_the_fit_that_found_them_gives():
    q, groups, y = layout(0.1)
    xy = np.column_stack([q, y[:, 0]])
    blocks = make_blocks(xy, np.ones(len(q)), 0.0, groups, ["bake", "dough"], groups[0])
    fit = reml.estimate(blocks, [False, False])
    assert (fit.variance > 0).all()
    again = reml.known(blocks, fit.variance)
    np.testing.assert_allclose(again.phi_adjusted, fit.phi_adjusted, rtol=1e-9, atol=1e-12)
    np.testing.assert_allclose(again.w, fit.w, rtol=1e-8)


def test_different_data_as_trials_of_one():
    parts = [layout(seed=s) for s in (1, 2)]
    keep = parts[0][1][1] != 5  # one dough less: a bake of two
    made = []
    for (q, groups, y), rows in zip(parts, (keep, slice(None)), strict=True):
        own = [np.unique(g[rows], return_inverse=True)[1] for g in groups]
        columns = np.linalg.qr(q[rows])[0]
        xy = np.column_stack([columns, y[rows, 0]])
        made.append(make_blocks(xy, np.ones(len(xy)), 0.0, own, ["bake", "dough"], own[0]))
    many, _ = reml.estimate_many(stack(made), [True, True])
    for i, blocks in enumerate(made):
        one = reml.estimate(blocks, [True, True])
        assert many.criterion[i] == pytest.approx(float(one.criterion), abs=1e-9)
        np.testing.assert_allclose(many.variance[i], one.variance, rtol=1e-6)


def baked(lost):
    rng = np.random.default_rng(3)
    frame = pd.DataFrame({"dough": np.repeat(np.arange(18), 5)})
    frame["bake"] = frame["dough"] // 3
    frame["malt"] = frame["dough"] % 3 * 0.4
    frame["height"] = 30 + rng.normal(0, 0.8, 18)[frame["dough"]] + rng.normal(0, 1, 90)
    return frame[rng.random(90) >= lost].reset_index(drop=True)


@pytest.mark.parametrize("lost", [0.0, 0.1])
@pytest.mark.parametrize("formula", ["height ~ C(malt)", "height ~ malt + I(malt**2)"])
def test_left_out_doughs_as_refitted_from_the_table(lost, formula):
    frame = baked(lost)
    fit = kit.mixed(frame, formula, ["bake", "dough"])
    for dough, refit in enumerate(without_each(fit, frame, "height", ["malt"], frame["dough"])):
        long = kit.mixed(frame[frame["dough"] != dough], formula, ["bake", "dough"])
        np.testing.assert_allclose(refit.coefficients, long.coefficients, rtol=1e-5, atol=1e-8)
        assert refit.criterion == pytest.approx(long.criterion, abs=1e-7)


def test_a_setting_that_goes_with_its_only_dough_is_not_refitted():
    frame = baked(0.0)
    frame.loc[frame["dough"] == 7, "malt"] = 2.0
    fit = kit.mixed(frame, "height ~ malt", ["bake", "dough"])
    found = without_each(fit, frame, "height", ["malt"], frame["dough"])
    assert [i for i, refit in enumerate(found) if refit is None] == [7]


@pytest.mark.parametrize(
    "formula",
    ["C(a) * x + I(x**2)", "C(a):C(b) + x", "b * x - 1", "a + I(a**3) + C(b):a", "C(a) * C(b) * x"],
)
def test_recipes_make_the_columns_of_formulaic(formula):
    """Also for other rows than those it was read from, found again by levels alone."""
    rhs = formulaic.Formula(formula)
    for seed in (1, 2):
        rng = np.random.default_rng(seed)
        cells = pd.DataFrame({"a": [0.0, 0.4, 1.2] * 30, "b": [*"uv"] * 45})
        cells["x"] = rng.normal(size=90)
        for recipe, full in zip(recipes(rhs, cells), (True, False), strict=True):
            theirs = rhs.get_model_matrix(cells, ensure_full_rank=full)
            assert recipe.columns is not None
            assert recipe.names == list(theirs.columns)
            np.testing.assert_array_equal(recipe.of(cells), np.asarray(theirs))
    assert recipes(rhs, cells)[0] is recipes(rhs, cells.assign(x=cells["x"] + 1))[0]


def test_other_functions_are_left_to_formulaic():
    cells = pd.DataFrame({"x": [1.0, 2.0, 4.0]})
    rhs = formulaic.Formula("np.log(x)")
    recipe = recipes(rhs, cells)[0]
    assert recipe.columns is None
    np.testing.assert_allclose(recipe.of(cells)[:, 1], np.log(cells["x"]))


@pytest.mark.parametrize("size", [2, 3, 5])
def test_tukey_of_many_degrees_of_freedom(size):
    df = np.random.default_rng(2).uniform(5, 19, (8, 6))
    known = [tukey_critical(0.95, float(x), size) for x in df.ravel()]
    np.testing.assert_allclose(tukey_criticals(0.95, df, size).ravel(), known, rtol=1e-6)


@pytest.mark.parametrize("matters", [None, 1.0])
def test_many_verdicts_are_each_the_single_one(matters):
    rng = np.random.default_rng(4)
    low = np.append(rng.normal(0, 2, 400), [np.nan, -1.0, 1.0])
    high = low + np.append(rng.exponential(1.5, 400), [1.0, 2.0, 1.0])
    single = [decide(a, b, matters) for a, b in zip(low, high, strict=True)]
    assert decide_each(low, high, matters) == single
    assert list(settled(low, high, matters)) == [a is not Answer.UNCLEAR for a in single]

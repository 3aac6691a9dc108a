"""The engine: faces, refusals, numerics at the edge, and a case solved live by statsmodels."""

import warnings
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import statsmodels.formula.api as smf
from scipy import stats

import kit
from kit.analysis.means import dunnett_p, one_factor, tukey_p
from kit.analysis.model.blocks import make_blocks
from kit.analysis.model.likelihood import point, slopes
from kit.analysis.moments import moments
from kit.errors import DataError, DesignError, InputError, NotFoundError

CAKE = Path(__file__).parents[2] / "datasets" / "published" / "cake.csv"


@pytest.fixture(scope="module")
def cake():
    return pd.read_csv(CAKE)


def test_agrees_with_statsmodels_where_it_can_be_trusted(cake):
    """Nested random effects, all variances well above zero, factor within the mixes."""
    fit = kit.mixed(cake, "angle_deg ~ C(temperature_f)", ["replicate", "mix"], variance="floored")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        peer = smf.mixedlm(
            "angle_deg ~ C(temperature_f)", cake, groups="replicate",
            vc_formula={"mix": "0 + C(mix)"}, re_formula="1",
        ).fit(reml=True)  # fmt: skip
    np.testing.assert_allclose(fit.coefficients["estimate"], peer.fe_params.to_numpy(), rtol=1e-6)
    np.testing.assert_allclose(fit.coefficients["se"], peer.bse_fe.to_numpy(), rtol=2e-3)
    assert fit.variance.loc["residual", "variance"] == pytest.approx(peer.scale, rel=2e-3)
    assert fit.criterion == pytest.approx(-2 * peer.llf, abs=1e-3)


def test_least_squares_agrees_with_statsmodels(cake):
    fit = kit.mixed(cake, "angle_deg ~ C(recipe) * temperature_f")
    peer = smf.ols("angle_deg ~ C(recipe) * temperature_f", cake).fit()
    np.testing.assert_allclose(fit.coefficients["estimate"], peer.params.to_numpy(), rtol=1e-9)
    np.testing.assert_allclose(fit.coefficients["se"], peer.bse.to_numpy(), rtol=1e-9)
    np.testing.assert_allclose(fit.coefficients["p"], peer.pvalues.to_numpy(), rtol=1e-7)
    np.testing.assert_allclose(fit.coefficients["df"], peer.df_resid, rtol=1e-9)


def test_criterion_at_a_fixed_point():
    """The restricted likelihood itself, against its definition with dense matrices."""
    rng = np.random.default_rng(0)
    dough = np.repeat(np.arange(5), [3, 4, 2, 5, 3])
    x = np.column_stack([np.ones(17), dough % 2])
    y = rng.normal(size=17)
    blocks = make_blocks(np.column_stack([x, y]), np.ones(17), 0.0, [dough], ["dough"], dough)
    at = point(blocks, np.array([[0.7]]))
    v = np.eye(17) + 0.7 * (dough[:, None] == dough)
    inverse = np.linalg.inv(v)
    a = x.T @ inverse @ x
    beta = np.linalg.solve(a, x.T @ inverse @ y)
    rss = (y - x @ beta) @ inverse @ (y - x @ beta)
    dense = (
        15 * (np.log(2 * np.pi * rss / 15) + 1) + np.linalg.slogdet(v)[1] + np.linalg.slogdet(a)[1]
    )
    assert at.criterion[0] == pytest.approx(dense, abs=1e-10)
    gradient = slopes(blocks, at)[0][0]
    step = 1e-6
    numeric = (
        point(blocks, np.array([[0.7 + step]])).criterion[0]
        - point(blocks, np.array([[0.7 - step]])).criterion[0]
    ) / (2 * step)
    assert gradient[0] == pytest.approx(numeric, rel=1e-6)


def test_balanced_free_components_are_the_analysis_of_variance():
    """A dough spread below the pieces' own: F on dough means, as the classical table gives it."""
    rng = np.random.default_rng(5)
    frame = pd.DataFrame(
        {
            "dough": np.repeat(np.arange(8), 6),
            "malt": np.repeat([0, 1], 24),
            "y": rng.normal(size=48),
        }
    )
    frame["y"] -= 0.9 * (frame.groupby("dough")["y"].transform("mean"))  # doughs too alike
    fit = kit.mixed(frame, "y ~ C(malt)", ["dough"])
    means = frame.groupby(["malt", "dough"])["y"].mean()
    expected = stats.f_oneway(means[0], means[1])
    assert fit.terms.loc["C(malt)", "F"] == pytest.approx(expected.statistic, rel=1e-8)
    assert fit.terms.loc["C(malt)", "den_df"] == pytest.approx(6, rel=1e-8)
    assert fit.variance.loc["dough", "variance"] == 0  # never reported negative
    assert fit.checks == (
        "no difference between one dough and the next was seen beyond what chance between pieces "
        "explains; the dough is kept as the unit all the same",
    )
    floored = kit.mixed(frame, "y ~ C(malt)", ["dough"], variance="floored")
    assert floored.terms.loc["C(malt)", "F"] < fit.terms.loc["C(malt)", "F"]


def test_large_readings_that_differ_little_lose_no_digits():
    """The certified trick of NIST's SmLs sets: the same differences on 10⁹ give the same F."""
    rng = np.random.default_rng(2)
    frame = pd.DataFrame({"g": np.repeat(np.arange(9), 21), "y": rng.integers(0, 9, 189) / 8})
    small = kit.mixed(frame, "y ~ C(g)")
    large = kit.mixed(frame.assign(y=frame["y"] + 1e9), "y ~ C(g)")
    assert large.terms.loc["C(g)", "F"] == pytest.approx(small.terms.loc["C(g)", "F"], rel=1e-9)


def test_the_order_of_rows_and_names_of_groups_do_not_matter(cake):
    fit = kit.mixed(cake, "angle_deg ~ recipe", ["replicate", "mix"])
    shuffled = cake.sample(frac=1, random_state=3).assign(mix=lambda f: "mix " + f["mix"])
    again = kit.mixed(shuffled, "angle_deg ~ recipe", ["replicate", "mix"])
    np.testing.assert_allclose(again.coefficients, fit.coefficients, rtol=1e-7, atol=1e-12)


def test_crossed_groupings_agree_with_dense_algebra():
    """Loads that cross doughs inside a bake: covariance of the estimates from V itself."""
    rng = np.random.default_rng(8)
    rows = [(b, d, load) for b in range(4) for d in range(3) for load in range(3) for _ in range(2)]
    frame = pd.DataFrame(rows, columns=["bake", "dough", "load"])
    frame["malt"] = frame["dough"] % 3
    frame["y"] = (
        rng.normal(size=72)
        + rng.normal(0, 1.0, 12)[frame["bake"] * 3 + frame["dough"]]
        + rng.normal(0, 0.8, 12)[frame["bake"] * 3 + frame["load"]]
    )
    fit = kit.mixed(
        frame, "y ~ C(malt)", ["bake", "dough", "load"], variance="floored",
        structure="within-first",
    )  # fmt: skip
    keys = {
        "bake": frame["bake"],
        "dough": frame["bake"] * 10 + frame["dough"],
        "load": frame["bake"] * 10 + frame["load"],
    }
    v = fit.variance.loc["residual", "variance"] * np.eye(72)
    for name, key in keys.items():
        v = v + fit.variance.loc[name, "variance"] * (key.to_numpy()[:, None] == key.to_numpy())
    x = np.column_stack([np.ones(72), frame["malt"] == 1, frame["malt"] == 2]).astype(float)
    dense = np.linalg.inv(x.T @ np.linalg.inv(v) @ x)
    np.testing.assert_allclose(fit._estimate.phi, dense, rtol=1e-8)
    crossed = kit.mixed(
        frame.assign(dough=keys["dough"], load=keys["load"]), "y ~ C(malt)",
        ["bake", "dough", "load"], variance="floored", structure="crossed",
    )  # fmt: skip
    assert crossed.criterion == pytest.approx(fit.criterion, abs=1e-8)


def test_three_nested_groupings(cake):
    """Two replicates make a kitchen: kitchen, replicate and mix nested."""
    frame = cake.assign(kitchen=cake["replicate"] // 4)
    fit = kit.mixed(frame, "angle_deg ~ recipe", ["kitchen", "replicate", "mix"])
    assert dict(fit.group_counts) == {"kitchen": 4, "replicate": 15, "mix": 45}
    assert fit.terms.loc["recipe", "den_df"] == pytest.approx(28, abs=0.5)


@pytest.mark.parametrize(
    ("formula", "arguments", "error", "message"),
    [
        ("angle_deg", {}, DataError,
         "'angle_deg' is not a formula. Write it as 'outcome ~ factor', with one ~."),
        ("angle_deg ~ nope", {}, NotFoundError,
         "no column 'nope'. There are: 'replicate', 'recipe', 'mix', 'temperature_f', "
         "'angle_deg'."),
        ("angle_deg ~ C(recipe", {}, DataError,
         "the formula 'angle_deg ~ C(recipe' cannot be read: Formula ended before quote context "
         "was closed. Expected: )"),
        ("angle_deg ~ recipe", {"groups": ["a", "b", "c", "d", "e", "f"]}, InputError,
         "groups is ['a', 'b', 'c', 'd', 'e', 'f']: must be at most five columns."),
        ("angle_deg ~ recipe", {"groups": ["mix", "mix"]}, InputError,
         "groups is ['mix', 'mix']: must not repeat a column."),
        ("angle_deg ~ recipe", {"variance": "big"}, InputError,
         "variance is 'big': must be one of 'free', 'floored'."),
        ("angle_deg ~ recipe", {"structure": "tree"}, InputError,
         "structure is 'tree': must be one of 'nested', 'within-first', 'crossed'."),
        ("angle_deg ~ recipe", {"level": 95}, InputError,
         "level is 95: must lie between 0 and 1. Write 0.95 for 95 %."),
        ("angle_deg ~ angle_deg", {}, InputError,
         "outcome is 'angle_deg': must not also be a setting or a group."),
        ("angle_deg ~ mix", {"groups": ["mix"]}, DesignError,
         "the settings use up every mix: no number of pieces can tell the setting from the mix. "
         "Give each setting at least two of them."),
        ("angle_deg ~ recipe", {"groups": ["mix", "temperature_f"]}, DesignError,
         "temperature_f cannot be told from mix and piece: beside the settings, each holds only "
         "one of the other. Bake more pieces of every temperature_f, or leave temperature_f out of "
         "the groups."),
    ],
)  # fmt: skip
def test_refusals(cake, formula, arguments, error, message):
    with pytest.raises(error) as caught:
        kit.mixed(cake, formula, **arguments)
    assert str(caught.value) == message


def test_powers_are_explained(cake):
    with pytest.raises(DataError) as caught:
        kit.mixed(cake, "angle_deg ~ I(temperature_f^2)")
    assert str(caught.value) == (
        "'angle_deg ~ I(temperature_f^2)' has a ^. Write powers as x**2, for example "
        "'outcome ~ x + I(x**2)'."
    )


def test_missing_rows_are_counted(cake):
    frame = cake.copy()
    frame.loc[:4, "angle_deg"] = np.nan
    frame.loc[[10], "recipe"] = None
    fit = kit.mixed(frame, "angle_deg ~ recipe", ["replicate", "mix"])
    assert fit.n == 264
    assert fit.checks[:2] == (
        "5 rows left out: angle_deg is missing",
        "1 rows left out: recipe is missing",
    )


def test_moments_by_hand():
    frame = pd.DataFrame({"g": ["a", "a", "b", "b", "b"], "y": [1.0, 3.0, 5.0, 6.0, np.nan]})
    table = moments(frame, "y", ["g"])
    assert table.n.tolist() == [2, 2]
    assert (table.mean + table.shift).tolist() == [2.0, 5.5]
    assert table.within_ss == pytest.approx(2.0 + 0.5)
    assert table.total == 4


@pytest.mark.parametrize("df", [0.7, 1.0, 2.5, 9.7, 210.0])
@pytest.mark.parametrize("size", [3, 5])
def test_tukey_agrees_with_scipy(df, size):
    for t in (0.5, 2.0, 4.0):
        peer = stats.studentized_range.sf(np.sqrt(2) * t, size, df)
        assert tukey_p(t, df, size) == pytest.approx(peer, abs=1e-8)


@pytest.mark.parametrize("df", [3, 12, 60])
def test_dunnett_agrees_with_scipy(df):
    """scipy's multivariate t (randomised integration: 1e-4)."""
    correlation = np.full((4, 4), 0.5) + 0.5 * np.eye(4)
    peer = stats.multivariate_t(shape=correlation, df=df, seed=1)
    inside = peer.cdf([2.2] * 4, lower_limit=[-2.2] * 4, maxpts=200_000)
    assert dunnett_p(2.2, df, one_factor(correlation)) == pytest.approx(1 - inside, abs=3e-4)


def test_faces(cake):
    fit = kit.mixed(cake, "angle_deg ~ recipe", ["replicate", "mix"])
    assert repr(fit) == "<MixedFit angle_deg ~ recipe | 270 pieces, 15 replicates, 45 mixs>"
    assert "recipe: F(2, 28.0) = 1.578" in str(fit)
    assert list(fit.to_frame()["name"]) == ["Intercept", "recipe[T.B]", "recipe[T.C]"]
    assert "<code>" in fit._repr_html_()


def test_tables_are_indexed_by_what_their_rows_are():
    rows = [(bake, f"{bake}{m}", m, (bake * 7 + m * 3 + i) % 5) for bake in range(3)
            for m in (0, 1) for i in range(3)]  # fmt: skip
    frame = pd.DataFrame(rows, columns=["bake", "dough", "malt", "height"])
    fit = kit.mixed(frame, "height ~ C(malt)", ["bake", "dough"])
    names = [fit.terms.index.name, fit.coefficients.index.name, fit.variance.index.name]
    assert names == ["term", "name", "component"]

"""Control charts: published constants and limits, run lengths of the run rules, words, refusals."""

import math

import numpy as np
import pandas as pd
import pytest
from scipy import integrate, stats

from kit.analysis.control_chart import RULES, bake_chart, control_chart, find_runs
from kit.analysis.steady.chart_constants import c4, d2, d3, lower_range_factor, upper_range_factor
from kit.errors import DataError, InputError, NotFoundError

#: NIST/SEMATECH e-Handbook 6.3.2.2: flow rates of ten batches (from memory; arithmetic by hand).
FLOW = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]
#: Factors of ASTM's manual on presentation of data, reprinted in textbooks: n, d2, d3, c4, D3, D4.
TABLE = [
    (2, 1.128, 0.853, 0.7979, 0, 3.267), (3, 1.693, 0.888, 0.8862, 0, 2.575),
    (4, 2.059, 0.880, 0.9213, 0, 2.282), (5, 2.326, 0.864, 0.9400, 0, 2.114),
    (6, 2.534, 0.848, 0.9515, 0, 2.004), (7, 2.704, 0.833, 0.9594, 0.076, 1.924),
    (8, 2.847, 0.820, 0.9650, 0.136, 1.864), (10, 3.078, 0.797, 0.9727, 0.223, 1.777),
    (15, 3.472, 0.756, 0.9823, 0.347, 1.653), (25, 3.931, 0.708, 0.9896, 0.459, 1.541),
]  # fmt: skip


@pytest.mark.parametrize("row", TABLE, ids=lambda row: f"n={row[0]}")
def test_constants_are_those_of_the_published_table(row):
    n, *printed = row
    found = [d2(n), d3(n), c4(n), lower_range_factor(n), upper_range_factor(n)]
    assert found[2] == pytest.approx(printed[2], abs=5.1e-5)
    # one unit of the last decimal: tables of D3 and D4 were made from rounded d2 and d3
    assert found[:2] == pytest.approx(printed[:2], abs=5.1e-4)
    assert found[3:] == pytest.approx(printed[3:], abs=1.01e-3)


def test_constants_in_closed_form():
    """Two values: E|x − y| = 2/√π and E(x − y)² = 2. Three: d2 = 3/√π."""
    assert d2(2) == pytest.approx(2 / math.sqrt(math.pi), rel=1e-12)
    assert d3(2) == pytest.approx(math.sqrt(2 - 4 / math.pi), rel=1e-11)
    assert d2(3) == pytest.approx(3 / math.sqrt(math.pi), rel=1e-12)
    assert c4(2) == pytest.approx(math.sqrt(2 / math.pi), rel=1e-12)


def test_mean_range_is_that_of_scipy_s_order_statistics():
    def largest(x, n):
        return n * x * stats.norm.pdf(x) * stats.norm.cdf(x) ** (n - 1)

    for n in (4, 9):
        assert d2(n) == pytest.approx(2 * integrate.quad(largest, -9, 9, args=(n,))[0], abs=1e-8)


@pytest.mark.parametrize("constant", [d2, d3, c4])
def test_one_value_has_no_range(constant):
    with pytest.raises(InputError, match=r"n is 1: must be 2 or more: one value has no "):
        constant(1)


def test_individuals_chart_of_the_e_handbook():
    chart = control_chart(FLOW)
    assert chart.centre == pytest.approx(50.81)
    assert chart.mean_range == pytest.approx(1.8778, abs=5e-5)
    # printed with d2 = 1.128: 55.8041 and 45.8159
    assert (chart.upper, chart.lower) == pytest.approx((55.8041, 45.8159), abs=2e-3)
    assert chart.upper == pytest.approx(50.81 + 3 * 16.9 / 9 * math.sqrt(math.pi) / 2)
    assert chart.upper_range == pytest.approx(3.267 * 1.8778, abs=2e-3)
    assert chart.steady
    assert chart.headline.endswith("over these 10 bakes; so few would show a large change only.")
    many = control_chart(np.random.default_rng(0).normal(30, 1, 20))
    assert many.headline == "Steady: no sign that value changed over these 20 bakes."


def test_rules_are_those_written_down():
    """One beyond 3, two of three beyond 2, four of five beyond 1, eight on one side."""
    z = np.zeros(20)
    z[[3, 9, 11]] = 3.1, -2.1, -2.2
    found = {(run.rule.name, run.first, run.last, run.side) for run in find_runs(z)}
    assert found == {("one beyond 3", 3, 3, 1), ("two of three beyond 2", 9, 11, -1)}
    z = np.array([0, 1.1, 1.1, -0.5, 1.1, 1.1, 0, 0])
    assert [(r.rule.name, r.first, r.last) for r in find_runs(z)] == [
        ("four of five beyond 1", 1, 5)
    ]
    z = np.array([-0.1, *[0.1] * 10])
    assert [(r.rule.name, r.first, r.last) for r in find_runs(z)] == [("eight on one side", 1, 8)]
    assert find_runs([2.1, 0, 0, 2.1]) == ()
    assert find_runs([2.1, -2.1]) == ()


def mean_run(rules, runs, length, seed=20):
    """Mean number of values up to the first sign when nothing changes and limits are known."""
    rng = np.random.default_rng(seed)
    ends = []
    for _ in range(runs):
        z, before = rng.normal(size=length), 0
        while not (found := [run for run in find_runs(z[before:]) if run.rule.name in rules]):
            # go on; a stretch that crosses the seam is kept
            z, before = np.concatenate([z, rng.normal(size=length)]), 0
        ends.append(found[0].last + 1)
    return np.mean(ends), np.std(ends) / math.sqrt(runs)


@pytest.mark.parametrize(
    ("rules", "published"),
    [
        # Champ & Woodall (1987), Technometrics 29:393, table 1 (from memory)
        (["one beyond 3", "two of three beyond 2"], 225.44),
        (["one beyond 3", "four of five beyond 1"], 166.05),
        (["one beyond 3", "eight on one side"], 152.73),
        ([rule.name for rule in RULES], 91.75),
    ],
)
def test_false_signs_come_as_seldom_as_published(rules, published):
    """4 standard errors of 1500 runs (3 to 10 %): fails by chance once in 16 000."""
    mean, error = mean_run(rules, 1500, 400)
    assert mean == pytest.approx(published, abs=4 * error)
    assert error < 0.03 * published


def test_one_value_beyond_the_limit_in_370():
    z = np.random.default_rng(4).normal(size=400_000)
    signs = len([run for run in find_runs(z) if run.rule.limit == 3])
    expected = 400_000 * 2 * stats.norm.sf(3)  # 1080; a Poisson count
    assert signs == pytest.approx(expected, abs=4 * math.sqrt(expected))


def test_a_change_is_told_with_the_names_of_its_bakes():
    values = [28.0, 28.4, 27.8, 28.2, 28.1, 27.9, 28.3, 33.0, 28.0]
    chart = control_chart(values, list("abcdefghi"), "rise_height_mm")
    assert [(run.rule.name, run.last) for run in chart.runs] == [("one beyond 3", 7)]
    assert chart.jumps == (8,)
    # by hand: 28.633 + 3·1.475/1.128379 = 32.55, and 3.2665·1.475 = 4.82, more than 4.70
    assert chart.signs == (
        "Bake h (33.0 mm) lies above the limit of 32.6 mm.",
        "From bake h to i it jumped by 5.0 mm, more than the 4.8 mm that chance explains.",
    )
    assert chart.headline == "2 signs that height did not stay the same."
    assert chart.points["signs"].tolist()[7:] == ["one beyond 3", "jump"]
    assert "flour or yeast lot" in chart.next_step
    frame = chart.to_frame()
    assert frame["upper"].nunique() == 1
    assert frame["moving_range"].isna().tolist() == [True, *[False] * 8]


def test_missing_values_are_left_out_and_said():
    chart = control_chart([28.0, math.nan, 28.4, 27.9, 28.2], names=["a", "b", "c", "d", "e"])
    assert chart.points["name"].tolist() == ["a", "c", "d", "e"]
    assert chart.checks[0] == "left out, as there is no value: b"
    assert chart.mean_range == pytest.approx((0.4 + 0.5 + 0.3) / 3)


def test_one_value_a_bake_is_the_mean_of_its_dough_means():
    frame = pd.DataFrame(
        {
            "bake": [1, 1, 1, 2, 2, 3, 3, 3],
            "dough": ["a", "a", "b", "a", "a", "a", "b", "b"],
            "malt_percent": [0, 0, 0, 0, 0, 0, 1, 1],
            "rise_height_mm": [27.0, 29, 30, 28, math.nan, 27.5, 35, 36],
        }
    )
    chart = bake_chart(frame, "rise_height_mm", only={"malt_percent": 0})
    assert chart.points["value"].tolist() == [29.0, 28.0, 27.5]
    everything = bake_chart(frame, "rise_height_mm")
    assert everything.points["value"].tolist() == [29.0, 28.0, 31.5]
    with pytest.raises(DataError, match="no piece with diastatic malt at 9 % has a bake"):
        bake_chart(frame, "rise_height_mm", only={"malt_percent": 9})
    with pytest.raises(NotFoundError, match="no column 'height'"):
        bake_chart(frame, "height")


@pytest.mark.parametrize(("bakes", "share"), [(30, 31), (100, 78)])
def test_a_sign_is_told_with_how_often_chance_gives_one(bakes, share):
    """All signs together, jumps too, with limits from the same bakes."""
    rng, tries = np.random.default_rng(8571001 + bakes), 400
    charts = [control_chart(rng.normal(30, 1, bakes)) for _ in range(tries)]
    signs = [chart for chart in charts if not chart.steady]
    told = {check for chart in signs for check in chart.checks}
    assert told == {
        f"a steady kitchen gives a sign as well, about once in 60 bakes: with {bakes} bakes it "
        f"happens in about {share} of 100 such charts"
    }
    assert all(chart.checks == () for chart in charts if chart.steady)
    error = (share / 100 * (1 - share / 100) / tries) ** 0.5
    assert abs(len(signs) / tries - share / 100) < 3.5 * error  # false failure: 1 in 2000


def test_refusals():
    with pytest.raises(DataError, match="2 bakes: a chart needs three at least, best 20"):
        control_chart([1.0, 2.0])
    with pytest.raises(DataError, match="do not differ from bake to bake at all"):
        control_chart([1.0, 1.0, 1.0])
    with pytest.raises(InputError, match="names is 1: must be 2, one for each value"):
        control_chart([1.0, 2.0], names=["a"])
    with pytest.raises(DataError, match=r"height is inf \(row 3 of the table\): is not a finite"):
        control_chart([1.0, 2.0, math.inf], outcome="height")
    with pytest.raises(DataError, match=r"value is 'tall' \(row 2 of the table\): is not a number"):
        control_chart([1.0, "tall", 2.0])

"""NIST Statistical Reference Datasets: nonlinear regression from both starts, and one-way ANOVA."""

import json
import warnings
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import curve_fit

from kit.analysis.mixed import mixed
from kit.analysis.proofs.curve_fit import fit_curve
from kit.errors import DataError, InputError

FOLDER = Path(__file__).parents[1] / "reference" / "nist"
CURVES = {p.stem: json.loads(p.read_text()) for p in sorted((FOLDER / "nonlinear").glob("*.json"))}
GROUPS = {p.stem: json.loads(p.read_text()) for p in sorted((FOLDER / "anova").glob("*.json"))}
TURN = 2 * np.pi
WRITTEN = {
    "Nelson": lambda x, b: b[0] - b[1] * x[0] * np.exp(-b[2] * x[1]),
    "Roszman1": lambda x, b: b[0] - b[1] * x - np.arctan(b[2] / (x - b[3])) / np.pi,
    "ENSO": lambda x, b: (
        b[0] + b[1] * np.cos(TURN * x / 12) + b[2] * np.sin(TURN * x / 12)
        + b[4] * np.cos(TURN * x / b[3]) + b[5] * np.sin(TURN * x / b[3])
        + b[7] * np.cos(TURN * x / b[6]) + b[8] * np.sin(TURN * x / b[6])
    ),
}  # fmt: skip


def curve_of(case):
    if case["expression"] is None:
        return WRITTEN[case["name"]]
    code = compile(case["expression"], case["name"], "eval")

    def curve(x, b):
        return eval(code, {"exp": np.exp, "x": x, **{f"b{i + 1}": v for i, v in enumerate(b)}})

    return curve


def data_of(case):
    data = {k: np.array(v, float) for k, v in case["data"].items()}
    if case["name"] == "Nelson":
        return (data["x1"], data["x2"]), np.log(data["y"])
    return data["x"], data["y"]


def digits(got, want):
    got, want = np.asarray(got, float), np.asarray(want, float)
    return float(-np.log10(np.maximum(np.abs(got - want) / np.abs(want), 1e-16)).min())


def test_all_are_here():
    assert (len(CURVES), len(GROUPS)) == (27, 11)


@pytest.mark.parametrize("start", ["start1", "start2"])
@pytest.mark.parametrize("name", CURVES)
def test_certified_to_six_digits(name, start):
    case = CURVES[name]
    x, y = data_of(case)
    fit = fit_curve(curve_of(case), x, y, case[start])
    sure = case["certified"]
    assert digits(fit.theta, sure["parameters"]) >= 6
    assert fit.df == sure["residual_df"]
    if name == "Lanczos1":  # what is left over, 1e-25, is rounding: its digits mean nothing
        assert fit.rss < 1e-23
        return
    assert digits(fit.se, sure["sd"]) >= 6
    assert digits(fit.rss, sure["residual_ss"]) >= 6
    assert digits(fit.sd, sure["residual_sd"]) >= 6


@pytest.mark.parametrize("name", ["Misra1a", "Rat42", "Rat43", "Thurber", "Eckerle4"])
def test_agrees_with_scipy_live(name):
    case = CURVES[name]
    x, y = data_of(case)
    curve, u = curve_of(case), 0.5 + np.arange(len(y)) % 3
    fit = fit_curve(curve, x, y, case["start2"], u=u)
    theta, covariance = curve_fit(
        lambda x, *b: curve(x, b), x, y, case["start2"], sigma=u, absolute_sigma=True,
        ftol=1e-14, xtol=1e-14, gtol=1e-14,
    )  # fmt: skip
    assert fit.theta == pytest.approx(theta, rel=1e-5)
    assert fit.covariance / fit.scale == pytest.approx(covariance, rel=2e-3)


def test_differences_where_complex_numbers_are_refused():
    case = CURVES["Rat42"]
    x, y = data_of(case)
    curve = curve_of(case)
    fit = fit_curve(lambda x, b: curve(x, [float(v) for v in b]), x, y, case["start2"])
    assert digits(fit.theta, case["certified"]["parameters"]) >= 6


def test_derivatives_may_come_as_lists():
    x = np.arange(8.0)
    y = 2 * np.exp(-0.3 * x) + 0.01 * np.sin(7 * x)

    def curve(x, b):
        return b[0] * np.exp(-b[1] * x)

    def slopes(x, b):
        return [[np.exp(-b[1] * t), -b[0] * t * np.exp(-b[1] * t)] for t in x]

    given, found = (fit_curve(curve, x, y, [1, 0.1], derivatives=d) for d in (slopes, None))
    assert given.theta == pytest.approx(found.theta, rel=1e-9)
    assert given.covariance == pytest.approx(found.covariance, rel=1e-9)


def test_the_lowest_of_several_starts_is_kept():
    t = np.linspace(0, 10, 40)

    def wave(t, b):
        return np.sin(b[0] * t)

    lone = fit_curve(wave, t, wave(t, [2.0]) + 0.01 * (-1) ** np.arange(40), [1.0])
    both = fit_curve(wave, t, wave(t, [2.0]) + 0.01 * (-1) ** np.arange(40), [[1.0], [1.9]])
    assert lone.rss > 1
    assert both.theta == pytest.approx([2.0], abs=1e-3)


def test_a_parameter_at_its_bound_has_no_standard_error():
    t = np.arange(6.0)
    fit = fit_curve(lambda t, b: b[0] + b[1] * t, t, 1 + 0.5 * t + 0.01 * (-1) ** t, [0.5, 0.1],
                    bounds=([-9, -9], [9, 0.3]))  # fmt: skip
    assert np.isnan(fit.se[1])
    assert np.isfinite(fit.se[0])
    assert fit.checks == ("b2 went to the end of what was allowed and was held there",)


def test_messages():
    with pytest.raises(DataError) as wrong:
        fit_curve(lambda x, b: b[0] * x, [1.0], [1.0], [1.0])
    assert str(wrong.value) == (
        "1 readings cannot tell 1 parameters and their spread: 2 or more can."
    )
    with pytest.raises(InputError) as wrong:
        fit_curve(lambda x, b: b[0] * x, np.ones(3), np.ones(3), [1.0], u=[1, 0, 1])
    assert str(wrong.value) == (
        "u is 0: must be above 0. Give the standard uncertainty of a reading."
    )


#: Correct digits of F at least: 16 less those that the constant in front of the data (1e6, 1e12)
#: takes in storing them.
ANOVA_DIGITS = {f"SmLs0{i}": {0: 14, 1: 10, 2: 4}[(i - 1) // 3] for i in range(1, 10)}


@pytest.mark.parametrize("name", GROUPS)
def test_one_way_anova(name):
    case = GROUPS[name]
    frame = pd.DataFrame({"group": case["data"]["group"], "y": np.array(case["data"]["y"], float)})
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        fit = mixed(frame, "y ~ C(group)")
    row = fit.terms.iloc[0]
    want = case["certified"]
    assert row["num_df"] == want["df_between"]
    assert row["den_df"] == pytest.approx(want["df_within"], rel=1e-9)
    assert digits(row["F"], case["exact_rational_F"]) >= ANOVA_DIGITS.get(name, 10)

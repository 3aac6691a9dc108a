"""The eleven linear regression sets of the NIST Statistical Reference Datasets.

Data and certified values are those NIST publishes (`tests/reference/nist`); the answers were also
worked out in exact rational arithmetic on the published decimal data, which is what is compared
with. The kit's regression works in double precision on orthonormal columns; what it can reach
falls with the condition of the columns, so the digits asked for are stated set by set. Filip (a
polynomial of degree 10, condition number near 1e10 even when scaled) keeps 7 digits in raw powers
and 13 about its middle.
"""

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from kit.analysis.mixed import mixed

FOLDER = Path(__file__).parents[1] / "reference" / "nist"
SETS = {p.stem: json.loads(p.read_text()) for p in sorted(FOLDER.glob("*.json"))}
#: Correct digits of every coefficient and of every standard error, at least.
DIGITS = {
    "NoInt1": (14, 14), "NoInt2": (14, 14), "Norris": (14, 13), "Pontius": (14, 11),
    "Longley": (12, 11), "Wampler3": (13, 13), "Wampler4": (11, 13), "Wampler5": (9, 13),
    "Filip": (7, 7),
}  # fmt: skip


def frame_of(case):
    return pd.DataFrame({k: np.array(v, float) for k, v in case["data"].items()})


def formula_of(case):
    if case["polynomial_degree"] and case["polynomial_degree"] > 1:
        powers = [f"I(x**{k})" for k in range(2, case["polynomial_degree"] + 1)]
        return f"y ~ {' + '.join(['x', *powers])}"
    names = [k for k in case["data"] if k != "y"]
    return f"y ~ {' + '.join(names)}{'' if case['intercept'] else ' - 1'}"


def digits(got, want):
    """Correct digits of the worst number (NIST's log relative error)."""
    got, want = np.asarray(got, float), np.asarray(want, float)
    error = np.abs(got - want) / np.abs(want)
    return float(-np.log10(np.maximum(error, 1e-16)).min())


def test_all_eleven_are_here():
    assert len(SETS) == 11


@pytest.mark.parametrize("name", DIGITS)
def test_certified_values(name):
    case = SETS[name]
    fit = mixed(frame_of(case), formula_of(case))
    exact = case["exact_rational"]
    assert digits(exact["parameters"], case["certified"]["parameters"]) >= 8
    estimate, se = DIGITS[name]
    assert digits(fit.coefficients["estimate"], exact["parameters"]) >= estimate
    assert digits(fit.coefficients["se"], exact["sd"]) >= se
    residual = fit.variance.loc["residual", "variance"] * exact["residual_df"]
    assert digits(residual, exact["residual_ss"]) >= se


@pytest.mark.parametrize("name", ["Wampler1", "Wampler2"])
def test_exact_polynomials(name):
    """These two lie exactly on their polynomial: nothing but rounding is left over."""
    case = SETS[name]
    fit = mixed(frame_of(case), formula_of(case))
    assert digits(fit.coefficients["estimate"], case["exact_rational"]["parameters"]) >= 14
    assert fit.variance.loc["residual", "sd"] <= 1e-14 * np.abs(frame_of(case)["y"]).max()


def test_filip_about_its_middle():
    """The same polynomial in u = (x + 6)/3, multiplied out again."""
    from numpy.polynomial import polynomial

    case = SETS["Filip"]
    frame = frame_of(case).assign(u=lambda f: (f["x"] + 6.0) / 3.0)
    powers = [f"I(u**{k})" for k in range(2, 11)]
    fit = mixed(frame, f"y ~ {' + '.join(['u', *powers])}")
    back, power = np.zeros(1), np.ones(1)
    for coefficient in fit.coefficients["estimate"]:
        back = polynomial.polyadd(back, coefficient * power)
        power = polynomial.polymul(power, [2.0, 1 / 3.0])
    assert digits(back, case["exact_rational"]["parameters"]) >= 13

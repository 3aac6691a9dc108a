"""Worked examples of area 7: designs, charts, gauge studies and the analyses that go with them.

The entries, each with its source, lie in `handbook_area_7.json`; data sets that they name lie in
`tests/reference/mixed`, taken from the R package lme4. The environment variable KIT_HANDBOOK_FILE
names another file of the same structure to run instead. An entry is recognised by what it gives
and asks, not by its number; what is not recognised is skipped and says so.
"""

import json
import os
import re
from itertools import product
from pathlib import Path

import pandas as pd
import pytest

import kit
from kit.analysis.control_chart import control_chart
from kit.analysis.gauge import LIMIT, gauge
from kit.analysis.steadiness import steadiness
from kit.analysis.steady import chart_constants
from kit.plan.designs.points import rotatable

OWN = Path(__file__).with_name("handbook_area_7.json")
FILE = Path(os.environ.get("KIT_HANDBOOK_FILE") or OWN)
ENTRIES = [entry for entry in json.loads(FILE.read_text("utf-8")) if entry.get("area") == 7]
DATASETS = {
    "Dyestuff": ("dyestuff", "Yield", ("Batch",)),
    "Dyestuff2": ("dyestuff2_boundary", "Yield", ("Batch",)),
    "Pastes": ("pastes", "strength", ("batch", "cask")),
}
CONSTANTS = {
    "d2": chart_constants.d2,
    "d3": chart_constants.d3,
    "c4": chart_constants.c4,
    "D4": chart_constants.upper_range_factor,
    "D3": chart_constants.lower_range_factor,
}
KIND = []


def kind(fits):
    """Register a check for the entries that `fits` says yes to."""

    def register(check):
        KIND.append((fits, check))
        return check

    return register


def find(entry):
    given, expected = set(entry["inputs"]), entry["expected"]
    asked = set(expected) if isinstance(expected, dict) else set()
    return next((check for fits, check in KIND if fits(entry, given, asked)), None)


def close(entry, value):
    """What is compared with an expected number, at the entry's tolerance."""
    tolerance = entry["tolerance"]
    if isinstance(tolerance, str):
        return pytest.approx(value, rel=float(re.fullmatch(r"rel (\S+)", tolerance)[1]))
    return pytest.approx(value, abs=max(float(tolerance), 1e-12))


def a_list(value):
    return value if isinstance(value, list) else [value]


def table(entry):
    """The rows an entry gives, if any, with the columns its key or header names; −, + as ∓1."""
    given = entry["inputs"]
    if "rows" in given:
        frame = pd.DataFrame(given["rows"], columns=given["header"])
    else:
        key, rows = next(
            (
                (k, v)
                for k, v in given.items()
                if isinstance(v, list) and v and isinstance(v[0], list)
            ),
            (None, None),
        )
        if key is None:
            return pd.DataFrame()
        frame = pd.DataFrame(rows, columns=key.removesuffix("_coded").split("_"))
    for column in frame:
        if set(frame[column]) <= {"-", "+"}:
            frame[column] = frame[column].map({"-": -1.0, "+": 1.0})
        else:
            numbers = pd.to_numeric(frame[column], errors="coerce")
            frame[column] = numbers if numbers.notna().all() else frame[column]
    return frame


def outcome_of(frame):
    """The outcome is called y, or stands last."""
    return "y" if "y" in frame else frame.columns[-1]


def sum_of_squares_left(fit):
    return float(fit.variance.loc["residual", "variance"]) * (fit.n - fit.rank)


def term_of(name, factors):
    """The term that an expected coefficient's name stands for: xz, x_z and xx are products."""
    for size in (1, 2):
        for parts in product(factors, repeat=size):
            if name in ("".join(parts), "_".join(parts)):
                one, *other = parts
                return f"I({one}**2)" if other == [one] else ":".join(parts)
    return None


def terms(entry):
    """Expected coefficients and their terms, when the entry asks for a regression."""
    frame = table(entry)
    if frame.empty or "b0" not in entry["expected"]:
        return None
    factors = [column for column in frame if column != outcome_of(frame)]
    return {name: term_of(name, factors) for name in entry["expected"] if name != "b0"}


@kind(lambda entry, given, asked: "b0" in asked and terms(entry) is not None)
def regression(entry):
    frame, expected = table(entry), entry["expected"]
    named = {name: term for name, term in terms(entry).items() if term is not None}
    outcome = outcome_of(frame)
    fit = kit.mixed(frame, f"{outcome} ~ {' + '.join(named.values())}")
    estimate = fit.coefficients["estimate"]
    assert estimate["Intercept"] == close(entry, expected["b0"])
    for name, term in named.items():
        row = term if term in estimate else term.replace("**", " ** ")
        assert estimate[row] == close(entry, expected[name]), name
    left, df = sum_of_squares_left(fit), fit.n - fit.rank
    for name in {"s", "s_res"} - set(named):
        if name in expected:
            assert (left / df) ** 0.5 == close(entry, expected[name])
    if "df" in expected:
        assert df == expected["df"]
    if "R2" in expected:
        whole = sum_of_squares_left(kit.mixed(frame, f"{outcome} ~ 1"))
        assert 1 - left / whole == close(entry, expected["R2"])
    if "SS_pure" in expected:
        settings = [c for c in frame if c != outcome]
        cells = frame.assign(cell=frame.groupby(settings).ngroup())
        pure = sum_of_squares_left(kit.mixed(cells, f"{outcome} ~ C(cell)"))
        assert pure == close(entry, expected["SS_pure"])
        assert left - pure == close(entry, expected["SS_lof"])
    if "se" in expected:  # of the whole factorial, with all its interactions
        factors = [c for c in frame if c != outcome and set(frame[c]) == {-1.0, 1.0}]
        whole = kit.mixed(frame, f"{outcome} ~ {' * '.join(factors)}")
        assert whole.coefficients["se"].tolist() == [close(entry, expected["se"])] * whole.rank


@kind(lambda entry, given, asked: given == {"k"} and not asked)
def rotatable_axis(entry):
    for k, alpha in zip(a_list(entry["inputs"]["k"]), a_list(entry["expected"]), strict=True):
        assert rotatable(k) == close(entry, alpha)


@kind(lambda entry, given, asked: {"mean", "MRbar"} <= asked and "x" in given)
def individuals_chart(entry):
    given, expected = entry["inputs"], entry["expected"]
    chart = control_chart(given["x"])
    # a printed d2 has three decimals, ours all of them: the limits are put on the printed one
    put = chart_constants.d2(2) / given.get("d2", chart_constants.d2(2))
    assert chart.centre == close(entry, expected["mean"])
    assert chart.mean_range == close(entry, expected["MRbar"])
    assert chart.centre + (chart.upper - chart.centre) * put == close(entry, expected["UCL"])
    assert chart.centre + (chart.lower - chart.centre) * put == close(entry, expected["LCL"])


@kind(lambda entry, given, asked: given == {"n"} and asked and asked <= set(CONSTANTS))
def constants(entry):
    for name, values in entry["expected"].items():
        for n, value in zip(a_list(entry["inputs"]["n"]), a_list(values), strict=True):
            found = CONSTANTS[name](n)
            # the third decimal of a printed D4 may be one off: 2.574 for n = 3, exactly 2.57459
            assert found == (
                pytest.approx(value, abs=1e-3) if name == "D4" else close(entry, value)
            )


@kind(lambda entry, given, asked: {"SSB", "SSW"} <= asked and len(table(entry)))
def certified_one_way(entry):
    frame, expected = table(entry), entry["expected"]
    group, y = frame.columns
    between, within = gauge(frame, y, part=group).anova["ss"]
    fit = kit.mixed(frame, f"{y} ~ C({group})")
    assert between == close(entry, expected["SSB"])
    assert within == close(entry, expected["SSW"])
    assert fit.terms["F"].iloc[0] == close(entry, expected["F"])
    assert between / (between + within) == close(entry, expected["R2"])
    assert fit.variance.loc["residual", "sd"] == close(entry, expected["s"])


@kind(lambda entry, given, asked: {"SS_res", "F", "p"} <= asked and len(table(entry).columns) == 2)
def one_way_compared(entry):
    frame, expected = table(entry), entry["expected"]
    by, y = frame.columns
    answer = kit.compare(frame, y, by, line=False)
    assert answer.test["F"] == close(entry, expected["F"])
    assert answer.test["p"] == close(entry, expected["p"])
    between, within = gauge(frame, y, part=by).anova["ss"]
    assert within == close(entry, expected["SS_res"])
    assert between == close(entry, expected[f"SS_{by}"])


@kind(lambda entry, given, asked: "df_res" in asked and "batch" in table(entry))
def split_plot(entry):
    frame, expected = table(entry), entry["expected"]
    whole = next(c for c in frame if f"F_{c}" in expected)
    other = {c: n for n in expected for c in frame if n == f"F_{c}T"}
    fit = kit.mixed(
        frame, f"y ~ {' * '.join(f'C({c})' for c in (whole, *other))}", groups=["batch", whole]
    )
    row = fit.terms.loc[f"C({whole})"]
    assert row["F"] == close(entry, expected[f"F_{whole}"])
    assert [row["num_df"], row["den_df"]] == pytest.approx(expected["df"], rel=1e-6)
    for column, name in other.items():
        assert fit.terms.loc[f"C({column})", "F"] == close(entry, expected[name])
        assert fit.terms.loc[f"C({column})", "den_df"] == pytest.approx(expected["df_res"])
        both = f"F_{whole}_{column}T"
        if both in expected:
            assert fit.terms.loc[f"C({whole}):C({column})", "F"] == close(entry, expected[both])
    printed = len(str(expected["MS_res"]).partition(".")[2])  # four decimals: two digits
    assert round(fit.variance.loc["residual", "variance"], printed) == expected["MS_res"]
    doughs = frame.assign(dough=frame["batch"].astype(str) + frame[whole].astype(str))
    answer = kit.compare(doughs, "y", whole, dough="dough", bake="batch")
    assert answer.unit == "dough"
    assert answer.test["F"] == close(entry, expected[f"F_{whole}"])


@kind(lambda entry, given, asked: entry["inputs"].get("dataset") in DATASETS)
def random_groups(entry):
    file, y, groups = DATASETS[entry["inputs"]["dataset"]]
    case = Path(__file__).parents[1] / "reference" / "mixed" / f"{file}.json"
    frame = pd.DataFrame(json.loads(case.read_text("utf-8"))["data"])
    bake, dough = (None, *groups)[-2:]
    found = steadiness(frame, y, dough=dough, bake=bake)
    inner = "_in_".join(reversed([g.lower() for g in groups]))
    size = {
        "var_res": found.of("piece")["variance"],
        f"var_{inner}": found.of("dough")["variance"],
        "mean": found.fit.coefficients.loc["Intercept", "estimate"],
        "se_mean": found.fit.coefficients.loc["Intercept", "se"],
    }
    if bake is not None:
        size[f"var_{bake}"] = found.of("bake")["variance"]
    for name, value in entry["expected"].items():
        assert size[name] == close(entry, value), name


@kind(lambda entry, given, asked: {"MS_part", "MS_rep"} <= asked and len(table(entry)))
def gauge_study(entry):
    frame, expected = table(entry), entry["expected"]
    part, oper, y = frame.columns
    found = gauge(frame, y, part, oper)
    rows = {"MS_part": part, "MS_oper": oper, "MS_int": f"{part} × {oper}", "MS_rep": "repeat"}
    for name, row in rows.items():
        assert found.anova.loc[row, "ms"] == close(entry, expected[name]), name
    assert found.repeat["sd"] == close(entry, expected["s_repeat"])
    assert found.repeat["limit"] == close(entry, LIMIT * expected["s_repeat"])
    share = found.components.set_index("component")
    assert share.loc[oper, "variance"] == pytest.approx(
        expected["reml_var_oper"], rel=1e-4, abs=1e-12
    )


@kind(lambda entry, given, asked: {"MS_res", "F_row", "F_col"} <= asked and len(table(entry)))
def latin_square(entry):
    frame, expected = table(entry), entry["expected"]
    *factors, y = frame.columns
    fit = kit.mixed(frame, f"{y} ~ {' + '.join(f'C({f})' for f in factors)}")
    for factor in factors:
        assert fit.terms.loc[f"C({factor})", "F"] == close(entry, expected[f"F_{factor}"])
    assert fit.variance.loc["residual", "variance"] == close(entry, expected["MS_res"])
    frame = frame.rename(columns={"diff": "outcome"})
    settings = next(f for f in factors if f not in ("row", "col"))
    answer = kit.compare(frame, "outcome", settings, adjust=["row", "col"])
    assert answer.test["F"] == close(entry, expected[f"F_{settings}"])


@pytest.mark.parametrize("entry", ENTRIES, ids=[entry["id"] for entry in ENTRIES])
def test_entry(entry):
    check = find(entry)
    if check is None:
        pytest.skip(f"not recognised: {entry['quantity']}")
    check(entry)


def test_every_own_entry_is_recognised():
    if FILE != OWN:
        pytest.skip("another file of entries is being run")
    assert len(ENTRIES) == 14
    assert [entry["id"] for entry in ENTRIES if find(entry) is None] == []

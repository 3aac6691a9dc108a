"""False alarms and coverage over the designs bakers run, by simulation with known truth.

Point of comparison: the rates of five ways to analyse such trials in
`tests/reference/simulation_type1.json` and `simulation_nobound.json` (computed in R), among them
25 to 69 % false alarms when pieces are taken as independent.

Every test is seeded, so it passes or fails for good; the chance stated is that of a false
failure had another seed been taken, the true rate being 5 %.
"""

import itertools
import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from simulate import Layout, Simulator, bakes, doughs

ROOT = Path(__file__).parents[2]
SHARES = (0.0, 0.1, 0.5)  # of the variance that lies between doughs
DESIGNS = [
    (per_setting, share, uneven)
    for per_setting in (2, 3, 4, 8)
    for share in SHARES
    for uneven in (False, True)
]


def run(layout, sds, sd_piece, trials, seed, floored=False):
    """Rates: F test, any pair (Tukey) not zero, interval covers, pieces alone."""
    simulator = Simulator(layout, seed)
    y = simulator.draw(sds, sd_piece, trials)
    f, pair, covers = simulator.answers(y, floored)
    rates = {"f": f < 0.05, "pair": pair < 0.05, "covers": covers}
    rates["pieces"] = simulator.pieces_alone(y) < 0.05
    return {name: float(np.mean(found)) for name, found in rates.items()}


def demo_layout():
    """The demo trial: four malts, two or three doughs a bake, loads that cross the doughs."""
    frame = pd.read_csv(ROOT / "datasets" / "demo" / "pieces.csv")
    layout = pd.DataFrame(
        {
            "setting": frame["malt_percent"].rank(method="dense").astype(int) - 1,
            "bake": frame["bake"] - 1,
            "dough": frame["dough"].factorize()[0],
            "load": frame.groupby(["bake", "load"]).ngroup(),
        }
    )
    return Layout(layout, ("bake", "dough", "load"), "bake")


@pytest.mark.parametrize(("per_setting", "share", "uneven"), [(2, 0.0, True), (2, 0.1, False)])
def test_free_components_keep_the_level_where_floored_ones_do_not(per_setting, share, uneven):
    """600 trials: the standard error at 5 % is 0.9 %, false failure below 1 in 500."""
    layout = doughs(3, per_setting, 6, uneven)
    sds, sd_piece = [share**0.5], (1 - share) ** 0.5
    free = run(layout, sds, sd_piece, 600, seed=1)
    floored = run(layout, sds, sd_piece, 600, seed=1, floored=True)
    assert 0.024 < free["f"] < 0.078
    assert 0.024 < free["pair"] < 0.078
    assert 0.922 < free["covers"] < 0.976
    assert floored["f"] < 0.01  # far too careful: almost no difference is ever found
    assert free["pieces"] > 0.04


def test_pieces_taken_as_independent_alarm_falsely_all_the_time():
    """600 trials; the true rate is about 45 %, false failure below 1 in 10 000."""
    layout = doughs(3, 4, 6)
    rates = run(layout, [0.5**0.5], 0.5**0.5, 600, seed=2)
    assert rates["pieces"] > 0.35
    assert 0.024 < rates["f"] < 0.078


@pytest.mark.parametrize(
    "case",
    json.loads((ROOT / "tests/reference/simulation_nobound.json").read_text()),
    ids=lambda c: f"{c['design']} {c['icc']}",
)
def test_same_rates_as_the_r_simulation(case):
    """The balanced layouts of the R study: 500 trials, difference within 3.5 standard errors of
    both together (false failure below 1 in 2000 each)."""
    if "x" not in case["design"]:
        return  # its unbalanced layout is not given
    settings, per_setting, pieces = map(int, case["design"].split("x"))
    share = case["icc"]
    layout = doughs(settings, per_setting, pieces)
    for floored, rate in ((False, case["kr_nobound"]), (True, case["kr_bound"])):
        got = run(layout, [share**0.5], (1 - share) ** 0.5, 500, 3, floored)["f"]
        error = np.sqrt(case["se"] ** 2 + max(rate, 0.01) * (1 - rate) / 500)
        assert abs(got - rate) < 3.5 * error, (floored, got, rate)


@pytest.mark.long
@pytest.mark.parametrize(("per_setting", "share", "uneven"), DESIGNS)
def test_answers_keep_their_level_in_every_design(per_setting, share, uneven):
    """3000 trials: the standard error at 5 % is 0.4 %, false failure below 1 in 5000 each."""
    layout = doughs(3, per_setting, 6, uneven)
    rates = run(
        layout,
        [share**0.5],
        (1 - share) ** 0.5,
        3000,
        seed=DESIGNS.index((per_setting, share, uneven)),
    )
    print(f"{per_setting} doughs a setting, share {share}, uneven {uneven}: {rates}")
    assert 0.035 <= rates["f"] <= 0.065
    assert 0.035 <= rates["pair"] <= 0.065
    assert 0.935 <= rates["covers"] <= 0.965


@pytest.mark.long
@pytest.mark.parametrize("share", SHARES)
@pytest.mark.parametrize("days", [2, 3, 4])
def test_level_with_every_setting_in_every_bake(days, share):
    """As above; bakes differ by half the pieces' standard deviation."""
    rates = run(bakes(3, days, 6), [0.5, share**0.5], (1 - share) ** 0.5, 3000, seed=100 + days)
    print(f"{days} bakes, share {share}: {rates}")
    assert 0.035 <= rates["f"] <= 0.065
    assert 0.035 <= rates["pair"] <= 0.065
    assert 0.935 <= rates["covers"] <= 0.965


@pytest.mark.long
@pytest.mark.parametrize("share", SHARES)
def test_level_on_the_demo_layout_with_crossed_loads(share):
    """Bake, dough and load random, incomplete and crossed: 2000 trials, standard error 0.5 %."""
    layout = demo_layout()
    rates = run(layout, [0.5, share**0.5, 0.2], (1 - share) ** 0.5, 2000, seed=200)
    print(f"demo layout, share {share}: {rates}")
    assert 0.03 <= rates["f"] <= 0.07
    assert 0.03 <= rates["pair"] <= 0.07
    assert 0.93 <= rates["covers"] <= 0.97


@pytest.mark.long
@pytest.mark.parametrize("bake_sd", [0.0, 0.5])
@pytest.mark.parametrize("settings", [3, 4])
def test_level_with_bakes_that_hold_two_of_the_settings(settings, bake_sd):
    """Balanced incomplete blocks, six bakes of two doughs: 2000 trials, standard error 0.5 %."""
    pairs = list(itertools.combinations(range(settings), 2)) * (2 if settings == 3 else 1)
    rows = [
        (setting, bake, 2 * bake + i)
        for bake, pair in enumerate(pairs)
        for i, setting in enumerate(pair)
        for _ in range(6)
    ]
    layout = Layout(
        pd.DataFrame(rows, columns=["setting", "bake", "dough"]), ("bake", "dough"), "bake"
    )
    rates = run(layout, [bake_sd, 0.5], 1.0, 2000, seed=300 + settings)
    print(f"bakes of two, {settings} settings, bake sd {bake_sd}: {rates}")
    assert 0.03 <= rates["f"] <= 0.07
    assert 0.03 <= rates["pair"] <= 0.07
    assert 0.93 <= rates["covers"] <= 0.97

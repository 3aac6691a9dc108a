"""Power: closed forms against published tables and other programs, and against simulation.

`power_reference.json` is a copy of the project's reference (closed forms checked there in R by
simulation). Simulations are seeded; the chance of a false failure with another seed is stated.
"""

import json
import math
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from statsmodels.stats.power import FTestAnovaPower, TTestIndPower, TTestPower

from kit.analysis.compare import compare
from kit.analysis.grouping.mixing import TAKEN_ALIKE
from kit.analysis.mixed import mixed
from kit.analysis.model.kenward_roger import single_df
from kit.analysis.steadiness import steadiness
from kit.analysis.verdict import Answer
from kit.errors import DataError, DesignError, InputError, NotFoundError
from kit.plan.design import design
from kit.plan.factors import Factor
from kit.plan.kitchen import Kitchen
from kit.plan.noticing.exact import Exact, critical
from kit.plan.noticing.rehearsal import Sds, rehearse
from kit.plan.power import _trials, power
from kit.plan.spread import Spread
from kit.plan.timetable.proofing import doubling

REFERENCE = json.loads((Path(__file__).parent / "power_reference.json").read_text())
SD = {"sd_dough": 1.0, "sd_piece": 1.5}
MALT = Factor.between("malt_percent", 0, 1.2)
MALT2 = Factor("malt_percent", (0, 1))
HYDRATION = Factor("hydration_percent", (65, 80))
SIDE = Factor("side_minutes", (5, 6))
RATIO = Factor("proof_ratio", (1.5, 2, 2.5))


# ---- closed forms


@pytest.mark.parametrize("case", REFERENCE["checks"])
def test_reference_power(case):
    found = power(
        doughs=case["batches_per_level"],
        pieces=case["pieces"],
        sd_dough=case["sd_batch"],
        sd_piece=case["sd_piece"],
        effects=case["tau"],
    )
    assert found.chance == pytest.approx(case["closed_F"], abs=1e-9)
    if "closed_t" in case:
        assert found.chance_of(case["tau"][1]) == pytest.approx(case["closed_t"], abs=1e-9)
    # and the engine's simulation beside it; four standard errors. The floored estimate of the
    # 2 x 2 case is too careful (reference README 2), so its analysis of means is taken
    simulated = case["sim_means"]
    assert abs(found.chance - simulated) < 4 * case["sim_se"]


@pytest.mark.parametrize("case", REFERENCE["table_two_levels_80"])
def test_reference_doughs_needed(case):
    sd_piece = math.sqrt((1 - case["icc"]) / case["icc"])
    asked = {"pieces": case["pieces"], "sd_dough": 1.0, "sd_piece": sd_piece}
    asked["matters"] = case["delta_in_sd_batch"]
    enough = case["batches_needed_80"]
    assert power(doughs=enough, **asked).chance >= 0.8
    assert enough == 2 or power(doughs=enough - 1, **asked).chance < 0.8


@pytest.mark.parametrize(
    ("doughs", "published"),
    # needs of bakers, "what the numbers say": 3, 6, 12, 24 pieces; SDs 1.0 and 1.5 mm
    [
        (2, (7.5, 6.6, 6.2, 5.9)), (3, (4.1, 3.6, 3.4, 3.2)), (4, (3.2, 2.8, 2.6, 2.5)),
        (6, (2.4, 2.1, 2.0, 1.9)), (8, (2.0, 1.8, 1.6, 1.6)),
    ],
)  # fmt: skip
def test_smallest_differences_of_the_table(doughs, published):
    found = [power(doughs=doughs, pieces=m, **SD).smallest for m in (3, 6, 12, 24)]
    assert found == pytest.approx(published, abs=0.06)


def test_a_factor_inside_the_dough():
    # the same page: side time, 3 v 3 a load, 4 loads: 1.8 mm
    assert power(doughs=4, decided="piece", **SD).smallest == pytest.approx(1.8, abs=0.05)


@pytest.mark.parametrize("doughs", [2, 3, 6, 12])
@pytest.mark.parametrize("difference", [0.5, 2.0, 4.0])
def test_statsmodels_agrees_on_dough_means(doughs, difference):
    sd = math.sqrt(1.0 + 1.5**2 / 6)
    found = power(doughs=doughs, pieces=6, **SD)
    oracle = TTestIndPower().power(difference / sd, doughs, 0.05, ratio=1)
    assert found.chance_of(difference) == pytest.approx(oracle, abs=1e-9)
    means = [0.0, difference, difference / 3]
    whole = power(doughs=doughs, pieces=6, effects=means, **SD)
    effect = np.std(means) / sd
    oracle = FTestAnovaPower().power(effect, 3 * doughs, 0.05, k_groups=3)
    assert whole.chance == pytest.approx(oracle, abs=1e-9)


def test_bakes_cancel():
    one = power(bakes=5, sd_bake=0.0, **SD)
    two = power(bakes=5, sd_bake=50.0, **SD)
    assert one.smallest == two.smallest
    assert (one.df, power(bakes=5, settings=4, **SD).df) == (4, 12)  # (settings-1)(bakes-1)


@pytest.mark.parametrize("df", [1, 2, 4, 30])
@pytest.mark.parametrize("settings", [2, 4])
def test_chance_by_quadrature(df, settings):
    limit = critical(0.95, df, settings)
    curve = Exact(1.0, df, limit, settings)
    s = np.sqrt(stats.chi2.ppf((np.arange(20000) + 0.5) / 20000, df) / df)
    for away in (0.0, 1.0, 3.0, 10.0, 30.0, 100.0, 1e6):
        expected = np.mean(stats.norm.cdf(away - limit * s) + stats.norm.cdf(-away - limit * s))
        assert curve.chance(away) == pytest.approx(expected, abs=2e-4)


@pytest.mark.parametrize(("settings", "matters"), [(2, 2.0), (3, 2.8), (5, 3.5)])
def test_alike_by_simulation(settings, matters):
    """Of all pairs at once, as the answer says it. 20 000 draws: standard error 0.0035."""
    rng = np.random.default_rng(3)
    curve = Exact(0.7, 8, critical(0.95, 8, settings), settings)
    furthest = np.ptp(rng.normal(0, 0.7 / np.sqrt(2), (settings, 20_000)), axis=0)
    half = curve.critical * 0.7 * np.sqrt(rng.chisquare(8, 20_000) / 8)
    said = np.mean(furthest + half < matters)
    assert 0.1 < said < 0.9
    assert curve.alike(matters) == pytest.approx(said, abs=0.014)


def test_alike_of_several_settings_is_of_all_their_pairs():
    """Three settings in four bakes: simulated trials of the plan and the closed form agree."""
    plan = design([Factor("malt_percent", (0, 1, 2))], Kitchen(bakes=4, tubs=3))
    known = power(plan, "malt_percent", matters=3.0, **SD)
    drawn = power(plan, "malt_percent", matters=3.0, simulate=2000, **SD)
    assert known.trials == 0
    assert drawn.alike == pytest.approx(known.alike, abs=4 * (0.25 / 2000) ** 0.5)
    assert known.alike < Exact(known.se, known.df, known._curve.critical, 2).alike(3.0) - 0.05


def test_chance_at_the_smallest_is_the_wanted_one():
    for wanted in (0.5, 0.8, 0.9):
        found = power(bakes=4, chance=wanted, **SD)
        assert found.chance_of(found.smallest) == pytest.approx(wanted, abs=1e-9)
        assert found.smallest_at(wanted) == pytest.approx(found.smallest)


def test_more_pieces_do_not_replace_more_doughs():
    # six to twelve pieces buy 7 %, four to eight doughs a setting 37 % (the page above)
    four = power(doughs=4, pieces=6, **SD).smallest
    assert power(doughs=4, pieces=12, **SD).smallest / four == pytest.approx(0.93, abs=0.01)
    assert power(doughs=8, pieces=6, **SD).smallest / four == pytest.approx(0.63, abs=0.01)
    table = power(bakes=5, **SD).doughs_against_pieces()
    wide = table.pivot_table(index="bakes", columns="pieces", values="smallest")
    assert (wide.diff(axis=0).dropna() < 0).all(axis=None)
    assert (wide.diff(axis=1).dropna(axis=1) < 0).all(axis=None)
    assert wide.loc[5, 6] == pytest.approx(power(bakes=5, pieces=6, **SD).smallest)


def test_the_picture_of_a_plan_of_two_factors_is_that_of_the_plan():
    """Each setting stands in two doughs of every bake, so the lines must count them, too."""
    spread = Spread(1.0, 1.5)
    factors = [Factor("malt_percent", (0, 1)), Factor("salt_percent", (1.2, 1.8))]
    plan = design(factors, Kitchen(bakes=6, tubs=4), spread=spread)
    found = power(plan, "malt_percent", spread=spread)
    table = found.doughs_against_pieces(pieces=(6,), bakes=(6,))
    assert table["doughs_in_all"].tolist() == [24]
    # it loses two degrees of freedom to the other factor and to the two together
    assert table["smallest"][0] == pytest.approx(found.smallest, rel=0.05)


# ---- plans against the same plans refitted

K = 400
#: plan, factor, and whether a closed form holds
PLANS = {
    "every setting in every bake": (design([MALT2], Kitchen(4, 2, 3, 6)), "malt_percent", True),
    "side time inside the dough": (
        design([MALT2, SIDE], Kitchen(3, 2, 4, 8)), "side_minutes", True,
    ),
    "malt, loads crossing doughs": (
        design([MALT2, SIDE], Kitchen(3, 2, 4, 4)), "malt_percent", True,
    ),
    "incomplete blocks": (
        design([Factor("malt_percent", (0, 0.5, 1))], Kitchen(6, 2, 2, 4)), "malt_percent", False,
    ),
    "four doses": (design([MALT], Kitchen(3, 4, 2, 8)), "malt_percent", True),
    "half of a factorial": (
        design([MALT2, HYDRATION, Factor("salt_percent", (1.5, 2))], Kitchen(2, 4, 2, 8)),
        "hydration_percent", True,
    ),
}  # fmt: skip


def told_against_refitted(name, trials):
    """Chances as told, as refitted by the engine with another seed, and the error of both."""
    plan, of, closed = PLANS[name]
    asked = {"sd_bake": 1.0, **SD}
    assert (power(plan, of, stop=lambda: True, **asked).trials == 0) == closed
    told = power(plan, of, simulate=0 if closed else trials, seed=12, **asked)
    refitted = power(plan, of, simulate=trials, seed=11, **asked)
    assert refitted.trials == trials
    for difference in (told.smallest, told.smallest_at(0.5)):
        chance = told.chance_of(difference)
        error = math.sqrt(chance * (1 - chance) / trials * (1 if closed else 2))
        yield chance, refitted.chance_of(difference), error


@pytest.mark.parametrize("name", PLANS)
def test_plans_refitted(name):
    """Six designs, 400 trials refitted by the engine each.

    Within 3.5 standard errors (chance of a false failure 0.05 % each).
    """
    for told, refitted, error in told_against_refitted(name, K):
        assert abs(told - refitted) < 3.5 * error


@pytest.mark.long
@pytest.mark.parametrize("name", PLANS)
def test_plans_refitted_at_length(name):
    """The same with 10⁴ trials."""
    for told, refitted, error in told_against_refitted(name, 10_000):
        assert abs(told - refitted) < 3.5 * error


def test_analysis_of_variance_by_hand_agrees():
    """Every setting in every bake, paired means in numpy: no part of the engine.

    20 000 trials: 4 standard errors are 0.013 (chance of a false failure 6e-5).
    """
    rng = np.random.default_rng(8)
    n, bakes, pieces, difference = 20_000, 5, 6, 2.5
    means = rng.normal(0, math.hypot(1.0, 1.5 / math.sqrt(pieces)), (n, bakes, 2))
    means += rng.normal(0, 3.0, (n, bakes, 1))
    apart = means[:, :, 1] - means[:, :, 0] + difference
    t = apart.mean(axis=1) / (apart.std(axis=1, ddof=1) / math.sqrt(bakes))
    share = np.mean(np.abs(t) > stats.t.ppf(0.975, bakes - 1))
    assert power(bakes=5, **SD).chance_of(difference) == pytest.approx(share, abs=0.013)


def test_a_plan_gives_the_same_as_its_numbers():
    plan = design([MALT], Kitchen(5, 4, 4))
    by_plan = power(plan, simulate=0, **SD)
    by_number = power(bakes=5, settings=4, pieces=4, **SD)
    assert by_plan.smallest == pytest.approx(by_number.smallest, rel=1e-6)
    assert by_plan.df == pytest.approx(12)
    assert by_plan.unit == "dough"


def test_the_rehearsal_fits_what_the_engine_fits():
    """One made-up outcome: estimate, standard error and df as `kit.mixed` gives them."""
    plan = design([MALT, SIDE], Kitchen(3, 4, 6))
    runs = plan.runs
    seen = rehearse(runs, "malt_percent", ["side_minutes"])
    y = seen._draw(Sds(1, 1, 0, 1.5), 1, np.random.default_rng(2))
    q, r = np.linalg.qr(seen.x)
    fit = seen._fits(q, y)[0][0]
    row = np.linalg.solve(r.T, seen.contrasts[0])
    frame = runs.assign(y=y[:, 0])
    whole = mixed(
        frame, "y ~ C(malt_percent) + C(side_minutes)", ["bake", "dough", "load"],
        structure="within-first",
    ).contrasts("malt_percent").iloc[0]  # fmt: skip
    assert seen.names[0] == (whole["level"], whole["versus"])
    assert row @ fit.beta == pytest.approx(whole["difference"], rel=1e-6)
    assert np.sqrt(row @ fit.phi_adjusted @ row) == pytest.approx(whole["se"], rel=1e-5)
    assert single_df(fit, row) == pytest.approx(whole["df"], rel=1e-4)


def test_unbalanced_plans_are_simulated_without_being_asked():
    plan = design([MALT2], Kitchen(3, 3, 2), kind="blocks")
    runs = plan.runs.drop(plan.runs.index[plan.runs["dough"].isin(["1A"])][1:])
    runs = runs[runs["dough"] != "2B"]
    from dataclasses import replace

    lost = replace(plan, runs=runs.reset_index(drop=True))
    told = []
    found = power(
        lost, sd_dough=0.5, sd_piece=3.0, progress=lambda *x: told.append(x),
        stop=lambda: len(told) >= 1,
    )  # fmt: skip
    assert found.trials == 100
    assert told == [(100, 1000)]
    assert found.error == pytest.approx(math.sqrt(0.8 * 0.2 / 100))
    assert "100 simulated trials refitted by REML" in found.method
    assert "Monte-Carlo standard error 4.0 points" in found.method


def test_large_plans_are_simulated_less_often():
    assert [_trials(n) for n in (72, 387, 558, 2000)] == [1000, 1000, 481, 100]


def test_sixty_pieces_a_dough():
    """Typed for 6; the closed form by hand."""
    plan = design(
        [MALT2, Factor("retard_hours", (24, 48))], Kitchen(5, tubs=4, pieces_per_dough=60)
    )
    found = power(plan, sd_dough=1.0, sd_piece=1.2)
    assert found.se == pytest.approx(math.sqrt(2 * (1 + 1.2**2 / 60) / 10))
    assert found.df == pytest.approx(20 - 10 - 1)  # 10 mixings, malt within them


@pytest.mark.parametrize(("of", "factor"), [("malt_percent", MALT), ("proof_ratio", RATIO)])
def test_what_a_piece_counts_needs_no_matrix_of_all_pieces(of, factor):
    """Generalised least squares with the whole covariance matrix, written out here."""
    plan = design([factor], Kitchen(3, 3, 7))
    runs = plan.runs.drop(plan.runs.index[[0, 5, 17, 40]]).reset_index(drop=True)
    seen = rehearse(runs, of, [])
    sds = Sds(2.0, 1.0, 0.7, 1.5)
    v = np.eye(len(runs)) * 1.5**2
    for name, group in seen.groups.items():
        v += sds.of(name, seen.alone) ** 2 * (group[:, None] == group)
    inverse = np.linalg.inv(v)
    whole = seen.contrasts @ np.linalg.inv(seen.x.T @ inverse @ seen.x) @ seen.x.T @ inverse
    weights, pieces = seen.weights(sds)
    assert pieces.sum() == len(runs)
    assert weights**2 @ pieces == pytest.approx((whole**2).sum(axis=1), rel=1e-9)
    assert np.sqrt(np.einsum("ci,ij,cj->c", whole, v, whole)) == pytest.approx(seen.known(sds).se)


def test_more_pieces_than_any_kitchen_makes_are_refused_at_once():
    with pytest.raises(InputError, match="pieces is 2400: must be at most 2000 in all"):
        Kitchen(5, 8, 60)
    plan = design([MALT2], Kitchen(5, 8, 50))
    plan = replace(plan, runs=pd.concat([plan.runs, plan.runs[:400]]))
    with pytest.raises(DesignError) as refused:
        power(plan, **SD)
    assert str(refused.value) == (
        "2400 pieces are more than can be worked out: up to 2000 in all, such as 20 doughs of "
        "100, which is more than any kitchen bakes for one question. Look at the pieces a dough "
        "and the doughs a bake again."
    )


def test_nothing_left_to_judge_by_is_refused():
    with pytest.raises(DesignError, match="2 readings to find 2 numbers by: nothing is left over"):
        power(design([SIDE], Kitchen(1, 1, 2)), simulate=0, **SD)


def test_the_pair_compared_worst_is_told():
    seven = Factor("malt_percent", [i / 5 for i in range(7)])
    uneven = power(design([seven], Kitchen(6, 3)), simulate=0, **SD)
    assert uneven.checks[0] == (
        "not all settings are compared equally well in this plan; what is said is for the two "
        "that are compared worst"
    )
    even = power(design([seven], Kitchen(7, 3)), simulate=0, **SD)
    assert even.checks == ()
    assert "an approximation for this plan" in even.method


def test_a_curve_is_judged_along_its_line():
    plan = design([MALT2, HYDRATION], Kitchen(3, 4), kind="composite")
    found = power(plan, simulate=0, **SD)
    assert found.line
    assert "between the two ends of the line" in found.headline


# ---- words


def test_what_is_said():
    found = power(bakes=5, outcome="rise_height_mm", matters=2.0, **SD)
    assert found.sentences == [
        "With 5 bakes (10 doughs of 6 pieces), you will notice a difference of 2.8 mm between "
        "the two settings four times in five.",
        "A difference of 2 mm, which matters to you, is noticed 53 % of the time. To be "
        "noticed is to be told from none: that it surely reaches 2 mm can be said four times in "
        "five only of a difference of 4.8 mm or more. If the settings do not differ at all, the "
        "bakes will be able to say so (less than 2 mm) 28 % of the time.",
        "Twice as many pieces a dough would bring it to 2.6 mm, twice as many bakes to 1.7 mm.",
        "All this holds if the spread is as stated: 1.0 mm from dough to dough and 1.5 mm from "
        "piece to piece.",
    ]
    assert found.method == (
        "For the statistician: 95 % interval by Student's t, 4 degrees of freedom, SE of a "
        "difference 0.74; noncentral t, exact for this balanced plan. Spread of height (stated): "
        "1.0 mm from dough to dough and 1.5 mm from piece to piece."
    )
    twice = power(bakes=10, outcome="rise_height_mm", **SD).smallest
    assert f"{twice:.1f}" == "1.7"  # as promised


def answers(true, count, seed):
    """What `kit.compare` says of trials of 8 bakes with this true difference; 1.5 mm matters."""
    said = []
    for i in range(count):
        rng = np.random.default_rng([seed, i])
        rows = [
            (b, f"{b}{s}", s, height + rng.normal(0, 1.2))
            for b, day in enumerate(rng.normal(0, 1, 8))
            for s in (0, 1)
            for height in np.repeat(30 + day + true * s + rng.normal(0, 0.8), 8)
        ]
        frame = pd.DataFrame(rows, columns=["bake", "dough", "malt", "height"])
        found = compare(frame, "height", "malt", dough="dough", bake="bake", matters=1.5)
        said.append(found.answer)
    return np.array(said)


@pytest.mark.long
def test_what_can_be_said_surely_is_larger_than_what_is_noticed():
    """400 trials a row (standard error 2 % at 80 %): chances of the very answers of the kit."""
    plan = power(
        bakes=8, pieces=8, sd_dough=0.8, sd_piece=1.2, outcome="rise_height_mm", matters=1.5
    )
    for true, least, most in ((1.5, 0.0, 0.05), (plan.surely, 0.74, 0.86)):
        share = np.mean(answers(true, 400, 717) == Answer.MATTERS)
        print(f"truly {true:.2f} mm: “a difference that matters” {100 * share:.1f} %")
        assert least <= share <= most


def test_few_and_many_are_remarked():
    assert power(bakes=2, **SD).checks == (
        "the spread from dough to dough will be judged by 1 degree of freedom only (comparisons "
        "left over to see the spread by); one more bake helps more than anything else",
    )
    assert ", 1 degree of freedom, SE" in power(bakes=2, **SD).method
    plan = design([Factor("malt_percent", (0, 1))], Kitchen(2, 2))
    assert "1 degree of freedom only" in plan.checks[0]
    assert power(plan, **SD).checks == ()  # the plan said it
    assert "freedom only" in power(plan, line=True, **SD).checks[0]  # but not of a line
    uneven = design([Factor("retard_hours", (16, 24, 48))], Kitchen(3, 2, 5), seed=1)
    found = power(uneven, line=True, simulate=0, **SD)
    assert found.df > 3  # counting what is told between bakes; its units leave over two
    assert any("will be judged by 2 degrees of freedom only" in check for check in found.checks)
    assert power(bakes=13, settings=2, **SD).checks == (
        "26 doughs are more than a home series usually gets done (some 12 to 24; experience, no "
        "source)",
    )


def test_so_many_bakes_are_needed_for_what_matters():
    assert power(bakes=8, matters=2.0, **SD).chance >= 0.8
    assert power(bakes=7, matters=2.0, **SD).chance < 0.8


def test_faces():
    found = power(bakes=5, settings=4, matters=2.0, outcome="rise_height_mm", **SD)
    assert repr(found) == "<Power settings: 2.88 noticed with chance 0.8; 20 doughs of 6>"
    assert str(found).startswith("With 5 bakes (20 doughs of 6 pieces)")
    assert list(found.to_frame()["what"]) == ["smallest", "chance", "surely", "alike"]
    assert found._repr_html_().startswith("<p><strong>With 5 bakes")
    ax = found.plot()
    table = found.doughs_against_pieces()
    drawn = {line.get_label(): line for line in ax.get_lines()}
    six = table[table["pieces"] == 6].set_index("bakes")["smallest"]
    for x, y in zip(*drawn["6 pieces a dough"].get_data(), strict=True):
        if x in six.index:
            assert y == pytest.approx(six[x])
    assert drawn["this plan"].get_data()[0] == [5]
    assert found.chance_of(2.0) == pytest.approx(found.chance)


@pytest.mark.parametrize(
    ("asked", "kind", "message"),
    [
        (
            {"bakes": 5, "sd_dough": 1.0}, InputError,
            "sd_piece is None: must be given, or spread. Take it from a noise bake "
            "(Spread.from_bakes), or state a guess.",
        ),
        (
            {"bakes": 5, "sd_dough": -1.0, "sd_piece": 1.0}, InputError,
            "sd_dough is -1: must be a number, 0 or more.",
        ),
        (
            {"bakes": 5, "sd_dough": 0.0, "sd_piece": 0.0}, InputError,
            "sd_piece is 0: must be above 0 when sd_dough is 0. Without any spread the smallest "
            "difference is seen at once.",
        ),
        (
            {"bakes": 5, "decided": "piece", "sd_dough": 1.0, "sd_piece": 0.0}, InputError,
            "sd_piece is 0: must be above 0 inside doughs. Without any spread the smallest "
            "difference is seen at once.",
        ),
        (
            {"bakes": 1, **SD}, DesignError,
            "2 doughs for 2 settings leave nothing over to judge the dough-to-dough spread by (0 "
            "degrees of freedom): bake on at least two bakes.",
        ),
        (
            {**SD}, DesignError,
            "2 doughs for 2 settings leave nothing over to judge the dough-to-dough spread by (0 "
            "degrees of freedom): mix each setting at least twice.",
        ),
        (
            {"decided": "piece", "pieces": 2, **SD}, DesignError,
            "1 doughs for 2 settings leave nothing over to judge the piece-to-piece spread by (0 "
            "degrees of freedom): more pieces a dough, or more doughs.",
        ),
        (
            {"bakes": 2.5, **SD}, InputError,
            "bakes is 2.5: must be a whole number, 1 or more.",
        ),
        (
            {"bakes": 5, "settings": 1, **SD}, InputError,
            "settings is 1: must be a whole number, 2 or more.",
        ),
        (
            {"bakes": 5, "matters": 0, **SD}, InputError,
            "matters is 0: must be above 0. Give the smallest difference you care about.",
        ),
        (
            {"bakes": 5, "chance": 1.2, **SD}, InputError,
            "chance is 1.2: must lie between 0 and 1.",
        ),
        (
            {"bakes": 5, "chance": 0.04, **SD}, InputError,
            "chance is 0.04: must be above alpha, which is 0.05.",
        ),
        (
            {"plan": design([], Kitchen(2, 4)), **SD}, DesignError,
            "a noise bake has no settings to tell apart; it is there to learn the spread "
            "(Spread.from_bakes), which power() then needs.",
        ),
        (
            {"plan": design([MALT2], Kitchen(3, 2)), "of": "malt", **SD}, NotFoundError,
            "no factor 'malt'. There are: 'malt_percent'.",
        ),
        (
            {"plan": design([MALT], Kitchen(1, 4)), **SD}, DesignError,
            "each setting of diastatic malt was mixed once (4 doughs): no number of pieces can "
            "tell the setting from the dough. Mix each setting in at least one more dough, best "
            "on another bake.",
        ),
        (
            {"bakes": 5, "spread": Spread(1, 1), "sd_dough": 1.0}, InputError,
            "spread is <Spread dough 1, piece 1, bake 0: stated>: goes without sd_dough and "
            "sd_piece.",
        ),
    ],
)  # fmt: skip
def test_nonsense(asked, kind, message):
    with pytest.raises(kind) as refused:
        power(**asked)
    assert str(refused.value) == message


# ---- the spread of earlier bakes


def noise(seed, bakes=2, doughs=4, pieces=6, sds=(2.0, 1.0, 1.5)):
    rng = np.random.default_rng(seed)
    runs = design([], Kitchen(bakes, doughs, pieces)).runs
    y = 30 + rng.normal(0, sds[2], len(runs))
    y += rng.normal(0, sds[1], 99)[runs.groupby(["bake", "dough"]).ngroup()]
    y += rng.normal(0, sds[0], 9)[runs["bake"] - 1]
    return runs.assign(rise_height_mm=y)


def test_spread_is_the_mixed_models():
    frame = noise(3)
    spread = Spread.from_bakes(frame, "rise_height_mm")
    fit = mixed(frame, "rise_height_mm ~ 1", ["bake", "dough"])
    assert [spread.bake, spread.dough, spread.piece] == pytest.approx(list(fit.variance["sd"]))
    # balanced: pieces are known from 8·5 degrees of freedom, doughs' means from 2·3
    assert spread.freedom((0, 0, 1)) == pytest.approx(40)
    assert spread.freedom((0, 1, 1 / 6)) == pytest.approx(6)


def test_its_uncertainty_becomes_a_range():
    spread = Spread.from_bakes(noise(3), "rise_height_mm")
    found = power(bakes=5, spread=spread, matters=2.0)
    low, high = found.smallest_range
    assert low / found.smallest == pytest.approx(math.sqrt(6 / stats.chi2.ppf(0.9, 6)))
    assert high / found.smallest == pytest.approx(math.sqrt(6 / stats.chi2.ppf(0.1, 6)))
    assert found.chance_range[0] < found.chance < found.chance_range[1]
    assert found.sentences[1].startswith(
        "The spread is known only from 8 doughs on 2 bakes, so that may"
    )
    assert found.sentences[1].endswith(" (one time in five even beyond).")  # the range is 80 %


def test_the_range_holds_the_truth_four_times_in_five():
    """60 noise bakes; the share held is binomial, 0.8 ± 4·0.052 (false failure 6e-5)."""
    truth = math.sqrt(1.0 + 1.5**2 / 6)
    held = 0
    for seed in range(60):
        spread = Spread.from_bakes(noise(seed), "rise_height_mm")
        variance = np.dot((0, 1, 1 / 6), spread._variance[:3])
        low, high = spread.factors((0, 1, 1 / 6))
        held += low <= truth / math.sqrt(variance) <= high
    assert 36 <= held <= 60


def test_effects_are_taken_out_before_the_spread():
    frame = noise(5, bakes=3)
    frame["malt_percent"] = frame["dough"].str[-1].map({"A": 0, "B": 0.4, "C": 0.8, "D": 1.2})
    moved = frame.assign(rise_height_mm=frame["rise_height_mm"] + 20 * frame["malt_percent"])
    one = Spread.from_bakes(frame, "rise_height_mm", factors=["malt_percent"])
    two = Spread.from_bakes(moved, "rise_height_mm", factors=["malt_percent"])
    assert two.dough == pytest.approx(one.dough)


def retards(seed, bakes=5):
    """Two retards and two malts a bake; the doughs of one retard were mixed in one go."""
    rng = np.random.default_rng(seed)
    factors = [Factor("retard_hours", (24, 48)), MALT2]
    runs = design(factors, Kitchen(bakes, tubs=4, pieces_per_dough=6)).runs
    y = 30 + rng.normal(0, 1.2, len(runs))
    for keys, sd in ((["bake"], 1.0), (["bake", "retard_hours"], 1.0), (["bake", "dough"], 0.5)):
        y += rng.normal(0, sd, 99)[runs.groupby(keys).ngroup()]
    return runs.assign(rise_height_mm=y)


def test_what_mixings_share_is_not_laid_on_the_doughs():
    """Against the kit's own `steadiness` of the same bakes; and a plan is judged by it."""
    frame = retards(7)
    told = Spread.from_bakes(frame, "rise_height_mm", ["retard_hours"], mixing="retard_hours")
    blind = Spread.from_bakes(frame, "rise_height_mm", ["retard_hours"])
    other = steadiness(frame, "rise_height_mm", ["retard_hours"], mixing="retard_hours")
    sds = other.components.set_index("component")["variance"].clip(lower=0) ** 0.5
    assert [told.bake, told.mixing, told.dough, told.piece] == pytest.approx(
        list(sds[["bake", "mixing", "dough", "piece"]])
    )
    assert blind.dough > 1.3 * told.dough
    assert "from mixing to mixing" in told.sentence
    assert list(told.to_frame()["component"]) == ["bake", "dough", "piece", "mixing"]
    plan = design([Factor("retard_hours", (24, 48)), MALT2], Kitchen(5, tubs=4))
    asked = {"plan": plan, "of": "retard_hours", "spread": told}
    # five bakes, the difference of two mixings each, of two doughs of six pieces
    own = told.mixing**2 + told.dough**2 / 2 + told.piece**2 / 12
    assert power(**asked).se == pytest.approx(math.sqrt(2 * own / 5), rel=1e-6)
    assert TAKEN_ALIKE not in power(**asked).checks
    assert TAKEN_ALIKE in power(**{**asked, "spread": blind}).checks
    assert power(plan, of="malt_percent", spread=told).smallest < (
        power(plan, of="malt_percent", spread=blind).smallest
    )


def test_a_dough_alone_in_its_mixing_differs_by_both():
    told = Spread.from_bakes(retards(7), "rise_height_mm", ["retard_hours"], mixing="retard_hours")
    single = design([Factor("retard_hours", (24, 48))], Kitchen(5, tubs=2))
    own = told.mixing**2 + told.dough**2 + told.piece**2 / 6
    found = power(single, spread=told)
    assert found.se == pytest.approx(math.sqrt(2 * own / 5), rel=1e-6)
    assert found.smallest_range[0] < found.smallest < found.smallest_range[1]


def test_too_few_mixings_show_no_spread_of_their_own():
    spread = Spread.from_bakes(
        retards(1, bakes=1), "rise_height_mm", ["retard_hours"], mixing="retard_hours"
    )
    assert spread.mixing is None


def test_spread_in_words():
    assert str(Spread(1.0, 1.5, outcome="rise_height_mm")) == (
        "Spread of height (stated): 1.0 mm from dough to dough and 1.5 mm from piece to piece."
    )
    found = Spread.from_bakes(noise(3), "rise_height_mm")
    assert str(found).startswith("Spread of height (from 8 doughs on 2 bakes): ")
    assert list(found.to_frame()["component"]) == ["bake", "dough", "piece"]
    assert found._repr_html_().startswith("<p><strong>Spread of height")
    assert len(found.plot().patches) == 3
    single = noise(3, bakes=6, doughs=1)
    assert Spread.from_bakes(single, "rise_height_mm").checks == (
        "each of these bakes had one dough, so the spread from dough to dough holds the day's as "
        "well: a plan that bakes all settings on one day may do better than said",
    )


@pytest.mark.parametrize(
    ("frame", "outcome", "kind", "message"),
    [
        (noise(1), "height", NotFoundError, None),
        (
            noise(1).assign(rise_height_mm=None), "rise_height_mm", DataError,
            "no piece has rise_height_mm: there is no spread to learn from.",
        ),
        (
            noise(1).query("dough == '1A'"), "rise_height_mm", DataError,
            "only 1 dough with height: the spread from dough to dough cannot be seen. Mix the "
            "same recipe at least twice.",
        ),
        (
            noise(1).drop_duplicates("dough"), "rise_height_mm", DataError,
            "one piece a dough: the spread from piece to piece cannot be told from that from "
            "dough to dough. Measure height on two pieces or more of a dough.",
        ),
    ],
)  # fmt: skip
def test_spread_refuses(frame, outcome, kind, message):
    with pytest.raises(kind) as refused:
        Spread.from_bakes(pd.DataFrame(frame), outcome)
    if message:
        assert str(refused.value) == message


def test_doughs_mixed_in_one_go_count_once():
    """As a paired t test of the mixings' means (statsmodels' ``TTestPower``), bake by bake."""
    retard = [Factor("retard_hours", (24, 48))]
    plan = design(retard, Kitchen(4, 4))
    found = power(plan, sd_dough=1.0, sd_piece=1.5, matters=2.0)
    pieces = plan.counts["piece"] / plan.counts["dough"]
    of_difference = math.sqrt(2 * (1.0**2 + 1.5**2 / pieces) / 2)  # two doughs a mixing
    other = TTestPower().power(2.0 / of_difference, nobs=4, alpha=0.05)
    assert found.unit == "mixing"
    assert found.df == pytest.approx(3)
    assert found.chance == pytest.approx(other, abs=1e-6)
    assert any("where the day of mixing tells" in check for check in found.checks)
    # one dough of each retard a bake is a mixing of its own
    single = design(retard, Kitchen(4, 2))
    assert power(single, sd_dough=1.0, sd_piece=1.5).unit == "dough"


def test_numbers_of_any_kind_give_the_same_power():
    plain = power(bakes=5, doughs=1, pieces=6, matters=2, **SD)
    other = power(
        bakes=np.int64(5), doughs=1.0, pieces=np.float64(6), matters=Decimal(2), **SD
    )  # fmt: skip
    assert other == plain
    with pytest.raises(InputError, match=r"^matters is '2 mm': must be above 0"):
        power(bakes=5, matters="2 mm", **SD)


def test_a_stated_spread_takes_every_kind_of_number():
    stated = Spread(dough=Decimal("1.0"), piece=np.array(1.5), bake=np.float32(0.5))
    assert stated == Spread(1.0, 1.5, 0.5)
    assert power(bakes=5, spread=stated).smallest == power(bakes=5, **SD).smallest
    with pytest.raises(InputError, match="sd_piece is True: must be a number, 0 or more"):
        Spread(dough=1.0, piece=True)


def test_what_a_plan_notices_is_told_in_inches_where_wanted(monkeypatch):
    told = power(bakes=5, **SD, outcome="rise_height_mm")
    monkeypatch.setenv("KIT_UNITS", "us")
    for text in (str(told), told._repr_html_()):
        assert "a difference of 2.8 mm (0.11 in) between" in text
    assert "1.0 mm (0.04 in) from dough to dough" in str(told.spread)
    assert "In a room of 24.0 °C (75 °F) a cold dough" in str(doubling(24))

"""Pieces of one dough that proof alike are shaped together: such a shaping counts once."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from statsmodels.stats.anova import AnovaRM

from kit.analysis.compare import compare
from kit.analysis.dose import dose
from kit.analysis.grouping.meant import as_meant
from kit.analysis.mixed import mixed
from kit.analysis.overview import overview
from kit.analysis.surface import surface
from kit.errors import DesignError
from kit.plan.design import design
from kit.plan.factors import Factor
from kit.plan.kitchen import Kitchen
from kit.plan.next import next_bake
from kit.plan.power import power
from kit.plan.spread import Spread

DOUGHS = {"dough": "dough", "bake": "bake"}


def series(rng, sd_shaping, proofs=(1.5, 2.0), bakes=4, doughs=2, pieces=8):
    """Bakes of proofs that make no difference; each shaping adds its own height."""
    rows = []
    for bake in range(bakes):
        day = rng.normal(0, 1)
        for dough in range(doughs):
            of_dough = 30 + day + rng.normal(0, 0.8)
            of_shaping = dict(zip(proofs, rng.normal(0, sd_shaping, len(proofs)), strict=True))
            for piece in range(pieces):
                proof = proofs[piece % len(proofs)]
                height = of_dough + of_shaping[proof] + rng.normal(0, 1.0)
                side = 5 + piece // len(proofs) % 2
                rows.append((f"bake {bake}", f"{bake}-{dough}", proof, side, 0.4 * dough, height))
    columns = ["bake", "dough", "proof_ratio", "side_minutes", "malt_percent", "height"]
    return pd.DataFrame(rows, columns=columns)


@pytest.fixture
def two():
    return series(np.random.default_rng(4471), 1.0)


def test_two_proofs_are_judged_as_a_paired_t_test_of_the_shapings_does(two):
    """Against SciPy's ``ttest_rel`` on the means of the shapings, dough by dough."""
    found = compare(two, "height", "proof_ratio", **DOUGHS)
    means = two.groupby(["proof_ratio", "dough"])["height"].mean()
    other = stats.ttest_rel(means[2.0], means[1.5])
    assert found.unit == "shaping"
    assert found.leading.df == pytest.approx(other.df, rel=1e-6)
    assert found.leading.t == pytest.approx(other.statistic, rel=1e-6)
    assert found.leading.p == pytest.approx(other.pvalue, rel=1e-6)
    assert "4 bakes, 8 doughs, 16 shapings and 64 pieces" in found.rests_on
    assert "such a shaping counts once however many pieces it made" in found.rests_on
    by_piece = compare(two.rename(columns={"proof_ratio": "salted"}), "height", "salted", **DOUGHS)
    assert (by_piece.unit, by_piece.leading.df > 50) == ("piece", True)


def test_three_proofs_are_judged_as_repeated_measures_are():
    """Against statsmodels' ``AnovaRM`` on the means of the shapings."""
    rows = series(np.random.default_rng(4472), 0.7, (1.3, 1.7, 2.1), pieces=6)
    found = compare(rows, "height", "proof_ratio", **DOUGHS)
    means = rows.groupby(["dough", "proof_ratio"], as_index=False)["height"].mean()
    other = AnovaRM(means, "height", "dough", within=["proof_ratio"]).fit().anova_table.iloc[0]
    assert found.test["F"] == pytest.approx(other["F Value"], rel=1e-6)
    assert found.test["den_df"] == pytest.approx(other["Den DF"], rel=1e-6)


def test_proofs_that_make_no_difference_are_seldom_called_different():
    """250 trials at 5 %: more than 9 % by chance in 3 of 1000 runs; by pieces it is 25 %."""
    rng = np.random.default_rng(4473)
    answers = (compare(series(rng, 1.0), "height", "proof_ratio", **DOUGHS) for _ in range(250))
    assert np.mean([a.leading.p < 0.05 for a in answers]) < 0.09


def test_what_is_set_piece_by_piece_within_the_shapings_is_judged_by_pieces(two):
    found = compare(two, "height", "side_minutes", adjust=["proof_ratio"], **DOUGHS)
    assert (found.unit, found.fit.groups) == ("piece", ("bake", "dough", "shaping"))
    assert found.leading.df > 40


def test_pieces_beside_the_shapings_have_their_own_degrees_of_freedom():
    """Two doughs of eight, a few missing: 9 of 40 were refused; above 5 by chance in 1 of 70."""
    answers = []
    for seed in range(40):
        rng = np.random.default_rng([13713700, seed])
        rows = series(rng, 0.6 * (seed % 3), bakes=2, doughs=1)
        rows["side_minutes"] = [*rng.permutation([5, 6] * 4), *rng.permutation([5, 6] * 4)]
        some = rows[rng.random(len(rows)) > 0.15]
        answers.append(compare(some, "height", "side_minutes", adjust=["proof_ratio"], **DOUGHS))
    assert min(a.leading.df for a in answers) >= 1
    assert sum(a.leading.p < 0.05 for a in answers) <= 5


def test_what_the_proof_does_with_another_factor_is_judged_by_shapings():
    """100 trials at 5 %: more than 12 by chance in 2 of 1000 runs; by pieces it is 31 %."""
    rng, told = np.random.default_rng(4480), 0
    for _ in range(100):
        asked = {"adjust": ["proof_ratio"], "examine": True, **DOUGHS}
        found = compare(series(rng, 1.0), "height", "malt_percent", **asked)
        told += any(look.subject == "together" and look.alarm for look in found.examined.findings)
    assert told <= 12
    both = surface(series(rng, 1.0), "height", ("malt_percent", "proof_ratio"), **DOUGHS)
    assert both.fit.groups == ("bake", "dough", "shaping")


def test_one_dough_cannot_tell_the_proof_from_the_shaping(two):
    with pytest.raises(DesignError, match=r"each setting of proof ratio was shaped once \(2 shap"):
        compare(two[two["dough"] == "0-0"], "height", "proof_ratio", **DOUGHS)


def test_pieces_of_a_proof_each_are_pieces():
    rows = series(np.random.default_rng(4475), 0.0, pieces=2)
    found = compare(rows, "height", "proof_ratio", **DOUGHS)
    assert (found.unit, found.leading.df) == ("piece", pytest.approx(7))


def test_loads_that_hold_whole_shapings_count_once(two):
    whole = two.assign(load=two["proof_ratio"].astype(str))
    found = compare(whole, "height", "proof_ratio", load="load", **DOUGHS)
    assert (found.unit, found.leading.df) == ("load", pytest.approx(3))
    own = two.assign(load=two["dough"] + two["proof_ratio"].astype(str))
    found = compare(own, "height", "proof_ratio", load="load", **DOUGHS)
    assert found.unit == "shaping"
    assert found.checks[0].endswith("what the load does cannot be told from the shaping")
    apart = two.assign(load=["a", "a", "a", "a", "b", "b", "b", "b"] * 8)
    assert compare(apart, "height", "proof_ratio", load="load", **DOUGHS).unit == "shaping"


def test_temperatures_without_loads_are_taken_as_a_load_a_bake(two):
    heat = two.rename(columns={"proof_ratio": "griddle_temp_c"})
    found = compare(heat, "height", "griddle_temp_c", **DOUGHS)
    assert (found.unit, found.leading.df) == ("load", pytest.approx(3))
    assert found.checks[0] == (
        "no loads are recorded: pieces of one bake with the same griddle temperature were taken as "
        "one load"
    )


def heated(rng, sd_load, bakes, proofs_cross=True):
    """Two griddle temperatures, a load each a bake, that make no difference; proof in doughs."""
    rows = series(rng, 0.0, bakes=bakes)
    proofs = rows["proof_ratio"].map({1.5: 0, 2.0: 1})
    hot = rows["side_minutes"] - 5 if proofs_cross else (proofs + rows["malt_percent"] / 0.4) % 2
    rows["griddle_temp_c"] = 170 + 20 * hot
    rows["load"] = rows["bake"] + " " + rows["griddle_temp_c"].astype(str)
    own = {load: rng.normal(0, sd_load) for load in rows["load"].unique()}
    return rows.assign(height=rows["height"] + rows["load"].map(own))


def test_a_temperature_is_judged_by_loads_whatever_proof_is_held_alike():
    """Loads of one temperature cross the shapings; 39 to 47 % false when pieces were counted."""
    asked = {"load": "load", "adjust": ["proof_ratio"], **DOUGHS}
    with pytest.raises(DesignError, match=r"was baked once \(2 loads\)"):
        compare(heated(np.random.default_rng(4481), 1.0, 1), "height", "griddle_temp_c", **asked)
    rows = heated(np.random.default_rng(4482), 1.0, 2)
    found = compare(rows, "height", "griddle_temp_c", **asked)
    assert (found.unit, found.leading.df) == ("load", pytest.approx(1))
    assert "load" in found.fit.groups
    both = overview(rows, ["griddle_temp_c", "proof_ratio"], ["height"], load="load", **DOUGHS)
    assert both.table["unit"].tolist() == ["load", "shaping"]
    plan = design(
        [Factor("griddle_temp_c", (170, 190)), Factor("proof_ratio", (1.5, 2))], Kitchen(2, 2, 8)
    )
    found = power(plan, of="griddle_temp_c", spread=Spread(0.8, 1.0))
    assert (found.unit, found.df < 6) == ("load", True)


@pytest.mark.parametrize("crossed", [True, False])
def test_loads_that_nobody_noted_are_those_of_a_temperature(crossed):
    """Also where each shaping was baked at one temperature: 15 % false by shapings."""
    rows = heated(np.random.default_rng(4483), 1.0, 4, crossed).drop(columns="load")
    asked = {"adjust": ["proof_ratio"], **DOUGHS}
    found = compare(rows, "height", "griddle_temp_c", **asked)
    assert (found.unit, found.leading.df) == ("load", pytest.approx(3, abs=0.1))
    for of in (("griddle_temp_c", "proof_ratio"), ("proof_ratio", "griddle_temp_c")):
        both = surface(rows, "height", of, **DOUGHS)
        assert both.fit.groups == ("bake", "dough", "shaping", "load")
        assert both.counts["load"] == 8


def test_what_is_read_on_every_piece_makes_no_loads(two):
    waited = two.assign(waited_minutes=np.random.default_rng(4484).normal(10, 3, 64).round(1))
    found = compare(waited, "height", "waited_minutes", **DOUGHS)
    assert (found.unit, found.counts) == ("piece", {"bake": 4, "dough": 8, "piece": 64})


def test_the_next_bake_of_a_temperature_needs_no_loads_noted(two):
    heat = two.rename(columns={"proof_ratio": "griddle_temp_c"})
    more = next_bake(heat, "height", "griddle_temp_c", 8, matters=2.0)
    assert more.looks.table["units"].tolist() == [2, 4, 6, 8]
    noted = heat.assign(load=heat["griddle_temp_c"].astype(str))
    same = next_bake(noted, "height", "griddle_temp_c", 8, matters=2.0, load="load")
    pd.testing.assert_frame_equal(more.kinds, same.kinds)


def read(rng, rows, sd):
    """The same with the proof read on every piece, to two decimals."""
    return rows.assign(proof_ratio=(rows["proof_ratio"] + rng.normal(0, sd, len(rows))).round(2))


def test_readings_that_are_equal_by_chance_are_no_shapings(two):
    rows = read(np.random.default_rng(4485), two, 0.06)
    side = compare(rows, "height", "side_minutes", adjust=["proof_ratio"], **DOUGHS)
    assert side.fit.groups == ("bake", "dough")
    assert side.checks[0] == (
        "proof ratio was read piece by piece, and nothing says which pieces of a dough were shaped "
        "together: if they were, the answer is surer than it should be. Compare the settings "
        "meant, or let a trial with its settings answer"
    )
    assert Spread.from_bakes(rows, "height", ["proof_ratio"]).shaping is None


def test_of_readings_alone_the_halves_of_a_dough_are_its_shapings(two):
    rows = read(np.random.default_rng(4485), two, 0.06)
    alone = compare(rows, "height", "proof_ratio", **DOUGHS)
    assert (alone.kind, alone.unit, alone.counts["shaping"]) == ("line", "shaping", 16)
    assert alone.checks[0] == (
        "proof ratio was read piece by piece, and nothing says which pieces of a dough were shaped "
        "together: the half of each dough that had risen more was taken as one shaping, the rest "
        "as another. A column “proof_ratio, meant” with the settings meant says more"
    )
    own = compare(
        rows.assign(**{"proof_ratio, meant": two["proof_ratio"]}), "height", "proof_ratio", **DOUGHS
    )
    assert own.leading.p == pytest.approx(alone.leading.p)  # here the halves are the settings
    for of in (("malt_percent", "proof_ratio"), ("proof_ratio", "malt_percent")):
        assert surface(rows, "height", of, **DOUGHS).fit.groups == ("bake", "dough", "shaping")


def test_readings_alone_that_make_no_difference_are_seldom_called_different():
    """100 trials at 5 %: more than 12 by chance in 2 of 1000 runs; by pieces it is 25 %."""
    told = 0
    for seed in range(100):
        rng = np.random.default_rng([14201700, seed])
        rows = read(rng, series(rng, 1.0, pieces=6), 0.12)
        told += compare(rows, "height", "proof_ratio", **DOUGHS).leading.p < 0.05
    assert told <= 12


def test_a_proof_read_once_a_dough_is_not_said_to_be_read_piece_by_piece():
    rng = np.random.default_rng(6810002)
    rows = series(rng, 1.0, bakes=6)
    own = pd.Series(rng.normal(1.8, 0.2, 12).round(3), index=rows["dough"].unique())
    rows["proof_ratio"] = rows["dough"].map(own)
    by_dough = compare(rows, "height", "proof_ratio", **DOUGHS, line=True)
    beside = compare(rows, "height", "side_minutes", adjust=["proof_ratio"], **DOUGHS)
    for found in (by_dough, beside):
        assert not any("piece by piece" in check for check in found.checks)


def test_readings_of_a_trial_are_of_the_shapings_meant(two):
    rows, notes = as_meant(read(np.random.default_rng(4486), two, 0.12), {"proof_ratio": (1.5, 2)})
    assert notes[0].endswith("used as it was read")
    found = compare(rows, "height", "proof_ratio", **DOUGHS)
    assert (found.kind, found.unit, found.counts["shaping"]) == ("line", "shaping", 16)
    assert not any("slip" in check for check in found.checks)
    assert next_bake(rows, "height", "proof_ratio", 8, matters=2).looks.table["units"][3] == 16
    assert Spread.from_bakes(rows, "height", ["proof_ratio"]).shaping > 0.5


def test_readings_that_make_no_difference_are_seldom_called_different():
    """150 trials at 5 %: more than 10 % by chance in 4 of 1000 runs; by chance ties it is 20 %."""
    rng, told = np.random.default_rng(4487), 0
    for _ in range(150):
        rows, _ = as_meant(read(rng, series(rng, 1.0), 0.12), {"proof_ratio": (1.5, 2)})
        told += compare(rows, "height", "proof_ratio", **DOUGHS).leading.p < 0.05
    assert told <= 15


def test_every_question_counts_shapings(two):
    both = overview(two, ["proof_ratio", "side_minutes"], ["height"], **DOUGHS)
    assert both.table.set_index("factor")["unit"].to_dict() == {
        "proof_ratio": "shaping",
        "side_minutes": "piece",
    }
    more = next_bake(two, "height", "proof_ratio", 8, matters=2.0)
    assert more.looks.table["units"].tolist() == [4, 8, 12, 16]
    usual, doughs, pieces = more.kinds["half_after"]
    assert doughs < 0.95 * usual < pieces  # it is shapings that tell


def test_a_plan_promises_what_the_answers_will_notice():
    """200 trials of a difference that is promised four times in five: 0.72 to 0.88 in 99 %."""
    seen = Spread.from_bakes(
        series(np.random.default_rng(4476), 1.5, bakes=8), "height", ["proof_ratio"]
    )
    assert seen.shaping == pytest.approx(1.5, rel=0.5)
    plan = design([Factor("proof_ratio", (1.5, 2))], Kitchen(4, 2, 8), seed=1)
    found = power(plan, spread=Spread(0.8, 1.0, shaping=1.0))
    assert (found.unit, round(found.df, 1)) == ("shaping", 7.0)
    assert not any("come out alike" in check for check in found.checks)
    assert "twice as many doughs" in " ".join(found.sentences)
    rng, noticed = np.random.default_rng(4477), 0
    for _ in range(200):
        rows = series(rng, 1.0)
        rows["height"] += found.smallest * (rows["proof_ratio"] == 2)
        noticed += compare(rows, "height", "proof_ratio", **DOUGHS).leading.sure
    assert 0.72 < noticed / 200 < 0.88


#: Bake, dough, proof ratio, minutes a side, load, height: as many numbers to find as pieces.
FITTED_BY_CHANCE = (
    [
        (0, "00", 1.6, 5, 0, 30.8),
        (0, "00", 2.0, 4, 0, 31.99),
        (0, "00", 1.6, 4, 0, 32.11),
        (0, "01", 1.6, 5, 1, 32.51),
        (0, "01", 2.0, 4, 0, 30.1),
        (1, "10", 1.6, 4, 1, 30.17),
        (1, "10", 2.0, 4, 0, 32.44),
        (1, "11", 1.6, 4, 1, 29.81),
        (1, "11", 2.0, 5, 1, 29.4),
    ],
    [
        (0, "00", 2.0, 5, 0, 27.12),
        (0, "00", 1.6, 4, 3, 30.54),
        (0, "00", 1.6, 4, 1, 28.44),
        (0, "00", 2.0, 4, 3, 31.69),
        (0, "00", 2.0, 5, 3, 30.42),
        (1, "10", 1.6, 5, 1, 29.27),
        (1, "10", 2.0, 5, 3, 29.9),
        (1, "10", 2.0, 4, 0, 26.13),
        (1, "10", 2.0, 5, 2, 30.97),
        (1, "10", 1.6, 4, 0, 23.84),
    ],
)


@pytest.mark.parametrize("pieces", FITTED_BY_CHANCE)
def test_pieces_that_fit_by_chance_are_refused(pieces):
    """A crash in the mathematics, "Singular matrix", reached the baker; p = 2e-13 is worse."""
    columns = ["bake", "dough", "proof_ratio", "side_minutes", "load", "height"]
    rows = pd.DataFrame(pieces, columns=columns)
    with pytest.raises(DesignError, match=r"^too few pieces for so many groupings.*or bake more"):
        compare(rows, "height", "side_minutes", load="load", adjust=["proof_ratio"], **DOUGHS)


def test_means_are_not_surer_than_the_bakes_they_rest_on():
    """Two bakes alike by chance: the pieces' degrees of freedom were put for the bakes' too."""
    rng, rows = np.random.default_rng([13713800, 126]), []
    for bake in range(2):
        day = rng.normal(0, 2)
        for dough in range(2):
            of_dough = rng.normal(0, 0.5)
            for piece in range(4):
                if rng.random() > 0.15:
                    height = 30 + day + of_dough + rng.normal()
                    rows.append((bake, dough, 4.0 + piece % 2, height))
    table = pd.DataFrame(rows, columns=["bake", "dough", "side_minutes", "height"])
    found = compare(table, "height", "side_minutes", **DOUGHS)
    assert found.fit.least_df == 6
    assert found.means["df"].min() < 1 <= found.leading.df
    along = dose(table, "height", "side_minutes", **DOUGHS)
    assert along.fitted.heights(np.array([4.0, 5.0]))["df"].min() < 1


def test_only_the_factor_asked_about_has_the_least_degrees_of_freedom():
    """What is held alike may be a matter of bakes, of which there are fewer."""
    rows = series(np.random.default_rng(4472), 1.0, bakes=3)
    held = mixed(rows, "height ~ C(side_minutes) + C(malt_percent)", ["bake", "dough"])
    low = replace(held, _estimate=replace(held._estimate, w=1e4 * held._estimate.w), least_df=7)
    only = replace(low, beside=("C(malt_percent)",))
    assert low.term("C(malt_percent)")["den_df"] == 7
    assert only.term("C(malt_percent)")["den_df"] < 1
    assert only.term("C(side_minutes)")["den_df"] == 7


@pytest.mark.parametrize("of", [("side_minutes", "malt_percent"), ("malt_percent", "side_minutes")])
def test_of_two_doses_the_fewer_units_say_the_least_degrees_of_freedom(of):
    """The pieces' 40 stood for the doughs' as well where the time a side was asked about first."""
    rows = series(np.random.default_rng(4473), 0.0, bakes=3).drop(columns="proof_ratio")
    assert surface(rows, "height", of, **DOUGHS).fit.least_df == 2  # 6 doughs less 3 bakes, 1 slope

"""Doughs of one retard are mixed in one go: such a mixing counts once for the retard."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from statsmodels.formula.api import ols
from statsmodels.stats.anova import AnovaRM

from kit.analysis.compare import compare
from kit.analysis.dose import dose
from kit.analysis.grouping.mixing import TAKEN_ALIKE, counts_for, mixed_by, shared_mixings
from kit.analysis.overview import overview
from kit.analysis.steadiness import steadiness
from kit.analysis.surface import surface
from kit.errors import DesignError, InputError
from kit.plan.next import next_bake

TOLD = {"dough": "dough", "bake": "bake", "mixing": "retard_hours"}


def series(rng, sd_mixing, doughs=2, bakes=4, pieces=4, hours=(24, 48)):
    """Bakes of retards that make no difference; each mixing adds its own height."""
    rows = []
    for bake in range(bakes):
        day = rng.normal(0, 1)
        for retard in hours:
            mixing = rng.normal(0, sd_mixing)
            for dough in range(doughs):
                of_dough = 30 + day + mixing + rng.normal(0, 0.8)
                rows += [
                    (
                        f"bake {bake}",
                        f"{bake}-{retard}-{dough}",
                        retard,
                        0.4 * dough,
                        of_dough + rng.normal(0, 1.2),
                    )
                    for _ in range(pieces)
                ]
    columns = ["bake", "dough", "retard_hours", "malt_percent", "height"]
    return pd.DataFrame(rows, columns=columns)


@pytest.fixture
def two():
    return series(np.random.default_rng(8), 1.0)


def test_two_retards_are_judged_as_a_paired_t_test_of_the_mixings_does(two):
    """Against SciPy's ``ttest_rel`` on the means of the mixings, bake by bake."""
    found = compare(two, "height", "retard_hours", **TOLD)
    means = two.groupby(["retard_hours", "bake"])["height"].mean()
    other = stats.ttest_rel(means[48], means[24])
    assert found.unit == "mixing"
    assert found.leading.df == pytest.approx(other.df, rel=1e-6)
    assert found.leading.t == pytest.approx(other.statistic, rel=1e-6)
    assert found.leading.p == pytest.approx(other.pvalue, rel=1e-6)
    assert "4 bakes, 8 mixings, 16 doughs and 64 pieces" in found.rests_on
    assert "such a mixing counts once" in found.rests_on
    # as 16 doughs it would seem surer than it is
    assert compare(two, "height", "retard_hours", dough="dough", bake="bake").leading.df > 10


def test_three_retards_are_judged_as_repeated_measures_are():
    """Against statsmodels' ``AnovaRM`` on the means of the mixings."""
    rows = series(np.random.default_rng(3), 0.7, bakes=5, hours=(16, 24, 48))
    found = compare(rows, "height", "retard_hours", **TOLD)
    means = rows.groupby(["bake", "retard_hours"], as_index=False)["height"].mean()
    other = AnovaRM(means, "height", "bake", within=["retard_hours"]).fit().anova_table.iloc[0]
    assert found.test["F"] == pytest.approx(other["F Value"], rel=1e-6)
    assert found.test["den_df"] == pytest.approx(other["Den DF"], rel=1e-6)
    assert found.test["p"] == pytest.approx(other["Pr > F"], rel=1e-6)


def test_one_dough_of_each_retard_a_bake_is_its_own_mixing():
    rows = series(np.random.default_rng(1), 1.0, doughs=1)
    told, plain = (
        compare(rows, "height", "retard_hours", **how)
        for how in (TOLD, {"dough": "dough", "bake": "bake"})
    )
    assert told.unit == plain.unit == "dough"
    assert told.leading == plain.leading
    assert "mixing" not in told.rests_on


def test_one_bake_cannot_tell_the_retard_from_the_mixing(two):
    with pytest.raises(DesignError, match="mixed in one go, each setting once"):
        compare(two[two["bake"] == "bake 0"], "height", "retard_hours", **TOLD)


def test_a_retard_varied_in_one_bake_only_is_refused_in_plain_words(two):
    """It said that mixing cannot be told from bake and piece: leave it out of the groups."""
    once = two[(two["retard_hours"] == 24) | (two["bake"] == "bake 2")]
    with pytest.raises(DesignError, match=r"^the spread from mixing to mixing cannot be judged"):
        compare(once, "height", "retard_hours", **TOLD)


def test_mixings_need_bakes(two):
    with pytest.raises(InputError, match="mixing is 'retard_hours': needs bake"):
        compare(two, "height", "retard_hours", dough="dough", mixing="retard_hours")


def test_every_question_counts_mixings(two):
    assert dose(two, "height", "retard_hours", **TOLD).unit == "mixing"
    both = overview(two, ["retard_hours", "malt_percent"], ["height"], **TOLD)
    assert both.table.set_index("factor")["unit"].to_dict() == {
        "retard_hours": "mixing",
        "malt_percent": "dough",
    }
    together = surface(two, "height", ("malt_percent", "retard_hours"), **TOLD)
    assert together.fit.groups == ("bake", "mixing", "dough")
    more = next_bake(two, "height", "retard_hours", 8, mixing="retard_hours", matters=2.0)
    assert more.looks.table["units"].tolist() == [2, 4, 6, 8]
    # a second dough of each mixing tells little; with it the mixings still count
    half = more.kinds.set_index("doughs")["half_after"]
    assert half[4] == pytest.approx(half[2].iloc[0], rel=0.1)


def test_what_a_second_dough_of_a_mixing_adds_is_said_to_be_a_guess():
    rows = series(np.random.default_rng(1), 1.0, doughs=1)
    asked = {"matters": 2.0, "mixing": "retard_hours"}
    assert TAKEN_ALIKE in next_bake(rows, "height", "retard_hours", 8, **asked).checks
    both = series(np.random.default_rng(1), 1.0, doughs=2)  # there it is known
    assert TAKEN_ALIKE not in next_bake(both, "height", "retard_hours", 8, **asked).checks


def test_loads_that_hold_whole_mixings_or_cross_them(two):
    whole = two.assign(load=two["retard_hours"].astype(str))
    found = compare(whole, "height", "retard_hours", load="load", **TOLD)
    assert found.unit == "mixing"
    crossing = two.assign(load=["a", "b"] * (len(two) // 2))
    across = compare(crossing, "height", "retard_hours", load="load", **TOLD)
    assert across.fit.groups == ("bake", "mixing", "dough", "load")
    for answer in (found, across):
        assert answer.leading.df == pytest.approx(3, abs=0.1)


def test_a_dough_in_two_mixings_is_a_slip_and_the_doughs_count(two):
    slip = two.copy()
    slip.loc[0, "retard_hours"] = 48
    assert compare(slip, "height", "retard_hours", **TOLD).unit == "dough"


def test_a_plan_says_it_where_mixings_hold_several_doughs():
    rng = np.random.default_rng(1)
    assert shared_mixings(series(rng, 1.0, doughs=1)) == []
    (said,) = shared_mixings(series(rng, 1.0, doughs=2))
    assert "one dough of each retard a bake" in said
    assert mixed_by("malt_percent", "retard_hours") == "retard_hours"


def test_malt_within_the_mixings_is_judged_as_in_a_split_plot(two):
    """Against statsmodels' ``ols`` of the doughs' means with the mixings fixed: 7 df."""
    found = compare(two, "height", "malt_percent", adjust=["retard_hours"], **TOLD)
    means = two.groupby(["bake", "retard_hours", "malt_percent"], as_index=False)["height"].mean()
    means["mixing"] = means["bake"] + means["retard_hours"].astype(str)
    other = ols("height ~ C(mixing) + malt_percent", means).fit()
    assert found.unit == "dough"
    assert "Doughs of one mixing (those of one cold retard of a bake) may be" in found.rests_on
    assert found.leading.df == pytest.approx(other.df_resid, rel=1e-6)
    assert abs(found.leading.t) == pytest.approx(abs(other.tvalues["malt_percent"]), rel=1e-6)


def test_too_few_mixings_are_left_out_and_said(two):
    one = two[two["bake"] == "bake 0"]
    doubled = one.assign(dough=one["dough"] + "'", height=one["height"] + 0.7)
    found = compare(
        pd.concat([one, doubled]), "height", "malt_percent", adjust=["retard_hours"], **TOLD
    )
    assert "too few mixings to see what a mixing does; it was left out" in found.checks
    assert "mixing" not in found.fit.groups


def test_bakes_mixed_in_one_go_each_are_no_mixings(two):
    """One retard a bake: the bake says it all, and malt within it is answered as ever."""
    rows = two.assign(retard_hours=two["bake"].map({f"bake {i}": 24 + i % 2 for i in range(4)}))
    plain, told = (
        compare(rows, "height", "malt_percent", **how)
        for how in ({"dough": "dough", "bake": "bake"}, TOLD)
    )
    assert told.fit.groups == plain.fit.groups == ("bake", "dough")
    assert told.leading == plain.leading


def alike(seed, missing):
    """Three bakes whose mixings differ by all but the same; one piece missing."""
    rng, rows = np.random.default_rng(seed), []
    for bake, apart in enumerate((1.34, 1.37, 1.28)):
        day = rng.normal(30, 1)
        for retard in (24, 48):
            for dough in range(2):
                left = rng.normal(0, 1.2, 6)
                height = day + (retard - 24) / 24 * apart + 0.4 * (-1) ** dough
                name = f"{bake}-{retard}-{dough}"
                rows += [(bake, name, retard, height + e) for e in left - left.mean()]
    columns = ["bake", "dough", "retard_hours", "height"]
    return pd.DataFrame(rows, columns=columns).drop(index=missing)


@pytest.mark.parametrize("missing", [3, 9, 30, 41, 64])
@pytest.mark.parametrize("seed", range(4))
def test_mixings_that_differ_alike_by_chance_still_have_their_two_degrees_of_freedom(seed, missing):
    """As SciPy's paired t test of the mixings' means has: 3 bakes, 2 degrees of freedom."""
    rows = alike(seed, missing)
    means = rows.groupby(["retard_hours", "bake"])["height"].mean()
    other = stats.ttest_rel(means[48], means[24])
    found = compare(rows, "height", "retard_hours", **TOLD)
    assert found.leading.df >= 1
    assert found.leading.df == pytest.approx(other.df, abs=1)
    assert found.leading.half_width < 3  # mm: it says something
    assert found.test["den_df"] == pytest.approx(found.leading.df)


@pytest.mark.long
def test_few_mixings_are_answered_and_hold():
    """600 series a row of 3 and of 2 bakes, two pieces missing (standard error 0.9 % at 5 %)."""
    for bakes in (3, 2):
        missed = refused = 0
        for seed in range(600):
            rng = np.random.default_rng([seed, bakes, 77])
            rows = series(rng, 0.5, 2, bakes, 6)
            rows = rows.drop(index=rng.choice(len(rows), 2, replace=False))
            try:
                found = compare(rows, "height", "retard_hours", **TOLD).leading
            except DesignError:
                refused += 1
                continue
            missed += not found.low <= 0 <= found.high
        print(f"{bakes} bakes: refused {refused / 6:.1f} %, false alarms {missed / 6:.1f} %")
        assert refused == 0
        assert missed / 600 < 0.075


def false_alarms(sd_mixing, doughs, count, told):
    """Share of the series whose interval misses the difference of zero."""
    missed = 0
    for seed in range(count):
        rows = series(np.random.default_rng([seed, 12]), sd_mixing, doughs)
        found = compare(rows, "height", "retard_hours", **told).differences.iloc[0]
        missed += not found["low"] <= 0 <= found["high"]
    return missed / count


@pytest.mark.long
def test_false_alarms_where_mixings_differ():
    """1000 series a row (standard error 0.7 % at 5 %): as doughs they err, as mixings they hold."""
    plain = {"dough": "dough", "bake": "bake"}
    for sd, doughs, told in ((0.0, 2, TOLD), (1.0, 2, TOLD), (1.0, 1, TOLD), (1.0, 2, plain)):
        share = false_alarms(sd, doughs, 1000, told)
        print(
            f"mixings differ by {sd} mm, {doughs} doughs of a retard a bake, "
            f"{'mixings' if told is TOLD else 'doughs'} counted: {100 * share:.1f} %"
        )
        assert (share < 0.07) == (told is TOLD)


def malts_by_mixing(rng):
    """Five bakes of three doughs: two of one retard with one malt, one with the other of both."""
    rows = []
    for bake in range(5):
        day = rng.normal(0, 1)
        for retard, doughs, malt in ((24, 2, bake % 2), (48, 1, 1 - bake % 2)):
            mixing = rng.normal(0, 1)
            for dough in range(doughs):
                of_dough = 30 + day + mixing + rng.normal(0, 0.5)
                name = f"{bake}-{retard}-{dough}"
                rows += [
                    (f"bake {bake}", name, retard, malt, of_dough + rng.normal(0, 1.2))
                    for _ in range(6)
                ]
    columns = ["bake", "dough", "retard_hours", "malt_percent", "height"]
    return pd.DataFrame(rows, columns=columns)


@pytest.mark.long
def test_false_alarms_of_a_malt_that_goes_with_the_mixings():
    """500 series (standard error 1 % at 5 %), nothing true: without the mixings twice too many."""
    missed = {"mixings told": 0, "not told": 0}
    for seed in range(500):
        rows = malts_by_mixing(np.random.default_rng([seed, 81]))
        for name, told in (
            ("mixings told", TOLD),
            ("not told", {"dough": "dough", "bake": "bake"}),
        ):
            found = compare(rows, "height", "malt_percent", adjust=["retard_hours"], **told).leading
            missed[name] += not found.low <= 0 <= found.high
    print({name: f"{count / 5:.1f} % false alarms" for name, count in missed.items()})
    assert missed["mixings told"] / 500 < 0.08 < missed["not told"] / 500


#: Retard and malt of the doughs of each bake, as a plan of ours drew them.
UNEVEN = (
    ((40, 0.8), (16, 0.4), (40, 1.2), (16, 0.0)), ((16, 0.8), (16, 1.2), (16, 0.0), (40, 0.4)),
    ((16, 0.4), (40, 0.8), (16, 1.2), (40, 0.0)), ((40, 0.4), (40, 0.0), (40, 1.2), (16, 0.8)),
)  # fmt: skip


def uneven(rng, sd_mixing):
    """Four bakes of four doughs, two retards and four malts that make no difference."""
    rows = []
    for bake, doughs in enumerate(UNEVEN):
        day = rng.normal(0, 0.7)
        mixing = dict(zip((16, 40), rng.normal(0, sd_mixing, 2), strict=True))
        for retard, malt in doughs:
            of_dough = 30 + day + mixing[retard] + rng.normal(0, 0.8)
            rows += [
                (f"bake {bake}", f"{bake}-{malt}", retard, malt, of_dough + rng.normal(0, 1.2))
                for _ in range(6)
            ]
    columns = ["bake", "dough", "retard_hours", "malt_percent", "height"]
    return pd.DataFrame(rows, columns=columns)


def test_where_malts_lie_as_by_lot_in_the_mixings_the_doughs_tell():
    rows = uneven(np.random.default_rng(2), 1.0)
    plain = compare(
        rows, "height", "malt_percent", adjust=["retard_hours"], dough="dough", bake="bake"
    )
    told = compare(rows, "height", "malt_percent", adjust=["retard_hours"], **TOLD)
    assert told.leading == plain.leading
    assert "mixing" not in told.rests_on
    other = compare(rows, "height", "retard_hours", adjust=["malt_percent"], **TOLD)
    assert other.unit == "mixing"


def test_malts_that_go_with_the_mixings_are_judged_by_them():
    rows = malts_by_mixing(np.random.default_rng(2))
    told = compare(rows, "height", "malt_percent", adjust=["retard_hours"], **TOLD)
    assert told.fit.groups == ("bake", "mixing", "dough")


def test_how_settings_lie_in_the_mixings():
    """By hand: two bakes, two mixings each, of two doughs."""
    bake, mixing = pd.Series(list("11112222")), pd.Series(list("aabbccdd"))
    assert counts_for(pd.Series(list("01010101")), [bake], mixing)  # evenly
    assert counts_for(pd.Series(list("00110011")), [bake], mixing)  # with them
    assert counts_for(pd.Series([0.0, 1, 0, 1, 0, 1, 0, 1]), [bake], mixing)  # along a line


@pytest.mark.long
def test_false_alarms_of_uneven_bakes():
    """400 series a row (standard error 1.1 % at 5 %), nothing true."""
    for by, other in (("retard_hours", "malt_percent"), ("malt_percent", "retard_hours")):
        for sd_mixing in (0.0, 0.5, 1.0):
            missed = 0
            for seed in range(400):
                rows = uneven(np.random.default_rng([seed, 9]), sd_mixing)
                found = compare(rows, "height", by, adjust=[other], **TOLD).differences.iloc[0]
                missed += not found["low"] <= 0 <= found["high"]
            print(f"{by}, mixings differ by {sd_mixing} mm: {missed / 4:.1f} % false alarms")
            assert missed / 400 < 0.08


def spread_of(rows, **told):
    found = steadiness(rows, "height", ["retard_hours"], **told)
    return found.components.set_index("component")


def test_what_mixings_share_is_not_the_doughs():
    """Against the mean squares of the balanced layout, by hand: 5 bakes, 2 retards, 2 doughs."""
    rows = series(np.random.default_rng(5), 1.5, bakes=5, pieces=6)
    doughs = rows.groupby(["bake", "retard_hours", "dough"])["height"].mean()
    of_mixing = doughs.groupby(level=[0, 1]).mean()
    within = rows.groupby("dough")["height"].var().mean()
    dough = 6 * doughs.groupby(level=[0, 1]).var().mean()
    apart = of_mixing.unstack() - of_mixing.groupby(level=1).mean()
    left = apart.sub(apart.mean(axis=1), axis=0)
    mixing = 12 * float((left**2).to_numpy().sum()) / 4
    found = spread_of(rows, mixing="retard_hours")["variance"]
    assert found["piece"] == pytest.approx(within)
    assert found["dough"] == pytest.approx((dough - within) / 6)
    assert found["mixing"] == pytest.approx((mixing - dough) / 12)
    assert spread_of(rows)["variance"]["dough"] > 2 * found["dough"]  # as if doughs did it


def test_a_mixing_of_one_dough_is_its_dough():
    rows = series(np.random.default_rng(4), 1.0, doughs=1, bakes=5)
    pd.testing.assert_frame_equal(spread_of(rows, mixing="retard_hours"), spread_of(rows))


@pytest.mark.long
def test_spread_intervals_hold_where_mixings_differ():
    """200 series (standard error 1.5 % at 95 %) of 5 bakes, 2 retards, 2 doughs of 6 pieces."""
    truth = {"bake": 1.0, "mixing": 1.0, "dough": 0.8, "piece": 1.2}
    for told in ({"mixing": "retard_hours"}, {}):
        held = dict.fromkeys(truth, 0)
        for seed in range(200):
            rows = series(np.random.default_rng([seed, 55]), 1.0, bakes=5, pieces=6)
            table = spread_of(rows, **told)
            for name in set(truth) & set(table.index):
                held[name] += table["low"][name] <= truth[name] <= table["high"][name]
        print(f"intervals hold, {'mixings told' if told else 'not told'}: {held} of 200")
        if told:
            assert min(held.values()) >= 180

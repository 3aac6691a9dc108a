"""Ranks, scores and hidden duplicates: against scipy, statsmodels, enumeration and simulation."""

import math
from fractions import Fraction
from itertools import permutations, product

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from kit.analysis.tasting import consistency, ordinal, ranking, scores
from kit.analysis.tasting.ranking import friedman, least_difference
from kit.analysis.tasting.shuffles import chance_of_spread, spread
from kit.errors import DataError, InputError, NotFoundError


def long(marks, value="score", names="ABCDEF"):
    """One row a taster and sample from a table of marks."""
    return pd.DataFrame(
        [
            {"taster": f"t{i}", "sample": names[j], value: mark}
            for i, row in enumerate(marks)
            for j, mark in enumerate(row)
        ]
    )


# ranks


@pytest.mark.parametrize("tied", [False, True])
def test_friedman_is_that_of_scipy(tied):
    rng = np.random.default_rng(4)
    marks = (
        rng.integers(1, 5, (9, 4)) if tied else rng.permuted(np.tile([1, 2, 3, 4], (9, 1)), axis=1)
    )
    answer = ranking(long(marks, "rank"), rank="rank")
    theirs = stats.friedmanchisquare(*marks.T)
    assert answer.statistic == pytest.approx(theirs.statistic, rel=1e-12)
    ranks = np.apply_along_axis(stats.rankdata, 1, marks)
    ties = sum((n**3 - n) for row in ranks for n in np.unique(row, return_counts=True)[1])
    assert friedman(ranks.sum(axis=0), 9, ties) == pytest.approx(theirs.statistic, rel=1e-12)


def test_exact_chance_by_listing_all_orders():
    marks = np.array([[1, 2, 3], [2, 1, 3], [1.5, 1.5, 3], [1, 3, 2]])
    seen = spread(marks)
    reached = [
        spread(np.array(one)) >= seen - 1e-9
        for one in product(*(list(permutations(row)) for row in marks))
    ]
    p, exact = chance_of_spread(marks)
    assert exact
    assert p == pytest.approx(np.mean(reached), abs=1e-12)


@pytest.mark.parametrize("scale", [1e-6, 1e-3, 0.3, 1e5])
def test_chance_depends_neither_on_the_scale_nor_on_rounding(scale):
    """Whole numbers by fractions: thirds have no last digit, and ties must stay ties."""
    rng = np.random.default_rng(77002)
    for _ in range(4):
        marks = rng.integers(1, 10, (12, 3))
        own = 3 * marks - marks.sum(axis=1, keepdims=True)
        chances = {(0, 0, 0): Fraction(1)}
        for row in own.tolist():
            orders, after = list(permutations(row)), {}
            for sums, chance in chances.items():
                for order in orders:
                    key = tuple(sorted(a + b for a, b in zip(sums, order, strict=True)))
                    after[key] = after.get(key, 0) + chance / len(orders)
            chances = after
        least = (own.sum(axis=0) ** 2).sum()
        true = sum(c for sums, c in chances.items() if sum(s * s for s in sums) >= least)
        assert chance_of_spread(marks * scale) == (pytest.approx(float(true), rel=1e-9), True)


def test_exact_chances_of_friedman_tables():
    """3 samples, 4 tasters: F = 6.5 has 0.042, F = 8 has 0.0046 (Hollander & Wolfe, A.22; from
    memory, and by listing the 6⁴ orders)."""
    low = ranking(long([[1, 2, 3], [1, 2, 3], [1, 2, 3], [1, 3, 2]], "rank"))
    assert (low.statistic, round(low.p, 3)) == (6.5, 0.042)
    high = ranking(long([[1, 2, 3]] * 4, "rank"))
    assert (high.statistic, round(high.p, 4)) == (8.0, 0.0046)


def test_drawn_orders_agree_with_counted_ones():
    """Standard error of the drawn p about 0.002."""
    from kit.analysis.tasting import shuffles

    marks = np.random.default_rng(3).permuted(np.tile([1.0, 2, 3, 4], (7, 1)), axis=1)
    p, exact = chance_of_spread(marks)
    assert exact
    assert shuffles._drawn(shuffles._own(marks), 1) == pytest.approx(p, abs=0.015)


def test_ranking_in_words():
    marks = [[1, 2, 3], [1, 3, 2], [1, 2, 3], [1, 2, 3], [1, 2, 3], [2, 1, 3]]
    answer = ranking(long(marks, "rank"), meaning="liked most")
    assert answer.headline == "The tasters told them apart."
    assert answer.sentence == (
        "Rank sums, from liked most on: A (7), B (12) and C (17). Surely A before C."
    )
    assert answer.could_miss == (
        "With 6 tasters two samples must differ by 7 in their rank sums; a difference of less "
        "than 1.1 places on average would likely be missed."
    )
    assert list(answer.pairs["apart"]) == [False, True, False]
    assert answer.plot().get_xlabel().startswith("rank sum (small: liked most)")
    assert "Cannot tell yet." in str(ranking(long([[1, 2], [2, 1]], "rank")))
    few = ranking(long([[1, 2]] * 4, "rank"))
    assert few.could_miss == "With 4 tasters no result could have been enough."


@pytest.mark.parametrize("samples", [3, 5, 6])
def test_samples_that_are_alike_are_seldom_called_apart_beside_one_that_differs(samples):
    """By the difference of ISO 8587 two of four alike are called apart in 14 of 100 panels.

    4000 panels, standard error 0.35 %: a true 5 in 100 fails by chance once in 400 runs.
    """
    rng = np.random.default_rng(55231)
    felt = rng.normal(size=(4000, 20, samples))
    felt[:, :, 0] += 2
    sums = (felt.argsort(axis=2).argsort(axis=2) + 1).sum(axis=1)
    apart = np.ptp(sums[:, 1:], axis=1)
    panel = pd.DataFrame([[1, *rng.permutation(range(2, samples + 1))] for _ in range(4)])
    used = ranking(long(panel.to_numpy().tolist(), "rank")).least * np.sqrt(20 / 4)
    assert np.mean(apart >= used) <= 0.06
    if samples > 3:
        assert np.mean(apart >= least_difference(20, samples)) > 0.1


def test_repeated_rankings_stay_one_taster():
    once = long([[1, 2, 3], [1, 3, 2], [1, 2, 3]], "rank")
    thrice = ranking(pd.concat([once] * 3))
    assert thrice.tasters == 3
    assert thrice.p == ranking(once).p
    assert "one person's repeats are not more people" in thrice.checks[0]


def test_ranking_refuses_gaps():
    frame = long([[1, 2, 3], [1, 2, 3]], "rank").iloc[:-1]
    with pytest.raises(DataError) as caught:
        ranking(frame)
    assert str(caught.value) == (
        "t1 did not rank C: an order needs every sample. Leave this taster out, or ask again."
    )
    with pytest.raises(NotFoundError, match="no column 'place'"):
        ranking(frame, rank="place")


def test_ranking_holds_its_level():
    """600 panels of 6 that cannot tell: more than 0.077 by chance about once in 1000."""
    rng = np.random.default_rng(9)
    alarms = 0
    for _ in range(600):
        marks = rng.permuted(np.tile([1, 2, 3], (6, 1)), axis=1)
        alarms += chance_of_spread(marks.astype(float))[0] <= 0.05
    assert alarms / 600 <= 0.077


# scores


def drawn(rng, tasters, effects, sd, cuts=(-3, -2, -1, 0, 1, 2, 3, 4)):
    """Scores of one panel from the model itself."""
    noise = rng.logistic(size=(tasters, len(effects)))
    latent = np.array(effects) + sd * rng.normal(size=(tasters, 1)) + noise
    return np.digitize(latent, cuts) + 1


def coded(marks):
    y = np.unique(marks.ravel(), return_inverse=True)[1]
    tasters, samples = marks.shape
    return y, np.tile(np.arange(samples), tasters), np.repeat(np.arange(tasters), samples)


def test_without_tasters_it_is_the_ordered_model_of_statsmodels():
    from statsmodels.miscmodels.ordinal_model import OrderedModel

    marks = drawn(np.random.default_rng(2), 40, [0, 0.7, 1.5], 0.0)
    y, x, _ = coded(marks)
    theirs = OrderedModel(y, np.eye(3)[x][:, 1:], distr="logit")
    found = theirs.fit(method="bfgs", disp=0, maxiter=500, gtol=1e-8)
    ours = ordinal.fit(y, x, None)
    assert ours.log_likelihood == pytest.approx(found.llf, abs=1e-6)
    assert ours.effects[1:] == pytest.approx(found.params[:2], abs=2e-4)
    cuts = theirs.transform_threshold_params(found.params)[1:-1]
    assert ours.thresholds == pytest.approx(cuts, abs=2e-4)
    # at a fixed point, before any search
    vector = np.concatenate([found.params[2:], found.params[:2]])
    value, slope = ordinal._minus_log_likelihood(vector, y, x, None, int(y.max()), 3)
    assert -value == pytest.approx(found.llf, abs=1e-9)
    assert np.abs(slope).max() < 1e-3


@pytest.mark.parametrize("sd", [0.0, 0.4, 1.5, 4.0])
def test_likelihood_with_tasters_by_plain_integration(sd):
    """The integral over tasters on a fine grid, and the slope by differences."""
    from scipy.optimize import approx_fprime
    from scipy.special import expit

    marks = drawn(np.random.default_rng(3), 7, [0, 1, 2], 1.5)
    y, x, who = coded(marks)
    cuts = int(y.max())
    vector = np.concatenate([[-2.0], np.full(cuts - 1, 0.1), [0.5, 1.2], [sd]])

    def minus(v):
        return ordinal._minus_log_likelihood(v, y, x, who, cuts, 3)[0]

    theta = np.concatenate([[-np.inf], ordinal._thresholds(vector, cuts), [np.inf]])
    z = np.linspace(-9, 9, 20_001)
    total = 0.0
    for i in range(7):
        mine = who == i
        eta = np.array([0, 0.5, 1.2])[x[mine]][:, None] + sd * z
        chance = expit(theta[y[mine] + 1][:, None] - eta) - expit(theta[y[mine]][:, None] - eta)
        total += np.log(np.trapezoid(np.prod(chance, axis=0) * stats.norm.pdf(z), z))
    assert -minus(vector) == pytest.approx(total, abs=1e-5)
    inside = vector.copy()
    inside[-1] = max(sd, 0.1)
    slope = ordinal._minus_log_likelihood(inside, y, x, who, cuts, 3)[1]
    assert slope == pytest.approx(approx_fprime(inside, minus, 1e-6), abs=2e-4)


def test_exact_test_of_two_samples_is_the_sign_flip_test():
    """Pitman's test of paired differences, all 2⁷ signs listed by scipy."""
    marks = np.array([[5, 7], [4, 6], [6, 6], [3, 6], [5, 8], [6, 5], [4, 7]])
    theirs = stats.permutation_test(
        (marks[:, 1], marks[:, 0]), lambda a, b: np.mean(a - b), permutation_type="samples",
        n_resamples=np.inf,
    )  # fmt: skip
    answer = scores(long(marks))
    assert answer.exact
    assert answer.p == pytest.approx(theirs.pvalue, abs=1e-12)


def test_scores_in_words():
    marks = [[5, 7], [4, 6], [6, 7], [3, 6], [5, 8], [6, 8], [5, 6], [4, 7]]
    answer = scores(long(marks))
    assert answer.headline == "The tasters scored B higher."
    assert answer.answer == "a difference that matters"
    far = scores(long(marks), matters=0.9)
    assert far.headline == (
        "The tasters scored them apart, but cannot tell yet whether enough to matter."
    )
    assert answer.sentence.startswith(
        "Mean score 6.9 for B, 4.8 for A. By these, a taster scores B"
    )
    assert "With 8 tasters" in answer.could_miss
    frame = answer.to_frame()
    assert set(frame["kind"]) == {"pair", "mean", "score"}
    drawn_points = {float(y) for line in answer.plot().lines for y in line.get_ydata()}
    told = frame.loc[frame["kind"] != "pair", "estimate"]
    assert drawn_points == set(told.astype(float))
    alike = scores(long([[5, 5], [4, 5], [6, 5], [3, 4], [5, 4], [6, 6]]))
    assert alike.headline == "Cannot tell yet."
    assert alike.pairs["chance_low"][0] < 0.5 < alike.pairs["chance_high"][0]


def test_too_few_tasters_for_any_scores():
    """2 of the 2^5 sign patterns are as far out: p = 0.0625 at best (Fisher's exact test)."""
    five = scores(long([[3, 7]] * 4 + [[3, 8]]))
    assert five.p == pytest.approx(2 / 2**5)
    assert five.could_miss == "With 5 tasters no scores could have been enough."
    six = scores(long([[3, 7]] * 5 + [[3, 8]]))
    assert (six.reachable, six.told) == (True, True)


def test_scores_that_hardly_overlap_have_an_answer():
    """The search for the interval's end once ended in an error of scipy's brentq."""
    marks = [[4, 7], [3, 9], [4, 9], [8, 9], [9, 9], [6, 7], [7, 9], [5, 9]]
    answer = scores(long(marks))
    assert answer.p == pytest.approx(2 / 2**7)  # one tie says nothing: sign flips of seven
    lead = answer.leading
    assert (lead["higher"], lead["low"] > 0, lead["low"] < lead["log_odds"]) == ("B", True, True)


def panel(rng, tasters, log_odds):
    """Scores 1 to 9 of two samples, by tasters who use the scale differently."""
    who, cuts = rng.normal(size=(tasters, 1)), np.linspace(-4, 4, 8)
    latent = who + np.array([0, log_odds]) + rng.logistic(size=(tasters, 2))
    return long(1 + np.searchsorted(cuts, latent))


@pytest.mark.long
@pytest.mark.parametrize("tasters", [6, 8, 12, 16])
def test_what_would_be_noticed_is_noticed_as_often(tasters):
    """Differences that are said to be noticed 8 times in 10 are noticed in 7 to 9 of 10."""
    rng = np.random.default_rng(8521000 + tasters)
    said = np.nanmedian([scores(panel(rng, tasters, 1.5)).missed for _ in range(40)])
    # what chance of scoring higher the log odds are, by drawing
    sizes = np.linspace(0, 9, 46)
    apart = [panel(rng, 4000, size)["score"].to_numpy().reshape(-1, 2) for size in sizes]
    one, two = (np.array([marks[:, k] for marks in apart]) for k in (0, 1))
    chance = np.mean(two > one, axis=1) + np.mean(two == one, axis=1) / 2
    size = float(np.interp(said, chance, sizes))
    told = np.mean([scores(panel(rng, tasters, size)).told for _ in range(200)])
    print(f"{tasters} tasters: noticed 8 in 10 from {said:.2f} on, told in {told:.2f}")
    assert 0.7 <= told <= 0.9


def test_only_the_order_of_scores_counts():
    marks = drawn(np.random.default_rng(8), 8, [0, 1.0], 1.0)
    one, other = scores(long(marks)), scores(long(np.exp(marks / 2.0)))
    assert other.leading["log_odds"] == pytest.approx(one.leading["log_odds"], abs=1e-6)


def test_separated_scores_end_and_have_no_far_limit():
    answer = scores(long([[2, 7], [3, 8], [2, 8], [3, 7], [2, 7], [3, 9]]))
    assert answer.leading["high"] == np.inf
    assert answer.leading["low"] > 0
    assert any("without limit" in check for check in answer.checks)


def test_repeats_and_gaps():
    marks = long([[5, 7, 6], [4, 6, 5], [6, 7, 7], [3, 6, 5]])
    again = scores(pd.concat([marks, marks]))
    assert again.tasters == 4
    assert again.p == scores(marks).p
    assert "one person's repeats are not more people" in again.checks[0]
    gap = scores(marks.iloc[:-1])
    assert any("what is missing was left out, not 0" in check for check in gap.checks)
    one = pd.concat([marks, pd.DataFrame([{"taster": "late", "sample": "A", "score": 2}])])
    assert scores(one).tasters == 4
    assert any("1 taster scored fewer than two samples" in c for c in scores(one).checks)
    lost = pd.concat([marks, pd.DataFrame([{"taster": "late", "sample": "D", "score": 2}])])
    assert list(scores(lost).table) == ["A", "B", "C"]
    assert "D left out: scored by such tasters only" in scores(lost).checks
    with pytest.raises(DataError, match="0 tasters scored two samples or more"):
        scores(marks.drop_duplicates("taster").assign(sample=list("ABAB")))


@pytest.mark.parametrize(
    ("change", "error", "said"),
    [
        ({"score": "nice"}, InputError, "score is 'nice': is not a number. Write 1, 2, 3 …"),
        ({"score": 5}, DataError, "every score is 5: nothing can be told apart."),
        (
            {"sample": "A"}, DataError,
            "score is there for 1 samples and 3 tasters: at least two samples and one taster are "
            "needed.",
        ),
    ],
)  # fmt: skip
def test_scores_that_cannot_be_used(change, error, said):
    frame = long([[5, 7], [4, 6], [6, 7]]).assign(**change)
    with pytest.raises(error) as caught:
        scores(frame)
    assert str(caught.value) == said


def of_panels(tasters, effects, sd, panels, seed):
    """Share of panels whose interval of the last against the first sample holds the truth, and
    of those that told the samples apart."""
    rng = np.random.default_rng(seed)
    critical = stats.t.ppf(0.975, tasters - 1)
    held = alarms = used = 0
    for _ in range(panels):
        marks = drawn(rng, tasters, effects, sd)
        y, x, who = coded(marks)
        if y.max() < 1:
            continue
        used += 1
        turned = np.array([0, *range(2, len(effects)), 1])[x] if len(effects) > 2 else x
        best = ordinal.fit(y, turned, who)
        truth = effects[-1] - effects[0]
        there = ordinal.fit(y, turned, who, best.vector, truth)
        held += 2 * (best.log_likelihood - there.log_likelihood) <= critical**2
        alarms += chance_of_spread(marks.astype(float))[0] <= 0.05
    return held / used, alarms / used


#: Tasters, effects of the samples, spread of tasters.
PANELS = [(6, (0, 0), 1.0), (8, (0, 0.7, 1.5), 1.0), (12, (0, 1.5), 0.5)]


@pytest.mark.parametrize(("tasters", "effects", "sd"), PANELS)
def test_score_intervals_hold(tasters, effects, sd):
    """95 % intervals; 80 panels: below 0.86 by chance about once in 1000."""
    held, alarms = of_panels(tasters, effects, sd, 80, 21)
    assert held >= 0.86
    if not any(effects):
        assert alarms <= 0.135


@pytest.mark.long
@pytest.mark.parametrize("tasters", [6, 8, 10, 12])
@pytest.mark.parametrize("effects", [(0, 0), (0, 1.5), (0, 0, 0), (0, 0.7, 1.5)])
@pytest.mark.parametrize("sd", [0.3, 1.5])
def test_score_intervals_hold_in_many_panels(tasters, effects, sd):
    """600 panels: the truth lies in at least 94 % less three standard errors."""
    held, alarms = of_panels(tasters, effects, sd, 600, 22)
    assert held >= 0.94 - 0.029
    if not any(effects):
        assert alarms <= 0.05 + 0.028


# hidden duplicates


@pytest.mark.parametrize("samples", ["AAB", "AABBC", "AABCDE"])
@pytest.mark.parametrize("tasters", [2, 3])
def test_tasters_who_cannot_tell_keep_muffins_apart_as_often_as_said(samples, tasters):
    """Marks out of nothing, most of them alike: within three standard errors of what is said."""
    rng, marks = np.random.default_rng(5850100), tasters * len(samples)
    names = np.repeat(list("IJK"[:tasters]), len(samples))
    frame = pd.DataFrame({"taster": names, "sample": list(samples) * tasters})
    said, came = [], []
    for _ in range(150):
        panel = consistency(frame.assign(score=rng.choice([5, 6, 7], marks, p=[0.15, 0.7, 0.15])))
        if len(panel.all_alike) == tasters:
            assert panel.sentence.endswith("marked all muffins alike, which says nothing.")
            continue
        said.append(panel.luck)
        came.append("marked the same muffin less far apart" in panel.sentence)
        assert not came[-1] or f"by luck, {100 * panel.luck:.0f} % of such" in panel.sentence
    said = np.array(said)
    assert abs(sum(came) - said.sum()) <= 3 * math.sqrt((said * (1 - said)).sum())
    assert 0.03 < said.mean() < 0.4


def test_who_marked_all_muffins_alike_is_told_apart():
    frame = pd.DataFrame({"taster": list("IIIJJJKKK"), "sample": list("AAB" * 3)})
    answer = consistency(frame.assign(score=[5, 5, 5, 5, 5, 8, 6, 6, 2]))
    assert answer.all_alike == ("I",)
    assert answer.luck == pytest.approx(1 / 9, abs=0.01)  # 2 of 6 orders each
    assert answer.sentence == (
        "I marked all muffins alike, which says nothing. Every other taster marked the same muffin "
        "less far apart than different ones; with their marks dealt out by luck, 11 % of such "
        "tastings come out so."
    )
    nothing = consistency(frame.assign(score=5))
    assert nothing.sentence == "I, J and K marked all muffins alike, which says nothing."
    assert math.isnan(nothing.luck)
    mixed = consistency(frame.assign(score=[5, 5, 5, 5, 8, 5, 6, 6, 2]))
    assert mixed.sentence.startswith("I marked all muffins alike, which says nothing. J marks the")


def test_duplicates():
    frame = pd.DataFrame(
        {
            "taster": ["Ida"] * 3 + ["Jon"] * 3,
            "sample": ["A", "A", "B"] * 2,
            "score": [6, 7, 3, 2, 8, 5],
        }
    )
    answer = consistency(frame)
    assert answer.table[["same", "different"]].to_numpy().tolist() == [[1, 3.5], [6, 3]]
    assert answer.unsteady == ("Jon",)
    assert answer.sentence == (
        "Jon marks the same muffin as far apart as different ones: the muffins may be as good as "
        "alike to this taster, or such marks say little; so few duplicates cannot tell which, and "
        "leaving tasters out for it after the tasting would be picking."
    )
    assert answer.headline == (
        "The same muffin, tasted twice, was marked 3.5 apart on average; different muffins 3.2 "
        "apart."
    )
    steady = consistency(frame[frame["taster"] == "Ida"])
    assert steady.sentence == (
        "Every taster marked the same muffin less far apart than different ones; with their marks "
        "dealt out by luck, 33 % of such tastings come out so."
    )
    assert answer.plot().get_xlabel() == "mean distance between marks"
    with pytest.raises(DataError, match="serve a hidden duplicate next time"):
        consistency(frame.drop_duplicates(["taster", "sample"]))
    with pytest.raises(InputError, match="score is 'good': is not a number"):
        consistency(frame.assign(score=["good", *"67328"]))


@pytest.mark.parametrize("samples", [2, 3])
def test_two_muffins_are_not_to_become_fewer(samples):
    marks = np.array([[5, 6, 7], [6, 7, 5], [7, 5, 6]])[:, :samples]
    told = scores(long(marks)).next_step
    assert told.startswith("Next: ask more people")
    assert ("fewer muffins" in told) == (samples > 2)

"""Triangle, duo-trio, pair: against scipy, hand arithmetic, and simulated panels."""

import math

import numpy as np
import pytest
from scipy import stats

from kit.analysis.tasting import duo_trio, exact, pair, tasters_needed, triangle
from kit.analysis.tasting.methods import chance_right, d_prime
from kit.errors import DataError, InputError, NotFoundError


@pytest.mark.parametrize(("test", "guess"), [(triangle, 1 / 3), (duo_trio, 0.5)])
def test_p_and_interval_are_those_of_scipy(test, guess):
    for right, n in ((0, 5), (3, 7), (9, 12), (20, 20), (31, 48)):
        answer = test(right, n)
        ours = stats.binomtest(right, n, guess, alternative="greater")
        assert answer.p == pytest.approx(ours.pvalue, rel=1e-10)
        low, high = stats.binomtest(right, n).proportion_ci(0.90, "exact")
        assert (answer.share.low, answer.share.high) == pytest.approx((low, high), abs=1e-10)
        able = [max(0.0, (s - guess) / (1 - guess)) for s in (low, high)]
        assert answer.noticing[1:] == pytest.approx(able, abs=1e-10)


def test_preference_is_two_sided():
    for first, n in ((6, 6), (5, 6), (9, 10), (8, 10), (3, 12)):
        answer = pair(first, n)
        assert answer.p == pytest.approx(stats.binomtest(first, n, 0.5).pvalue, rel=1e-10)
    # with five tasters no result can reach 5 %: 2 / 32
    assert pair(5, 5).needed is None
    assert not pair(5, 5).told
    assert "no result could have shown" in pair(5, 5).could_miss
    assert math.isnan(pair(9, 10).d.value)


def test_triangle_function_is_a_noncentral_F():
    """pc = 1 − F(3; 1, 1, 2 d²/3): Brockhoff & Christensen 2010, Food Qual Prefer 21:330."""
    for d in (0.3, 1.0, 2.5, 4.0):
        assert chance_right("triangle", d) == pytest.approx(
            stats.ncf.sf(3, 1, 1, 2 * d * d / 3), abs=1e-7
        )


@pytest.mark.parametrize("test", ["triangle", "duo-trio", "pair"])
def test_felt_difference_by_drawing(test):
    """The three tests played with normal impressions; chance of false failure below 1e-4."""
    rng, n, d = np.random.default_rng(7), 200_000, 1.4
    a, b, c = rng.normal(0, 1, (3, n))
    odd = d + c
    if test == "triangle":
        right = np.abs(a - b) < np.minimum(np.abs(a - odd), np.abs(b - odd))
    elif test == "duo-trio":
        right = np.abs(a - b) < np.abs(a - odd)
    else:
        right = odd > a
    assert right.mean() == pytest.approx(chance_right(test, d), abs=4 * 0.5 / math.sqrt(n))
    assert d_prime(test, chance_right(test, d)) == pytest.approx(d, abs=1e-8)


def test_words():
    answer = triangle(9, 12)
    assert str(answer).startswith(
        "The tasters told them apart.\n"
        "9 of 12 right where guessing gives about 4; 8 are enough. The answers fit from 21 to 89 % "
        "of people like these able to tell.\n"
        "With 12 tasters a difference that fewer than 60 % of people can tell would likely be "
        "missed."
    )
    assert repr(answer) == (
        "<Choice triangle: 9 of 12 by 12 tasters, p = 0.0039, a difference that matters>"
    )
    unclear = triangle(6, 12)
    assert unclear.headline == "Cannot tell yet."
    assert "fewer than 60 %" in unclear.could_miss
    assert unclear.next_step == (
        "Next: to notice a difference that 50 % of people can tell, ask 16 different people in a "
        "new tasting."
    )
    assert "<strong>Cannot tell yet.</strong>" in unclear._repr_html_()
    # noticed already: to notice it once more would not say whether it is enough
    assert triangle(14, 20, matters=0.3).next_step == (
        "Next: take it that they are not the same; whether more than 30 % of people can tell takes "
        "a new and larger tasting of different people."
    )
    assert "whether more than 60 % of people prefer A takes" in pair(16, 20, matters=0.6).next_step


def test_large_counts_are_written_out():
    assert "guessing gives about 150; 168 are enough." in triangle(200, 450).sentence


def test_four_answers():
    # the share that matters is 30 %
    assert triangle(60, 75, matters=0.3).answer == "a difference that matters"
    assert triangle(20, 75, matters=0.3).answer == "no difference that matters"
    small = triangle(80, 200, matters=0.3)
    assert small.answer == "a difference too small to matter"
    assert small.headline == "The tasters told them apart, but too few to matter."
    open_ = triangle(9, 12, matters=0.3)
    assert open_.answer == "cannot tell yet"
    assert (
        open_.headline == "The tasters told them apart; cannot tell yet whether enough to matter."
    )
    assert triangle(6, 12, matters=0.3).headline == "Cannot tell yet."


def test_missed_is_what_the_power_says():
    answer = triangle(3, 12)
    right = 1 / 3 + answer.missed * 2 / 3
    assert stats.binom.sf(7, 12, right) == pytest.approx(0.8, abs=1e-9)
    # half of the people able to tell: 35, 63 and 89 % chance (exact binomial)
    for n, chance in ((6, 0.35), (12, 0.63), (18, 0.89)):
        needed = exact.needed_right(n, 1 / 3, 0.05)
        assert exact.power(0.5, [1] * n, 1 / 3, needed) == pytest.approx(chance, abs=0.005)


def test_power_of_repeats_by_drawing():
    """People who always tell or always guess; chance of false failure below 1e-4."""
    tries, guess, share = [3, 3, 2, 4, 1, 3], 1 / 3, 0.4
    needed = exact.needed_right(sum(tries), guess, 0.05)
    rng, n = np.random.default_rng(5), 100_000
    able = rng.random((n, len(tries))) < share
    right = np.where(able, tries, rng.binomial(tries, guess, able.shape)).sum(axis=1)
    assert exact.power(share, tries, guess, needed) == pytest.approx(
        (right >= needed).mean(), abs=4 * 0.5 / math.sqrt(n)
    )


def test_saw_of_panel_sizes():
    need = tasters_needed("triangle", share=0.3)
    chance = need.table.set_index("tasters")["chance"]
    assert chance[need.first] >= 0.8
    assert chance[need.first - 1] < 0.8
    assert chance[need.tasters - 1] < 0.8
    assert (chance[need.tasters :] >= 0.8).all()
    assert need.first < need.tasters
    assert f"{need.first} tasters reach it too" in need.checks[0]
    # every point of the saw from scipy, one by one
    for n in (5, 17, need.first, need.tasters):
        least = exact.needed_right(n, 1 / 3, 0.05)
        assert chance[n] == pytest.approx(stats.binom.sf(least - 1, n, 1 / 3 + 0.3 * 2 / 3))
    alike = tasters_needed("triangle", share=0.3, aim="alike")
    assert triangle(alike.right, alike.tasters, matters=0.3).p_alike <= 0.05
    assert triangle(alike.right + 1, alike.tasters, matters=0.3).p_alike > 0.05
    with pytest.raises(DataError, match="more than 2000 tasters would be needed"):
        tasters_needed("triangle", share=0.01)


def test_a_preference_either_way_is_noticed_at_both_ends():
    """8 of 8, or none of 8: 0.75⁸ + 0.25⁸ where a share of 0.5 prefers one of the two surely."""
    chance = tasters_needed("pair", share=0.5, two_sided=True).table.set_index("tasters")["chance"]
    assert chance[6] == pytest.approx(0.75**6 + 0.25**6, rel=1e-9)
    assert chance[8] == pytest.approx(0.75**8 + 0.25**8, rel=1e-9)


def test_what_repeats_are_worth_in_people_by_hand():
    """Korn & Graubard 1998: p(1 − p)/variance, times (t of answers − 1 over t of tasters − 1)²."""
    right, tries = [2, 0, 1, 2, 1, 0, 2, 1], [2] * 8
    p = 9 / 16
    off = np.array(right) - p * 2
    variance = 8 / 7 * (off**2).sum() / 16**2
    worth = p * (1 - p) / variance * (stats.t.ppf(0.975, 15) / stats.t.ppf(0.975, 7)) ** 2
    assert 8 < worth < 16
    low, high = exact.share_of_people(right, tries, 0.95)
    x, rest = p * worth, (1 - p) * worth
    assert low == pytest.approx(stats.beta.ppf(0.025, x, rest + 1), abs=1e-12)
    assert high == pytest.approx(stats.beta.ppf(0.975, x + 1, rest), abs=1e-12)


def test_repeats_are_not_more_people():
    # 12 people, 3 triangles each: nine always right, three never
    answer = triangle([3] * 9 + [0] * 3, 12, tries=3)
    one_each = triangle(9, 12)
    assert answer.answers == 36
    assert answer.tasters == 12
    width, alone = (a.noticing.high - a.noticing.low for a in (answer, one_each))
    assert width == pytest.approx(alone, rel=0.15)  # what 12 people say, not 36
    assert any("one person's repeats are not more people" in check for check in answer.checks)
    with pytest.raises(InputError, match="must say how many each taster got right"):
        triangle(27, 12, tries=3)
    alike = triangle([1] * 12, 12, tries=3, matters=0.5)
    assert alike.answer == "cannot tell yet"
    assert math.isnan(alike.p_alike)
    assert any("cannot be shown with repeats" in check for check in alike.checks)


def test_one_taster_speaks_for_herself():
    answer = triangle(9, 1, tries=12)
    assert answer.headline == "This one taster told them apart."
    assert "all answers are one taster's" in answer.checks[0]
    assert "this taster notices less than 60 % of the time" in answer.could_miss


def test_repeated_preferences_count_majorities():
    """Six who always want the first and six who always want the other prefer nothing."""
    answer = pair([5] * 6 + [0] * 6, 12, tries=5)
    assert answer.p == 1.0
    # one whim in 36 answers would have been taken for 27 of 36
    some = pair([3] * 9 + [0] * 3, 12, tries=3)
    assert some.counted == (9, 12)
    assert some.p == pytest.approx(stats.binomtest(9, 12).pvalue)
    tied = pair([2, 2, 1, 0], 4, tries=2)
    assert tied.counted == (2, 3)
    assert "1 taster without a majority left out" in tied.checks[0]


def test_faces():
    for answer in (triangle(9, 12), pair(9, 10), duo_trio(3, 10), tasters_needed("pair")):
        ax = answer.plot()
        assert ax.get_xlabel()
        assert len(answer.to_frame())
        assert "\n" not in repr(answer)
    bars = triangle(9, 12).plot()
    heights = [bar.get_height() for bar in bars.patches]
    assert sum(heights) == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (lambda: triangle(13, 12), "correct is 13: must be a whole number from 0 to 12."),
        (lambda: triangle(-1, 12), "correct is -1: must be a whole number from 0 to 12."),
        (lambda: triangle(1.5, 12), "correct is 1.5: must be a whole number from 0 to 12."),
        (lambda: triangle(0, 0), "tasters is 0: must be a whole number from 1."),
        (lambda: triangle([1, 4], 2, 3), "correct is 4: must be a whole number from 0 to 3."),
        (lambda: triangle(9, 12, alpha="5 %"),
         "alpha is '5 %': must lie between 0 and 0.5. Write 0.05."),
        (lambda: tasters_needed(share="half"),
         "share is 'half': must lie between 0 and 1. Write 0.5 for one half."),
        (
            lambda: triangle(9, 12, matters=30),
            "matters is 30: must lie between 0 and 1. Write 0.3 for 30 of 100 people able to tell.",
        ),
        (
            lambda: pair(9, 12, matters=0.3),
            "matters is 0.3: must lie between 0.5 and 1. Write 0.65 for 65 of 100 choosing the "
            "same.",
        ),
    ],
)  # fmt: skip
def test_what_cannot_be(call, said):
    with pytest.raises(InputError) as caught:
        call()
    assert str(caught.value) == said


def test_unknown_test():
    with pytest.raises(NotFoundError) as caught:
        tasters_needed("square")
    assert str(caught.value) == (
        "no tasting method 'square'. There are: 'triangle', 'duo-trio', 'pair'."
    )


def coverage(people, tries, mean, spread, panels, seed):
    """Share of panels whose interval holds the true mean share able to tell, and of alarms.

    A taster's own share able to tell is Beta; `spread` 1 is all or nothing.
    """
    rng, guess = np.random.default_rng(seed), 1 / 3
    held = alarms = 0
    for _ in range(panels):
        if spread >= 1:
            own = (rng.random(people) < mean).astype(float)
        elif mean == 0 or spread == 0:
            own = np.full(people, mean)
        else:
            total = (1 - spread) / spread
            own = rng.beta(mean * total, (1 - mean) * total, people)
        right = rng.binomial(tries, guess + own * (1 - guess))
        answer = triangle(right.tolist(), people, tries)
        held += answer.noticing.low <= mean <= answer.noticing.high
        alarms += answer.told
    return held / panels, alarms / panels


#: Panels: tasters, tries, share able to tell, how unlike the tasters are.
PANELS = [
    (12, 1, 0.3, 0.0), (12, 1, 0.0, 0.0), (12, 3, 0.3, 1.0), (12, 3, 0.3, 0.4),
    (8, 4, 0.5, 1.0), (6, 4, 0.4, 0.5), (12, 3, 0.0, 0.0),
]  # fmt: skip


@pytest.mark.parametrize(("people", "tries", "mean", "spread"), PANELS)
def test_intervals_hold(people, tries, mean, spread):
    """90 % intervals hold the truth; 400 panels: below 0.85 by chance about once in 1000."""
    held, alarms = coverage(people, tries, mean, spread, 400, 11)
    assert held >= 0.85
    if mean == 0:
        assert alarms <= 0.05 + 3.1 * math.sqrt(0.05 * 0.95 / 400)


@pytest.mark.long
@pytest.mark.parametrize(("people", "tries", "mean", "spread"), PANELS)
def test_intervals_hold_in_many_panels(people, tries, mean, spread):
    """4000 panels: the truth lies in at least 89 % less three standard errors."""
    held, alarms = coverage(people, tries, mean, spread, 4000, 12)
    assert held >= 0.89 - 0.015
    if mean == 0:
        assert alarms <= 0.05 + 3.1 * math.sqrt(0.05 * 0.95 / 4000)


def test_counts_may_be_numbers_of_any_kind():
    assert triangle(5.0, np.int64(6)).p == triangle(5, 6).p
    assert triangle([2.0, 3.0], 2, np.float64(3)).p == triangle([2, 3], 2, 3).p


def test_who_was_told_apart_is_not_said_to_fit_nobody():
    assert "The answers fit up to 66 % of people like these able" in triangle(9, 16).sentence
    assert "This taster may be able to tell from " in triangle([4], 1, [5]).sentence

"""Whether a setting does the same in every bake."""

import re

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from statsmodels.formula.api import ols
from statsmodels.stats.anova import anova_lm

import kit
from kit.analysis.checking.with_others import bake_by_bake
from kit.analysis.grouping.structure import read_records
from kit.analysis.verdict import Answer

GROUPS = {"dough": "dough", "bake": "bake"}


def by_dough(rng, differs, bakes=3, doughs=2, pieces=8):
    """Several doughs of each malt a bake; on average malt does nothing, `differs` is its sd."""
    rows = []
    for bake in range(bakes):
        day, own = rng.normal(30, 1), rng.normal(0, differs)
        for malt in (0.0, 1.0):
            for dough in range(doughs):
                height = day + own * (malt - 0.5) + rng.normal(0, 0.8)
                rows += [
                    (bake, f"{bake}{malt}{dough}", malt, height + rng.normal(0, 1.2))
                    for _ in range(pieces)
                ]
    return pd.DataFrame(rows, columns=["bake", "dough", "malt", "height"])


def by_piece(rng, differs, bakes=3, doughs=2, pieces=12):
    """Both settings in every dough."""
    rows = []
    for bake in range(bakes):
        day, own = rng.normal(30, 1), rng.normal(0, differs)
        for dough in range(doughs):
            height = day + rng.normal(0, 0.8)
            rows += [
                (bake, f"{bake}{dough}", i % 2, height + own * (i % 2 - 0.5) + rng.normal(0, 1.2))
                for i in range(pieces)
            ]
    return pd.DataFrame(rows, columns=["bake", "dough", "malt", "height"])


def ask(frame, **more):
    return kit.compare(frame, "height", "malt", **GROUPS, matters=1.5, **more)


def seen(frame, c):
    records = read_records(frame, "height", "malt", c.columns, [], None)
    return bake_by_bake(records.frame, c)


@pytest.mark.parametrize("make", [by_dough, by_piece])
def test_the_p_is_that_of_an_analysis_of_variance(make):
    """Against statsmodels' ``anova_lm``: of dough means, or of pieces beside their doughs."""
    frame = make(np.random.default_rng(21), 3.0)
    found = seen(frame, ask(frame))[0]
    if make is by_dough:
        means = frame.groupby(["bake", "dough", "malt"], as_index=False)["height"].mean()
        table = anova_lm(ols("height ~ C(bake) * C(malt)", means).fit())
        p = table.loc["C(bake):C(malt)", "PR(>F)"]
    else:
        same = ols("height ~ C(dough) + malt", frame).fit()
        p = anova_lm(same, ols("height ~ C(dough) + malt:C(bake)", frame).fit())["Pr(>F)"][1]
    assert p < 0.05
    assert f"p = {p:.2g})" in found.text
    assert found.alarm
    assert found.text.endswith("and the interval speaks of these 3 bakes only")
    assert found.text in ask(frame, examine=True).checks


def test_in_how_many_bakes_the_difference_went_the_same_way():
    frame = by_dough(np.random.default_rng(2), 0.0, bakes=4, doughs=1)
    frame["height"] += frame["malt"] * frame["bake"].map({0: 2, 1: 2, 2: 2, 3: -2})
    c = ask(frame)
    means = frame.groupby(["bake", "malt"])["height"].mean().unstack()
    same = (np.sign(means[1.0] - means[0.0]) == np.sign(c.leading.difference)).sum()
    (found,) = seen(frame, c)
    assert found.text == f"in {same} of 4 bakes the difference went the same way"
    assert not found.alarm


@pytest.mark.parametrize("make", [by_dough, by_piece])
def test_the_answer_for_further_days_is_that_of_a_paired_t_test_of_the_bakes(make):
    """Against SciPy's ``ttest_rel`` of the bakes' means, where bakes disagree."""
    frame = make(np.random.default_rng(21), 3.0, bakes=4)
    c = ask(frame)
    means = frame.groupby(["bake", "malt"])["height"].mean().unstack()
    other = stats.ttest_rel(means[c.leading.level], means[c.leading.versus]).confidence_interval()
    text = seen(frame, c)[1].text
    low, high = re.search(r"\(a difference of (\S+) to (\S+)\)", text).groups()
    told = [float(number.replace("−", "-")) for number in (low, high)]
    assert told == pytest.approx([other.low, other.high], abs=0.06)
    assert "asked of further days" in text
    two = make(np.random.default_rng(21), 3.0, bakes=2)
    assert len(seen(two, ask(two))) == 1  # two bakes tell next to nothing of a third


def proofed(rng, bakes=4, mixings=2, doughs=4, pieces=4):
    """Doughs of two malts, mixed in two goes a bake, each of two proofs, on two loads a bake."""
    rows = []
    for bake in range(bakes):
        day, own = rng.normal(30, 1), rng.normal(0, 2)
        for mixing in range(mixings):
            for dough in range(doughs):
                high, of_dough = dough % 2, rng.normal(0, 0.8)
                for proof in (1.5, 2.0):
                    height = day + own * (high - 0.5) + of_dough + rng.normal(0, 0.8)
                    rows += [
                        (bake, f"{bake}{mixing}", f"{bake}{mixing}{dough}", high, proof, i % 2,
                         24 + 16 * mixing, height + rng.normal())
                        for i in range(pieces)
                    ]  # fmt: skip
    columns = ["bake", "mix", "dough", "malt", "proof_ratio", "load", "retard_hours", "height"]
    return pd.DataFrame(rows, columns=columns)


@pytest.mark.parametrize("mixing", [None, "mix"])
def test_days_to_come_are_told_beside_mixings_shapings_and_loads(mixing):
    """Against SciPy's ``ttest_rel`` of the bakes' means, however many groupings there are."""
    frame = proofed(np.random.default_rng(6810004))
    c = ask(frame, adjust=["proof_ratio"], load="load", mixing=mixing, examine=True)
    inside = (["mixing"] if mixing else []) + ["dough", "shaping", "load"]
    assert c.fit.groups == ("bake", *inside)
    means = frame.groupby(["bake", "malt"])["height"].mean().unstack()
    other = stats.ttest_rel(means[c.leading.level], means[c.leading.versus]).confidence_interval()
    (text,) = [f.text for f in c.examined.findings if f.text.startswith("asked of further days")]
    low, high = re.search(r"\(a difference of (\S+) to (\S+)\)", text).groups()
    told = [float(number.replace("−", "-")) for number in (low, high)]
    assert told == pytest.approx([other.low, other.high], abs=0.06)


def test_another_answer_for_further_days_is_something_to_think_about():
    frame = by_piece(np.random.default_rng(5), 1.6)
    frame["height"] += 3.5 * frame["malt"]
    c = ask(frame)
    assert c.answer is Answer.MATTERS
    (told,) = [f for f in seen(frame, c) if f.text.startswith("asked of further days")]
    assert "the answer would be: cannot tell yet" in told.text
    assert told.alarm


def test_what_an_interval_is_for():
    said = "The interval is for these 3 bakes: that another day does the same is not in it."
    rng = np.random.default_rng(3)
    assert said in ask(by_dough(rng, 0.0)).rests_on
    assert said in ask(by_piece(rng, 0.0)).rests_on
    # with one dough of each a bake, days that disagree are in the spread from dough to dough
    assert "The interval is for" not in ask(by_dough(rng, 0.0, doughs=1)).rests_on


@pytest.mark.long
@pytest.mark.parametrize("make", [by_dough, by_piece])
def test_bakes_that_disagree_are_told(make):
    """400 series a row (standard error 1 % at 5 %): told one time in twenty where all agree."""
    for differs in (0.0, 0.8, 1.6):
        missed = told = further = 0
        for seed in range(400):
            frame = make(np.random.default_rng([seed, 414]), differs)
            c = ask(frame)
            miss = not c.leading.low <= 0 <= c.leading.high
            first, second = seen(frame, c)
            low, high = re.search(r"\(a difference of (\S+) to (\S+)\)", second.text).groups()
            missed, told = missed + miss, told + first.alarm
            further += low[0] != "−" or high[0] == "−"
        print(
            f"{make.__name__}, bakes differ by {differs} mm: interval misses the average of none "
            f"{missed / 4:.1f} %, told {told / 4:.1f} %, of further days {further / 4:.1f} %"
        )
        assert further / 400 < 0.085
        if differs == 0:
            assert told / 400 < 0.085


def test_an_open_answer_is_not_said_to_be_settled_for_further_days():
    """Less is known of days to come than of those baked, though the numbers may look otherwise."""
    frame = by_dough(np.random.default_rng([4, 31650]), 0.0)
    frame["height"] += frame["malt"]
    c = ask(frame)
    (further,) = [f for f in seen(frame, c) if f.text.startswith("asked of further days")]
    assert c.answer is Answer.UNCLEAR
    assert "would be: a difference too small to matter" in further.text
    assert not further.alarm


def test_bakes_that_agree_are_no_alarm_for_further_days():
    """Three bakes tell hardly anything of a fourth, whatever they say: that is said anyhow."""
    alarms = other = 0
    for seed in range(60):
        frame = by_dough(np.random.default_rng([seed, 31651]), 0.0)
        c = ask(frame)
        further = [f for f in seen(frame, c) if f.text.startswith("asked of further days")]
        alarms += any(f.alarm for f in further)
        other += any(f"be: {c.answer.value} (" not in f.text for f in further)
    assert alarms <= 15  # one in four; half of the answers of further days are others
    assert other > alarms


def test_bakes_that_could_not_be_tested_are_not_taken_to_agree(monkeypatch):
    """Too many cells to try are no reason to say that further days will do the same."""
    rng = np.random.default_rng(5597021)
    frames = [by_dough(rng, 1.5) for _ in range(40)]
    tested = [seen(frame, ask(frame)) for frame in frames]
    monkeypatch.setattr("kit.analysis.checking.with_others._MOST_CELLS", 1)
    for frame, before in zip(frames, tested, strict=True):
        c = ask(frame)
        first, *further = seen(frame, c)
        assert not first.alarm
        for then in (f for f in before if f.text.startswith("asked of further days")):
            (now,) = further
            assert now.text == then.text
            less = c.answer is not Answer.UNCLEAR and f"be: {c.answer.value} (" not in now.text
            assert now.alarm is less


def test_bakes_that_disagree_somewhat_are_an_alarm_for_further_days():
    """Power: told in 19 of these 40; where bakes had to differ at 1 in 20, in 9 of them."""
    alarms = 0
    for seed in range(40):
        frame = by_dough(np.random.default_rng([seed, 31652]), 1.5)
        frame["height"] += 4.0 * frame["malt"]
        alarms += any(
            f.alarm for f in seen(frame, ask(frame)) if f.text.startswith("asked of further days")
        )
    assert alarms >= 15

"""Malt strength, falling numbers, yeast kinds: handbook examples are in test_handbook.py."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sample_formulas import harbour

from kit import formula as kf
from kit.errors import InputError, KitError
from kit.formula.yeast import KINDS, kind_of

FN = st.floats(60, 1000)


@given(st.floats(0, 1000))
def test_lintner_there_and_back(lintner):
    assert kf.lintner_from_wk(kf.wk_from_lintner(lintner)) == pytest.approx(lintner, abs=1e-9)


@given(FN)
def test_falling_number_there_and_back(seconds):
    assert kf.falling_number(kf.liquefaction_number(seconds)) == pytest.approx(seconds, rel=1e-9)


@given(FN, FN, st.floats(0.1, 10), st.floats(0.1, 10))
def test_a_blend_lies_between_and_below_the_mean(one, other, a, b):
    blend = kf.blend_falling_number([(one, a), (other, b)])
    assert min(one, other) - 1e-6 <= blend <= max(one, other) + 1e-6
    assert blend <= (one * a + other * b) / (a + b) + 1e-6


def test_a_blend_by_hand():
    # LN 17.143 and 35.294 in equal parts: 26.218, FN = 6000 / 26.218 + 50
    assert kf.blend_falling_number([(400, 1), (220, 1)]) == pytest.approx(278.846, abs=1e-3)


@given(st.floats(0.01, 2), st.floats(20, 250), st.floats(20, 250))
def test_equal_dose_keeps_dose_times_strength(dose, old, new):
    other = kf.equal_dose(dose, old, new)
    assert other * new == pytest.approx(dose * old, rel=1e-12)


def test_equal_dose_in_wk_would_be_wrong():
    # equal enzyme units, from °L: about 4 % off where 0.5 % at 60 °L becomes a malt of 120 °L
    wrong = 0.5 * kf.wk_from_lintner(60) / kf.wk_from_lintner(120)
    assert wrong / kf.equal_dose(0.5, 60, 120) - 1 == pytest.approx(-0.04, abs=0.002)


@pytest.mark.parametrize(
    ("seconds", "malted"),
    [(60, "malted or sprouted"), (219, "malted or sprouted"), (220, "probably"),
     (290, "probably"), (291, "cannot tell"), (399, "cannot tell"), (400, "probably not"),
     (500, "probably not")],
)  # fmt: skip
def test_bands(seconds, malted):
    found = kf.flour_malted(seconds)
    assert (found.malted, found.falling_number_s) == (malted, seconds)


def test_reading_in_words():
    assert str(kf.flour_malted(450)) == (
        "Already malted: probably not. 450 s means little amylase, as flour without malt has, 400 "
        "to 500 s. This is the flour in which malt can show what it does. (Bakers' dictionary, "
        "Baking Business.)"
    )
    assert kf.flour_malted(450, label="Wheat flour (malted barley)").malted == "yes"
    assert kf.flour_malted(label="wheat flour").malted == "cannot tell"
    assert kf.flour_malted(450).to_frame().shape == (1, 4)


REFUSED = [
    (
        lambda: kf.flour_malted(55),
        "falling_number_s is 55: must lie between 60 and 2000. It is printed on the miller's sheet "
        "in seconds, mostly 220 to 500; 60 is the least there can be, since the stirring counts.",
    ),
    (
        lambda: kf.flour_malted(),
        "falling_number_s is None: must not be empty. Give it from the miller's sheet, or the "
        "label.",
    ),
    (
        lambda: kf.falling_number(0),
        "liquefaction_number is 0: must be above 0. Flours have about 10 to 40.",
    ),
    (
        lambda: kf.equal_dose(0.5, 60, 0),
        "new_lintner is 0: must be above 0. Diastatic malts have 20 to 250 °L; malt without "
        "enzymes replaces nothing.",
    ),
    (
        lambda: kf.equal_dose(130, 60, 60),
        "malt_percent is 130: must lie between 0 and 20. Usual are 0 to 1 %.",
    ),
    (
        lambda: kf.wk_from_lintner(-1),
        "lintner is -1: must be at least 0. Malts have 20 to 250 °L.",
    ),
    (
        lambda: kf.blend_falling_number([]),
        "weight is 0: must be above 0. Enter the weight of at least one flour.",
    ),
    (
        lambda: kf.convert_yeast(1, "dry", "fresh"),
        "no kind of yeast 'dry'. There are: 'fresh', 'active dry', 'instant'.",
    ),
    (
        lambda: kf.convert_yeast(math.nan, "fresh", "instant"),
        "yeast is nan: must not be empty. Enter its weight, or its % of the flour.",
    ),
    (
        lambda: kf.convert_yeast(1, "fresh", "instant", factor=0),
        "factor is 0: must be above 0. It is about 0.33 from fresh to instant.",
    ),
]


@pytest.mark.parametrize(("call", "message"), REFUSED)
def test_refused(call, message):
    with pytest.raises(KitError) as caught:
        call()
    assert str(caught.value) == message


@given(st.floats(0, 100), st.sampled_from(KINDS), st.sampled_from(KINDS))
def test_yeast_there_and_back(amount, kind, to):
    there = kf.convert_yeast(amount, kind, to)
    assert there.low - 1e-9 <= there.equals <= there.high + 1e-9
    back = kf.convert_yeast(there.equals, to, kind)
    assert back.equals == pytest.approx(amount, abs=1e-9)
    # a published spread there is the same spread on the way back
    assert back.low <= amount + 1e-9
    assert back.high >= amount - 1e-9


def test_yeast_in_words():
    assert str(kf.convert_yeast(10, "fresh", "active dry")) == (
        "For 10 fresh yeast take 4 active dry; published factors give 3.7 to 5 (a bread book's "
        "factors and Red Star's conversion table; the most is forum practice)."
    )
    assert str(kf.convert_yeast(10, "fresh", "instant", factor=0.4)) == (
        "For 10 fresh yeast take 4 instant (your own factor)."
    )


@pytest.mark.parametrize(
    ("name", "kind"),
    [("instant dry yeast", "instant"), ("fresh yeast", "fresh"), ("compressed yeast", "fresh"),
     ("active dry yeast", "active dry"), ("dried yeast", "active dry"), ("yeast", None)],
)  # fmt: skip
def test_kind_by_name(name, kind):
    assert kind_of(name) == kind


def test_swapping_yeast():
    fresh = kf.swap_yeast(harbour(), "fresh")
    assert fresh["fresh yeast"].percent == pytest.approx(0.4 / 0.33)
    again = kf.swap_yeast(fresh, "instant")
    assert again["instant yeast"].percent == pytest.approx(0.4)
    with pytest.raises(InputError) as unsaid:
        kf.swap_yeast(
            kf.Formula.from_lines("x", [("f", "flour", 100), ("yeast", "yeast", 1)]), "fresh"
        )
    assert str(unsaid.value) == (
        "yeast is 'yeast': does not say its kind. Give kind: 'fresh', 'active dry' or 'instant'."
    )
    with pytest.raises(InputError) as none:
        kf.swap_yeast(kf.Formula.from_lines("x", [("f", "flour", 100)]), "fresh")
    assert str(none.value) == (
        "yeast is None: must be one ingredient with a percentage. Only one yeast can be swapped "
        "for another."
    )

"""Formulas as people write them: what is understood, what is asked about, and the way back."""

import pytest
from hypothesis import given
from sample_formulas import formulas, harbour

from kit.errors import InputError
from kit.formula import read_formula, write_formula


@given(formulas())
def test_what_is_written_is_read_again(made):
    again = read_formula(made.name, write_formula(made))
    for one, other in zip(again.ingredients, made.ingredients, strict=True):
        assert (one.name, one.role) == (other.name, other.role)
        assert one.percent == pytest.approx(other.percent, abs=1e-12)


def test_the_demo_is_written_and_read():
    made = harbour(None)
    assert read_formula(made.name, write_formula(made), made.note) == made


@pytest.mark.parametrize(
    ("text", "rows"),
    [
        ("100 flour\n60 % water", [("flour", "flour", 100), ("water", "liquid", 60)]),
        ("flour type 550: 100\nwater 62,5", [("flour type 550", "flour", 100),
                                             ("water", "liquid", 62.5)]),
        ("rye flour 1/4 lb, bread flour 3/4 lb, buttermilk 1/2 lb",
         [("rye flour", "flour", 25), ("bread flour", "flour", 75), ("buttermilk", "liquid", 50)]),
        ("flour 500 g; butter 25g; eggs 50 g", [("flour", "flour", 100), ("butter", "fat", 5),
                                                ("eggs", "egg", 10)]),
        ("flour 100\n# a remark\n\nmalt flour ?\nmilk powder 2 (other)",
         [("flour", "flour", 100), ("malt flour", "malt", None), ("milk powder", "other", 2)]),
        ("flour 100\nbarley malt syrup 3\nsea salt 2", [("flour", "flour", 100),
                                                        ("barley malt syrup", "sugar", 3),
                                                        ("sea salt", "salt", 2)]),
    ],
)  # fmt: skip
def test_understood(text, rows):
    made = read_formula("any", text)
    assert [(i.name, i.role) for i in made.ingredients] == [row[:2] for row in rows]
    for one, (_, _, percent) in zip(made.ingredients, rows, strict=True):
        assert one.percent == (None if percent is None else pytest.approx(percent, rel=1e-12))


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "formula is '': must not be empty. Write one ingredient a line with its share of the "
             "flour: bread flour 100, water 60 …"),
        ("flour 100\nwater", "formula is 'water': has no number. Write one ingredient a line with "
                             "its share of the flour: bread flour 100, water 60 …"),
        ("flour 100\n60", "formula is '60': has no name. Write one ingredient a line with its "
                          "share of the flour: bread flour 100, water 60 …"),
        ("flour 100\nwater 60 g", "formula is 'any': has weights in some lines and percentages in "
                                  "others. Write all of them in one way."),
        ("flour 100\nstardust 3", "formula is 'stardust 3': does not tell what it does in the "
                                  "dough. Put it in brackets behind the number: one of flour, "
                                  "liquid, salt, yeast, malt, fat, egg, sugar, other."),
        ("flour 0 g\nwater 60 g", "flour is 0: must be above 0. Baker's percentages are measured "
                                  "by the flour: add it."),
        ("flour 100\nwater -60", "percent is -60 (water): must lie between 0 and 1000. Enter it "
                                 "in % of the flour's weight."),
    ],
)  # fmt: skip
def test_refused_in_words(text, message):
    with pytest.raises(InputError) as told:
        read_formula("any", text)
    assert str(told.value) == message

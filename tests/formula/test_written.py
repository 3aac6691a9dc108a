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
        # as ounces and pounds are written: compound, with fractions, without a leading 0
        ("bread flour 1 lb 2 oz\nwater 9 oz\nsalt 0.3 oz\nyeast .1 oz",
         [("bread flour", "flour", 100), ("water", "liquid", 50), ("salt", "salt", 5 / 3),
          ("yeast", "yeast", 5 / 9)]),
        ("flour 8 ¾ Oz.; water 5½ ounces; salt 1/6 oz",
         [("flour", "flour", 100), ("water", "liquid", 550 / 8.75), ("salt", "salt", 100 / 52.5)]),
        ("250 grams flour\n1 1/4 pounds water", [("flour", "flour", 100),
                                                 ("water", "liquid", 226.796185)]),
        ("flour 100\nwater 56 1/2\nsalt 1 3/4\nyeast .5",
         [("flour", "flour", 100), ("water", "liquid", 56.5), ("salt", "salt", 1.75),
          ("yeast", "yeast", 0.5)]),
        ("flour 100\nwater 62,5,salt 2,malt ?,yeast 1",
         [("flour", "flour", 100), ("water", "liquid", 62.5), ("salt", "salt", 2),
          ("malt", "malt", None), ("yeast", "yeast", 1)]),
        ("100 flour\n? diastatic malt powder\nsalt … 2\nyeast — .5",
         [("flour", "flour", 100), ("diastatic malt powder", "malt", None), ("salt", "salt", 2),
          ("yeast", "yeast", 0.5)]),
        ("flour T55 100; milk 3.5 % 68", [("flour T55", "flour", 100),
                                          ("milk 3.5 %", "liquid", 68)]),
        ("flour 550 100; milk (3.5 %) 20", [("flour 550", "flour", 100),
                                            ("milk (3.5 %)", "liquid", 20)]),
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
        ("flour 500 g / 17.6 oz", "formula is 'flour 500 g / 17.6 oz': has two amounts, 500 g and "
                                  "17.6 oz. Write one of them."),
        # 1.8 was to be replaced, and stayed: the salt would have been 2 % of something called 1.8
        ("flour 100\nsalt 1.8 2", "formula is 'salt 1.8 2': has two numbers, 1.8 and 2. Write one "
                                  "of them; what belongs to the name stands in brackets: milk "
                                  "(3.5 %) 20."),
        ("flour 100\n20 milk 3,5", "formula is '20 milk 3,5': has two numbers, 20 and 3,5. Write "
                                   "one of them; what belongs to the name stands in brackets: "
                                   "milk (3.5 %) 20."),
        ("flour 250 g (8.8 oz)", "formula is 'flour 250 g (8.8 oz)': has its amount in the "
                                 "middle, 250 g. Write it once, at the end: bread flour 250 g."),
        ("flour 1 lb 2", "formula is '1 lb 2' (flour 1 lb 2): has a number without a unit at the "
                         "end. Write its unit as well."),
        ("salt 1/2 tsp", "formula is 'salt 1/2 tsp': is a measure of volume (tsp), which flour "
                         "and salt fill unevenly. Weigh it once and write what the scale shows, "
                         "in g or oz."),
        ("2 cups bread flour", "formula is '2 cups bread flour': is a measure of volume (cups), "
                               "which flour and salt fill unevenly. Weigh it once and write what "
                               "the scale shows, in g or oz."),
        ("flour 100\nwater -60", "percent is -60 (water): must lie between 0 and 1000. Enter it "
                                 "in % of the flour's weight."),
    ],
)  # fmt: skip
def test_refused_in_words(text, message):
    with pytest.raises(InputError) as told:
        read_formula("any", text)
    assert str(told.value) == message


def test_a_point_for_thousands_is_told_by_what_was_read():
    with pytest.raises(InputError) as caught:
        read_formula("Bun", "flour 1.200 g; water 680 g")
    assert str(caught.value) == (
        "flour is 1.2: is not a tenth of the water, 680. A point or comma stands before decimals: "
        "write 1200, not 1.200."
    )


def test_a_name_with_a_number_is_written_so_that_it_can_be_read():
    """The plan's form fills its field with what is written, and reads it back."""
    read = read_formula("Bun", "flour 100 %\nmilk 1 60 %\nE 300 2 % (malt)\n2 eggs 8 %")
    assert [one.name for one in read.ingredients] == ["flour", "milk 1", "E 300", "2 eggs"]
    assert read_formula("Bun", write_formula(read)) == read
    weighed = read_formula("Bun", "1. flour 500 g\n2. water 300 g\nyeast 1 7 g")
    assert [one.percent for one in weighed.ingredients] == [100, 60, 1.4]

"""Units: every value here is exact by definition or stands in a published table."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit.errors import InputError, UnitError
from kit.units import convert, find_unit, parse

# 1 oz = 28.349523125 g and 1 in = 25.4 mm exactly (international yard and pound, 1959);
# US cup 236.5882, tbsp 14.78676, tsp 4.928922 ml (NIST SP 811, appendix B.8, rounded there)
EXACT = [
    ("105 F", "°C", (105 - 32) * 5 / 9),
    ("105 °F", "°C", (105 - 32) * 5 / 9),
    ("1/4 oz", "g", 28.349523125 / 4),
    ("1 oz", "g", 28.349523125),
    ("1 lb", "g", 453.59237),
    ("1 lb 4 oz", "g", 20 * 28.349523125),
    ("3 1/2 in", "mm", 88.9),
    ("1½ inches", "mm", 38.1),
    ("2,5", "%", 2.5),
    ("0,125", "g", 0.125),
    (" 61.4 ", "g", 61.4),
    ("5.", "g", 5.0),
    ("2,5 cm", "mm", 25.0),
    ("−4 °C", "°C", -4.0),
    ("72 F", "°C", 200 / 9),
    ("1 h 30", "min", 90.0),
    ("1 h 30 min", "min", 90.0),
    ("1:30", "min", 90.0),
    ("17 h 20", "h", 17 + 1 / 3),
    ("1 day", "h", 24.0),
    ("90 min", "h", 1.5),
    ("35 %", "", 0.35),
    ("2×", "", 2.0),
    ("1e3", "g", 1000.0),
    # °WK = 3.5 °L - 16: 40 °L is 124 °WK, 160 °L is 544 °WK (encyclopedia, citing JECFA)
    ("124 °WK", "°L", 40.0),
    ("544 WK", "°L", 160.0),
]


@pytest.mark.parametrize(("text", "unit", "value"), EXACT)
def test_reads_exactly(text, unit, value):
    assert parse(text, unit) == value


@pytest.mark.parametrize(
    ("text", "ml"), [("1 cup", 236.5882), ("1 tbsp", 14.78676), ("1 tsp", 4.928922)]
)
def test_volumes_of_nist_sp_811(text, ml):
    assert parse(text, "ml") == pytest.approx(ml, rel=5e-7)  # the table's own rounding


@pytest.mark.parametrize("nothing", [None, "", "   ", math.nan])
def test_nothing_typed_is_missing_never_zero(nothing):
    assert parse(nothing, "g") is None


@pytest.mark.parametrize(
    ("text", "unit", "message"),
    [
        (
            "5 oz",
            "mm",
            "rise_height_mm is '5 oz' (piece 1A3): oz measures mass, expected length. "
            "Write it in mm, for example 38 mm or 1 1/2 in.",
        ),
        (
            "5 foo",
            "g",
            "rise_height_mm is '5 foo' (piece 1A3): unknown unit, expected mass. "
            "Write it in g, for example 61.4 g or 2 1/8 oz.",
        ),
        (
            "soft",
            "g",
            "rise_height_mm is 'soft' (piece 1A3): is not a number. Write digits, with a comma "
            "or a point before decimals, for example 2.5 or 3 1/2.",
        ),
        (
            "1,050",
            "g",
            "rise_height_mm is '1,050' (piece 1A3): could mean two numbers. Write 1.050 or 1050.",
        ),
        ("1/0", "g", "rise_height_mm is '1/0' (piece 1A3): divides by zero."),
        (
            "5 g 3",
            "g",
            "rise_height_mm is '5 g 3' (piece 1A3): has a number without a unit at the end.",
        ),
        (
            "4 oz 1 lb",
            "g",
            "rise_height_mm is '4 oz 1 lb' (piece 1A3): has units in an order that cannot be "
            "added.",
        ),
        (
            "1e999",
            "g",
            "rise_height_mm is '1e999' (piece 1A3): is too large or too small a number.",
        ),
    ],
)
def test_says_what_was_expected(text, unit, message):
    with pytest.raises(UnitError) as caught:
        parse(text, unit, "rise_height_mm", "piece 1A3")
    assert str(caught.value) == message


def test_infinite_is_refused():
    with pytest.raises(InputError, match="is not a finite number"):
        parse(math.inf, "g")


@given(st.decimals(-1000, 1000, places=3))
def test_comma_and_point_agree(number):
    text = str(number)
    assert parse(text, "°C") == float(number)
    # an ambiguous "1,050" is refused, never guessed
    try:
        assert parse(text.replace(".", ","), "°C") == float(number)
    except UnitError as error:
        assert error.rule == "could mean two numbers"  # noqa: PT017


@given(
    st.floats(-500, 500, allow_nan=False),
    st.sampled_from([("°C", "F"), ("g", "oz"), ("mm", "in"), ("ml", "cup"), ("h", "min")]),
)
def test_there_and_back(value, units):
    unit, other = units
    shown = convert(value, unit, other)
    assert parse(f"{shown:.17g} {other}", unit) == pytest.approx(value, rel=1e-12, abs=1e-9)


@given(st.text(max_size=20))
def test_never_anything_but_a_number_missing_or_a_unit_error(text):
    try:
        value = parse(text, "g")
    except UnitError:
        return
    assert value is None or math.isfinite(value)


def test_find_unit_wants_the_dimension():
    assert find_unit("″", "length").symbol == "in"
    with pytest.raises(UnitError, match="°F measures temperature, expected mass"):
        find_unit("F", "mass")


def test_a_share_typed_as_a_weight_or_a_spoon_is_told_how_it_is_had():
    for typed, remedy in (
        ("2 g", "It is a share of the flour: 2.5 g to 500 g of flour is 0.5 %."),
        ("1/2 tsp", "Weigh one tsp of it once. It is a share of the flour: 2.5 g to 500 g of "
                    "flour is 0.5 %."),
    ):  # fmt: skip
        with pytest.raises(UnitError) as told:
            parse(typed, "%")
        assert told.value.remedy == remedy

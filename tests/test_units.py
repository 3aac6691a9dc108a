"""Units: every value here is exact by definition or stands in a published table."""

import math
from decimal import Decimal
from fractions import Fraction

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit.errors import InputError, UnitError
from kit.given import as_whole
from kit.quantities import get
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
    ("24 h 10 m", "h", 24 + 1 / 6),
    ("1h5m 30 s", "min", 65.5),
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
    ("text", "unit", "value"),
    [
        ("150 cm3", "ml", 150), ("150CM3", "ml", 150), ("3.5 cm3/g", "ml/g", 3.5),
        ("2 cm2", "mm²", 200), ("24 /cm2", "/cm²", 24), ("1cm3mm", "mm", 13),
    ],
)  # fmt: skip
def test_squares_and_cubes_may_be_written_with_a_digit(text, unit, value):
    assert parse(text, unit) == value


@pytest.mark.parametrize(
    ("text", "ml"), [("1 cup", 236.5882), ("1 tbsp", 14.78676), ("1 tsp", 4.928922)]
)
def test_volumes_of_nist_sp_811(text, ml):
    assert parse(text, "ml") == pytest.approx(ml, rel=5e-7)  # the table's own rounding


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("-2 lb 3 oz", "g", -35 * 28.349523125), ("−1 h 30", "min", -90), ("-0 h 30", "min", -30),
        ("−2 1/2 in", "mm", -63.5), ("−40 F", "°C", -40),
    ],
)  # fmt: skip
def test_a_minus_is_of_all_that_follows(text, unit, value):
    assert parse(text, unit) == pytest.approx(value)


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("40 ℃", "°C", 40), ("212℉", "°C", 100), ("40 ºC", "°C", 40), ("40˚", "°C", 40),
        ("1⁄2 oz", "g", 28.349523125 / 2), ("1 1⁄2 in", "mm", 38.1), ("\ufeff61,4", "g", 61.4),
        ("６１,４", "g", 61.4), ("61\u00a0g", "g", 61),
    ],
)  # fmt: skip
def test_signs_that_look_alike_are_read_alike(text, unit, value):
    assert parse(text, unit) == value


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
            "rise_height_mm is '5 foo' (piece 1A3): has an unknown unit, expected mass. "
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
        (
            "1/0",
            "g",
            "rise_height_mm is '1/0' (piece 1A3): divides by zero. Write digits, with a "
            "comma or a point before decimals, for example 2.5 or 3 1/2.",
        ),
        (
            "5 g 3",
            "g",
            "rise_height_mm is '5 g 3' (piece 1A3): has a number without a unit at the end. "
            "Write its unit as well.",
        ),
        (
            "4 oz 1 lb",
            "g",
            "rise_height_mm is '4 oz 1 lb' (piece 1A3): has units in an order that cannot be "
            "added. Write the larger one first.",
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


@pytest.mark.parametrize(
    "given", [30, 30.0, np.int64(30), np.float32(30), np.array(30.0), Decimal(30), Fraction(60, 2)]
)
def test_a_number_of_any_kind_is_taken_as_it_is(given):
    assert parse(given, "mm") == get("rise_height_mm").check(given).value == as_whole(given) == 30
    assert type(parse(given, "mm")) is float


@pytest.mark.parametrize("given", [None, math.nan, np.nan, pd.NA, pd.NaT, Decimal("NaN")])
def test_every_mark_of_a_missing_value_is_missing(given):
    assert parse(given, "mm") is None
    assert get("rise_height_mm").check(given).value is None
    assert as_whole(given) is None


@pytest.mark.parametrize("given", [True, np.True_, [30.0], np.array([30.0]), {}, 3 + 0j, b"30"])
def test_what_is_no_number_is_refused_in_words(given):
    height = get("rise_height_mm")
    for read in (lambda: parse(given, "mm", height.name), lambda: height.check(given)):
        with pytest.raises(UnitError, match=r"^rise_height_mm is .*: is not a number\. Write"):
            read()


def test_a_number_too_large_for_a_float_is_refused_in_words():
    for large in (10**400, -(10**400), Decimal("1e400")):
        with pytest.raises(UnitError, match="is not a finite number"):
            parse(large, "mm")


@pytest.mark.parametrize("typed", ["2,5", "2,5 N", "2 1/2N", " 2½ N ", 2.5])
def test_a_unit_of_one_s_own_is_read_as_it_is(typed):
    assert parse(typed, "N") == 2.5


@pytest.mark.parametrize(
    ("typed", "unit", "value"),
    [
        ("90 s", "s", 90),
        ("2 min", "s", 120),
        ("500 g", "kg", 0.5),
        ("2", "kg", 2),
        ("1 d", "h", 24),
    ],
)
def test_every_unit_of_the_table_can_be_what_a_quantity_is_kept_in(typed, unit, value):
    assert parse(typed, unit) == pytest.approx(value, rel=1e-15)


def test_another_unit_than_one_s_own_is_refused():
    with pytest.raises(UnitError) as told:
        parse("3 kg", "N", "force_n")
    assert str(told.value) == "force_n is '3 kg': must be in N. Write for example 2 N."


def test_a_time_that_is_not_understood_names_all_its_units():
    with pytest.raises(UnitError, match=r"Write it in min, h or d, for example 90 min, 1 h 30"):
        parse("48,5 Std", "h")


def test_a_degree_sign_alone_is_the_fields_own_unit():
    assert parse("27,5°", "°C") == 27.5

"""Water temperature and friction: handbook examples are in test_handbook.py."""

import math
from decimal import Decimal

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit import formula as kf
from kit.errors import DataError, InputError
from kit.formula.temperature import difference_c

TEMPS = st.floats(5, 40)


def ask(dough=24, flour=20, room=21, friction=5, **more):
    return kf.liquid_temperature(
        dough, flour_temp_c=flour, room_temp_c=room, friction_c=friction, **more
    )


def test_three_and_four_factors():
    assert ask().liquid_temp_c == 26
    assert str(ask()) == "Liquid at 26 °C (79 °F) for a dough of 24 °C (75 °F)."
    four = ask(preferment_temp_c=18)
    assert (four.liquid_temp_c, four.factors) == (4 * 24 - 20 - 21 - 18 - 5, 4)
    assert repr(four) == "<LiquidTemperature 32 °C>"
    assert ask(friction="9 F").liquid_temp_c == 26  # a difference: 9 °F is 5 °C
    assert ask("75,2 F", "68 F", "69.8 F").liquid_temp_c == pytest.approx(26)


@given(TEMPS, TEMPS, TEMPS, st.floats(0, 15), st.booleans(), TEMPS)
def test_fahrenheit_gives_the_same(dough, flour, room, friction, four, preferment):
    def f(c):
        return f"{c * 1.8 + 32:.15g} F"

    more = {"preferment_temp_c": preferment} if four else {}
    try:
        found = ask(dough, flour, room, friction, **more)
    except InputError as error:
        assert error.field == "liquid_temp_c"  # noqa: PT017
        return
    more = {"preferment_temp_c": f(preferment)} if four else {}
    other = ask(f(dough), f(flour), f(room), f"{friction * 1.8:.15f} F", **more)
    assert other.liquid_temp_c == pytest.approx(found.liquid_temp_c, abs=1e-9)


@given(st.lists(st.tuples(TEMPS, TEMPS, TEMPS, TEMPS), min_size=1, max_size=10))
def test_friction_from_records_gives_the_dough_back(rows):
    dough, flour, room, liquid = zip(*rows, strict=True)
    friction = kf.measure_friction(dough, flour, room, liquid)
    # on average the rule with this friction finds the liquid that was used
    found = [3 * d - f - r - friction.mean_c for d, f, r in zip(dough, flour, room, strict=True)]
    assert math.fsum(found) / len(rows) == pytest.approx(math.fsum(liquid) / len(rows), abs=1e-9)


def test_friction_in_words():
    several = kf.measure_friction([24, 25, 24.5], [20, 21, None], [21, 22, 22], [27, 26, 27])
    # 3 × 24 − 68 = 4 and 3 × 25 − 69 = 6: mean 5, standard deviation √2
    assert several.values_c == (4, 6)
    assert several.sd_c == pytest.approx(math.sqrt(2))
    assert str(several) == (
        "Friction 5 °C (a difference; 9 °F), standard deviation 1.4, from 2 doughs. 1 left out: a "
        "temperature is missing."
    )
    found = ask(friction=several)
    assert found.dough_sd_c == pytest.approx(math.sqrt(2) * math.sqrt(1.5) / 3)
    assert str(found) == (
        "Liquid at 26 °C (79 °F) for a dough of 24 °C (75 °F), give or take 0.6 °C as your mixing "
        "varies."
    )
    one = kf.measure_friction([24], [20], [21], [27])
    assert str(one) == (
        "Friction 4 °C (a difference; 7.2 °F), from one dough: how much it varies is not known yet."
    )
    assert math.isnan(ask(friction=one).dough_sd_c)
    assert list(several.to_frame().friction_c) == [4, 6]


def test_friction_refused():
    with pytest.raises(DataError) as lengths:
        kf.measure_friction([24], [20, 21], [21], [27])
    assert str(lengths.value) == (
        "the lists of temperatures are of different lengths: [1, 2]. Give one value a dough in "
        "each, NaN where none was measured."
    )
    with pytest.raises(DataError) as nothing:
        kf.measure_friction([math.nan], [20], [21], [27])
    assert str(nothing.value) == (
        "no dough has all the temperatures that friction needs: dough, flour, room, liquid. "
        "Measure them at the next mixing; one dough is enough to begin with."
    )
    with pytest.raises(InputError) as factors:
        ask(friction=kf.measure_friction([24], [20], [21], [27]), preferment_temp_c=20)
    assert str(factors.value) == (
        "friction_c is 4: was measured with 3 factors, asked for with 4. Measure it on doughs made "
        "the same way, with or without a preferment."
    )


def test_out_of_reach():
    with pytest.raises(InputError) as cold:
        ask(23, 30, 34, 12)
    # 3 × 23 − 30 − 34 − 12 = −7; at 0 °C the dough is 7/3 warmer; ice 7 / 79.7 of the liquid
    assert str(cold.value) == (
        "liquid_temp_c is -7: must be at least 0. With liquid at 0 °C the dough comes out at "
        "25.3 °C (78 °F), 2.3 °C too warm; 9 % of it as ice, the rest at 0 °C, makes up for it "
        "(ice_percent tells for warmer water)."
    )
    with pytest.raises(InputError) as frozen:
        ask(0, 35, 35, 20)
    assert str(frozen.value) == (
        "liquid_temp_c is -90: must be at least 0. With liquid at 0 °C the dough comes out at "
        "30 °C (86 °F), 30 °C too warm; ice alone does not reach it, so chill the flour as well."
    )
    with pytest.raises(InputError) as hot:
        ask(35)
    assert str(hot.value) == (
        "liquid_temp_c is 59: must be at most 55, above which yeast dies (Gardiner and Wilson, The "
        "Inquisitive Cook, 1998). With liquid at 55 °C the dough comes out at 33.7 °C (93 °F), "
        "1.3 °C too cold; warm the flour as well."
    )
    assert ask(22, 20, 41, 5).liquid_temp_c == 0  # the edge is possible


def test_yeast_is_warned_of():
    # The Inquisitive Cook: fresh yeast 35 °C, dry yeast dissolved 41–46 °C, mixed with flour 49–55
    assert ask(27).checks == ()
    assert ask(30).checks == (
        "too warm to dissolve fresh yeast in, which takes 35 °C; dry yeast is not harmed (Gardiner "
        "and Wilson, The Inquisitive Cook, 1998)",
    )
    assert ask(33).checks == (
        "too warm to dissolve yeast in (dry yeast takes 41 to 46 °C, fresh 35 °C); mix dry yeast "
        "into the flour first (Gardiner and Wilson, The Inquisitive Cook, 1998)",
    )
    assert ask(18).checks == (
        "mix dry yeast into the flour first: dissolved in liquid below 38 °C its cells leak, which "
        "makes the dough sticky (Gardiner and Wilson, The Inquisitive Cook, 1998)",
    )


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (
            {"room": math.nan},
            "room_temp_c is None: must not be empty. Enter a number in °C, or text with its unit "
            "such as '75 F'.",
        ),
        (
            {"dough": "75"},
            "dough_temp_c is 75: must lie between -30 and 60. Enter a number in °C, or text with "
            "its unit such as '75 F'.",
        ),
        (
            {"flour": "5 oz"},
            "flour_temp_c is '5 oz': oz measures mass, expected temperature. Write it in °C, for "
            "example 40.5 °C or 105 F.",
        ),
        (
            {"friction": "lots"},
            "friction_c is 'lots': is not a number. Write digits, with a comma or a point before "
            "decimals, for example 2.5 or 3 1/2.",
        ),
        (
            {"friction": 80},
            "friction_c is 80: must lie between -20 and 60. Mostly it is 3 to 19 °C.",
        ),
    ],
)
def test_temperatures_refused(arguments, message):
    with pytest.raises(InputError) as caught:
        ask(**arguments)
    assert str(caught.value) == message


def test_differences():
    assert difference_c("9 F") == 5
    assert difference_c("9 °F") == 5
    assert difference_c("4,5 deg C") == 4.5
    assert difference_c("-1.8F") == pytest.approx(-1)
    assert difference_c("9 ° F") == 5


@given(st.floats(-70, 40), st.floats(0, 40))
def test_ice_balances_heat(needed, tap):
    share = kf.ice_percent(needed, tap) / 100
    if needed >= tap:
        assert share == 0
        return
    # heat of the mixture, 4.19 J/(g K) and 334 J/g, equals that of liquid at the temperature needed
    assert (1 - share) * 4.19 * tap - share * 334 == pytest.approx(4.19 * needed, abs=1e-6)


def test_ice_alone_is_the_end():
    with pytest.raises(InputError) as caught:
        kf.ice_percent(-90, 10)
    assert str(caught.value) == (
        "liquid_temp_c is -90: must be at least −80, what all of it as ice does. Chill the flour "
        "as well."
    )


def test_temperatures_of_doughs_may_come_from_anywhere():
    """By hand: 3 × 24 − 20 − 20 − 20 = 12; the other dough lacks its flour's temperature."""
    found = kf.measure_friction(
        (t for t in (24, 25)), [20, pd.NA], pd.Series([20, 20], index=[7, 7]), [Decimal(20), None]
    )
    assert (found.mean_c, found.left_out) == (12, 1)

import math

import pandas as pd
import pytest

from kit import quantities
from kit.errors import InputError, NotFoundError
from kit.quantities import LEVELS, Quantity

ASKED_FOR = """malt_percent malt_lintner retard_hours retard_temp_c proof_minutes proof_temp_c
proof_ratio room_temp_c dough_temp_c liquid_temp_c hydration_percent salt_percent yeast_percent
ball_weight_g griddle_temp_c waited_minutes side_minutes extra_flips core_temp_c baked_weight_g
bake_loss_percent rise_height_mm diameter_mm volume_ml specific_volume_ml_per_g crumb_openness
cells_per_cm2 median_cell_mm2 browning_l hollow_tap gumminess liking""".split()


@pytest.mark.parametrize("nothing", [None, math.nan, pd.NA, pd.NaT])
def test_what_is_missing_is_shown_as_a_dash(nothing):
    assert quantities.get("rise_height_mm").show(nothing) == "–"


def test_every_quantity_bakers_need_is_known():
    assert set(ASKED_FOR) <= {q.name for q in quantities.all_quantities()}


@pytest.mark.parametrize("quantity", quantities.all_quantities(), ids=lambda q: q.name)
def test_ranges_are_sound(quantity):
    assert quantity.level in LEVELS
    low, high = quantity.possible
    usual_low, usual_high = quantity.usual
    assert low <= usual_low < usual_high <= high
    assert quantity.meaning.endswith(".")
    assert bool(quantity.needs) == bool(quantity.formula)
    assert quantity.check(usual_low).doubt == ""


def test_degrees_that_may_be_fahrenheit_are_asked_about():
    hot = quantities.get("griddle_temp_c")
    assert hot.check(375).doubt == (
        "Griddle temperature 375 °C is unusual (mostly 140 to 230 °C; if it was typed without a "
        "unit and °F is meant, write 375 F). Is it right?"
    )
    assert hot.parse("375").doubt == hot.check(375).doubt
    # who wrote °F, or °C, is not asked for it
    for typed in ("662 F", "662 °F", "350 C", "350°C"):
        assert hot.parse(typed).doubt == (
            "Griddle temperature 350 °C is unusual (mostly 140 to 230 °C). Is it right?"
        )
    with pytest.raises(InputError, match=r"Enter griddle temperature in °C\.$"):
        hot.parse("500 C")
    assert hot.check(250).doubt == (
        "Griddle temperature 250 °C is unusual (mostly 140 to 230 °C). Is it right?"
    )
    with pytest.raises(InputError, match=r"If °F is meant, write 105 F\.$"):
        quantities.get("liquid_temp_c").check(105)
    with pytest.raises(InputError, match=r"Enter liquid temperature in °C\.$"):
        quantities.get("liquid_temp_c").check(1050)


@pytest.mark.parametrize(
    ("name", "typed", "message"),
    [
        ("liquid_temp_c", "105", "liquid_temp_c is 105: must lie between -5 and 100 °C. "
         "If °F is meant, write 105 F."),
        ("liquid_temp_c", "400 F", "liquid_temp_c is '400 F': must lie between -5 and 100 °C. "
         "It was read as 204.44 °C. Enter liquid temperature in °C."),
        ("side_minutes", "5:30", "side_minutes is '5:30': must lie between 0 and 60 min. "
         "It was read as 330 min. Enter time a side in min. For minutes and seconds write "
         "5 min 30."),
        ("malt_percent", "1000000", "malt_percent is 1000000: must lie between 0 and 20 %. "
         "Enter diastatic malt in %."),
    ],
)  # fmt: skip
def test_what_was_typed_is_shown_with_what_it_was_read_as(name, typed, message):
    with pytest.raises(InputError) as caught:
        quantities.get(name).parse(typed)
    assert str(caught.value) == message


def test_impossible_is_refused_with_field_value_and_remedy():
    with pytest.raises(InputError) as caught:
        quantities.get("malt_percent").parse("1000000", "dough 1A")
    assert str(caught.value) == (
        "malt_percent is 1000000 (dough 1A): must lie between 0 and 20 %. "
        "Enter diastatic malt in %."
    )
    with pytest.raises(InputError) as caught:
        quantities.get("extra_flips").parse("1.5", "piece 1A1")
    assert str(caught.value) == (
        "extra_flips is 1.5 (piece 1A1): must be a whole number. Enter extra turns."
    )
    with pytest.raises(InputError, match="must be a finite number"):
        quantities.get("bake_loss_percent").check(-math.inf)


def test_unusual_is_asked_about_and_kept():
    checked = quantities.get("malt_percent").parse("3 %")
    assert checked.value == 3
    assert checked.doubt == ("Diastatic malt 3.00 % is unusual (mostly 0 to 2 %). Is it right?")


def test_missing_stays_missing():
    assert quantities.get("rise_height_mm").parse("").value is None
    assert quantities.get("rise_height_mm").show(None) == "–"


def test_computed_quantities():
    # Gisslen, Professional Baking: loss of 10 % of the raw piece, basis stated
    loss = quantities.get("bake_loss_percent")
    assert loss.needs == ("ball_weight_g", "baked_weight_g")
    assert loss.formula(80.0, 72.0) == pytest.approx(10)
    # J Food Eng 2015 159:36, table 5: apparent density 0.124 g/cm3 is 8.1 ml/g
    light = quantities.get("specific_volume_ml_per_g")
    assert light.needs == ("volume_ml", "baked_weight_g")
    assert light.formula(1000.0, 124.0) == pytest.approx(8.1, abs=0.05)


def test_unknown_name_lists_the_known():
    with pytest.raises(NotFoundError, match=r"no quantity 'hieght'\. There are: 'room_temp_c', "):
        quantities.get("hieght")


def test_own_quantity():
    own = Quantity(
        "crust_mm", "Crust", "mm", "piece", (0, 50), (0.5, 5), 1, "Thickness of the crust."
    )
    try:
        quantities.add(own)
        assert quantities.add(own) is own  # saying it twice is no clash
        assert quantities.label("crust_mm") == "Crust (mm)"
        with pytest.raises(InputError, match="is taken by another quantity"):
            quantities.add(Quantity("crust_mm", "C", "mm", "dough", (0, 1), (0, 1), 1, "x."))
    finally:
        quantities._KNOWN.pop("crust_mm", None)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (
            {"name": "Crust mm"},
            "name is 'Crust mm': must be lower-case letters, digits and underscores. "
            "For example crust_thickness_mm.",
        ),
        ({"level": "crumb"}, "level is 'crumb': must be one of bake, dough, load, piece."),
        ({"label": " "}, "label is ' ': must not be empty. Forms and charts show it."),
        ({"decimals": -1}, "decimals is -1: must be a whole number from 0 to 9."),
        ({"unit": "°F"}, "unit is '°F': must have its zero where °C or °L has it."),
        (
            {"usual": (5, 1)},
            "usual is (5, 1): must be two numbers, the lower one first.",
        ),
    ],
)
def test_unsound_quantity_is_refused(change, message):
    sound = {
        "name": "crust_mm", "label": "Crust", "unit": "mm", "level": "piece",
        "possible": (0, 50), "usual": (0.5, 5), "decimals": 1, "meaning": "Thickness.",
    }  # fmt: skip
    with pytest.raises(InputError) as caught:
        quantities.add(Quantity(**(sound | change)))
    assert str(caught.value) == message

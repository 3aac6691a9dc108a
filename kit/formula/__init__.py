"""Formulas: baker's percentages, scaling, weighing, water temperature, malt and yeast.

Pure computation: numbers in, small frozen results out.

Examples
--------
>>> from kit import formula
>>> muffin = formula.Formula.from_lines("Griddle muffin", [
...     ("bread flour", "flour", 100), ("water", "liquid", 56), ("whole milk", "liquid", 20),
...     ("salt", "salt", 1.8), ("instant dry yeast", "yeast", 0.4),
...     ("diastatic malt", "malt", None)])
>>> batch = formula.scale(muffin.with_setting("malt_percent", 0.8), pieces=6, raw_piece_g=76)
>>> print(batch)
Griddle muffin, 6 × 76 g, raw
  254.7 g  bread flour
  142.7 g  water
   50.9 g  whole milk
   4.59 g  salt
   1.02 g  instant dry yeast
   2.04 g  diastatic malt
456 g of dough. 6 raw pieces of 76 g.
>>> formula.weigh(muffin, [{"malt_percent": m} for m in (0, 0.4, 0.8)], flour_g=250).blends
(<PreBlend diastatic malt 1:49, 3 doses apart>,)
"""

from kit.formula.allergens import Allergen, allergens
from kit.formula.card import card, to_jsonld
from kit.formula.check import Doubt, bake_loss_doubts, doubts, malt_doubts
from kit.formula.formula import Formula
from kit.formula.ingredient import ROLES, Ingredient, water_in
from kit.formula.losses import bake_loss_percent, rebase_loss
from kit.formula.malt import (
    blend_falling_number,
    equal_dose,
    falling_number,
    flour_malted,
    lintner_from_wk,
    liquefaction_number,
    wk_from_lintner,
)
from kit.formula.preblend import PreBlend, preblend
from kit.formula.rounding import round_to_step
from kit.formula.scaling import Batch, Division, divide, scale
from kit.formula.sheet import WeighingSheet, Weight
from kit.formula.temperature import (
    Friction,
    LiquidTemperature,
    ice_percent,
    liquid_temperature,
    measure_friction,
)
from kit.formula.weighing import weigh
from kit.formula.written import read_formula, write_formula
from kit.formula.yeast import YeastAmount, convert_yeast, swap_yeast

__all__ = [
    "ROLES", "Allergen", "Batch", "Division", "Doubt", "Formula", "Friction", "Ingredient",
    "LiquidTemperature", "PreBlend", "WeighingSheet", "Weight", "YeastAmount", "allergens",
    "bake_loss_doubts", "bake_loss_percent", "blend_falling_number", "card", "convert_yeast",
    "divide", "doubts", "equal_dose", "falling_number", "flour_malted", "ice_percent",
    "lintner_from_wk", "liquefaction_number", "liquid_temperature", "malt_doubts",
    "measure_friction", "preblend", "read_formula", "rebase_loss", "round_to_step", "scale",
    "swap_yeast", "to_jsonld", "water_in", "weigh", "wk_from_lintner", "write_formula",
]  # fmt: skip

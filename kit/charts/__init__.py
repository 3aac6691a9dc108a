"""Pictures of results: every point drawn is a number in the result's `to_frame`.

A chart takes a result and an Axes, or makes a figure of its own outside pyplot, so that nothing
stays open. One module a subject; what they share is in `base`.
"""

from kit.charts.compared import MOST_MARKS, comparison, describe, drawn, so_far
from kit.charts.dose import (
    dose_response,
    fit_checks,
    outcomes_by_setting,
    overview,
    surface,
)
from kit.charts.page import svg
from kit.charts.photographed import browning, crumb, proof_series, side_view
from kit.charts.plans import (
    doughs_and_pieces,
    doughs_of_a_plan,
    intervals_over_looks,
    plates,
    spread_bars,
)
from kit.charts.regression import coefficients
from kit.charts.rise import photos_in_words, rise_curve, rise_forecast, rises
from kit.charts.steady import control_chart, gauge, griddle_map, steadiness
from kit.charts.tasted import (
    against_guessing,
    rank_sums,
    same_and_different,
    taster_lines,
    tasters_needed,
)
from kit.charts.timetable import doubling, timetable

__all__ = [
    "MOST_MARKS", "against_guessing", "browning", "coefficients", "comparison", "control_chart",
    "crumb", "describe", "dose_response", "doubling", "doughs_and_pieces",
    "doughs_of_a_plan", "drawn", "fit_checks", "gauge", "griddle_map", "intervals_over_looks",
    "outcomes_by_setting", "overview", "photos_in_words", "plates", "proof_series", "rank_sums",
    "rise_curve", "rise_forecast", "rises", "same_and_different", "side_view", "so_far",
    "spread_bars", "steadiness", "surface", "svg", "taster_lines", "tasters_needed", "timetable",
]  # fmt: skip

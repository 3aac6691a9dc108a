"""Pictures of results: every point drawn is a number in the result's `to_frame`.

A chart takes a result and an Axes, or makes a figure of its own outside pyplot, so that nothing
stays open. One module a subject; what they share is in `base`.
"""

from kit.charts.browned import browning
from kit.charts.compared import MOST_MARKS, comparison, describe, drawn
from kit.charts.cut_face import crumb
from kit.charts.dose import (
    dose_response,
    fit_checks,
    outcomes_by_setting,
    overview,
    surface,
)
from kit.charts.page import svg
from kit.charts.plans import (
    doughs_and_pieces,
    doughs_of_a_plan,
    intervals_over_looks,
    plates,
    spread_bars,
)
from kit.charts.regression import coefficients
from kit.charts.rise import curve_fit, photos_in_words, rise_curve, rise_forecast, rises
from kit.charts.side_views import proof_series, side_view
from kit.charts.so_far import so_far
from kit.charts.steady import control_chart, gauge, griddle_map, steadiness
from kit.charts.timetable import doubling, timetable

__all__ = [
    "MOST_MARKS",
    "browning",
    "coefficients",
    "comparison",
    "control_chart",
    "crumb",
    "curve_fit",
    "describe",
    "dose_response",
    "doubling",
    "doughs_and_pieces",
    "doughs_of_a_plan",
    "drawn",
    "fit_checks",
    "gauge",
    "griddle_map",
    "intervals_over_looks",
    "outcomes_by_setting",
    "overview",
    "photos_in_words",
    "plates",
    "proof_series",
    "rise_curve",
    "rise_forecast",
    "rises",
    "side_view",
    "so_far",
    "spread_bars",
    "steadiness",
    "surface",
    "svg",
    "timetable",
]

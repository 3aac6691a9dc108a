"""Pictures of results: every point drawn is a number in the result's `to_frame`.

A chart takes a result and an Axes, or makes a figure of its own outside pyplot, so that nothing
stays open. One module a subject; what they share is in `base`.
"""

from kit.charts.compared import MOST_MARKS, comparison, describe, drawn
from kit.charts.dose import (
    dose_response,
    fit_checks,
    outcomes_by_setting,
    overview,
    surface,
)
from kit.charts.page import svg
from kit.charts.regression import coefficients
from kit.charts.rise import curve_fit, rise_curve, rise_forecast, rises
from kit.charts.steady import control_chart, gauge, griddle_map, steadiness

__all__ = [
    "MOST_MARKS",
    "coefficients",
    "comparison",
    "control_chart",
    "curve_fit",
    "describe",
    "dose_response",
    "drawn",
    "fit_checks",
    "gauge",
    "griddle_map",
    "outcomes_by_setting",
    "overview",
    "rise_curve",
    "rise_forecast",
    "rises",
    "steadiness",
    "surface",
    "svg",
]

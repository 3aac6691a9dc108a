"""Pictures of steadiness: every mark is a number of the result."""

import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
import pytest
from matplotlib.figure import Figure

from kit import charts
from kit.analysis.control_chart import control_chart
from kit.analysis.gauge import gauge
from kit.analysis.griddle_map import griddle_map
from kit.analysis.steadiness import steadiness


@pytest.fixture(scope="module")
def frame():
    """Four bakes, two doughs each, six places; seeded, no claim hangs on the numbers."""
    rng = np.random.default_rng(3)
    rows = [
        (bake, f"{bake}{dough}", place + 1, 28 + rng.normal(0, 0.6) + (2 if place == 2 else 0))
        for bake in range(4) for dough in range(2) for place in range(6)
    ]  # fmt: skip
    return pd.DataFrame(rows, columns=["bake", "dough", "place", "rise_height_mm"])


@pytest.fixture(scope="module")
def results(frame):
    readings = pd.DataFrame({"piece": np.repeat(list("abcdef"), 2)})
    steady = [28, 28.1] * 3
    readings["rise_height_mm"] = 28 + np.random.default_rng(1).normal(size=12)
    return {
        "steadiness": steadiness(frame, "rise_height_mm", place="place"),
        "griddle_map": griddle_map(frame, "rise_height_mm", across=3),
        "control_chart": control_chart([*steady, 33.0], list("abcdefg"), "rise_height_mm"),
        "gauge": gauge(readings, "rise_height_mm"),
    }  # fmt: skip


def test_bars_of_the_sources(results):
    s = results["steadiness"]
    ax = s.plot()
    assert [bar.get_width() for bar in ax.patches] == pytest.approx(s.components["sd"].tolist())
    ends = ax.collections[0].get_segments()
    assert np.array([e[:, 0] for e in ends]) == pytest.approx(s.components[["low", "high"]])
    names = [t.get_text().split(" · ")[0] for t in ax.get_yticklabels()]
    assert names == s.components["component"].tolist()
    assert "(standard deviation, mm)" in ax.get_xlabel().replace("\n", " ")


def test_the_griddle(results):
    m = results["griddle_map"]
    ax = m.plot()
    texts = [t.get_text() for t in ax.texts]
    for row in m.places.itertuples():
        assert str(row.place) in texts
        sign = "+" if row.difference > 0 else "−"
        assert f"{sign}{abs(row.difference):.2f}" in texts
    thick = [p for p in ax.patches if p.get_linewidth() > 2]
    assert len(thick) == len(m.apart) == 1
    assert (round(thick[0].get_x()), round(thick[0].get_y())) == (2, 0)


def test_bakes_with_limits_and_moving_ranges(results):
    c = results["control_chart"]
    ax = c.plot()
    upper, lower = ax.figure.axes
    assert ax is upper
    assert ax.lines[0].get_ydata() == pytest.approx(c.points["value"])
    heights = {round(float(line.get_ydata()[0]), 9) for line in ax.lines[1:]}
    assert {round(v, 9) for v in (c.centre, c.lower, c.upper)} <= heights
    marked = next(line for line in ax.lines if line.get_label() == "sign of a change")
    assert marked.get_xdata().tolist() == [6]
    moved = lower.lines[0].get_ydata()
    assert moved[1:] == pytest.approx(c.points["moving_range"].iloc[1:].tolist())
    assert [t.get_text() for t in lower.get_xticklabels()] == list("abcdefg")


def test_readings(results):
    g = results["gauge"]
    ax = g.plot()
    assert ax.lines[0].get_ydata() == pytest.approx(g.points["rise_height_mm"])
    bar = ax.collections[-1].get_segments()[0]
    assert bar[1, 1] - bar[0, 1] == pytest.approx(g.repeat["limit"])


def test_what_was_measured_so_far():
    points = pd.DataFrame(
        {"bake": "1", "dough": list("aabbcc"), "level": [0, 0, 0.6, 0.6, 0, 0],
         "value": [29.0, 30, 34, 35, 28, 31]}
    )  # fmt: skip
    ax = charts.so_far(points, "rise_height_mm", "malt_percent")
    dots = sorted(v for line in ax.lines if line.get_marker() == "o" for v in line.get_ydata())
    assert dots == sorted(points["value"])
    (diamonds,) = (line for line in ax.lines if line.get_marker() == "D")
    means = sorted((round(float(x)), float(y)) for x, y in diamonds.get_xydata())
    assert means == [(0, 29.5), (0, 29.5), (1, 34.5)]
    assert [text.get_text() for text in ax.get_xticklabels()] == ["0", "0.6"]
    assert [text.get_text() for text in ax.get_legend().get_texts()] == [
        "one piece", "mean of a dough",
    ]  # fmt: skip
    assert charts.so_far(points, "rise_height_mm", "malt_percent", Figure().subplots()) is not ax


@pytest.mark.parametrize("name", ["steadiness", "griddle_map", "control_chart", "gauge"])
def test_it_draws_where_it_is_told_to_and_keeps_no_figure_open(results, name):
    before = plt.get_fignums()
    ax = Figure().subplots()
    assert getattr(charts, name)(results[name], ax) is ax
    assert results[name].plot(ax) is ax
    assert results[name].plot() is not ax
    assert plt.get_fignums() == before
    text = charts.svg(results[name].plot(), "Steadiness", str(results[name]))
    assert text == charts.svg(results[name].plot(), "Steadiness", str(results[name]))

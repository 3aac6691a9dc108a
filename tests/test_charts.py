"""The charts: every mark is a number of the result, and the words fit the picture."""

import re
from functools import cache
from itertools import pairwise
from pathlib import Path
from xml.etree import ElementTree

import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
import pytest
from matplotlib.colors import to_hex
from matplotlib.figure import Figure

from kit import charts
from kit.analysis.compare import compare
from kit.analysis.comparison import Comparison
from kit.analysis.mixed import mixed
from kit.charts.colours import ORANGE
from kit.charts.regression import coefficient_in_words

DATASETS = Path(__file__).parents[1] / "datasets"
LONG_NAMES = (
    "stone-ground wholemeal from the mill", "plain white bread flour, strong",
    "half rye and half wheat", "spelt", "einkorn with 10 % oat bran added", "manitoba",
    "extraordinarilylongsinglewordflour", "old lot",
)  # fmt: skip


@cache
def cake(by: str = "recipe", **options) -> Comparison:
    frame = pd.read_csv(DATASETS / "published" / "cake.csv")
    given = {"dough": "mix", "bake": "replicate", "matters": 3.0} | options
    return compare(frame, "angle_deg", by, **given)


@cache
def demo(outcome: str, by: str, **options) -> Comparison:
    frame = pd.read_csv(DATASETS / "demo" / "pieces.csv")
    return compare(frame, outcome, by, dough="dough", bake="bake", matters=2.0, **options)


@cache
def made(
    names: tuple[str, ...], doughs: int = 3, pieces: int = 4, by: str = "flour_kind"
) -> Comparison:
    """Doughs of every setting on every bake; seeded, no claim hangs on the numbers."""
    rng = np.random.default_rng(5)
    rows = [
        {"bake": bake, "dough": f"{bake}-{i}", by: name, "rise_height_mm": rng.normal(28 + i, 1)}
        for bake in range(doughs)
        for i, name in enumerate(names)
        for _ in range(pieces)
    ]
    frame = pd.DataFrame(rows)
    return compare(frame, "rise_height_mm", by, dough="dough", bake="bake", matters=1.5)


def marks(ax, label: str):
    """Places and heights of the marks with this label."""
    line = next(line for line in ax.lines if str(line.get_label()).startswith(label))
    return np.asarray(line.get_xdata(), float), np.asarray(line.get_ydata(), float)


def numbers(c: Comparison, kind: str) -> pd.DataFrame:
    frame = c.to_frame()
    return frame[frame["kind"] == kind]


CASES = {
    "cake by recipe": cake,
    "cake by temperature": lambda: cake("temperature_f"),
    "height by malt": lambda: demo("rise_height_mm", "malt_percent"),
    "browning by side time": lambda: demo("browning_l", "side_minutes"),
    "eight flours": lambda: made(LONG_NAMES),
}


@pytest.mark.parametrize("case", CASES)
def test_every_mark_is_a_number_of_the_result(case):
    c = CASES[case]()
    ax = charts.comparison(c)
    pieces, means = numbers(c, "piece"), numbers(c, "mean")
    assert marks(ax, "one piece")[1] == pytest.approx(pieces["estimate"].to_numpy())
    if "dough" in charts.drawn(c):
        doughs = numbers(c, "dough")
        assert marks(ax, "mean of a dough")[1] == pytest.approx(doughs["estimate"].to_numpy())
    bars = ax.containers[0]
    assert bars.lines[0].get_ydata() == pytest.approx(means["estimate"].to_numpy())
    ends = np.array([segment[:, 1] for segment in bars.lines[2][0].get_segments()])
    assert ends == pytest.approx(means[["low", "high"]].to_numpy(float))


@pytest.mark.parametrize("case", CASES)
def test_pieces_stand_with_their_dough_and_doughs_with_their_setting(case):
    c = CASES[case]()
    x, _ = marks(charts.comparison(c), "one piece")
    places = c.points.assign(x=x).groupby(["bake", "dough", "level"], observed=True)["x"]
    assert places.nunique().max() == 1
    slots = {level: i for i, level in enumerate(c.means["level"])}
    columns = places.first().reset_index()
    assert not columns.duplicated(["level", "x"]).any()
    away = columns["x"] - columns["level"].map(slots)
    assert away.abs().max() < 0.4


def test_the_band_is_what_matters_around_the_setting_compared_with():
    c = demo("browning_l", "side_minutes")
    band = charts.comparison(c).patches[0]
    around = c.means.set_index("level")["mean"][c.leading.versus]
    assert band.get_label() == "less than this does not matter (2)"
    assert (band.get_y(), band.get_height()) == pytest.approx((around - 2, 4))


def test_no_band_where_nobody_said_what_matters():
    ax = charts.comparison(cake(matters=None))
    assert not ax.patches
    words = [text.get_text() for text in ax.get_legend().get_texts()]
    assert words == ["one piece", "mean of a dough", "mean of a setting, with its 95 % interval"]


def test_the_legend_goes_from_the_smallest_mark_to_the_largest():
    words = [text.get_text() for text in charts.comparison(cake()).get_legend().get_texts()]
    assert words == [
        "one piece",
        "mean of a dough",
        "mean of a setting, with its 95 % interval",
        "less than this does not matter (3)",
    ]


def test_a_straight_line_with_everything_at_its_true_place():
    c = cake("temperature_f", line=True)
    ax = charts.comparison(c)
    x, y = marks(ax, "one piece")
    assert x == pytest.approx(c.points["level"].to_numpy(float))
    assert y == pytest.approx(c.points["value"].to_numpy(float))
    x, y = marks(ax, "the straight line")
    assert x == pytest.approx(c.means["level"].to_numpy(float))
    assert y == pytest.approx(c.means["mean"].to_numpy(float))
    outline = ax.collections[0].get_paths()[0].vertices
    assert set(c.means["low"]) | set(c.means["high"]) <= set(outline[:, 1])
    assert ax.get_xlabel() == "Temperature f"


def test_axes_are_named_with_their_units():
    ax = charts.comparison(demo("rise_height_mm", "malt_percent"))
    assert ax.get_ylabel() == "Height (mm)"
    assert ax.get_xlabel() == "Diastatic malt (%) · 5 doughs at each"
    assert [t.get_text() for t in ax.get_xticklabels()] == ["0", "0.4", "0.8", "1.2"]


def test_settings_say_how_much_stands_behind_them_where_that_differs():
    few = made(("A", "B"))
    frame = few.points.drop(index=few.points.index[few.points["dough"] == "0-0"])
    c = compare(frame, "value", "level", dough="dough", bake="bake")
    assert [t.get_text() for t in charts.comparison(c).get_xticklabels()] == [
        "A\n2 doughs",
        "B\n3 doughs",
    ]


@pytest.mark.parametrize("settings", [2, 4, 8])
def test_long_names_do_not_run_into_each_other(settings):
    ax = charts.comparison(made(LONG_NAMES[:settings]))
    ax.figure.draw_without_rendering()
    boxes = [label.get_window_extent() for label in ax.get_xticklabels()]
    for left, right in pairwise(boxes):
        assert left.x1 < right.x0
    whole = ax.figure.bbox
    legend = ax.get_legend().get_window_extent()
    assert legend.y0 >= ax.get_window_extent().y1 - 1
    assert legend.y1 <= whole.y1 + 1


def test_too_many_pieces_to_draw_are_left_out_and_the_words_say_so():
    c = made(("A", "B"), pieces=200)
    assert len(c.points) > charts.MOST_MARKS
    ax = charts.comparison(c)
    assert "one piece" not in [text.get_text() for text in ax.get_legend().get_texts()]
    assert "The means of 6 doughs as diamonds, and the mean" in charts.describe(c)


def test_it_draws_where_it_is_told_to_and_keeps_no_figure_open():
    before = plt.get_fignums()
    ax = Figure().subplots()
    assert charts.comparison(cake(), ax) is ax
    assert cake().plot(ax) is ax
    charts.comparison(cake())
    charts.coefficients(cake().fit)
    assert plt.get_fignums() == before


def test_the_cake_described_in_words():
    assert charts.describe(cake()) == (
        "Chart. Upwards: Angle deg. Along: Recipe, 3 settings. 270 pieces as small dots and the "
        "means of 45 doughs as diamonds, and the mean of each setting with its 95 % interval: at "
        "A 33.1 (29.5 to 36.8), from 15 doughs; at B 31.6 (28.0 to 35.3), from 15 doughs; at C "
        "31.6 (27.9 to 35.3), from 15 doughs. A band marks 3 either side of the mean at A: less "
        "than that does not matter. The answer: Cannot tell yet."
    )


def test_the_line_described_in_words():
    assert charts.describe(cake("temperature_f", line=True, matters=None)) == (
        "Chart. Upwards: Angle deg. Along: Temperature f. 270 pieces as small dots, and a "
        "straight line with its 95 % interval: at 175 28.2 (24.6 to 31.8); at 225 36.1 (32.5 to "
        "39.7). The answer: A difference."
    )


def test_coefficients_are_the_fit_s_own():
    fit = cake().fit
    ax = charts.coefficients(fit)
    shown = fit.to_frame().set_index("name").drop(index="Intercept")
    assert ax.containers[0].lines[0].get_xdata() == pytest.approx(shown["estimate"].to_numpy())
    ends = np.array([s[:, 0] for s in ax.containers[0].lines[2][0].get_segments()])
    assert ends == pytest.approx(shown[["low", "high"]].to_numpy())
    assert [t.get_text() for t in ax.get_yticklabels()] == ["recipe B", "recipe C"]
    assert ax.get_xlabel() == "Change in angle deg, with 95 % intervals"


def test_a_constant_alone_is_drawn():
    frame = pd.DataFrame({"dough": [1, 1, 2, 2, 3, 3], "height": [1, 2, 2, 3, 3, 5.0]})
    ax = charts.coefficients(mixed(frame, "height ~ 1", ["dough"]))
    assert ax.containers[0].lines[0].get_xdata() == pytest.approx([8 / 3])


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("C(malt_percent)[T.0.4]:waited_minutes",
         "diastatic malt at 0.4 % × waited before the griddle"),
        ("C(flour)[T.old lot]", "flour old lot"),
        ("np.log(x)", "np.log(x)"),
    ],
)  # fmt: skip
def test_coefficients_in_words(name, words):
    assert coefficient_in_words(name) == words


def test_svg_is_the_same_each_time_and_asks_for_nothing():
    first, second = (
        charts.svg(charts.comparison(cake()), "Angle", "In words <b>.") for _ in range(2)
    )
    assert first == second
    tree = ElementTree.fromstring(first)
    assert tree.find("title").text == "Angle"
    assert tree.find("desc").text == "In words <b>."
    assert tree.get("role") == "img"
    assert tree.get("aria-labelledby") == tree.find("title").get("id")
    assert tree.get("aria-describedby") == tree.find("desc").get("id")
    assert not re.search(r"http|xlink|<script|src=|metadata|20\d\d-", first)
    ids = [e.get("id") for e in tree.iter() if e.get("id")]
    assert len(ids) == len(set(ids))
    words = [e.text for e in tree.iter("text")]
    assert {"one piece", "Angle deg", "A", "B", "C", "Recipe · 15 doughs at each"} <= set(words)


def test_two_charts_stand_on_one_page_without_names_that_clash():
    one = charts.svg(charts.comparison(cake()), "One", "First.")
    other = charts.svg(charts.comparison(demo("rise_height_mm", "malt_percent")), "Two", "Second.")
    named = [set(re.findall(r' id="([^"]+)"', chart)) for chart in (one, other)]
    pointed = set(re.findall(r'(?:href="#|url\(#)([\w.-]+)', one + other))
    assert pointed <= named[0] | named[1]
    assert named[0] & named[1] <= pointed  # what is drawn alike is called alike


def test_svg_of_a_figure_and_of_axes_is_the_same():
    figure = charts.comparison(cake()).figure
    assert charts.svg(figure, "a", "b") == charts.svg(charts.comparison(cake()), "a", "b")


@pytest.mark.parametrize("name", ["$x$ & </text><script>", "$\\bad{ $", "小麦粉 🌾"])
def test_names_are_drawn_as_typed(name):
    c = made((name, "other"), by=f"{name} kind")
    tree = ElementTree.fromstring(charts.svg(charts.comparison(c), name, charts.describe(c)))
    words = " ".join(e.text for e in tree.iter("text"))
    assert name in words
    assert tree.find("title").text == name
    assert not list(tree.iter("script"))


def test_a_timetable_says_of_its_drawing_what_holds():
    """A dough mixed and baked in one forenoon: nothing drawn short, no night, nothing taken out."""
    from kit.plan.schedule import schedule

    def told(hours):
        runs = pd.DataFrame({"dough": ["1A"], "load": [1], "place": [1], "side_minutes": [5.0],
                             "retard_hours": [hours]})  # fmt: skip
        ax = schedule(runs, table_time="2026-12-04 12:00", zone="Europe/Berlin").plot()
        return ax.get_xlabel(), [text.get_text() for text in ax.get_legend().get_texts()]

    below, legend = told(0.0)
    assert below == "On the table 12:00 on Friday 4 December (Europe/Berlin)"
    assert "shape" in legend
    assert not any(text.startswith(("outside", "take out")) for text in legend)
    below, legend = told(16.0)
    assert below.endswith("; stretches without work are drawn short, at the waves")
    assert "take out and shape" in legend
    assert "outside 06:00 to 22:00" in legend


def test_a_timetable_of_many_shapings_stays_on_a_page_and_waits_stay_in_their_lane():
    """All hands at the griddle: pieces for eight loads of one dough are ready before they begin."""
    from kit.plan.schedule import schedule

    rows = {"dough": "1A", "side_minutes": 5.0, "retard_hours": 16}
    runs = pd.DataFrame(rows | {"load": np.arange(48) // 6 + 1, "proof_minutes": [120, 60] * 24})
    s = schedule(runs, table_time="2026-12-04 14:00", zone="Europe/Berlin")
    ax = s.plot()
    shapings = len({*s.times.doughs["1A"].shapings.values()})
    assert shapings > 3
    assert ax.get_figure().get_size_inches()[1] <= 5.5
    lanes, waits = [], []
    for bar in ax.patches:
        middle = bar.get_y() + bar.get_height() / 2
        if bar.get_hatch() == "..":
            lanes.append((middle, bar.get_x() + bar.get_width()))
        if bar.get_hatch() == "////":
            waits.append((middle, bar.get_x()))
    assert len({round(middle, 6) for middle, _ in lanes}) == shapings
    assert len(waits) >= 8
    # each goes on in the lane, and at the moment, where its proof ends
    for wait in waits:
        assert any(wait == pytest.approx(lane) for lane in lanes)
    doughs = pd.concat([runs.assign(dough=f"1{d}", load=runs["load"] + 8 * i)
                        for i, d in enumerate("ABCDEFGHIJKL")])  # fmt: skip
    many = schedule(doughs, table_time="2026-12-04 14:00", zone="Europe/Berlin").plot()
    assert many.get_figure().get_size_inches()[1] == 9.5


def test_proofs_of_pieces_shaped_together_are_told_once_in_their_lane():
    """Shaped less than 10 min apart is shaped at once; proofs stood over one another."""
    from kit.plan.schedule import schedule

    runs = pd.DataFrame({"dough": "1A", "load": 1, "side_minutes": 5.0, "retard_hours": 16,
                         "proof_minutes": [90, 85] * 3})  # fmt: skip
    s = schedule(runs, table_time="2026-12-04 12:00", zone="Europe/Berlin")
    starts = [step.start for step in s.steps if step.what == "proof"]
    assert len(starts) > len(set(starts))
    ax = s.plot()
    ax.get_figure().draw_without_rendering()
    told = [t.get_window_extent() for t in ax.texts if t.get_text() != "∿∿"]
    assert not any(a.overlaps(b) for i, a in enumerate(told) for b in told[:i])
    assert "1 h 25 min to 1 h 30 min" in [t.get_text() for t in ax.texts]


def test_parts_of_a_dough_shaped_one_after_another_are_drawn_below_one_another():
    """Three proofs of one dough end together: each on a lane of its own, its length in it."""
    from kit.plan.schedule import schedule

    runs = pd.DataFrame({"dough": "1A", "load": 1, "side_minutes": 5.0, "retard_hours": 16,
                         "proof_minutes": [120, 60, 30] * 2})  # fmt: skip
    ax = schedule(runs, table_time="2026-12-04 12:00", zone="Europe/Berlin").plot()
    ax.get_figure().draw_without_rendering()
    told = {t.get_text(): t.get_window_extent() for t in ax.texts}
    proofs = [told[length] for length in ("2 h", "1 h", "30 min")]
    assert not any(a.overlaps(b) for i, a in enumerate(proofs) for b in proofs[:i])
    bars = [bar.get_window_extent() for bar in ax.patches if bar.get_hatch() == ".."]
    for text in proofs:
        assert sum(bar.contains(*((text.p0 + text.p1) / 2)) for bar in bars) == 1
    # cold, each in its lane, until it is shaped
    drawn: dict[str, list] = {}
    for bar in ax.patches:
        drawn.setdefault(to_hex(bar.get_facecolor()), []).append(bar)
    cold, shaping = drawn["#cfe6f5"], drawn[to_hex(ORANGE)]
    assert len(cold) == len(shaping) == 3
    assert sorted(b.get_x() + b.get_width() for b in cold) == pytest.approx(
        sorted(b.get_x() for b in shaping)
    )

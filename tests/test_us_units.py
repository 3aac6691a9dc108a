"""US units behind the metric ones: what is told so, and what is left as it is."""

import html

import pytest

import kit
from kit import charts, panels, quantities, shipped
from kit.charts.base import own_axes
from kit.us_units import also_us
from kit.writeup.content import sections


@pytest.fixture
def us(monkeypatch):
    monkeypatch.setenv("KIT_UNITS", "us")


@pytest.mark.parametrize(
    ("text", "told"),
    [
        # conversions: the inch is 25.4 mm and the pound 453.592 37 g exactly (1959); °F = 1.8 °C
        # + 32 (NIST SP 811, appendix B.8)
        ("25.4 mm", "25.4 mm (1.00 in)"),
        ("−3.1 mm", "−3.1 mm (−0.12 in)"),
        ("0.5 to 5.7 mm", "0.5 to 5.7 mm (0.02 to 0.22 in)"),
        ("31.2 ± 0.4 mm", "31.2 ± 0.4 mm (1.23 ± 0.02 in)"),
        ("(31.2 ± 0.4 mm)", "(31.2 ± 0.4 mm, 1.23 ± 0.02 in)"),
        ("now ± 1.1 mm", "now ± 1.1 mm (0.04 in)"),
        ("1, 2 and 3 mm", "1, 2 and 3 mm (0.12 in)"),
        ("(± 2.1 mm)", "(± 2.1 mm, 0.08 in)"),
        ("500 g flour, 1 kg in all", "500 g (17.6 oz) flour, 1 kg (2.2 lb) in all"),
        ("a griddle at 190 °C", "a griddle at 190 °C (374 °F)"),
        # a difference of temperatures is none; nor are what is told already, areas, code, names
        ("2 °C warmer", "2 °C warmer"),
        ("87 °C (189 °F)", "87 °C (189 °F)"),
        ("0.10 mm²", "0.10 mm²"),
        ("rise_height_mm", "rise_height_mm"),
        ("5 months, 3 gallons", "5 months, 3 gallons"),
        ("1,050 g", "1,050 g"),
    ],
)
def test_us_units_stand_behind_the_metric(us, text, told):
    assert also_us(text) == told
    assert also_us(told) == told  # once


def test_nothing_changes_unless_they_are_wanted(monkeypatch):
    for value in ("", "metric"):
        monkeypatch.setenv("KIT_UNITS", value)
        assert also_us("25.4 mm") == "25.4 mm"
    monkeypatch.delenv("KIT_UNITS")
    assert also_us("25.4 mm") == "25.4 mm"


def test_an_uncertainty_of_a_temperature_is_a_difference(us):
    assert also_us("22.0 ± 0.5 °C", absolute=True) == "22.0 ± 0.5 °C (72 ± 1 °F)"
    assert also_us("22.0 ± 0.5 °C") == "22.0 ± 0.5 °C"


def test_readings_of_temperature_are_no_differences(us):
    assert quantities.get("room_temp_c").show(22) == "22.0 °C (72 °F)"
    assert quantities.get("retard_hours").show(22) == "22.0 h"


def test_answer_panel_and_page_tell_both(us, tmp_path):
    ws = panels.open_workspace(tmp_path / "bakes")
    trial = ws.trial("harbour-malt")
    answer = trial.compare()
    assert "the 2 mm (0.08 in) that matters" in str(answer)
    assert "(0.08 in) that matters" in html.unescape(panels.compare(ws).shown.value)
    texts = [b.text for s in sections(trial.report(answer)) for b in s.blocks if b.kind == "text"]
    assert any("(0.08 in) that matters" in text for text in texts)
    codes = [b.text for s in sections(trial.report(answer)) for b in s.blocks if b.kind == "code"]
    assert codes
    assert not any(" in)" in code for code in codes)  # what is typed stays
    assert answer.matters == 2.0
    ws.close()


def test_a_plan_tells_both(us, tmp_path):
    ws = panels.open_workspace(tmp_path / "bakes")
    assert " in) between two settings of diastatic malt" in panels.plan(ws).shown.value
    ws.close()


def test_numbers_are_metric_whatever_is_shown(us, tmp_path):
    with kit.Workspace(tmp_path / "bakes") as ws:
        trial = ws.new_trial("salt", outcome="rise_height_mm")
        piece = trial.add_piece(trial.add_dough(trial.add_bake()))
        trial.record(piece, "rise_height_mm", "1 1/2 in")
        assert trial.frame()["rise_height_mm"].tolist() == [38.1]


def test_charts_have_inches_on_the_other_side(us):
    """25.4 mm are an inch (1959), so the same height reads 1 on the right."""
    ax = own_axes(4, 3)
    ax.plot([0, 1], [25.4, 50.8], label="less than 25.4 mm does not matter")
    ax.legend()
    ax.set_ylabel("Height (mm)")
    ax.set_xlabel("Raw piece (g)")
    drawn = charts.svg(ax, "t", "d")
    assert all(f">{unit}<" in drawn for unit in ("(in)", "(oz)"))
    right, top = ax.child_axes
    at = ax.transData.transform((0, 25.4))[1]
    assert right.transData.inverted().transform((0, at))[1] == pytest.approx(1, rel=1e-9)
    at = ax.transData.transform((0.5, 0))[0]
    assert top.transData.inverted().transform((at, 0))[0] == pytest.approx(0.5 / 28.349523125)
    assert "less than 25.4 mm (1.00 in) does not matter" in drawn
    charts.svg(ax, "t", "d")  # drawn again: once is enough
    assert len(ax.child_axes) == 2


def test_charts_are_metric_where_nobody_asked(monkeypatch):
    monkeypatch.delenv("KIT_UNITS", raising=False)
    ax = own_axes(4, 3)
    ax.set_ylabel("Height (mm)")
    charts.svg(ax, "t", "d")
    assert ax.child_axes == []


def test_a_unit_that_is_asked_for_names_the_other_one(us, monkeypatch):
    names = ("room_temp_c", "rise_height_mm", "ball_weight_g", "side_minutes")
    asked = [quantities.get(name).asked for name in names]
    assert asked == [
        "Room temperature (°C or °F)", "Height (mm or in)", "Raw piece (g or oz)",
        "Time a side (min)",
    ]  # fmt: skip
    monkeypatch.delenv("KIT_UNITS")
    assert quantities.get("room_temp_c").asked == "Room temperature (°C)"


def test_what_the_panels_write_to_be_printed_is_for_letter_paper(us, tmp_path):
    with kit.Workspace(tmp_path / "bakes") as ws:
        shipped.load_demo(ws)
        plan, taste = panels.plan(ws), panels.taste(ws)
        plan.keep.click()
        taste.plan.click()
    written = [
        *(tmp_path / "bakes").glob("*-bake-1.html"),
        *(tmp_path / "bakes").glob("*-tasting-*"),
    ]
    assert len(written) == 3
    for page in written:
        assert "size: Letter portrait" in page.read_text(encoding="utf-8")

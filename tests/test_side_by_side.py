"""Two batches side by side, in the panel and on the command line."""

import html
import re

import pandas as pd
import pytest

import kit
from kit import panels, shipped
from kit.cli import main


@pytest.fixture
def ws(tmp_path):
    with kit.Workspace(tmp_path / "bakes") as opened:
        shipped.load_demo(opened)
        yield opened


def words(shown):
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html.unescape(shown)))


def test_two_doughs_are_shown_in_what_they_differ(ws):
    """Means by pandas, from the table that came with the demo."""
    panel = panels.side_by_side(ws)
    assert [str(panel.one.value), str(panel.other.value)] == ["dough 8A", "dough 8B"]
    frame = pd.read_csv(shipped.demo_folder() / "pieces.csv")
    tall = frame.groupby("dough")["rise_height_mm"].mean()
    told = words(panel.shown.value)
    difference = f"{round(tall['8B'], 1) - round(tall['8A'], 1):.1f}".replace("-", "−")
    assert f"Height {tall['8A']:.1f} mm {tall['8B']:.1f} mm {difference} mm" in told
    assert "Diastatic malt 1.20 % 0.40 % −0.80 %" in told
    assert "Diameter 88.7 mm 88.3 mm −0.4 mm" in told  # of the numbers that are read
    assert "not what made the difference" in told
    assert "Room temperature" not in told  # one room: nothing to tell


def test_a_bake_that_is_planned_only_is_not_picked(ws):
    trial = ws.trial("harbour-malt")
    trial.keep(trial.extend(kit.Kitchen(bakes=1, tubs=4)), "2099-01-07")
    panel = panels.side_by_side(ws)
    assert [str(panel.one.value), str(panel.other.value)] == ["dough 8A", "dough 8B"]
    panel.kind.value = "bakes"
    assert [panel.one.value.code, panel.other.value.code] == ["7", "8"]
    assert [one.code for _, one in panel.other.options][-1] == "9"  # and can be


def test_other_things_and_one_and_the_same(ws):
    panel = panels.side_by_side(ws)
    for kind, first in (("bakes", "bake 7"), ("loads", "load 1"), ("pieces", "piece 8B5")):
        panel.kind.value = kind
        assert str(panel.one.value).startswith(first)
        assert "differ in" in words(panel.shown.value)
    panel.other.value = panel.one.value
    assert words(panel.shown.value) == " Both are piece 8B5: pick another. "
    ws.new_trial("empty")
    assert panels.side_by_side(ws).trial.value == "harbour-malt"


def test_nothing_to_set_side_by_side(tmp_path):
    with kit.Workspace(tmp_path / "bakes") as ws:
        trial = ws.new_trial("new")
        panel = panels.side_by_side(ws)
        assert "There are no two of them yet." in panel.shown.value
        bake = trial.add_bake("2026-11-26")
        trial.add_dough(bake)
        trial.add_dough(bake)
        panel = panels.side_by_side(ws)
        assert "has no pieces: nothing to set side by side" in panel.shown.value


def differ(capsys, *typed):
    with pytest.raises(SystemExit) as ended:
        main(["differ", *map(str, typed)])
    out, err = capsys.readouterr()
    return ended.value.code or 0, re.sub(r"[\s│┃]+", " ", out + err)


def test_the_command(ws, capsys):
    folder = ws.folder
    code, told = differ(capsys, folder, "8A", "8B")
    assert code == 0
    assert "Diastatic malt 1.20 % 0.40 % −0.80 %" in told
    assert differ(capsys, folder, "1", "2", "--of", "bake")[0] == 0
    for typed, why in (
        (("8A", "8A"), "is the same one"),
        (("8A", "9Z"), "no dough '9Z'"),
    ):
        code, told = differ(capsys, folder, *typed)
        assert code == 2
        assert why in told

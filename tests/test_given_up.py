"""What does not count in an answer, by setting: doughs given up, pieces left out."""

import numpy as np
import pytest

import kit


@pytest.fixture
def yeast(tmp_path):
    """Half of the doughs with little yeast did not rise and were given up, as they were."""
    rng = np.random.default_rng(5520002)
    with kit.Workspace(tmp_path / "bakes") as ws:
        trial = ws.new_trial(
            "yeast", factors={"yeast_percent": [0.3, 1.0]}, outcome="rise_height_mm", matters=2.0
        )
        for day in range(2, 7):
            bake = trial.add_bake(f"2026-11-0{day}")
            for yeast in (0.3, 1.0):
                for again in range(2):
                    dough = trial.add_dough(bake)
                    trial.record(dough, "yeast_percent", yeast)
                    if yeast == 0.3 and again:
                        continue
                    own = rng.normal(30, 1)
                    for i in range(4):
                        piece = trial.add_piece(dough)
                        trial.record(piece, "rise_height_mm", round(own + rng.normal(), 1))
                        if yeast == 1.0 and i == 0:
                            trial.event("burnt", on=piece)
        yield trial


def test_doughs_given_up_are_told_by_setting(yeast):
    told = (
        "4 doughs have no height at all (4 of 8 with yeast at 0.3 %, none of 8 at 1 %): if the "
        "setting did it (it did not rise, it burnt), those left flatter it, and the answer is "
        "about those left only"
    )
    assert told in yeast.compare().checks
    assert told in yeast.dose(shape="straight").checks
    for dough in yeast.doughs():
        if not any(piece.dough.id == dough.id for piece in yeast.pieces()):
            yeast.remove(dough)
    assert not [c for c in yeast.compare().checks if "at all" in c]


def test_bakes_to_come_are_not_given_up(yeast):
    coming = yeast.add_bake("2026-12-01")
    yeast.record(yeast.add_dough(coming), "yeast_percent", 0.3)
    [told] = [c for c in yeast.compare().checks if "at all" in c]
    assert told.startswith("4 doughs have no")


def test_doughs_still_in_the_cold_or_not_yet_read_are_not_given_up(yeast):
    """A new bake with one dough in the cold and one baked but not read: the last one counts now."""
    today = yeast.add_bake("2026-11-20")
    for yeast_percent, pieces, height in ((0.3, 0, None), (0.3, 2, None), (1.0, 2, 30.0)):
        dough = yeast.add_dough(today)
        yeast.record(dough, "yeast_percent", yeast_percent)
        for _ in range(pieces):
            piece = yeast.add_piece(dough)
            if height:
                yeast.record(piece, "rise_height_mm", height)
    [told] = [c for c in yeast.compare().checks if "at all" in c]
    assert told.startswith("5 doughs have no height at all (5 of 10 with yeast at 0.3 %")
    later = yeast.add_bake("2026-11-21")
    for level in (0.3, 1.0):
        dough = yeast.add_dough(later)
        yeast.record(dough, "yeast_percent", level)
        yeast.record(yeast.add_piece(dough), "rise_height_mm", 30.0)
    [told] = [c for c in yeast.compare().checks if "at all" in c]
    assert told.startswith("6 doughs have no height at all (6 of 12 with yeast at 0.3 %")


def test_doughs_given_up_are_told_by_settings_as_they_were_meant(yeast):
    low = next(d for d in yeast.doughs() if any(p.dough.id == d.id for p in yeast.pieces()))
    yeast.record(low, "yeast_percent", 0.301)
    [told] = [c for c in yeast.compare().checks if "at all" in c]
    assert "(4 of 8 with yeast at 0.3 %, none of 8 at 1 %)" in told


def test_pieces_left_out_are_told_by_setting(yeast):
    told = yeast.compare(leave_out=["burnt"]).checks[-2]
    assert told.startswith(
        "10 pieces left out because of: burnt (none of 20 with yeast at 0.3 %, 10 of 40 at 1 %): "
    )

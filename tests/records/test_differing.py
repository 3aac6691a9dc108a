"""Two attempts side by side: only what differs, missing stays missing."""

import math

import pytest

from kit.errors import DataError, InputError
from kit.records.differing import rows


@pytest.fixture
def two(trial):
    """Two bakes of one dough each, two pieces a dough."""
    doughs = []
    for day, lot, malt, heights in (
        ("2026-11-26", "F1", 0, (30, 31)),
        ("2026-12-03", "F2", 0.8, (33, 35)),
    ):
        bake = trial.add_bake(day, flour_lot=lot)
        dough = trial.add_dough(bake)
        trial.record(dough, "malt_percent", malt)
        trial.record(dough, "salt_percent", 1.8)
        for height in heights:
            trial.record(trial.add_piece(dough), "rise_height_mm", height)
        doughs.append(dough)
    trial.record(doughs[1], "dough_temp_c", 24)
    trial.event("burnt", on=trial.pieces(doughs[0])[0])
    return doughs


def test_two_doughs_by_hand(trial, two):
    told = trial.differences(*two).set_index("quantity")
    assert list(told.columns) == ["label", "dough 1A", "dough 2A", "difference"]
    one, other = told["dough 1A"].to_dict(), told["dough 2A"].to_dict()
    assert "salt_percent" not in told.index  # alike
    assert (one["day"], other["day"]) == ("2026-11-26", "2026-12-03")
    assert (one["flour_lot"], other["flour_lot"]) == ("F1", "F2")
    assert (one["events"], other["events"]) == ("burnt", None)
    assert told.loc["malt_percent", "difference"] == 0.8
    assert told.loc["rise_height_mm", "difference"] == 34 - 30.5
    assert math.isnan(one["dough_temp_c"])  # not measured is missing, and no difference
    assert math.isnan(told.loc["dough_temp_c", "difference"])


def test_bakes_and_pieces_too(trial, two):
    bakes = trial.differences(*trial.bakes()).set_index("quantity")
    assert bakes["difference"].dropna().to_dict() == {"malt_percent": 0.8, "rise_height_mm": 3.5}
    first, second, *_ = trial.pieces()
    pieces = trial.differences(first, second).set_index("quantity")
    assert pieces["difference"].dropna().to_dict() == {"rise_height_mm": 1}


def test_what_cannot_be_set_side_by_side(trial, two):
    one, other = two
    for wrong, what in (
        (one.bake, "other is <bake 1>: must be a dough like dough 1A."),
        (one, "other is <dough 1A>: is the same one. Give another."),
        ("2A", "thing is '2A': is no bake, dough, load or piece. "
               "Give what trial.piece(…) or the like returns."),
    ):  # fmt: skip
        with pytest.raises(InputError) as told:
            trial.differences(one, wrong)
        assert str(told.value) == what
    with pytest.raises(DataError, match=r"^dough 2B has no pieces: nothing to set side by side"):
        trial.differences(one, trial.add_dough(other.bake))


def test_what_differs_as_it_is_read(trial, two):
    """Values as they are written, and the difference of those; what reads alike is left out."""
    one, other = two
    first, second = trial.pieces(one)
    third, fourth = trial.pieces(other)
    for piece, tap, core in (
        (first, 1, 95.01),
        (second, 2, 95.02),
        (third, 1, 95),
        (fourth, 1, 95),
    ):
        trial.record(piece, "hollow_tap", tap)
        trial.record(piece, "core_temp_c", core)
    assert rows(trial.differences(one, other)) == [
        ("Day", "2026-11-26", "2026-12-03", "–"),
        ("Flour lot", "F1", "F2", "–"),
        ("Diastatic malt", "0.00 %", "0.80 %", "+0.80 %"),
        ("Dough temperature", "–", "24.0 °C", "–"),
        ("Height", "30.5 mm", "34.0 mm", "+3.5 mm"),
        ("Tap", "1.5", "1.0", "−0.5"),
        ("Events", "burnt", "–", "–"),
    ]
    whole = trial.differences(first, second).query("quantity == 'hollow_tap'")
    assert rows(whole) == [("Tap", "1", "2", "+1")]

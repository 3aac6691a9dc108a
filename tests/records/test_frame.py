import math

import pandas as pd
import pytest

from kit import quantities
from kit.quantities import Quantity

STRUCTURE = ["bake", "day", "dough", "load", "piece", "place", "flour_lot", "yeast_lot"]


def test_one_row_a_piece_everything_known_in_columns(trial, made):
    trial.record(made.bake, "room_temp_c", 21)
    trial.record(made.dough, "malt_percent", 0.8, how="planned")
    trial.record(made.load, "griddle_temp_c", 190)
    trial.record(made.pieces[0], "ball_weight_g", 80)
    trial.record(made.pieces[0], "baked_weight_g", 72)
    trial.record(made.pieces[1], "ball_weight_g", 80)
    trial.record(made.pieces[1], "bake_loss_percent", 12)
    nan = math.nan
    expected = pd.DataFrame(
        {
            "bake": ["1"] * 3,
            "day": pd.to_datetime(["2026-11-26"] * 3).astype("datetime64[s]"),
            "dough": ["1A"] * 3,
            "load": [1, 1, nan],
            "piece": ["1A1", "1A2", "1A3"],
            "place": [1, 2, nan],
            "flour_lot": ["F2"] * 3,
            "yeast_lot": pd.Series([None] * 3, dtype="str"),
            "room_temp_c": [21.0] * 3,
            "malt_percent": [0.8] * 3,
            "griddle_temp_c": [190.0, 190.0, nan],
            "ball_weight_g": [80.0, 80.0, nan],
            "baked_weight_g": [72.0, nan, nan],
            "bake_loss_percent": [10.0, 12.0, nan],  # computed; measured; neither
            "events": pd.Series([None] * 3, dtype="str"),
        }
    )
    pd.testing.assert_frame_equal(trial.frame(), expected)
    how = trial.provenance()
    assert list(how.columns) == list(expected.columns)
    assert how["malt_percent"].tolist() == ["planned"] * 3
    assert how["bake_loss_percent"].fillna("").tolist() == ["computed", "entered", ""]
    assert how["griddle_temp_c"].fillna("").tolist() == ["entered", "entered", ""]


def test_whole_loads_and_places_are_whole_numbers(trial, made):
    trial.remove(made.pieces[2])
    frame = trial.frame()
    assert (frame["load"].dtype, frame["place"].dtype) == ("int64", "int64")


def test_an_empty_trial_has_the_columns(trial):
    frame = trial.frame()
    assert list(frame.columns) == [*STRUCTURE, "events"]
    assert frame.empty


def test_quantities_come_in_the_order_of_the_vocabulary(trial, made):
    for name in ("liking", "side_minutes", "rise_height_mm"):
        trial.record(made.pieces[0], name, 6)
    assert list(trial.frame().columns) == [
        *STRUCTURE, "side_minutes", "rise_height_mm", "liking", "events",
    ]  # fmt: skip


def test_a_value_on_a_dough_without_pieces_makes_no_column(trial, made):
    trial.record(trial.add_dough(made.bake), "malt_percent", 0.8)
    assert "malt_percent" not in trial.frame()


def test_a_quantity_nobody_knows_any_more_is_still_there(trial, made):
    own = Quantity("crust_mm", "Crust", "mm", "piece", (0, 50), (0.5, 5), 1, "Thickness.")
    try:
        quantities.add(own)
        trial.record(made.pieces[0], "crust_mm", 2)
    finally:
        quantities._KNOWN.pop("crust_mm", None)
    trial.record(made.pieces[0], "rise_height_mm", 38)
    assert list(trial.frame().columns)[-3:] == ["rise_height_mm", "crust_mm", "events"]


def test_bakes_come_by_day_then_as_made(trial):
    for day in ("2026-12-03", "2026-11-26", "2026-12-03"):
        dough = trial.add_dough(trial.add_bake(day))
        for _ in range(11):
            trial.add_piece(dough)
    frame = trial.frame()
    assert frame["bake"].unique().tolist() == ["2", "1", "3"]
    assert frame["piece"].tolist()[:11] == [f"2A{n}" for n in range(1, 12)]  # 2A10 after 2A9


def test_trials_stacked(ws, trial, made):
    trial.record(made.pieces[0], "rise_height_mm", 38)
    second = ws.new_trial("retard")
    piece = second.add_piece(second.add_dough(second.add_bake("2026-12-03")))
    second.record(piece, "side_minutes", 6)
    ws.new_trial("nothing yet")
    both = ws.frame(["malt", "retard"])
    assert list(both.columns) == [
        "trial", *STRUCTURE, "side_minutes", "rise_height_mm", "events",
    ]  # fmt: skip
    assert both["trial"].tolist() == ["malt"] * 3 + ["retard"]
    assert both["side_minutes"].isna().tolist() == [True, True, True, False]
    pd.testing.assert_frame_equal(ws.frame(), both)
    assert ws.frame("malt")["piece"].tolist() == ["1A1", "1A2", "1A3"]


@pytest.mark.parametrize("names", [None, [], "malt"])
def test_stacking_nothing(ws, trial, names):
    frame = ws.frame(names)
    assert list(frame.columns) == ["trial", *STRUCTURE, "events"]
    assert frame.empty


def test_a_frame_read_while_another_writes_is_of_one_moment(ws, trial, made):
    with ws.store.reading() as connection:
        from kit.records import frame

        before = frame.read(connection, trial.id).values
        trial.record(made.pieces[0], "rise_height_mm", 38)
        pd.testing.assert_frame_equal(frame.read(connection, trial.id).values, before)
    assert "rise_height_mm" in trial.frame()

"""Settings as they were meant: all of a factor's values, or none."""

import numpy as np
import pandas as pd

from kit.analysis.grouping.meant import as_meant


def read_ratios(spread, seed=3):
    """Six doughs of six pieces, each proofed to about 1.5, 2 or 2.5."""
    rng = np.random.default_rng(seed)
    meant = np.tile([1.5, 2.0, 2.5], 12)
    read = (meant + rng.normal(0, spread, 36)).round(2)
    doughs = np.repeat([f"{b}{d}" for b in (1, 2, 3) for d in "AB"], 6)
    return pd.DataFrame({"dough": doughs, "proof_ratio": read}), meant


def test_readings_about_settings_all_count_as_meant_in_one_note():
    rows, meant = read_ratios(0.05, seed=1)
    off = (rows["proof_ratio"] - meant).abs()
    assert (off > 0.05).sum() > 5  # a tenth of a step would have left these where they were
    counted, (note,) = as_meant(rows, {"proof_ratio": [1.5, 2, 2.5]})
    assert counted["proof_ratio"].tolist() == meant.tolist()
    far = rows.loc[off.idxmax()]
    assert note == (
        f"proof ratio was not quite as meant in {(off > 0).sum()} of 36 pieces: counted as 1.5, 2 "
        f"and 2.5, as meant (farthest off: {far['proof_ratio']:g} for {meant[off.idxmax()]:g}, in "
        f"dough {far['dough']})"
    )


def test_readings_between_the_settings_are_used_as_read():
    rows, _ = read_ratios(0.15)
    counted, (note,) = as_meant(rows, {"proof_ratio": [1.5, 2, 2.5]})
    assert counted["proof_ratio"].tolist() == rows["proof_ratio"].tolist()
    low, high = rows["proof_ratio"].min(), rows["proof_ratio"].max()
    assert note == (
        f"proof ratio was read piece by piece, from {low:g} to {high:g}, and not always near 1.5, "
        "2 and 2.5, which were meant: used as it was read"
    )


def test_doughs_by_the_clock():
    """One at 40 h is another setting; the others are told together."""
    hours = [24.2, 23.9, 24.0, 48.4, 47.8, 48.33, 40.0, 46.5]
    rows = pd.DataFrame({"dough": list("ABCDEFGH"), "retard_hours": hours})
    rows = rows.loc[rows.index.repeat(4)].reset_index(drop=True)
    counted, (note,) = as_meant(rows, {"retard_hours": [24, 48]})
    assert counted["retard_hours"].tolist()[::4] == [24, 24, 24, 48, 48, 48, 40, 48]
    assert note == (
        "cold retard was not quite as meant in 6 of 8 doughs: counted as 24 and 48 h, as meant "
        "(farthest off: 46.5 h for 48 h, in dough H)"
    )


def test_a_slip_on_a_few_pieces_stays_another_setting():
    rows = pd.DataFrame({"dough": ["A"] * 6 + ["B"] * 6, "side_minutes": [4.0, 6.0] * 6})
    rows.loc[0, "side_minutes"] = 5.0
    rows.loc[1, "side_minutes"] = 6.1
    counted, (note,) = as_meant(rows, {"side_minutes": [4, 6]})
    assert counted["side_minutes"].tolist() == [5.0, 6.0, *[4.0, 6.0] * 5]
    assert note == "time a side was 6.1 min in dough A: counted as 6 min, as meant"


def test_missing_stays_missing():
    rows = pd.DataFrame({"dough": ["A", "B", "C"], "retard_hours": [24.1, np.nan, 48]})
    counted, _ = as_meant(rows, {"retard_hours": [24, 48]})
    assert counted["retard_hours"].isna().tolist() == [False, True, False]


def test_bakes_may_name_their_doughs_alike():
    """Doughs A and B of two bakes: by the clock, not readings of every piece."""
    hours = [24.1, 47.9, 48.2, 24.3]
    rows = pd.DataFrame({"bake": [1, 1, 2, 2], "dough": list("ABAB"), "retard_hours": hours})
    rows = pd.concat([rows, rows, rows])
    counted, (note,) = as_meant(rows.reset_index(drop=True), {"retard_hours": [24, 48]})
    assert set(counted["retard_hours"]) == {24, 48}
    assert " in 4 of 4 doughs: " in note

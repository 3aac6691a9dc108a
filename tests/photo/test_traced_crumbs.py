"""Cut faces that a renderer traced (`traced/CRUMBS_ORIGIN.md`), measured against their truth."""

import csv
from pathlib import Path

import numpy as np
import pytest

from kit.photo import read, scale
from kit.photo.crumbs.pale_cells import ADVICE as PALE
from kit.photo.crumbs.side_light import ADVICE as LAMP
from kit.photo.cut_face import crumb

FOLDER = Path(__file__).parent / "traced"
NAMES = ("openness", "cells_per_cm2", "median_cell_mm2")
with (FOLDER / "crumbs.csv").open(newline="") as _file:
    ROWS = list(csv.DictReader(_file))
#: The pictures that were looked at while pale cells and lit slopes were made to be seen; the others
#: were traced and measured afterwards.
LOOKED_AT = {"crumb_00.jpg", "crumb_01.jpg", "crumb_02.jpg", "crumb_06.jpg", "crumb_08.jpg"}
#: Openness in points, cells/cm² and median cell in %, each picture.
LIMITS = {"easy": (11.0, 45.0, 40.0), "realistic": (9.0, 30.0, 30.0), "hard": (16.0, 30.0, 40.0)}
AFTERWARDS = {
    "easy": (19.0, 35.0, 45.0), "realistic": (12.0, 50.0, 20.0), "hard": (12.0, 30.0, 20.0)
}  # fmt: skip


@pytest.fixture(scope="module")
def measured():
    """Return what was found in each picture, by file."""
    found = {}
    for row in ROWS:
        photo = read(FOLDER / row["file"])
        offset, u = float(row["offset_mm"]), float(row["u_offset_mm"])
        found[row["file"]] = crumb(photo, scale(photo, "card", offset_mm=offset, u_offset_mm=u))
    return found


def off(row, found):
    """Return errors (openness in points, others in %) and which 95 % intervals hold the truth."""
    true = np.array([float(row[name]) for name in NAMES])
    values = [found.values[name] for name in NAMES]
    error = np.array([v.value for v in values]) - true
    held = np.abs(error) < 1.96 * np.array([v.u for v in values])
    return 100 * error / (1.0, *true[1:]), held


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['file'][6:8]} {row['light']}")
def test_errors_stay_within_what_was_found(row, measured):
    """Fail beyond about 1.3 to 1.5 × the largest error found.

    Found in November 2026, easy, realistic and hard: openness 7, 5 and 12 points too low, cells/cm²
    off by up to 32, 16 and 5 %, the median cell by up to 23, 11 and 22 %; in the pictures traced
    afterwards 15, 9 and 7 points too low (19, 14 and 14 before pale cells and lit slopes were
    looked for), cells off by 28, 40 and 18 %, the median by 36, 10 and 7 %. The aims (openness 2
    points, hard 4; cells 8 %; median 6 %) are missed: the truth counts shallow cells that lose
    hardly any light, and slopes that a lamp or a window makes as light as the wall.
    """
    limits = LIMITS if row["file"] in LOOKED_AT else AFTERWARDS
    error, _ = off(row, measured[row["file"]])
    assert (np.abs(error) < limits[row["level"]]).all(), error.round(1)


def test_intervals_hold(measured):
    held = {row["file"]: off(row, measured[row["file"]])[1] for row in ROWS}
    assert np.mean(list(held.values())) >= 0.85
    # openness: all but one by a window, traced afterwards
    assert [file for file, of in held.items() if not of[0]] in ([], ["crumb_15.jpg"])


def test_outlines_are_within_one_percent_on_every_board(measured):
    for row in ROWS:
        found = measured[row["file"]].face_mm2.value
        assert np.sqrt(found / float(row["face_mm2"])) == pytest.approx(1, abs=0.01), row["file"]


def test_a_lamp_and_cells_too_pale_to_be_seen_are_told(measured):
    for row in ROWS:
        told = measured[row["file"]].checks
        if row["light"] != "window":  # it may light all sides, or one
            assert (LAMP in told) == (row["light"] == "lamp"), row["file"]
    pale = [row for row in ROWS if row["foam"] == "overlapping" and row["light"] == "overcast"]
    assert pale
    for row in pale:
        assert any(t.startswith(PALE[:40]) for t in measured[row["file"]].checks), row["file"]

"""Make the demo trial: INVENTED readings from a harbour café that does not exist.

``python datasets/demo/make_demo.py [--out FOLDER]`` writes ``pieces.csv``, ``events.csv`` and
``rises.csv``, byte for byte the same each time. The truth behind the readings stands in the
constants below, so an analysis can be held against it. The seed is the first one tried.
"""

import argparse
import csv
from collections.abc import Iterable, Sequence
from datetime import date, timedelta
from pathlib import Path

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

SEED = 20260108

# What was set on purpose, and how the bakes were laid out
MALTS = (0.0, 0.4, 0.8, 1.2)  # percent of the flour's weight, per dough
RETARDS = (16, 40)  # hours, per dough
SIDES = (5, 6)  # minutes on the first side, per piece: three pieces of a dough each
DOUGHS_IN_BAKE = (3, 2, 3, 2, 3, 2, 3, 2)
PLACES = 6  # on the one griddle, so also pieces a load
LAYOUTS_TRIED = 4000
FIRST_DAY = date(2026, 4, 30)  # a Thursday
WARM_BAKE, WARM_C = 4, 28.0
NEW_FLOUR_FROM = 6
USUAL_C, GRIDDLE_C = 21.5, 175.0

# The truth about height, in mm
HEIGHT_MM = 28.5  # no malt, 16 h, first flour lot
MALT_MM = {0.0: 0.0, 0.4: 2.3, 0.8: 3.5, 1.2: 3.2}  # mean over both retards
MALT_SHARE = {16: 0.93, 40: 1.07}  # malt gains a little less after the short retard
RETARD_MM = {16: 0.0, 40: 0.5}  # without malt; about 0.8 on average over the four malts
NEW_FLOUR_MM = -0.4
WARM_MM_PER_C = 0.08
SD_MM = {"bake": 0.7, "dough": 0.8, "load": 0.2, "piece": 1.2}
# Side time, place, order of the loads and minutes waited do nothing to height.

# The truth about browning, CIE L*: 100 is white
BROWNING_L = 63.0  # 5 minutes, no malt, griddle at 175 °C
BROWNING_MALT_L = -5.0  # per percent of malt
BROWNING_SIDE_L = -7.0  # per minute more on a side
BROWNING_GRIDDLE_L = -0.25  # per °C
BURNT_L = 19.0

# The truth about the rise: a Gompertz curve, for the doughs of the first bakes to its end, and for
# those of the last one to its third reading, as if they still proofed
READ_BAKES, LAST_BAKE, SO_FAR = (1, 2, 3, 4), 8, 3
CLOCK_STARTS = 8 * 60  # minutes after midnight, by the kitchen's clock
READ_AFTER = (25, 50, 75, 95, 115, 135, 160)  # minutes
RISE_GAIN, RISE_SPEED, RISE_LAG = 1.9, 1.0, 0.62  # volumes, an hour, hours
RISE_MALT = 0.10  # so much faster per percent of malt
RISE_WARM = 0.07  # and per °C above the usual room
SD_RISE = {"dough": 0.06, "reading": 0.02}  # of the logarithm of the pace; of a ratio
RISES = {"dough": None, "time": None, "dough_ratio": 2}

COLUMNS = {  # column: decimals, None for text
    "bake": None, "day": None, "dough": None, "load": None, "piece": None, "place": None,
    "flour_lot": None, "yeast_lot": None,
    "room_temp_c": 1, "dough_temp_c": 1, "malt_percent": 1, "retard_hours": 0,
    "griddle_temp_c": 0, "waited_minutes": 0, "side_minutes": 0,
    "ball_weight_g": 1, "baked_weight_g": 1, "rise_height_mm": 1, "diameter_mm": 0,
    "crumb_openness": 3, "browning_l": 1, "gumminess": 0, "hollow_tap": 0,
}  # fmt: skip

Setting = tuple[float, int]  # malt_percent, retard_hours
Row = dict[str, str | float | None]


def contrasts(setting: Setting) -> list[float]:
    """Return the 7 orthogonal contrasts of a setting: malt (3), retard (1), malt × retard (3)."""
    malt = {0.0: (-3, 1, -1), 0.4: (-1, -1, 3), 0.8: (1, -1, -3), 1.2: (3, 1, 1)}[setting[0]]
    retard = 1 if setting[1] == RETARDS[1] else -1
    return [*malt, retard, *(m * retard for m in malt)]


def information(layout: Sequence[Sequence[Setting]]) -> float:
    """Return the D-criterion: log det of what the layout says within bakes about malt and retard.

    Minus infinity when malt, retard or the two together cannot be told from the bakes. Rounded,
    so that layouts that are equally good stay so on every machine.
    """
    total: NDArray[np.float64] = np.zeros((7, 7))
    for doughs in layout:
        x = np.array([contrasts(setting) for setting in doughs], dtype=float)
        x -= x.mean(axis=0)
        total += x.T @ x
    if np.linalg.matrix_rank(total, tol=1e-6) < 7:
        return -np.inf
    return round(float(np.linalg.slogdet(total[:4, :4]).logabsdet), 6)


def draw_layout(rng: Generator) -> list[list[Setting]] | None:
    """Draw 20 doughs for 8 bakes; None when a bake got the same setting twice.

    Each of the 8 settings is mixed twice; four of them, one of each malt and two of each
    retard, a third time.
    """
    settings = [(malt, retard) for malt in MALTS for retard in RETARDS]
    thrice = list(zip(MALTS, rng.permutation(RETARDS * 2).tolist(), strict=True))
    doughs = settings * 2 + thrice
    order = iter(rng.permutation(len(doughs)).tolist())
    layout = [[doughs[next(order)] for _ in range(size)] for size in DOUGHS_IN_BAKE]
    return layout if all(len(set(bake)) == len(bake) for bake in layout) else None


def best_layout(rng: Generator) -> list[list[Setting]]:
    """Return the most informative of `LAYOUTS_TRIED` random layouts, the first among equals."""
    drawn = (draw_layout(rng) for _ in range(LAYOUTS_TRIED))
    return max((layout for layout in drawn if layout), key=information)


def deal(rng: Generator, doughs: int) -> list[list[tuple[int, int, int]]]:
    """Give each dough's six pieces (load, place, side_minutes), in random order.

    Every load takes the same number of pieces of each dough, and both side times in every
    dough of it: 2 doughs make 2 loads of 3 + 3, 3 doughs make 3 loads of 2 + 2 + 2.
    """
    each = PLACES // doughs
    places = [iter((rng.permutation(PLACES) + 1).tolist()) for _ in range(doughs)]
    dealt = []
    for dough in range(doughs):
        slots = [
            (load + 1, next(places[load]), SIDES[(i + load + dough) % 2])
            for load in range(doughs)
            for i in range(each)
        ]
        dealt.append([slots[i] for i in rng.permutation(len(slots))])
    return dealt


def score(value: float, highest: int) -> float:
    """Return the nearest whole score between 0 and `highest`."""
    return float(min(max(round(value), 0), highest))


def piece_readings(
    rng: Generator, malt: float, retard: int, side: int, griddle_c: float, mm: float, sticky: float
) -> Row:
    """Return what was read on one piece.

    `mm` is the height expected of it, `sticky` how much gummier its dough is than the truth.
    """
    height = mm + rng.normal(0, SD_MM["piece"])
    ball = 76 + rng.normal(0, 0.8)
    loss = 0.103 + 0.006 * (side - 5) + rng.normal(0, 0.004)
    openness = 0.38 + 0.05 * MALT_MM[malt] / 3.5 + (0.03 if retard == 40 else 0.0)
    brown = BROWNING_L + BROWNING_MALT_L * malt + BROWNING_SIDE_L * (side - 5)
    brown += BROWNING_GRIDDLE_L * (griddle_c - GRIDDLE_C)
    gummy = 0.9 + {0.0: 0.0, 0.4: 0.1, 0.8: 0.4, 1.2: 1.5}[malt] - 0.2 * (side - 5) + sticky
    tap = 1.2 + 0.4 * (side - 5) - (0.5 if malt == 1.2 else 0.0)
    return {
        "side_minutes": float(side),
        "ball_weight_g": ball,
        "baked_weight_g": ball * (1 - loss),
        "rise_height_mm": height,
        "diameter_mm": 88 - 0.5 * (height - 31) + rng.normal(0, 1.2),
        "crumb_openness": openness + rng.normal(0, 0.035),
        "browning_l": brown + rng.normal(0, 2.0),
        "gumminess": score(gummy + rng.normal(0, 0.5), 4),
        "hollow_tap": score(tap + rng.normal(0, 0.5), 2),
    }


def bake_rows(rng: Generator, bake: int, doughs: Sequence[Setting]) -> list[Row]:
    """Return the rows of one bake, a row a piece."""
    room = WARM_C if bake == WARM_BAKE else USUAL_C + rng.normal(0, 0.8)
    new_flour = bake >= NEW_FLOUR_FROM
    bake_mm = HEIGHT_MM + rng.normal(0, SD_MM["bake"]) + WARM_MM_PER_C * (room - USUAL_C)
    bake_mm += NEW_FLOUR_MM if new_flour else 0.0
    griddle = [GRIDDLE_C - (4 if load == 0 else 0) + rng.normal(0, 2) for load in range(3)]
    waited = np.cumsum([rng.integers(1, 4), *rng.integers(13, 18, 2)]).tolist()
    load_mm = rng.normal(0, SD_MM["load"], 3).tolist()
    rows: list[Row] = []
    for letter, (malt, retard), slots in zip("ABC", doughs, deal(rng, len(doughs)), strict=False):
        dough_temp = 23.5 + rng.normal(0, 0.7)
        dough_mm = bake_mm + MALT_MM[malt] * MALT_SHARE[retard] + RETARD_MM[retard]
        dough_mm += rng.normal(0, SD_MM["dough"])
        sticky = rng.normal(0, 0.2)
        for number, (load, place, side) in enumerate(slots, start=1):
            where: Row = {
                "bake": str(bake),
                "day": (FIRST_DAY + timedelta(weeks=bake - 1)).isoformat(),
                "dough": f"{bake}{letter}",
                "load": str(load),
                "piece": f"{bake}{letter}{number}",
                "place": str(place),
                "flour_lot": "F2" if new_flour else "F1",
                "yeast_lot": "Y1",
                "room_temp_c": room,
                "dough_temp_c": dough_temp,
                "malt_percent": malt,
                "retard_hours": float(retard),
                "griddle_temp_c": griddle[load - 1],
                "waited_minutes": float(waited[load - 1]),
            }
            mm = dough_mm + load_mm[load - 1]
            read = piece_readings(rng, malt, retard, side, griddle[load - 1], mm, sticky)
            rows.append(where | read)
    return rows


def make(seed: int = SEED) -> tuple[list[Row], list[Row]]:
    """Return the pieces and the events."""
    rng = np.random.default_rng(seed)
    rows = [row for i, bake in enumerate(best_layout(rng), 1) for row in bake_rows(rng, i, bake)]
    long_side = [row for row in rows if row["side_minutes"] == SIDES[1]]
    burnt = long_side[rng.integers(len(long_side))]
    others = [row for row in rows if row is not burnt]
    forgotten = others[rng.integers(len(others))]
    burnt |= {"browning_l": BURNT_L, "rise_height_mm": None}
    forgotten["rise_height_mm"] = None
    warm = "Windows shut against the noise of the quay: 28 °C in the room."
    black = "Forgotten on the griddle and burnt on one side. Height not measured."
    events: list[Row] = [
        {"level": "bake", "code": str(WARM_BAKE), "kind": "warm room", "text": warm},
        {"level": "piece", "code": burnt["piece"], "kind": "burnt", "text": black},
    ]
    return rows, events


def rises(pieces: Sequence[Row], seed: int = SEED) -> list[Row]:
    """Return how far doughs had risen at some times; 1.00 is when the jar was marked."""
    rng = np.random.default_rng([seed, 1])
    rows: list[Row] = []
    for row in {str(row["dough"]): row for row in pieces}.values():
        if int(str(row["bake"])) not in (*READ_BAKES, LAST_BAKE):
            continue
        malt, room = float(row["malt_percent"] or 0), float(row["room_temp_c"] or 0)
        pace = np.exp(rng.normal(0, SD_RISE["dough"]) + RISE_WARM * (room - USUAL_C))
        pace *= 1 + RISE_MALT * malt
        hours = np.array(READ_AFTER) / 60 * pace

        def grown(t: NDArray[np.float64]) -> NDArray[np.float64]:
            inner = RISE_SPEED * np.e / RISE_GAIN * (RISE_LAG - t) + 1
            return RISE_GAIN * np.exp(-np.exp(inner))

        ratio = 1 + grown(hours) - grown(np.zeros(1))
        ratio += rng.normal(0, SD_RISE["reading"], len(hours))
        start = CLOCK_STARTS + 5 * "ABC".index(str(row["dough"])[-1])
        times = [start, *(start + after for after in READ_AFTER)]
        read = list(zip(times, [1.0, *ratio], strict=True))
        for minute, value in read[: SO_FAR + 1] if row["bake"] == str(LAST_BAKE) else read:
            at = f"{minute // 60:02d}:{minute % 60:02d}"
            rows.append({"dough": row["dough"], "time": at, "dough_ratio": float(value)})
    return rows


def cell(value: str | float | None, decimals: int | None) -> str:
    """Return a value as the baker wrote it down; a missing one as an empty cell."""
    return "" if value is None else f"{value:.{decimals}f}" if decimals is not None else str(value)


def write(path: Path, columns: dict[str, int | None], rows: Iterable[Row]) -> None:
    """Write rows as CSV: UTF-8, line feeds."""
    with path.open("w", encoding="utf-8", newline="") as file:
        table = csv.writer(file, lineterminator="\n")
        table.writerow(columns)
        table.writerows([cell(row[name], columns[name]) for name in columns] for row in rows)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description="Make the invented demo trial again.")
    parser.add_argument("--out", type=Path, default=Path(__file__).parent, metavar="FOLDER")
    folder: Path = parser.parse_args().out
    folder.mkdir(parents=True, exist_ok=True)
    pieces, happened = make()
    write(folder / "pieces.csv", COLUMNS, pieces)
    write(folder / "events.csv", dict.fromkeys(("level", "code", "kind", "text")), happened)
    write(folder / "rises.csv", RISES, rises(pieces))

"""How fast the records are, against a peer in the same run.

Run with ``python tests/benchmarks/bench_records.py``.

- `trial.record`, one field saved, against one insert and commit of Python's own sqlite3 with the
  same settings, every commit on the disk (aim: at most 4);
- `trial.frame` of 10⁵ pieces against `pandas.read_sql` of the same pieces and readings (aim: at
  most 3).

Ratios only: machines differ. Each figure is the median of the runs, the two taken in turn.
"""

import sqlite3
import statistics
import tempfile
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import numpy as np
import pandas as pd

from kit.workspace import Trial, Workspace

PIECES = 100_000


def ratio(ours: Callable[[], object], peer: Callable[[], object], runs: int) -> tuple[float, float]:
    """Median of ours over peer, and ours in seconds."""
    ours(), peer()
    pairs = []
    for _ in range(runs):
        start = time.perf_counter()
        ours()
        middle = time.perf_counter()
        peer()
        pairs.append((middle - start, time.perf_counter() - middle))
    return statistics.median(a / b for a, b in pairs), statistics.median(a for a, _ in pairs)


def saving(folder: Path) -> None:
    """One field against one bare insert."""
    with Workspace(folder / "bakes") as ws, closing(sqlite3.connect(folder / "bare.db")) as bare:
        trial = ws.new_trial("malt")
        piece = trial.add_piece(trial.add_dough(trial.add_bake("2026-11-26")))
        bare.execute("PRAGMA journal_mode = WAL")
        bare.execute("PRAGMA synchronous = FULL")
        bare.execute("CREATE TABLE reading (id TEXT PRIMARY KEY, target TEXT, q TEXT, value REAL)")
        bare.commit()
        count = iter(range(10**9))

        def record() -> None:
            trial.record(piece, "rise_height_mm", 30 + next(count) / 1000)

        def insert() -> None:
            number = next(count)
            bare.execute(
                "INSERT INTO reading VALUES (?, ?, ?, ?)",
                (f"{number:032x}", piece.id, "rise_height_mm", 30 + number / 1000),
            )
            bare.commit()

        times, seconds = ratio(record, insert, 400)
        print(f"one field saved: {times:.1f} times a bare insert, {1000 * seconds:.2f} ms (aim 4)")


def pieces(trial: Trial) -> None:
    """Fill a trial with doughs of 24 pieces, four quantities measured."""
    rng = np.random.default_rng(1)
    dough = np.arange(PIECES) // 24
    frame = pd.DataFrame(
        {
            "bake": dough // 8, "dough": dough, "piece": np.arange(PIECES),
            "malt_percent": dough % 3 * 0.4, "rise_height_mm": rng.normal(38, 2, PIECES),
            "ball_weight_g": rng.normal(80, 1, PIECES),
            "baked_weight_g": rng.normal(71, 1, PIECES),
        }
    )  # fmt: skip
    start = time.perf_counter()
    trial.bring_in(trial.look_at(frame))
    print(f"{PIECES} pieces brought in: {time.perf_counter() - start:.0f} s (no peer)")


PIECES_SQL = """
SELECT bake.code AS bake, bake.day, dough.code AS dough, load.position, piece.id, piece.code,
       piece.place
FROM bake JOIN dough ON dough.bake_id = bake.id AND dough.deleted IS NULL
JOIN piece ON piece.dough_id = dough.id AND piece.deleted IS NULL
LEFT JOIN load ON piece.load_id = load.id
WHERE bake.deleted IS NULL ORDER BY bake.day, bake.position, dough.position, piece.position
"""
READINGS_SQL = """
SELECT target_id, quantity, how, value FROM reading WHERE deleted IS NULL ORDER BY seq
"""


def looking(folder: Path) -> None:
    """A trial's frame against its rows as pandas reads them."""
    with Workspace(folder / "many") as ws:
        trial = ws.new_trial("many")
        pieces(trial)
        with closing(sqlite3.connect(folder / "many" / "bakes.sqlite")) as bare:

            def peer() -> object:
                return pd.read_sql(PIECES_SQL, bare), pd.read_sql(READINGS_SQL, bare)

            times, seconds = ratio(trial.frame, peer, 5)
        print(f"frame of {PIECES} pieces: {times:.1f} times read_sql, {seconds:.1f} s (aim 3)")


def main() -> None:
    """Print every ratio."""
    with tempfile.TemporaryDirectory() as folder:
        saving(Path(folder))
        looking(Path(folder))


if __name__ == "__main__":
    main()

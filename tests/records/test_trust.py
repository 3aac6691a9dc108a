"""What was acknowledged is there, whatever happens to the program that saved it."""

import os
import random
import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import closing

import pytest

from kit.workspace import Workspace

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="forks its savers")

FILE = "bakes.sqlite"

#: forks a saver for every name it reads: that saves readings one by one, and now and then a whole
#: bake in one step, and tells each when stored
SAVER = """
import itertools, os, sys
import pandas as pd
from kit.workspace import Workspace

def save(folder, name):
    with Workspace(folder, who=name) as ws:
        trial = ws.trial("malt")
        piece = trial.piece("1A1")
        print("begun", os.getpid(), flush=True)
        for number in itertools.count(1):
            value = 10 + number / 1000
            trial.record(piece, "rise_height_mm", value)
            print(f"reading {value!r}", flush=True)
            if number % 7 == 0:
                bake = f"{name}-{number}"
                heights = {"dough": "A", "rise_height_mm": [38.0, 39.0, 40.0]}
                trial.bring_in(trial.look_at(pd.DataFrame({"bake": bake, **heights})))
                print(f"bake {bake}", flush=True)

for name in sys.stdin:
    child = os.fork()
    if not child:
        save(sys.argv[1], name.strip())
    _, status = os.waitpid(child, 0)
    print(f"\\nended {os.waitstatus_to_exitcode(status)}", flush=True)
"""


def acknowledged_after_a_kill(saver, name, seconds):
    """Let a saver begin, kill it that long after, return the whole lines it printed."""
    saver.stdin.write(f"{name}\n")
    saver.stdin.flush()
    begun, number = saver.stdout.readline().split()
    assert begun == "begun"
    time.sleep(seconds)
    os.kill(int(number), signal.SIGKILL)  # nothing of it runs any more
    told = ""
    while (line := saver.stdout.readline()) and not line.startswith("ended"):
        told += line
    assert line == f"ended -{signal.SIGKILL:d}\n", told
    # the kill may cut the last line; what was printed whole was acknowledged
    return told.split("\n")[:-2]


def look_over(folder):
    """Ask SQLite, not the kit: sound, no row without its parent, no step by halves."""
    with closing(sqlite3.connect(folder / FILE)) as raw:
        assert raw.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert raw.execute("PRAGMA foreign_key_check").fetchall() == []
        values = {value for (value,) in raw.execute("SELECT value FROM reading")}
        pieces = raw.execute(
            "SELECT bake.code, count(DISTINCT piece.id), count(reading.id) FROM bake "
            "JOIN dough ON dough.bake_id = bake.id JOIN piece ON piece.dough_id = dough.id "
            "LEFT JOIN reading ON reading.target_id = piece.id WHERE bake.code <> '1' GROUP BY 1"
        ).fetchall()
        steps = raw.execute("SELECT count(says), count(DISTINCT step) FROM change").fetchone()
    # a bake is one step: all three pieces and their heights, or no bake at all
    assert {(made, measured) for _, made, measured in pieces} <= {(3, 3)}
    assert steps[0] == steps[1]
    return values, {code for code, _, _ in pieces}


def kill_often(folder, times, seed):
    with Workspace(folder) as ws:
        trial = ws.new_trial("malt")
        trial.add_piece(trial.add_dough(trial.add_bake("2026-11-26")))
    moments = random.Random(seed)
    acknowledged = 0
    words = [sys.executable, "-W", "error", "-c", SAVER, str(folder)]
    pipes = dict.fromkeys(("stdin", "stdout"), subprocess.PIPE)
    with subprocess.Popen(words, text=True, **pipes) as saver:
        for number in range(times):
            lines = acknowledged_after_a_kill(saver, f"saver{number}", moments.uniform(0, 0.15))
            values, bakes = look_over(folder)
            for line in lines:
                kind, what = line.split(" ", 1)
                assert (float(what) in values) if kind == "reading" else (what in bakes), line
            acknowledged += len(lines)
        saver.stdin.close()
    assert acknowledged > times  # else nothing was put to the test
    with Workspace(folder) as ws:
        assert ws.check().ok, str(ws.check())


def test_what_was_acknowledged_survives_a_killed_program(tmp_path):
    kill_often(tmp_path, 25, seed=1)


@pytest.mark.long
def test_what_was_acknowledged_survives_500_kills(tmp_path):
    kill_often(tmp_path, 500, seed=2)


WRITER = """
import sys
from kit.workspace import Workspace
folder, name = sys.argv[1:]
with Workspace(folder, who=name, wait_seconds=240) as ws:
    trial = ws.trial("malt")
    dough = trial.add_dough(trial.add_bake("2026-11-26", code=name))
    for number in range(60):
        piece = trial.add_piece(dough)
        trial.record(piece, "rise_height_mm", number + 1)
        if number % 10 == 0:
            trial.frame()
"""

SCRIPT = """
import sys
import pandas as pd
from kit.workspace import Workspace
folder, name = sys.argv[1:]
with Workspace(folder, who=name, wait_seconds=240) as ws:
    trial = ws.trial("malt")
    heights = [20 + i / 1000 for i in range(6000)]
    doughs = [f"D{i // 10}" for i in range(6000)]
    table = pd.DataFrame(
        {"bake": name, "dough": doughs, "piece": range(6000), "rise_height_mm": heights}
    )
    told = trial.bring_in(trial.look_at(table))
    assert told.stored == 6000, str(told)
"""


def test_two_notebooks_and_a_script_write_at_once_and_lose_nothing(tmp_path):
    with Workspace(tmp_path) as ws:
        ws.new_trial("malt")
    running = [
        subprocess.Popen(
            [sys.executable, "-W", "error", "-c", code, str(tmp_path), name],
            stderr=subprocess.PIPE, text=True,
        )
        for name, code in (("Ida", WRITER), ("Tom", WRITER), ("script", SCRIPT))
    ]  # fmt: skip
    ended = [(process.communicate(timeout=600)[1], process.returncode) for process in running]
    assert ended == [("", 0)] * 3
    with Workspace(tmp_path) as ws:
        frame = ws.trial("malt").frame()
        for name in ("Ida", "Tom"):
            heights = frame.loc[frame["bake"] == name, "rise_height_mm"]
            assert heights.tolist() == [float(n + 1) for n in range(60)]
        heights = frame.loc[frame["bake"] == "script", "rise_height_mm"]
        assert heights.tolist() == [20 + i / 1000 for i in range(6000)]
        assert ws.check().ok, str(ws.check())
        assert ws.history()["what"].str.contains("brought in 6000 rows").sum() == 1

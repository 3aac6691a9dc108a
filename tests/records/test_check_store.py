"""Copies on opening, the check of a workspace, and files that earlier kits wrote."""

import errno
import hashlib
import os
import shutil
import sqlite3
import subprocess
import sys
import threading
import warnings
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing, suppress
from pathlib import Path

import pytest
from typer.testing import CliRunner

from kit.cli import app
from kit.errors import StoreError
from kit.records.check_store import check_store
from kit.records.keeping import copies as copies_module
from kit.records.keeping.copies import copies, put_back
from kit.workspace import Workspace

FILE = "bakes.sqlite"


def sql(folder, *statements):
    with closing(sqlite3.connect(folder / FILE)) as raw:
        for statement in statements:
            raw.execute(statement)
        raw.commit()


# copies


def test_a_copy_is_kept_of_every_state_opened_and_five_in_all(tmp_path):
    Workspace(tmp_path).close()
    Workspace(tmp_path).close()
    assert copies(tmp_path) == []  # nothing was ever done
    for number in range(7):
        with Workspace(tmp_path) as ws:
            ws.new_trial(f"trial {number}")
    for _ in range(2):  # and nothing new since
        Workspace(tmp_path).close()
    kept = copies(tmp_path)
    assert len(kept) == 5
    held = []
    for copy in kept:
        with closing(sqlite3.connect(copy)) as raw:
            assert raw.execute("PRAGMA integrity_check").fetchone() == ("ok",)
            held.append(raw.execute("SELECT count(*) FROM trial").fetchone()[0])
    assert held == [3, 4, 5, 6, 7]
    assert sorted(p.name for p in tmp_path.iterdir()) == [FILE, "copies", "photos"]


def test_undoing_is_a_change_too(tmp_path):
    with Workspace(tmp_path) as ws:
        ws.new_trial("malt")
    with Workspace(tmp_path) as ws:
        ws.undo()
    Workspace(tmp_path).close()
    assert len(copies(tmp_path)) == 2


def test_many_states_of_one_day_leave_the_last_of_each_day_before(tmp_path):
    for number in range(16):
        with Workspace(tmp_path) as ws:
            ws.new_trial(f"trial {number}")
        if number % 2 == 0 and number < 14:  # two states a day, a week long
            last = copies(tmp_path)[-1:]
            for copy in last:
                copy.rename(copy.with_name(f"bakes-202611{number + 1:02}-{copy.name[15:]}"))
    days = [copy.name[6:14] for copy in copies(tmp_path)]
    today = days[-1]
    assert days == ["20261107", "20261109", "20261111", "20261113", *[today] * 5]


def test_a_clock_put_back_does_not_take_the_newest_for_the_oldest(tmp_path):
    for number in range(12):
        with Workspace(tmp_path) as ws:
            ws.new_trial(f"trial {number}")
        if number < 7:
            for copy in copies(tmp_path)[-1:]:
                copy.rename(copy.with_name(f"bakes-209901{number + 1:02}-000000-000000.sqlite"))
    held = []
    for copy in copies(tmp_path)[-5:]:
        with closing(sqlite3.connect(copy)) as raw:
            held.append(raw.execute("SELECT count(*) FROM trial").fetchone()[0])
    assert held == [7, 8, 9, 10, 11]


def test_a_copy_is_looked_at_with_nothing_written_beside_it(tmp_path):
    """What SQLite shares with other programs finds no room on a full disk; no lock is needed."""
    with Workspace(tmp_path) as ws:
        ws.new_trial("malt")
    Workspace(tmp_path).close()
    (copy,) = copies(tmp_path)
    with closing(sqlite3.connect(copy)) as raw:
        raw.execute("PRAGMA locking_mode = EXCLUSIVE")
        raw.execute("BEGIN EXCLUSIVE")
        Workspace(tmp_path).close()
    assert copies(tmp_path) == [copy]  # it was read: nothing has changed since


def test_a_copy_somebody_named_is_left_alone(tmp_path):
    (tmp_path / "copies").mkdir()
    own = tmp_path / "copies" / "bakes-before-the-fair.sqlite"
    own.write_bytes(b"mine")
    for number in range(8):
        with Workspace(tmp_path) as ws:
            ws.new_trial(f"trial {number}")
    assert own.read_bytes() == b"mine"
    assert len(copies(tmp_path)) == 5


def test_a_copy_put_back_is_the_workspace_as_it_was(tmp_path):
    with Workspace(tmp_path) as ws:
        ws.new_trial("malt")
    with Workspace(tmp_path) as ws:
        ws.remove_trial("malt")
    (kept,) = copies(tmp_path)
    assert put_back(tmp_path / FILE)[0] == kept
    with Workspace(tmp_path) as ws:
        assert [trial.name for trial in ws.trials()] == ["malt"]
    (aside,) = (tmp_path / "copies").glob("replaced-*.sqlite")
    with closing(sqlite3.connect(aside)) as raw:
        assert raw.execute("SELECT count(deleted) FROM trial").fetchone() == (1,)


def test_what_was_replaced_stays_however_often_a_copy_is_put_back(tmp_path):
    """The work of a long session is in no copy: the next one is taken on opening."""
    with Workspace(tmp_path) as ws:
        ws.new_trial("yesterday")
    with Workspace(tmp_path) as ws:
        ws.new_trial("today")
    kept = [put_back(tmp_path / FILE)[1] for _ in range(7)]
    assert all(one.exists() for one in kept)
    put_back(tmp_path / FILE, kept[0])
    assert [trial.name for trial in Workspace(tmp_path).trials()] == ["yesterday", "today"]


KILLED = """
import os, sys
from kit.workspace import Workspace
trial = Workspace(sys.argv[1]).trial("malt")
for _ in range(150):
    trial.add_piece(trial.doughs()[0])
os.kill(os.getpid(), 9)
"""


def test_a_copy_put_back_after_a_kill_is_not_mixed_with_what_the_log_held(tmp_path):
    with Workspace(tmp_path) as ws:
        trial = ws.new_trial("malt")
        dough = trial.add_dough(trial.add_bake("2026-11-26"))
        for _ in range(60):
            trial.add_piece(dough)
    Workspace(tmp_path).close()
    subprocess.run([sys.executable, "-c", KILLED, tmp_path], check=False)
    assert (tmp_path / f"{FILE}-wal").exists()
    put_back(tmp_path / FILE)
    with Workspace(tmp_path) as ws:
        assert len(ws.trial("malt").pieces()) == 60
        assert ws.check().ok, str(ws.check())
    (aside,) = (tmp_path / "copies").glob("replaced-*.sqlite")
    with closing(sqlite3.connect(aside)) as raw:  # nothing is lost
        assert raw.execute("SELECT count(*) FROM piece").fetchone() == (210,)


def test_the_newest_whole_copy_is_put_back_or_none(tmp_path):
    for number in range(3):
        with Workspace(tmp_path) as ws:
            ws.new_trial(f"trial {number}")
    first, second = copies(tmp_path)
    second.write_bytes(b"no database" * 100)
    folder = tmp_path / "copies"
    told = refused(tmp_path, second)
    assert told == (
        f"{second} is damaged, or no copy of a workspace. The copies lie in {folder}; nothing was "
        "changed."
    )
    assert put_back(tmp_path / FILE)[0] == first
    first.unlink()
    assert refused(tmp_path) == (
        f"{folder} holds no copy that can be put back: the newest, {second.name}, is damaged, or "
        "no copy of a workspace. Nothing was changed."
    )
    second.unlink()
    assert refused(tmp_path) == f"{folder} holds no copy. Nothing was changed."
    with Workspace(tmp_path) as ws:
        assert [trial.name for trial in ws.trials()] == ["trial 0"]


def refused(folder, copy=None):
    with pytest.raises(StoreError) as caught:
        put_back(folder / FILE, copy)
    return str(caught.value)


def test_what_cannot_be_put_back_says_why(two_states):
    (kept,) = copies(two_states)
    before = (two_states / FILE).read_bytes()
    assert refused(two_states, two_states / "none.sqlite").startswith(
        f"{two_states / 'none.sqlite'} is not there. The copies lie in {two_states / 'copies'}"
    )
    assert "is a folder, and a copy is a file." in refused(two_states, two_states / "copies")
    other = two_states / "other.sqlite"
    with closing(sqlite3.connect(other)) as raw:
        raw.execute("CREATE TABLE change (seq, undone)")
    assert "is no copy of a workspace." in refused(two_states, other)
    with closing(sqlite3.connect(kept)) as raw:
        raw.execute("PRAGMA locking_mode = EXCLUSIVE")
        raw.execute("BEGIN EXCLUSIVE")
        assert "Close the programs that use it." in refused(two_states, kept)
    assert (two_states / FILE).read_bytes() == before
    assert put_back(two_states / FILE, Path(kept.name))[0] == kept  # its name is enough


@pytest.fixture
def two_states(tmp_path):
    for number in range(2):
        with Workspace(tmp_path) as ws:
            ws.new_trial(f"trial {number}")
    return tmp_path


def test_a_copy_of_another_page_size_is_not_called_a_read_only_file(two_states):
    (kept,) = copies(two_states)
    other = shutil.copy(kept, two_states / "other.sqlite")
    with closing(sqlite3.connect(other)) as raw:
        for said in ("journal_mode = DELETE", "page_size = 8192"):
            raw.execute(f"PRAGMA {said}")
        raw.execute("VACUUM")
        assert raw.execute("PRAGMA page_size").fetchone() == (8192,)
    assert refused(two_states, other) == (
        f"{other} and {two_states / FILE} lie in pages of different size (another program rewrote "
        "one of them), and the one cannot be written over the other. Put back another copy; if "
        f"none can be, move {two_states / FILE} away and do this again. Nothing was changed."
    )
    assert not list((two_states / "copies").glob("*replaced-*"))
    with Workspace(two_states) as ws:
        assert len(ws.trials()) == 2


def test_a_workspace_a_program_has_open_is_not_replaced(two_states):
    with Workspace(two_states) as ws:
        assert len(ws.trials()) == 2
        assert refused(two_states) == (
            f"{two_states / FILE} is open in another program. Close it first (a notebook: Kernel, "
            "Shut Down), then do this again; nothing was changed."
        )
        ws.new_trial("and one more")
    assert not list((two_states / "copies").glob("replaced-*"))
    put_back(two_states / FILE)
    with Workspace(two_states) as ws:
        assert len(ws.trials()) == 2  # the copy taken on opening


STOPPED = """
import os, sys
from pathlib import Path
from kit.records.keeping import copies
step, when = sys.argv[2:]
where = copies.os if step == "replace" else copies
real = getattr(where, step)
class Half:
    def __init__(self, copy):
        self.copy = copy
    def __enter__(self):
        self.held = real(self.copy).__enter__()
        return self
    def __exit__(self, *error):
        self.held.close()
    def backup(self, file):
        self.held.backup(file, pages=3, progress=lambda *_: os._exit(9))
    def execute(self, *words):
        return self.held.execute(*words)
def stop(*args):
    if when == "amid":
        return Half(*args)
    if when == "after":
        real(*args)
    os._exit(9)
setattr(where, step, stop)
copies.put_back(Path(sys.argv[1]))
"""
#: of a file SQLite can read, and of a damaged one, step by step: when the program ends
ENDS = [("copied", "before"), ("copied", "after"), ("replace", "before"), ("replace", "after"),
        ("_opened", "before"), ("_opened", "amid"), ("_written_over", "after")]  # fmt: skip
DAMAGED = [("copied", "before"), ("copied", "after"), ("second_name", "before"),
           ("second_name", "after"), ("replace", "before"), ("replace", "after")]  # fmt: skip


def test_a_program_that_ends_half_way_leaves_the_old_or_the_new(tmp_path):
    with Workspace(tmp_path / "killed") as ws:
        trial = ws.new_trial("malt")
        trial.add_dough(trial.add_bake("2026-11-26"))
    Workspace(tmp_path / "killed").close()
    kept = copies(tmp_path / "killed")[-1]
    subprocess.run([sys.executable, "-c", KILLED, tmp_path / "killed"], check=False)
    found = []
    for step, when in ENDS:
        folder = tmp_path / f"{step}-{when}"
        shutil.copytree(tmp_path / "killed", folder)
        for copy in copies(folder):
            if copy.name != kept.name:
                copy.unlink()
        stopped(folder, step, when)
        with Workspace(folder) as ws:
            found.append(len(ws.trial("malt").pieces()))
            assert ws.check().ok, str(ws.check())
    assert found == [150] * 6 + [0]


def stopped(folder, step, when):
    words = [sys.executable, "-c", STOPPED, folder / FILE, step, when]
    assert subprocess.run(words, check=False).returncode == 9, (step, when)


def test_a_program_that_ends_amid_a_damaged_file_leaves_it_or_the_new(two_states, tmp_path):
    (two_states / FILE).write_bytes(b"damaged!" * 1000)
    found = []
    for step, when in DAMAGED:
        folder = tmp_path.with_name(f"{tmp_path.name}-{step}-{when}")
        shutil.copytree(two_states, folder)
        stopped(folder, step, when)
        found.append((folder / FILE).read_bytes() == b"damaged!" * 1000)
        put_back(folder / FILE)
        with Workspace(folder) as ws:
            assert [trial.name for trial in ws.trials()] == ["trial 0"]
            assert ws.check().ok, str(ws.check())
    assert found == [True] * 5 + [False]


BEGUN = """
import sys
from kit.workspace import Workspace
print("ready", flush=True)
with Workspace(sys.argv[1], wait_seconds=120) as ws:
    ws.new_trial("meanwhile")
"""


def test_a_program_that_begins_while_a_copy_is_put_back_writes_to_the_new(two_states, monkeypatch):
    """Its log was mixed with the new file, whose indexes it damaged, or what it wrote was lost."""
    replace, begun = os.replace, []

    def meanwhile(old, new):
        words = [sys.executable, "-c", BEGUN, two_states]
        begun.append(subprocess.Popen(words, stdout=subprocess.PIPE))
        assert begun[0].stdout.readline() == b"ready\n"
        with suppress(subprocess.TimeoutExpired):
            begun[0].wait(1)
        replace(old, new)

    with monkeypatch.context() as patched:
        patched.setattr(copies_module.os, "replace", meanwhile)
        put_back(two_states / FILE)
    (program,) = begun
    program.communicate()
    assert program.returncode == 0
    with Workspace(two_states) as ws:
        assert [trial.name for trial in ws.trials()] == ["trial 0", "meanwhile"]
        assert ws.check().ok, str(ws.check())


def test_programs_that_begin_at_once_keep_one_copy_of_a_state(two_states, monkeypatch):
    """Four of them pushed all but the last state out."""
    before, known = len(copies(two_states)), copies
    together = threading.Barrier(4)

    def at_once(folder):
        kept = known(folder)
        if threading.current_thread() not in seen:
            seen.append(threading.current_thread())
            together.wait()
        return kept

    seen = []
    monkeypatch.setattr(copies_module, "copies", at_once)
    with ThreadPoolExecutor(4) as pool:
        assert list(pool.map(copies_module.keep_copy, [two_states / FILE] * 4)) == [""] * 4
    assert len(known(two_states)) == before + 1
    assert not list((two_states / "copies").glob("*.part"))


@pytest.mark.parametrize("call", ["fsync", "replace"])
def test_a_disk_that_fails_leaves_the_old_file_with_its_log(tmp_path, monkeypatch, call):
    with Workspace(tmp_path) as ws:
        trial = ws.new_trial("malt")
        trial.add_dough(trial.add_bake("2026-11-26"))
    Workspace(tmp_path).close()
    subprocess.run([sys.executable, "-c", KILLED, tmp_path], check=False)
    kept = sorted(path.name for path in (tmp_path / "copies").iterdir())

    def full(*_args):
        raise OSError(errno.ENOSPC, "No space left on device")

    with monkeypatch.context() as patched:
        patched.setattr(copies_module.os, call, full)
        assert refused(tmp_path) == (
            f"{tmp_path / FILE} was not replaced: the disk is full. Free some space, then do this "
            "again. It is as it was."
        )
    assert sorted(path.name for path in (tmp_path / "copies").iterdir()) == kept
    assert not list(tmp_path.glob(".*"))
    with Workspace(tmp_path) as ws:
        assert len(ws.trial("malt").pieces()) == 150


SMALL = """
import resource, signal, sys
from pathlib import Path
from kit.errors import StoreError
from kit.records.keeping.copies import put_back
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (40_000, resource.RLIM_INFINITY))
try:
    put_back(Path(sys.argv[1]))
except StoreError as told:
    print(told)
"""


def test_where_sqlite_itself_cannot_write_the_file_is_as_it_was(two_states):
    before = held(two_states / FILE)
    kept = sorted(path.name for path in (two_states / "copies").iterdir())
    words = [sys.executable, "-c", SMALL, two_states / FILE]
    told = subprocess.run(words, check=True, capture_output=True, text=True).stdout
    assert told.startswith(f"{two_states / FILE} cannot ")  # full, or an error of the disk
    assert held(two_states / FILE) == before
    assert sorted(path.name for path in (two_states / "copies").iterdir()) == kept


@pytest.mark.parametrize("fails", [False, True])
def test_the_log_of_a_damaged_file_goes_where_the_file_goes(two_states, monkeypatch, fails):
    (two_states / FILE).write_bytes(b"damaged!" * 1000)
    log = two_states / f"{FILE}-wal"
    log.write_bytes(b"what a killed program left")
    if fails:
        replace = os.replace

        def refuse(old, new):
            if Path(new).name == FILE:
                raise PermissionError(errno.EACCES, "Permission denied")
            replace(old, new)

        monkeypatch.setattr(copies_module.os, "replace", refuse)
        assert "It is as it was." in refused(two_states)
        assert log.read_bytes() == b"what a killed program left"
        assert not list((two_states / "copies").glob("replaced-*"))
        return
    _, gone = put_back(two_states / FILE)
    assert gone.read_bytes() == b"damaged!" * 1000
    assert Path(f"{gone}-wal").read_bytes() == b"what a killed program left"
    assert not log.exists()
    with Workspace(two_states) as ws:
        assert ws.check().ok, str(ws.check())


def test_where_the_disk_knows_no_second_name_a_copy_goes_aside(two_states, monkeypatch):
    def none(*_args):
        raise OSError(errno.EXDEV, "Invalid cross-device link")

    monkeypatch.setattr(copies_module.os, "link", none)
    (two_states / FILE).write_bytes(b"damaged!" * 1000)
    _, gone = put_back(two_states / FILE)
    assert gone.read_bytes() == b"damaged!" * 1000


def test_a_file_behind_a_link_is_replaced_where_it_lies(two_states):
    (two_states / "elsewhere").mkdir()
    real = two_states / "elsewhere" / "real.sqlite"
    (two_states / FILE).rename(real)
    (two_states / FILE).symlink_to(Path("elsewhere") / "real.sqlite")
    before = held(real)
    _, gone = put_back(two_states / FILE)
    assert (two_states / FILE).is_symlink()
    assert not gone.is_symlink()
    assert held(gone) == before
    assert held(real) == held(copies(two_states)[-1]) != before


def held(file):
    """All that a file of SQLite holds, its counter of changes left out."""
    with closing(sqlite3.connect(file)) as raw:
        return [*raw.iterdump(), raw.execute("PRAGMA journal_mode").fetchone()]


@pytest.mark.parametrize("name", ["20261340-000000-000000", "99991231-235959-999999"])
def test_a_copy_of_no_moment_the_kit_writes_is_passed_over(two_states, name):
    (kept,) = copies(two_states)
    odd = kept.with_name(f"bakes-{name}.sqlite")
    odd.write_bytes(kept.read_bytes())
    Workspace(two_states).close()
    assert odd not in copies(two_states)
    assert len(copies(two_states)) == 2


@pytest.mark.parametrize("how", ["a file in the way", "a full disk"])
def test_a_copy_that_fails_is_told_and_the_workspace_opens(tmp_path, monkeypatch, how):
    with Workspace(tmp_path) as ws:
        ws.new_trial("malt")
    if how == "a file in the way":
        (tmp_path / "copies").write_text("no folder")
        reason = "file exists"
    else:

        def full(*_):
            raise sqlite3.OperationalError("database or disk is full")

        monkeypatch.setattr(copies_module, "_state", full)
        reason = "database or disk is full"
    with warnings.catch_warnings(record=True) as told:
        warnings.simplefilter("always")
        with Workspace(tmp_path) as ws:
            assert [trial.name for trial in ws.trials()] == ["malt"]
    assert [str(warning.message) for warning in told if warning.category is UserWarning] == [
        f"no copy of {tmp_path / FILE} was kept: {reason}. The workspace itself is in order. "
        f"Look at the folder {tmp_path / 'copies'} and the space on the disk."
    ]


# the check


def test_a_sound_workspace(ws, trial, made):
    trial.record(made.pieces[0], "rise_height_mm", 38)
    trial.remove(made.pieces[1])
    trial.record(made.pieces[0], "rise_height_mm", 39)
    ws.undo()
    told = ws.check()
    assert (told.ok, told.findings, told.version) == (True, (), "0002")
    assert told.counts["piece"] == 2
    assert " 1 trial, 1 bake, 1 dough, 2 pieces, " in str(told)
    assert str(told).endswith(
        "All is well: the file, what belongs to what, values, photos, journal."
    )


def test_every_kind_of_trouble_is_found(tmp_path):
    with Workspace(tmp_path) as ws:
        trial = ws.new_trial("malt")
        bake = trial.add_bake("2026-11-26")
        dough = trial.add_dough(bake)
        load = trial.add_load(bake)
        piece = trial.add_piece(dough, load)
        for value in (38, 39, 40):
            trial.record(piece, "rise_height_mm", value)
    (tmp_path / "photos" / "a.jpg").write_bytes(b"picture")
    right = hashlib.sha256(b"picture").hexdigest()
    photo = (
        "INSERT INTO photo (id, trial_id, path, sha256) SELECT '{0}', id, '{1}', '{2}' FROM trial"
    )
    columns = [row[1] for row in closing_rows(tmp_path, "PRAGMA table_info(photo)")]
    needed = [row[1] for row in closing_rows(tmp_path, "PRAGMA table_info(photo)") if row[3]]
    assert set(needed) <= {"id", "path", "sha256"}, columns
    sql(
        tmp_path,
        photo.format("p1", "photos/a.jpg", right),
        photo.format("p2", "photos/b.jpg", right),
        photo.format("p3", "photos/a.jpg", "0" * 64),
        "UPDATE reading SET value = -1 WHERE value = 38",
        "UPDATE reading SET quantity = 'shine' WHERE value = 39",
        "UPDATE reading SET target_id = 'nobody' WHERE value = 40",
        "UPDATE dough SET deleted = '2026-11-26T00:00:00+00:00'",
    )
    told = check_store(tmp_path)
    assert not told.ok
    assert told.to_frame()["what"].tolist() == [
        "1 pieces belong to a dough that was taken out.",
        "1 readings belong to nothing that exists.",
        "malt: Height of piece 1A1 is -1, which must lie between 1 and 300 mm.",
        "1 values of shine, which is no quantity this kit knows.",
        "1 rows of dough are taken out or not, unlike the journal says.",
        "3 rows of photo stand in no line of the journal.",
        "The photo photos/b.jpg is missing.",
        "The photo photos/a.jpg was altered since it was added.",
    ]
    assert told.photos == 3
    before = (tmp_path / FILE).read_bytes()
    run = CliRunner().invoke(app, ["check", str(tmp_path)])
    assert run.exit_code == 1
    assert "The photo photos/b.jpg is missing. Put the file back where it was" in run.output
    assert (tmp_path / FILE).read_bytes() == before  # looking changes nothing


def closing_rows(folder, query):
    with closing(sqlite3.connect(folder / FILE)) as raw:
        return raw.execute(query).fetchall()


def test_a_damaged_file_names_the_copy_to_put_back(tmp_path):
    for _ in range(2):
        with Workspace(tmp_path) as ws:
            trial = ws.new_trial(f"trial {len(ws.trials())}")
            dough = trial.add_dough(trial.add_bake("2026-11-26"))
            for _ in range(150):
                trial.add_piece(dough)
    content = bytearray((tmp_path / FILE).read_bytes())
    content[len(content) // 2 :] = b"\xff" * (len(content) - len(content) // 2)
    (tmp_path / FILE).write_bytes(content)
    told = check_store(tmp_path)
    assert not told.ok
    assert {finding.about for finding in told.findings} == {"file"}
    assert f"python -m kit restore {tmp_path}" in str(told)


def test_a_file_that_is_no_workspace(tmp_path):
    (tmp_path / FILE).write_bytes(b"no database at all " * 100)
    told = check_store(tmp_path)
    assert "is not a workspace or is damaged" in str(told)


def test_the_command(tmp_path):
    with Workspace(tmp_path) as ws:
        ws.new_trial("malt")
    run = CliRunner().invoke(app, ["check", str(tmp_path)])
    assert (run.exit_code, "All is well" in run.output) == (0, True)
    assert CliRunner().invoke(app, ["check", str(tmp_path / "none")]).exit_code == 2
    assert not (tmp_path / "none").exists()


# files that earlier kits wrote


def test_a_file_of_schema_0001_is_read_right(tmp_path):
    with closing(sqlite3.connect(tmp_path / FILE)) as raw:
        raw.executescript((Path(__file__).parent / "schema_0001.sql").read_text())
        raw.execute("PRAGMA journal_mode = WAL")
    with Workspace(tmp_path) as ws:
        trial = ws.trial("malt")
        assert (trial.matters, trial.zone, trial.invented) == (2.0, "Europe/Berlin", True)
        assert trial.factors == {"malt_percent": [0.0, 0.8]}
        frame = trial.frame()
        assert frame["piece"].tolist() == ["1A1", "1A2", "1B1", "1B2", "2A1", "2B1", "2B2"]
        heights = [39, 39.5, 39.8, 40.3, 40, 40.8, 45]
        assert frame["rise_height_mm"].tolist() == pytest.approx(heights)
        assert frame["malt_percent"].tolist() == [0, 0, 0.8, 0.8, 0, 0.8, 0.8]
        assert frame["griddle_temp_c"].tolist() == [190] * 7
        assert frame["flour_lot"].tolist() == ["F1"] * 4 + ["F2"] * 3
        assert set(trial.provenance()["malt_percent"]) == {"planned"}
        assert trial.events()["kind"].tolist() == ["fridge open"]
        assert trial.formula().name == "griddle muffin"
        assert ws.check().ok, str(ws.check())
        assert ws.undo() == "undone: malt: piece 2A2 removed"
        assert len(trial.frame()) == 8


def test_an_interrupt_once_the_copy_is_written_leaves_what_was_there(two_states, monkeypatch):
    # the state before was deleted: an interrupt comes only after SQLite's one long call
    class Interrupted(sqlite3.Connection):
        def backup(self, target, **options):
            super().backup(target, **options)
            raise KeyboardInterrupt

    def opened(file):
        return closing(sqlite3.connect(file, factory=Interrupted))

    first = copies(two_states)[0]
    monkeypatch.setattr(copies_module, "_whole", lambda *_: first)
    monkeypatch.setattr(copies_module, "_opened", opened)
    with pytest.raises(KeyboardInterrupt):
        put_back(two_states / FILE)
    (gone,) = (two_states / "copies").glob("replaced-*.sqlite")
    with closing(sqlite3.connect(gone)) as old:
        names = [name for (name,) in old.execute("SELECT name FROM trial ORDER BY name")]
    assert names == ["trial 0", "trial 1"]

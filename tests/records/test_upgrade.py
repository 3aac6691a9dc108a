import sqlite3
import sys
import threading
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory

from kit.errors import StoreError
from kit.records import tables as t
from kit.records.keeping import store as store_module
from kit.records.keeping import upgrade as upgrade_module
from kit.records.keeping.store import open_store
from kit.workspace import Workspace

FILE = "bakes.sqlite"


def schema(file):
    with closing(sqlite3.connect(file)) as raw:
        return sorted(raw.execute("SELECT type, name, tbl_name FROM sqlite_master"))


@pytest.fixture
def version_1(tmp_path):
    with closing(sqlite3.connect(tmp_path / FILE)) as raw:
        raw.executescript((Path(__file__).parent / "schema_0001.sql").read_text())
    return tmp_path


def test_the_versions_are_those_of_the_revisions():
    revisions = ScriptDirectory.from_config(upgrade_module.script()).walk_revisions()
    assert tuple(r.revision for r in revisions)[::-1] == t.VERSIONS


def test_upgrading_gives_what_a_new_file_has(version_1, tmp_path_factory):
    new = tmp_path_factory.mktemp("new")
    open_store(new).close()
    store = open_store(version_1)
    with store.reading() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, t.metadata) == []
    store.close()
    assert schema(version_1 / FILE) == schema(new / FILE)


def test_an_older_file_is_copied_aside_then_upgraded(version_1):
    before = schema(version_1 / FILE)
    with Workspace(version_1) as ws:
        ws.new_trial("salt")
    (copy,) = version_1.glob("bakes-before-0002-*.sqlite")
    assert schema(copy) == before
    with Workspace(version_1) as ws:  # opened again, nothing more to do
        assert [trial.name for trial in ws.trials()] == ["malt", "salt"]
    assert len(list(version_1.glob("bakes-before-*"))) == 1


def test_two_programs_upgrading_at_once_copy_the_older_file_once(version_1, monkeypatch):
    before, known, both = schema(version_1 / FILE), store_module._upgrade, threading.Barrier(2)

    def at_once(*args):
        both.wait()
        known(*args)

    monkeypatch.setattr(store_module, "_upgrade", at_once)
    with ThreadPoolExecutor(2) as pool:
        for store in pool.map(lambda _: open_store(version_1, wait_seconds=120), range(2)):
            store.close()
    (copy,) = version_1.glob("bakes-before-0002-*.sqlite")
    assert schema(copy) == before


def test_a_file_stamped_with_no_version_is_no_workspace(tmp_path):
    with closing(sqlite3.connect(tmp_path / FILE)) as raw:
        raw.execute("CREATE TABLE alembic_version (version_num VARCHAR(32) NOT NULL PRIMARY KEY)")
        raw.commit()
    before = schema(tmp_path / FILE)
    with pytest.raises(StoreError, match="is not a workspace or is damaged"):
        open_store(tmp_path)
    assert schema(tmp_path / FILE) == before


NEXT = """
import sqlalchemy as sa
from alembic import op
revision = "0003"
down_revision = "0002"
def upgrade():
    op.add_column("bake", sa.Column("weather", sa.Text()))
    with op.batch_alter_table("dough") as table:  # builds the table anew
        table.alter_column("note", new_column_name="remark")
"""


@pytest.fixture
def a_next_version(monkeypatch, tmp_path_factory):
    """Add a further revision, as a later kit will have one."""
    folder = tmp_path_factory.mktemp("later") / "migrations"
    (folder / "versions").mkdir(parents=True)
    for name in ("env.py", "versions/v0001.py", "versions/v0002.py"):
        (folder / name).write_bytes((upgrade_module.FOLDER / name).read_bytes())
    revision = folder / "versions" / "v0003.py"
    revision.write_text(NEXT)
    monkeypatch.setattr(upgrade_module, "FOLDER", folder)
    monkeypatch.setattr(store_module, "VERSION", "0003")
    monkeypatch.setattr(store_module, "VERSIONS", (*t.VERSIONS, "0003"))
    monkeypatch.setattr(sys, "dont_write_bytecode", True)
    return revision


@pytest.fixture
def filled(tmp_path):
    with Workspace(tmp_path) as ws:
        trial = ws.new_trial("malt")
        dough = trial.add_dough(trial.add_bake("2026-11-26"), note="stiff")
        trial.record(trial.add_piece(dough), "rise_height_mm", 38)
    return tmp_path


def test_an_upgrade_keeps_every_row(filled, a_next_version):
    open_store(filled).close()
    with closing(sqlite3.connect(filled / FILE)) as raw:
        assert raw.execute("SELECT remark FROM dough").fetchall() == [("stiff",)]
        assert raw.execute("SELECT weather FROM bake").fetchall() == [(None,)]
        assert raw.execute("SELECT value FROM reading").fetchall() == [(38.0,)]
        assert raw.execute("SELECT version_num FROM alembic_version").fetchall() == [("0003",)]
        assert raw.execute("PRAGMA foreign_key_check").fetchall() == []
    (copy,) = filled.glob("bakes-before-0003-*.sqlite")
    with closing(sqlite3.connect(copy)) as raw:
        assert raw.execute("SELECT note FROM dough").fetchall() == [("stiff",)]
        assert raw.execute("SELECT value FROM reading").fetchall() == [(38.0,)]


def test_an_upgrade_that_fails_leaves_the_file_as_it_was(filled, a_next_version):
    a_next_version.write_text(NEXT + '    op.execute("INSERT INTO nowhere VALUES (1)")\n')
    before = schema(filled / FILE)
    with pytest.raises(StoreError) as caught:
        open_store(filled)
    assert str(caught.value) == (
        f"{filled / FILE} cannot be used: no such table: nowhere. "
        "Check its address, then open the workspace again."
    )
    assert schema(filled / FILE) == before


def test_an_upgrade_that_would_lose_a_row_is_refused(filled, a_next_version):
    a_next_version.write_text(NEXT + '    op.execute("DELETE FROM dough")\n')
    before = schema(filled / FILE)
    with pytest.raises(StoreError) as caught:
        open_store(filled)
    assert str(caught.value) == (
        f"{filled / FILE} cannot be upgraded: 1 of its rows belong to nothing (the first in table "
        "piece). It was left as it is."
    )
    assert schema(filled / FILE) == before

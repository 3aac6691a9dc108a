"""Opening a workspace's database: one SQLite file in a folder, or any database by its URL.

Within `Store.reading` and `Store.writing` nothing SQLAlchemy or SQLite raises gets out
untranslated: the caller sees a `StoreError` in plain words. Writing takes the one write lock at
the start (SQLite: ``BEGIN IMMEDIATE``; PostgreSQL: an advisory lock) and waits for it, so that two
notebooks queue instead of failing half-way; reading sees one unchanging state and waits for nobody.
"""

import sqlite3
import time
import warnings
from collections.abc import Iterator
from contextlib import closing, contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event, inspect, select
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError, NoSuchModuleError

from kit.errors import MissingPackageError, StoreError
from kit.records.keeping.copies import FOLDER, copies, keep_copy
from kit.records.keeping.trouble import NOT_OURS, in_words
from kit.records.tables import VERSION, VERSIONS, metadata, stamp

__all__ = ["FILE", "Store", "open_store"]

#: the database in a workspace's folder
FILE = "bakes.sqlite"


class Store:
    """An open workspace.

    With SQLite, connections of its `engine` come with foreign keys on and every commit on the disk.
    The file and `photos/` lie in `folder`, which is None for a database elsewhere; `name` is what
    it is called in messages, without a password.
    """

    def __init__(self, engine: Engine, folder: Path | None, name: str) -> None:
        self.engine, self.folder, self.name = engine, folder, name
        self._reader, self._writer = engine, engine.execution_options(kit_writes=True)
        if engine.dialect.name == "postgresql":  # else each statement sees a state of its own
            self._reader = engine.execution_options(isolation_level="REPEATABLE READ")

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """Give a connection that sees one state of the database."""
        with in_words(self.name), self._reader.begin() as connection:
            yield connection

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """Give a connection whose block is stored whole when it ends, or not at all."""
        with in_words(self.name), self._writer.begin() as connection:
            yield connection

    def close(self) -> None:
        """Let go of the file; the store may still be used and then opens it again."""
        self.engine.dispose()


def open_store(where: str | Path, wait_seconds: float = 5.0, copy: bool = True) -> Store:
    """Open a workspace, made when absent, upgraded when older.

    The state it is in is copied aside first, see `kit.records.keeping.copies`; where that fails, a
    warning says so and the workspace opens all the same.

    `where` is a folder, or a database URL such as ``postgresql+psycopg://kitchen/bakes``; while
    another program writes it waits `wait_seconds`. Raises StoreError: it cannot be opened, is no
    workspace, or was made by a newer kit. MissingPackageError: the database's driver is not
    installed.
    """
    url, folder, name = _locate(where)
    with in_words(name):
        store = Store(_connectable(url, wait_seconds), folder, name)
        try:
            _make_ready(store, url, wait_seconds)
            if folder is not None:
                (folder / "photos").mkdir(exist_ok=True)
                if copy and (trouble := keep_copy(folder / FILE)):
                    warnings.warn(trouble, stacklevel=2)
        except BaseException:
            store.close()
            raise
    return store


def _locate(where: str | Path) -> tuple[URL, Path | None, str]:
    """Return the URL, the folder if it is one, and the name used in messages."""
    if "://" in str(where):
        try:
            url = make_url(str(where))
        except ArgumentError as exc:
            text = f"{where} is not a database address. Write for example {_EXAMPLE}."
            raise StoreError(text) from exc
        return url, None, url.render_as_string(hide_password=True)
    if str(where).strip() == "":
        text = 'no folder was named. Write for example my-bakes, or "." for the one you are in.'
        raise StoreError(text)
    folder = Path(where).expanduser()
    with in_words(str(folder)):
        if folder.is_file():
            text = (
                f"{folder} is a file, and a workspace is a folder. "
                f"Give the folder it lies in ({folder.parent}) or a new name."
            )
            raise StoreError(text)
        folder.mkdir(parents=True, exist_ok=True)
    file = folder / FILE
    return URL.create("sqlite", database=str(file)), folder, str(file)


_EXAMPLE = "postgresql+psycopg://user@host/bakes"


def _connectable(url: URL, wait_seconds: float, foreign_keys: bool = True) -> Engine:
    """Return an engine; for SQLite one that begins transactions itself.

    The driver of Python's `sqlite3` begins them late and not before every statement, which would
    let two writers both read first and then collide.
    """
    try:
        if url.get_backend_name() != "sqlite":
            return _one_writer(create_engine(url), wait_seconds)
        engine = create_engine(url, connect_args={"timeout": wait_seconds})
    except NoSuchModuleError as exc:
        text = f"{url.drivername} is not a database the kit knows. Write for example {_EXAMPLE}."
        raise StoreError(text) from exc
    except ModuleNotFoundError as exc:
        raise MissingPackageError("A database shared by a kitchen", "kitchen") from exc

    def connected(raw: sqlite3.Connection, _record: Any) -> None:
        raw.isolation_level = None
        raw.execute(f"PRAGMA foreign_keys = {'ON' if foreign_keys else 'OFF'}")
        # what was acknowledged survives a power cut, not only a killed program
        raw.execute("PRAGMA synchronous = FULL")

    def begun(connection: Connection) -> None:
        writes = connection.get_execution_options().get("kit_writes")
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    def let_go(raw: sqlite3.Connection, _record: Any, _why: Any) -> None:
        raw.rollback()  # of an interrupted program the traceback holds it open, and its lock

    event.listen(engine, "connect", connected)
    event.listen(engine, "begin", begun)
    event.listen(engine, "invalidate", let_go)
    return engine


#: what a kit that writes to PostgreSQL holds (the letters "kit"); also where no table is yet
_LOCK = 0x6B6974


def _one_writer(engine: Engine, wait_seconds: float) -> Engine:
    """Have those who write to a PostgreSQL queue, as SQLite has them; else two undo one step."""

    def begun(connection: Connection) -> None:
        if connection.get_execution_options().get("kit_writes"):
            connection.exec_driver_sql(
                f"SET LOCAL lock_timeout = {max(1, round(wait_seconds * 1000))}"
            )
            connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_LOCK})")

    if engine.dialect.name == "postgresql":
        event.listen(engine, "begin", begun)
    return engine


def _make_ready(store: Store, url: URL, wait_seconds: float) -> None:
    """Create what is missing, upgrade what is older, refuse the rest."""
    # asked first: another program may make the file meanwhile, and then keep a copy of it
    folder = store.folder
    copied = folder is not None and bool(copies(folder))
    if folder is not None and copied and not (folder / FILE).exists():
        raise _forgotten(store)  # before the database makes an empty one
    with store.reading() as connection:
        version = _version(connection, store.name)
    if version is None:
        if copied:
            raise _forgotten(store)
        if store.engine.dialect.name == "sqlite":
            _let_readers_read_on(store.engine, wait_seconds)
        with store.writing() as connection:
            # another program may have made it meanwhile
            version = _version(connection, store.name)
            if version is None:
                metadata.create_all(connection)
                stamp.create(connection)
                connection.execute(stamp.insert().values(version_num=VERSION))
                version = VERSION
    if version in VERSIONS[:-1]:
        _upgrade(store, url, wait_seconds)
    elif version != VERSION:
        text = (
            f"{store.name} was written by a newer kit (its schema is {version}, this kit knows "
            f"{VERSION}). Install the newer kit: pip install -U bake-trial-kit. "
            "The file was left as it is."
        )
        raise StoreError(text)


def _let_readers_read_on(engine: Engine, wait_seconds: float) -> None:
    """Have SQLite keep a log, so that readers do not block the writer; the file remembers it.

    It is said outside a transaction, and while another program writes SQLite refuses it at once,
    whatever its own timeout: the waiting is done here.
    """
    deadline = time.monotonic() + wait_seconds
    raw = engine.raw_connection()
    try:
        while True:
            try:
                raw.cursor().execute("PRAGMA journal_mode = WAL")
                return
            except sqlite3.OperationalError as exc:
                if (
                    exc.sqlite_errorcode & 0xFF != sqlite3.SQLITE_BUSY
                    or time.monotonic() > deadline
                ):
                    raise
                time.sleep(0.02)
    finally:
        raw.close()


def _forgotten(store: Store) -> StoreError:
    """Why not to begin anew where records were: each new start would push a copy of them out."""
    return StoreError(
        f"{store.name} is empty or was taken away, but copies of it are there. Put the newest "
        f"back: python -m kit restore {store.folder}. To begin anew, take the folder {FOLDER} away."
    )


def _version(connection: Connection, name: str) -> str | None:
    """Return the schema's version, None where there are no tables.

    Raises StoreError: there are tables, but they are not a workspace's.
    """
    tables = inspect(connection).get_table_names()
    if stamp.name in tables and (version := connection.scalar(select(stamp.c.version_num))):
        return str(version)
    if tables:
        text = f"{name} {NOT_OURS}"
        raise StoreError(text)
    return None


def _upgrade(store: Store, url: URL, wait_seconds: float) -> None:
    """Copy the file aside, then bring it to the present schema, whole or not at all.

    Both under the write lock: of two programs one does it, and copies what is still the older.
    """
    from kit.records.keeping.upgrade import upgrade

    # SQLite changes a column by building the table anew, which foreign keys would forbid
    engine = _connectable(url, wait_seconds, foreign_keys=False)
    try:
        with engine.execution_options(kit_writes=True).begin() as connection:
            if _version(connection, store.name) != VERSION:  # not done by another program meanwhile
                if store.folder is not None:
                    _copy_aside(store.folder / FILE)
                upgrade(connection, store.name)
    finally:
        engine.dispose()


def _copy_aside(file: Path) -> None:
    """Copy an open database, what stands in its write-ahead log included."""
    moment = datetime.now(UTC).strftime("%Y%m%d-%H%M%S-%f")
    copy = file.with_name(f"{file.stem}-before-{VERSION}-{moment}{file.suffix}")
    with closing(sqlite3.connect(file)) as source, closing(sqlite3.connect(copy)) as target:
        source.backup(target)

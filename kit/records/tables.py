"""The tables of a workspace, as SQLAlchemy Core sees them.

Every table but `change` (the journal) has an `id`, a UUID as text, so that rows of two kitchens
never clash, and `deleted`: empty while the row counts, else the time it was taken out. Rows are
never removed. Times are UTC in ISO text, which sorts and reads alike in every database; the
zone they were lived in stands on the trial and on the bake.
"""

from typing import Any

from sqlalchemy import (
    JSON,
    Boolean,
    Column,
    Date,
    Float,
    ForeignKey,
    Index,
    Integer,
    MetaData,
    String,
    Table,
    Text,
)

__all__ = [
    "TABLES", "VERSION", "VERSIONS", "bake", "change", "dough", "event", "factor", "formula",
    "ingredient", "load", "lot", "metadata", "photo", "piece", "quantity", "reading", "stamp",
    "taster", "tasting", "trial",
]  # fmt: skip

#: every schema this kit can read, oldest first; each is a revision in `migrations/versions`
VERSIONS = ("0001", "0002")
#: the schema this kit writes
VERSION = VERSIONS[-1]

metadata = MetaData(
    naming_convention={
        "pk": "pk_%(table_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s",
        "uq": "uq_%(table_name)s_%(column_0_name)s",
    }
)
# Alembic's own table, described here so that a new file is stamped without loading Alembic
stamp = Table("alembic_version", MetaData(), Column("version_num", String(32), primary_key=True))


def _table(name: str, *columns: Column[Any]) -> Table:
    """Return a table with `id` first and `deleted` last."""
    return Table(
        name, metadata, Column("id", Text, primary_key=True), *columns, Column("deleted", Text)
    )


def _belongs(column: str, other: str, optional: bool = False) -> Column[Any]:
    return Column(column, Text, ForeignKey(f"{other}.id"), nullable=optional)


def _only_one(name: str, *columns: Column[Any]) -> None:
    """Let no two rows that count be alike in `columns`; rows taken out do not stand in the way."""
    counts = columns[0].table.c.deleted.is_(None)
    Index(name, *columns, unique=True, sqlite_where=counts, postgresql_where=counts)


def _needed(name: str, kind: type = Text) -> Column[Any]:
    return Column(name, kind, nullable=False)


formula = _table("formula", _needed("name"), _needed("note"))
ingredient = _table(
    "ingredient",
    _belongs("formula_id", "formula"),
    _needed("position", Integer),
    _needed("name"),
    _needed("role"),
    Column("percent", Float),  # of the flour's weight; empty where the trial says
    _needed("note"),
)
lot = _table("lot", _needed("kind"), _needed("code"), _needed("note"))
trial = _table(
    "trial",
    _needed("name"),
    _needed("question"),
    Column("outcome", Text),
    Column("matters", Float),  # in the outcome's unit
    _needed("zone"),
    _needed("invented", Boolean),
    _needed("baker"),
    _belongs("formula_id", "formula", optional=True),
    _needed("created"),
)
factor = _table(
    "factor",
    _belongs("trial_id", "trial"),
    _needed("position", Integer),
    _needed("quantity"),
    _needed("settings", JSON),
)
bake = _table(
    "bake",
    _belongs("trial_id", "trial"),
    _needed("position", Integer),
    _needed("code"),
    Column("day", Date),
    _needed("zone"),
    _belongs("flour_lot_id", "lot", optional=True),
    _belongs("yeast_lot_id", "lot", optional=True),
    _needed("note"),
)
dough = _table(
    "dough",
    _belongs("bake_id", "bake"),
    _needed("position", Integer),
    _needed("code"),
    _needed("note"),
)
load = _table("load", _belongs("bake_id", "bake"), _needed("position", Integer))
piece = _table(
    "piece",
    _belongs("dough_id", "dough"),
    _needed("position", Integer),
    _needed("code"),
    _belongs("load_id", "load", optional=True),
    Column("place", Integer),
    Column("blind", Text),
)
photo = _table(
    "photo",
    _belongs("trial_id", "trial", optional=True),
    Column("level", Text),
    Column("target_id", Text),
    _needed("path"),
    _needed("sha256"),
    Column("taken", Text),
    Column("shows", Text),
    Column("measured_by", JSON(none_as_null=True)),  # see `kit.records.photos.measured_by`
)
# `seq` and not the clock decides which of two readings is the newer one: clocks are set back.
# `trial_id` repeats what the target says, so that a frame needs no join over four levels.
reading = Table(
    "reading",
    metadata,
    Column("seq", Integer, primary_key=True, autoincrement=True),
    Column("id", Text, nullable=False, unique=True),
    _belongs("trial_id", "trial"),
    _needed("level"),
    _needed("target_id"),
    _needed("quantity"),
    Column("value", Float),  # empty: an earlier value was taken back, the quantity is missing
    Column("u", Float),  # standard uncertainty
    _needed("how"),
    _needed("at"),
    _belongs("photo_id", "photo", optional=True),
    Column("note", Text),
    Column("deleted", Text),
)
event = _table(
    "event",
    _belongs("trial_id", "trial"),
    _needed("level"),
    _needed("target_id"),
    _needed("kind"),
    _needed("text"),
    _needed("at"),
)
taster = _table("taster", _needed("name"))
tasting = _table(
    "tasting",
    _belongs("trial_id", "trial"),
    _belongs("taster_id", "taster"),
    _needed("method"),
    _needed("samples", JSON),
    Column("answer", JSON(none_as_null=True)),
    _needed("at"),
)
quantity = _table("quantity", _needed("name"), _needed("definition", JSON))
change = Table(
    "change",
    metadata,
    Column("seq", Integer, primary_key=True, autoincrement=True),
    _needed("step"),  # one undoable action; it may touch many rows
    _needed("at"),
    _needed("who"),
    Column("says", Text),  # the action in words, on the first row of a step
    _needed("table"),
    _needed("row_id"),
    _needed("what"),  # add, change, delete
    Column("before", JSON(none_as_null=True)),
    Column("after", JSON(none_as_null=True)),
    Column("undone", Text),  # when
)

_only_one("one_trial_name", trial.c.name)
_only_one("one_factor", factor.c.trial_id, factor.c.quantity)
_only_one("one_ingredient_position", ingredient.c.formula_id, ingredient.c.position)
_only_one("one_lot", lot.c.kind, lot.c.code)
_only_one("one_bake_code", bake.c.trial_id, bake.c.code)
_only_one("one_dough_code", dough.c.bake_id, dough.c.code)
_only_one("one_load_position", load.c.bake_id, load.c.position)
_only_one("one_piece_code", piece.c.dough_id, piece.c.code)
_only_one("one_piece_place", piece.c.load_id, piece.c.place)
_only_one("one_taster", taster.c.name)
_only_one("one_quantity", quantity.c.name)
Index("reading_of_trial", reading.c.trial_id, reading.c.seq)
Index("reading_of_thing", reading.c.target_id, reading.c.quantity)
Index("event_of_trial", event.c.trial_id)
Index("change_of_step", change.c.step)

#: the tables the journal may touch, by name
TABLES: dict[str, Table] = {name: t for name, t in metadata.tables.items() if name != "change"}

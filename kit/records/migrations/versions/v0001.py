"""The first schema: everything.

Written out, not taken from `kit.records.tables`: that file moves on, this one says for ever what
the first schema was.
"""

from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None

COUNTS: dict[str, Any] = {
    "sqlite_where": sa.text("deleted IS NULL"),
    "postgresql_where": sa.text("deleted IS NULL"),
}


def upgrade() -> None:
    op.create_table(
        "change",
        sa.Column("seq", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("step", sa.Text(), nullable=False),
        sa.Column("at", sa.Text(), nullable=False),
        sa.Column("who", sa.Text(), nullable=False),
        sa.Column("says", sa.Text(), nullable=True),
        sa.Column("table", sa.Text(), nullable=False),
        sa.Column("row_id", sa.Text(), nullable=False),
        sa.Column("what", sa.Text(), nullable=False),
        sa.Column("before", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("after", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("undone", sa.Text(), nullable=True),
        sa.PrimaryKeyConstraint("seq", name="pk_change"),
    )
    op.create_index("change_of_step", "change", ["step"], unique=False)
    op.create_table(
        "formula",
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("deleted", sa.Text(), nullable=True),
        sa.PrimaryKeyConstraint("id", name="pk_formula"),
    )
    op.create_table(
        "lot",
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("code", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("deleted", sa.Text(), nullable=True),
        sa.PrimaryKeyConstraint("id", name="pk_lot"),
    )
    op.create_index("one_lot", "lot", ["kind", "code"], unique=True, **COUNTS)
    op.create_table(
        "quantity",
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("definition", sa.JSON(), nullable=False),
        sa.Column("deleted", sa.Text(), nullable=True),
        sa.PrimaryKeyConstraint("id", name="pk_quantity"),
    )
    op.create_index("one_quantity", "quantity", ["name"], unique=True, **COUNTS)
    op.create_table(
        "taster",
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("deleted", sa.Text(), nullable=True),
        sa.PrimaryKeyConstraint("id", name="pk_taster"),
    )
    op.create_index("one_taster", "taster", ["name"], unique=True, **COUNTS)
    op.create_table(
        "ingredient",
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("formula_id", sa.Text(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("role", sa.Text(), nullable=False),
        sa.Column("percent", sa.Float()),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("deleted", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["formula_id"], ["formula.id"], name="fk_ingredient_formula_id"),
        sa.PrimaryKeyConstraint("id", name="pk_ingredient"),
    )
    op.create_index(
        "one_ingredient_position", "ingredient", ["formula_id", "position"], unique=True, **COUNTS
    )
    op.create_table(
        "trial",
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("question", sa.Text(), nullable=False),
        sa.Column("outcome", sa.Text(), nullable=True),
        sa.Column("matters", sa.Float(), nullable=True),
        sa.Column("zone", sa.Text(), nullable=False),
        sa.Column("invented", sa.Boolean(), nullable=False),
        sa.Column("baker", sa.Text(), nullable=False),
        sa.Column("formula_id", sa.Text(), nullable=True),
        sa.Column("created", sa.Text(), nullable=False),
        sa.Column("deleted", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["formula_id"], ["formula.id"], name="fk_trial_formula_id"),
        sa.PrimaryKeyConstraint("id", name="pk_trial"),
    )
    op.create_index("one_trial_name", "trial", ["name"], unique=True, **COUNTS)
    op.create_table(
        "bake",
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("trial_id", sa.Text(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("code", sa.Text(), nullable=False),
        sa.Column("day", sa.Date(), nullable=True),
        sa.Column("zone", sa.Text(), nullable=False),
        sa.Column("flour_lot_id", sa.Text(), nullable=True),
        sa.Column("yeast_lot_id", sa.Text(), nullable=True),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("deleted", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["flour_lot_id"], ["lot.id"], name="fk_bake_flour_lot_id"),
        sa.ForeignKeyConstraint(["trial_id"], ["trial.id"], name="fk_bake_trial_id"),
        sa.ForeignKeyConstraint(["yeast_lot_id"], ["lot.id"], name="fk_bake_yeast_lot_id"),
        sa.PrimaryKeyConstraint("id", name="pk_bake"),
    )
    op.create_index("one_bake_code", "bake", ["trial_id", "code"], unique=True, **COUNTS)
    op.create_table(
        "event",
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("trial_id", sa.Text(), nullable=False),
        sa.Column("level", sa.Text(), nullable=False),
        sa.Column("target_id", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("at", sa.Text(), nullable=False),
        sa.Column("deleted", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["trial_id"], ["trial.id"], name="fk_event_trial_id"),
        sa.PrimaryKeyConstraint("id", name="pk_event"),
    )
    op.create_index("event_of_trial", "event", ["trial_id"], unique=False)
    op.create_table(
        "factor",
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("trial_id", sa.Text(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("quantity", sa.Text(), nullable=False),
        sa.Column("settings", sa.JSON(), nullable=False),
        sa.Column("deleted", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["trial_id"], ["trial.id"], name="fk_factor_trial_id"),
        sa.PrimaryKeyConstraint("id", name="pk_factor"),
    )
    op.create_index("one_factor", "factor", ["trial_id", "quantity"], unique=True, **COUNTS)
    op.create_table(
        "photo",
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("trial_id", sa.Text(), nullable=True),
        sa.Column("level", sa.Text(), nullable=True),
        sa.Column("target_id", sa.Text(), nullable=True),
        sa.Column("path", sa.Text(), nullable=False),
        sa.Column("sha256", sa.Text(), nullable=False),
        sa.Column("taken", sa.Text(), nullable=True),
        sa.Column("shows", sa.Text(), nullable=True),
        sa.Column("deleted", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["trial_id"], ["trial.id"], name="fk_photo_trial_id"),
        sa.PrimaryKeyConstraint("id", name="pk_photo"),
    )
    op.create_table(
        "tasting",
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("trial_id", sa.Text(), nullable=False),
        sa.Column("taster_id", sa.Text(), nullable=False),
        sa.Column("method", sa.Text(), nullable=False),
        sa.Column("samples", sa.JSON(), nullable=False),
        sa.Column("answer", sa.JSON(none_as_null=True), nullable=True),
        sa.Column("at", sa.Text(), nullable=False),
        sa.Column("deleted", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["taster_id"], ["taster.id"], name="fk_tasting_taster_id"),
        sa.ForeignKeyConstraint(["trial_id"], ["trial.id"], name="fk_tasting_trial_id"),
        sa.PrimaryKeyConstraint("id", name="pk_tasting"),
    )
    op.create_table(
        "dough",
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("bake_id", sa.Text(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("code", sa.Text(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("deleted", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["bake_id"], ["bake.id"], name="fk_dough_bake_id"),
        sa.PrimaryKeyConstraint("id", name="pk_dough"),
    )
    op.create_index("one_dough_code", "dough", ["bake_id", "code"], unique=True, **COUNTS)
    op.create_table(
        "load",
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("bake_id", sa.Text(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("deleted", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["bake_id"], ["bake.id"], name="fk_load_bake_id"),
        sa.PrimaryKeyConstraint("id", name="pk_load"),
    )
    op.create_index("one_load_position", "load", ["bake_id", "position"], unique=True, **COUNTS)
    op.create_table(
        "reading",
        sa.Column("seq", sa.Integer(), autoincrement=True, nullable=False),
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("trial_id", sa.Text(), nullable=False),
        sa.Column("level", sa.Text(), nullable=False),
        sa.Column("target_id", sa.Text(), nullable=False),
        sa.Column("quantity", sa.Text(), nullable=False),
        sa.Column("value", sa.Float(), nullable=True),
        sa.Column("u", sa.Float(), nullable=True),
        sa.Column("how", sa.Text(), nullable=False),
        sa.Column("at", sa.Text(), nullable=False),
        sa.Column("photo_id", sa.Text(), nullable=True),
        sa.Column("note", sa.Text(), nullable=True),
        sa.Column("deleted", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["photo_id"], ["photo.id"], name="fk_reading_photo_id"),
        sa.ForeignKeyConstraint(["trial_id"], ["trial.id"], name="fk_reading_trial_id"),
        sa.PrimaryKeyConstraint("seq", name="pk_reading"),
        sa.UniqueConstraint("id", name="uq_reading_id"),
    )
    op.create_index("reading_of_thing", "reading", ["target_id", "quantity"], unique=False)
    op.create_index("reading_of_trial", "reading", ["trial_id", "seq"], unique=False)
    op.create_table(
        "piece",
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("dough_id", sa.Text(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("code", sa.Text(), nullable=False),
        sa.Column("load_id", sa.Text(), nullable=True),
        sa.Column("place", sa.Integer(), nullable=True),
        sa.Column("blind", sa.Text(), nullable=True),
        sa.Column("deleted", sa.Text(), nullable=True),
        sa.ForeignKeyConstraint(["dough_id"], ["dough.id"], name="fk_piece_dough_id"),
        sa.ForeignKeyConstraint(["load_id"], ["load.id"], name="fk_piece_load_id"),
        sa.PrimaryKeyConstraint("id", name="pk_piece"),
    )
    op.create_index("one_piece_code", "piece", ["dough_id", "code"], unique=True, **COUNTS)
    op.create_index("one_piece_place", "piece", ["load_id", "place"], unique=True, **COUNTS)

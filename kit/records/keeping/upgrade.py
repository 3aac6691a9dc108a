"""Bringing an older workspace to the present schema. Loads Alembic: import only when needed."""

from pathlib import Path

from alembic import command
from alembic.config import Config
from sqlalchemy import Connection

from kit.errors import StoreError

__all__ = ["script", "upgrade"]

FOLDER = Path(__file__).parents[1] / "migrations"


def script() -> Config:
    """Return Alembic's configuration, which stands here and in no file."""
    config = Config()
    config.set_main_option("script_location", str(FOLDER).replace("%", "%%"))
    return config


def upgrade(connection: Connection, name: str) -> None:
    """Run every revision the database has not had, within the caller's transaction.

    Raises StoreError: rows would point to nothing afterwards; the transaction must then not be
    committed.
    """
    config = script()
    config.attributes["connection"] = connection
    command.upgrade(config, "head")
    if connection.dialect.name == "sqlite":
        lost = connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall()
        if lost:
            text = (
                f"{name} cannot be upgraded: {len(lost)} of its rows "
                f"belong to nothing (the first in table {lost[0][0]}). It was left as it is."
            )
            raise StoreError(text)

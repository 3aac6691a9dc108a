"""How a photo was measured is kept with it."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    op.add_column("photo", sa.Column("measured_by", sa.JSON(none_as_null=True), nullable=True))

"""The first schema, which every upgrade begins from: no workspace was written by an older one.

How it was stands for ever in `tests/records/schema_0001.sql`.
"""

revision = "0001"
down_revision = None

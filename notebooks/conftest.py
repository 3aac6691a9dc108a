"""Notebooks run by the tests use a workspace of their own, not a folder in the repository."""

import os
import tempfile


def pytest_configure() -> None:
    """Before any kernel starts."""
    os.environ.setdefault("KIT_FOLDER", tempfile.mkdtemp(prefix="kit-notebooks-"))

"""Printed pages are filled from the templates beside this file."""

from pathlib import Path
from typing import Any

__all__ = ["fill"]


def fill(template: str, **parts: Any) -> str:
    """Put the parts into a template; everything is escaped there.

    Parameters
    ----------
    template : str
        Name of the file.
    **parts
        What it asks for, all of it.
    """
    import jinja2

    environment = jinja2.Environment(
        loader=jinja2.FileSystemLoader(Path(__file__).parent),
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
        undefined=jinja2.StrictUndefined,
    )
    return environment.get_template(template).render(**parts)

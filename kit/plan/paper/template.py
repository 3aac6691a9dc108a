"""Printed pages are filled from the templates beside this file."""

from pathlib import Path
from typing import Any

from kit.errors import InputError

__all__ = ["PAPERS", "check_paper", "fill"]

#: Paper -> width and height in millimetres (ISO 216; ANSI/ASME Y14.1 for Letter).
PAPERS = {"A4": (210, 297), "Letter": (216, 279)}


def check_paper(paper: str) -> None:
    """Refuse a paper that no page is made for.

    Raises
    ------
    InputError
    """
    if paper not in PAPERS:
        raise InputError("paper", paper, f"must be {' or '.join(PAPERS)}")


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

"""The page of plain words that lies in every package."""

import re
from collections.abc import Sequence

import pandas as pd

from kit import quantities
from kit.records.frame import STRUCTURE
from kit.records.journal import Row
from kit.records.package.rows import Rows
from kit.words import plural

__all__ = ["readme"]


def readme(
    head: Row,
    rows: Rows,
    table: pd.DataFrame,
    licence: str | None,
    cautions: Sequence[tuple[str, str, str]],
    checks: Sequence[str],
    page: bool = False,
) -> str:
    """Return the text of ``README.md``.

    `head` is the trial's row, `rows` and `table` are as they go into the package; `cautions` are
    (what, text, source) where baking can hurt; `page` says whether ``page.html`` lies beside it.
    """
    parts = [f"# {_plain(head['name'])}"]
    if head["invented"]:
        parts.append("**INVENTED data: made up to show how this works. Not evidence.**")
    parts.append(_plain(head["question"]))
    if head["baker"]:
        parts.append(f"A bake trial by {_plain(head['baker'])}.")
    levels = (*quantities.LEVELS, "reading", "event")
    parts.append(f"In it: {', '.join(plural(len(rows[level]), level) for level in levels)}.")
    if page:
        parts.append("What came out of it stands in `page.html`, which any browser opens.")
    parts.append(_OPENING)
    parts.append("## The columns of pieces.csv\n\n" + "\n".join(_columns(table)))
    if checks:
        parts.append("## Left out, or to look at\n\n" + _list(_plain(check) for check in checks))
    told = [
        f"**{what}.** {about}{f' ({source})' if source else ''}" for what, about, source in cautions
    ]
    if told:
        after = "Local rules and people licensed for the work come before anything said here."
        parts.append(f"## Take care\n\n{_list(told)}\n\n{after}")
    said = _plain(licence) if licence else "The baker has not said; ask before you use it."
    parts.append(f"## Licence\n\n{said}")
    return "\n\n".join(part for part in parts if part) + "\n"


_OPENING = """## How to open it

`pieces.csv` has one row a piece; open it first. An empty cell was not measured, which is not 0.
Doughs are what was made independently: pieces of one dough are alike for reasons of their own,
so do not count them as separate tries.

With pandas: `pandas.read_csv("pieces.csv")`. With the kit, into your own workspace:
`python -m kit receive NAME-OF-THIS-FILE.zip my-bakes`, all of it, under its baker's name.

The folder `records` holds the trial as it was kept, one file a table; `datapackage.json` says what
every column means, with units and possible ranges. The folder `photos`, where there is one, holds
the pictures without place, owner, serial numbers, notes and previews.

Text that begins with `=`, `+`, `-`, `@`, a tab, a line break or an apostrophe has an apostrophe
before it, so that no spreadsheet program runs it as a formula. The kit takes it away again."""


def _columns(table: pd.DataFrame) -> list[str]:
    lines = [f"- {', '.join(f'`{name}`' for name in (*STRUCTURE, 'events'))}: what and where"]
    for name in table:
        if q := quantities.find(str(name)):
            lines.append(f"- `{name}`: {_plain(q.axis)}. {_plain(q.meaning)}")
    return lines


def _list(lines: object) -> str:
    return "\n".join(f"- {line}" for line in lines)  # type: ignore[attr-defined]


def _plain(said: object) -> str:
    r"""Return typed text that no reader takes for Markdown or HTML.

    Examples
    --------
    >>> _plain("salt & malt <b> *x* &amp;")
    'salt & malt &lt;b&gt; \\*x\\* &amp;amp;'
    """
    words = " ".join(str(said).split())
    # an & by itself stays, for whoever reads the text as it is
    words = re.sub(r"&(?=[#\w])", "&amp;", words).replace("<", "&lt;").replace(">", "&gt;")
    return re.sub(r"([\\`*_\[\]#|~])", r"\\\1", words)

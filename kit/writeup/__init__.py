"""The page that is shared: one file that says what was asked, found, done and not tested.

No network, no script, nothing beside it. HTML and Markdown are made from the same sections.

Examples
--------
>>> from kit import writeup
>>> report = writeup.from_frame(frame, comparison, "Malt")  # doctest: +SKIP
>>> writeup.write(report, "malt.html")  # doctest: +SKIP
"""

import re
from importlib import import_module
from pathlib import Path

import jinja2
from markupsafe import Markup

from kit import charts
from kit.errors import InputError, KitError, MissingPackageError
from kit.records.keeping.aside import write_whole
from kit.writeup.blocks import Picture, Section
from kit.writeup.content import sections
from kit.writeup.report import Also, Report, data_hash, dough_table, from_frame

__all__ = [
    "Also", "Report", "data_hash", "dough_table", "from_frame", "markdown", "render", "write",
]  # fmt: skip

_HERE = Path(__file__).parent


def render(report: Report) -> str:
    """Write a report as one HTML page that needs nothing else."""
    parts = sections(report)
    return _fill("page.html.j2", report, parts, charts=_charts(parts))


def markdown(report: Report) -> str:
    """Write a report as Markdown, the chart in words."""
    text = _fill("page.md.j2", report, sections(report))
    return re.sub(r"[ \t]*\n(\s*\n)*", lambda gap: "\n\n" if gap[1] else "\n", text).strip() + "\n"


def write(report: Report, path: str | Path) -> Path:
    """Write a report to a file: whole, or not at all.

    Parameters
    ----------
    report : Report
    path : str or Path
        Ends in ``.html``, ``.md`` or ``.pdf``; an older file of that name is replaced once the
        new one is whole.

    Returns
    -------
    Path
        The file written.

    Raises
    ------
    InputError
        Another ending.
    MissingPackageError
        PDF without the extra ``pdf``.
    StoreError
        The file cannot be written; an older one is left as it was.
    """
    path = Path(path)
    kind = path.suffix.lower()
    if kind not in (".html", ".md", ".pdf"):
        raise InputError(
            "path", str(path), "must end in .html, .md or .pdf", "For example malt.html."
        )
    if kind == ".pdf":
        return write_whole(path, _pdf(render(report)))
    return write_whole(path, (render if kind == ".html" else markdown)(report))


def _charts(parts: list[Section]) -> dict[Picture, Markup]:
    pictures = (b for part in parts for b in part.blocks if isinstance(b, Picture))
    return {
        one: Markup(_own_ids(charts.svg(one.draw(), one.title, one.description), i))
        for i, one in enumerate(pictures)
    }


def _own_ids(svg: str, number: int) -> str:
    """Call the parts of a further picture otherwise: a page must not hold a name twice."""
    return (
        re.sub(r'(\bid="|href="#|url\(#)(?!chart-)', rf"\g<1>of-{number}-", svg) if number else svg
    )


def _fill(template: str, report: Report, parts: list[Section], **more: object) -> str:
    """Fill a template; everything put into it is escaped for its kind of file."""
    html = template.endswith(".html.j2")
    environment = jinja2.Environment(
        loader=jinja2.FileSystemLoader(_HERE), autoescape=html,
        finalize=_for_html if html else _for_markdown, trim_blocks=True, lstrip_blocks=True,
        keep_trailing_newline=True, undefined=jinja2.StrictUndefined,
    )  # fmt: skip
    return environment.get_template(template).render(report=report, sections=parts, **more)


def _for_html(value: object) -> object:
    """Keep a number and its unit on one line."""
    if isinstance(value, Markup) or not isinstance(value, str):
        return value
    return re.sub(r"(?<=\d) (?=(?:%|°[CF]|mm|g|h|min)(?!\w))", "\N{NO-BREAK SPACE}", value)


def _for_markdown(value: object) -> object:
    r"""Keep typed text from being read as Markdown or HTML.

    Examples
    --------
    >>> _for_markdown("rise_mm <b> *x*")
    'rise\\_mm &lt;b&gt; \\*x\\*'
    """
    if isinstance(value, Markup):
        return value
    text = " ".join(str(value).split())
    text = text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
    return re.sub(r"([\\`*_\[\]#|~$])", r"\\\1", text)


def _pdf(page: str) -> bytes:
    """Turn the page into PDF.

    Raises
    ------
    MissingPackageError
        WeasyPrint is not installed.
    KitError
        It is, but the libraries of the system that it draws letters with are not.
    """
    try:
        weasyprint = import_module("weasyprint")
    except ImportError as exc:
        raise MissingPackageError("PDF", "pdf") from exc
    except OSError as exc:
        msg = (
            "PDF needs the Pango library, which pip does not bring. On Debian and Ubuntu: apt-get "
            "install libpango-1.0-0 libpangoft2-1.0-0. Or write .html and print it from a browser."
        )
        raise KitError(msg) from exc
    return bytes(weasyprint.HTML(string=page).write_pdf())

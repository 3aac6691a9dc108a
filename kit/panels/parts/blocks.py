"""What panels show, as HTML: the blocks of the page that is shared, pictures, folded parts.

Whatever is given as a text is escaped; what is called `inside` is HTML.
"""

from collections.abc import Iterable
from html import escape

from kit.us_units import also_us
from kit.workspace import Trial
from kit.writeup.blocks import Block, Code, Items, Picture, Table, Text

__all__ = ["folded", "from_python", "if_invented", "items", "picture", "scrolled", "show", "status"]

#: a number with its interval is longer, and may break before it on a phone
_LETTERS = 12


def status(text: str) -> str:
    """Say what was done; read out."""
    return f'<p role="status">{escape(text)}</p>'


def if_invented(trial: Trial, more: str = "") -> str:
    """Say of an invented trial that it is one."""
    if not trial.invented:
        return ""
    told = "<strong>Invented data</strong>, made up to show how this works."
    return f'<p class="kit-banner">{told}{more}</p>'


def items(texts: Iterable[str], kind: str = "") -> str:
    """List sentences, in the units the reader wants; empty where there is none."""
    listed = "".join(f"<li>{escape(also_us(text))}</li>" for text in texts)
    named = f' class="{kind}"' if kind else ""
    return f"<ul{named}>{listed}</ul>" if listed else ""


def picture(chart: str, label: str, caption: str = "") -> str:
    """Show a chart; where it is narrow it scrolls, so that its letters stay readable.

    Parameters
    ----------
    chart : str
        From `kit.charts.svg`.
    label : str
        What the place that scrolls is called.
    caption : str
    """
    below = f"<figcaption>{escape(caption)}</figcaption>" if caption else ""
    return f"<figure>{scrolled(chart, label, 'kit-picture')}{below}</figure>"


def scrolled(inside: str, label: str, kind: str = "kit-scroll") -> str:
    """Give what may be wider than the screen a place that scrolls alone, also by keyboard."""
    named = f'role="region" aria-label="{escape(label)}" tabindex="0"'
    return f'<div class="{kind}" {named}>{inside}</div>'


def folded(title: str, inside: str) -> str:
    """Show a part when it is asked for; nothing where it is empty."""
    return f"<details><summary>{title}</summary>{inside}</details>" if inside else ""


def from_python(*lines: str) -> str:
    """Show how to get the same from Python."""
    return folded("The same from Python", f"<pre>{escape(chr(10).join(lines))}</pre>")


def show(blocks: Iterable[Block]) -> str:
    """Write blocks as HTML; whatever people typed is escaped. A picture gives its caption only.

    Examples
    --------
    >>> show([Text("1 < 2", "lead")])
    '<p class="kit-lead">1 &lt; 2</p>'
    """
    return "".join(_one(block) for block in blocks)


def _one(block: Block) -> str:
    if isinstance(block, Text):
        style = f' class="kit-{block.style}"' if block.style else ""
        return f"<p{style}>{escape(block.text)}</p>"
    if isinstance(block, Items):
        items = ("".join(_parts(item)) for item in block.items)
        return f"<ul>{''.join(f'<li>{item}</li>' for item in items)}</ul>"
    if isinstance(block, Table):
        return _table(block)
    if isinstance(block, Picture):
        return f"<figcaption>{escape(block.caption)}</figcaption>"
    assert isinstance(block, Code)
    return f"<pre>{escape(block.text)}</pre>"


def _parts(item: tuple[str, ...]) -> tuple[str, ...]:
    *name, text = map(escape, item)
    return (*(f"<strong>{part}:</strong> " for part in name), text)


def _cell(cell: str, number: bool) -> str:
    long = " kit-long" if len(cell) > _LETTERS else ""
    kind = f' class="kit-n{long}"' if number else ""
    return f"<td{kind}>{escape(cell)}</td>"


def _table(table: Table) -> str:
    kinds = [' class="kit-n"' if number else "" for number in table.numeric]
    head = "".join(
        f'<th scope="col"{kind}>{escape(name)}</th>' if name else "<td></td>"
        for name, kind in zip(table.head, kinds, strict=True)
    )
    rows = (
        f'<tr><th scope="row"{kinds[0]}>{escape(row[0])}</th>'
        + "".join(map(_cell, row[1:], table.numeric[1:]))
        + "</tr>"
        for row in table.rows
    )
    inside = (
        f"<table><caption>{escape(table.caption)}</caption><thead><tr>{head}</tr></thead>"
        f"<tbody>{''.join(rows)}</tbody></table>"
    )
    return scrolled(inside, table.caption)

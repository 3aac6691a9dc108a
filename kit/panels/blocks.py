"""The blocks of the page that is shared, as HTML inside a panel: both say the same words."""

from collections.abc import Iterable
from html import escape

from kit.writeup.blocks import Block, Code, Items, Picture, Table, Text

__all__ = ["show"]


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


def _table(table: Table) -> str:
    head = "".join(f'<th scope="col">{escape(name)}</th>' for name in table.head)
    rows = (
        f'<tr><th scope="row">{escape(row[0])}</th>'
        f"{''.join(f'<td>{escape(cell)}</td>' for cell in row[1:])}</tr>"
        for row in table.rows
    )
    # narrow screens scroll the table alone, also by keyboard
    return (
        f'<div class="kit-scroll" role="region" aria-label="{escape(table.caption)}" tabindex="0">'
        f"<table><caption>{escape(table.caption)}</caption><thead><tr>{head}</tr></thead>"
        f"<tbody>{''.join(rows)}</tbody></table></div>"
    )

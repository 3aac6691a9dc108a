"""What a widget of ours runs in the browser: scripts that several share, one after the other."""

from pathlib import Path

__all__ = ["script"]


def script(*names: str) -> str:
    """Return ``make.js`` and the named scripts as one; each begins in its own words what it is."""
    here = Path(__file__).parent
    return "\n".join((here / f"{name}.js").read_text("utf-8") for name in ("make", *names))

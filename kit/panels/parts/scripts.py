"""What a widget of ours runs in the browser: its own script after those that several share."""

from pathlib import Path

__all__ = ["SHARED", "script"]

#: where the scripts and styles lie that several widgets share
SHARED = Path(__file__).parent


def script(module: str, *shared: str) -> str:
    """Return ``make.js``, the named shared scripts and the one beside `module` as one script.

    Parameters
    ----------
    module : str
        The ``__file__`` of the widget; each script begins in its own words what it is.
    *shared : str
        Scripts beside this file, without their ending.
    """
    files = [
        *(SHARED / f"{name}.js" for name in ("make", *shared)),
        Path(module).with_suffix(".js"),
    ]
    return "\n".join(file.read_text("utf-8") for file in files)

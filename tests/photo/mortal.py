"""A measuring that ends its process on one photo, as a decoder's crash would."""

import os
from pathlib import Path
from signal import SIGKILL

from kit.photo.many import Asked, Row


def measure_or_die(source: Path | bytes, name: str, asked: Asked) -> Row:
    """Return a row, except for "deadly.jpg"."""
    if name == "deadly.jpg":
        os.kill(os.getpid(), SIGKILL)
    return {"file": name, "asked": asked.mark, "status": "measured", "reason": ""}


def measure_slowly_or_die(source: Path | bytes, name: str, asked: Asked) -> Row:
    """Kill the worker of "first.jpg" once: a second look at it succeeds."""
    marker = Path(asked.about["marker"])
    if name == "first.jpg" and not marker.exists():
        marker.touch()
        os.kill(os.getpid(), SIGKILL)
    return {"file": name, "asked": asked.mark, "status": "measured", "reason": ""}

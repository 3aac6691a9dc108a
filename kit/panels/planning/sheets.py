"""The sheets and calendars of planned bakes: where they are written, and links to them."""

from datetime import date
from html import escape
from pathlib import Path
from zoneinfo import ZoneInfo

from kit.panels.parts.style import holds, link
from kit.plan.timetable.clock import say_day
from kit.records.keeping.aside import file_name
from kit.records.things import Bake
from kit.workspace import Trial

__all__ = ["linked", "papers", "written_before"]


def papers(trial: Trial, bake: Bake) -> tuple[Path, Path]:
    """Return where a bake's sheet and its calendar are written."""
    folder = trial.workspace.folder or Path.cwd()
    name = file_name(f"{trial.name}-bake-{bake.code}")
    return folder / f"{name}.html", folder / f"{name}.ics"


def linked(trial: Trial, bake: Bake) -> str:
    """Return links to what is written for a bake, as HTML."""
    names = ("bench sheet", "calendar") if bake.day else ("bench sheet",)
    named = zip(papers(trial, bake), names, strict=False)
    links = [link(path, name) for path, name in named if path.exists()]
    on = f" on {bake.day:%Y-%m-%d}" if bake.day else ""
    return f"Bake {escape(bake.code)}{on}: {', '.join(links)}"


def written_before(trial: Trial) -> str:
    """Return links to what lies there of the bakes that are planned, as after a reload."""
    lines = [linked(trial, bake) for bake in trial.planned_bakes() if _lies_there(trial, bake)]
    items = "".join(f"<li>{line}</li>" for line in lines)
    return f"<p>Kept before:</p><ul>{items}</ul>" if items else ""


def _lies_there(trial: Trial, bake: Bake) -> bool:
    """Whether the sheet that lies there was written for this very bake."""
    named = [trial.name, f"bake {bake.code}", *filter(None, trial.planned(bake)["blind"])]
    if bake.day:
        days = (bake.day - date(1970, 1, 1)).days
        named.append(say_day(days * 24 * 60, ZoneInfo("UTC")))
    return holds(papers(trial, bake)[0], named)

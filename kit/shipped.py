"""What comes with the kit: the notebooks and the invented demo trial.

In a clone they lie beside the package, in an installed wheel inside it.
"""

import hashlib
import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from kit.records.keeping.aside import write_whole
from kit.records.keeping.trouble import in_words

if TYPE_CHECKING:
    from kit.workspace import Trial, Workspace

__all__ = ["DEMO", "copy_notebooks", "demo_folder", "load_demo", "notebooks_folder"]

#: name of the demo trial
DEMO = "harbour-malt"
_REMEMBERED = ".kit-notebooks.json"


def _folder(name: str) -> Path:
    package = Path(__file__).parent
    inside = package / "_shipped" / name
    return inside if inside.is_dir() else package.parent / name


def notebooks_folder() -> Path:
    """Where the notebooks are that came with the kit."""
    return _folder("notebooks")


def demo_folder() -> Path:
    """Where the demo trial is that came with the kit."""
    return _folder("datasets/demo")


def load_demo(ws: "Workspace") -> "Trial":
    """Return the invented demo trial, brought into the workspace when it is not there yet."""
    story = json.loads((demo_folder() / "trial.json").read_text(encoding="utf-8"))
    known = {trial.name: trial for trial in ws.trials()}
    if story["name"] in known:
        return known[story["name"]]
    # half a demo would never be completed
    with ws.together(f"the invented trial {story['name']} brought in", whole=True):
        return _demo(ws, story)


def _demo(ws: "Workspace", story: dict[str, Any]) -> "Trial":
    formula, factors = story["formula"], {f["quantity"]: f["settings"] for f in story["factors"]}
    about = {name: story[name] for name in ("question", "outcome", "matters", "zone", "baker")}
    trial = ws.new_trial(story["name"], factors=factors, invented=True, **about)
    trial.set_formula(formula["name"], formula["ingredients"], note=formula["note"])
    trial.bring_in(trial.look_at(demo_folder() / "pieces.csv"))
    for event in pd.read_csv(demo_folder() / "events.csv", dtype=str).to_dict("records"):
        thing: Any = getattr(trial, event["level"])(event["code"])
        trial.event(event["kind"], event["text"], on=thing)
    doughs = {dough.code: dough for dough in trial.doughs()}
    for row in pd.read_csv(demo_folder() / "rises.csv", dtype=str).itertuples():
        dough = doughs[str(row.dough)]
        trial.record(dough, "dough_ratio", str(row.dough_ratio), at=f"{dough.bake.day} {row.time}")
    return trial


def copy_notebooks(folder: str | Path) -> list[str]:
    """Put the notebooks into a baker's folder without ever overwriting their own changes.

    Absent: copied. As we copied it: brought up to date. Changed by the baker: the new one is
    written beside it as ``NAME.new.ipynb``. Only what stands in the cells counts as a change;
    JupyterLab stores outputs by itself.

    Returns
    -------
    list of str
        What was done, a sentence each; nothing for a notebook left as it is.

    Raises
    ------
    StoreError
        The folder cannot be written.
    """
    folder = Path(folder)
    with in_words(str(folder)):
        known = _known(folder / _REMEMBERED)
        said = []
        for source in sorted(notebooks_folder().glob("*.ipynb")):
            said += _bring(source, folder / source.name, known)
        write_whole(folder / _REMEMBERED, json.dumps(known, indent=1))
    return said


def _bring(source: Path, target: Path, known: dict[str, str]) -> list[str]:
    """Copy one notebook if that overwrites nothing of the baker's; remember it in `known`."""
    new, before = _mark(source), known.get(target.name)
    is_there, now = target.exists(), _mark(target)
    if now == new:
        known[target.name] = new
        return []
    if not is_there or now == before:
        write_whole(target, source.read_text(encoding="utf-8"))
        known[target.name] = new
        return [f"{target.name} {'brought up to date' if is_there else 'copied'}"]
    if new == before or target.name.endswith(".new.ipynb"):
        return []  # the baker's own, and nothing newer to offer
    known[target.name] = new
    beside = target.with_name(f"{target.stem}.new.ipynb")
    if _bring(source, beside, known) or _mark(beside) == new:
        return [f"{target.name} is yours now; the newer one is {beside.name}"]
    return [f"{target.name} and {beside.name} are yours now; move one away to get the newer one"]


def _known(memory: Path) -> dict[str, str]:
    """Name -> fingerprint as we copied it; nothing when the file is gone or damaged."""
    try:
        kept = json.loads(memory.read_text(encoding="utf-8"))
    except (FileNotFoundError, ValueError):
        return {}
    return kept if isinstance(kept, dict) else {}


def _mark(notebook: Path) -> str:
    """Fingerprint of a notebook's cells; empty when it is absent or no notebook any more."""
    try:
        cells = json.loads(notebook.read_text(encoding="utf-8"))["cells"]
        text = json.dumps([[c["cell_type"], "".join(c["source"])] for c in cells])
    except (FileNotFoundError, ValueError, KeyError, TypeError):
        return ""
    return hashlib.sha256(text.encode()).hexdigest()

"""What comes with the kit: the notebooks and the invented demo trial.

In a clone they lie beside the package, in an installed wheel inside it.
"""

import hashlib
import json
import os
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

if TYPE_CHECKING:
    from kit.workspace import Trial, Workspace

__all__ = ["copy_notebooks", "demo_folder", "load_demo", "notebooks_folder"]

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
    trial = ws.new_trial(
        story["name"],
        question=story["question"],
        factors={f["quantity"]: f["settings"] for f in story["factors"]},
        outcome=story["outcome"],
        matters=story["matters"],
        zone=story["zone"],
        invented=True,
        baker=story["baker"],
    )
    try:
        _fill(trial, story["formula"])
    except BaseException:
        ws.remove_trial(trial.name)  # half a demo would never be completed
        raise
    return trial


def _fill(trial: "Trial", formula: dict[str, Any]) -> None:
    trial.set_formula(formula["name"], formula["ingredients"], note=formula["note"])
    trial.import_csv(demo_folder() / "pieces.csv")
    for event in pd.read_csv(demo_folder() / "events.csv", dtype=str).to_dict("records"):
        thing: Any = getattr(trial, event["level"])(event["code"])
        trial.event(event["kind"], event["text"], on=thing)


def copy_notebooks(folder: str | Path) -> list[str]:
    """Put the notebooks into a baker's folder without ever overwriting their own changes.

    Absent: copied. As we copied it: brought up to date. Changed by the baker: the new one is
    written beside it as ``NAME.new.ipynb``. Only what stands in the cells counts as a change;
    JupyterLab stores outputs by itself.

    Returns
    -------
    list of str
        What was done, a sentence each; nothing for a notebook left as it is.
    """
    folder = Path(folder)
    memory = folder / _REMEMBERED
    known: dict[str, str] = json.loads(memory.read_text()) if memory.exists() else {}
    said = []
    for source in sorted(notebooks_folder().glob("*.ipynb")):
        target, new = folder / source.name, _mark(source)
        if not target.exists() or _mark(target) == known.get(source.name):
            if not target.exists() or new != known.get(source.name):
                _write(target, source.read_text(encoding="utf-8"))
                said.append(f"{source.name} copied")
        elif _mark(target) != new and known.get(source.name) != new:
            beside = folder / f"{source.stem}.new.ipynb"
            _write(beside, source.read_text(encoding="utf-8"))
            said.append(f"{source.name} is yours now; the newer one is {beside.name}")
        known[source.name] = new
    _write(memory, json.dumps(known, indent=1))
    return said


def _mark(notebook: Path) -> str:
    """Fingerprint of a notebook's cells."""
    cells = json.loads(notebook.read_text(encoding="utf-8"))["cells"]
    text = json.dumps([[c["cell_type"], "".join(c["source"])] for c in cells])
    return hashlib.sha256(text.encode()).hexdigest()


def _write(path: Path, text: str) -> None:
    aside = path.with_name(f".{path.name}.part")
    aside.write_text(text, encoding="utf-8")
    os.replace(aside, path)

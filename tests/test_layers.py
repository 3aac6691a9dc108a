"""The import rule: a file imports from its own layer or from one above it, never from below.

The layers are those of DEVELOPERS.md. Imports inside functions count too: a layer that needs
another only at run time still depends on it, with one exception that is written down here: a
result draws itself by importing `kit.charts` inside its `plot` method.
"""

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
LAYERS = (
    ("errors",),
    ("given",),
    ("dates", "units"),
    ("us_units",),
    ("quantities",),
    ("alike", "words"),
    ("shown",),
    ("formula", "analysis", "photo"),
    ("plan",),
    ("records",),
    ("planning", "preparing", "measuring"),
    ("charts",),
    ("writeup",),
    ("answering", "proofing"),
    ("telling",),
    ("sharing",),
    ("workspace",),
    ("shipped",),
    ("panels", "cli"),
    ("__main__",),
)
RANK = {name: i for i, layer in enumerate(LAYERS) for name in layer}
FILES = sorted(p for p in (ROOT / "kit").rglob("*.py") if "migrations" not in p.parts)


def part(path):
    """The part of the kit a file belongs to."""
    first = path.relative_to(ROOT / "kit").parts[0]
    return first.removesuffix(".py")


def room(module):
    """What a module of the kit lies in: its part and the folder, or itself where there is none."""
    return ".".join(module.split(".")[:3])


def imports(tree):
    """Every kit module imported anywhere, and the function it is imported in."""
    for function in [tree, *(n for n in ast.walk(tree) if isinstance(n, ast.FunctionDef))]:
        inside = [function] if function is not tree else [tree]
        for node in (n for f in inside for n in ast.walk(f)):
            if isinstance(node, ast.ImportFrom) and node.level == 0 and node.module:
                if node.module == "kit":
                    yield from (
                        (f"kit.{a.name}", getattr(function, "name", "")) for a in node.names
                    )
                elif node.module.startswith("kit."):
                    yield node.module, getattr(function, "name", "")
            elif isinstance(node, ast.Import):
                yield from (
                    (a.name, getattr(function, "name", ""))
                    for a in node.names
                    if a.name.startswith("kit.")
                )


@pytest.mark.parametrize("path", FILES, ids=lambda p: str(p.relative_to(ROOT)))
def test_imports_only_upwards(path):
    own = part(path)
    if own == "__init__":
        return  # the face of the package hands on names from every layer
    tree = ast.parse(path.read_text())
    drawn = {m for m, function in imports(tree) if function == "plot" and m == "kit.charts"}
    wrong = []
    for module, _ in imports(tree):
        other = module.split(".")[1]
        if other not in RANK or module in drawn:
            continue  # a name of the package's face, such as __version__
        same_row = RANK[other] == RANK[own] and other != own
        if RANK[other] > RANK[own] or same_row:
            wrong.append(module)
    assert not wrong, f"{path.relative_to(ROOT)} imports from below: {sorted(set(wrong))}"


def test_rooms_stand_on_one_another():
    """A folder inside a part, or a file beside such folders, is a room: no two need each other.

    Imports for types alone do not count, nor what a result draws itself with.
    """
    import graphlib

    modules = {".".join(p.relative_to(ROOT).with_suffix("").parts): p for p in FILES}
    needs: dict[str, set[str]] = {}
    for module, path in modules.items():
        tree = ast.parse(path.read_text())
        for node in ast.walk(tree):
            if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING":
                node.body = [ast.Pass()]
        for other, function in imports(tree):
            if function != "plot" and room(other) != room(module):
                needs.setdefault(room(module), set()).add(room(other))
    try:
        graphlib.TopologicalSorter(needs).prepare()
    except graphlib.CycleError as exc:
        pytest.fail(f"these need each other: {' <- '.join(exc.args[1])}")


def test_every_part_has_a_place():
    assert {part(p) for p in FILES} - {"__init__"} <= set(RANK)


def test_no_star_imports():
    for path in FILES:
        assert "import *" not in path.read_text(), path


def test_face_is_small_and_light():
    import subprocess
    import sys

    import kit

    assert len(kit.__all__) < 20
    loaded = "import sys, kit; print(sorted(m for m in sys.modules if m.split('.')[0] in "
    loaded += "('scipy', 'statsmodels', 'matplotlib', 'sqlalchemy', 'alembic', 'IPython')))"
    out = subprocess.run([sys.executable, "-c", loaded], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == "[]"


def test_top_level_holds_what_the_design_says():
    import subprocess

    listed = subprocess.run(
        ["git", "ls-files"], capture_output=True, text=True, cwd=ROOT, check=False
    ).stdout.split()
    if not listed:
        pytest.skip("not a git checkout: nothing to list")
    top = {name.split("/")[0] for name in listed}
    allowed = {"pyproject.toml", "README.md", "DEVELOPERS.md", "kit", "notebooks", "tests"}
    assert {t for t in top if not t.startswith(".")} <= allowed | {"datasets"}

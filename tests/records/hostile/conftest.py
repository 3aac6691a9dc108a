"""A good package, and how a bad one made of it is sent: nothing of it may be stored."""

import io
import zipfile

import pytest
from sqlalchemy import func, select

from kit import quantities
from kit.errors import DataError
from kit.quantities import Quantity
from kit.records import tables as t
from kit.workspace import Workspace


@pytest.fixture(scope="session")
def good(tmp_path_factory):
    """A whole package: name -> content."""
    folder = tmp_path_factory.mktemp("good")
    with Workspace(folder / "ana", who="Ana") as ws:
        trial = ws.new_trial(
            "malt", factors={"malt_percent": [0, 0.8]}, outcome="rise_height_mm", baker="Ana",
            zone="Europe/Lisbon",
        )  # fmt: skip
        trial.set_formula("Muffin", [("bread flour", "flour", 100), ("milk", "liquid", 72)])
        ws.add_quantity(
            Quantity("scorch_mm", "Scorch", "mm", "piece", (0, 50), (0, 5), 1, "Burnt rim.")
        )
        bake = trial.add_bake("2026-11-26", flour_lot="F2")
        dough, load = trial.add_dough(bake), trial.add_load(bake)
        piece = trial.add_piece(dough, load, 1)
        trial.add_piece(dough, load, 2)
        trial.record(piece, "rise_height_mm", 33.5, u=0.25, note="NOTE")
        trial.record(piece, "scorch_mm", 2)
        trial.record(dough, "malt_percent", 0.8)
        trial.event("burnt", on=piece)
        trial.plan_tasting("triangle", ["A", "B"], ["Ida"], seed=1)
        path = trial.package(folder / "good.zip").path
    del quantities._KNOWN["scorch_mm"]
    with zipfile.ZipFile(path) as zipped:
        return {name: zipped.read(name) for name in zipped.namelist()}


@pytest.fixture
def send(ws, good, tmp_path):
    """Send a package with other contents; give back what was said. Nothing may be stored."""

    def state():
        with ws.store.reading() as connection:
            tables = (*t.TABLES.values(), t.change)
            return [connection.scalar(select(func.count()).select_from(x)) for x in tables]

    def sending(changes=None, raw=None, edit=None):
        path = tmp_path / "bad.zip"
        if raw is None:
            contents = {**good, **(changes or {})}
            with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as zipped:
                for name, content in contents.items():
                    if content is not None:
                        zipped.writestr(name, content)
                if edit is not None:
                    edit(zipped)
        else:
            path.write_bytes(raw)
        before, known = state(), quantities.all_quantities()
        with pytest.raises(DataError) as caught:
            ws.receive(path)
        assert state() == before
        assert quantities.all_quantities() == known
        assert sorted(p.name for p in ws.folder.rglob("*") if "sqlite" not in p.name) == ["photos"]
        said = str(caught.value)
        assert said.startswith("bad.zip ")
        assert "othing was stored" in said
        assert len(said) < 6000
        return said

    return sending


@pytest.fixture(scope="session")
def whole():
    """Contents, name -> bytes, as one zip file."""

    def packed(contents):
        held = io.BytesIO()
        with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as zipped:
            for name, content in contents.items():
                zipped.writestr(name, content)
        return held.getvalue()

    return packed

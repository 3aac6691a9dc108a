from types import SimpleNamespace

import pytest

from kit.workspace import Workspace


@pytest.fixture
def ws(tmp_path):
    with Workspace(tmp_path / "bakes", who="Ida") as workspace:
        yield workspace


@pytest.fixture
def trial(ws):
    return ws.new_trial("malt", factors={"malt_percent": [0, 0.8]}, outcome="rise_height_mm")


@pytest.fixture
def made(trial):
    """One bake with a dough, a load and three pieces, the third not on the griddle."""
    bake = trial.add_bake("2026-11-26", flour_lot="F2")
    dough = trial.add_dough(bake)
    load = trial.add_load(bake)
    pieces = [trial.add_piece(dough, load, 1), trial.add_piece(dough, load, 2)]
    pieces.append(trial.add_piece(dough))
    return SimpleNamespace(bake=bake, dough=dough, load=load, pieces=pieces)

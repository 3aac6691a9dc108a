"""What cannot be meant, given to the verbs of a workspace and of a trial: said in words, none done.

Every kind of value below was met by a random call that ended in an error of Python's own, or that
was stored.
"""

import random
from decimal import Decimal

import numpy as np
import pandas as pd
import pytest
from PIL import Image

from kit.errors import InputError, KitError

NONSENSE = [
    None, float("nan"), "", "A\nB", "A\0B", "🥯", "\u05e9\u202e", "\ud800", "x" * 1_000_000, -1,
    10**30, True, [], {}, [None], {1: 2}, Decimal("NaN"), np.float64(3), np.array([1, 2]), pd.NA,
    pd.NaT, pd.Timestamp("2026-11-26"), pd.DataFrame({"a": [1]}), b"bytes", object(), 1j,
]  # fmt: skip
#: verb -> what is given first, where the value in question comes second
OF_TRIAL = {
    "add_photos": (), "remove_photo": (), "change_photo": (), "guess": (), "open_photo": (),
    "look_at": (), "bring_in": (), "remove": (), "running": (), "stages": (), "from_times": (),
    "times_into_readings": (), "recipe_name": (), "package": (), "set_formula": ("plain",),
    "plan_tasting": ("triangle",), "accept_series": ("1A",), "add_dough": (), "add_load": (),
    "add_piece": (), "doughs": (), "pieces": (), "bake": (), "dough": (), "piece": (),
}  # fmt: skip
OF_WORKSPACE = {"trial": (), "remove_trial": (), "history": (), "frame": (), "receive": (),
                "add_quantity": (), "begin": ("new",), "add_lot": ("flour",)}  # fmt: skip


@pytest.mark.parametrize("verb", [*OF_TRIAL, *OF_WORKSPACE])
def test_nonsense_is_refused_in_words_or_does_no_harm(ws, trial, made, tmp_path, monkeypatch, verb):
    monkeypatch.chdir(tmp_path)
    call = getattr(trial if verb in OF_TRIAL else ws, verb)
    first = (OF_TRIAL | OF_WORKSPACE)[verb]
    refused, rows = [], random.Random(verb).sample(NONSENSE, len(NONSENSE))
    for value in rows:
        before = len(ws.history())
        try:
            call(*first, value)
        except KitError:
            refused.append(len(ws.history()) - before)
        else:  # it can be meant, as None or a text of strange signs
            for _ in range(len(ws.history()) - before):
                ws.undo()
    assert refused == [0] * len(refused)
    assert refused
    assert ws.check().ok, str(ws.check())
    assert len(trial.pieces()) == 3


def told_of(call, *given, **more):
    with pytest.raises(InputError) as caught:
        call(*given, **more)
    return str(caught.value)


def test_an_event_of_another_trial_or_one_taken_out_is_not_removed(ws, trial, made):
    other = ws.new_trial("salt")
    event = trial.event("burnt")
    stage = trial.stage(made.dough, "mixed")
    rule = "was removed or belongs to another trial. Undo that, or note it again."
    before = len(ws.history())
    assert told_of(other.remove, event) == f"event is \"event 'burnt'\": {rule}"
    assert rule in told_of(other.remove, stage)
    assert len(ws.history()) == before
    trial.remove(event)
    assert rule in told_of(trial.remove, event)
    assert len(trial.stages()) == 1


def test_what_is_another_trials_is_not_tasted_or_listed(ws, trial, made):
    other = ws.new_trial("salt")
    told = "dough is 'dough 1A': belongs to another trial."
    assert told_of(other.plan_tasting, "pair", [made.dough, "shop's"]) == told
    assert told_of(other.stages, made.bake) == "bake is 'bake 1': belongs to another trial."
    assert ws.history()["what"].tolist()[-1] == "salt: trial begun"


def test_a_photo_of_another_trial_is_not_guessed_about(ws, trial, tmp_path):
    Image.new("RGB", (60, 40)).save(tmp_path / "a.png")
    (photo,) = trial.add_photos(tmp_path / "a.png").new
    told = "was taken out or is another trial's. Undo that, or add it again."
    assert told_of(ws.new_trial("salt").guess, photo) == f"photo is 'a.png': {told}"
    assert told_of(trial.guess, "a.png") == (
        "photo is 'a.png': is no photo of a trial. Give one of trial.photos()."
    )


def test_words_for_what_is_no_path_plan_or_list(ws, trial):
    assert told_of(trial.look_at, 3) == "source is 3: is no name of a file. Write it in quotes."
    assert told_of(ws.begin, "a", {}) == "plan is {}: is no plan. Give what kit.design(…) returns."
    assert told_of(ws.history, -1) == (
        "newest is -1: must be a whole number from 0. Leave it out for all that was done."
    )
    assert told_of(trial.set_formula, "plain", ["flour"]) == (
        "ingredients is ['flour']: must be a list of (ingredient, role, percent). "
        'Write [("bread flour", "flour", 100)].'
    )
    assert ws.history(0).empty
    rows = pd.DataFrame([("bread flour", "flour", 100), ("milk", "liquid", 72)])
    trial.set_formula("plain", rows.to_numpy())
    assert len(trial.formula().ingredients) == 2


def test_a_removed_trial_is_still_shown(ws, trial):
    ws.remove_trial("malt")
    assert repr(trial) == "<Trial 'malt', removed>"

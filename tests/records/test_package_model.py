"""Whatever is added, changed, removed, undone, packed and received: frames are a plain model's.

The model of one trial is that of `test_model.py`; here it lives on in copies as well: each package
remembers what the model was when it was written, and each trial received must be that, then and
after whatever happens to the others.
"""

import copy
import importlib.util
import shutil
import tempfile
from pathlib import Path

import pandas as pd
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

from kit.workspace import Workspace

_spec = importlib.util.spec_from_file_location(
    "one_trial", Path(__file__).with_name("test_model.py")
)
one_trial = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(one_trial)

ACTIONS = ["bake", "dough", "load", "piece", "record", "event", "change", "remove", "import"]
numbers = st.integers(0, 30)


class Model(one_trial.Model):
    """One trial, and the copies that were received beside it; undo knows both."""

    def __init__(self):
        super().__init__()
        self.copies = []

    def remember(self):
        super().remember()
        self.past[-1] += (list(self.copies),)

    def undo(self):
        if self.past:
            *rest, self.copies = self.past.pop()
            self.things, self.readings, self.events = rest


def without_lots(frame):
    """A received bag may be called otherwise: another one has its code here."""
    return frame.drop(columns=["flour_lot", "yeast_lot"])


class Kitchens(RuleBasedStateMachine):
    """A trial that is worked on here, and sent to a kitchen next door and back again."""

    @initialize()
    def begin(self):
        self.folder = Path(tempfile.mkdtemp())
        self.here = Workspace(self.folder / "here", who="Ida")
        self.trial = self.here.new_trial("malt", baker="Ida", matters=2, invented=True)
        self.model, self.packed, self.count = Model(), [], 0
        for what in ("bake", "dough", "load", "piece", "piece"):
            one_trial.act(self.trial, self.model, what, 0, 0, 1)

    def teardown(self):
        if hasattr(self, "here"):
            self.here.close()
            shutil.rmtree(self.folder)

    @rule(what=st.sampled_from(ACTIONS), a=numbers, b=numbers, c=numbers)
    def work(self, what, a, b, c):
        one_trial.act(self.trial, self.model, what, a, b, c)

    @rule()
    def undo(self):
        one_trial.act(self.trial, self.model, "undo", 0, 0, 0)

    @rule()
    def package(self):
        self.count += 1
        path = self.trial.package(self.folder / f"{self.count}.zip").path
        now = copy.copy(self.model)
        now.things, now.readings, now.events = copy.deepcopy(
            (self.model.things, self.model.readings, self.model.events)
        )
        self.packed.append((path, now, self.trial.frame(), self.trial.provenance()))

    @precondition(lambda self: self.packed)
    @rule(which=numbers)
    def receive_next_door(self, which):
        path, model, frame, hows = self.packed[which % len(self.packed)]
        with tempfile.TemporaryDirectory() as folder, Workspace(folder, who="Ana") as there:
            got = there.receive(path)
            one_trial.agree(got, model)
            pd.testing.assert_frame_equal(got.frame(), frame)
            pd.testing.assert_frame_equal(got.provenance(), hows)
            assert there.receive(path).already_here
            # and out again, and in at a third one's
            back = got.package(Path(folder) / "back.zip")
            with tempfile.TemporaryDirectory() as third, Workspace(third) as last:
                pd.testing.assert_frame_equal(last.receive(back).frame(), frame)
            there.undo()
            assert there.trials() == []

    @precondition(lambda self: self.packed)
    @rule(which=numbers)
    def receive_here(self, which):
        path, _, frame, _ = self.packed[which % len(self.packed)]
        before = len(self.here.trials())
        got = self.here.receive(path)
        if not got.already_here:
            self.model.remember()
            self.model.copies.append((got.name, frame))
        assert len(self.here.trials()) == before + (not got.already_here)
        pd.testing.assert_frame_equal(without_lots(got.frame()), without_lots(frame))
        assert self.here.receive(path) == got

    @invariant()
    def all_is_as_the_model_says(self):
        if not hasattr(self, "here"):
            return
        one_trial.agree(self.trial, self.model)
        names = {trial.name: trial for trial in self.here.trials()}
        assert set(names) == {"malt", *(name for name, _ in self.model.copies)}
        for name, frame in self.model.copies:
            pd.testing.assert_frame_equal(without_lots(names[name].frame()), without_lots(frame))


def test_kitchens():
    run_state_machine_as_test(Kitchens, settings=settings(max_examples=12, stateful_step_count=20))

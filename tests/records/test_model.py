"""Whatever is added, changed, removed and undone: the frame is that of a plain model in memory."""

import copy
import math
import tempfile
from datetime import date

import pandas as pd
from hypothesis import given, settings
from hypothesis import strategies as st

from kit import quantities
from kit.workspace import Workspace

OF_LEVEL = {
    "bake": "room_temp_c", "dough": "malt_percent", "load": "griddle_temp_c",
    "piece": "rise_height_mm",
}  # fmt: skip
LEVELS = list(OF_LEVEL)


class Model:
    """The records as lists of dicts, and every earlier state of them for undo."""

    def __init__(self):
        self.things, self.readings, self.events, self.past = [], [], [], []

    def remember(self):
        self.past.append(copy.deepcopy((self.things, self.readings, self.events)))

    def undo(self):
        if self.past:
            self.things, self.readings, self.events = self.past.pop()

    def add(self, handle, level, parent=None, **more):
        self.things.append({"handle": handle, "level": level, "parent": parent, **more})

    def all(self, level):
        return [thing for thing in self.things if thing["level"] == level]

    def get(self, handle_id):
        return next((x for x in self.things if x["handle"].id == handle_id), None)

    def remove(self, thing):
        gone = {thing["handle"].id}
        for other in self.things:  # parents were added first
            if other["parent"] in gone:
                gone.add(other["handle"].id)
        for other in self.things:
            if other.get("load") in gone:
                other["load"] = other["place"] = None
        self.things = [x for x in self.things if x["handle"].id not in gone]

    def value(self, thing_id, quantity):
        actual = planned = None
        for target, name, how, value in self.readings:
            if (target, name) == (thing_id, quantity):
                if how == "planned":
                    planned = value
                else:
                    actual = value
        return actual, planned

    def frame(self):
        rows = []
        for number, bake in enumerate(self.all("bake")):
            for dough in self.all("dough"):
                for piece in self.all("piece"):
                    if dough["parent"] != bake["handle"].id:
                        continue
                    if piece["parent"] != dough["handle"].id:
                        continue
                    load = self.get(piece["load"])
                    row = {
                        "order": (bake["day"], number), "bake": bake["handle"].code,
                        "day": bake["day"], "dough": dough["handle"].code,
                        "load": load["handle"].position if load else math.nan,
                        "piece": piece["code"], "place": piece["place"] or math.nan,
                        "flour_lot": bake["flour_lot"],
                    }  # fmt: skip
                    kinds = []
                    for thing in (piece, load, dough, bake):
                        if thing is None:
                            continue
                        own = thing["handle"].id
                        kinds += [kind for target, kind in self.events if target == own]
                    for level, thing in zip(LEVELS, (bake, dough, load, piece), strict=True):
                        if thing is not None:
                            actual, planned = self.value(thing["handle"].id, OF_LEVEL[level])
                            row[OF_LEVEL[level]] = planned if actual is None else actual
                    row["events"] = "; ".join(kinds) or None
                    rows.append(row)
        rows.sort(key=lambda row: row.pop("order"))
        return rows


def agree(trial, model):
    expected = model.frame()
    names = [q.name for q in quantities.all_quantities()]
    shown = [
        name for name in names if any(row.get(name) is not None for row in expected)
    ]  # fmt: skip
    frame = trial.frame()
    assert list(frame.columns[8:-1]) == shown
    assert len(frame) == len(expected)
    for row, want in zip(frame.to_dict("records"), expected, strict=True):
        for name in ("bake", "dough", "piece"):
            assert row[name] == want[name]
        assert row["day"] == pd.Timestamp(want["day"])
        for name in ("load", "place", "flour_lot", "events", *shown):
            got, expects = row[name], want.get(name)
            missing = expects is None or expects != expects
            assert pd.isna(got) if missing else got == expects


numbers = st.integers(0, 30)
actions = st.lists(
    st.tuples(
        st.sampled_from(
            ["bake", "dough", "load", "piece", "piece", "record", "record", "record", "event",
             "change", "remove", "remove", "import", "undo", "undo"]
        ),
        numbers, numbers, numbers,
    ),
    min_size=20, max_size=25,
)  # fmt: skip


def act(trial, model, what, a, b, c):
    """Do one thing to the workspace and to the model, if there is anything to do it to."""

    def pick(level, number):
        there = model.all(level)
        return there[number % len(there)] if there else None

    if what == "undo":
        trial.workspace.undo() if model.past else None
        model.undo()
        return
    if what == "bake":
        model.remember()
        lot = [None, "F1", "F2"][b % 3]
        handle = trial.add_bake(f"2026-11-{1 + a % 28:02}", flour_lot=lot)
        model.add(handle, "bake", day=handle.day, flour_lot=lot)
    elif what in ("dough", "load"):
        if bake := pick("bake", a):
            model.remember()
            add = trial.add_dough if what == "dough" else trial.add_load
            model.add(add(bake["handle"]), what, bake["handle"].id)
    elif what == "piece":
        if dough := pick("dough", a):
            load = pick("load", b)
            if load is not None and load["parent"] != dough["parent"]:
                load = None
            load_id = load["handle"].id if load else None
            taken = [x["place"] for x in model.all("piece") if x["load"] == load_id]
            place = c if load and c and c not in taken else None
            model.remember()
            handle = trial.add_piece(dough["handle"], load and load["handle"], place)
            model.add(
                handle, "piece", dough["handle"].id, load=load_id, place=place, code=handle.code
            )
    elif what == "record":
        level = LEVELS[a % 4]
        if thing := pick(level, b):
            own, name = thing["handle"], OF_LEVEL[level]
            how = ["planned", "entered", "photo"][c % 3]
            value = None if c % 5 == 0 else float(c % 10 + (20 if level != "dough" else 0))
            actual, planned = model.value(own.id, name)
            before = planned if how == "planned" else actual
            if value is not None or before is not None:
                model.remember()
                model.readings.append((own.id, name, how, value))
            trial.record(own, name, "" if value is None else value, how=how)
    elif what == "event":
        if thing := pick(LEVELS[a % 4], b):
            model.remember()
            model.events.append((thing["handle"].id, f"kind {c}"))
            trial.event(f"kind {c}", on=thing["handle"])
    elif what == "change":
        if a % 2 and (piece := pick("piece", b)):
            siblings = [x["code"] for x in model.all("piece") if x["parent"] == piece["parent"]]
            if f"new{c}" not in siblings:
                model.remember()
                piece["code"] = f"new{c}"
                trial.change(piece["handle"], code=f"new{c}")
        elif bake := pick("bake", b):
            day = date(2026, 12, 1 + c % 28)
            if bake["day"] != day:  # to the same is no change
                model.remember()
                bake["day"] = day
                trial.change(bake["handle"], day=day)
    elif what == "remove":
        if thing := pick(LEVELS[a % 4], b):
            model.remember()
            model.remove(thing)
            trial.remove(thing["handle"])
    elif what == "import":
        code = f"sheet {a}"
        if code not in [bake["handle"].code for bake in model.all("bake")]:
            model.remember()
            days = [f"2026-10-{1 + b % 28:02}"] * 2
            table = pd.DataFrame(
                {"bake": code, "day": days, "dough": "x", "load": [1, None],
                 "rise_height_mm": [30.0 + c, None], "events": [None, "burnt"]}
            )  # fmt: skip
            trial.bring_in(trial.look_at(table))
            bake = trial.bake(code)
            model.add(bake, "bake", day=bake.day, flour_lot=None)
            (dough,), (load,) = trial.doughs(bake), trial.loads(bake)
            model.add(dough, "dough", bake.id)
            model.add(load, "load", bake.id)
            first, second = trial.pieces(dough)
            model.add(first, "piece", dough.id, load=load.id, place=None, code=first.code)
            model.add(second, "piece", dough.id, load=None, place=None, code=second.code)
            model.readings.append((first.id, "rise_height_mm", "entered", 30.0 + c))
            model.events.append((second.id, "burnt"))


@settings(max_examples=12)
@given(actions)
def test_the_frame_is_that_of_a_plain_model(steps):
    with tempfile.TemporaryDirectory() as folder, Workspace(folder, who="Ida") as ws:
        trial = ws.new_trial("malt")
        model = Model()
        for what in ("bake", "dough", "load", "piece", "piece"):
            act(trial, model, what, 0, 0, 1)
        for step in steps:
            act(trial, model, *step)
        agree(trial, model)
        while model.past:  # and all the way back
            ws.undo()
            model.undo()
            agree(trial, model)
        assert ws.history()["undone"].tolist().count(False) == 1  # only the trial is left

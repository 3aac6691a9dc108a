"""Where everything is, what is next and when: from the records alone."""

from datetime import UTC, datetime, timedelta
from types import SimpleNamespace

import pytest

from kit.errors import InputError
from kit.records.bench.rows import Due
from kit.workspace import Workspace

DAY = "2025-11-26"


def at(clock, day=DAY):
    """The moment a clock in Berlin shows in winter."""
    return datetime.fromisoformat(f"{day} {clock}+01:00")


@pytest.fixture
def kitchen(ws):
    trial = ws.new_trial("malt", zone="Europe/Berlin")
    bake = trial.add_bake(DAY)
    dough = trial.add_dough(bake)
    loads = [trial.add_load(bake), trial.add_load(bake)]
    pieces = [trial.add_piece(dough, load, 1) for load in loads]
    return SimpleNamespace(trial=trial, bake=bake, dough=dough, loads=loads, pieces=pieces)


def says(k, clock, day=DAY):
    return [row.says for row in k.trial.running(k.bake, at(clock, day)).rows]


def test_the_rest_of_a_dough_shaped_in_parts_is_not_forgotten(kitchen):
    k = kitchen
    for piece, ratio in zip(k.pieces, (2, 1.5), strict=True):
        k.trial.record(piece, "proof_ratio", ratio, how="planned")
    told = (
        "to be shaped later and cold until then, as planned to proof for less: 1A2 of dough 1A "
        "(when is on the bench sheet). The time noted stays that of the first shaping"
    )

    def tells(clock):
        return told in k.trial.running(k.bake, at(clock)).checks

    k.trial.stage(k.dough, "in the fridge", at("01:00"))
    assert not tells("01:05")
    k.trial.stage(k.dough, "out of the fridge", at("09:00"))
    assert tells("09:05")
    k.trial.stage(k.dough, "shaped", at("09:15"))
    assert tells("09:20")
    k.trial.stage(k.loads[0], "on the griddle", at("11:15"))
    assert not tells("11:20")


def test_a_bake_from_mixing_to_the_rack(kitchen):
    """By hand: planned 16 h cold, 120 min proof, 6 min a side; 4 min between loads."""
    k = kitchen
    k.trial.record(k.dough, "retard_hours", 16, how="planned")
    k.trial.record(k.dough, "proof_minutes", 120, how="planned")
    for piece in k.pieces:
        k.trial.record(piece, "side_minutes", 6, how="planned")
    assert says(k, "08:00", "2025-11-25") == [
        "dough 1A: not mixed yet; next: mixed",
        "load 1: not ready yet; next: on the griddle",
        "load 2: not ready yet; next: on the griddle",
    ]

    def stage(thing, name, clock, day=DAY):
        k.trial.stage(thing, name, at(clock, day))

    def late(text):
        """The tests write down the past: take that out."""
        import re

        return [re.sub(r" \(noted [^)]*later\)", "", row) for row in text]

    stage(k.dough, "mixed", "17:40", "2025-11-25")
    assert (
        late(says(k, "17:45", "2025-11-25"))[0] == "dough 1A: mixed for 5 min; next: in the fridge"
    )
    stage(k.dough, "in the fridge", "18:00", "2025-11-25")
    assert late(says(k, "09:20"))[0] == (
        "dough 1A: in the fridge for 15 h 20 min; next: out of the fridge at 10:00 (planned 16 h), "
        "in 40 min"
    )
    assert late(says(k, "10:00"))[0].endswith("(planned 16 h), due now")
    assert late(says(k, "11:20"))[0].endswith("at 10:00 (planned 16 h), overdue by 1 h 20 min")
    stage(k.dough, "out of the fridge", "10:05")
    assert late(says(k, "10:06"))[0] == (
        "dough 1A: out of the fridge for 1 min; next: shaped at 10:15 (usual 10 min), in 9 min"
    )
    stage(k.dough, "shaped", "10:20")
    assert late(says(k, "11:25")) == [
        "dough 1A: proofing for 1 h 5 min; next: doubled at 12:20 (planned 2 h), in 55 min",
        "load 1: not ready yet; next: on the griddle at 12:20 (its dough doubled), in 55 min",
        "load 2: not ready yet; next: on the griddle at 12:36 (after load 1), in 1 h 11 min",
    ]
    # past the time, and nobody said that it had doubled: the load waits for that, not for the clock
    assert late(says(k, "12:30"))[:2] == [
        "dough 1A: proofing for 2 h 10 min; next: doubled at 12:20 (planned 2 h), "
        "overdue by 10 min",
        "load 1: not ready yet; next: on the griddle",
    ]
    stage(k.dough, "doubled", "12:30")
    assert late(says(k, "12:32")) == [
        "dough 1A: doubled and ready for 2 min",
        "load 1: waiting for the griddle for 2 min; next: on the griddle at 12:30 "
        "(its dough doubled), overdue by 2 min",
        "load 2: waiting for the griddle for 2 min; next: on the griddle at 12:48 (after load 1), "
        "in 16 min",
    ]
    first, second = k.loads
    stage(first, "on the griddle", "12:33")
    assert late(says(k, "12:36")) == [
        "dough 1A: 2 pieces, 1 on the griddle and 1 waiting",
        "load 1: on the griddle, first side for 3 min; next: turned at 12:39 (planned 6 min), "
        "in 3 min",
        "load 2: waiting for the griddle for 6 min; next: on the griddle at 12:49 (after load 1), "
        "in 13 min",
    ]
    stage(first, "turned", "12:39")
    assert late(says(k, "12:41"))[1] == (
        "load 1: on the griddle, second side for 2 min; next: off the griddle at 12:45 "
        "(planned 6 min), in 4 min"
    )
    stage(first, "third turn", "12:45")
    assert late(says(k, "12:46"))[1] == (
        "load 1: on the griddle, turned again for 1 min; next: off the griddle at 12:48 "
        "(usual 3 min), in 2 min"
    )
    stage(first, "off the griddle", "12:48")
    stage(second, "on the griddle", "12:52")
    assert late(says(k, "13:00")) == [
        "dough 1A: 2 pieces, 1 on the griddle and 1 off the griddle",
        "load 1: resting on the rack for 12 min; next: rested at 13:18 (usual 30 min), in 18 min",
        "load 2: on the griddle, first side for 8 min; next: turned at 12:58 (planned 6 min), "
        "overdue by 2 min",
    ]
    stage(second, "turned", "13:00")
    stage(second, "off the griddle", "13:06")
    assert late(says(k, "13:20")) == [
        "dough 1A: off the griddle for 14 min",
        "load 1: rested and ready for 2 min",
        "load 2: resting on the rack for 14 min; next: rested at 13:36 (usual 30 min), in 16 min",
    ]


def test_without_a_plan_the_usual_times_are_said_to_be_usual(kitchen):
    k = kitchen
    k.trial.stage(k.dough, "in the fridge", at("18:00", "2025-11-25"))
    row = k.trial.running(k.bake, at("09:00")).rows[0]
    assert "between 06:00 and 18:00 on Thursday 2025-11-27" in row.says
    assert "(nothing planned; 12 to 48 h are usual)" in row.says
    assert row.overdue_minutes == 0
    assert k.trial.running(k.bake, at("18:30", "2025-11-27")).rows[0].overdue_minutes == 30
    k.trial.stage(k.dough, "out of the fridge", at("09:00"))
    k.trial.stage(k.dough, "shaped", at("09:00"))
    # two hours at 22 °C (72 °F), a quarter more or less: common practice, no source
    due = k.trial.running(k.bake, at("09:00")).rows[0].due
    assert due.at == at("11:00")
    assert (due.start, due.end) == (at("10:30"), at("11:30"))
    assert due.basis == "usual at 22 °C; the room's temperature is not noted"
    k.trial.record(k.bake, "room_temp_c", 27)
    assert k.trial.running(k.bake, at("09:00")).rows[0].due.basis == (
        "about 1 h 21 min at 27 °C, usual"
    )
    # a time measured in an earlier bake at the same temperature is worth more
    before = k.trial.add_bake("2025-11-20")
    earlier = k.trial.add_dough(before)
    k.trial.record(before, "room_temp_c", 27)
    k.trial.record(earlier, "double_minutes", 95)
    due = k.trial.running(k.bake, at("09:00")).rows[0].due
    assert due.at == at("10:35")
    assert due.basis == "about 1 h 35 min at 27 °C, by your own times"
    k.trial.stage(k.loads[0], "on the griddle", at("11:00"))
    row = k.trial.running(k.bake, at("11:02")).rows[1]
    assert (row.due.start, row.due.at, row.due.end) == (at("11:05"), at("11:06"), at("11:10"))
    assert row.due.basis == "usual 6 min"


def test_pieces_turned_at_different_times_stand_apart_and_come_together_on_the_rack(ws):
    trial = ws.new_trial("malt", zone="Europe/Berlin")
    bake = trial.add_bake(DAY)
    dough, load = trial.add_dough(bake), trial.add_load(bake)
    pieces = [trial.add_piece(dough, load, place) for place in (1, 2, 3)]
    for piece, side in zip(pieces, (5, 6, 5), strict=True):
        trial.record(piece, "side_minutes", side, how="planned")
    trial.stage(load, "on the griddle", at("11:00"))
    rows = trial.running(bake, at("11:01")).rows[1:]
    assert [row.name for row in rows] == [
        "load 1, 5 min a side (1A1, 1A3)", "load 1, 6 min a side (1A2)",
    ]  # fmt: skip
    assert [row.due for row in rows] == [
        Due(at(clock), at(clock), at(clock), f"planned {side} min")
        for clock, side in (("11:05", 5), ("11:06", 6))
    ]
    made = trial.stage_all(rows[0].things, "turned", at("11:05"))
    assert [noted.thing.code for noted in made] == ["1A1", "1A3"]
    rows = trial.running(bake, at("11:05")).rows[1:]
    assert [row.next for row in rows] == ["off the griddle", "turned"]
    assert rows[0].also == ("third turn",)
    ws.undo()  # one press, one undo
    assert [row.next for row in trial.running(bake, at("11:05")).rows[1:]] == ["turned"] * 2
    trial.stage(load, "off the griddle", at("11:11"))
    assert [row.where for row in trial.running(bake, at("11:12")).rows[1:]] == [
        "resting on the rack"
    ]


def test_right_after_a_restart_and_for_everyone(kitchen, ws):
    """Another Workspace object, as another process has it, tells the same."""
    k = kitchen
    k.trial.stage(k.dough, "in the fridge", at("18:00", "2025-11-25"))
    told = str(k.trial.running(k.bake, at("09:00")))
    with Workspace(ws.folder) as again:
        trial = again.trial("malt")
        assert str(trial.running(trial.bakes()[0], at("09:00"))) == told
        trial.stage(trial.doughs()[0], "out of the fridge", at("09:05"))
    assert k.trial.running(k.bake, at("09:06")).rows[0].where == "out of the fridge"


@pytest.mark.parametrize(
    ("zone", "into", "hours", "expected", "check"),
    [
        ("Europe/Berlin", "2025-10-25 18:00", 16, "09:00",
         "the clocks went back by 1 h (it was then 02:00 (the second time) on Sunday 2025-10-26): "
         "lengths are real time"),
        ("Europe/Berlin", "2025-03-29 18:00", 16, "11:00",
         "the clocks went forward by 1 h (it was then 03:00 on Sunday 2025-03-30): "
         "lengths are real time"),
        ("America/New_York", "2025-11-01 18:00", 16, "09:00",
         "the clocks went back by 1 h (it was then 01:00 (the second time) on Sunday 2025-11-02): "
         "lengths are real time"),
        ("America/New_York", "2025-03-08 18:00", 16, "11:00",
         "the clocks went forward by 1 h (it was then 03:00 on Sunday 2025-03-09): "
         "lengths are real time"),
        ("Australia/Lord_Howe", "2025-04-05 18:00", 16, "09:30",
         "the clocks went back by 30 min (it was then 01:30 (the second time) on Sunday "
         "2025-04-06): lengths are real time"),
    ],
)  # fmt: skip
def test_next_is_right_over_a_change_of_the_clocks(ws, zone, into, hours, expected, check):
    trial = ws.new_trial("malt", zone=zone)
    bake = trial.add_bake(into[:10])
    dough = trial.add_dough(bake)
    trial.record(dough, "retard_hours", hours, how="planned")
    trial.stage(dough, "in the fridge", into)
    start = trial.stages()["at"].iloc[0].to_pydatetime()
    told = trial.running(bake, start.astimezone(UTC) + timedelta(hours=hours, minutes=-10))
    assert told.rows[0].elapsed_minutes == hours * 60 - 10
    assert f"at {expected} (planned 16 h), in 10 min" in told.rows[0].says
    assert told.checks == (check,)


def test_what_was_forgotten_is_asked_for(kitchen):
    k = kitchen
    k.trial.stage(k.dough, "in the fridge", at("18:00", "2025-11-25"))
    k.trial.stage(k.dough, "shaped", at("09:00"))
    k.trial.stage(k.loads[0], "on the griddle", at("11:00"))
    k.trial.stage(k.loads[0], "off the griddle", at("11:12"))
    checks = k.trial.running(k.bake, at("11:13")).checks
    for what in ("dough 1A came out of the fridge", "load 1 of bake 1 was turned"):
        assert (
            f"nobody wrote down when {what}: note the time while somebody remembers, or leave it "
            "missing"
        ) in checks


def test_warm_dough_with_milk_is_told_of_and_left_to_the_authority(kitchen):
    """20 min before the fridge, 2 h 10 after: 2 h 30, the cold night does not count."""
    k = kitchen
    k.trial.stage(k.dough, "mixed", at("17:40", "2025-11-25"))
    k.trial.stage(k.dough, "in the fridge", at("18:00", "2025-11-25"))
    k.trial.stage(k.dough, "out of the fridge", at("09:00"))
    assert k.trial.running(k.bake, at("10:30")).checks == ()
    (check,) = k.trial.running(k.bake, at("11:10")).checks
    assert check.startswith("stood warm in all: dough 1A for 2 h 30 min. If there is milk or egg")
    assert check.endswith("is for your food authority to say")
    k.trial.set_formula("plain", [("bread flour", "flour", 100), ("water", "liquid", 70)])
    assert k.trial.running(k.bake, at("11:10")).checks == ()
    k.trial.set_formula("rich", [("bread flour", "flour", 100), ("whole milk", "liquid", 70)])
    assert "With milk or egg in it" in k.trial.running(k.bake, at("11:10")).checks[0]
    # on the griddle it is cooked: the time stands still
    for load in k.loads:
        k.trial.stage(load, "on the griddle", at("11:10"))
    assert any("1A for 2 h 30 min" in c for c in k.trial.running(k.bake, at("13:00")).checks)


def test_hot_griddle_and_a_clock_set_back_are_said(kitchen):
    k = kitchen
    k.trial.stage(k.loads[0], "on the griddle", at("11:00"))
    assert "the griddle is hot: do not leave it, or a flame, alone" in (
        k.trial.running(k.bake, at("11:01")).checks
    )
    told = k.trial.running(k.bake, at("10:30"))
    assert told.rows[1].elapsed_minutes == 0
    assert told.checks[0] == (
        "the clock of this computer shows 10:30 on Wednesday 2025-11-26, earlier than what was "
        "noted last (11:00 on Wednesday 2025-11-26): set it right, and look at the times"
    )
    with pytest.raises(InputError, match="has no time zone"):
        k.trial.running(k.bake, datetime(2025, 11, 26))


def test_faces(kitchen):
    k = kitchen
    empty = k.trial.running(k.trial.add_bake("2025-12-01"), at("09:00"))
    assert str(empty).endswith("no dough yet. Add one, then note when it was mixed.")
    assert empty.to_frame().empty
    k.trial.record(k.dough, "retard_hours", 16, how="planned")
    k.trial.stage(k.dough, "in the fridge", at("18:00", "2025-11-25"))
    told = k.trial.running(k.bake, at("11:00"))
    assert repr(told) == "<Running bake 1: 3 under way, 1 overdue>"
    assert told.overdue == (told.rows[0],)
    frame = told.to_frame()
    assert frame["name"].tolist() == ["1A", "load 1", "load 2"]
    assert frame["elapsed_minutes"].iloc[0] == 17 * 60
    assert str(frame["due"].iloc[0]) == "2025-11-26 10:00:00+01:00"
    assert frame["overdue_minutes"].tolist() == [60, 0, 0]
    k.trial.change(k.dough, code="<b>")
    assert "&lt;b&gt;" in k.trial.running(k.bake, at("11:00"))._repr_html_()


def test_removed_and_undone_stages_leave_no_trace(kitchen, ws):
    k = kitchen
    told = str(k.trial.running(k.bake, at("11:00")))
    k.trial.stage(k.dough, "mixed", at("10:00"))
    ws.undo()
    assert str(k.trial.running(k.bake, at("11:00"))) == told
    k.trial.remove(k.dough)
    assert [row.name for row in k.trial.running(k.bake, at("11:00")).rows] == ["load 1", "load 2"]


def test_no_clock_runs_on_for_a_bake_written_in_weeks_later(kitchen):
    """Mixed at 8:00, on the griddle at 11:00, the second load never noted: warm for 3 h."""
    k = kitchen
    k.trial.stage(k.dough, "mixed", at("08:00"))
    k.trial.stage(k.loads[0], "on the griddle", at("11:00"))
    told = k.trial.running(k.bake, at("11:00", "2025-12-20"))
    assert told.overdue == ()
    (load,) = (row for row in told.rows if row.name == "load 1")
    assert load.elapsed_minutes is None
    assert load.next == "turned"
    (check,) = told.checks  # and the griddle is not hot any more
    assert check.startswith("stood warm in all: dough 1A for 3 h. ")


def test_a_dough_in_the_refrigerator_is_there_for_days(kitchen):
    k = kitchen
    k.trial.stage(k.dough, "mixed", at("08:00"))
    k.trial.stage(k.dough, "in the fridge", at("08:30"))
    told = k.trial.running(k.bake, at("08:30", "2025-11-29"))
    assert told.rows[0].elapsed_minutes == 3 * 24 * 60
    assert told.overdue == (told.rows[0],)

"""Stages: when they were, what can follow what, and that nothing is lost or overridden."""

import tempfile
from datetime import UTC, date, datetime, timedelta
from functools import partial
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kit.errors import InputError, NotFoundError
from kit.records.bench.stages import STAGES
from kit.records.when import read_at, read_when, say_when
from kit.workspace import Workspace

NOON = datetime(2025, 11, 26, 12, 0, tzinfo=UTC)


@pytest.fixture
def kitchen(ws):
    """A bake of two doughs and two loads in Berlin; the first load mixes two side times."""
    trial = ws.new_trial("malt", factors={"retard_hours": [16, 40]}, zone="Europe/Berlin")
    bake = trial.add_bake("2025-11-26")
    a, b = trial.add_dough(bake), trial.add_dough(bake)
    first, second = trial.add_load(bake), trial.add_load(bake)
    pieces = [trial.add_piece(a, first, 1), trial.add_piece(b, first, 2),
              trial.add_piece(a, second, 1), trial.add_piece(b, second, 2)]  # fmt: skip
    for piece, side in zip(pieces, (5, 6, 6, 6), strict=True):
        trial.record(piece, "side_minutes", side, how="planned")
    return SimpleNamespace(
        trial=trial, bake=bake, a=a, b=b, first=first, second=second, pieces=pieces
    )


def all_through(k, day="2025-11-26"):
    """A whole bake, as noted; dough A in the fridge for 17 h 20."""
    for dough in (k.a, k.b):
        k.trial.stage(dough, "mixed", "2025-11-25 15:20")
        k.trial.stage(dough, "in the fridge", "2025-11-25 15:40")
        k.trial.stage(dough, "out of the fridge", f"{day} 09:00")
        k.trial.stage(dough, "shaped", f"{day} 09:15")
    k.trial.stage(k.a, "doubled", f"{day} 11:05")
    k.trial.stage(k.b, "doubled", f"{day} 11:15")
    k.trial.stage(k.first, "on the griddle", f"{day} 11:20")
    k.trial.stage(k.pieces[0], "turned", f"{day} 11:25")
    k.trial.stage(k.pieces[1], "turned", f"{day} 11:26:30")
    k.trial.stage(k.first, "off the griddle", f"{day} 11:33")
    k.trial.stage(k.second, "on the griddle", f"{day} 11:38")
    k.trial.stage(k.second, "turned", f"{day} 11:44")


# the clock of the kitchen


@pytest.mark.parametrize(
    ("typed", "is_utc"),
    [
        ("9:40", "2025-11-26T08:40"),
        (" 09.40 ", "2025-11-26T08:40"),
        ("today 9:40", "2025-11-26T08:40"),
        ("9:40 am", "2025-11-26T08:40"),
        ("12:05 a.m.", "2025-11-25T23:05"),
        ("8 am", "2025-11-26T07:00"),
        ("noon", "2025-11-26T11:00"),
        ("9:15 pm yesterday", "2025-11-25T20:15"),
        ("yesterday, 9pm", "2025-11-25T20:00"),
        ("2025-11-5 8am", "2025-11-05T07:00"),
        ("Nov 25 9:15 pm", "2025-11-25T20:15"),
        ("November 25th, 2025 21:15", "2025-11-25T20:15"),
        ("yesterday 21:15", "2025-11-25T20:15"),
        ("Yesterday, 9:15 PM", "2025-11-25T20:15"),
        ("2025-11-25 21:15", "2025-11-25T20:15"),
        ("25.11.2025 21:15", "2025-11-25T20:15"),
        ("25.11. 21.15", "2025-11-25T20:15"),
        ("27.2., 21:15", "2025-02-27T20:15"),
        ("1 Feb 21:15", "2025-02-01T20:15"),  # the last one, not that of next year
        ("noon yesterday", "2025-11-25T11:00"),
        ("2025-11-25T21:15:30", "2025-11-25T20:15:30"),
        ("2025-11-25T21:15:00+02:00", "2025-11-25T19:15"),
        ("2025-11-25T21:15:00.250Z", "2025-11-25T21:15:00.250"),
        (datetime(2025, 11, 25, 21, 15), "2025-11-25T20:15"),
        (datetime(2025, 11, 25, 21, 15, tzinfo=UTC), "2025-11-25T21:15"),
    ],
)
def test_times_as_people_type_them(typed, is_utc):
    read = read_when("at", typed, "Europe/Berlin", NOON)
    assert read == datetime.fromisoformat(is_utc).replace(tzinfo=UTC)


@pytest.mark.parametrize(
    "typed", ["soon", "25:00", "9:60", "13:00 pm", "9", "2025-02-30 09:00", ""]
)
def test_what_is_no_time_is_refused(typed):
    with pytest.raises(InputError) as caught:
        read_when("at", typed, "Europe/Berlin", NOON, "dough 1A")
    assert str(caught.value) == (
        f"at is {typed!r} (dough 1A): is not a time. "
        "Write 9:40, yesterday 21:15, or 2026-11-26 09:40."
    )


@pytest.mark.parametrize("typed", ["27.11., 21:15", "Dec 5 9:40", "3 Jan 9 am"])
def test_a_day_soon_to_come_is_not_that_of_the_last_year(typed):
    with pytest.raises(InputError, match="is still to come"):
        read_when("at", typed, "Europe/Berlin", NOON)


@pytest.mark.parametrize(
    ("typed", "is_utc"),
    [("9:40", "2025-08-03T07:40"), ("yesterday 9:40", "2025-11-25T08:40"),
     ("Nov 5 9:40", "2025-11-05T08:40")],
)  # fmt: skip
def test_only_a_time_that_names_no_day_is_of_the_day_given(typed, is_utc):
    read = read_when("at", typed, "Europe/Berlin", NOON, today=date(2025, 8, 3))
    assert read == datetime.fromisoformat(is_utc).replace(tzinfo=UTC)


def test_a_time_to_come_asks_whether_yesterday_is_meant():
    half_past_midnight = datetime(2025, 11, 25, 23, 30, tzinfo=UTC)
    with pytest.raises(InputError) as caught:
        read_when("at", "21:15", "Europe/Berlin", half_past_midnight)
    assert str(caught.value) == (
        "at is '21:15': is still to come (it is 00:30 on Wednesday 2025-11-26). "
        "Write yesterday 21:15 if that is meant."
    )


# zone, a time the clock shows twice, the two of them in UTC, a time it skips, what it shows then:
# European Union 2000/84/EC (last Sundays of March and October, 1:00 UTC); United States Energy
# Policy Act 2005 (2:00 local, second Sunday of March, first of November); Lord Howe Island shifts
# by half an hour (IANA tz database, file australasia)
CHANGES = [
    ("Europe/Berlin", "2025-10-26 02:30", "2025-10-26T00:30", "2025-10-26T01:30",
     "2025-03-30 02:30", "2025-03-30 03:30"),
    ("America/New_York", "2025-11-02 01:10", "2025-11-02T05:10", "2025-11-02T06:10",
     "2025-03-09 02:10", "2025-03-09 03:10"),
    ("Australia/Lord_Howe", "2025-04-06 01:45", "2025-04-05T14:45", "2025-04-05T15:15",
     "2024-10-06 02:15", "2024-10-06 02:45"),
]  # fmt: skip


@pytest.mark.parametrize(("zone", "twice", "first", "second", "never", "shown"), CHANGES)
def test_clock_changes_are_asked_about(zone, twice, first, second, never, shown):
    for which, expected in (("first", first), ("second", second)):
        read = read_when("at", f"{twice} {which}", zone, NOON)
        assert read == datetime.fromisoformat(expected).replace(tzinfo=UTC)
        assert f"the {which} time" in say_when(read, zone)
        assert read_at("at", f"{twice} {which}", zone) == f"{expected}:00.000000+00:00"
    for reader in (read_at, partial(read_when, now=NOON)):
        with pytest.raises(InputError) as caught:
            reader("at", twice, zone=zone)
        assert str(caught.value) == (
            f"at is '{twice}': came twice, because the clock was put back. "
            f"Write {twice} first (before the change) or second (after it)."
        )
        with pytest.raises(InputError) as caught:
            reader("at", never, zone=zone)
        assert str(caught.value) == (
            f"at is '{never}': never was: the clock was put forward over it. "
            f"Write {shown} if you had not yet put yours forward."
        )
    for skipped in (datetime.fromisoformat(never), never.replace(":", "")):
        with pytest.raises(InputError, match="never was"):
            read_at("at", skipped, zone)
    twofold = datetime.fromisoformat(twice)
    assert read_at("at", twofold.replace(fold=1), zone) == f"{second}:00.000000+00:00"
    with pytest.raises(InputError, match="came twice"):
        read_at("at", twofold, zone)
    # an hour that comes once has no number
    assert "time" not in say_when(
        datetime.fromisoformat(first + "+00:00") - timedelta(days=1), zone
    )


@pytest.mark.parametrize("typed", ["2025-11-20 9:40:12.25", "2025-11-20T09:40:12.250"])
def test_parts_of_a_second_are_kept(typed):
    at = datetime(2025, 11, 20, 8, 40, 12, 250_000, UTC)
    assert read_when("at", typed, "Europe/Berlin", NOON) == at
    assert read_at("at", typed, "Europe/Berlin") == at.isoformat(timespec="microseconds")


@given(
    st.datetimes(datetime(2024, 1, 1), datetime(2025, 11, 1)),
    st.sampled_from(["Europe/Berlin", "America/New_York", "Australia/Lord_Howe", "Asia/Kolkata"]),
)
def test_every_moment_can_be_typed_by_its_clock(at, zone):
    at = at.replace(second=0, microsecond=0, tzinfo=UTC)
    local = at.astimezone(ZoneInfo(zone))
    which = " second" if local.fold else " first"
    assert read_when("at", f"{local:%Y-%m-%d %H:%M}{which}", zone, NOON) == at


# noting


def test_now_and_later(kitchen):
    before = datetime.now(UTC)
    made = kitchen.trial.stage(kitchen.a, "Mixed")
    assert before <= made.at <= datetime.now(UTC)
    assert made.late_minutes == 0
    assert "later" not in str(made)
    fourteen = datetime.now(UTC) - timedelta(minutes=14, seconds=20)
    later = kitchen.trial.stage(kitchen.b, "mixed", fourteen)
    assert later.late_minutes == 14
    assert str(later).endswith(", noted 14 min later")
    told = kitchen.trial.stages(kitchen.bake)
    assert told["late_minutes"].tolist() == [14, 0]
    assert told["code"].tolist() == ["1B", "1A"]
    assert str(told["at"].dt.tz) == "Europe/Berlin"


def test_correcting_keeps_history_and_is_undone(ws, kitchen):
    trial, a = kitchen.trial, kitchen.a
    trial.stage(a, "in the fridge", "2025-11-25 15:40")
    made = trial.stage(a, "in the fridge", "2025-11-25 15:50")
    assert made.corrected
    assert len(trial.stages()) == 1
    assert (
        ws.history()["what"]
        .iloc[-1]
        .startswith("malt: dough 1A in the fridge, 15:50 on Tuesday 2025-11-25, noted ")
    )
    assert ws.history()["what"].iloc[-1].endswith(" (corrected)")
    ws.undo()
    assert f"{trial.stages()['at'].iloc[0]:%H:%M}" == "15:40"
    trial.remove(made)
    assert trial.stages().empty
    ws.undo()
    ws.undo()
    assert trial.stages().empty


@pytest.mark.parametrize(
    ("what", "stage", "at", "said"),
    [
        ("a", "out of the fridge", "2025-11-25 15:30",
         "out of the fridge is '2025-11-25 15:30' (dough 1A): is before dough 1A went into the "
         "fridge (15:40 on Tuesday 2025-11-25). Give another time, or correct the other one "
         "first."),
        ("a", "in the fridge", "2025-11-26 09:05",
         "in the fridge is '2025-11-26 09:05' (dough 1A): is after dough 1A came out of the fridge "
         "(09:00 on Wednesday 2025-11-26). Give another time, or correct the other one first."),
        ("a", "shaped", "2025-11-26 08:00",
         "shaped is '2025-11-26 08:00' (dough 1A): would have it shaped while it stood in the "
         "fridge (15:40 on Tuesday 2025-11-25 to 09:00 on Wednesday 2025-11-26). "
         "Give another time, or correct the other ones first."),
        ("first", "on the griddle", "2025-11-26 09:10",
         "on the griddle is '2025-11-26 09:10' (load 1 of bake 1): is before dough 1A was shaped "
         "(09:15 on Wednesday 2025-11-26). Give another time, or correct the other one first."),
        ("b", "shaped", "2025-11-26 11:21",
         "shaped is '2025-11-26 11:21' (dough 1B): is after dough 1B had doubled (11:15 on "
         "Wednesday 2025-11-26). Give another time, or correct the other one first."),
        ("first", "off the griddle", "2025-11-26 11:25",
         "off the griddle is '2025-11-26 11:25' (load 1 of bake 1): is before piece 1B1 was turned "
         "(11:26 on Wednesday 2025-11-26). Give another time, or correct the other one first."),
        ("second", "turned", "2025-11-26 11:37",
         "turned is '2025-11-26 11:37' (load 2 of bake 1): is before load 2 of bake 1 went on the "
         "griddle (11:38 on Wednesday 2025-11-26). Give another time, or correct the other one "
         "first."),
        ("a", "shaped", None,
         "stage is 'shaped' (dough 1A): is noted already (09:15 on Wednesday 2025-11-26). Give the "
         "time to correct it. If it happened again, note an event."),
        ("bake", "mixed", None, "stage is 'mixed': belongs to a dough, a load or a piece, not to "
         "bake 1."),
        ("a", "in the fridge", "2025-11-01 10:00",
         "in the fridge is '2025-11-01 10:00' (dough 1A): is before dough 1A was mixed (15:20 on "
         "Tuesday 2025-11-25). Give another time, or correct the other one first."),
    ],
)  # fmt: skip
def test_times_that_cannot_be_are_asked_about(kitchen, what, stage, at, said):
    all_through(kitchen)
    before = kitchen.trial.stages()
    with pytest.raises(InputError) as caught:
        kitchen.trial.stage(getattr(kitchen, what), stage, at)
    assert str(caught.value) == said
    assert kitchen.trial.stages().equals(before)


def test_a_time_typed_to_the_minute_does_not_fall_before_what_was_pressed_in_it(kitchen):
    trial, a = kitchen.trial, kitchen.a
    trial.stage(a, "in the fridge", "2025-11-25 15:40:25")
    assert trial.stage(a, "out of the fridge", "2025-11-25 15:40").at == datetime(
        2025, 11, 25, 14, 40, 25, tzinfo=UTC
    )


def test_a_stage_far_from_the_day_of_its_bake_is_asked_about(kitchen):
    trial = kitchen.trial
    assert trial.stage(kitchen.a, "mixed", "2025-11-24 08:00").doubt == ""  # mixed two days before
    far = trial.stage(kitchen.b, "mixed", "2025-12-22 08:00")
    assert far.doubt == (
        "That is 26 days after the day of bake 1, 2025-11-26. Is it the right bake?"
    )
    trial.change(kitchen.bake, day="2025-12-22")
    assert trial.stage(trial.dough("1B"), "mixed", "2025-12-22 08:05").doubt == ""
    late = trial.stage(trial.dough("1A"), "shaped", "2025-11-26 23:50")
    assert late.doubt.startswith("That is 26 days before the day of bake 1, 2025-12-22.")


def test_what_is_unusual_is_asked_about_and_what_cannot_be_is_not_recorded(kitchen):
    trial, a = kitchen.trial, kitchen.a
    trial.stage(a, "in the fridge", "2025-11-01 15:40")
    made = trial.stage(a, "out of the fridge", "2025-11-05 15:40")
    assert made.doubt == (
        "Cold retard 96.0 h is unusual (mostly 0 to 72 h). Is it right? That is 21 days before the "
        "day of bake 1, 2025-11-26. Is it the right bake?"
    )
    made = trial.stage(a, "out of the fridge", "2025-11-26 10:00")
    assert made.doubt == (
        "retard_hours is 594.333333333 (dough 1A): must lie between 0 and 240 h. Is the time right?"
    )
    found = trial.times_into_readings(kitchen.bake, settings=True)
    assert found.recorded == ()
    assert found.offers[0].state == "impossible"


def test_unknown_words_list_the_known_ones(kitchen):
    with pytest.raises(NotFoundError) as caught:
        kitchen.trial.stage(kitchen.a, "baked")
    assert str(caught.value) == (
        "no stage of a dough 'baked'. There are: 'mixed', 'in the fridge', 'out of the fridge', "
        "'shaped', 'doubled'."
    )
    with pytest.raises(InputError) as caught:
        kitchen.trial.event("stage: shaped", on=kitchen.a)
    assert str(caught.value) == (
        "kind is 'stage: shaped': is kept for stages. Note it with trial.stage(…)."
    )


def test_removed_things_and_other_trials_are_refused(ws, kitchen):
    other = ws.new_trial("salt").add_bake("2025-11-26")
    with pytest.raises(InputError, match="belongs to another trial"):
        kitchen.trial.running(other)
    kitchen.trial.remove(kitchen.b)
    with pytest.raises(InputError, match="was removed"):
        kitchen.trial.stage(kitchen.b, "mixed")


# what follows


def test_stages_are_no_events_of_the_analysis(kitchen):
    kitchen.trial.event("fridge open", on=kitchen.a)
    frame, told = kitchen.trial.frame(), kitchen.trial.events()
    all_through(kitchen)
    assert kitchen.trial.frame().equals(frame)
    assert kitchen.trial.events().equals(told)
    assert set(frame["events"].dropna()) == {"fridge open"}


def test_lengths_by_hand(ws, kitchen):
    """17 h 20 in the fridge; shaped 9:15, on 11:20; ready 11:05, on 11:20 and 11:38."""
    all_through(kitchen)
    trial = kitchen.trial
    assert trial.readings().query("how != 'planned'").empty  # offered, not recorded
    offered = trial.from_times(kitchen.bake)
    assert str(offered).splitlines()[0] == "12 lengths of time follow from the stages."
    assert not offered.to_frame()["recorded"].any()
    found = trial.times_into_readings(kitchen.bake)
    told = "12 lengths of time follow from the stages; 10 recorded now."
    assert str(found).splitlines()[0] == told
    table = found.to_frame()
    assert table["recorded"].tolist() == (table["quantity"] != "retard_hours").tolist()
    got = {(o.thing.id, o.quantity): o.value for o in found.offers}
    k = kitchen
    assert got == pytest.approx(
        {
            (k.a.id, "retard_hours"): 17 + 20 / 60, (k.b.id, "retard_hours"): 17 + 20 / 60,
            (k.a.id, "proof_minutes"): 125, (k.b.id, "proof_minutes"): 125,
            (k.a.id, "double_minutes"): 110, (k.b.id, "double_minutes"): 120,
            (k.first.id, "waited_minutes"): 15, (k.second.id, "waited_minutes"): 33,
            (k.pieces[0].id, "side_minutes"): 5, (k.pieces[1].id, "side_minutes"): 6.5,
            (k.pieces[2].id, "side_minutes"): 6, (k.pieces[3].id, "side_minutes"): 6,
        }
    )  # fmt: skip
    how = trial.provenance()
    assert how["side_minutes"].tolist() == ["computed"] * 4
    assert "retard_hours" not in how  # a setting of the trial stays what was planned
    assert "tick it beside the button (settings=True from Python)" in str(found)
    assert [o.state for o in trial.from_times(k.bake).offers if o.quantity != "retard_hours"] == [
        "same"
    ] * 10
    trial.times_into_readings(k.bake, settings=True)
    assert trial.frame()["retard_hours"].tolist() == pytest.approx([17 + 20 / 60] * 4)
    ws.undo()
    assert "retard_hours" not in trial.frame()
    ws.undo()
    assert trial.readings().query("how != 'planned'").empty


def test_what_was_entered_stays(kitchen):
    all_through(kitchen)
    trial = kitchen.trial
    trial.record(kitchen.a, "proof_minutes", 130)
    found = trial.times_into_readings(kitchen.bake)
    kept = next(o for o in found.offers if o.state == "entered")
    assert str(kept) == (
        "dough 1A: Warm proof 125 min, shaped to its first load (entered: 130 min, kept)"
    )
    assert trial.frame().set_index("piece")["proof_minutes"]["1A1"] == 130
    # a corrected time changes what was computed from it, on request
    trial.stage(kitchen.b, "doubled", "2025-11-26 11:10")
    changed = [o for o in trial.from_times(kitchen.bake).offers if o.state == "changed"]
    assert [str(o) for o in changed] == [
        "dough 1B: Time to double 115 min, shaped to doubled (recorded: 120 min)"
    ]
    assert trial.times_into_readings(kitchen.bake).recorded == tuple(changed)
    assert trial.frame().set_index("piece")["double_minutes"]["1B1"] == 115
    # half a minute is a correction as well
    trial.stage(kitchen.b, "doubled", "2025-11-26 11:10:30")
    (changed,) = [o for o in trial.from_times(kitchen.bake).offers if o.state == "changed"]
    assert (changed.value, changed.has) == (pytest.approx(115.5), 115)


def test_one_time_of_turning_says_nothing_of_pieces_turned_at_different_times(kitchen):
    trial, first = kitchen.trial, kitchen.first
    trial.stage(first, "on the griddle", "2025-11-26 11:20")
    trial.stage(first, "turned", "2025-11-26 11:25")
    found = trial.from_times(kitchen.bake)
    assert not [o for o in found.offers if o.quantity == "side_minutes"]
    assert "turned at different times" in found.checks[0]


def test_a_dough_shaped_in_parts_gives_no_proof_time(kitchen):
    """1A1 is to double, 1A2 to rise to one and a half: 1A2 is shaped later."""
    k = kitchen
    trial = k.trial
    for piece, ratio in zip(k.pieces, (2, 2, 1.5, 2), strict=True):
        trial.record(piece, "proof_ratio", ratio, how="planned")
    all_through(k)
    assert [o.thing for o in trial.from_times(k.bake).offers if o.quantity == "proof_minutes"] == [
        k.b
    ]
    assert (
        "pieces of dough 1A are planned to proof for different times and shaped one after another, "
        "and one time of shaping is noted for all, so no proof time follows from it: enter the "
        "proof ratio of each piece as it was"
    ) in trial.from_times(k.bake).checks
    trial.times_into_readings(k.bake, settings=True)
    frame = trial.frame().set_index("piece")
    assert frame.loc[["1A1", "1A2"], "proof_minutes"].isna().all()
    # the second shaping put in place of the first is asked about, with the time that was there
    again = trial.stage(k.a, "shaped", "2025-11-26 10:15")
    assert again.doubt.startswith(
        "Some of its pieces are shaped later, and the time noted is that of the first shaping: it "
        "was 09:15"
    )
    assert "shaped later" not in trial.stage(k.b, "shaped", "2025-11-26 09:20").doubt


def test_a_clock_a_little_ahead_is_now():
    noon = datetime(2026, 11, 26, 12, tzinfo=UTC)
    for typed in ("2026-11-26 12:01", "2026-11-26 12:02"):
        assert read_when("at", typed, "UTC", noon) == noon
    with pytest.raises(InputError, match="is still to come"):
        read_when("at", "2026-11-26 12:03", "UTC", noon)


def test_missing_times_give_no_length(kitchen):
    trial, a = kitchen.trial, kitchen.a
    trial.stage(a, "shaped", "2025-11-25 15:00")
    trial.stage(a, "in the fridge", "2025-11-25 15:40")
    trial.stage(a, "doubled", "2025-11-26 11:00")
    # shaped before the fridge, and nobody wrote down when it came out
    assert trial.from_times(kitchen.bake).offers == ()
    assert str(trial.from_times(kitchen.bake)) == (
        "No length of time follows from the stages noted so far."
    )
    trial.stage(a, "out of the fridge", "2025-11-26 09:00")
    got = {o.quantity: o.value for o in trial.from_times(kitchen.bake).offers}
    assert got == pytest.approx({"retard_hours": 17 + 1 / 3, "double_minutes": 120})


@pytest.mark.parametrize(
    ("zone", "into", "out", "hours"),
    [
        # 18:00 to 9:00 is 15 h on most nights, 16 when the clock is put back, 14 when forward
        ("Europe/Berlin", "2025-10-24 18:00", "2025-10-25 09:00", 15),
        ("Europe/Berlin", "2025-10-25 18:00", "2025-10-26 09:00", 16),
        ("Europe/Berlin", "2025-03-29 18:00", "2025-03-30 09:00", 14),
        ("America/New_York", "2025-11-01 18:00", "2025-11-02 09:00", 16),
        ("America/New_York", "2025-03-08 18:00", "2025-03-09 09:00", 14),
        ("Australia/Lord_Howe", "2025-04-05 18:00", "2025-04-06 09:00", 15.5),
        ("Asia/Kolkata", "2025-10-25 18:00", "2025-10-26 09:00", 15),
    ],
)
def test_retard_is_real_time(ws, zone, into, out, hours):
    trial = ws.new_trial("malt", zone=zone)
    bake = trial.add_bake(out[:10])
    dough = trial.add_dough(bake)
    trial.stage(dough, "in the fridge", into)
    trial.stage(dough, "out of the fridge", out)
    assert trial.from_times(bake).offers[0].value == hours
    assert trial.running(bake, NOON).rows[0].where == "out of the fridge"


@settings(max_examples=12)
@given(
    st.lists(st.integers(0, 90), min_size=5, max_size=5),
    st.lists(st.integers(0, 90), min_size=6, max_size=6),
    st.sampled_from(["Europe/Berlin", "America/New_York", "Australia/Lord_Howe"]),
    st.sampled_from(
        [datetime(2025, 10, 25, 20), datetime(2025, 3, 8, 22), datetime(2025, 4, 5, 9)]
    ),
)
def test_lengths_in_order_are_never_negative_and_add_up(dough_gaps, load_gaps, zone, start):
    """Any stages in order, across a change of the clocks: lengths ≥ 0, their sum is the whole."""
    with tempfile.TemporaryDirectory() as folder, Workspace(folder, who="Ida") as ws:
        trial = ws.new_trial("malt", zone=zone)
        bake = trial.add_bake("2025-01-01")
        dough, load = trial.add_dough(bake), trial.add_load(bake)
        piece = trial.add_piece(dough, load, 1)
        at = start.replace(tzinfo=UTC)
        when = {}
        for thing, names, gaps in (
            (dough, STAGES["dough"], dough_gaps), (load, STAGES["load"], load_gaps),
        ):  # fmt: skip
            for name, gap in zip(names, gaps, strict=True):
                at += timedelta(minutes=gap)
                when[name] = at
                trial.stage(thing, name, at)
                row = trial.running(bake, at + timedelta(minutes=1)).rows[0]
                assert row.elapsed_minutes is None or row.elapsed_minutes >= 0
        got = {o.quantity: o.value for o in trial.from_times(bake).offers}
        assert all(value >= 0 for value in got.values())
        assert got["retard_hours"] == pytest.approx(dough_gaps[2] / 60)
        whole = (when["turned"] - when["shaped"]).total_seconds() / 60
        waiting = (when["waiting"] - when["doubled"]).total_seconds() / 60
        parts = got["double_minutes"] + waiting + got["waited_minutes"] + got["side_minutes"]
        assert parts == pytest.approx(whole)
        assert got["proof_minutes"] + got["side_minutes"] == pytest.approx(whole)
        assert trial.frame()["piece"].tolist() == [piece.code]

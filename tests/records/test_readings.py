import math
from datetime import UTC, datetime

import pytest

from kit.errors import InputError, NotFoundError
from kit.quantities import Checked


def test_typed_values_become_metric_once(trial, made):
    assert trial.record(made.pieces[0], "rise_height_mm", "1 1/2 in") == Checked(38.1)
    assert trial.record("1A2", "rise_height_mm", "38,5") == Checked(38.5)
    assert trial.record(made.bake, "room_temp_c", "72 F").value == pytest.approx(200 / 9)
    assert trial.record("1", "room_temp_c", 21).value == 21
    assert trial.frame()["rise_height_mm"].tolist()[:2] == [38.1, 38.5]
    assert trial.readings()["unit"].tolist() == ["mm", "mm", "°C", "°C"]
    assert trial.readings()["photo"].isna().all()


def test_unusual_is_stored_and_asked_about(trial, made):
    checked = trial.record(made.pieces[0], "rise_height_mm", "65", note="measured twice")
    assert checked == Checked(65.0, "Height 65.0 mm is unusual (mostly 15 to 60 mm). Is it right?")
    assert trial.frame()["rise_height_mm"].iloc[0] == 65
    assert trial.readings()["note"].tolist() == ["measured twice"]


@pytest.mark.parametrize("nothing", ["", "   ", None, math.nan])
def test_missing_is_missing_and_never_0(ws, trial, made, nothing):
    before = len(ws.history())
    assert trial.record(made.pieces[0], "rise_height_mm", nothing) == Checked(None)
    assert len(ws.history()) == before  # nothing was there, so nothing happened
    trial.record(made.pieces[0], "rise_height_mm", 38)
    trial.record(made.pieces[1], "rise_height_mm", 39)
    assert trial.record(made.pieces[0], "rise_height_mm", nothing) == Checked(None)
    heights = trial.frame()["rise_height_mm"]
    assert heights.isna().tolist() == [True, False, True]
    assert ws.undo() == "undone: malt: Height taken back, piece 1A1"
    assert trial.frame()["rise_height_mm"].iloc[0] == 38


def test_planned_gives_way_to_actual_and_comes_back(trial, made):
    def now():
        frame, how = trial.frame(), trial.provenance()
        return frame["malt_percent"].iloc[0], how["malt_percent"].iloc[0]

    trial.record(made.dough, "malt_percent", 0.8, how="planned")
    assert now() == (0.8, "planned")
    trial.record(made.dough, "malt_percent", 0.75)
    assert now() == (0.75, "entered")
    trial.record(made.dough, "malt_percent", 0.4, how="planned")  # the plan changed afterwards
    assert now() == (0.75, "entered")
    trial.record(made.dough, "malt_percent", "")
    assert now() == (0.4, "planned")


def test_the_newest_counts_however_it_came(trial, made):
    trial.record(made.pieces[0], "rise_height_mm", 38)
    trial.record(made.pieces[0], "rise_height_mm", 38.4, how="photo", u=0.6)
    assert trial.frame()["rise_height_mm"].iloc[0] == 38.4
    assert trial.provenance()["rise_height_mm"].iloc[0] == "photo"
    # entered later, measured earlier: it is the later word
    trial.record(made.pieces[0], "rise_height_mm", 39, at="2020-01-01 08:00")
    assert trial.frame()["rise_height_mm"].iloc[0] == 39
    assert trial.readings()["value"].tolist() == [38, 38.4, 39]
    assert trial.readings()["u"].isna().tolist() == [True, False, True]


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (
            lambda t, m: t.record(m.pieces[0], "rise_height_mm", "tall"),
            "rise_height_mm is 'tall' (piece 1A1): is not a number. Write digits, with a comma or "
            "a point before decimals, for example 2.5 or 3 1/2.",
        ),
        (
            lambda t, m: t.record(m.pieces[0], "rise_height_mm", math.inf),
            "rise_height_mm is inf (piece 1A1): is not a finite number.",
        ),
        (
            lambda t, m: t.record(m.pieces[0], "rise_height_mm", "1e400"),
            "rise_height_mm is '1e400' (piece 1A1): is too large or too small a number.",
        ),
        (
            lambda t, m: t.record(m.dough, "malt_percent", "1000000"),
            "malt_percent is 1000000 (dough 1A): must lie between 0 and 20 %. "
            "Enter diastatic malt in %.",
        ),
        (
            lambda t, m: t.record(m.pieces[0], "malt_percent", "0.8"),
            "malt_percent is '0.8' (piece 1A1): belongs to a dough, not to a piece. "
            "Record it on dough 1A.",
        ),
        (
            lambda t, m: t.record(m.pieces[0], "room_temp_c", "21"),
            "room_temp_c is '21' (piece 1A1): belongs to a bake, not to a piece. "
            "Record it on bake 1.",
        ),
        (
            lambda t, m: t.record(m.pieces[2], "griddle_temp_c", "190"),
            "griddle_temp_c is '190' (piece 1A3): belongs to a load, not to a piece. "
            "Record it on each load.",
        ),
        (
            lambda t, m: t.record(m.bake, "rise_height_mm", 38),
            "rise_height_mm is 38 (bake 1): belongs to a piece, not to a bake. "
            "Record it on each piece.",
        ),
        (
            lambda t, m: t.record("1", "griddle_temp_c", 190),
            "load is '1': is not enough to find a load. "
            "Give the load itself, for example trial.load(1, bake='2').",
        ),
        (
            lambda t, m: t.record(m.pieces[0], "rise_height_mm", 38, how="guessed"),
            "how is 'guessed': must be one of planned, entered, photo, computed.",
        ),
        (
            lambda t, m: t.record(m.pieces[0], "rise_height_mm", 38, u=-0.5),
            "u is -0.5: must be above 0.",
        ),
        (
            lambda t, m: t.record(m.pieces[0], "rise_height_mm", 38, at="yesterday"),
            "at is 'yesterday': is not a point in time. Write 2026-11-26 07:30.",
        ),
        (lambda t, m: t.event("", on=m.bake), "kind is '': must not be empty."),
        (
            lambda t, m: t.event("burnt; dropped"),
            "kind is 'burnt; dropped': must not hold a semicolon. Note two events.",
        ),
    ],
)
def test_what_cannot_be_is_refused_and_leaves_nothing(ws, trial, made, call, message):
    before = len(ws.history())
    with pytest.raises(InputError) as caught:
        call(trial, made)
    assert str(caught.value) == message
    assert len(ws.history()) == before
    assert trial.readings().empty
    assert trial.events().empty


def test_an_unknown_quantity_lists_the_known(trial, made):
    with pytest.raises(NotFoundError, match=r"^no quantity 'hieght'\. There are: 'room_temp_c', "):
        trial.record(made.pieces[0], "hieght", 38)


def test_times_are_the_kitchens(ws):
    trial = ws.new_trial("berlin", zone="Europe/Berlin")
    bake = trial.add_bake("2026-07-02")
    trial.record(bake, "room_temp_c", 21, at="2026-07-02 07:30")
    trial.record(bake, "room_temp_c", 22, at=datetime(2026, 1, 2, 6, 30, tzinfo=UTC))
    trial.event("fridge open", on=bake, at="2026-01-02 07:30")
    shown = [str(at) for at in trial.readings()["at"]]
    assert shown == ["2026-07-02 07:30:00+02:00", "2026-01-02 07:30:00+01:00"]
    assert str(trial.events()["at"].iloc[0]) == "2026-01-02 07:30:00+01:00"


def test_events_stand_on_every_piece_they_touched(ws, trial, made):
    other = trial.add_piece(trial.add_dough(trial.add_bake("2026-12-03")))
    trial.event("fridge open", "two hours", on=made.bake)
    trial.event("burnt", on=made.pieces[0])
    trial.event("dropped", on=made.pieces[0])
    hot = trial.event("too hot", on=made.load)
    trial.event("new yeast", on=trial.dough("2A"))
    trial.event("holiday")  # the whole trial's: on no piece
    assert trial.frame()["events"].fillna("").tolist() == [
        "burnt; dropped; too hot; fridge open", "too hot; fridge open", "fridge open", "new yeast",
    ]  # fmt: skip
    told = trial.events()
    assert told["kind"].tolist() == [
        "fridge open", "burnt", "dropped", "too hot", "new yeast", "holiday",
    ]  # fmt: skip
    assert told["on"].tolist() == ["bake", "piece", "piece", "load", "dough", "trial"]
    assert told["code"].fillna("").tolist() == ["1", "1A1", "1A1", "1", "2A", ""]
    assert told["id"].tolist()[:4] == [made.bake.id, *[made.pieces[0].id] * 2, made.load.id]
    trial.remove(hot)
    assert trial.frame()["events"].fillna("").tolist()[1] == "fridge open"
    assert ws.undo() == "undone: malt: event 'too hot' on load 1 of bake 1 removed"
    assert other.code == "2A1"


@pytest.mark.parametrize("typed", ["0:00", "yesterday 21:15", "today 0:00", "2026-07-02 7:30"])
def test_a_time_is_read_as_a_stage_s_is(ws, typed):
    """What `stage` takes is taken for readings and events as well."""
    trial = ws.new_trial("berlin", zone="Europe/Berlin")
    bake = trial.add_bake("2026-07-02")
    trial.record(bake, "room_temp_c", 21, at=typed)
    trial.event("fridge open", on=bake, at=typed)
    (read,), (noted,) = trial.readings()["at"], trial.events()["at"]
    assert read == noted
    assert f"{read.hour}:{read:%M}" == typed.split()[-1]

"""Which bake is shown to a baker who opens a notebook on a day of a series that was planned."""

from datetime import UTC, date, datetime, timedelta

import pytest

from kit import Workspace, panels
from kit.panels.parts.today import day_said, todays_bake

THURSDAYS = [date(2026, 12, day) for day in (3, 10, 17, 24)]


@pytest.fixture
def ws(tmp_path):
    with Workspace(tmp_path / "bakes") as made:
        yield made


@pytest.fixture
def series(ws):
    trial = ws.new_trial("retard", factors={"retard_hours": [24, 48]}, outcome="rise_height_mm")
    return [trial.add_bake(day) for day in THURSDAYS]


@pytest.mark.parametrize(
    ("today", "meant"),
    [
        (date(2026, 11, 26), "1"),  # planned, nothing mixed yet
        (date(2026, 12, 1), "1"),  # dough that is chilled two days is mixed on Tuesday
        (date(2026, 12, 3), "1"),
        (date(2026, 12, 5), "1"),  # measured on the weekend
        (date(2026, 12, 8), "2"),
        (date(2027, 2, 1), "4"),
    ],
)
def test_the_bake_nearest_to_today(series, today, meant):
    assert todays_bake(series, today).code == meant


def test_of_two_as_near_the_one_to_come_and_of_one_day_the_newest(ws):
    trial = ws.new_trial("x", outcome="rise_height_mm")
    bakes = [trial.add_bake(day) for day in ("2026-12-01", "2026-12-05", "2026-12-05")]
    assert todays_bake(bakes, date(2026, 12, 3)) == bakes[2]
    assert todays_bake([]) is None


def test_record_and_rise_open_on_the_bake_under_way_not_on_the_last_planned(ws):
    trial = ws.new_trial("retard", factors={"retard_hours": [24, 48]}, outcome="rise_height_mm")
    for weeks in range(-1, 4):
        bake = trial.add_bake(date.today() + timedelta(weeks=weeks))
        for _ in range(2):
            trial.add_dough(bake)
    assert panels.record(ws).bake.label.startswith("bake 2 of")
    rise = panels.rise(ws)
    assert rise.chosen_dough.code == "2A"
    assert "5A" in rise.dough.options[0][0]  # the newest still stands first


def test_what_is_written_into_the_records_goes_to_the_trial_under_way(ws):
    """Not to the first there is, which is the invented one."""
    for name in ("harbour", "mine", "another"):
        trial = ws.new_trial(name, outcome="rise_height_mm", invented=name == "harbour")
        for _ in range(2):
            trial.add_dough(trial.add_bake(date.today()))
    ws.trial("mine").add_bake(date.today())
    for panel in (panels.record(ws), panels.rise(ws), panels.measure(ws), panels.bring(ws)):
        assert panel.trial.value == "mine"
    ws.undo()
    assert panels.measure(ws).trial.value == "another"


@pytest.mark.parametrize(
    ("typed", "zone", "meant"),
    [
        # 2026-12-03 10:30 UTC is the next day already on Kiritimati, UTC+14 (IANA's data base)
        ("today", "UTC", "2026-12-03"), (" Tomorrow", "UTC", "2026-12-04"),
        ("YESTERDAY", "UTC", "2026-12-02"), ("today", "Pacific/Kiritimati", "2026-12-04"),
        ("today", "Pacific/Pago_Pago", "2026-12-02"), ("3.12.2026", "UTC", "3.12.2026"),
        ("today 9:40", "UTC", "today 9:40"), ("", "UTC", ""),
    ],
)  # fmt: skip
def test_a_day_is_said_by_the_kitchen_s_clock(monkeypatch, typed, zone, meant):
    now = datetime(2026, 12, 3, 10, 30, tzinfo=UTC)

    class Clock:
        now = staticmethod(lambda clock: now.astimezone(clock))

    monkeypatch.setattr("kit.panels.parts.today.datetime", Clock)
    assert day_said(typed, zone) == meant

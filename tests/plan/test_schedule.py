"""Schedules: properties over random plans, clock changes, what does not fit, nonsense."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kit import words
from kit.errors import DataError, InputError, NotFoundError
from kit.plan.design import design
from kit.plan.factors import Factor
from kit.plan.kitchen import Kitchen
from kit.plan.schedule import Limits, schedule
from kit.plan.timetable.latest import lay_out
from kit.plan.timetable.search import Held, solve

BERLIN = "Europe/Berlin"


def plan(doughs=None, crossed=False, pieces=6, places=6, **more) -> pd.DataFrame:
    """Doughs with their retards, six pieces each; a load each, or all loads crossed."""
    doughs = {"A": 16, "B": 40, "C": 16} if doughs is None else doughs
    rows = [
        {"bake": 1, "dough": d, "piece": f"{d}{k + 1}", "retard_hours": hours, "side_minutes": 6}
        for d, hours in doughs.items()
        for k in range(pieces)
    ]
    if crossed:
        rows = [rows[i] for i in np.random.default_rng(1).permutation(len(rows))]
    for i, row in enumerate(rows):
        row |= {"load": i // places + 1, "place": i % places + 1}
    return pd.DataFrame(rows).assign(**more)


ASKED = {"table_time": "2026-11-05 09:00", "zone": BERLIN}


# --- properties over random plans -----------------------------------------------------------


@st.composite
def cases(draw):
    """A plan, a kitchen, a time: anything that can be asked."""
    doughs = draw(st.integers(1, 5))
    places = draw(st.integers(1, 8))
    rows = []
    for d in range(doughs):
        hours = draw(st.sampled_from([0, 0.5, 8, 12, 16, 17 + 1 / 3, 24, 40, 72]))
        proof = draw(st.sampled_from([None, None, 40, 95]))
        for k in range(draw(st.integers(1, 8))):
            side = draw(st.sampled_from([3, 5, 5.5, 7, 10]))
            ratio = draw(st.sampled_from([2, 2, 1.5, 2.4]))
            rows.append(
                {
                    "dough": "ABCDE"[d], "piece": f"{d}-{k}", "retard_hours": hours,
                    "side_minutes": side, "proof_minutes": proof, "proof_ratio": ratio,
                }
            )  # fmt: skip
    if draw(st.booleans()):
        rows = draw(st.permutations(rows))
    for i, row in enumerate(rows):
        row |= {"load": i // places + 1, "place": i % places + 1}
    hands = draw(st.integers(1, 3))
    limits = Limits(
        awake_from=draw(st.sampled_from(["06:00", "00:00", "07:30"])),
        awake_to=draw(st.sampled_from(["22:00", "23:30", "24:00"])),
        hands=hands,
        tubs=draw(st.integers(1, 6)),
        shelf_places=draw(st.integers(0, 6)),
        griddle_places=draw(st.sampled_from([places, 8])),
        griddle_hands=draw(st.integers(0, 1)),
        mix_minutes=draw(st.sampled_from([5, 20, 45.5])),
        rise_minutes=draw(st.sampled_from([0, 0, 45])),
        shape_minutes=draw(st.sampled_from([1, 10, 25])),
        changeover_minutes=draw(st.sampled_from([0, 4])),
        third_turn_minutes=draw(st.sampled_from([0, 3])),
        rest_minutes=draw(st.sampled_from([0, 30])),
        heat_minutes=draw(st.sampled_from([0, 15])),
    )
    zone = draw(st.sampled_from([BERLIN, "America/New_York", "Australia/Lord_Howe", "UTC"]))
    day = draw(st.sampled_from(["2026-03-29", "2026-10-25", "2026-06-02", "2026-11-01"]))
    hour, minute = draw(st.integers(4, 23)), draw(st.sampled_from([0, 17, 30]))
    room = draw(st.sampled_from([15.0, 22.0, 31.5]))
    return pd.DataFrame(rows), limits, zone, f"{day} {hour:02d}:{minute:02d}", room


def overlapping(spans):
    """The most spans at any one moment, by counting at each start."""
    return max((sum(a <= s < b for a, b in spans) for s, _ in spans), default=0)


def check_rules(s, runs, tolerance=timedelta()):
    """What holds for every schedule, whether it fits or not."""
    limits, table = s.limits, s.to_frame()
    pieces, doughs = s.pieces, s.doughs.set_index("dough")
    minute = pd.Timedelta(minutes=1)
    # nothing is lost, and no place holds two pieces
    assert not pieces.duplicated(["load", "place"]).any()
    for _, same in pieces.groupby("place"):
        spans = [(p.on, p.on + p.off_after_third_turn * minute) for p in same.itertuples()]
        assert overlapping(spans) <= 1
    # hands: everything that needs somebody, counted by itself
    one = table[table["what"].isin(["mix", "shape"])]
    busy = list(zip(one["start"], one["end"], strict=True))
    loads = table[table["what"] == "load"]
    busy += [(loads["start"].min(), loads["end"].max())] * limits.griddle_hands
    assert overlapping(busy) <= limits.hands
    for who, own in table[table["minutes"] > 0].groupby("who"):
        if who.startswith("person"):
            assert overlapping(list(zip(own["start"], own["end"], strict=True))) == 1, who
    # times in order, retards as planned, nothing on the griddle before it is proofed
    wanted = runs.groupby("dough")["retard_hours"].first()
    for name, d in doughs.iterrows():
        assert d["mix"] < d["cold"] <= d["take_out"] < d["shaped"] <= d["first_load"]
        assert (d["cold"] - d["mix"]) >= limits.mix_minutes * minute
        really = timedelta(hours=d["retard_hours"])
        real = d["take_out"].astimezone(UTC) - d["cold"].astimezone(UTC)
        assert abs(real - really) < timedelta(seconds=1)
        assert abs(really - timedelta(hours=float(wanted[name]))) <= tolerance + timedelta(
            seconds=30
        )
    assert (pieces["waited_minutes"] >= 0).all()
    first = pieces.groupby("dough")["on"].min()
    for name, d in doughs.iterrows():
        assert d["ready"] <= first[name] == d["first_load"]
        if s.proof is not None:
            assert d["shaped"] <= d["ready_early"] <= d["ready"] <= d["ready_late"]
    # loads in plan order, one after the other, as long as their longest piece
    assert list(loads["load"]) == [load.name for load in s.bake.loads]
    assert [float(n) for n in loads["load"]] == sorted(float(n) for n in loads["load"])
    gaps = loads["start"].iloc[1:].to_numpy() - loads["end"].iloc[:-1].to_numpy()
    assert (gaps >= np.timedelta64(int(limits.changeover_minutes), "m")).all()
    longest = pieces.groupby("load", sort=False)["off_after_third_turn"].max()
    assert (longest.to_numpy() <= loads["minutes"].to_numpy()).all()
    assert (loads["minutes"].to_numpy() < longest.to_numpy() + 1).all()
    rested = loads["end"].max() + limits.rest_minutes * minute
    assert pd.Timestamp(s.table_time) == rested == table["end"].max()
    assert table["start"].is_monotonic_increasing
    # what does not fit is said
    told = " ".join(s.misses)
    start, end = limits.awake
    hands_on = table[table["hands_on"]]
    awake = all(inside(a, b, start, end) for a, b in zip(hands_on["start"], hands_on["end"],
                                                         strict=True))  # fmt: skip
    assert awake == ("is not within" not in told)
    shaping = table[table["what"] == "shape"].groupby("dough")  # in parts where proofs differ
    tubs = overlapping(list(zip(doughs["mix"], shaping["end"].max()[doughs.index], strict=True)))
    assert (tubs > limits.tubs) == ("doughs stand at once" in told)
    chilled = doughs[doughs["cold"] < doughs["take_out"]]
    left = shaping["start"].max()[chilled.index]
    cold = overlapping(list(zip(chilled["cold"], left, strict=True)))
    assert (cold > limits.shelf_places) == ("in the refrigerator at once" in told)
    wait = pieces["waited_minutes"].max()
    assert (wait > limits.wait_minutes) == ("stand ready for" in told)
    over = (pieces["place"] > limits.griddle_places).any()
    assert over == ("on a griddle of" in told)
    assert s.fits == (told == "")


def inside(a, b, start, end):
    """Whether both ends lie between two times of the local clock of one day; 24:00 is its end."""
    if (start, end) == (0, 1440):
        return True
    midnight = a.normalize().tz_localize(None)
    for day in (midnight, midnight - pd.Timedelta(days=1)):
        since = [(t.tz_localize(None) - day).total_seconds() / 60 for t in (a, b)]
        if start <= since[0] and since[1] <= end:
            return True
    return False


@settings(max_examples=120)
@given(cases())
def test_rules_hold_for_random_plans(case):
    runs, limits, zone, table_time, room = case
    s = schedule(runs, table_time=table_time, zone=zone, limits=limits, room_temp_c=room)
    check_rules(s, runs)


@settings(max_examples=60)
@given(cases())
def test_offers_fit_and_change_no_more_than_they_say(case):
    runs, limits, zone, table_time, room = case
    s = schedule(runs, table_time=table_time, zone=zone, limits=limits, room_temp_c=room)
    check_offers(s, runs)


def check_offers(s, runs):
    assert (s.nearest is s) == s.fits
    for offer in s.offers:
        assert offer.fits, offer
        tolerance = timedelta(hours=s.limits.retard_tolerance_hours)
        check_rules(offer, runs, tolerance)
        moved = offer.table_time.astimezone(UTC) != s.table_time.astimezone(UTC)
        assert moved == ("later" in offer.change or "on the table" in offer.change)
        fewer = len(offer.bake.doughs) < len(s.bake.doughs)
        assert fewer == ("leave out" in offer.change)
        changed = any(
            offer.times.doughs[d.name].retard_minutes != d.retard_minutes for d in offer.bake.doughs
        )
        assert changed == ("chilled for" in offer.change)


@settings(max_examples=40)
@given(cases())
def test_forward_and_backward_agree(case):
    runs, limits, zone, table_time, room = case
    given = {"runs": runs, "zone": zone, "limits": limits, "room_temp_c": room}
    back = schedule(table_time=table_time, **given)
    forth = schedule(mix_time=back.mix_time, **given)
    assert forth.times == back.times
    assert forth.misses == back.misses


@pytest.mark.long
@settings(max_examples=3000)
@given(cases())
def test_rules_hold_for_thousands_of_random_plans(case):
    runs, limits, zone, table_time, room = case
    s = schedule(runs, table_time=table_time, zone=zone, limits=limits, room_temp_c=room)
    check_rules(s, runs)
    check_offers(s, runs)


# --- by hand --------------------------------------------------------------------------------


def test_a_plan_reckoned_by_hand():
    """Three loads of 12 + 3 min and two changeovers of 4 end 30 min before 10:00.

    Loads on at 8:37, 8:56 and 9:15; two hours before that and ten minutes of shaping: out at
    6:27, 6:46 and 7:05; mixed 20 min before 16, 40 and 16 h.
    """
    s = schedule(plan(), table_time="2026-11-05 10:00", zone=BERLIN)
    assert s.fits
    clock = {c: [f"{t:%a %H:%M}" for t in s.doughs[c]] for c in ("mix", "take_out", "first_load")}
    assert clock == {
        "mix": ["Wed 14:07", "Tue 14:26", "Wed 14:45"],
        "take_out": ["Thu 06:27", "Thu 06:46", "Thu 07:05"],
        "first_load": ["Thu 08:37", "Thu 08:56", "Thu 09:15"],
    }
    assert list(s.loads["minutes"]) == [15, 15, 15]
    assert list(s.loads["waited_minutes"]) == [0, 0, 0]


def test_as_a_baker_asks():
    s = schedule(plan(), **ASKED)
    assert s.misses == (
        "taking out dough A at 05:27 to 05:37 on Thursday 5 November is not within 06:00 to 22:00",
        "taking out dough B at 05:46 to 05:56 on Thursday 5 November is not within 06:00 to 22:00",
    )
    assert [o.change for o in s.offers] == [
        "on the table at 09:45 on Thursday 5 November, 45 min later"
    ]
    assert s.nearest_words == (
        "Nearest that fits: on the table at 09:45 on Thursday 5 November, 45 min later."
    )
    assert s.nearest.nearest_words == ""
    assert repr(s.nearest) == (
        "<Schedule 3 doughs, 18 pieces, 3 loads: 14:11 on Tuesday 3 November to 09:45 on "
        "Thursday 5 November, fits: on the table at 09:45 on Thursday 5 November, 45 min later>"
    )
    assert repr(s.offers[0]).endswith(f": {s.offers[0].change}>")


def test_read_out():
    s = schedule(plan({"A": 16}), **ASKED, limits=Limits(awake_from="05:00"))
    assert str(s).splitlines()[:8] == [
        "Bake 1: 1 dough, 6 pieces and 1 load, on the table at 09:00 on Thursday 5 November "
        "(Europe/Berlin).",
        "Wednesday 4 November:",
        "  13:45  mix dough A (20 min), then into the refrigerator for 16 h",
        "Thursday 5 November:",
        "  06:05  take dough A out and shape 6 pieces (10 min)",
        "  08:00  heat the griddle (15 min)",
        "  08:15  load 1 on, 6 pieces of dough A: turned after 6 min, off after 12 (3 more for a "
        "third turn where it sounds dense)",
        "  09:00  on the table",
    ]
    assert str(s).splitlines()[8:] == [f"Note: {n}." for n in s.notes]
    page = schedule(plan({"<b>": 16}), **ASKED)._repr_html_()
    assert "&lt;b&gt;" in page
    assert "<b>" not in page
    assert "<td>09:00</td><td>on the table</td>" in page


def test_pieces_of_a_load_come_off_at_their_own_time():
    runs = plan({"A": 16}, side_minutes=[5, 7, 5, 7, 5, 7])
    s = schedule(runs, **ASKED)
    assert list(s.pieces["off_after"]) == [10, 14, 10, 14, 10, 14]
    assert list(s.pieces["turn_after"]) == [5, 7, 5, 7, 5, 7]
    load = s.to_frame().query("what == 'load'").iloc[0]
    assert load["minutes"] == 17
    assert load["text"] == (
        "load 1 on, 6 pieces of dough A: places 1, 3 and 5 turned after 5 min, off after 10; "
        "places 2, 4 and 6 turned after 7 min, off after 14 (3 more for a third turn where it "
        "sounds dense)"
    )
    assert s.notes[-1] == (
        "load 1: pieces with a shorter side time come off earlier than the others of their load, "
        "which lasts as long as its longest piece"
    )


def test_waiting_is_written_down():
    """Two loads of one dough: the second waits for the first and the changeover, 19 min."""
    s = schedule(plan({"A": 16}, pieces=12), table_time="2026-11-05 10:00", zone=BERLIN)
    assert list(s.loads["waited_minutes"]) == [0, 19]
    assert s.fits
    assert s.notes[-1] == (
        "pieces that stand ready keep rising, for 19 min before load 2, at the most to a proof "
        "ratio of about 2.1 instead of 2. Write down when each load goes on"
    )
    wait = s.to_frame().query("what == 'wait'")
    assert list(wait["minutes"]) == [19]
    short = schedule(
        plan({"A": 16}, pieces=12),
        table_time="2026-11-05 10:00",
        zone=BERLIN,
        limits=Limits(wait_minutes=15),
    )
    assert short.misses == ("pieces of load 2 stand ready for 19 min, longer than 15 min",)
    assert short.nearest is None
    assert short.nearest_words == (
        "No plan near this one fits. More hands, tubs or shelf places, a longer day or fewer "
        "doughs would help."
    )


def test_how_far_waiting_pieces_of_each_proof_get_is_told():
    """All hands at the griddle: what is to be shaped an hour before load 8 is shaped 76 min early.

    That hour begins 133 - 60 min after load 1 goes on. A dough doubles in 120 min: 1.5 at 60. What
    proofs for two hours for load 4 is to be shaped 120 - 57 min before load 1, three minutes before
    what proofs for an hour for load 1: the two are one shaping, and the latter waits three minutes.
    """
    waits, uneven = {}, {}
    for pieces, hands in ((12, 1), (48, 1), (48, 2)):
        runs = plan({"A": 16}, pieces=pieces, proof_ratio=[1.5, 2.0] * (pieces // 2))
        asked = {"table_time": "2026-11-05 12:00", "zone": BERLIN}
        s = schedule(runs, **asked, limits=Limits(hands=hands))
        waits[pieces, hands] = int(s.pieces["waited_minutes"].max())
        # no setting waits longer than the other: the hour between them holds in every load
        apart = s.pieces.groupby("load")["waited_minutes"].agg(np.ptp)
        uneven[pieces, hands] = int(apart.max())
        told = [note for note in s.notes if "keep rising" in note]
        assert len(told) == (waits[pieces, hands] > 0)
        joined = [note for note in s.notes if "are shaped together, at the earlier moment" in note]
        assert len(joined) == (uneven[pieces, hands] > 0)
        for note in told if waits[pieces, hands] == 76 else ():
            assert (
                "those for a proof ratio of 1.5 reach about 1.5 to 2.1 and those for a proof ratio "
                "of 2.0 reach about 2.0 to 2.6, so that what was to differ overlaps: fewer pieces "
                "or more places on the griddle keep it apart"
            ) in note
    assert waits == {(12, 1): 0, (48, 1): 76, (48, 2): 3}
    assert uneven == {(12, 1): 0, (48, 1): 3, (48, 2): 3}


def test_short_hands_take_doughs_out_earlier():
    """All are wanted at 5:27. One pair of hands shapes C, A and B in turn, as they are mixed.

    B is last, A shaped ten minutes before it, and C (16 h, like A) could not be mixed in the 20
    minutes before A's mixing unless it is taken out 20 minutes before A.
    """
    one, two = (
        schedule(plan(crossed=True), **ASKED, limits=Limits(hands=n, awake_from="04:00"))
        for n in (1, 3)
    )
    out = {d.dough: f"{d.take_out:%H:%M}" for d in one.doughs.itertuples()}
    assert out == {"C": "04:57", "A": "05:17", "B": "05:27"}
    assert set(f"{t:%H:%M}" for t in two.doughs["take_out"]) == {"05:27"}
    assert list(one.loads["waited_minutes"]) == [30, 49, 68]
    assert list(two.loads["waited_minutes"]) == [0, 19, 38]
    assert one.notes[-1] == (
        "doughs do not stand ready alike before load 1 (dough C 30 min, dough A 10 min and dough B "
        "0 min), so that proof differs with the dough: hands or waking hours are short to shape "
        "them all right before it, and a reading of the proof ratio shows it"
    )
    assert not any("alike" in note for note in two.notes)
    # B's first pieces are in load 1, so its others wait for load 2 however many hands there are
    rows = plan({"A": 16, "B": 16, "C": 16}, pieces=4).drop(columns=["load", "place"])
    three = schedule(rows, **ASKED, limits=Limits(hands=3))
    assert three.notes[-1] == (
        "doughs do not stand ready alike before load 2 (dough B 19 min and dough C 0 min), so that "
        "proof differs with the dough: it comes from doughs that have pieces in earlier loads, "
        "too; loads that share all doughs alike even it out, and a reading of the proof ratio "
        "shows it"
    )
    assert set(two.to_frame().query("what == 'shape'")["who"]) == {
        "person 1", "person 2", "person 3",
    }  # fmt: skip


def test_capacities():
    limits = Limits(tubs=2, shelf_places=1, griddle_places=4, awake_from="05:00")
    s = schedule(plan(), **ASKED, limits=limits)
    assert s.misses == (
        "3 doughs stand at once, for 2 tubs",
        "3 doughs are in the refrigerator at once, for 1 shelf place",
        "load 1 has 6 pieces, on a griddle of 4 places",
        "load 2 has 6 pieces, on a griddle of 4 places",
        "load 3 has 6 pieces, on a griddle of 4 places",
    )
    assert s.nearest.fits
    assert s.offers[0].change == "leave out doughs B and C and the pieces in 2 loads of up to 4"
    gap = schedule(plan({"A": 16}, pieces=2, place=[1, 7]), **ASKED)
    assert "load 1 has a piece at place 7, on a griddle of 6 places" in gap.misses
    assert gap.nearest.pieces["place"].tolist() == [1, 2]


def test_a_load_that_is_full_may_still_have_a_place_too_many():
    six = schedule(plan({"A": 16}, place=[1, 2, 3, 4, 5, 7]), **ASKED)
    assert "load 1 has a piece at place 7, on a griddle of 6 places" in six.misses


def test_work_may_last_until_bedtime():
    s = schedule(plan({"A": 12}), table_time="2026-11-05 12:55", zone=BERLIN)
    assert f"{s.doughs.loc[0, 'cold']:%H:%M}" == "22:00"
    assert s.fits


def test_who_does_it_and_what_it_is_of():
    """One pair of hands keeps the griddle; steps of several doughs, or loads, name none."""
    two = Limits(hands=3, griddle_hands=2, awake_from="04:00")
    crossed = schedule(plan(crossed=True), **ASKED, limits=two).to_frame()
    griddle = crossed[crossed["what"].isin(["load", "changeover"])]
    assert griddle["what"].tolist() == ["load", "changeover", "load", "changeover", "load"]
    assert set(griddle["who"]) == {"person 1 and person 2"}
    assert set(griddle["dough"]) == {""}
    assert griddle["load"].tolist() == ["1", "", "2", "", "3"]
    waits = crossed[crossed["what"] == "wait"]
    assert set(waits["load"]) == {"2", "3"}
    assert not waits["hands_on"].any()
    assert set(crossed.loc[crossed["what"] == "proof", "load"]) == {""}
    free = schedule(plan({"A": 16, "B": 16}), **ASKED, limits=Limits(griddle_hands=0)).to_frame()
    griddle = free[free["what"].isin(["load", "changeover"])]
    assert set(griddle["who"]) == {"anyone"}
    assert griddle["dough"].tolist() == ["A", "", "B"]
    assert free.loc[free["what"] == "proof", "load"].tolist() == ["1", "2"]


def test_doughs_a_quarter_of_an_hour_apart_are_told_of():
    """One pair of hands shapes in so many minutes, so the doughs stand ready so far apart."""
    rows = plan({"A": 16, "B": 16}, pieces=3, load=1, place=range(1, 7))
    for minutes in (14, 15):
        limits = Limits(shape_minutes=minutes, mix_minutes=minutes)
        s = schedule(rows, **ASKED, limits=limits)
        assert sorted(s.pieces["waited_minutes"].unique()) == [0, minutes]
        assert any("do not stand ready alike" in n for n in s.notes) == (minutes == 15)


def test_another_order_of_mixing_than_drawn_is_told():
    told = (
        "drawn to be mixed B, A, these doughs are mixed A, B, as their loads and the hours ask "
        "for: write down the order as it was"
    )
    runs = plan({"A": 16, "B": 16})  # load 1 is all of A, load 2 all of B
    assert told in schedule(runs.assign(order=[2] * 6 + [1] * 6), **ASKED).notes
    for kept in (runs, runs.assign(order=[1] * 6 + [2] * 6)):
        assert not [n for n in schedule(kept, **ASKED).notes if "drawn" in n]
    longer = plan({"A": 40, "B": 16}).assign(order=[2] * 6 + [1] * 6)
    assert not [n for n in schedule(longer, **ASKED).notes if "drawn" in n]  # no choice there


def test_retards_are_moved_rather_than_the_order_that_was_drawn():
    """Mixing takes twenty minutes, shaping ten: what is mixed first is chilled the longest."""
    runs = plan(dict.fromkeys("ABCD", 24), crossed=True).assign(side_minutes=5)
    s = schedule(runs.assign(order=runs["dough"].map({"C": 1, "A": 2, "D": 3, "B": 4})),
                 table_time="2026-11-05 12:00", zone=BERLIN)  # fmt: skip
    assert s.misses == ("pieces of load 4 stand ready for 1 h 51 min, longer than 1 h 30 min",)
    fitted = s.fitted()
    assert fitted.fits
    mixed = fitted.doughs.sort_values("mix")["dough"].tolist()
    assert mixed == ["C", "A", "D", "B"]
    retards = fitted.doughs.set_index("dough")["retard_hours"] - 24
    assert retards[mixed].tolist() == pytest.approx([1 / 2, 1 / 3, 1 / 6, 0])
    assert not [n for n in fitted.notes if "drawn" in n]


def test_a_retard_is_moved_within_the_tolerance():
    """Mixed at 21:47 to 22:07 for a bedtime at 22:00: ten minutes longer in the cold."""
    s = schedule(plan({"A": 12}), table_time="2026-11-05 13:02", zone=BERLIN)
    assert s.misses == (
        "mixing dough A at 21:47 to 22:07 on Wednesday 4 November is not within 06:00 to 22:00",
    )
    assert s.offers[0].change == "dough A taken out 10 min earlier, to wait ready"
    strict = schedule(
        plan({"A": 12}),
        table_time="2026-11-05 13:02",
        zone=BERLIN,
        limits=Limits(wait_minutes=0),
    )
    assert [o.change for o in strict.offers] == [
        "dough A chilled for 12 h 10 min instead of 12 h",
        "on the table at 12:47 on Thursday 5 November, 15 min earlier",
    ]
    assert strict.nearest.notes[0] == (
        "changed so that it fits: dough A chilled for 12 h 10 min instead of 12 h; record how long "
        "each retard really was"
    )
    told = [note for note in strict.fitted().notes if "12 h 10 min" in note]
    assert told == [
        "changed so that it fits: dough A chilled for 12 h 10 min instead of 12 h; record how long "
        "each retard really was"
    ]
    none = schedule(
        plan({"A": 12}),
        table_time="2026-11-05 13:02",
        zone=BERLIN,
        limits=Limits(wait_minutes=0, retard_tolerance_hours=0),
    )
    assert len(none.offers) == 1


def test_from_the_mixing_on():
    s = schedule(plan({"A": 16}), mix_time="2026-11-04 15:00", zone=BERLIN)
    assert f"{s.table_time:%Y-%m-%d %H:%M}" == "2026-11-05 10:15"
    late = schedule(plan({"A": 16}), mix_time="2026-11-04 12:00", zone=BERLIN)
    assert [o.change for o in late.offers] == [
        "start mixing at 13:45 on Wednesday 4 November, everything 1 h 45 min later",
    ] or not late.fits


def test_between_mixing_and_table():
    s = schedule(plan(), **ASKED, mix_time="2026-11-03 16:00")
    assert s.misses[-1] == (
        "dough B would have to be mixed at 13:26 on Tuesday 3 November, before 16:00 on Tuesday "
        "3 November"
    )
    assert s.nearest.fits
    assert s.nearest.mix_time >= datetime(2026, 11, 3, 16, tzinfo=ZoneInfo(BERLIN))


def test_planned_order_of_mixing_and_other_columns():
    runs = plan({"A": 16, "B": 16}, crossed=True)
    runs["order"] = runs["dough"].map({"A": 2, "B": 1})
    runs["code"] = range(100, 112)
    s = schedule(runs, **ASKED)
    assert list(s.doughs["dough"]) == ["B", "A"]
    assert s.doughs["mix"].is_monotonic_increasing
    assert set(s.pieces["blind"]) == {str(n) for n in range(100, 112)}


def test_proof_from_ratio_temperature_and_measured_times():
    half = schedule(plan({"A": 16}, proof_ratio=1.5), **ASKED)
    assert set(half.pieces["proof_minutes"]) == {60}
    warm = schedule(plan({"A": 16}, proof_temp_c=32.0), **ASKED)
    assert set(warm.pieces["proof_minutes"]) == {55}
    own = schedule(plan({"A": 16}), **ASKED, measured=[(22, 150), (22, 160)])
    assert set(own.pieces["proof_minutes"]) == {155}
    given = schedule(plan({"A": 16}, proof_minutes=70), **ASKED, room_temp_c=5)
    assert set(given.pieces["proof_minutes"]) == {70}
    assert given.proof is None
    assert not any("warm proof rests" in note for note in given.notes)


def test_pieces_that_proof_for_less_are_shaped_later():
    """On at 8:15: double by 6:15, one and a half times (an hour) by 7:15, in half the time."""
    s = schedule(plan({"A": 16}, proof_ratio=[1.5, 2.0] * 3), **ASKED)
    assert set(s.pieces["waited_minutes"]) == {0}
    shaping = s.to_frame().query("what == 'shape'")
    hours = [f"{moment:%H:%M}" for moment in [*shaping["start"], *shaping["end"]]]
    # half of eight minutes, and two to take it out and put the rest back
    assert hours == ["06:09", "07:09", "06:15", "07:15"]
    assert shaping["text"].tolist() == [
        "take dough A out and shape A2, A4 and A6 (6 min), to proof for 2 h; the rest of it back "
        "into the cold",
        "shape A1, A3 and A5 of dough A (6 min), to proof for 1 h",
    ]
    proofs = s.to_frame().query("what == 'proof'")
    assert proofs["minutes"].tolist() == [120, 60]
    assert len(set(proofs["end"])) == 1
    assert s.doughs.loc[0, "ready"] == s.doughs.loc[0, "first_load"]
    assert s.fits
    assert (
        "pieces shaped later, for a later load or a shorter proof, stand cold for longer than "
        "their dough's retard, dough A by up to 1 h. That is little beside a day in "
        "the cold, much beside a few hours; what the shorter proof does cannot be told from it"
    ) in s.notes
    alike = schedule(plan({"A": 16}), **ASKED)
    assert not any("stand cold for longer" in note for note in alike.notes)
    # the tub and its place in the cold are free only with the last of it
    both = plan({"A": 16, "B": 1}, proof_ratio=([1.5, 2.0] * 3) * 2, load=1, place=range(1, 13))
    short = schedule(both, **ASKED, limits=Limits(hands=2, shelf_places=1, griddle_places=12))
    assert "2 doughs are in the refrigerator at once, for 1 shelf place" in short.misses
    # B is mixed between A's two shapings, with only one tub
    minutes = [120, 120, 120, 30, 30, 30, 60, 60, 60]
    rows = pd.DataFrame(
        {"dough": ["A"] * 6 + ["B"] * 3, "retard_hours": [16] * 6 + [0] * 3, "side_minutes": 6,
         "load": [1] * 6 + [2] * 3, "proof_minutes": minutes}
    )  # fmt: skip
    one = schedule(rows, **ASKED, limits=Limits(hands=2, tubs=1))
    tubs = one.doughs.set_index("dough")
    assert tubs.loc["A", "shaped"] < tubs.loc["B", "mix"]
    assert "2 doughs stand at once, for 1 tub" in one.misses


def test_three_proofs_of_one_dough_are_shaped_in_turn():
    rows = plan({"A": 16}, pieces=12, load=1, place=range(1, 13)).assign(
        piece=[f"A{n}" for n in range(1, 13)], proof_minutes=[120, 60, 30] * 4
    )
    s = schedule(rows, **ASKED, limits=Limits(griddle_places=12))
    assert s.to_frame().query("what == 'shape'")["text"].tolist() == [
        "take dough A out and shape A1, A4, A7 and A10 (5 min), to proof for 2 h; the rest of it "
        "back into the cold",
        "shape A2, A5, A8 and A11 of dough A (5 min), to proof for 1 h; the rest of it back into "
        "the cold",
        "shape A3, A6, A9 and A12 of dough A (5 min), to proof for 30 min",
    ]
    night = schedule(rows, zone=BERLIN, table_time="2026-11-05 07:00",
                     limits=Limits(griddle_places=12, awake_from="05:00"))  # fmt: skip
    assert [miss.split(" at ")[0] for miss in night.misses] == ["taking out dough A"]
    early = schedule(rows, zone=BERLIN, table_time="2026-11-05 06:00",
                     limits=Limits(griddle_places=12, awake_from="05:00"))  # fmt: skip
    assert [miss.split(" at ")[0] for miss in early.misses[:3]] == [
        "taking out dough A", "shaping dough A", "shaping dough A",
    ]  # fmt: skip


def test_proofs_close_together_are_shaped_together_and_told():
    """Two of six take 2 + 8/3 minutes, four 2 + 16/3: five and eight."""
    s = schedule(plan({"A": 16}, proof_minutes=[120, 120, 60, 60, 60, 58]), **ASKED)
    shapings = s.to_frame().query("what == 'shape'")
    assert shapings["text"].tolist() == [
        "take dough A out and shape A1 and A2 (5 min), to proof for 2 h; the rest of it back into "
        "the cold",
        "shape A3, A4, A5 and A6 of dough A (8 min), to proof for 58 min (A6) and 1 h (A3, "
        "A4 and A5)",
    ]
    # at the earlier moment: the last of them waits, and less than five minutes are no difference
    assert s.pieces["waited_minutes"].tolist() == [0, 0, 0, 0, 0, 2]
    assert s.fits
    assert (
        "some pieces of dough A would be shaped too soon after one another to put the dough back "
        "into the cold: they are shaped together, at the earlier moment, and those that could have "
        "been shaped later wait ready for it"
    ) in s.notes


def test_proofs_that_cannot_be_shaped_apart_do_not_fit():
    # fifteen minutes apart, six of them at work and nine in the cold
    just = schedule(plan({"A": 16}, proof_minutes=[105] * 3 + [120] * 3), **ASKED)
    assert set(just.pieces["waited_minutes"]) == {0}
    assert just.fits
    # five minutes apart: with the others
    near = schedule(plan({"A": 16}, proof_minutes=[115] * 4 + [120] * 2), **ASKED)
    assert set(near.pieces["waited_minutes"]) == {0, 5}
    assert near.misses == (
        "pieces of dough A are to proof for 1 h 55 min and 2 h, but their turns come too soon "
        "after one another: those of one load proof alike, so that this is not varied. Set them "
        "further apart, or change proof from dough to dough",
    )
    assert near.nearest_words == "No other hours would change that."


def test_how_often_doughs_are_taken_out_is_told_and_what_is_between():
    """Ten pieces of five doughs on seven places, one to four of a load and proof."""
    runs = design([Factor("proof_ratio", (1.6, 2, 2.4))], Kitchen(1, 5, 10, 7), seed=3).runs
    limits = Limits(hands=2, tubs=6, shelf_places=6, griddle_places=7)
    s = schedule(runs, table_time="2026-12-03 18:00", zone=BERLIN, retard_hours=24, limits=limits)
    shapings = s.to_frame().query("what == 'shape'").sort_values("start")
    for _, own in shapings.groupby("dough"):
        between = own["start"].diff().dropna() / pd.Timedelta(minutes=1)
        assert between.min() >= 10
        assert (between - own["minutes"].shift().dropna()).min() >= 4
    assert shapings["minutes"].min() >= 3
    often = shapings.groupby("dough").size()
    each = words.join(f"{dough} {n} times" for dough, n in often.items())
    assert any(
        f"doughs are taken out {len(shapings)} times to shape a part of them ({each}): " in n
        for n in s.notes
    )
    assert not any("are taken out" in n for n in schedule(plan(crossed=True), **ASKED).notes)


def test_a_dough_that_is_not_chilled_is_shaped_at_once():
    warm = schedule(
        plan({"A": 0}, proof_ratio=[1.5, 2.0] * 3), table_time="2026-11-05 12:00", zone=BERLIN
    )
    assert sorted(set(warm.pieces["waited_minutes"])) == [0, 60]
    assert warm.misses == (
        "pieces of dough A are to proof for 1 h and 2 h, but a dough that is not chilled is shaped "
        "all at once: those of one load proof alike, so that this is not varied. Chill it some "
        "hours, or change proof from dough to dough",
    )
    assert warm.nearest_words == "No other hours would change that."
    assert warm.fitted() is warm


def test_where_proof_is_varied_each_dough_is_shaped_shortly_before_its_load():
    """Loads are 19 min apart: pieces of a dough over four of them waited up to 1 h 27."""
    asked = {"table_time": "2026-12-03 12:00", "zone": BERLIN, "retard_hours": 16}
    ratio, kitchen = Factor("proof_ratio", (1.5, 2)), Kitchen(bakes=2, tubs=4)
    runs = design([ratio], kitchen).runs
    assert (runs.groupby(["bake", "load"])["dough"].nunique() == 1).all()
    s = schedule(runs[runs["bake"] == 1], **asked)
    assert s.fits
    assert s.pieces["waited_minutes"].max() <= 10
    assert len(s.to_frame().query("what == 'shape'")) == 8
    # what differs from dough to dough must not be taken for the load: shared, shaped load by load
    malt = Factor("malt_percent", (0, 0.6))
    runs = design([malt, ratio], kitchen).runs
    assert (runs.groupby(["bake", "load"])["dough"].nunique() == 4).all()
    s = schedule(runs[runs["bake"] == 1], **asked)
    # four doughs of 20 min to mix cannot all be taken out right before their loads: the first
    # waits, its pieces of one load alike, those of each proof as long as those of the others
    assert s.pieces["waited_minutes"].max() <= 50  # 58 where all of a dough waited alike
    waits = s.pieces.groupby(["dough", "load"])["waited_minutes"]
    assert waits.agg(np.ptp).max() <= 3
    assert waits.mean().groupby("dough").agg(np.ptp).max() <= 16
    for cell in (["dough", "load"], ["load"]):
        proofs = s.pieces.pivot_table("waited_minutes", cell, "proof_minutes").dropna()
        assert abs((proofs[120] - proofs[60]).mean()) <= 2
    assert any("load 1 (dough 1A 46 min to 49 min, dough 1B 22 min" in n and "short" in n
               for n in s.notes)  # fmt: skip
    # eight of a dough do not fill a griddle of six: that would be eight loads, not six
    odd = design([ratio], Kitchen(bakes=2, tubs=4, pieces_per_dough=8)).runs
    assert (odd.groupby(["bake", "load"])["dough"].nunique() > 1).all()


def test_where_proof_is_varied_nothing_is_taken_out_early_to_wait():
    """To wait ready for an hour would make 1.5 times and double into 2.2 and 2.7 times."""
    night = Limits(awake_from="22:00", awake_to="06:00")
    rows = plan({"A": 16, "B": 16}, proof_ratio=[1.5, 2.0] * 6)
    asked = {"table_time": "2026-11-05 05:30", "zone": BERLIN, "limits": night}
    fitted = schedule(rows, **asked).fitted()
    assert fitted.fits
    assert "taken out" not in fitted.change
    assert fitted.pieces["waited_minutes"].max() < 15
    alike = schedule(rows.drop(columns="proof_ratio"), **asked).fitted()
    assert "taken out" in alike.change


def test_how_hot_the_griddle_is_to_be_stands_in_the_times():
    rows = plan({"A": 16}, pieces=18)
    rows["griddle_temp_c"] = rows["load"].map({1: 170, 2: 190, 3: 180})
    s = schedule(rows, **ASKED)
    told = s.to_frame().query("what in ('heat', 'load', 'changeover')")["text"]
    assert [text.split(", ")[0] for text in told] == [
        "heat the griddle to 170 °C (15 min)", "load 1 on at 170 °C",
        "wipe the griddle and let it come to 190 °C", "load 2 on at 190 °C",
        "wipe the griddle and let it come to 180 °C", "load 3 on at 180 °C",
    ]  # fmt: skip
    assert (
        "load 3 is to be 10 °C cooler than load 2 before it, and a griddle cools slowly: where 4 "
        "min are too short, leave more between loads (changeover_minutes), and go by the "
        "thermometer"
    ) in s.notes
    falls = rows.assign(griddle_temp_c=rows["load"].astype(int).map({1: 190, 2: 180, 3: 150}))
    assert [n.split(" before it")[0] for n in schedule(falls, **ASKED).notes if "cooler" in n] == [
        "load 2 is to be 10 °C cooler than load 1 and load 3 is to be 30 °C cooler than load 2"
    ]
    # what does not fit is filled anew with pieces that are to be baked alike
    small = schedule(rows, **ASKED, limits=Limits(griddle_places=4, wait_minutes=120)).offers[0]
    assert [(load.griddle_temp_c, len(load.pieces)) for load in small.bake.loads] == [
        (170, 4), (170, 2), (190, 4), (190, 2), (180, 4), (180, 2),
    ]  # fmt: skip
    rows.loc[0, "griddle_temp_c"] = 190
    with pytest.raises(DataError) as told:
        schedule(rows, **ASKED)
    assert str(told.value) == (
        "load 1 has two griddle temperatures: all of a load lie on one griddle. Make them two "
        "loads."
    )


def test_more_than_four_warm_hours_are_told():
    """Mixing 20, rise 61, shaping 10, proof 120, two loads later 38 minutes: 4 h 9 min."""
    asked = {"table_time": "2026-11-05 10:30", "zone": BERLIN}
    long = [s for s in schedule(
        plan({"A": 16}, pieces=18), **asked, limits=Limits(rise_minutes=61)
    ).notes if "stand warm" in s]  # fmt: skip
    assert long == [
        "mixing, rise, proof and wait together, pieces stand warm for up to 4 h 9 min (dough A): "
        "with milk or egg in the dough one widely adopted code allows four hours. Ask your food "
        "authority whether it holds here"
    ]
    for rise, hours in ((52, 16), (91, 0)):  # four hours are not more than four
        s = schedule(plan({"A": hours}, pieces=18), **asked, limits=Limits(rise_minutes=rise))
        assert any("stand warm" in note for note in s.notes) == (hours == 0)


def test_what_ends_at_bedtime_still_fits():
    s = schedule(plan({"A": 0}), **ASKED)
    layout, t = lay_out(s.bake, s.limits), s.times
    day = Held([(t.start, t.table)], tolerance=0, wait=90, not_before=None)
    assert solve(layout, t.table, day) == t
    assert solve(layout, t.table, replace(day, awake=[(t.start, t.table - 1)])) is None
    assert solve(layout, t.table, replace(day, awake=[(t.start + 1, t.table)])) is None


def test_somebody_is_up_when_a_dough_that_has_risen_is_chilled():
    s = schedule(plan({"A": 16}), **ASKED, limits=Limits(rise_minutes=60))
    layout, t = lay_out(s.bake, s.limits), s.times
    one = t.doughs["A"]
    day = Held([(one.mix, one.cold), (one.out, t.table)], tolerance=0, wait=90, not_before=None)
    assert solve(layout, t.table, day) == t
    asleep = [(one.mix, one.cold - 1), (one.out, t.table)]
    assert solve(layout, t.table, replace(day, awake=asleep)) is None


def test_a_retard_is_moved_by_all_of_its_tolerance_and_never_to_nothing():
    s = schedule(plan({"A": 1}), **ASKED)
    layout, t = lay_out(s.bake, s.limits), s.times
    one = t.doughs["A"]
    early = Held([(one.mix - 60, one.mixed - 60), (one.out, t.table)], 60, 0, None)
    moved = solve(layout, t.table, early)
    assert moved is not None
    assert moved.doughs["A"].retard_minutes == 120
    assert solve(layout, t.table, replace(early, tolerance=55)) is None
    late = replace(early, awake=[(one.mix + 60, one.mixed + 60), (one.out, t.table)])
    assert solve(layout, t.table, late) is None
    least = replace(early, awake=[(one.mix + 55, one.mixed + 55), (one.out, t.table)])
    moved = solve(layout, t.table, least)
    assert moved is not None
    assert moved.doughs["A"].retard_minutes == 5


def test_without_a_retard_or_loads():
    s = schedule(plan({"A": 0}).drop(columns=["load", "place", "side_minutes"]), **ASKED)
    assert s.bake.notes == (
        "the plan has no loads: filled in its order, 6 pieces at a time",
        "the plan gives no time a side: 6 min taken",
        "a dough that is not chilled (A) is warm when it is shaped and proofs faster than a cold "
        "one, for which the times here are: look at it early, and mix it earlier where it is to "
        "rise first",
    )
    risen = schedule(plan({"A": 0}), **ASKED, limits=Limits(rise_minutes=60))
    assert risen.bake.notes[-1].endswith("for which the times here are: look at it early")
    assert "retard" not in set(s.to_frame()["what"])
    assert "shape 6 pieces of dough A (10 min)" in set(s.to_frame()["text"])
    chilled = schedule(plan({"A": 0}).drop(columns="retard_hours"), **ASKED, retard_hours=16)
    assert chilled.doughs["retard_hours"].tolist() == [16]
    rise = schedule(plan({"A": 16}), **ASKED, limits=Limits(rise_minutes=45))
    assert rise.to_frame()["what"].head(4).tolist() == ["mix", "rise", "retard", "chill"]


# --- the clock ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("day", "zone", "clock_hours", "way", "before"),
    [
        ("2026-10-25", BERLIN, 15, "back", "02:59 on Sunday 25 October"),
        ("2026-03-29", BERLIN, 17, "forward", "01:59 on Sunday 29 March"),
        ("2026-11-01", "America/New_York", 15, "back", "01:59 on Sunday 1 November"),
        ("2026-03-08", "America/New_York", 17, "forward", "01:59 on Sunday 8 March"),
    ],
)
def test_sixteen_hours_are_sixteen_hours(day, zone, clock_hours, way, before):
    s = schedule(plan({"A": 16}), table_time=f"{day} 09:45", zone=zone)
    dough = s.doughs.iloc[0]
    cold, out = dough["cold"], dough["take_out"]
    assert out.astimezone(UTC) - cold.astimezone(UTC) == timedelta(hours=16)
    assert out.replace(tzinfo=None) - cold.replace(tzinfo=None) == timedelta(hours=clock_hours)
    assert f"{out:%H:%M}" == "06:50"
    assert s.fits
    assert s.notes[-1] == (
        f"the clocks go {way} by 1 h after {before}: times of day are by the changed clock, "
        "lengths are real time"
    )


def test_sleep_is_by_the_changed_clock():
    """Out at 6:05 by the new clock, which the old one calls 7:05 (autumn) or 5:05 (spring)."""
    for day in ("2026-10-25", "2026-03-29"):
        assert schedule(plan({"A": 16}), table_time=f"{day} 09:00", zone=BERLIN).fits
        early = schedule(plan({"A": 16}), table_time=f"{day} 08:50", zone=BERLIN)
        assert len(early.misses) == 1
        assert early.misses[0].startswith("taking out dough A at 05:55 to 06:05 on Sunday")


def test_a_night_shift():
    limits = Limits(awake_from="20:00", awake_to="12:00")
    assert schedule(plan({"A": 8}), **ASKED, limits=limits).fits
    assert not schedule(plan({"A": 16}), **ASKED, limits=limits).fits
    whole = Limits(awake_from="00:00", awake_to="24:00")
    assert schedule(plan(), table_time="2026-11-05 03:00", zone=BERLIN, limits=whole).fits


def test_times_the_clock_shows_twice_or_never():
    s = schedule(plan({"A": 16}), table_time="2026-10-25 02:30", zone=BERLIN)
    assert s.table_time.astimezone(UTC).hour == 0
    assert s.notes[0] == (
        "02:30 comes twice on Sunday 25 October, when the clocks go back: the first is meant here"
    )
    with pytest.raises(InputError) as said:
        schedule(plan(), table_time="2026-03-29 02:30", zone=BERLIN)
    assert str(said.value) == (
        "table_time is '2026-03-29 02:30': is skipped by the clock that night, which is put "
        "forward. Give 2026-03-29 03:30 or another time."
    )


def test_a_time_with_its_own_offset():
    aware = datetime(2026, 11, 5, 8, 0, tzinfo=UTC)
    for value in (aware, "2026-11-05T08:00+00:00", pd.Timestamp(aware), datetime(2026, 11, 5, 9)):
        assert f"{schedule(plan(), table_time=value, zone=BERLIN).table_time:%H:%M}" == "09:00"


# --- nonsense -------------------------------------------------------------------------------


def refused(error, runs=None, **given):
    with pytest.raises(error) as said:
        schedule(plan() if runs is None else runs, **(ASKED | given))
    return str(said.value)


def test_nonsense_about_times():
    assert refused(InputError, mix_time="2026-11-06 09:00") == (
        "table_time is '09:00 on Thursday 5 November': is not after mix_time, 09:00 on Friday 6 "
        "November. Bread comes after the mixing: exchange the two, or give one of them."
    )
    assert refused(InputError, table_time=None) == (
        "table_time is None: is needed when there is no mix_time. Give one of them, for example "
        "table_time='2026-11-05 09:00'."
    )
    for bad in ("Thursday 9:00", "2026-11-05", "", "2026-13-05 09:00", 9, pd.NaT):
        assert refused(InputError, table_time=bad) == (
            f"table_time is {bad!r}: is not a day and a time. Write day and time, for example "
            "2026-11-05 09:00."
        )
    assert refused(InputError, table_time="0001-01-01 09:00") == (
        "table_time is '0001-01-01 09:00': must lie between 1970 and 2200. Write day and time, "
        "for example 2026-11-05 09:00."
    )


def test_nonsense_about_the_zone():
    assert refused(InputError, zone="Europe/Berln") == (
        "zone is 'Europe/Berln': is no time zone this computer knows. Did you mean Europe/Berlin?"
    )
    for bad in ("", "../etc", "Mars", None, "Europe"):
        message = refused(InputError, zone=bad)
        assert message.startswith(f"zone is {bad!r}: is no time zone this computer knows. ")


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({"griddle_places": 0}, "griddle_places is 0: must be a whole number from 1 to 200. Enter "
                                "how many pieces the griddle holds."),
        ({"hands": 1.5}, "hands is 1.5: must be a whole number from 1 to 50. Enter how many "
                         "people can work at once."),
        ({"mix_minutes": -4}, "mix_minutes is -4: must be a number from 1 to 600. Enter minutes "
                              "to weigh and mix one dough."),
        ({"rest_minutes": float("nan")}, "rest_minutes is nan: must be a number from 0 to 600. "
                                         "Enter minutes on the rack."),
        ({"tubs": "four"}, "tubs is 'four': must be a whole number from 1 to 500. Enter how many "
                           "doughs can stand at once."),
        ({"griddle_hands": 2}, "griddle_hands is 2: must be at most hands, which is 1. Enter 0 "
                               "when the one who turns can shape meanwhile."),
        ({"awake_from": "six"}, "awake_from is 'six': is not a time of day. Write it as 06:00 or "
                                "22:30."),
        ({"awake_to": "25:00"}, "awake_to is '25:00': is not a time of day. Write it as 06:00 or "
                                "22:30."),
        ({"awake_to": "6:00"}, "awake_to is '6:00': is the same as awake_from. Somebody must be "
                               "up for a while; give 00:00 and 24:00 for day and night."),
    ],
)  # fmt: skip
def test_nonsense_about_the_kitchen(given, message):
    with pytest.raises(InputError) as said:
        Limits(**given)
    assert str(said.value) == message


@pytest.mark.parametrize(
    ("runs", "error", "message"),
    [
        (plan().iloc[:0], DataError, "the plan has no pieces: give one row for each piece."),
        (plan().drop(columns=["dough"]), NotFoundError,
         "no column 'dough'. There are: 'bake', 'piece', 'retard_hours', 'side_minutes', 'load', "
         "'place'."),
        (plan({"A": 16}, dough=["A", None, "A", " ", "A", "A"]), DataError,
         "the plan has 2 pieces of no dough: name its dough."),
        (plan({"A": 16}, bake=[1, 1, 2, 2, 2, 2]), DataError,
         "the plan holds 2 bakes (1 and 2), and each has times of its own. Give the rows of one, "
         "for example runs[runs['bake'] == 1]."),
        (plan({"A": 16}, piece="A1"), DataError,
         "piece A1 is in the plan more than once: give every piece its own name."),
        (plan({"A": 16}, place=[1, 2, 3, 4, 5, 5]), DataError,
         "load 1 has two pieces at place 5, A5 and A6: a place holds one piece."),
        (plan({"A": 16}, place=0), InputError,
         "place is 0 (piece A1): must be a whole number from 1. Number the griddle's places."),
        (plan({"A": 16}, load=[1, 1, 1, 1, 1, None]), DataError,
         "1 piece of the plan has no load while others have one: give every piece a load, or "
         "none."),
        (plan({"A": 16}, retard_hours=[16, 16, 16, 16, 16, 40]), DataError,
         "dough A has two retards, 16 h and 40 h: a dough goes into the refrigerator as one. Make "
         "them two doughs."),
        (plan({"A": 16}).drop(columns=["retard_hours"]), InputError,
         "retard_hours is None (dough A): is not in the plan. Give retard_hours=16, or 0 for "
         "doughs that are not chilled."),
        (plan({"A": -16}), InputError,
         "retard_hours is -16 (dough A): must lie between 0 and 240 h. Enter cold retard in h."),
        (plan({"A": 16}, side_minutes=0), InputError,
         "side_minutes is 0 (piece A1): must be above 0. Enter minutes a side."),
        (plan({"A": 16}, side_minutes="six"), InputError,
         "side_minutes is 'six' (piece A1): must be a number."),
        (plan({"A": 16}, proof_minutes=-5), InputError,
         "proof_minutes is -5 (piece A1): must lie between 0 and 1440 min. Enter warm proof in "
         "min."),
    ],
    ids=lambda value: value[:30] if isinstance(value, str) else "",
)  # fmt: skip
def test_nonsense_in_the_plan(runs, error, message):
    assert refused(error, runs) == message


def test_a_cold_kitchen_is_refused():
    assert refused(InputError, room_temp_c=4.0).startswith(
        "room_temp_c is 4: must lie between 15 and 35 for a proof time."
    )


# --- the picture ----------------------------------------------------------------------------


def test_the_picture_draws_what_the_table_holds():
    s = schedule(plan(crossed=True), **ASKED)
    ax = s.plot()
    start = s.to_frame()["start"].min()
    wanted = s.to_frame().query("what in ['mix', 'retard', 'shape', 'proof', 'wait', 'load', "
                                "'rest']")  # fmt: skip
    drawn = sorted((round(b.get_x(), 6), round(b.get_width(), 6)) for b in ax.patches
                   if b.get_height() < 0.9)  # fmt: skip
    hours = pd.Timedelta(hours=1)
    assert drawn == sorted(
        (round((a - start) / hours, 6), round((b - a) / hours, 6))
        for a, b in zip(wanted["start"], wanted["end"], strict=True)
    )
    legend = [t.get_text() for t in ax.get_legend().get_texts()]
    assert "ready, waits for its load" in legend
    assert "outside 06:00 to 22:00" in legend
    names = [t.get_text() for t in ax.get_yticklabels()]
    assert names == [*(f"dough {d.name}" for d in s.bake.doughs), "griddle", "rack"]
    assert "may be ready between" in legend
    x = ax.transData.transform([(0, 0), (20, 0), (40, 0)])[:, 0]
    assert x[0] < x[1] < x[2]
    s.plot(ax=ax)

"""Minutes to double: published rates (BAKE magazine, Reinhart), the baker's own times, refusals."""

import math
from itertools import pairwise

import numpy as np
import pytest

from kit.errors import InputError
from kit.plan.timetable.proofing import Doubling, doubling

F72 = (72 - 32) / 1.8


def test_the_anchor_is_two_hours_at_72_fahrenheit():
    found = doubling(F72)
    assert (found.minutes, found.low, found.high) == (120, 90, 150)


def test_both_published_rates_lie_within_the_range():
    """About 10 % per °C (BAKE magazine 2015, fermentation); doubles per 17 °F (Reinhart)."""
    for warmer in (2.0, 5.0, 10.0):
        found = doubling(F72 + warmer)
        for rate in (1.10**warmer, 2 ** (warmer * 1.8 / 17)):
            assert found.low < 120 / rate < found.high
        assert 1.10**10 == pytest.approx(2.59, abs=0.005)
        assert 2 ** (10 * 1.8 / 17) == pytest.approx(2.08, abs=0.005)


def test_reinharts_own_example():
    """2 h at 80 °F is 4 h at 63 °F; from his two hours, measured at 80 °F."""
    found = doubling((63 - 32) / 1.8, measured=[((80 - 32) / 1.8, 120)])
    assert found.low < 240 < found.high
    assert found.minutes == pytest.approx(120 * math.sqrt(2.0 * 2.6) ** (17 / 18))


def test_warmer_is_faster_and_the_range_wider_away_from_the_anchor():
    times = [doubling(t) for t in np.arange(15, 35.5, 0.5)]
    assert all(a.minutes > b.minutes for a, b in pairwise(times))
    assert all(t.low < t.minutes < t.high for t in times)
    spread = [t.high / t.low for t in times]
    assert np.argmin(spread) == np.argmin([abs(t.room_temp_c - F72) for t in times])


@pytest.mark.parametrize(
    ("cold", "why"),
    [
        (4, "In the cold yeast slows far more than the rule says (at 4 °C to about 0.4 % of its "
            "best, not to 9 %)."),
        (36, "Above it yeast is near its limit and slows again."),
    ],
)  # fmt: skip
def test_outside_the_range_it_says_nothing(cold, why):
    with pytest.raises(InputError) as said:
        doubling(cold)
    assert str(said.value) == (
        f"room_temp_c is {cold}: must lie between 15 and 35 for a proof time. {why} Measure a "
        "time at that temperature and give it as measured."
    )
    with pytest.raises(InputError):
        doubling(21, measured=[(cold, 100)])
    with pytest.raises(InputError):
        doubling(cold, measured=[(21, 100)])


def test_a_temperature_that_may_be_fahrenheit():
    with pytest.raises(InputError) as said:
        doubling(72)
    assert str(said.value) == (
        "room_temp_c is 72: must lie between 15 and 35 for a proof time. If °F is meant, that is "
        "22.2 °C."
    )


def test_a_time_measured_in_a_proofing_box_needs_no_rule():
    assert doubling(38, measured=[45, 50]).minutes == pytest.approx(math.sqrt(45 * 50))


def test_own_times_replace_the_default():
    """Three times: 80 % prediction interval on the logarithm, by hand with t(0.9, 2) = 1.8856."""
    times = [130.0, 140.0, 150.0]
    found = doubling(21, measured=times)
    logs = np.log(times)
    half = 1.885618083 * logs.std(ddof=1) * math.sqrt(4 / 3)
    assert found.minutes == pytest.approx(math.exp(logs.mean()))
    assert found.high == pytest.approx(math.exp(logs.mean() + half))
    assert found.rests_on == "3 measured times of your own"
    assert found.checks == ()
    one = doubling(24, measured=[(21, 140)])
    assert one.rests_on == "one measured time of your own, moved to this temperature"
    assert one.checks == (
        "one measured time cannot say how much times differ: a quarter is assumed",
    )
    assert doubling(21, measured=[np.int64(140)]).minutes == pytest.approx(140)


@pytest.mark.parametrize("bad", [0, -5, math.nan, 2000, (21, 0), (21, 100, 3), "two hours"])
def test_times_that_are_none(bad):
    with pytest.raises(InputError) as said:
        doubling(21, measured=[bad])
    assert str(said.value) == str(
        InputError(
            "measured",
            bad,
            "must be minutes to double, above 0 and at most 1440",
            "Give 130, or (21.5, 130) for a room of 21.5 °C.",
        )
    )


def test_a_temperature_that_is_none():
    with pytest.raises(InputError) as said:
        doubling(math.nan)
    assert str(said.value) == "room_temp_c is nan: must be a number. Enter °C."


def test_near_the_usual_room_nothing_is_moved():
    assert doubling(22).rests_on == "common practice (about two hours at 22 °C)"
    assert doubling(21.5).rests_on.endswith("for every 10 °C warmer)")


def test_other_ratios():
    found = doubling(F72)
    assert found.to_ratio(2) == 120
    assert found.to_ratio(1.5) == 60
    assert found.ratio_after(180) == 2.5
    with pytest.raises(InputError) as said:
        found.to_ratio(1)
    assert str(said.value) == (
        "proof_ratio is 1: must lie between 1 and 4. 2 is double the volume after shaping."
    )


def test_faces():
    found = doubling(24)
    assert repr(found) == "<Doubling at 24 °C: 104 min [76, 133]>"
    assert str(found) == (
        "In a room of 24.0 °C a cold dough doubles in about 104 minutes, mostly 76 to 133.\n"
        "This rests on common practice (about two hours at 22 °C), moved to this temperature "
        "(2.0 to 2.6 times as fast for every 10 °C warmer).\n"
        "Note: times you have measured yourself are worth more than this guess."
    )
    assert found._repr_html_().startswith("<p><strong>In a room of 24.0 °C")
    assert "&lt;b&gt;" in Doubling(24, 1, 1, 1, "<b>", ())._repr_html_()
    row = found.to_frame().iloc[0]
    assert row["minutes"] == found.minutes
    bar = found.plot().lines
    assert bar[0].get_ydata().min() < found.minutes < bar[0].get_ydata().max()

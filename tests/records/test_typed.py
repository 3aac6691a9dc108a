import math
from datetime import UTC, date, datetime
from decimal import Decimal
from zoneinfo import ZoneInfo

import pandas as pd
import pytest

from kit.errors import InputError
from kit.records import typed


def refused(call, *args):
    with pytest.raises(InputError) as caught:
        call(*args)
    return str(caught.value)


def test_text():
    assert typed.text("name", "  malt ") == "malt"
    assert typed.text("note", None, needed=False) == ""
    assert refused(typed.text, "name", None) == "name is None: must not be empty."
    assert refused(typed.text, "name", "a\ud800") == (
        "name is 'a\\ud800': holds characters that cannot be stored. Type it anew."
    )


@pytest.mark.parametrize(
    ("given", "number"),
    [(3, 3), ("3", 3), (" 3 ", 3), ("3.0", 3), ("3,0", 3), (3.0, 3), ("", None), (None, None)],
)
def test_whole(given, number):
    assert typed.whole("place", given) == number
    assert typed.whole("place", math.nan) is None


@pytest.mark.parametrize("empty", [None, "", "  ", math.nan, pd.NA, pd.NaT, Decimal("NaN")])
def test_every_mark_of_a_missing_value_is_empty(empty):
    assert typed.whole("place", empty) is None
    assert typed.day("day", empty) is None
    assert typed.margin("u", empty) is None


def test_the_day_of_a_moment_is_the_kitchen_s():
    """23:30 in Greenwich on the 26th is 8:30 on the 27th in Tokyo."""
    late = datetime(2026, 11, 26, 23, 30, tzinfo=UTC)
    assert typed.day("day", late, zone="Asia/Tokyo") == date(2026, 11, 27)
    assert typed.day("day", late.replace(tzinfo=None), zone="Asia/Tokyo") == date(2026, 11, 26)


def test_a_difference_may_be_typed_with_its_unit():
    """1/16 in is 1.5875 mm exactly, a difference of 9 °F one of 5 °C."""
    assert typed.margin("matters", "1/16 in", "mm") == 1.5875
    assert typed.margin("u", "9 °F", "°C") == pytest.approx(5)


@pytest.mark.parametrize(
    "given",
    [0, -1, 1.5, "one", "nan", math.inf, 1e9, [], 10**400, True, "1e3", "1_000", "1.000", "1,5"],
)
def test_not_whole(given):
    assert refused(typed.whole, "place", given).endswith(
        "must be a whole number from 1. Write 1, 2, 3 …"
    )


@pytest.mark.parametrize(
    "given",
    [
        "2026-11-26", " 2026-11-26 00:00:00 ", date(2026, 11, 26), datetime(2026, 11, 26, 7, 30),
        "26.11.2026", "26.11.26", "26. 11. 2026",  # points: day.month.year, common practice
        "Nov 26, 2026", "26th November 2026", "2026-11-26,",
    ],
)  # fmt: skip
def test_day(given):
    assert typed.day("day", given) == date(2026, 11, 26)
    assert typed.day("day", " ") is None


@pytest.mark.parametrize("given", ["26/11/2026", "20261126", "26.11.", "soon", 20261126])
def test_not_a_day(given):
    such = "" if given == "26/11/2026" else "for example "
    assert refused(typed.day, "day", given) == (
        f"day is {given!r}: is not a day written year-month-day. Write {such}2026-11-26."
    )


@pytest.mark.parametrize("given", ["2026-02-30", "30.2.2026", "30.02.26"])
def test_a_day_that_its_month_does_not_have(given):
    assert refused(typed.day, "day", given) == (
        f"day is {given!r}: is no day: February has 28. Write the day that is meant."
    )


def test_a_day_of_two_meanings_is_told_with_both():
    assert refused(typed.day, "day", "03/04/2026") == (
        "day is '03/04/2026': is not a day written year-month-day. Write 2026-03-04 or "
        "2026-04-03, whichever it is."
    )


def test_zone(monkeypatch):
    assert typed.zone("Europe/Berlin") == "Europe/Berlin"
    for wrong in ("Berlin", "", "../etc/passwd"):
        assert refused(typed.zone, wrong) == (
            f"zone is {wrong!r}: is not a time zone. Write for example Europe/Berlin."
        )
    monkeypatch.setenv("TZ", "America/Halifax")
    assert typed.zone(None) == "America/Halifax"
    monkeypatch.setenv("TZ", "AST4ADT,M3.2.0,M11.1.0")  # a zone without a name
    assert ZoneInfo(typed.zone(None))


def test_moment():
    assert typed.moment("at", "2026-11-26T07:30+01:00", "UTC") == "2026-11-26T06:30:00.000000+00:00"
    assert typed.moment("at", "26.11.2026 07:30", "UTC") == "2026-11-26T07:30:00.000000+00:00"
    assert typed.moment("at", None, "UTC") > "2026"
    assert refused(typed.moment, "at", "0001-01-01 00:00", "Europe/Berlin") == (
        "at is '0001-01-01 00:00': must lie between 1970 and 2200. Write for example 2026-11-26."
    )

import math
from datetime import date, datetime
from zoneinfo import ZoneInfo

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
    ("given", "number"), [(3, 3), ("3", 3), (3.0, 3), ("", None), (None, None)]
)
def test_whole(given, number):
    assert typed.whole("place", given) == number
    assert typed.whole("place", math.nan) is None


@pytest.mark.parametrize("given", [0, -1, 1.5, "one", "nan", math.inf, 1e9, []])
def test_not_whole(given):
    assert refused(typed.whole, "place", given).endswith(
        "must be a whole number from 1. Write 1, 2, 3 …"
    )


@pytest.mark.parametrize(
    "given",
    ["2026-11-26", " 2026-11-26 00:00:00 ", date(2026, 11, 26), datetime(2026, 11, 26, 7, 30)],
)
def test_day(given):
    assert typed.day("day", given) == date(2026, 11, 26)
    assert typed.day("day", " ") is None


@pytest.mark.parametrize("given", ["26/11/2026", "20261126", "2026-02-30", "soon", 20261126])
def test_not_a_day(given):
    assert refused(typed.day, "day", given) == (
        f"day is {given!r}: is not a day written year-month-day. Write 2026-11-26."
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
    assert typed.moment("at", None, "UTC") > "2026"
    assert refused(typed.moment, "at", "0001-01-01 00:00", "Europe/Berlin") == (
        "at is '0001-01-01 00:00': is not a point in time. Write 2026-11-26 07:30."
    )

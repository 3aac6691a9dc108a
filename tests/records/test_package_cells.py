"""Cells of a package: exact there and back, and no formula for a spreadsheet program."""

import csv
import io
from datetime import date

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from kit.errors import InputError
from kit.records.package.cells import guarded, read_cell, restored, write_cell

#: what text can be: anything a database takes
texts = st.text(st.characters(exclude_characters="\0", exclude_categories=["Cs"]))
values = {
    "text": texts,
    "number": st.floats(allow_nan=False, allow_infinity=False),
    "whole": st.integers(0, 999_999_999),
    "truth": st.booleans(),
    "day": st.dates(),
    "json": st.recursive(
        st.none() | st.booleans() | st.integers(-(10**18) + 1, 10**18 - 1) | texts
        | st.floats(allow_nan=False, allow_infinity=False),
        lambda inner: st.lists(inner) | st.dictionaries(texts, inner), max_leaves=5,
    ),
}  # fmt: skip


def there_and_back(value, kind, optional):
    """Through a CSV file, as one cell among others."""
    held = io.StringIO()
    csv.writer(held).writerow(["x", write_cell(value, kind, optional), "y"])
    raw = held.getvalue().encode().decode("utf-8-sig")
    ((_, cell, _),) = csv.reader(io.StringIO(raw, newline=""), strict=True)
    return cell, read_cell("field", cell, kind, optional, "here")


@pytest.mark.parametrize("optional", [True, False])
@pytest.mark.parametrize("kind", sorted(values))
@given(data=st.data())
def test_a_value_comes_back_as_it_was(kind, optional, data):
    value = data.draw(values[kind] | st.none() if optional and kind != "json" else values[kind])
    _, back = there_and_back(value, kind, optional)
    assert back == value
    assert type(back) is type(value)


@given(texts)
@example("=1+1")
@example("'=1+1")
@example("\r=cmd|' /C calc'!A0")
@example("＝1")
def test_no_text_is_a_formula_for_a_spreadsheet(text):
    cell, back = there_and_back(text, "text", False)
    assert back == text
    # the signs at which spreadsheet programs begin to read a formula (OWASP, "CSV injection")
    assert not cell.startswith(("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠"))
    assert restored(guarded(text)) == text


def test_a_negative_number_stays_a_number():
    assert write_cell(-4.5, "number", False) == "-4.5"


@pytest.mark.parametrize(
    ("cell", "kind", "said"),
    [
        ("nan", "number", "must be a finite number with a decimal point"),
        ("1e999", "number", "must be a finite number with a decimal point"),
        ("1_000", "number", "must be a finite number with a decimal point"),
        ("٣", "number", "must be a finite number with a decimal point"),
        ("1,5", "number", "must be a finite number with a decimal point"),
        ("", "number", "must not be empty"),
        ("-1", "whole", "must be a whole number"),
        ("9999999999", "whole", "must be a whole number"),
        ("True", "truth", "must be true or false"),
        ("2026-13-01", "day", "must be a day written year-month-day"),
        ("03/04/2026", "day", "must be a day written year-month-day"),
        ("[" * 90_000, "json", "must be JSON"),
        ("[NaN]", "json", "must be JSON"),
        ("1" * 5000, "json", "must be JSON"),
        ('["\\u0000"]', "json", "must be JSON"),
        ("x" * 100_001, "text", "must be at most 100000 characters long"),
    ],
)
def test_a_cell_of_another_kind_is_refused(cell, kind, said):
    with pytest.raises(InputError) as caught:
        read_cell("field", cell, kind, False, "reading.csv row 7")
    assert caught.value.rule == said
    assert caught.value.where == "reading.csv row 7"


def test_missing_and_empty_are_two_things():
    assert write_cell(None, "text", True) == ""
    assert read_cell("note", write_cell("", "text", True), "text", True, "") == ""
    assert read_cell("note", "", "text", True, "") is None
    assert read_cell("day", "", "day", True, "") is None
    assert read_cell("day", "0099-01-02", "day", True, "") == date(99, 1, 2)

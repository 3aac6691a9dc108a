"""What goes wrong is said in words, and the words survive a trip to another process."""

import copy
import pickle
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context

import pytest

from kit.errors import (
    DataError,
    DesignError,
    InputError,
    KitError,
    MissingPackageError,
    NotFoundError,
    StoreError,
)
from kit.units import UnitError, parse

ERRORS = [
    InputError("side_minutes", -4, "must be above 0", "Enter minutes per side.", "piece B3-2"),
    UnitError("rise_height_mm", "3 kg", "kg measures mass"),
    NotFoundError("column", "hieght_mm", ["height_mm", "dough"]),
    DataError("no pieces"),
    DesignError("one dough a setting"),
    StoreError("locked"),
    MissingPackageError("A page as PDF", "pdf"),
]


@pytest.mark.parametrize("error", ERRORS, ids=lambda error: type(error).__name__)
@pytest.mark.parametrize("again", [copy.copy, lambda e: pickle.loads(pickle.dumps(e))])
def test_an_error_can_be_sent_and_copied(error: KitError, again) -> None:
    there = again(error)
    assert type(there) is type(error)
    assert str(there) == str(error)
    assert vars(there) == vars(error)


def test_an_error_of_another_process_arrives_as_it_was() -> None:
    with (
        ProcessPoolExecutor(1, mp_context=get_context("spawn")) as pool,
        pytest.raises(UnitError, match=r"^value is '3 kg': kg measures mass") as raised,
    ):
        pool.submit(parse, "3 kg", "mm").result()
    assert raised.value.field == "value"


def test_a_name_of_ten_megabytes_is_cut_short():
    """Quoted whole, and compared letter by letter with what there is, it took minutes."""
    error = NotFoundError("column", "é" * 10_000_000, map(str, range(20)))
    assert str(error).startswith("no column 'ééé")
    assert len(str(error)) < 400
    assert len(error.name) == 10_000_000


def test_a_slip_in_a_long_name_is_told_with_what_was_meant():
    names = [
        f"cold retarding of griddle muffins from the harbour, {'a ' * 25}{i}" for i in range(9)
    ]
    assert f"Did you mean {names[3]!r}" in str(
        NotFoundError("trial", names[3].replace("ld", "lt"), names)
    )

"""What is given as a number, of whatever kind."""

import math
from decimal import Decimal

import pytest

from kit.given import as_number, is_missing


@pytest.mark.parametrize("text", ["NaN", "sNaN", "-sNaN"])
def test_a_decimal_that_is_no_number_is_missing(text):
    number = as_number(Decimal(text))
    assert number is not None
    assert math.isnan(number)
    assert is_missing(Decimal(text))

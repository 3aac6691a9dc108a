"""What holds for every test."""

import pytest

from kit import quantities


@pytest.fixture(autouse=True)
def own_quantities_end_with_the_test():
    """Quantities of one's own are known for a session: no test may leave one to the next."""
    before = dict(quantities._KNOWN)
    yield
    quantities._KNOWN.clear()
    quantities._KNOWN.update(before)

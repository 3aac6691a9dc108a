"""What holds for every test."""

import hypothesis
import pytest

from kit import quantities

# a busy computer is no error: no test is timed
hypothesis.settings.register_profile("untimed", deadline=None)
hypothesis.settings.load_profile("untimed")


@pytest.fixture(autouse=True)
def own_quantities_end_with_the_test():
    """Quantities of one's own are known for a session: no test may leave one to the next."""
    before = dict(quantities._KNOWN)
    yield
    quantities._KNOWN.clear()
    quantities._KNOWN.update(before)

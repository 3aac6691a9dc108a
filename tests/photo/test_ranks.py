"""Ranks of a picture's values, against NumPy's."""

import numpy as np
import pytest

from kit.photo.pixels.ranks import median, quantile


@pytest.mark.parametrize("shape", [(1,), (2,), (37, 40), (301, 7)])
@pytest.mark.parametrize("share", [0.0, 0.25, 0.5, 0.9, 1.0])
def test_a_quantile_is_numpys(shape, share):
    values = np.random.default_rng(8690001).normal(size=shape).astype(np.float32)
    values[values > 1.5] = 1.5  # many alike
    before = values.copy()
    assert quantile(values, share) == pytest.approx(float(np.quantile(values, share)), rel=1e-6)
    assert (values == before).all()
    assert median(values) == pytest.approx(float(np.median(values)), rel=1e-6)


def test_of_no_values_there_is_no_quantile():
    assert np.isnan(quantile(np.empty(0, np.float32), 0.3))

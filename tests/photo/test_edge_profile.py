"""Where a cell begins, told from a mean profile: against steps and bowls in closed form."""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.special import erf
from scipy.stats import norm

from kit.photo.crumbs.edge_profile import likely_edges

X = np.linspace(-0.42, 0.38, 40)
COUNT = np.full(len(X), 2000.0)
BLUR = 0.1


def step(edge, height=0.5):
    return height * 0.5 * (1 + erf((X - edge) / (BLUR * np.sqrt(2))))


def bowl(edge, depth, height=0.5):
    """Return 1 − exp(−z / depth) behind an edge, blurred by adding up a normal curve's parts."""
    return np.array([
        quad(lambda t, x=x: height * -np.expm1(-t / depth) * norm.pdf(x - edge - t, scale=BLUR),
             0, 3, points=[max(x - edge, 0.01)])[0] for x in X
    ])  # fmt: skip


@pytest.mark.parametrize("edge", [-0.1, 0.0, 0.08])
def test_edge_of_a_flat_dark_hole_lies_half_way(edge):
    found = likely_edges(X, step(edge), COUNT, BLUR)
    level, u = found.level(X, step(edge))
    assert level == pytest.approx(0.25, abs=0.045)
    assert abs(level - 0.25) < 2 * u
    assert found.step > 0.7
    assert found.share.sum() == pytest.approx(1)


@pytest.mark.parametrize("depth", [0.15, 0.4])
def test_edge_of_a_pit_lies_where_it_begins(depth):
    dark = bowl(-0.05, depth)
    found = likely_edges(X, dark, COUNT, BLUR)
    level, u = found.level(X, dark)
    true = np.interp(-0.05, X, dark)
    assert abs(level - true) < 2 * u
    assert level < 0.3 * dark.max()  # far from half-way
    assert found.step < 0.4


def test_a_steady_wall_and_the_height_do_not_matter():
    one = likely_edges(X, bowl(0.0, 0.3), COUNT, BLUR)
    other = likely_edges(X, 0.01 + 0.4 * bowl(0.0, 0.3), COUNT, BLUR)
    assert one.at_mm @ one.share == pytest.approx(other.at_mm @ other.share, abs=0.01)


def test_what_a_profile_does_not_tell_is_left_open():
    # a step blurred by more than is known looks like a bowl: the spread says so
    sharp = likely_edges(X, step(0.0), COUNT, BLUR).level(X, step(0.0))[1]
    wide = 0.25 * (1 + erf(X / (1.35 * BLUR * np.sqrt(2))))
    assert likely_edges(X, wide, COUNT, BLUR).level(X, wide)[1] > 1.2 * sharp

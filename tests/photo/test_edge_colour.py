"""Where a piece's colour ends, against light across a foot made up with known shade.

Chance of false failure: seeds are fixed; another OpenCV may move an edge by a few hundredths of a
pixel, tolerances leave at least a factor 1.5.
"""

import numpy as np
import pytest
import solids
from scipy.ndimage import gaussian_filter
from scipy.special import ndtr
from test_side_view import roughly

from kit.photo.outlines.edge_colour import MOST_DOUBT, _misfit, colour_edge, doubted
from kit.photo.outlines.outline import Looked
from kit.photo.picture import read
from kit.photo.side_view import side

BROWN, GREY = np.array([0.42, 0.30, 0.16]), np.array([0.33, 0.34, 0.36])
#: the foot of the piece lies at the lower rim of this row
FOOT = 69.5


def across(piece=BROWN, ground=GREY, crevice=0.0, noise=0.003):
    """Light across a straight foot: both sides darken towards it by so much; line and normals."""
    y = np.arange(140.0)[:, None]
    dark = 1 - crevice * np.exp(-np.abs(y - FOOT) / np.where(y < FOOT, 4.0, 7.0))
    light = np.where(y < FOOT, piece, ground) * dark
    light = np.repeat(light[:, None], 200, 1)
    light = gaussian_filter(light, (1.0, 1.0, 0))
    light += noise * np.random.default_rng(3).normal(size=light.shape)
    seen = Looked(
        np.float32(light), np.float32(light), (0.0, 0.0), np.empty((0, 2)), np.empty((0, 2))
    )
    line = np.column_stack([np.linspace(20, 180, 80), np.full(80, FOOT)])
    return seen, line, np.tile([0.0, 1.0], (80, 1))


@pytest.mark.parametrize("crevice", [0.0, 0.4, 0.7])
@pytest.mark.parametrize("off_px", [-2.0, 0.0, 1.5])
def test_shade_and_a_dark_crevice_are_no_end_of_the_colour(crevice, off_px):
    seen, line, normals = across(crevice=crevice)
    offset, u = colour_edge(seen, line + off_px * normals, normals, 6.0)
    assert offset + off_px == pytest.approx(0, abs=0.6)
    assert np.median(u) < 0.6


def test_as_bright_as_one_another_the_colours_still_tell():
    ground = np.array([0.30, 0.305, 0.38])
    ground *= (BROWN @ [0.2126, 0.7152, 0.0722]) / (ground @ [0.2126, 0.7152, 0.0722])
    offset, _ = colour_edge(*across(ground=ground), 6.0)
    assert offset == pytest.approx(0, abs=0.4)


def test_of_one_colour_and_one_brightness_nothing_is_told():
    _, u = colour_edge(*across(ground=BROWN), 6.0)
    assert np.median(u) > 2.0


def test_an_edge_where_no_colour_ends_counts_for_less():
    seen, line, normals = across(crevice=0.4)
    offset = np.where(np.arange(80) < 40, 0.0, 2.5)
    spread, _ = doubted(seen, line, normals, offset, np.ones(80), 6.0)
    assert spread[:40].max() < 1.8
    assert spread[40:].min() == MOST_DOUBT
    for off, low, high in ((0.0, 0.0, 0.3), (2.5, 0.7, 2.0)):
        _, foot_u = doubted(seen, line, normals, np.full(80, off), np.ones(80), 6.0)
        assert low <= foot_u < high


def test_what_is_left_is_what_least_squares_leaves():
    """Against NumPy's lstsq with all six columns written out."""
    rng = np.random.default_rng(0)
    t, places = np.arange(-10.0, 11.0), np.array([-3.0, 0.0, 2.0])
    light = rng.normal(size=(4, 21, 3))
    colours = [c / np.linalg.norm(c, axis=1)[:, None] for c in rng.uniform(0.2, 1, (2, 4, 3))]
    left = _misfit(light, colours, t, places, 1.2)
    for i in range(4):
        for j, place in enumerate(places):
            beyond = ndtr((t - place) / 1.2)
            columns = [
                np.outer(side_of * (t - place) ** power, colour[i]).ravel()
                for side_of, colour in zip((1 - beyond, beyond), colours, strict=True)
                for power in range(3)
            ]
            _, rest, *_ = np.linalg.lstsq(np.stack(columns, 1), light[i].ravel())
            assert left[i, j] == pytest.approx(rest[0], rel=1e-9)


@pytest.mark.parametrize("seed", [9310011, 9310038])
def test_edges_that_colour_doubts_do_not_bend_a_piece(seed):
    """As bright as its ground along a stretch: 2 % off in height before colour was asked."""
    picture, scale, truth, _ = solids.scene(seed, "realistic", "piece")
    view = side(read(picture), scale, "piece", roughly(truth.box, seed))
    assert view.height_mm.value == pytest.approx(truth.height_mm, rel=0.012)

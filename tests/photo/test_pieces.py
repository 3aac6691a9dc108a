"""Pieces of a mask and the nearest of them, against SciPy's labels and distances."""

import numpy as np
from scipy import ndimage

from kit.photo.pixels.pieces import nearest, pieces

RNG = np.random.default_rng(9410900)
MASK = ndimage.gaussian_filter(RNG.standard_normal((60, 70)), 1.5) > 0.1


def test_pieces_are_those_of_scipy():
    found, (labels, count) = pieces(MASK), ndimage.label(MASK)
    assert len(found.pixels) == count + 1
    # numbered alike or not: each of ours is one of theirs, and as large
    pairs = np.unique(np.column_stack([found.labels[MASK], labels[MASK]]), axis=0)
    assert len(pairs) == count
    np.testing.assert_array_equal(found.pixels[pairs[:, 0]], np.bincount(labels[MASK])[pairs[:, 1]])
    assert found.pixels[0] == 0
    assert (found.labels[~MASK] == 0).all()


def test_a_part_of_a_picture_gives_what_its_copy_does():
    part = MASK[::2, 1::3]
    np.testing.assert_array_equal(pieces(part).labels, pieces(part.copy()).labels)


def test_which_hold_a_pixel_and_the_mask_of_those():
    found = pieces(MASK)
    marks = np.zeros_like(MASK)
    marks[10:20, 5:40] = True
    held = found.hold(marks)
    want = np.isin(found.labels, np.setdiff1d(found.labels[marks], 0))
    assert 0 < np.count_nonzero(held) < len(held) - 1
    np.testing.assert_array_equal(found.mask(held), want)


def test_the_nearest_piece_is_that_of_the_exact_distance():
    found = pieces(MASK)
    away, whose = nearest(found.labels)
    exact, (y, x) = ndimage.distance_transform_edt(~MASK, return_indices=True)
    # steps of a mask of 5 by 5 stand for the straight line to within 3 %
    np.testing.assert_allclose(away, exact, rtol=0.03)
    assert np.mean(whose == found.labels[y, x]) > 0.97  # others lie as near

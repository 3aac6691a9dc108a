"""What lies at the foot: shadows on the worktop, and what is hidden when looked at from above.

Chance of false failure: seeds are fixed; another OpenCV may move an edge by a few hundredths of a
pixel, tolerances leave at least a factor 1.5.
"""

import math

import cv2
import numpy as np
import pytest
import solids
from test_side_view import rms

from kit.photo.outlines.doubts import contact, crevice
from kit.photo.outlines.outline import Looked, evenly
from kit.photo.picture import read
from kit.photo.pixels.strip import normals
from kit.photo.side_view import side
from kit.photo.sides import fit as side_fit
from kit.photo.sides import solid_fit

PIECE, GROUND = np.array([0.42, 0.30, 0.16]), np.array([0.40, 0.42, 0.44])


def foot(shade_px, piece=PIECE, found_px=None):
    """What `contact` says of light across a foot with shade under it, the edge found at its end."""
    y = np.arange(140.0)[:, None]
    light = np.where(y < 70, piece, GROUND * np.where(y < 70 + shade_px, 0.3, 1.0))
    light = cv2.GaussianBlur(np.repeat(light[:, None], 200, 1).astype(np.float32), (0, 0), 1.0)
    seen = Looked(light, light, (0.0, 0.0), np.empty((0, 2)), np.empty((0, 2)))
    line = np.column_stack([np.linspace(40, 160, 40), np.full(40, 69.5)])
    offset = np.full(40, float(shade_px if found_px is None else found_px))
    return contact(seen, line, np.tile([0.0, 1.0], (40, 1)), offset, 120.0)


def test_a_piece_ends_where_its_colour_does():
    """Shade is less light of the ground's own colour."""
    for shade in (3.0, 5.0):
        inward, u = foot(shade)
        assert inward == pytest.approx(shade, abs=0.5)
        assert 0.3 < u < 1.2


def test_a_foot_without_shade_or_found_within_it_stays():
    assert foot(0.0)[0].max() == 0
    assert foot(4.0, found_px=0.0)[0].max() == 0


def test_of_one_colour_the_foot_is_told_by_a_dark_line_alone():
    """Grey on grey: a step down to shade is no dark line between two brighter sides."""
    inward, u = foot(4.0, piece=GROUND * 0.5)
    assert inward.max() < 4.0
    assert u == 0 or u > 0.3 * inward.max()


@pytest.mark.parametrize(("shape", "least", "most"), [("ball", 2.0, 4.0), ("piece", 0.8, 1.6)])
def test_an_edge_in_the_shade_under_a_ball_counts_less_than_beside_it(
    shape, least, most, monkeypatch
):
    """There it was off by 0.4 to 1.5 pixels on balls of two programs, at the sides by 0.1.

    As sure as the rest it made balls 2.0 and 1.8 % (easy, realistic) too low or high, so 1.5 and
    1.3 % (40 balls). Pieces were measured better without, by two programs of three.
    """
    fits = []

    def recorded(points, *args, spread, **more):
        fits.append((points, spread))
        return solid_fit.fit_solid(points, *args, spread=spread, **more)

    monkeypatch.setattr(side_fit, "fit_solid", recorded)
    picture, scale, truth, _ = solids.scene(310, "easy", "ball")
    side(read(picture), scale, shape, truth.box)
    points, spread = fits[-1]
    down = normals(points)[:, 1]
    foot, beside = (float(np.median(spread[at])) for at in (down > 0.8, abs(down) < 0.15))
    assert least < foot / beside < most


def test_the_higher_the_camera_the_less_sure_is_a_ball_s_height():
    """What its foot hides: of 40 balls of two programs 9 in 10 heights lay within, before 7."""
    unseen = []
    for elevation in (2.0, 11.0):
        rng = np.random.default_rng(4)
        at = solids.setting(rng, 1000, 750, elevation, 300.0)
        shape = solids.ellipsoid(38, 24, 0.3)
        picture, truth = solids.draw(rng, shape, at, 1000, 750, "easy")
        view = side(read(picture), solids.scale_of(at), "ball", truth.box)
        unseen.append(view.height_mm.parts["unseen"] / view.height_mm.value)
    assert unseen[0] < 0.005 < 0.006 < unseen[1] < 0.015


def across(within, beyond):
    """What `crevice` says of light across a foot at 70, from functions of the distance to it."""
    y = np.arange(140.0)[:, None] + 0.5 - 70
    light = np.where(y < 0, PIECE * within(-y), GROUND * beyond(y))
    light = cv2.GaussianBlur(np.repeat(light[:, None], 200, 1).astype(np.float32), (0, 0), 1.1)
    seen = Looked(light, light, (0.0, 0.0), np.empty((0, 2)), np.empty((0, 2)))
    line = np.column_stack([np.linspace(40, 160, 40), np.full(40, 69.5)])
    found = []
    for off in (-4.0, 0.0, 7.0):  # wherever the line near it is
        found.append(
            crevice(seen, line + np.array([0, off]), np.tile([0.0, 1.0], (40, 1)), 120.0) + off
        )
    return np.concatenate(found)


def dim(width):
    return lambda far: 1 - np.exp(-far / width)


@pytest.mark.parametrize(("within", "beyond"), [(3.0, 3.0), (6.0, 2.0), (2.0, 6.0), (8.0, 3.0)])
def test_a_piece_meets_its_worktop_where_it_is_darkest(within, beyond):
    """Both darken towards the line where they touch, the one more gently than the other."""
    assert across(dim(within), dim(beyond)) == pytest.approx(0.0, abs=0.6)


@pytest.mark.parametrize("darker", [-1, 1])
def test_a_foot_of_any_size_is_looked_at(darker):
    """Also where it is darkest at the end of where it is looked for."""
    light = 0.5 + 0.001 * darker * np.arange(-200.0, 200)[:, None, None]
    light = np.broadcast_to(light, (400, 200, 3)).astype(np.float32)
    seen = Looked(light, light, (0.0, 0.0), np.empty((0, 2)), np.empty((0, 2)))
    line = np.column_stack([np.linspace(40, 160, 40), np.full(40, 200.0)])
    for size in np.linspace(60, 700, 100):
        assert np.isnan(crevice(seen, line, np.tile([0.0, 1.0], (40, 1)), size)).all()


def test_a_crevice_lies_within_a_hard_shadow():
    def shaded(far):
        return np.where(far < 12, 0.25, 1.0) * dim(2.0)(far)

    assert across(dim(4.0), shaded) == pytest.approx(0.0, abs=0.6)


def test_no_shadow_and_no_browned_rim_is_taken_for_a_crevice():
    """A shadow's end, however dark, and a dark band on the piece are wider, or end in a step."""
    one = np.ones_like
    for within, beyond in (
        (one, one),
        (one, lambda y: np.where(y < 25, 0.2, 1.0)),
        (one, lambda y: 1 - 0.7 * np.exp(-y / 20)),
        (lambda y: np.where(y < 18, 0.3, 1.0), one),
    ):
        assert np.isnan(across(within, beyond)).all()


def seen_from(shape, elevation_deg, seed=0, roll_deg=3.0):
    """A solid's true outline with a quarter of a pixel of noise, and its scale."""
    rng = np.random.default_rng(seed)
    at = solids.setting(rng, 1600, 1200, elevation_deg, 280.0, roll_deg=roll_deg)
    outline = evenly(at.outline(shape), 240)
    wave = cv2.GaussianBlur(rng.normal(size=(240, 2)), (1, 0), sigmaX=0.1, sigmaY=2.0)
    return outline + 0.25 * wave / wave.std(), solids.scale_of(at)


@pytest.mark.parametrize("kind", ["ball", "piece"])
@pytest.mark.parametrize(("radius", "height"), [(48.5, 40), (55, 24), (60, 30)])
def test_a_low_cap_is_measured_from_above(kind, radius, height):
    """Wider at its foot than anywhere else: the search must not end with a wall under it."""
    flat = read(np.full((1200, 1600, 3), 90, np.uint8))
    for elevation in (15, 22):
        outline, scale = seen_from(solids.cap(radius, height), elevation)
        view = side(flat, scale, kind, outline=outline)
        assert view.height_mm.value == pytest.approx(height, rel=0.03)


def test_what_hides_under_a_rounded_piece_is_in_the_uncertainty():
    """From above it may be cut off by the worktop or not: both look alike, and it is told."""
    flat = read(np.full((1200, 1600, 3), 90, np.uint8))
    off = []
    for seed, cut in enumerate((0.05, 0.1, 0.15, 0.2)):
        for elevation in (8, 14, 20):
            shape = solids.ellipsoid(44, 17, cut)
            outline, scale = seen_from(shape, elevation, seed)
            view = side(flat, scale, "piece", outline=outline)
            off.append((view.height_mm.value - shape.h[-1]) / view.height_mm.u)
    assert np.mean(np.abs(off) < 1.96) >= 0.8
    assert rms(off) < 1.5


def test_a_griddled_piece_is_not_taken_for_a_dome():
    """Its two faces show: the other kind adds next to nothing to the uncertainty."""
    flat = read(np.full((1200, 1600, 3), 90, np.uint8))
    for elevation in (6, 10):
        outline, scale = seen_from(solids.rounded(43, 30, 9, 9), elevation)
        view = side(flat, scale, "piece", outline=outline)
        assert view.height_mm.parts["kind"] < 0.02
        assert math.isclose(view.height_mm.value, 30, rel_tol=0.03)


def domed(radius, wall_top, rim, edge_deg):
    """A disc with round rims and a low dome: a sphere that meets the upper rim at `edge_deg`."""
    flat = solids.rounded(radius, wall_top + rim, rim, rim)
    phi = math.radians(edge_deg)
    sphere = (radius - rim) / math.sin(phi) + rim
    turn = np.linspace(math.pi / 2, phi, 300)[1:]
    over = np.linspace(phi, 0, 300)[1:]
    low = flat.h < wall_top
    r = np.r_[flat.r[low], radius - rim + rim * np.sin(turn), sphere * np.sin(over)]
    h = np.r_[flat.h[low], wall_top + rim * np.cos(turn),
              wall_top - (sphere - rim) * math.cos(phi) + sphere * np.cos(over)]  # fmt: skip
    return solids.Shape(r, h)


def test_a_low_dome_that_cannot_be_seen_is_in_the_uncertainty():
    """Its rim is as steep as the line of sight at most: all of it may lie out of sight."""
    flat = read(np.full((1200, 1600, 3), 90, np.uint8))
    off = []
    for seed, share in enumerate((0.0, 0.3, 0.6, 0.9)):
        for elevation in (5, 8, 11):
            shape = domed(43, 22, 8, max(share * elevation, 0.01))
            outline, scale = seen_from(shape, elevation, seed)
            view = side(flat, scale, "piece", outline=outline)
            off.append((view.height_mm.value - shape.h[-1]) / view.height_mm.u)
    assert np.max(np.abs(off)) < 1.96

"""The outline of a cut face on every ground, against what was drawn."""

import os

import crumbs
import cv2
import laid
import numpy as np
import pytest

from kit.errors import DataError
from kit.photo.faces.face import MOST_UNSURE, crust_depth, filled, find_face, lab_of
from kit.photo.pixels.strip import closed_path, normals, resampled

P = 6.0


def seen(scene):
    """Return the drawn photo square-on at `P` pixels a millimetre, and the true outline on it."""
    matrix = scene.scale.homography() @ np.array(
        [[1 / P, 0, 0.5 / P], [0, 1 / P, 0.5 / P], [0, 0, 1]]
    )
    size = (int(crumbs.SIZE_MM[0] * P), int(crumbs.SIZE_MM[1] * P))
    soft = cv2.GaussianBlur(np.ascontiguousarray(scene.photo.pixels), (0, 0), 0.6)
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    picture = cv2.warpPerspective(soft, matrix, size, flags=flags, borderMode=cv2.BORDER_REPLICATE)
    return picture, crumbs.through(np.linalg.inv(matrix), scene.face_px)


def linear_error(scene):
    """Return how much too large the outline is, as a share of length."""
    picture, true = seen(scene)
    found = find_face(picture, P)
    area = filled(picture.shape, found.outline_px).sum() / filled(picture.shape, true).sum()
    return np.sqrt(area) - 1, found


def area_of(path):
    """Return the area a closed path encloses, in closed form (the shoelace)."""
    x, y = path.T
    return 0.5 * abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1)))


def laid_error(scene, boxed=True):
    """Return the linear error of a laid face, its claimed standard uncertainty, what was found."""
    found = find_face(scene.picture, laid.PX_PER_MM, box=scene.box if boxed else None)
    path, true = found.outline_px, area_of(scene.outline)
    round_px = np.linalg.norm(np.roll(path, -1, 0) - path, axis=1).sum()
    u = 0.5 * round_px * found.u_px / area_of(path)
    return np.sqrt(area_of(path) / true) - 1, u, found


@pytest.mark.parametrize("ground", crumbs.GROUNDS)
def test_outline_within_one_percent_on_every_ground(ground):
    level = ("realistic", "hard")[crumbs.GROUNDS.index(ground) % 2]
    scene = crumbs.draw(101, level, ground=ground, cells="field", px_per_mm=8.0)
    off, found = linear_error(scene)
    assert abs(off) < 0.01
    assert np.median(found.crust_mm) == pytest.approx(scene.crust_mm, abs=0.3)


@pytest.mark.parametrize("kind", ["pale on pale", "side shadow", "crumbs near"])
def test_outline_within_one_percent_in_shade_and_on_pale_grounds(kind):
    # in the long test all of 24 + 24 on pale grounds but one were within 1 %; of crumbs near by
    # on wood only half, the others said so
    off, u, found = laid_error(laid.draw(211, kind, "realistic"))
    assert abs(off) < 0.01
    assert abs(off) < 3 * u
    assert not found.notes


@pytest.mark.parametrize("seed", [1, 8, 9])
@pytest.mark.parametrize("colour", [(0.08, 0.12, 0.35), (0.1, 0.25, 0.12)])
def test_the_checks_of_a_towel_in_shade_are_no_crust(seed, colour):
    # of 20 such all were within 0.2 %; a crust taken from the towel itself made it 0.9 to 2.1 %
    off, _, found = laid_error(laid.draw_on_towel(seed, colour))
    assert abs(off) < 0.005
    assert not found.notes


def test_the_paper_about_a_marker_is_no_face():
    # a marker of 40 mm on white paper is larger than the face; only the marker itself is kept out
    rng = np.random.default_rng(4)
    y, x = (np.mgrid[: int(70 * P), : int(130 * P)] + 0.5) / P
    picture = np.full((*x.shape, 3), (128, 130, 134), float)
    picture[(abs(x - 100) < 24) & (abs(y - 35) < 24)] = 235
    marker = (abs(x - 100) < 20) & (abs(y - 35) < 20)
    picture[marker & ((x // 7 + y // 7) % 2 == 0)] = 20
    face = ((x - 38) / 30) ** 4 + ((y - 35) / 13) ** 4 < 1
    picture[face] = (170, 110, 60)
    picture[((x - 38) / 28.6) ** 4 + ((y - 35) / 11.6) ** 4 < 1] = (226, 208, 168)
    picture += 4 * rng.standard_normal(picture.shape)
    soft = cv2.GaussianBlur(np.clip(picture, 0, 255).astype(np.uint8), (0, 0), 0.8)
    found = find_face(soft, P, keep_out=marker)
    assert area_of(found.outline_px) == pytest.approx(face.sum(), rel=0.02)


def test_a_large_dark_cell_beside_the_crust_is_no_crust():
    # crust 1.5 mm deep all round; a cell 9 mm wide and 5 mm deep begins where it ends
    rng = np.random.default_rng(5)
    y, x = (np.mgrid[: int(50 * P), : int(90 * P)] + 0.5) / P - np.array([25, 45])[:, None, None]
    far = np.maximum(abs(x) - 32, abs(y) - 12)  # from a slab of 67 × 27 mm: −1.5 at its edge
    picture = np.full((*x.shape, 3), 40.0)
    picture[far < 1.5] = (150, 92, 48)
    picture[far < 0] = (226, 208, 168)
    cell = (far < 0) & ((abs(x + 12) < 4.5) & (y < -7) | (np.hypot(x - 14, y - 2) < 4))
    picture[cell] = (128, 108, 76)
    picture += 3 * rng.standard_normal(picture.shape)
    soft = cv2.GaussianBlur(np.clip(picture, 0, 255).astype(np.uint8), (0, 0), 0.8)
    ring = cv2.findContours((far < 1.5).astype(np.uint8), 0, cv2.CHAIN_APPROX_NONE)[0][0][:, 0]
    depth, _ = crust_depth(lab_of(soft), P, resampled(ring.astype(float)))
    assert np.median(depth) == pytest.approx(1.5, abs=0.2)
    assert depth.max() < 2.6


@pytest.mark.parametrize(("kind", "seed"), [("brown on brown", 210), ("semolina", 212)])
def test_an_edge_that_hardly_shows_is_said(kind, seed):
    off, u, found = laid_error(laid.draw(seed, kind, "hard"))
    assert found.unsure.mean() > MOST_UNSURE
    assert any("hardly stands out" in note for note in found.notes)
    assert abs(off) < 3 * u
    clear = laid_error(laid.draw(211, "side shadow", "easy"))[1]
    assert u > 1.5 * clear


def test_a_second_piece_is_told_of():
    scene = laid.draw(211, "side shadow", "easy")
    both = np.vstack([scene.picture, scene.picture[::-1]])
    found = find_face(both, laid.PX_PER_MM)
    assert any("another piece stands out as well" in note for note in found.notes)
    boxed = find_face(both, laid.PX_PER_MM, box=scene.box)
    assert boxed.notes == ()
    assert area_of(boxed.outline_px) == pytest.approx(area_of(scene.outline), rel=0.02)


@pytest.mark.long
def test_never_silently_wrong_on_fresh_seeds():
    """Print errors by kind; an outline off by more than 1 % says so or has an u to match.

    `KIT_FACE_SCENES` says how many (60 when not given), `KIT_FACE_SEED` from which on. Found on
    fresh seeds (November 2026), share within 1 %: 0.87 from 990000, 0.90 from 770000, 0.77 from
    5150000 (brown on brown 0.5), 0.90 from 6320000, 0.80 from 7810000 (brown on brown 0.5); 0 to 2
    refused, none wrong without a word, 95 % intervals held 93 to 98 %. A share of 0.85 in 60 strays
    by 0.046: the bound of it fails with fresh seeds in about 1 of 400 runs.
    """
    count = int(os.environ.get("KIT_FACE_SCENES", "60"))
    start = int(os.environ.get("KIT_FACE_SEED", "700000"))
    offs, us, told = (np.full(count, np.nan), np.full(count, np.nan), np.ones(count, bool))
    for i in range(count):
        scene = laid.draw(start + i, laid.KINDS[i % 5], list(laid.LEVELS)[i // 5 % 3])
        try:
            offs[i], us[i], found = laid_error(scene)
            told[i] = bool(found.notes)
        except DataError as exc:
            print(f"refused: seed {start + i}, {scene.names}: {exc}")
    right, measured = np.abs(offs) < 0.01, np.isfinite(offs)
    silent = measured & ~right & ~told
    for k, kind in enumerate(laid.KINDS):
        own = slice(k, None, 5)
        rmse = 100 * np.sqrt(np.nanmean(offs[own] ** 2))
        print(
            f"{kind:15} within 1 %: {right[own].mean():.2f}; refused {(~measured[own]).sum()}; "
            f"RMSE {rmse:.2f} %; wrong without a word {silent[own].sum()}; unsure though right "
            f"{(right & told)[own].sum()}"
        )
    held = np.abs(offs[measured]) < 1.96 * us[measured]
    far = silent & (np.abs(offs) > 3 * us)
    print(
        f"all: within 1 % {right.mean():.2f}; wrong without a word {silent.sum()}, by more than "
        f"3 u {far.sum()}; 95 % intervals hold {held.mean():.2f}"
    )
    assert right.mean() > 0.72
    assert silent.sum() <= 0.035 * count
    assert held.mean() > 0.9


def test_on_a_scan():
    scene = crumbs.draw(103, "easy", ground="white", cells="discs", px_per_mm=8.0, scanner=True)
    assert abs(linear_error(scene)[0]) < 0.005


def test_coins_of_scikit_image_for_the_disc():
    # scikit-image's `coins` (Pompeii, Brooklyn Museum; public domain): a coin of the second row,
    # alone in its cut-out. The reference is Otsu's threshold on the same cut-out, holes filled.
    from scipy.ndimage import binary_fill_holes
    from skimage import data, filters

    part = data.coins()[88:162, 174:243]
    picture = np.repeat(cv2.resize(part, None, fx=4, fy=4)[..., None], 3, 2)
    other = binary_fill_holes(picture[..., 0] > filters.threshold_otsu(picture[..., 0]))
    found = find_face(picture, P)
    area = filled(picture.shape, found.outline_px).sum()
    assert np.sqrt(area / other.sum()) == pytest.approx(1.0, abs=0.04)


def test_a_face_is_told_from_the_paper_a_millimetre_beside_it():
    # a marker's paper at its left end: one blob with a deep bay either side of the neck
    scene = crumbs.draw(107, "easy", ground="wood", cells="discs", px_per_mm=8.0)
    picture, true = seen(scene)
    x, y = (round(float(v)) for v in true[true[:, 0].argmin()])
    picture = np.pad(picture, ((0, 0), (200, 0), (0, 0)), mode="edge")
    paper, marker = (
        np.s_[y - 90 : y + 90, x + 14 : x + 194],
        np.s_[y - 60 : y + 60, x + 44 : x + 164],
    )
    picture[paper], picture[marker] = (214, 206, 190), 40
    out = np.zeros(picture.shape[:2], bool)
    out[marker] = True
    found = find_face(picture, P, keep_out=out)
    assert area_of(found.outline_px) == pytest.approx(area_of(true), rel=0.03)


def test_refusals_say_what_to_do():
    scene = crumbs.draw(105, "easy", ground="slate", cells="discs", px_per_mm=8.0)
    picture, _ = seen(scene)
    board = np.full((300, 400, 3), 120, np.uint8)
    with pytest.raises(DataError, match=r"no cut face stands out .* draw a box about it"):
        find_face(board, P)
    cut = picture[:, : picture.shape[1] // 2]
    with pytest.raises(DataError, match="reaches the edge of the picture: photograph it again"):
        find_face(np.ascontiguousarray(cut), P)
    star = np.full((400, 400, 3), 40, np.uint8)
    t = np.linspace(0, 2 * np.pi, 400)
    r = 110 + 70 * np.cos(5 * t)
    points = np.column_stack([200 + r * np.cos(t), 200 + r * np.sin(t)]).astype(np.int32)
    cv2.fillPoly(star, [points], (230, 210, 170))
    with pytest.raises(DataError, match="not shaped like one cut face"):
        find_face(star, P)


def drawn(what, seed):
    """Return a picture of something that is no cut face, on a grey cloth; all of it invented."""
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[:504, :708]

    def clouds(px):
        field = cv2.GaussianBlur(rng.normal(size=x.shape), (0, 0), px)
        return (field / field.std())[..., None]

    picture = 150 + 3 * clouds(2) + np.zeros(3)
    x, y = x - 354, y - 252
    away = np.hypot(x, y) / (200 * (1 + 0.02 * np.cos(3 * np.arctan2(y, x))))
    inside = away < 1
    if what == "a browned top":
        of = np.array([150, 92, 45]) + np.array([28, 26, 18]) * clouds(35)
    elif what == "a plate":
        of = 235 - 25 * np.exp(-(((away - 0.7) / 0.02) ** 2))[..., None] + np.zeros(3)
    else:
        inside = (abs(x) < 270) & (abs(y) < 170)
        within = ((abs(x) < 240) & (abs(y) < 140))[..., None]
        of = np.array([120, 100, 70]) + np.array([50, 40, 30]) * clouds(45)
        if what == "a card":
            of = 230.0 * rng.integers(0, 2, (21, 30)).repeat(24, 0).repeat(24, 1)[:504, :708, None]
        of = np.where(within, of, 235.0)
    edge = cv2.GaussianBlur(inside.astype(float), (0, 0), 1.0)[..., None]
    picture = picture * (1 - edge) + of * edge + rng.normal(0, 1.5, picture.shape)
    return np.clip(picture, 0, 255).astype(np.uint8)


@pytest.mark.parametrize("what", ["a browned top", "a print", "a card"])
def test_what_is_no_cut_face_is_not_taken_for_one(what):
    for seed in (1, 2, 3):
        picture = drawn(what, seed)
        with pytest.raises(DataError, match=r"patches inside .* draw a box about it"):
            find_face(picture, P)
        boxed = find_face(picture, P, box=(60, 30, 648, 474))
        assert any("look whether it is a cut face" in note for note in boxed.notes)


def test_what_is_as_smooth_as_a_plate_is_told():
    found = find_face(drawn("a plate", 1), P)
    assert any("smoother inside than crumb" in note for note in found.notes)


def test_closed_path_finds_the_cheap_column_and_closes():
    rng = np.random.default_rng(1)
    rows, columns = 120, 40
    true = np.round(20 + 8 * np.sin(2 * np.pi * np.arange(rows) / rows)).astype(int)
    cost = rng.uniform(0.5, 1.0, (rows, columns))
    cost[np.arange(rows), true] = 0
    path = closed_path(cost, 2, 0.05)
    assert np.array_equal(path, true)
    assert abs(path[0] - path[-1]) <= 2


def test_a_circle_keeps_its_size_and_its_normals_point_out():
    t = np.linspace(0, 2 * np.pi, 300, endpoint=False)
    for turn in (1, -1):
        circle = 50 * np.column_stack([np.cos(turn * t), np.sin(turn * t)])
        path = resampled(circle)
        assert np.hypot(*path.T) == pytest.approx(50, rel=0.002)
        assert (np.sum(path * normals(path), 1) > 49).all()

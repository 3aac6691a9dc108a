"""The outline of a cut face on every ground, against what was drawn."""

import crumbs
import cv2
import numpy as np
import pytest

from kit.errors import DataError
from kit.photo.face import filled, find_face
from kit.photo.strip import closed_path, normals, resampled

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


@pytest.mark.parametrize("ground", crumbs.GROUNDS)
def test_outline_within_one_percent_on_every_ground(ground):
    # of 72 fresh faces 4 were off by more (a brown crust on wood as brown; said in `checks`),
    # on a pale ground 1 was off and 1 refused
    level = ("realistic", "hard")[crumbs.GROUNDS.index(ground) % 2]
    scene = crumbs.draw(101, level, ground=ground, cells="field", px_per_mm=8.0)
    off, found = linear_error(scene)
    assert abs(off) < 0.01
    assert np.median(found.crust_mm) == pytest.approx(scene.crust_mm, abs=0.3)


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

"""Scale in the photos of a second drawer (`warped`), by OpenCV's camera, and how honest `u` is."""

import cv2
import numpy as np
import pytest
from printed import printed
from warped import snap

from kit.errors import DataError
from kit.photo.reference import scale

SEED = 20261126


def off_at_disc(shot, found):
    """Relative error of lengths at the disc itself: by the area of its outline in the photo."""
    way = np.linspace(0, 2 * np.pi, 72, endpoint=False)
    true = shot.project(12.5 * np.column_stack([np.cos(way), np.sin(way)]))
    areas = [cv2.contourArea(np.asarray(line, np.float32)) for line in (true, found.outline)]
    return float(np.sqrt(areas[0] / areas[1])) - 1


def off_and_u(kind, i, difficulty, ask=(), **how):
    """Relative error at the face and the standard uncertainty claimed there."""
    shot = snap(np.random.default_rng([SEED, i]), kind, difficulty, **how)
    found = scale(shot.photo, kind, offset_mm=shot.offset_mm, **shot.about, **dict(ask))
    at = shot.face_px[None]
    off = float(found.mm_per_px_at(at)[0]) / shot.mm_per_px - 1
    return off, found.u_at(at).u, found, shot


@pytest.mark.parametrize("kind", ["marker", "checkerboard"])
@pytest.mark.parametrize("upright", [False, True])
def test_printed_references_lying_and_upright(kind, upright):
    # measured on 48 lying ones: RMSE 0.15 %, largest 0.31 %; beyond 4 u with chance 6e-5 each
    off, u, found, _ = off_and_u(
        kind, int(upright), "realistic", upright=upright, told=True, size=(1200, 900)
    )
    assert abs(off) < 0.006, found
    assert abs(off) < 4 * u, found


def test_an_upright_disc_said_to_be_so():
    off, u, found, _ = off_and_u("disc", 3, "easy", {"lies": "upright"}, upright=True, told=True)
    assert abs(off) < 0.012, found
    assert abs(off) < 4 * u, found


def test_two_ends_of_a_ruler_outvote_its_blurred_ticks():
    # the ticks alone tip it by 5° too much (5 of their own standard deviations): 6.5 % at the face
    shot = snap(np.random.default_rng([78, 5]), "ruler", "hard", told=True)
    found = scale(shot.photo, "ruler", offset_mm=shot.offset_mm, **shot.about)
    off = float(found.mm_per_px_at(shot.face_px[None])[0]) / shot.mm_per_px - 1
    assert abs(off) < 0.01, found


def test_two_points_beside_the_face_nearly_square_on_are_within_one_percent():
    # 12 MP, tilted up to 5°, each point 1 pixel off, the face within 15 mm of their middle;
    # 1.4 of about 450 pixels are 0.3 %, the tilt's leverage 0.3 %: RMSE above 1 % never by chance
    from scenes import look

    from kit.photo.camera import Camera
    from kit.photo.picture import read
    from kit.photo.reference import Scale

    rng = np.random.default_rng(SEED)
    grey = read(np.full((3000, 4000, 3), 128, np.uint8), focal_35mm=26.0)
    camera = Camera.of(4000, 3000, 26.0)
    rows = []
    for _ in range(60):
        pose = look(camera, rng.uniform(0, 5), rng.uniform(0, 360), rng.uniform(9, 14))
        truth = Scale("truth", camera, pose, 1.0, 0.0, offset_mm=rng.uniform(10, 20))
        ends = truth.to_px(np.array([[-20, 0], [20, 0.0]]), 0.0) + rng.normal(0, 1, (2, 2))
        found = scale(grey, "points", points=ends, mm=40, offset_mm=truth.offset_mm)
        face = truth.to_px(rng.uniform(-15, 15, (1, 2)) / np.sqrt(2))
        off = float(found.mm_per_px_at(face)[0] / truth.mm_per_px_at(face)[0]) - 1
        rows.append((off, found.u_at(face).u))
    off, u = np.array(rows).T
    assert np.sqrt(np.mean(off**2)) < 0.01
    assert (np.abs(off) < 3 * u).all()


def test_the_card_around_a_face_gives_its_scale_to_a_third_of_a_percent():
    drawn = printed(25.4 * 12).astype(np.float32)
    off, u, found, _ = off_and_u(
        "card", 5, "realistic", {"printed_scale": 180}, drawn=drawn, told=True, away_mm=330,
    )  # fmt: skip
    assert abs(off) < 0.003, found
    assert abs(off) < 4 * u, found
    assert len(found.reading.patches) == 6


@pytest.mark.long
@pytest.mark.parametrize("difficulty", ["easy", "realistic", "hard"])
@pytest.mark.parametrize("kind", ["marker", "checkerboard", "ruler"])
def test_rmse_and_coverage(kind, difficulty):
    # the aim, with the focal length in the file; 24 scenes: below 75 % of a true 95 %: 2e-4
    # a ruler's ticks are 4 to 8 pixels apart here: hard ones blur into one another
    rows, refused = [], 0
    for i in range(24):
        try:
            rows.append(off_and_u(kind, 100 + i, difficulty, told=True)[:2])
        except DataError:
            refused += 1
    off, u = np.array(rows).T
    print(f"{kind} {difficulty}: RMSE {100 * np.sqrt(np.mean(off**2)):.2f} %, "
          f"covered {np.mean(np.abs(off) < 1.96 * u):.2f}, refused {refused}")  # fmt: skip
    limit = 0.015 if kind == "ruler" and difficulty == "hard" else 0.003
    assert np.sqrt(np.mean(off**2)) < limit
    assert np.mean(np.abs(off) < 1.96 * u) > 0.75
    assert refused <= (3 if kind == "ruler" else 0)


@pytest.mark.long
@pytest.mark.parametrize("lies", ["upright", None])
@pytest.mark.parametrize("difficulty", ["easy", "realistic"])
def test_disc_said_to_stand_and_not_said(difficulty, lies):
    # not said: the wrong way of tipping is within its interval; 20 scenes as above
    rows, refused = [], 0
    for i in range(20):
        try:
            how = {} if lies is None else {"lies": lies}
            off, u, found, shot = off_and_u("disc", 200 + i, difficulty, how, upright=True)
            rows.append((off, u, off_at_disc(shot, found)))
        except DataError:  # too small, or as bright as the blotches of its ground
            refused += 1
    off, u, there = np.array(rows).T
    print(f"disc {difficulty}, lies {lies}: RMSE {100 * np.sqrt(np.mean(off**2)):.2f} %, "
          f"covered {np.mean(np.abs(off) < 1.96 * u):.2f}, refused {refused}; at the disc "
          f"{100 * np.sqrt(np.mean(there**2)):.2f} %")  # fmt: skip
    assert np.mean(np.abs(off) < 1.96 * u) > 0.75
    assert lies is None or np.sqrt(np.mean(off**2)) < 0.015
    assert refused <= 2
    assert np.sqrt(np.mean(there**2)) < 0.005

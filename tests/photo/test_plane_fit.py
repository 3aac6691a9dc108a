"""The slopes a plane's fit goes down by, in closed form."""

import numpy as np
import pytest

from kit.photo.camera import Camera, Pose
from kit.photo.references.plane_fit import Marks, _moved, _places, _slopes, turned

CAMERA = Camera(3000.0, 2000.0, 1500.0, 0.02, 0.01)
POSE = Pose(turned(np.array([0.3, -0.2, 0.1])), np.array([20.0, -10.0, 400.0]))
PRINTED = np.array([0.3, 0.002])


@pytest.mark.parametrize("lines", [False, True])
def test_slopes_are_those_of_small_steps(lines):
    """Central differences of the same projection; far from where the fit would end."""
    rng = np.random.default_rng(310010)
    mm = rng.uniform(-60, 60, (30, 2))
    px = CAMERA.project(POSE.to_camera(np.column_stack([mm, np.zeros(30)])))
    normal = rng.normal(size=(30, 2))
    normal /= np.linalg.norm(normal, axis=1)[:, None]
    marks = Marks(mm, px + rng.normal(0, 2, px.shape), normal, rng.normal(size=30), lines=lines)

    def residual(step):
        lens, spread, pose = _moved(CAMERA, POSE, step)
        printed = PRINTED + np.array([spread, step[9]])
        at = lens.project(pose.to_camera(_places(lens, printed, pose, marks)))
        return (at * normal).sum(1) - marks.spread * printed[0]

    slopes = _slopes(CAMERA, PRINTED, POSE, marks)
    for i, h in enumerate([1e-6] * 3 + [1e-4] * 3 + [1e-6] * 4):
        step = h * np.eye(10)[i]
        by_steps = (residual(step) - residual(-step)) / (2 * h)
        assert slopes[:, i] == pytest.approx(by_steps, rel=1e-5, abs=1e-6 * abs(by_steps).max())

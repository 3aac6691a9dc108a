"""What is not known of a patch's print, shared by all of that tone: closed form and draws."""

import numpy as np
import pytest

from kit.photo.browned.light import PatchSeen, fit_light

SIZE = (1000, 800)
#: left and right of the middle, alike: the light's slope tells nothing of the middle
PLACES = ((100.0, 399.5), (899.0, 399.5))


def coded(light):
    """sRGB of linear light (IEC 61966-2-1)."""
    return np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)


def seen(tones, said, u, places=PLACES):
    """Patches whose true reflectances are `tones`, said to be `said` ± `u` (relative)."""
    return [
        PatchSeen(
            np.array(place), np.full(3, float(coded(np.array(0.8 * tone)))), np.full(3, 1e-4),
            np.ones(3, bool), np.full(3, nominal), one,
        )
        for tone, nominal, one in zip(tones, said, u, strict=True)
        for place in places
    ]  # fmt: skip


def grey_in_the_middle(patches, tone):
    """Log of the reflectance that a surface like `tone` in the middle seems to have, and its u."""
    light = fit_light(patches, *SIZE)
    level = np.full((1, 3), float(coded(np.array(0.8 * tone))))
    reflect = light.reflector(level, np.array([[499.5, 399.5]]))
    here = np.log(reflect(light.theta))
    moved = [np.log(reflect(light.theta + way)) - here for way in light.directions.T]
    return here[0, 0], float(np.linalg.norm(np.array(moved)[:, 0, 0]))


@pytest.mark.parametrize("count", [2, 4, 8])
def test_prints_of_one_grey_tell_no_more_than_one_print(count):
    # GUM 5.2.2: the mean of n values with the same error u has u, not u / sqrt(n). A surface of the
    # patches' own level: the curve does not enter, and the light between them is the middle's,
    # but for vignetting and bow (0.05 here).
    rows = np.linspace(150, 650, count // 2) if count > 2 else [399.5]
    places = [(x, float(y)) for x in (100.0, 899.0) for y in rows]
    u = grey_in_the_middle(seen([0.18], [0.18], [0.2], places), 0.18)[1]
    assert u == pytest.approx(np.hypot(0.2, 0.03), rel=0.05)


def test_different_tones_are_different_prints():
    # two tones that err each for itself, one level between: less than either alone
    one = grey_in_the_middle(seen([0.18], [0.18], [0.2]), 0.18)[1]
    two = grey_in_the_middle(seen([0.18, 0.181], [0.18, 0.181], [0.2, 0.2]), 0.18)[1]
    assert two == pytest.approx(one / np.sqrt(2), rel=0.1)


def test_claimed_error_is_that_of_drawn_prints():
    # white, grey and black on both sides, each tone off by its own uncertainty in every draw, both
    # of its prints alike; 60 draws: a spread is known to 9 %, beyond 35 % with chance 2e-4
    rng = np.random.default_rng(20261126)
    said, u = np.array([0.85, 0.18, 0.05]), np.array([0.04, 0.2, 0.3])
    found, claimed = [], []
    for _ in range(60):
        tones = said * np.exp(u * rng.standard_normal(3))
        value, own = grey_in_the_middle(seen(tones, said, u), 0.35)
        found.append(value - np.log(0.35))
        claimed.append(own)
    assert np.std(found) < 1.35 * np.sqrt(np.mean(np.square(claimed)))
    inside = np.mean(np.abs(found) < 1.96 * np.array(claimed))
    assert inside >= 0.85


def test_a_lens_that_darkens_the_sides_is_in_the_uncertainty():
    # white, grey and black on both sides, where a fifth of the light is lost; no ground tells
    tones = (0.88, 0.25, 0.045)
    places = [(x, y) for x in (60.0, 939.0) for y in (200.0, 399.5, 600.0)]
    patches = []
    for tone in tones:
        for x, y in places:
            away = np.hypot(x - 499.5, y - 399.5) / 500
            level = coded(np.array(0.8 * tone * (1 - 0.2 * away**2 / 0.88**2)))
            patches.append(PatchSeen(np.array([x, y]), np.full(3, float(level)), np.full(3, 0.002),
                                     np.ones(3, bool), np.full(3, tone)))  # fmt: skip
    found, u = grey_in_the_middle(patches, 0.3)
    assert abs(found - np.log(0.3)) < u  # as much as few lenses lose: well within two

"""Two side views of one piece: drawn longer one way than the other, turned between the photos."""

import math
from dataclasses import replace

import numpy as np
import pytest
import solids

from kit.errors import InputError
from kit.photo import TwoViews, read, side, two_views
from kit.photo.side_view import ROUND, STEEP_DEG
from kit.photo.value import combined


def seen(shape, longer, kind="piece", elevation_deg=6.0):
    """A side view by the exact outline, of a piece so many times longer across than away."""
    at = solids.setting(np.random.default_rng(0), 1000, 750, elevation_deg, 240.0)
    plain = read(np.full((750, 1000, 3), 90, np.uint8))
    return side(plain, solids.scale_of(at), kind, outline=replace(at, longer=longer).outline(shape))


MUFFIN, BALL = solids.rounded(42.0, 30.0, 9.0, 9.0), solids.cap(42.0, 38.0)


@pytest.fixture(scope="module")
def views():
    return seen(MUFFIN, 1.08), seen(MUFFIN, 1 / 1.08)


@pytest.mark.parametrize(("shape", "kind"), [(MUFFIN, "piece"), (BALL, "ball")])
@pytest.mark.parametrize("longer", [1.03, 1.08])
@pytest.mark.parametrize("elevation_deg", [2.0, 9.0])
def test_what_one_view_cannot_see_two_do(shape, kind, longer, elevation_deg):
    """Of one view the volume is off by as much as the piece is longer; of both by little."""
    a, b = (seen(shape, way, kind, elevation_deg) for way in (longer, 1 / longer))
    both = two_views(a, b)
    assert a.volume_ml.value > (1 + 0.6 * (longer - 1)) * shape.volume_ml
    assert b.volume_ml.value < (1 - 0.6 * (longer - 1)) * shape.volume_ml
    assert both.volume_ml.value == pytest.approx(shape.volume_ml, rel=0.008)
    assert both.height_mm.value == pytest.approx(shape.h[-1], rel=0.01)
    assert both.diameter_mm.value == pytest.approx(2 * shape.r.max(), rel=0.003)
    assert both.longer.value == pytest.approx(longer, abs=0.005)


def test_words_and_faces(views):
    both = two_views(*views)
    assert isinstance(both, TwoViews)
    assert ROUND in views[0].checks
    assert ROUND not in both.checks
    assert "% longer: either photo alone would have put its volume wrong" in both.sentence
    assert both.headline in str(both)
    assert repr(both).startswith("<TwoViews piece: ")
    assert "ellipse" in both._repr_html_()
    frame = both.to_frame()
    assert frame["quantity"].tolist() == ["height_mm", "diameter_mm", "volume_ml"]
    assert frame["u"].tolist() == [both.height_mm.u, both.diameter_mm.u, both.volume_ml.u]
    assert views[0].elevation_deg < STEEP_DEG
    alike = two_views(seen(MUFFIN, 1.001), seen(MUFFIN, 1 / 1.001))
    assert "alike as far as photos tell: round" in alike.sentence


def test_what_both_photos_err_by_alike_does_not_become_less(views):
    both = two_views(*views)
    for name in ("height_mm", "diameter_mm", "volume_ml"):
        one, two = (getattr(view, name) for view in views)
        mean = getattr(both, name)
        assert mean.u == pytest.approx(math.hypot(*mean.parts.values()))
        for cause, by in (("scale", 1.0), ("fit", math.sqrt(0.5))):
            parts = [v.parts[cause] / v.value for v in (one, two)]
            assert mean.parts[cause] / mean.value == pytest.approx(by * np.mean(parts), rel=0.1)


def test_what_photos_err_by_the_other_way_is_not_taken_to_cancel():
    """From below a rim and from above it the fit errs opposite ways, by cameras held anew."""
    a, b = seen(MUFFIN, 1.0, elevation_deg=-6.0), seen(MUFFIN, 1.0, elevation_deg=9.0)
    both = two_views(a, b)
    opposite = 0
    for name in ("height_mm", "diameter_mm", "volume_ml"):
        one, two, mean = (getattr(view, name) for view in (a, b, both))
        for cause in a.signed[name].keys() & b.signed[name].keys():
            x, y = a.signed[name][cause] / one.value, b.signed[name][cause] / two.value
            opposite += x * y < 0
            assert mean.parts[cause] / mean.value >= 0.999 * math.hypot(x, y) / 2
    assert opposite


def with_height(view, mm):
    """The same view as if it had told another height."""
    return replace(view, height_mm=replace(view.height_mm, value=mm))


def test_heights_that_differ_are_told_and_make_the_mean_unsure(views):
    """One height, told twice: half of what they differ by is what they say of its uncertainty."""
    a, b = views
    other = with_height(b, 1.2 * a.height_mm.value)
    both = two_views(a, other)
    half = (1.2 - 1) / 2
    assert both.height_mm.u / both.height_mm.value == pytest.approx(half)
    assert both.volume_ml.u > 0.9 * half * both.volume_ml.value
    assert any("more than both may err" in check for check in both.checks)
    assert not any("more than both may err" in check for check in two_views(a, b).checks)


def test_two_things_are_not_taken_for_one_piece(views):
    a, b = views
    narrow = replace(b, diameter_mm=combined(0.7 * a.diameter_mm.value, "mm", fit=0.3))
    checks = two_views(a, narrow).checks
    assert any("hardly a piece is so much longer one way" in check for check in checks)


def test_what_makes_no_sense_is_refused(views):
    a, b = views
    jar = replace(b, shape="jar")
    with pytest.raises(InputError) as caught:
        two_views(jar, jar)
    assert str(caught.value) == ("a is 'jar': must be a ball or a piece. A jar's width is known.")
    with pytest.raises(InputError) as caught:
        two_views(a, replace(b, shape="ball"))
    assert str(caught.value) == (
        "what this photo shows is 'ball': must be a piece, as on the other photo. Say the same of "
        "both."
    )
    with pytest.raises(InputError, match=r"must be of another photo than a\. Turn the piece"):
        two_views(a, replace(a))

"""A proof series against drawn scenes, and the three roads to a volume ratio.

Chance of false failure: seeds are fixed.
"""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
import solids

from kit.errors import InputError
from kit.photo.picture import read
from kit.photo.proof_ratio import DOUBLE, ratio_from_level, ratio_from_marks
from kit.photo.proof_series import Series, series
from kit.photo.side_view import Jar

START = datetime(2026, 3, 5, 6, 40, tzinfo=UTC)


def drawn_series(seed, level, n=4, top_ratio=2.2):
    """A ball that swells and slumps a little before one camera; photos, scale, true ratios."""
    rng = np.random.default_rng(seed)
    at = solids.setting(rng, 1000, 750, rng.uniform(3, 9), 280.0)
    volumes, photos = [], []
    for i, ratio in enumerate(np.linspace(1, top_ratio, n)):
        radius = 34 * ratio**0.36
        shape = solids.cap(radius, radius * (1.25 - 0.12 * (ratio - 1)))
        picture, _ = solids.draw(np.random.default_rng(seed + i), shape, at, 1000, 750, level)
        photos.append(replace(read(picture), taken=START + timedelta(minutes=25 * i)))
        volumes.append(shape.volume_ml)
    return photos, solids.scale_of(at, u=0.01), np.array(volumes) / volumes[0]


@pytest.fixture(scope="module")
def risen():
    photos, scale, ratios = drawn_series(3, "realistic")
    return series(photos[::-1], scale), photos, scale, ratios


def test_rows_come_in_time_order_with_ratios(risen):
    found, photos, _, ratios = risen
    frame = found.to_frame()
    assert list(frame["minutes"]) == [0, 25, 50, 75]
    assert list(frame["sha256"]) == [p.sha256 for p in photos]
    np.testing.assert_allclose(frame["ratio"], ratios, rtol=0.015)
    assert frame["ratio"].iloc[0] == 1
    assert frame["u_ratio"].iloc[0] == 0


def test_the_scale_s_error_cancels_in_the_ratio_only_when_shared(risen):
    found, photos, scale, ratios = risen
    assert found.shared
    own = series(photos, lambda _: scale)
    assert not own.shared
    last, apart = found.to_frame().iloc[-1], own.to_frame().iloc[-1]
    # the shared series goes on from the photo before: the same answer to a few parts in 10⁴
    assert last["ratio"] == pytest.approx(apart["ratio"], rel=1e-3)
    # 1 % of scale is 3 % of a volume: it alone would give 3 % · √2 of the ratio
    assert apart["u_ratio"] > 0.04 * apart["ratio"]
    assert last["u_ratio"] < 0.02 * last["ratio"]
    assert abs(last["ratio"] - ratios[-1]) < 3 * last["u_ratio"]


def test_one_bad_photo_is_a_row_with_its_reason(risen, tmp_path):
    _, photos, scale, _ = risen
    broken = tmp_path / "broken.jpg"
    broken.write_bytes(b"\xff\xd8 no picture")
    nothing = replace(
        read(np.full((750, 1000, 3), 90, np.uint8)), taken=START + timedelta(minutes=60)
    )
    done = []
    found = series([photos[0], broken, nothing, photos[3], tmp_path / "gone.jpg"], scale,
                   progress=lambda i, n: done.append((i, n)))  # fmt: skip
    assert len(found.rows) == 5
    assert len(found.measured) == 2
    frame = found.to_frame().set_index("photo")
    assert np.isnan(frame.loc["broken.jpg", "ratio"])
    assert frame.loc["broken.jpg", "notes"]
    assert "stands out" in frame.loc["photo 3", "notes"]
    assert frame.loc["photo 3", "minutes"] == 60
    assert frame.loc["gone.jpg", "notes"]
    assert any("3 of 5 photos" in c for c in found.checks)
    assert done[-1] == (5, 5)


def test_photos_without_times_keep_their_order_and_say_so(risen):
    _, photos, scale, _ = risen
    found = series([replace(photos[1], taken=None), photos[0]], scale)
    assert found.to_frame()["sha256"].tolist() == [photos[1].sha256, photos[0].sha256]
    assert any("do not say when" in c for c in found.checks)
    assert np.isnan(found.to_frame()["minutes"]).all()


def test_faces_and_words(risen):
    found = risen[0]
    assert repr(found) == "<Series ball: 4 of 4 photos measured>"
    assert "times the first volume after 75 minutes" in str(found)
    assert DOUBLE in str(found)
    assert DOUBLE in found._repr_html_()
    assert len(found.plot().containers) == 1
    assert isinstance(found, Series)


def test_series_refuses_what_makes_no_sense(risen):
    scale = risen[2]
    with pytest.raises(InputError, match=r"photos is .*: must hold at least one photo"):
        series([], scale)
    with pytest.raises(InputError, match="must be one of ball, piece, jar"):
        series([1], scale, "loaf")
    with pytest.raises(InputError, match="only then"):
        series([1], scale, "ball", jar=Jar(80))


@pytest.mark.long
@pytest.mark.parametrize(("level", "aim"), [("easy", 0.5), ("realistic", 1.0), ("hard", 1.5)])
def test_ratios_on_many_series(level, aim):
    """RMSE of ratios in percent over 10 series of 4."""
    off, inside = [], []
    for seed in range(700, 710):
        photos, scale, ratios = drawn_series(50 * seed, level)
        frame = series(photos, scale).to_frame()
        off += list(100 * (frame["ratio"] / ratios - 1)[1:])
        inside += list((abs(frame["ratio"] - ratios) < 1.96 * frame["u_ratio"])[1:])
    off = np.array(off)[~np.isnan(off)]
    rmse, held = float(np.sqrt(np.mean(off**2))), float(np.mean(inside))
    print(f"{level}: {len(off)} of 30 ratios; RMSE {rmse:.2f} %; 95 % intervals hold {held:.2f}")
    assert len(off) >= 24
    assert rmse < aim
    assert held >= 0.85


def test_level_in_a_straight_jar_doubles_with_the_height():
    found = ratio_from_level(Jar(86), 40, 80, 0.5)
    assert found.ratio.value == pytest.approx(2)
    # d(now)/first and ratio·d(first)/first: 0.5/40 and 2·0.5/40
    assert found.ratio.u == pytest.approx(np.hypot(0.0125, 0.025))
    assert DOUBLE in str(found)


def test_level_in_a_cone_follows_the_volumes():
    """Volumes of frustums by hand: 60 mm at the bottom, 80 mm at 100 mm."""
    jar = Jar(60, profile=[(0, 60), (100, 80)])

    def held(level):
        r = 30 + 10 * level / 100
        return level * (900 + 30 * r + r * r) / 3

    found = ratio_from_level(jar, 40, 80)
    assert found.ratio.value == pytest.approx(held(80) / held(40))


def test_marks_go_with_the_cube_and_say_when_that_holds():
    found = ratio_from_marks(50, 63, 0.5, 0.5)
    assert found.ratio.value == pytest.approx(1.26**3)
    assert found.ratio.u == pytest.approx(1.26**3 * 3 * np.hypot(0.5 / 63, 0.5 / 50))
    assert "alike in all directions" in str(found)
    assert DOUBLE in found._repr_html_()
    assert found.to_frame()["method"].tolist() == ["marks"]
    with pytest.raises(InputError, match="now_mm is 0: must be above 0"):
        ratio_from_marks(50, 0)
    with pytest.raises(InputError, match="level_mm_first is 0: must be above 0"):
        ratio_from_level(Jar(80), 0, 10)

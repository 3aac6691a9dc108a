"""Colour against what is published: IEC 61966-2-1, CIE 1976, all pairs of CIEDE2000."""

import numpy as np
import pytest

from kit.photo.pixels.colour import delta_e00, light_of, srgb_of, to_lab

#: L*, a*, b* twice and their difference: Sharma, Wu and Dalal, "The CIEDE2000 color-difference
#: formula", Color Research and Application 30 (2005) 21, table 1, all 34 pairs
PUBLISHED = np.array(
    [
        (50, 2.6772, -79.7751, 50, 0, -82.7485, 2.0425),
        (50, 3.1571, -77.2803, 50, 0, -82.7485, 2.8615),
        (50, 2.8361, -74.0200, 50, 0, -82.7485, 3.4412),
        (50, -1.3802, -84.2814, 50, 0, -82.7485, 1.0000),
        (50, -1.1848, -84.8006, 50, 0, -82.7485, 1.0000),
        (50, -0.9009, -85.5211, 50, 0, -82.7485, 1.0000),
        (50, 0, 0, 50, -1, 2, 2.3669),
        (50, -1, 2, 50, 0, 0, 2.3669),
        (50, 2.4900, -0.0010, 50, -2.4900, 0.0009, 7.1792),
        (50, 2.4900, -0.0010, 50, -2.4900, 0.0010, 7.1792),
        (50, 2.4900, -0.0010, 50, -2.4900, 0.0011, 7.2195),
        (50, 2.4900, -0.0010, 50, -2.4900, 0.0012, 7.2195),
        (50, -0.0010, 2.4900, 50, 0.0009, -2.4900, 4.8045),
        (50, -0.0010, 2.4900, 50, 0.0010, -2.4900, 4.8045),
        (50, -0.0010, 2.4900, 50, 0.0011, -2.4900, 4.7461),
        (50, 2.5, 0, 50, 0, -2.5, 4.3065),
        (50, 2.5, 0, 73, 25, -18, 27.1492),
        (50, 2.5, 0, 61, -5, 29, 22.8977),
        (50, 2.5, 0, 56, -27, -3, 31.9030),
        (50, 2.5, 0, 58, 24, 15, 19.4535),
        (50, 2.5, 0, 50, 3.1736, 0.5854, 1.0000),
        (50, 2.5, 0, 50, 3.2972, 0.0000, 1.0000),
        (50, 2.5, 0, 50, 1.8634, 0.5757, 1.0000),
        (50, 2.5, 0, 50, 3.2592, 0.3350, 1.0000),
        (60.2574, -34.0099, 36.2677, 60.4626, -34.1751, 39.4387, 1.2644),
        (63.0109, -31.0961, -5.8663, 62.8187, -29.7946, -4.0864, 1.2630),
        (61.2901, 3.7196, -5.3901, 61.4292, 2.2480, -4.9620, 1.8731),
        (35.0831, -44.1164, 3.7933, 35.0232, -40.0716, 1.5901, 1.8645),
        (22.7233, 20.0904, -46.6940, 23.0331, 14.9730, -42.5619, 2.0373),
        (36.4612, 47.8580, 18.3852, 36.2715, 50.5065, 21.2231, 1.4146),
        (90.8027, -2.0831, 1.4410, 91.1528, -1.6435, 0.0447, 1.4441),
        (90.9257, -0.5406, -0.9208, 88.6381, -0.8985, -0.7239, 1.5381),
        (6.7747, -0.2908, -2.4247, 5.8714, -0.0985, -2.2286, 0.6377),
        (2.0776, 0.0795, -1.1350, 0.9033, -0.0636, -0.5514, 0.9082),
    ]
)


def test_all_34_published_pairs_of_ciede2000():
    assert len(PUBLISHED) == 34
    got = delta_e00(PUBLISHED[:, :3], PUBLISHED[:, 3:6])
    np.testing.assert_allclose(got, PUBLISHED[:, 6], atol=0.00005 + 1e-9)  # 4 printed decimals
    back = delta_e00(PUBLISHED[:, 3:6], PUBLISHED[:, :3])
    np.testing.assert_allclose(back, got, atol=1e-9)


def test_srgb_curve_has_the_constants_of_iec_61966_2_1():
    # 12.92, 0.04045, 0.0031308, 1.055, 2.4: IEC 61966-2-1:1999, 5.2
    assert light_of(0.04045) == pytest.approx(0.04045 / 12.92, abs=1e-12)
    assert light_of(0.5) == pytest.approx(((0.5 + 0.055) / 1.055) ** 2.4, abs=1e-12)
    assert srgb_of(0.002) == pytest.approx(0.002 * 12.92, abs=1e-12)
    assert srgb_of(0.18) == pytest.approx(1.055 * 0.18 ** (1 / 2.4) - 0.055, abs=1e-12)
    # the two pieces meet to within the standard's rounding
    assert float(light_of(0.04045)) == pytest.approx(float(light_of(0.040450001)), abs=1e-6)


def test_srgb_curve_agrees_with_scikit_image_and_its_own_inverse():
    from skimage.color import rgb2xyz

    levels = np.arange(256) / 255
    grey = np.repeat(levels[None, :, None], 3, 2)
    y = rgb2xyz(grey)[0, :, 1]  # of grey, Y is the light itself
    np.testing.assert_allclose(light_of(levels), y, atol=1e-6)
    np.testing.assert_allclose(srgb_of(light_of(levels)), levels, atol=1e-6)
    assert (np.diff(light_of(np.linspace(-0.1, 1.2, 500))) > 0).all()


@pytest.mark.parametrize(
    ("y", "lightness"),
    # CIE 15:2004, 8.2.1: L* = 116 (Y/Yn)^(1/3) − 16, by hand: 18.4187 % grey is L* = 50
    [(1.0, 100.0), (0.18418651851244416, 50.0), (0.008856, 8.0), (0.0, 0.0)],
)
def test_lightness_of_grey(y, lightness):
    lab = to_lab([y, y, y])
    assert lab[0] == pytest.approx(lightness, abs=0.01)
    np.testing.assert_allclose(lab[1:], 0, atol=0.02)


def test_colours_of_the_primaries():
    # red of sRGB: L* 53.24, a* 80.09, b* 67.20 (Lindbloom's calculator, D65; from memory)
    np.testing.assert_allclose(to_lab([1.0, 0, 0]), [53.24, 80.09, 67.20], atol=0.03)

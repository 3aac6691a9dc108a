"""Browning: scenes of known colour, claimed against real error, refusals in words."""

import dataclasses

import numpy as np
import pytest
from faces import make_scene, srgb_from

from kit.errors import DataError, InputError
from kit.photo import browning, read
from kit.photo.browned.grey_patch import as_polygon
from kit.photo.browned.light import PatchSeen, fit_light
from kit.photo.pixels.colour import delta_e00

AIMS = {"easy": 0.3, "realistic": 0.7, "hard": 1.5}


def measure(level, seeds, boxed=True):
    """Errors ΔE00, and errors of L*, a*, b* in standard uncertainties."""
    apart, scores = [], []
    for seed in seeds:
        scene = make_scene(seed, level)
        got = browning(read(scene.jpeg), scene.faces if boxed else scene.outlines, scene.patches)
        apart += list(delta_e00(got.lab, scene.lab))
        for face, true in zip(got.faces, scene.lab, strict=True):
            u = [face.lightness.u, face.a.u, face.b.u]
            scores.append((face.lab - true) / u)
    return np.array(apart), np.array(scores)


# Seeds below 100 were used while this was written. On fresh ones (300 to 329, 300 to 315) the
# means were 0.26, 0.41 and 0.65. A face's error scatters by about 0.7 of the mean: the mean of
# some 45 faces (easy) or 20 (others) passes its aim in about 95 of 100 and nearly all sets of
# seeds; the seeds being fixed, the test either passes or does not.
@pytest.mark.parametrize(("level", "photos"), [("easy", 24), ("realistic", 8), ("hard", 8)])
def test_colour_of_faces_in_boxes(level, photos):
    apart, scores = measure(level, range(300, 300 + photos))
    assert apart.mean() < AIMS[level]
    inside = (np.abs(scores) < 1.96).mean()
    assert inside > 0.8  # of correlated values; the long test is stricter


@pytest.mark.long
@pytest.mark.parametrize("boxed", [True, False])
@pytest.mark.parametrize("level", AIMS)
def test_accuracy_table(level, boxed):
    apart, scores = measure(level, range(1000, 1060), boxed)
    inside = (np.abs(scores) < 1.96).mean(0)
    kind = "boxes" if boxed else "outlines"
    print(
        f"\n{level:10} {kind:8} {len(apart)} faces: ΔE00 mean {apart.mean():.2f}, 95 % below "
        f"{np.quantile(apart, 0.95):.2f}; intervals hold L*, a*, b* in "
        + ", ".join(f"{100 * share:.0f}" for share in inside)
        + " %"
    )
    assert apart.mean() < AIMS[level]
    assert inside.mean() > 0.9


def test_refuses_without_a_reference_and_says_what_to_do():
    scene = make_scene(302, "easy", faces=1)
    with pytest.raises(DataError) as caught:
        browning(read(scene.jpeg), scene.faces)
    assert "Retake it with the card beside the muffin" in str(caught.value)


def test_refuses_patches_that_were_mixed_up():
    scene = make_scene(303, "easy", faces=1)
    boxes, known = zip(*scene.patches, strict=True)
    wrong = list(zip(boxes, known[::-1][1:] + known[-1:], strict=True))
    with pytest.raises(DataError, match="contradict one another"):
        browning(read(scene.jpeg), scene.faces, wrong)


@pytest.mark.parametrize(
    ("faces", "patches", "told"),
    [
        ([], [((5, 5, 40, 40), 0.9)], "faces is []: must name at least one face"),
        ([(50, 5, 40, 40)], [((5, 5, 40, 40), 0.9)], "face 1 is [50.0, 5.0, 40.0, 40.0]"),
        ([(1, 2, 3)], [((5, 5, 40, 40), 0.9)], "face 1"),
        ([(60, 60, 100, 100)], [((5, 5, 40, 40), 0.0)], "reflectance of patch 1 is 0: must be"),
        ([(60, 60, 100, 100)], [((5, 5, 40, 40), "grey")], "reflectance of patch 1 is 'grey'"),
        ([(60, 60, 100, 100)], [((5, 5, 40, 40),)], "patch 1"),
        ([(60, 60, 100, 100)], [((500, 500, 540, 540), 0.9)], "must lie in the photo"),
        ([(600, 600, 700, 700)], [((5, 5, 40, 40), 0.9)], "must lie in the photo"),
    ],
)
def test_says_which_box_or_number_is_wrong(faces, patches, told):
    photo = read(np.full((200, 300, 3), 120, np.uint8))
    with pytest.raises(InputError) as caught:
        browning(photo, faces, patches)
    assert told in str(caught.value)


def test_burnt_out_patches_are_left_out_or_refused():
    pixels = np.full((300, 400, 3), 150, np.uint8)
    pixels[10:60, 10:60] = 255
    photo, white = read(pixels), ((10, 10, 60, 60), 0.9)
    face = [(150, 100, 250, 200)]
    with pytest.raises(DataError, match="burnt out or black"):
        browning(photo, face, [white])
    pixels[100:150, 10:60] = 150
    got = browning(read(pixels), [as_polygon(face[0], "face")], [white, ((10, 100, 60, 150), 0.3)])
    assert got.checks[0] == "patch 1 is too bright for the camera and was not used in full"
    # the face is as the grey patch: 30 % is L* = 116 · 0.3^(1/3) − 16 = 61.65
    low, high = got.faces[0].lightness.interval(0.95)
    assert low < 61.65 < high


def test_shares_of_dark_and_unevenness_of_a_known_face():
    # sRGB levels of greys with L* 20 and 70, half of the face each; patches say sRGB
    light = {20: 0.0298905, 70: 0.4074941, "white": 0.9, "grey": 0.2, "black": 0.04}
    level = {k: np.rint(255 * srgb_from(np.array(v))) for k, v in light.items()}
    pixels = np.full((300, 500, 3), 200, np.uint8)
    patches = []
    for x in (20, 440):
        for y, kind in ((30, "white"), (110, "grey"), (190, "black")):
            pixels[y : y + 50, x : x + 40] = level[kind]
            patches.append(((x, y, x + 39, y + 49), light[kind]))
    pixels[100:200, 200:250], pixels[100:200, 250:300] = level[20], level[70]
    polygon = np.array([(199.5, 99.5), (299.5, 99.5), (299.5, 199.5), (199.5, 199.5)])
    got = browning(read(pixels), [polygon], patches)
    assert got.dark_fraction[0].value == pytest.approx(0.5, abs=0.01)
    assert got.faces[0].lightness.value == pytest.approx(45, abs=0.6)
    assert got.faces[0].unevenness.value == pytest.approx(25, rel=0.06)


def test_light_is_found_from_patches_in_numbers():
    # by hand: gain 0.7, slope 0.2 per half picture in linear light, sRGB
    patches = []
    for x in (50.0, 950.0):
        for y, reflectance in ((300.0, 0.9), (400.0, 0.2), (500.0, 0.05)):
            lit = 0.7 * (1 + 0.2 * (x - 499.5) / 500) * reflectance
            level = np.full(3, float(srgb_from(np.array(lit))))
            patches.append(
                PatchSeen(np.array([x, y]), level, np.full(3, 1e-4), np.ones(3, bool),
                          np.full(3, reflectance))
            )  # fmt: skip
    light = fit_light(patches, 1000, 800)
    level = float(srgb_from(np.array(0.7 * 0.4)))
    got = light.reflectance(np.full((1, 3), level), np.array([[499.5, 399.5]]))
    np.testing.assert_allclose(got, 0.4, rtol=0.04)  # what vignetting may do is not known
    assert light.rises
    assert light.misfit < 1


def test_two_sides_of_the_difference_and_the_five_faces():
    scene = make_scene(304, "realistic", faces=2)
    got = browning(read(scene.jpeg), scene.faces, scene.patches)
    d = got.difference(0, 1)
    assert d.value == pytest.approx(got.delta_e00[0, 1])
    assert d.value == got.difference(1, 0).value
    assert got.difference(0, 0).value == 0
    # what both faces share cancels: surer than of faces in two photos
    assert d.u < np.hypot(*(f.lightness.u for f in got.faces))
    frame = got.to_frame()
    assert len(frame) == 10
    assert repr(got).startswith("<Browning of 2 faces: L* ")
    assert "ΔE00" in str(got)
    assert "<strong>" in got._repr_html_()
    ax = got.plot()
    drawn = [line.get_ydata()[0] for line in ax.lines if line.get_marker() == "o"]
    np.testing.assert_allclose(drawn, got.lab[:, 0])


def test_the_cards_patches_come_with_the_scale():
    scene = make_scene(305, "easy", faces=1)
    photo = read(scene.jpeg)

    @dataclasses.dataclass
    class Reading:
        patches: list

    @dataclasses.dataclass
    class Scale:
        reading: Reading

    as_polygons = [(as_polygon(box, "patch"), share) for box, share in scene.patches]
    by_scale = browning(photo, scene.faces, scale=Scale(Reading(as_polygons)))
    by_hand = browning(photo, scene.faces, scene.patches)
    np.testing.assert_allclose(by_scale.lab, by_hand.lab)

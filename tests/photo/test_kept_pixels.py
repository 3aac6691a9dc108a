"""What a photo keeps of its pixels, what it lets go, and what is sent to another process."""

import pickle

import numpy as np
from PIL import Image

from kit.photo import picture, read

PIXELS = np.random.default_rng(9530021).integers(0, 256, (48, 64, 3), dtype=np.uint8)


def test_pixels_are_held_once_and_can_be_let_go(tmp_path):
    path = tmp_path / "bake.jpg"
    Image.fromarray(PIXELS).save(path)
    photo = read(path)
    assert photo._held == []
    assert photo.pixels is photo.pixels
    assert not photo.pixels.flags.writeable
    assert not photo.reduced(20)[0].flags.writeable
    sent = pickle.dumps(photo)
    assert len(sent) < 1000  # the path, not the pixels
    np.testing.assert_array_equal(pickle.loads(sent).pixels, photo.pixels)
    photo.forget()
    assert photo._held == []
    assert photo._small == {}


def test_an_array_keeps_its_pixels_and_lets_reduced_copies_go():
    photo = read(PIXELS)
    sent = len(pickle.dumps(photo))
    photo.reduced(40)
    assert len(pickle.dumps(photo)) == sent
    again = pickle.loads(pickle.dumps(photo))
    np.testing.assert_array_equal(again.pixels, PIXELS)
    photo.forget()
    assert photo._small == {}
    np.testing.assert_array_equal(photo.pixels, PIXELS)


def test_reduced_copies_are_kept_up_to_a_number_of_bytes(monkeypatch):
    photo = read(PIXELS)
    sizes = [photo.reduced(n)[0].nbytes for n in (40, 32, 24)]
    photo.forget()
    monkeypatch.setattr(picture, "_MOST_SMALL", sum(sizes[1:]))
    first, second, third = (photo.reduced(n)[0] for n in (40, 32, 24))
    assert photo.reduced(24)[0] is third
    assert photo.reduced(32)[0] is second
    assert photo.reduced(40)[0] is not first  # the oldest had to go
    monkeypatch.setattr(picture, "_MOST_SMALL", sizes[2] - 1)
    assert photo.reduced(48)[0].shape == (36, 48, 3)
    assert photo._small == {}  # larger than all that is kept

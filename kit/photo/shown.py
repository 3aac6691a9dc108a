"""A photo and what was found on it as small files for a screen."""

import io

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from kit.photo.picture import Photo

__all__ = ["as_jpeg", "as_overlay"]


def as_jpeg(photo: Photo, longest_px: int, quality: int = 85) -> bytes:
    """Return a photo as a smaller JPEG, upright and without what its file tells.

    Parameters
    ----------
    photo : Photo
    longest_px : int
        Of its longer side.
    quality : int
        Of the JPEG, 1 to 95.

    Raises
    ------
    InputError
        The file is broken.
    """
    pixels, _ = photo.reduced(longest_px)
    packed = io.BytesIO()
    Image.fromarray(pixels).save(packed, "JPEG", quality=quality)
    return packed.getvalue()


def as_overlay(
    mask: NDArray[np.bool_],
    to_photo: NDArray[np.float64],
    size: tuple[int, int],
    longest_px: int,
    colour: tuple[int, int, int] = (0, 114, 178),
) -> bytes:
    """Return a PNG to be laid over a whole photo: coloured where `mask` is true, clear elsewhere.

    Parameters
    ----------
    mask : (h, w) array of bool
        On pixels of its own.
    to_photo : (3, 3) array
        From pixels of the mask to pixels of the photo.
    size : (int, int)
        Width and height of the photo.
    longest_px : int
        Of the PNG's longer side.
    colour : (int, int, int)
        Red, green, blue; a blue when not given, which every eye tells from crust and crumb.
    """
    import cv2

    k = max(1.0, max(size) / longest_px)
    smaller = np.array([[1 / k, 0, 0.5 / k - 0.5], [0, 1 / k, 0.5 / k - 0.5], [0, 0, 1]])
    onto = (max(1, round(size[0] / k)), max(1, round(size[1] / k)))
    seen = cv2.warpPerspective(np.asarray(mask, np.uint8) * 255, smaller @ to_photo, onto)
    flat = Image.fromarray((seen > 127).astype(np.uint8))
    flat.putpalette([0, 0, 0, *colour])
    packed = io.BytesIO()
    flat.save(packed, "PNG", transparency=0, compress_level=3)
    return packed.getvalue()

"""Whether what was outlined looks like crumb at all: a plate, a print, a card, a crust do not.

Crumb is rough by its cells and, beyond them, the same all over. A plate is smooth, a print or a
card has large patches, the browned top of a whole muffin is smooth and patchy.
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from kit.photo.ranks import median

__all__ = ["doubt"]

Picture = NDArray[Any]

#: Lengths over which cells and patches are told, in mm (standard deviation of the blur).
_CELLS_MM, _PATCHES_MM = 0.7, 2.0
#: Crumb's lightness differs by at least this much (standard deviation of L*) within cells.
_ROUGH = 1.0
#: It differs so many times as much within cells as between patches; and where what lies just
#: inside the outline is no darker than the inside, as crust is, so many times. Drawn faces with
#: the largest cells: from 0.42 on, others from 1.7; drawn prints and browned tops: to 0.3; cards,
#: whose rim is pale: to 0.6 (November 2026).
_EVEN, _EVEN_BARE = 0.35, 1.0
#: How much darker crust is (L*), and between which depths it is looked at, in mm.
_DARKER, _CRUST_MM = 5.0, (0.2, 1.0)
#: With fewer pixels to a millimetre no cells are seen.
_LEAST_PX_PER_MM = 2.0
#: What is looked at: deeper inside than this share of the deepest point.
_INSIDE = 0.5


def doubt(lightness: Picture, face: Picture, px_per_mm: float) -> tuple[str, bool]:
    """Return why the inside of an outline does not look like crumb, and whether it cannot be.

    The first is empty where it does look so; what is smooth may be crumb in poor light.

    Parameters
    ----------
    lightness : (height, width) float32
        L*.
    face : (height, width) bool
        The pixels inside.
    px_per_mm : float
    """
    import cv2

    rows, columns = np.flatnonzero(face.any(1)), np.flatnonzero(face.any(0))
    if not len(rows) or px_per_mm < _LEAST_PX_PER_MM:
        return "", False
    part = np.s_[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
    seen = lightness[part]
    deep = cv2.distanceTransform(np.pad(face[part], 1).view(np.uint8), cv2.DIST_L2, 3)[1:-1, 1:-1]
    inside: NDArray[np.bool_] = deep > _INSIDE * deep.max()
    own = inside.astype(np.float32)

    def blurred(mm: float, k: int) -> Picture:
        """Of every k-th row and column."""
        sd, weight = mm * px_per_mm / k, own[::k, ::k]
        return np.asarray(cv2.GaussianBlur(seen[::k, ::k] * weight, (0, 0), sd)
                          / np.maximum(cv2.GaussianBlur(weight, (0, 0), sd), 1e-3))  # fmt: skip

    rough = float((seen[::2, ::2] - blurred(_CELLS_MM, 2))[inside[::2, ::2]].std())
    # of a picture smooth enough for every fourth pixel to tell
    few = inside[::4, ::4]
    y, x = np.nonzero(few)
    x, y = (x - x.mean()) / few.shape[1], (y - y.mean()) / few.shape[0]
    # light falls unevenly: what a bent surface follows is no patch
    bent = np.stack([np.ones(len(x)), x, y, x * x, x * y, y * y], axis=1)
    patches = blurred(_PATCHES_MM, 4)[few].astype(float)
    patchy = float((patches - bent @ np.linalg.lstsq(bent, patches, rcond=None)[0]).std())
    rim = (deep > _CRUST_MM[0] * px_per_mm) & (deep < _CRUST_MM[1] * px_per_mm)
    darker = median(seen[inside]) - median(seen[rim])
    if patchy > max(_ROUGH, rough / (_EVEN if darker > _DARKER else _EVEN_BARE)):
        return "has larger patches inside than crumb has cells", True
    return ("is smoother inside than crumb", False) if rough < _ROUGH else ("", False)

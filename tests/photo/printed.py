"""The kit's card as a perfect printer would print it."""

import numpy as np

from kit.photo.references import card


def printed(dpi=300.0, margin_mm=0.0):
    """Return the card as reflectances (rows, columns), bare paper around it.

    Edges are weighted by the area they cover.
    """
    fine = dpi / 25.4
    columns, rows = (round((side + 2 * margin_mm) * fine) for side in card.SIZE_MM)
    out = np.full((rows, columns), card.WHITE)
    for part in card.rectangles():
        x0, y0, x1, y1 = ((v + margin_mm) * fine for v in part.box)
        left, top = int(x0), int(y0)
        across = _covered(x0, x1, left, min(int(x1) + 2, columns))
        down = _covered(y0, y1, top, min(int(y1) + 2, rows))
        # white lies on black, all else on paper: what is added is exact where edges meet
        under = card.BLACK if part.reflectance == card.WHITE else card.WHITE
        spot = out[top : top + len(down), left : left + len(across)]
        spot += down[:, None] * across[None] * (part.reflectance - under)
    return out


def _covered(low, high, first, end):
    """Share of each pixel from `first` to `end` that lies between low and high."""
    edge = np.arange(first, end + 1)
    return np.clip(np.minimum(edge[1:], high) - np.maximum(edge[:-1], low), 0, 1)

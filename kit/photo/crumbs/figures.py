"""The figures of a crumb from its cells, and what their uncertainty is made of."""

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from kit.photo.crumbs.cells import Cells, tile_openness, wall_chord
from kit.photo.value import Value, combined

if TYPE_CHECKING:
    from kit.photo.crumbs.seen_cells import SeenCells

__all__ = ["METHOD_U", "figures", "sizes", "slice_u", "values_of"]

Picture = NDArray[Any]

#: What trials on drawn faces of twelve kinds, by four programs that share no code, left over
#: (tests/photo/test_cut_face.py has one of them), relative but for openness and direction.
METHOD_U = {
    "openness": 0.011, "cells_per_cm2": 0.04, "median_cell_mm2": 0.05, "mean_cell_mm2": 0.07,
    "area_weighted_cell_mm2": 0.1, "cell_10_mm2": 0.15, "cell_90_mm2": 0.1,
    "largest_cell_mm2": 0.1, "wall_chord_mm": 0.09, "aspect": 0.03, "direction": 4.0,
    "tile_cv": 0.05,
}  # fmt: skip
#: Up to this blur (standard deviation) the figures above hold; beyond, they grow with this power.
SHARP_MM = 0.10
BLUR_POWER = 1.5
#: The threshold's uncertainty moves these by less than it says (from the same trials).
THRESHOLD = {"openness": 0.8, "median_cell_mm2": 0.8, "wall_chord_mm": 0.8}
#: Of what the search for thin walls, making up for cells lost in blur, and pale cells change, this
#: much may be wrong (from the same trials; of pale cells, from 108 faces of one more program: where
#: cells were few and large, intervals of the number held 33 % and then all); and so much, over the
#: root of the number of cells, where a speck more or less counts. What share of cells is smaller
#: may be wrong by this share of what it strays by in a sample of so many.
DOUBT = {"walls": 0.7, "blur": 0.7, "pale": 0.5}
#: Were narrow passages walls (`Cells.at_necks`), number and sizes would be others: of that change,
#: this much may be so, all of it for large cells, which are merged most (from one program's faces:
#: intervals of the number held 80 % and then 86 %, of the area-weighted cell 68 to 81 % and then
#: 88 %).
NECKS = {
    "cells_per_cm2": 0.5, "median_cell_mm2": 0.5, "mean_cell_mm2": 0.5, "cell_90_mm2": 0.5,
    "area_weighted_cell_mm2": 1.0, "largest_cell_mm2": 1.0,
}  # fmt: skip
#: What may be cells too pale to be told moves these: as openness, others in proportion.
PALE = ("openness", "cells_per_cm2", "median_cell_mm2", "mean_cell_mm2")
FEW = {"cells_per_cm2": 0.5, "mean_cell_mm2": 0.5}
RANKED = {"median_cell_mm2": 0.5, "cell_10_mm2": 0.1, "cell_90_mm2": 0.9}
ASTRAY = 0.5
#: Under a lamp at one side so much more may be wrong (relative but for openness), all of it from
#: this lean on (from the same trials).
LIGHT = {"openness": 0.06, "cells_per_cm2": 0.20, "median_cell_mm2": 0.05}
LEANS = 0.15
_UNITS = {"cells_per_cm2": "/cm²", "wall_chord_mm": "mm", "direction": "°", "openness": "",
          "aspect": "", "tile_cv": ""}  # fmt: skip
_POWER = {"cells_per_cm2": 2.0, "wall_chord_mm": 1.0, "openness": 0.0, "aspect": 0.0,
          "direction": 0.0, "tile_cv": 0.0}  # fmt: skip


def values_of(
    cells: "SeenCells", crumb: Picture, band: Picture, u_scale: Value
) -> dict[str, Value]:
    """Each figure with its parts.

    Those are threshold, scale, crust, walls, necks, blur, light, pale, number and method.

    Parameters
    ----------
    cells : SeenCells
    crumb, band : (height, width) bool
        The crumb, and what of it is crumb even where the crust is off by its uncertainty.
    u_scale : Value
    """
    found = cells.found
    # what is as small as the blur is merged or lost
    lost = max(1.0, cells.rim.blur_mm / SHARP_MM) ** BLUR_POWER
    base = figures(found, crumb)
    moved = base | figures(cells.less, crumb, lying=False)
    as_found = sizes(replace(found, weight=np.ones_like(found.weight)))
    ranked = {name: found.area_at(rank, made_up=True) for name, rank in RANKED.items()}
    others = {
        "walls": sizes(cells.whole), "blur": as_found | ranked, "pale": sizes(cells.clear),
    }  # fmt: skip
    parted, more = sizes(found.at_necks()), sizes(cells.more) | {"openness": cells.more.openness}
    inner = int(np.count_nonzero(found.mask & band)) / max(1, int(np.count_nonzero(band)))
    shift = abs(inner - found.openness)
    root = math.sqrt(max(1, len(found.area_mm2)))
    values = {}
    for name, value in base.items():
        of = 1.0 if name == "openness" else abs(value)
        own = METHOD_U[name] * lost * (1.0 if name == "direction" else of)
        parts = {
            "threshold": THRESHOLD.get(name, 1.0) * abs(moved[name] - value), "method": own,
            "scale": _POWER.get(name, 2.0) * u_scale.u * abs(value),
        }  # fmt: skip
        for part, other in others.items():
            if other.get(name, 0) > 0 and value > 0:
                apart = abs(other[name] - value) / max(other[name], value)
                parts[part] = DOUBT[part] * apart * value
        if cells.lean and name in LIGHT:
            parts["light"] = LIGHT[name] * min(1.0, cells.lean / LEANS) * of
        if name in NECKS and value > 0:
            parts["necks"] = NECKS[name] * abs(parted[name] - value)
        if cells.left_out and name in more and value > 0:
            # all of what they would change: whether they are cells is not known
            parts["pale"] = math.hypot(parts.get("pale", 0.0), more[name] - value)
        if cells.unseen and name in PALE:
            paler = cells.unseen * (1.0 if name == "openness" else of / max(found.openness, 1e-3))
            parts["pale"] = math.hypot(parts.get("pale", 0.0), paler)
        if name in FEW:
            parts["number"] = FEW[name] / root * abs(value)
        if name in RANKED:
            rank = RANKED[name]
            off = ASTRAY * math.sqrt(rank * (1 - rank)) / root
            high, low = found.area_at(min(rank + off, 1.0)), found.area_at(max(rank - off, 0.0))
            parts["number"] = 0.5 * (high - low)
        if name == "openness":
            parts["crust"] = shift
        if name == "cells_per_cm2":
            parts["crust"] = 0.5 * shift / max(found.openness, 1e-3) * value
        values[name] = combined(value, _UNITS.get(name, "mm²"), **parts)
    return values


def sizes(found: Cells) -> dict[str, float]:
    """Return number and sizes of cells by name; NaN where there are no cells."""
    return {
        "cells_per_cm2": found.per_cm2, "median_cell_mm2": found.area_at(0.5),
        "mean_cell_mm2": found.mean_mm2, "cell_10_mm2": found.area_at(0.1),
        "cell_90_mm2": found.area_at(0.9), "largest_cell_mm2": found.largest_mm2,
        "area_weighted_cell_mm2": found.area_weighted_mm2,
    }  # fmt: skip


def figures(found: Cells, crumb: Picture, lying: bool = True) -> dict[str, float]:
    """Return every figure by name, without uncertainty; NaN where there are no cells.

    How cells lie (aspect, direction) takes longest and hardly moves with the threshold: left out
    where `lying` is false.
    """
    tiles = tile_openness(found.mask, crumb, found.px_per_mm)
    even = float(tiles.std(ddof=1) / tiles.mean()) if len(tiles) > 1 and tiles.mean() else np.nan
    own = dict(zip(("aspect", "direction"), found.shape, strict=True)) if lying else {}
    return own | sizes(found) | {
        "openness": found.openness, "tile_cv": even,
        "wall_chord_mm": wall_chord(crumb & ~found.mask) / found.px_per_mm,
    }  # fmt: skip


def slice_u(found: Cells, crumb: Picture) -> dict[str, float]:
    """What another slice would differ by: tiles for openness, Poisson counts for cells."""
    n = max(1, len(found.area_mm2))
    tiles = tile_openness(found.mask, crumb, found.px_per_mm)
    open_u = float(tiles.std(ddof=1) / math.sqrt(len(tiles))) if len(tiles) > 2 else np.nan
    logs = np.log(found.area_mm2) if n > 2 else np.array([np.nan])
    return {
        "openness": open_u,
        "cells_per_cm2": found.per_cm2 / math.sqrt(n),
        "median_cell_mm2": found.area_at(0.5) * 1.2533 * float(np.std(logs)) / math.sqrt(n),
        "mean_cell_mm2": float(np.std(found.area_mm2)) / math.sqrt(n) if n > 1 else np.nan,
    }

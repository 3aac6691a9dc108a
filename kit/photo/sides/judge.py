"""What was found in a side view, and whether to trust it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kit.errors import DataError
from kit.photo.outlines.outline import CLEAR
from kit.photo.sides.jar import JarProfile
from kit.photo.sides.solid_fit import SolidFit

__all__ = [
    "MOST_ELEVATION_DEG", "NOTED_DOUBT", "NOTED_MISFIT", "TOO_STEEP", "WELL_AGREED", "Found",
    "judge",
]  # fmt: skip

Array = NDArray[np.float64]

#: refused beyond these
MOST_ELEVATION_DEG = 35.0
TOO_STEEP = (
    "the camera looked down by {:.0f}°: too steep for a side view. Retake the photo from nearly "
    "the height of the worktop."
)
MOST_MISFIT = 0.02
#: of what stood out without a box: more shows that another thing behind it was taken along (own
#: choice: of pieces alone at most 0.006; where another of their colour peeped out
#: behind them from 0.010 on, heights 7 to 39 % off)
MOST_UNBOXED = 0.009
#: no piece is narrower, millimetres: a crumb, a knot in the wood
LEAST_MM = 20.0
#: colours and edges must both say so of this share of the piece; below the second it is noted
LEAST_AGREED, WELL_AGREED = 0.88, 0.93
#: colours may take a hard shadow for a part of the piece, where its edge is clear all round
SURE_AGREED = 0.75
#: another edge nearly as clear may move top, foot or a side by this share of the smaller side
MOST_DOUBT, NOTED_DOUBT = 0.06, 0.01
#: of a jar's dough so much of the height is left open by the outline where another thing was found
#: (own choice: of those drawn by two programs at most 0.09 where it was the dough, from 0.13 on
#: where it was the glass's rim, a label or the dough's line alone)
MOST_OPEN = 0.1
#: an outline that is off the solid by more than this share of the smaller side is noted
NOTED_MISFIT = 0.004


@dataclass(frozen=True)
class Found:
    """An outline and the solid fitted to it.

    Parameters
    ----------
    points : (n, 2) array
        Full picture pixels.
    fit : SolidFit
    strength : float
        Median clearness of the edge; infinite when drawn by hand.
    size_px : float
        Smaller side of the outline.
    notes : tuple of str
    doubts_px : (float, float, float, float)
        What another edge nearly as clear would move top, foot, left and right by (`doubts`).
    agreed : float
        Of what colours and edges say is the piece, the share that both do.
    """

    points: Array
    fit: SolidFit
    strength: float
    size_px: float
    notes: tuple[str, ...] = ()
    doubts_px: tuple[float, ...] = (0.0, 0.0, 0.0, 0.0)
    agreed: float = 1.0


def _sure(found: Found) -> bool:
    """Whether its edge is clear, as smooth as a round solid's, and without a rival."""
    small = found.size_px
    return (
        found.strength >= CLEAR
        and found.fit.misfit_px < NOTED_MISFIT * small
        and max(found.doubts_px) <= NOTED_DOUBT * small
    )


def judge(found: Found, top_by_hand: bool = False, unboxed: bool = False) -> None:
    """Refuse a fit that is not to be trusted, with the reason and what to do.

    Raises
    ------
    DataError
    """
    fit, small = found.fit, found.size_px
    height, parts = fit.height
    in_jar = isinstance(fit.shape, JarProfile)
    # a rival beside the piece, a card's rim for one, is harmless where colours and edges agree
    rivals = found.doubts_px[: 2 if found.agreed >= WELL_AGREED else 4]
    least = SURE_AGREED if _sure(found) else LEAST_AGREED
    most_misfit = MOST_UNBOXED if unboxed and not in_jar else MOST_MISFIT
    outside = float(np.mean(np.abs(fit.residual_px) > 0.03 * small))
    refusals = (
        (fit.elevation_deg > MOST_ELEVATION_DEG, TOO_STEEP.format(fit.elevation_deg)),
        (fit.diameter[0] < LEAST_MM,
         f"what was found is only {fit.diameter[0]:.0f} mm wide: hardly a piece. Draw a box round "
         "the piece, and look whether the reference is as large as was said."),
        (found.agreed < least or max(rivals) > MOST_DOUBT * small,
         "colours and edges do not say the same of where the piece ends. Draw a box round it, drag "
         "its top and base right, or retake the photo before a plain ground of another colour."),
        (found.strength < CLEAR / 4,
         "the piece hardly differs from the ground: its edge cannot be told from noise. Draw the "
         "outline, or retake the photo before a plain ground of another colour."),
        (in_jar and not top_by_hand and parts["fit"] > MOST_OPEN * height,
         "what was found in the jar does not tell how high the dough is: the glass's rim, a label "
         "or a shadow may have been taken for it. Turn the label away and retake the photo, or "
         "draw the dough's outline."),
        (fit.misfit_px > most_misfit * small or outside > 0.25,
         f"no round solid fits the outline (it is off by {fit.misfit_px:.0f} of {small:.0f} "
         "pixels). Look at the outline and drag it right, draw a box round the piece, or retake "
         "the photo before a plain ground with nothing in front of it."),
    )  # fmt: skip
    for refused, why in refusals:
        if refused:
            raise DataError(why)

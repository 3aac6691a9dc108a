"""From a side view to height, width and volume: a ball, a piece, or dough in a jar."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from kit.errors import DataError, InputError
from kit.photo.arguments import check_kind, check_photo, numbers, one_of, places
from kit.photo.picture import Photo
from kit.photo.reference import Scale
from kit.photo.sides import fit as side_fit
from kit.photo.sides import parts as side_parts
from kit.photo.sides import stand as side_stand
from kit.photo.sides.jar import JAR, Jar
from kit.photo.sides.judge import Found, judge
from kit.photo.sides.solid_fit import SolidFit
from kit.photo.value import Value, combined, tidy
from kit.shown import Telling, Told

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["Jar", "Side", "check_shape", "side"]

Array = NDArray[np.float64]
Box = tuple[float, float, float, float]
Point = tuple[float, float]

SHAPES = ("ball", "piece", "jar")
#: From so high on a piece is noted (own choice: on drawn pieces of two kinds half of the heights
#: were off by more than 0.4 % below 6° and by more than 1.7 % above 12°; of two other kinds an
#: edge misjudged by one pixel became 10 % of the height from 10° on).
STEEP_DEG = 8.0
#: One view cannot see how far from round a piece is (said with every volume).
ROUND = (
    "one photo cannot show whether a piece is round: where it is 3 % longer one way than the "
    "other, the volume is wrong by up to 3 %. Ratios within a series of photos from one side "
    "hold; for the volume itself add a photo from a quarter turn round"
)
LOOKED_AGAIN = (
    "it hardly stands out from what is around it and was looked for where a piece can stand beside "
    "the reference: look whether the outline drawn is right"
)
ON_IT = (
    "both points lie on what was measured: if they were marked beside the piece, on a strip of "
    "paper or a ruler, that was taken for it. Look at the outline drawn, and draw a box round the "
    "piece"
)
GLASS = (
    "through clear glass the jar's own foot may be taken for the dough's, and the height is then "
    "too much by the glass under the dough. Look whether the outline drawn ends where the dough "
    "does, and drag its base there: the height is surer then"
)
#: what is measured of every shape
THREE = ("height_mm", "diameter_mm", "volume_ml")
#: a lean of one degree is told where it changes the height by more than this share
LEAST_LEAN = 0.01


@dataclass(frozen=True)
class Side(Told):
    """What a side view says.

    Parameters
    ----------
    shape : str
        "ball", "piece" or "jar".
    height_mm, diameter_mm, volume_ml : Value
        Worktop to top (in a jar: inside bottom to the dome's top); where it is widest (in a jar:
        its inside); what it would hold were it round.
    level_mm : Value or None
        In a jar: the dough's line on the wall over the inside bottom.
    outline : (n, 2) array
        Edge points that were used, full picture pixels.
    drawn : (m, 2) array
        Outline of the fitted solid, once round.
    base, top : (x, y)
        Lowest and highest point of `drawn`.
    elevation_deg : float
        How far the camera looked down.
    misfit_px : float
        Root mean square distance of outline points to the fitted outline, the farthest tenth
        left out.
    corrected : bool
        A hand drew or dragged the outline, the top or the base.
    checks : tuple of str
        What to bear in mind.
    signed : mapping of str to mapping
        Per quantity, its parts of uncertainty with their signs: what goes the same way in all
        photos of one camera and reference cancels in ratios.
    fit : SolidFit
    """

    shape: str
    height_mm: Value
    diameter_mm: Value
    volume_ml: Value
    level_mm: Value | None
    outline: Array = field(repr=False)
    drawn: Array = field(repr=False)
    base: Point
    top: Point
    elevation_deg: float
    misfit_px: float
    corrected: bool
    checks: tuple[str, ...]
    signed: Mapping[str, Mapping[str, float]] = field(repr=False)
    fit: SolidFit = field(repr=False)

    @property
    def headline(self) -> str:
        """The three numbers."""
        return f"{self.height_mm} high, {self.diameter_mm} wide, {self.volume_ml}."

    @property
    def sentence(self) -> str:
        """What stands behind them."""
        line = (
            f" The dough's line on the glass is {self.level_mm} over the jar's inside bottom."
            if self.level_mm is not None
            else ""
        )
        by = "an outline corrected by hand" if self.corrected else "the outline found"
        return (
            f"A round solid fitted to {by}; the camera looked down by "
            f"{self.elevation_deg:.0f}°.{line} After ± stands the standard uncertainty."
        )

    @property
    def method(self) -> str:
        """For a statistician."""
        return (
            "For the statistician: convex solid of revolution through a pinhole camera, robust "
            f"least squares, {len(self.outline)} outline points, misfit {self.misfit_px:.2f} px; "
            "uncertainty by first order (GUM) from fit, reference, lens, tilt and distance."
        )

    def __repr__(self) -> str:
        return (
            f"<Side {self.shape}: {self.height_mm} high, {self.diameter_mm} wide, {self.volume_ml}>"
        )

    def tells(self) -> Telling:
        """What it says."""
        return Telling(self.headline, (self.sentence,), self.checks, self.method)

    def to_frame(self) -> pd.DataFrame:
        """One tidy row a quantity: quantity, value, u, low, high (95 %), unit."""
        names = THREE if self.level_mm is None else (*THREE, "level_mm")
        return tidy({name: getattr(self, name) for name in names})

    def plot(self, ax: "Axes | None" = None) -> "Axes":
        """Draw the outline points and the fitted outline (over the photo, when `ax` shows it)."""
        from kit import charts

        return charts.side_view(self, ax)


def check_shape(shape: str, jar: Jar | None) -> None:
    """Refuse a shape that does not exist, and a jar missing or too much (InputError)."""
    one_of("shape", shape, SHAPES)
    if jar is not None:
        check_kind("jar", jar, Jar, JAR)
    if (shape == "jar") != (jar is not None):
        rule = 'must be given for shape "jar", and only then'
        raise InputError("jar", jar, rule, "For example Jar(inner_diameter_mm=86).")


def side(
    photo: Photo,
    scale: Scale,
    shape: str = "ball",
    box: Box | None = None,
    jar: Jar | None = None,
    outline: "Array | Sequence[Point] | None" = None,
    *,
    top: Point | None = None,
    base: Point | None = None,
    standing: bool | None = None,
    before: Side | None = None,
) -> Side:
    """Measure a ball, a piece or dough in a jar from the side.

    Parameters
    ----------
    photo : Photo
    scale : Scale
        The reference in the photo. Upright beside the piece: `offset_mm` is how far the piece's
        axis lies in front of it. Flat on the worktop: `offset_mm` is the worktop's height over
        it (a card 2 mm thick: −2); more than 20 mm are not taken for that.
    shape : str
        "ball" (domed top), "piece" (the top may be flat) or "jar" (dough in a jar).
    box : (x0, y0, x1, y1), optional
        Roughly round it, pixels; found where absent. In a jar: round the dough.
    jar : Jar, optional
        Needed for shape "jar".
    outline : (n, 2), optional
        Outline points drawn by hand, in order once round: nothing is looked for.
    top, base : (x, y), optional
        Highest and lowest point of the outline, dragged by hand: the half of the outline above or
        below where it is widest goes with it.
    standing : bool, optional
        Whether the reference stands upright; by default from how it is seen.
    before : Side, optional
        Of the photo before in a series from one place: its solid is gone on from, for speed.

    Returns
    -------
    Side

    Raises
    ------
    InputError
        An argument that cannot be used.
    DataError
        The photo cannot be measured: no piece found, cut off, not round, seen from too high.
    """
    check_shape(shape, jar)
    check_photo(photo)
    check_kind("scale", scale, Scale, "must be a scale from kit.photo.scale")
    if before is not None and not (isinstance(before, Side) and before.shape == shape):
        raise InputError("before", before, f"must be a side view of a {shape}, as in this photo")
    box, drawn, top, base = _on_photo(photo, box, outline, top, base)
    stand, beliefs, checks = side_stand.stand_of(scale, standing)
    last = None if before is None else before.fit

    def at(where: Box | None) -> Found:
        found = side_fit.measure(
            photo, scale, stand, beliefs, shape, where, jar, drawn, top, base, last
        )
        by_hand = outline is not None or top is not None
        judge(found, by_hand, box is None and not by_hand and base is None)
        return found

    try:
        found = at(box)
    except DataError as refused:
        # two points may lie on the piece or beside it: what bears them may be taken for it
        if any(given is not None for given in (box, jar, drawn)) or scale.kind == "points":
            raise
        likely = side_fit.likely(photo, scale, stand)
        if likely is None:
            raise
        try:
            found = at(likely)
        except DataError:
            raise refused from None
        # where another edge is nearly as clear the wrong one was taken now and then
        if side_fit.DOUBTFUL in found.notes:
            raise
        found = replace(found, notes=(LOOKED_AGAIN, *found.notes))
    by_hand = not (outline is None and top is None and base is None)
    if scale.kind == "points" and jar is None and box is None and not by_hand:
        checks = (*checks, *[ON_IT] * _within(scale.outline, found.fit.drawn))
    if stand.toward is not stand.up and scale.tilt_known and jar is None:
        checks = (*checks, *_leaning(found, math.degrees(beliefs.tilt)))
    foot = outline is not None or base is not None
    return _told(found, scale, shape, jar, (by_hand, foot), checks)


def _on_photo(
    photo: Photo, box: Any, outline: Any, top: Any, base: Any
) -> tuple[Box | None, Array | None, Point | None, Point | None]:
    """What was said by hand as numbers: refused where it lies nowhere near the photo."""
    size = np.array([photo.width, photo.height])

    def near(name: str, given: Any, at: Array) -> Array:
        if (np.abs(at.reshape(-1, 2) - size / 2) > 1.5 * size).any():
            rule = f"must lie on the picture of {photo.width}×{photo.height} pixels"
            raise InputError(name, given, rule)
        return at

    if box is not None:
        x0, y0, x1, y1 = ends = near("box", box, numbers("box", box, 4))
        if not (x0 < x1 and y0 < y1 and x1 > 0 and y1 > 0 and (ends[:2] < size).all()):
            rule = "must be (left, top, right, bottom) in pixels"
            raise InputError("box", tuple(map(float, ends)), rule, "y counts downward.")
        box = tuple(map(float, ends))
    if outline is not None:
        line = places("outline", outline, 8, "Draw them once round.")
        outline = near("outline", outline, line)
        if not np.ptp(line, axis=0).all():
            rule = "must go round the piece"
            raise InputError("outline", outline, rule, "These points lie on one line.")
    top, base = (
        None if at is None else tuple(map(float, near(name, at, numbers(name, at, 2))))
        for name, at in (("top", top), ("base", base))
    )
    return box, outline, top, base


def _leaning(found: Found, tilt_deg: float) -> tuple[str, ...]:
    """Say what a reference that leans does to a piece whose outline does not give it away.

    Of a piece with rounded edges a higher camera and a taller shape look alike. To first order
    the height goes with what is believed of the tilt as its uncertainty does: by u(tilt) for
    every `tilt_deg`.
    """
    height, parts = found.fit.height
    by = parts["tilt"] / tilt_deg
    if abs(by) < LEAST_LEAN * height:
        return ()
    way = "tall" if by > 0 else "low"
    return (
        f"the reference was taken to stand truly upright: for every degree that it leans back the "
        f"height is {abs(by):.1f} mm too {way}. Tape it flat to something upright and leave it "
        "there: pieces of one shape then still compare, should it lean",
    )


def _told(
    found: Found, scale: Scale, shape: str, jar: Jar | None, by_hand: tuple[bool, bool],
    checks: tuple[str, ...],
) -> Side:  # fmt: skip
    """The result of a fit judged good enough. `by_hand`: anything, and the foot."""
    fit = found.fit
    numbers = {"height_mm": fit.height, "diameter_mm": fit.diameter, "volume_ml": fit.volume}
    if jar is not None:
        extra = jar.volume_ml(fit.level[0]) - side_parts.below_line_ml(fit)
        numbers["volume_ml"] = (fit.volume[0] + extra, fit.volume[1])
        numbers["level_mm"] = fit.level
        checks = checks if by_hand[1] else (*checks, GLASS)
    else:
        checks = (*checks, ROUND)
    if shape == "piece" and fit.elevation_deg > STEEP_DEG:
        steep = (
            f"the camera looked down by {fit.elevation_deg:.0f}°: from so high a flat top and a "
            "domed one have nearly the same outline, and the height hangs on it. Put the phone "
            "lower, its lens about level with the piece"
        )
        checks = (*checks, steep)
    signed = side_parts.with_scale(numbers, found, scale, shape, jar, by_hand[1])
    values = {
        name: combined(number, "ml" if name == "volume_ml" else "mm", **signed[name])
        for name, (number, _) in numbers.items()
    }
    drawn = fit.drawn
    return Side(
        shape, values["height_mm"], values["diameter_mm"], values["volume_ml"],
        values.get("level_mm"), found.points, drawn, _point(drawn[drawn[:, 1].argmax()]),
        _point(drawn[drawn[:, 1].argmin()]), fit.elevation_deg, fit.misfit_px,
        by_hand[0], (*checks, *found.notes), signed, fit,
    )  # fmt: skip


def _within(points: Array, line: Array) -> bool:
    """Whether all points lie within a closed line."""
    import cv2

    around = line.astype(np.float32)
    return all(cv2.pointPolygonTest(around, _point(at), False) > 0 for at in points)


def _point(at: Array) -> Point:
    return float(at[0]), float(at[1])

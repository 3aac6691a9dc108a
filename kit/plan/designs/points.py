"""The classical sets of points, in coded units: −1 is a factor's lowest setting, +1 its highest.

Fractions: Box & Hunter (1961), Technometrics 3:311 and 3:449; minimum aberration: Fries & Hunter
(1980), Technometrics 22:601. Composite: Box & Wilson (1951), J R Stat Soc B 13:1; rotatable axis
2^(k/4): Box & Hunter (1957), Ann Math Stat 28:195. Three-level designs on pairs of factors: Box
& Behnken (1960), Technometrics 2:455.
"""

import itertools
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import comb

import numpy as np

from kit.analysis.moments import Floats, Integers
from kit.errors import InputError

__all__ = [
    "Fraction", "box_behnken", "composite", "fraction", "full", "rotatable",
]  # fmt: skip

_MOST_FACTORS = 10
_LETTERS = "ABCDEFGHIJ"


@dataclass(frozen=True)
class Fraction:
    """A part of all 2^k combinations, chosen so that little is confused.

    Parameters
    ----------
    points : float array, shape (2^(k−p), k)
        −1 and +1.
    generators : tuple of str
        Such as ``"E=ABCD"``.
    words : tuple of tuple of int
        The defining relation: sets of factors whose product is constant.
    """

    points: Floats
    generators: tuple[str, ...]
    words: tuple[tuple[int, ...], ...]

    @property
    def resolution(self) -> int:
        """Length of the shortest word: 3 confuses single factors with pairs, 4 pairs with pairs."""
        return min(len(word) for word in self.words)


def full(levels: Sequence[int]) -> Integers:
    """All combinations of `levels` settings, the first factor changing fastest.

    Returns
    -------
    int array, shape (product of levels, k)
        Setting numbers from 0.
    """
    grids = np.meshgrid(*(np.arange(n) for n in levels), indexing="ij")
    # first factor fastest: Yates's order
    return np.column_stack([g.ravel(order="F") for g in grids]).astype(np.int64)


def fraction(k: int, p: int, generators: Sequence[str] = ()) -> Fraction:
    """A 2^(k−p) fraction of least confusion, or one with given generators.

    Parameters
    ----------
    k, p : int
        Factors, and how often the full number of runs is halved.
    generators : sequence of str
        ``p`` of them, such as ``"E=ABCD"`` or ``"E=-ABCD"``; searched for when empty: highest
        resolution first, then fewest words of that length, next length and so on.

    Examples
    --------
    >>> half = fraction(5, 1)
    >>> half.generators, half.resolution, len(half.points)
    (('E=ABCD',), 5, 16)
    """
    if not 2 <= k <= _MOST_FACTORS:
        raise InputError("factors", k, f"must be 2 to {_MOST_FACTORS} for a fraction")
    if not 1 <= p < k - 1:
        raise InputError("halvings", p, f"must be 1 to {max(k - 2, 1)} with {k} factors")
    base = k - p
    if generators:
        masks, signs = _read_generators(generators, base, k)
    else:
        masks, signs = _best_generators(base, p), (1.0,) * p
    points = 2.0 * full([2] * base) - 1
    for mask, sign in zip(masks, signs, strict=True):
        used = [i for i in range(base) if mask >> i & 1]
        points = np.column_stack([points, sign * points[:, used].prod(axis=1)])
    words = _words(masks, base)
    names = tuple(
        f"{_LETTERS[base + j]}={'-' if sign < 0 else ''}"
        + "".join(_LETTERS[i] for i in range(base) if mask >> i & 1)
        for j, (mask, sign) in enumerate(zip(masks, signs, strict=True))
    )
    found = tuple(tuple(i for i in range(k) if word >> i & 1) for word in sorted(words))
    return Fraction(points, names, found)


def _read_generators(
    generators: Sequence[str], base: int, k: int
) -> tuple[tuple[int, ...], tuple[float, ...]]:
    masks, signs = [], []
    example = f"For example {_LETTERS[base]}={_LETTERS[:base]}."
    if len(generators) != k - base:
        raise InputError("generators", list(generators), f"must be {k - base}", example)
    for j, text in enumerate(generators):
        left, _, right = text.replace(" ", "").upper().partition("=")
        sign = -1.0 if right.startswith("-") else 1.0
        letters = right.lstrip("+-")
        if left != _LETTERS[base + j] or not letters or set(letters) - set(_LETTERS[:base]):
            rule = f"must set {_LETTERS[base + j]} to a product of {', '.join(_LETTERS[:base])}"
            raise InputError("generators", text, rule, example)
        masks.append(sum(1 << _LETTERS.index(letter) for letter in set(letters)))
        signs.append(sign)
    return tuple(masks), tuple(signs)


def _words(masks: Sequence[int], base: int) -> set[int]:
    """The defining relation as bit masks: every product of the generators' own words."""
    own = [mask | 1 << base + j for j, mask in enumerate(masks)]
    words = set()
    for size in range(1, len(own) + 1):
        for some in itertools.combinations(own, size):
            product = 0
            for word in some:
                product ^= word
            words.add(product)
    return words


@lru_cache(maxsize=32)
def _best_generators(base: int, p: int) -> tuple[int, ...]:
    """Search for minimum aberration; many factors first among equals, so that E=ABCD wins."""
    masks = [m for m in range(3, 1 << base) if m.bit_count() >= 2]
    masks.sort(key=lambda m: (-m.bit_count(), m))
    if comb(len(masks), p) > 20_000:  # long words only: then the search stays under a second
        masks = masks[: next(n for n in range(len(masks), 0, -1) if comb(n, p) <= 20_000)]
    best: tuple[tuple[int, ...], tuple[int, ...]] | None = None
    for some in itertools.combinations(masks, p):
        words = _words(some, base)
        lengths = [w.bit_count() for w in words]
        pattern = tuple(lengths.count(n) for n in range(1, base + p + 1))
        if best is None or pattern < best[0]:
            best = pattern, some
    assert best is not None
    return best[1]


def rotatable(k: int) -> float:
    """Distance of the axis points that makes the precision equal in all directions: 2^(k/4).

    Examples
    --------
    >>> [round(rotatable(k), 3) for k in (2, 3, 4, 5)]
    [1.414, 1.682, 2.0, 2.378]
    """
    return float(2.0 ** (k / 4))


def composite(k: int, centre: int, alpha: float | None = None) -> Floats:
    """Cube, axis points and centre of a central composite design, circumscribed.

    Parameters
    ----------
    k : int
        Factors, 2 to 5.
    centre : int
        How often the middle is repeated.
    alpha : float, optional
        Distance of the axis points; rotatable when not given.
    """
    if not 2 <= k <= 5:
        raise InputError("factors", k, "must be 2 to 5 for a central composite design")
    far = rotatable(k) if alpha is None else alpha
    cube = 2.0 * full([2] * k) - 1
    axis = np.concatenate([[-far * e, far * e] for e in np.eye(k)])
    return np.concatenate([cube, axis, np.zeros((centre, k))])


def box_behnken(k: int, centre: int) -> Floats:
    """Two factors at a time at their ends, the others in the middle; and the centre.

    Parameters
    ----------
    k : int
        Factors, 3 to 5 (with six and more the original blocks hold three factors each).
    centre : int
        How often the middle is repeated.
    """
    if not 3 <= k <= 5:
        raise InputError("factors", k, "must be 3 to 5 for a Box–Behnken design")
    rows = []
    for pair in itertools.combinations(range(k), 2):
        for ends in itertools.product((-1.0, 1.0), repeat=2):
            row = np.zeros(k)
            row[list(pair)] = ends
            rows.append(row)
    return np.concatenate([rows, np.zeros((centre, k))])

"""The most informative choice under the kitchen's limits, doughs and bakes taken as they are.

Pieces of one dough share its luck and doughs of one bake share the day's, so what a plan is
worth is the information of generalised least squares, X'V⁻¹X, with both in V. Its determinant
is raised by exchanging the setting of one dough, or of one piece, at a time until no exchange
helps, from several random starts (coordinate exchange: Meyer & Nachtsheim 1995, Technometrics
37:60; with two levels of error: Goos & Vandebroek 2001, J Qual Technol 33:436; Jones & Goos
2007, J R Stat Soc C 56:347).
"""

from dataclasses import dataclass

import numpy as np

from kit.analysis.moments import Floats, Integers
from kit.errors import DesignError
from kit.plan.designs.model import Model
from kit.plan.designs.points import full
from kit.plan.factors import Factor

__all__ = ["Chosen", "Ratios", "information", "optimal"]

_MOST_COMBINATIONS = 20_000
#: Random starts of the search; the best is kept.
_STARTS = 10
_RIDGE = 1e-8
#: Of the log determinant; a round of exchanges that gains less is the last.
_GAIN = 1e-9


@dataclass(frozen=True)
class Ratios:
    """Variances of doughs and bakes, that of pieces being 1."""

    dough: float
    bake: float


@dataclass(frozen=True)
class Chosen:
    """Setting numbers of every piece, shape (bakes, doughs, pieces, k).

    `log_det` is the log determinant of the information, with what was baked before.
    """

    settings: Integers
    log_det: float


def information(rows: Floats, bake: Integers, dough: Integers, ratios: Ratios) -> Floats:
    """X'V⁻¹X of any pieces, shape (p, p), V with doughs and bakes in it, piece variance 1.

    `rows` is of shape (n, p); `bake` and `dough`, shape (n,), are numbers unique over all bakes.
    """
    total = np.zeros((rows.shape[1], rows.shape[1]))
    for one in np.unique(bake):
        here = bake == one
        x, d = rows[here], dough[here]
        v = np.eye(len(x)) + ratios.dough * (d[:, None] == d) + ratios.bake
        total += x.T @ np.linalg.solve(v, x)
    return total


class _Search:
    """One plan being improved: sums of each dough and the information of all."""

    def __init__(self, table: Floats, codes: Integers, ratios: Ratios, before: Floats) -> None:
        self.table, self.codes = table, codes  # codes: (bakes, doughs, pieces)
        self.doughs, self.pieces = codes.shape[1:]
        m, n = self.pieces, self.doughs
        inside = 1.0 / (1.0 + m * ratios.dough)
        between = 1.0 / (1.0 + m * ratios.dough + m * n * ratios.bake)
        self.for_dough = (inside - 1.0) / m
        self.for_bake = (between - inside) / (m * n)
        self.before = before
        self.add_up()

    def add_up(self) -> None:
        """Sum afresh what the exchanges only kept up, so that rounding does not pass for gain."""
        rows = self.table[self.codes]
        self.sums = rows.sum(axis=2)  # (bakes, doughs, p)
        self.bake_sums = self.sums.sum(axis=1)
        flat, s, b = rows.reshape(-1, self.table.shape[1]), self.sums, self.bake_sums
        self.total: Floats = (
            self.before
            + flat.T @ flat
            + self.for_dough * np.einsum("bdp,bdq->pq", s, s)
            + self.for_bake * b.T @ b
        )
        self.value = float(np.linalg.slogdet(self.total)[1])

    def try_dough(self, b: int, d: int, candidates: Integers) -> None:
        """Put the best of several fillings (K, pieces) in place of dough d of bake b."""
        old_rows, new_rows = self.table[self.codes[b, d]], self.table[candidates]
        old, new = self.sums[b, d], new_rows.sum(axis=1)
        squares = np.swapaxes(new_rows, 1, 2) @ new_rows
        self._take(b, d, candidates, old_rows.T @ old_rows, squares, old, new)

    def try_piece(self, b: int, d: int, i: int, candidates: Integers) -> None:
        """Put the best of several combinations (K,) in place of piece i of a dough."""
        old_row, new_rows = self.table[self.codes[b, d, i]], self.table[candidates]
        fillings = np.repeat(self.codes[b, d][None], len(candidates), axis=0)
        fillings[:, i] = candidates
        old = self.sums[b, d]
        new = old - old_row + new_rows
        squares = new_rows[:, :, None] * new_rows[:, None, :]
        self._take(b, d, fillings, np.outer(old_row, old_row), squares, old, new)

    def _take(
        self, b: int, d: int, fillings: Integers, old_squares: Floats, squares: Floats,
        old: Floats, new: Floats,
    ) -> None:  # fmt: skip
        whole = self.bake_sums[b]
        changed = whole - old + new
        rest = (
            self.total
            - old_squares
            - self.for_dough * np.outer(old, old)
            - self.for_bake * np.outer(whole, whole)
        )
        tried = (
            rest
            + squares
            + self.for_dough * new[:, :, None] * new[:, None, :]
            + self.for_bake * changed[:, :, None] * changed[:, None, :]
        )
        values = np.linalg.slogdet(tried)[1]
        top = int(values.argmax())
        if values[top] <= self.value + _GAIN:
            return
        self.codes[b, d] = fillings[top]
        self.sums[b, d], self.bake_sums[b] = new[top], changed[top]
        self.total, self.value = tried[top], float(values[top])


def optimal(
    factors: list[Factor],
    model: Model,
    shape: tuple[int, int, int],
    ratios: Ratios,
    rng: np.random.Generator,
    before: Floats | None = None,
) -> Chosen:
    """Choose the settings of every dough and piece, so that `model` is told apart best.

    `shape` is bakes, doughs a bake, pieces a dough; `before`, shape (p, p), the information of
    what has been baked already.

    Raises
    ------
    DesignError
        More unknowns than doughs and pieces can tell, or too many combinations to search.
    """
    levels = [len(f.settings) for f in factors]
    if np.prod([float(n) for n in levels]) > _MOST_COMBINATIONS:
        msg = (
            f"{' × '.join(map(str, levels))} combinations are too many to search. Take fewer "
            "factors or fewer settings of each."
        )
        raise DesignError(msg)
    every = full(levels)
    table = model.rows(every)
    strides = np.concatenate([[1], np.cumprod(levels)[:-1]]).astype(np.int64)
    whole = [i for i, f in enumerate(factors) if f.level == "dough"]
    single = [i for i, f in enumerate(factors) if f.level != "dough"]
    dough_codes = full([levels[i] for i in whole]) @ strides[whole] if whole else np.zeros(1, int)
    piece_codes = (
        full([levels[i] for i in single]) @ strides[single] if single else np.zeros(1, int)
    )
    start = _RIDGE * np.eye(table.shape[1]) + (0.0 if before is None else before)
    best: _Search | None = None
    for _ in range(_STARTS):
        in_dough = rng.choice(dough_codes, (*shape[:2], 1))
        in_piece = rng.choice(piece_codes, shape)
        search = _Search(table, in_dough + in_piece, ratios, start)
        value = -np.inf
        while search.value > value + _GAIN:
            value = search.value
            _sweep(search, dough_codes, piece_codes, strides, levels, single)
            search.add_up()
        if best is None or search.value > best.value + 1e-9:
            best = search
    assert best is not None
    found = best.total - _RIDGE * np.eye(len(best.total))
    scale = np.sqrt(np.maximum(np.diag(found), 1e-12))
    if np.linalg.eigvalsh(found / np.outer(scale, scale))[0] < 1e-7:
        msg = (
            f"{shape[0] * shape[1]} doughs of {shape[2]} pieces cannot tell apart "
            f"{table.shape[1]} unknowns ({', '.join(name for name, _, _ in model.terms())}). Ask "
            "about fewer factors or settings, or plan more doughs."
        )
        raise DesignError(msg)
    return Chosen(every[best.codes], best.value)


def _sweep(
    search: _Search, dough_codes: Integers, piece_codes: Integers, strides: Integers,
    levels: list[int], single: list[int],
) -> None:  # fmt: skip
    """Offer every dough and every piece each other combination."""
    for b in range(len(search.codes)):
        for d in range(search.doughs):
            if len(dough_codes) > 1:
                own = _part(search.codes[b, d], strides, levels, single)
                search.try_dough(b, d, dough_codes[:, None] + own)
            if len(piece_codes) > 1:
                for i in range(search.pieces):
                    code = search.codes[b, d, i]
                    own = code - _part(code, strides, levels, single)
                    search.try_piece(b, d, i, own + piece_codes)


def _part(codes: Integers, strides: Integers, levels: list[int], which: list[int]) -> Integers:
    """The part of combination numbers that comes from some of the factors."""
    part = np.zeros_like(codes)
    for i in which:
        part += codes // strides[i] % levels[i] * strides[i]
    return part

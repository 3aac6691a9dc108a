"""Many small trials with one layout and known truth, refitted with the kit's own engine.

The layout's design matrix is built once; each simulated trial only brings new readings, so a
fit takes about two milliseconds.
"""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import stats

from kit.analysis import reml
from kit.analysis.means import tukey_p
from kit.analysis.mixed import may_go_below


@dataclass(frozen=True)
class Layout:
    """Pieces with their setting and groups.

    frame : columns ``setting`` and one a grouping (numbers unique over all bakes)
    groups : groupings that the analysis takes as random
    blocks : the grouping that separates independent blocks
    """

    frame: pd.DataFrame
    groups: tuple[str, ...]
    blocks: str | None


def doughs(settings, per_setting, pieces, unbalanced=False):
    """Completely randomised doughs; unbalanced: one dough more in every second setting and
    6, 4 or 3 pieces of 6."""
    rows, dough = [], 0
    for setting in range(settings):
        for _ in range(per_setting + (setting % 2 if unbalanced else 0)):
            n = (pieces, pieces - 2, pieces // 2)[dough % 3] if unbalanced else pieces
            rows += [(setting, dough)] * n
            dough += 1
    return Layout(pd.DataFrame(rows, columns=["setting", "dough"]), ("dough",), "dough")


def bakes(settings, bakes_, pieces):
    """Every setting once in every bake."""
    rows = [
        (s, b, b * settings + s)
        for b in range(bakes_)
        for s in range(settings)
        for _ in range(pieces)
    ]
    frame = pd.DataFrame(rows, columns=["setting", "bake", "dough"])
    return Layout(frame, ("bake", "dough"), "bake")


class Simulator:
    """Draws trials of a layout without any effect of the setting, and analyses them."""

    def __init__(self, layout, seed):
        self.layout, self.rng = layout, np.random.default_rng(seed)
        frame = layout.frame
        self.k = frame["setting"].nunique()
        x = np.eye(self.k)[frame["setting"]]
        columns = ["setting", *layout.groups]
        self.cell = frame.groupby(columns, sort=False).ngroup().to_numpy()
        first = np.unique(self.cell, return_index=True)[1]
        self.n = np.bincount(self.cell).astype(float)
        self.q, self.r = np.linalg.qr(x[first] * np.sqrt(self.n)[:, None])
        self.columns = self.q / np.sqrt(self.n)[:, None]
        self.groups = [frame[g].to_numpy()[first] for g in layout.groups]
        self.outer = frame[layout.blocks].to_numpy()[first] if layout.blocks else None
        self.codes = [frame[g].to_numpy() for g in layout.groups]
        self.x = x

    def draw(self, sds, sd_piece):
        """One trial's readings: no setting differs."""
        y = self.rng.normal(0, sd_piece, len(self.cell))
        for code, sd in zip(self.codes, sds, strict=True):
            y = y + self.rng.normal(0, sd, code.max() + 1)[code]
        return y

    def fit(self, y, floored):
        """Estimate, and the settings' means as rows of coefficients."""
        mean = np.bincount(self.cell, weights=y) / self.n
        within = float(((y - mean[self.cell]) ** 2).sum())
        xy = np.column_stack([self.columns, mean])
        blocks = reml.make_blocks(xy, self.n, within, self.groups, self.layout.groups, self.outer)
        return reml.estimate(blocks, self.may_go_below(floored)), np.linalg.inv(self.r)

    def may_go_below(self, floored):
        """As `kit.mixed` has it."""
        rule = "floored" if floored else "free"
        return may_go_below(self.columns, self.n, self.groups, rule, "nested")

    def answers(self, y, floored):
        """F test's p, largest Tukey-protected p, and whether the interval of setting 1 minus
        setting 0 covers the truth (zero)."""
        fit, means = self.fit(y, floored)
        rows = means[1:] - means[0]
        num, den, f = reml.f_test(fit, fit.beta, rows)
        pairs = [means[j] - means[i] for i in range(self.k) for j in range(i + 1, self.k)]
        best = 0.0
        for pair in pairs:
            t = abs(pair @ fit.beta) / np.sqrt(pair @ fit.phi_adjusted @ pair)
            if t > best:
                best, df = t, reml.single_df(fit, pair)
        t = abs(pairs[0] @ fit.beta) / np.sqrt(pairs[0] @ fit.phi_adjusted @ pairs[0])
        covers = t <= stats.t.isf(0.025, reml.single_df(fit, pairs[0]))
        return stats.f.sf(f, num, den), tukey_p(best, df, self.k), covers

    def pieces_alone(self, y):
        """The p of least squares over pieces, which ignores the doughs."""
        means = np.bincount(self.layout.frame["setting"], weights=y)
        sizes = np.bincount(self.layout.frame["setting"])
        groups = means**2 / sizes
        between = groups.sum() - y.sum() ** 2 / len(y)
        within = (y**2).sum() - groups.sum()
        df = len(y) - self.k
        return stats.f.sf(between / (self.k - 1) / (within / df), self.k - 1, df)

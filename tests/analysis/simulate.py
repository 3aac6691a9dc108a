"""Many small trials with one layout and known truth, refitted with the kit's own engine.

The layout's design matrix is built once, and the readings of all trials are fitted together, so
a fit takes about a tenth of a millisecond (a millisecond where pieces are missing).
"""

import itertools
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import stats

from kit.analysis.means import tukey_p
from kit.analysis.model import reml
from kit.analysis.model.blocks import make_blocks
from kit.analysis.model.kenward_roger import f_test, single_df
from kit.analysis.model.scaled import may_go_below


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

    def draw(self, sds, sd_piece, trials):
        """Readings of many trials, one a column: no setting differs."""
        y = self.rng.normal(0, sd_piece, (len(self.cell), trials))
        for code, sd in zip(self.codes, sds, strict=True):
            y += self.rng.normal(0, sd, (code.max() + 1, trials))[code]
        return y

    def fit(self, y, floored):
        """Estimates, and the settings' means as rows of coefficients."""
        mean = self._sums(self.cell, y) / self.n[:, None]
        within = ((y - mean[self.cell]) ** 2).sum(axis=0)
        xy = np.column_stack([self.columns, mean])
        blocks = make_blocks(
            xy, self.n, within, self.groups, self.layout.groups, self.outer, self.k
        )
        rule = "floored" if floored else "free"
        below = may_go_below(self.columns, self.n, self.groups, rule, "nested")
        fits, problems = reml.estimate_many(blocks, below)
        assert not problems
        return fits, np.linalg.inv(self.r)

    def answers(self, y, floored):
        """F test's p, largest Tukey-protected p, and whether the interval of setting 1 minus
        setting 0 covers the truth (zero); one a trial."""
        fits, means = self.fit(y, floored)
        num, den, f = f_test(fits, fits.beta, means[1:] - means[0])
        t, df = [], []
        for i, j in itertools.combinations(range(self.k), 2):
            pair = means[j] - means[i]
            se = np.sqrt(np.einsum("i,tij,j->t", pair, fits.phi_adjusted, pair))
            t.append(np.abs(fits.beta @ pair) / se)
            df.append(single_df(fits, pair))
        most = np.argmax(t, axis=0), np.arange(len(f))
        largest = [
            tukey_p(*pair, self.k)
            for pair in zip(np.array(t)[most], np.array(df)[most].round(9), strict=True)
        ]
        return stats.f.sf(f, num, den), np.array(largest), t[0] <= stats.t.isf(0.025, df[0])

    def pieces_alone(self, y):
        """The p of least squares over pieces, which ignores the doughs."""
        setting = self.layout.frame["setting"].to_numpy()
        between = (self._sums(setting, y) ** 2 / np.bincount(setting)[:, None]).sum(axis=0)
        within = (y**2).sum(axis=0) - between
        between = between - y.sum(axis=0) ** 2 / len(y)
        df = len(y) - self.k
        return stats.f.sf(between / (self.k - 1) / (within / df), self.k - 1, df)

    @staticmethod
    def _sums(code, y):
        """Sum of each column in each group."""
        sums = np.zeros((code.max() + 1, y.shape[1]))
        np.add.at(sums, code, y)
        return sums

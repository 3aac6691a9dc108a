"""How fast, against a peer in the same run. Run with ``python tests/benchmarks/bench_mixed.py``.

- fit and Kenward–Roger on 10³, 10⁵ and 10⁷ rows against one pandas groupby-sum of the same
  columns (aim: at most 1.5 at 10⁷);
- the same against statsmodels' MixedLM fit where it finishes (aim: 250 times at 10⁴);
- ``import kit`` against ``import pandas`` (aim: at most 1.3 times).

Ratios only: machines differ. Each figure is the median of the runs, the two taken in turn.
"""

import statistics
import subprocess
import sys
import time
import warnings
from collections.abc import Callable

import numpy as np
import pandas as pd

import kit


def table(rows: int, doughs: int) -> pd.DataFrame:
    """Pieces of `doughs` doughs in bakes of eight, four malts."""
    rng = np.random.default_rng(1)
    dough = np.repeat(np.arange(doughs), rows // doughs)
    frame = pd.DataFrame({"bake": dough // 8, "dough": dough, "malt_percent": dough % 4 * 0.4})
    luck = rng.normal(0, 1, doughs)[dough] + rng.normal(0, 0.5, doughs // 8 + 1)[dough // 8]
    frame["rise_height_mm"] = 30 + frame["malt_percent"] + luck + rng.normal(0, 1.2, len(dough))
    return frame


def ratio(ours: Callable[[], object], peer: Callable[[], object], runs: int) -> tuple[float, float]:
    """Median of ours over peer, and ours in seconds."""
    ours(), peer()
    pairs = []
    for _ in range(runs):
        start = time.perf_counter()
        ours()
        middle = time.perf_counter()
        peer()
        pairs.append((middle - start, time.perf_counter() - middle))
    return statistics.median(a / b for a, b in pairs), statistics.median(a for a, _ in pairs)


def main() -> None:
    """Print every ratio."""
    formula, groups = "rise_height_mm ~ C(malt_percent)", ["bake", "dough"]
    for rows, doughs, runs in ((10**3, 48, 9), (10**5, 1000, 7), (10**7, 10_000, 5)):
        frame = table(rows, doughs)

        def fit(frame: pd.DataFrame = frame) -> object:
            return kit.mixed(frame, formula, groups).terms

        def group_sum(frame: pd.DataFrame = frame) -> object:
            return frame.groupby([*groups, "malt_percent"])["rise_height_mm"].sum()

        times, seconds = ratio(fit, group_sum, runs)
        print(
            f"fit + Kenward-Roger, {rows:>10,} rows: {times:6.2f} x groupby-sum ({seconds:.3f} s)"
        )

    import statsmodels.formula.api as smf

    for rows, doughs in ((10**3, 48), (10**4, 400)):
        frame = table(rows, doughs)

        def peer(frame: pd.DataFrame = frame) -> object:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                model = smf.mixedlm(
                    formula, frame, groups="bake", vc_formula={"dough": "0 + C(dough)"},
                    re_formula="1",
                )  # fmt: skip
                return model.fit(reml=True)

        times, seconds = ratio(lambda frame=frame: kit.mixed(frame, formula, groups).terms, peer, 3)
        print(
            f"fit + Kenward-Roger, {rows:>10,} rows: MixedLM's fit alone takes "
            f"{1 / times:,.0f} times as long ({seconds:.3f} s)"
        )

    def importing(name: str) -> Callable[[], object]:
        return lambda: subprocess.run([sys.executable, "-c", f"import {name}"], check=True)

    times, _ = ratio(importing("kit"), importing("pandas"), 7)
    print(f"import kit: {times:.2f} x import pandas")


if __name__ == "__main__":
    main()

"""How fast the answers come, against statsmodels in the same run.

Run with ``python tests/benchmarks/bench_answers.py``.

- Every answer on a trial of 504 pieces (84 doughs in 21 bakes) and of 512 (24 doughs in 8 bakes,
  each dough left out in turn) against one MixedLM fit of that trial with bakes and doughs random
  (aim: a tenth). "First" is the first call in this process for such a question, "again" the median
  of those that follow: formulas read before, levels found before.
- 10⁴ simulated small trials, each fitted with Kenward–Roger, against a loop over MixedLM, its rate
  taken from some tens (aim: 200 times).

Ratios only, of processor time: machines differ, and others may be at work on them.
"""

import statistics
import time
import warnings
from collections.abc import Callable

import numpy as np
import pandas as pd
import statsmodels.formula.api as smf

import kit
from kit.analysis.checking.kept import on_places
from kit.analysis.dose import dose
from kit.analysis.drift import drift
from kit.analysis.model.blocks import make_blocks
from kit.analysis.model.kenward_roger import f_test
from kit.analysis.model.reml import estimate_many
from kit.analysis.model.scaled import may_go_below
from kit.analysis.overview import overview
from kit.analysis.steadiness import steadiness
from kit.analysis.surface import surface
from kit.plan.next import next_bake

RUNS = 5
HEIGHT, MALT, RETARD = "rise_height_mm", "malt_percent", "retard_hours"


def trial(bakes: int, doughs: int, pieces: int) -> pd.DataFrame:
    """Four malts and three retards over several bakes; two further outcomes follow neither."""
    rng = np.random.default_rng(5)
    dough = np.repeat(np.arange(bakes * doughs), pieces)
    bake, place = dough // doughs, dough % doughs
    frame = pd.DataFrame({"bake": bake, "dough": dough, "room_temp_c": 20.0 + bake % 5})
    frame[MALT] = (place + bake) % 4 * 0.4
    frame[RETARD] = 8.0 * (1 + (bake + place // 2) % 3)
    luck = rng.normal(0, 0.8, dough[-1] + 1)[dough] + rng.normal(0, 0.5, bakes)[bake]
    effect = 2 * frame[MALT] - frame[MALT] ** 2 + 0.05 * frame[RETARD]
    frame[HEIGHT] = 30 + effect + luck + rng.normal(0, 1.2, len(frame))
    for other in ("crumb_openness", "face_diameter_mm"):
        frame[other] = 60 + luck + rng.normal(0, 3, len(frame))
    return frame


def timed(call: Callable[[], object]) -> float:
    """Seconds of one call."""
    start = time.process_time()
    call()
    return time.process_time() - start


def peer(frame: pd.DataFrame, formula: str) -> object:
    """Statsmodels' fit with bakes random and doughs random in them."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        doughs = {"dough": "0 + C(dough)"}
        model = smf.mixedlm(formula, frame, groups="bake", vc_formula=doughs, re_formula="1")
        return model.fit(reml=True)


def answers(frame: pd.DataFrame) -> dict[str, Callable[[], object]]:
    """Every answer to the trial."""
    own = {"dough": "dough", "bake": "bake"}
    how = {**own, "matters": 2.0}
    one = {"adjust": [RETARD], **how}
    return {
        "compare": lambda: kit.compare(frame, HEIGHT, MALT, **one),
        "compare, examined": lambda: kit.compare(frame, HEIGHT, MALT, **one, examine=True),
        "dose, examined": lambda: dose(frame, HEIGHT, MALT, **one),
        "surface, examined": lambda: surface(frame, HEIGHT, (MALT, RETARD), **how),
        "overview, 2 x 3": lambda: overview(
            frame, [MALT, RETARD], [HEIGHT, "crumb_openness", "face_diameter_mm"],
            matters={HEIGHT: 2.0}, **own,
        ),
        "next": lambda: next_bake(frame, HEIGHT, MALT, 24, matters=2.0, adjust=[RETARD]),
        "steadiness": lambda: steadiness(frame, HEIGHT, [MALT, RETARD]),
        "drift": lambda: drift(frame, HEIGHT, ["room_temp_c"], [MALT, RETARD]),
    }  # fmt: skip


def of_plans() -> None:
    """Print what a plan's power, and the look at places, take beside the peer's one fit."""
    frame = trial(21, 4, 6)
    fit = timed(lambda: peer(frame, f"{HEIGHT} ~ C({MALT}) + C({RETARD})"))
    factors = [kit.Factor(MALT, (0, 0.8)), kit.Factor(RETARD, (24, 48))]
    plan = kit.design(factors, kit.Kitchen(5, tubs=4, pieces_per_dough=60))
    rows = [(d // 8, d, 1 + p, float(p % 8)) for d in range(320) for p in range(12)]
    laid = pd.DataFrame(rows, columns=["bake", "dough", "place", "side_minutes"])
    calls: dict[str, Callable[[], object]] = {
        "power, closed form": lambda: kit.power(
            bakes=5, settings=4, matters=2.0, sd_dough=1.0, sd_piece=1.2
        ),
        "power, 60 a dough": lambda: kit.power(plan, sd_dough=1.0, sd_piece=1.2),
        "places, 3840 pieces": lambda: on_places(laid, ("side_minutes",), laid),
    }
    for name, call in calls.items():
        call()
        print(f"  {name:20} {timed(call) / fit:6.2f} x MixedLM's fit of 504 pieces")


def of_answers(bakes: int, doughs: int, pieces: int) -> None:
    """Print the ratios of one trial."""
    frame = trial(bakes, doughs, pieces)
    formula = f"{HEIGHT} ~ C({MALT}) + C({RETARD})"
    peer(frame, formula)
    print(f"{len(frame)} pieces of {bakes * doughs} doughs in {bakes} bakes:")
    for name, call in answers(frame).items():
        first = timed(call) / timed(lambda: peer(frame, formula))
        pairs = [(timed(call), timed(lambda: peer(frame, formula))) for _ in range(RUNS)]
        again = statistics.median(a / b for a, b in pairs)
        seconds = statistics.median(a for a, _ in pairs)
        print(f"  {name:18} first {first:7.2f}, again {again:6.2f} x MixedLM ({seconds:.3f} s)")


def of_simulations(lost: float, trials: int = 10_000, peers: int = 30) -> None:
    """Print how many times as fast small trials are fitted; `lost` is the share of pieces lost."""
    rng = np.random.default_rng(7)
    bakes, doughs, pieces = 4, 3, 4
    dough = np.repeat(np.arange(bakes * doughs), pieces)
    frame = pd.DataFrame({"bake": dough // doughs, "dough": dough, "malt": dough % doughs})
    frame = frame[rng.random(len(frame)) >= lost].reset_index(drop=True)
    bake, dough = frame["bake"].to_numpy(), frame["dough"].to_numpy()
    y = rng.normal(0, 1, (len(frame), trials)) + rng.normal(0, 0.5, (bakes, trials))[bake]
    y += rng.normal(0, 0.7, (bakes * doughs, trials))[dough]

    def ours() -> object:
        x = np.eye(doughs)[frame["malt"]]
        q, r = np.linalg.qr(x)
        n, groups, names = np.ones(len(x)), [bake, dough], ["bake", "dough"]
        blocks = make_blocks(np.column_stack([q, y]), n, 0.0, groups, names, bake, doughs)
        fits, problems = estimate_many(blocks, may_go_below(q, n, groups, "free", "nested"))
        assert not problems
        differences = np.linalg.solve(r.T, (np.eye(doughs)[1:] - np.eye(doughs)[0]).T).T
        return f_test(fits, fits.beta, differences)

    def theirs() -> None:
        for column in y.T[:peers]:
            peer(frame.assign(height=column), "height ~ C(malt)")

    rate, slow = timed(ours) / trials, timed(theirs) / peers
    kind = "no piece lost" if not lost else f"{100 * lost:.0f} % of the pieces lost"
    print(
        f"{trials:,} trials of {len(frame)} pieces ({kind}), fit and Kenward-Roger: "
        f"{slow / rate:,.0f} x a loop over MixedLM ({1e6 * rate:.0f} us a trial)"
    )


if __name__ == "__main__":
    of_simulations(0.0)
    of_simulations(0.1)
    of_answers(21, 4, 6)
    of_answers(8, 3, 21)
    of_plans()

"""What to bake next: how sure the answer is, what one more bake of each kind would add.

Doughs add, pieces hardly do, and a bake with only the two settings still in question may add as
much as one with all of them: `next_bake` works it out for the trial at hand, and says when to
stop (`kit.plan.looking`). The arithmetic is that of the planner (`kit.plan.worth`).
"""

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import pandas as pd

from kit import words
from kit.analysis.comparison import Comparison
from kit.analysis.grouping.mixing import TAKEN_ALIKE
from kit.errors import DesignError
from kit.plan.looking import Looks, looks
from kit.plan.noticing.noticed import often
from kit.plan.worth import Evidence
from kit.shown import ITEM, Telling, Told

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = ["USUAL_BAKES", "NextBake", "next_bake"]

#: Bakes taken as planned when nobody said (12 to 24 doughs, two or three a bake, is what a home
#: series usually gets done; experience, no source).
USUAL_BAKES = 8


@dataclass(frozen=True)
class NextBake(Told):
    """How sure the answer is now, and what one more bake would add to it.

    Parameters
    ----------
    looks : Looks
        The answer so far, looked at after every bake.
    kinds : DataFrame
        One row a kind of bake: ``kind`` (in words), ``settings``, ``doughs``, ``pieces`` (a
        dough), ``half_now, half_after`` (half width of the usual interval), ``settled`` and
        ``settled_looking`` (chance to be settled after it, by the usual interval and by the one
        that holds for looking after every bake; the second is missing beyond the plan), ``gain``
        (share by which the interval narrows), ``more_doughs_than_usual``. Empty when it could
        not be worked out.
    """

    looks: Looks
    kinds: pd.DataFrame
    checks: tuple[str, ...]

    @property
    def comparison(self) -> Comparison:
        """The usual answer from all bakes so far."""
        return self.looks.comparison

    @property
    def best(self) -> str | None:
        """The kind that narrows the interval most for each dough, of those that fit a usual bake.

        None when nothing was worked out.
        """
        if self.kinds.empty:
            return None
        alike = self.kinds[self.kinds["pieces"] == self.kinds["pieces"].min()]
        usual = alike[~alike["more_doughs_than_usual"].astype(bool)]
        alike = alike if usual.empty else usual
        # the interval narrows more slowly than the doughs add up: count information, 1 / width²
        worth = (alike["half_now"] / alike["half_after"]) ** 2 - 1
        return str(alike["kind"].loc[(worth / alike["doughs"]).idxmax()])

    @property
    def headline(self) -> str:
        """Stop or go on."""
        return self.looks.headline

    @property
    def sentences(self) -> list[str]:
        """How sure now, and what each kind of bake would add."""
        c = self.comparison
        said = [f"Looked at once: {c.answer.told(c.matters)}. {c.sentence}", *self.looks.sentences]
        if self.kinds.empty:
            return said
        unit, lead = words.unit_of(c.outcome), c.leading
        first = "baking on all the same" if self.looks.stop else "one more bake"
        said.append(
            f"What {first} would do to the difference of {words.amount(c.by, lead.level)} against "
            f"{words.amount(c.by, lead.versus)} (now ± "
            f"{words.number(lead.half_width, lead.half_width, unit)}; all ± as looked at once):"
        )
        said += [self._line(row) for row in self.kinds.to_dict("records")]
        said.append(self._pieces())
        best = self.best
        if best is not None and len(self.kinds) > 1:
            said.append(f"Most for the work, dough for dough: {best}.")
        return [s for s in said if s]

    def _pieces(self) -> str:
        """What more pieces bring, beside the same bake with the usual number."""
        if self.comparison.unit not in ("dough", "bake"):
            return ""  # what is set inside doughs does gain from pieces
        first, last = self.kinds.iloc[0], self.kinds.iloc[-1]
        if last["pieces"] <= first["pieces"] or last["half_after"] < 0.95 * first["half_after"]:
            return ""
        return "Twice as many pieces would add hardly anything: what counts is the doughs."

    def _line(self, row: dict[Any, Any]) -> str:
        c = self.comparison
        unit = words.unit_of(c.outcome)
        half = words.number(row["half_after"], c.leading.half_width, unit)
        once, looking = row["settled"], row["settled_looking"]
        still = "still settled" if self.looks.settled_after is not None else "settled"
        text = f"{ITEM}{row['kind']}: ± {half}; {still} after it "
        if math.isnan(looking):
            text += often(once)
        else:
            text += often(looking)
            if abs(once - looking) > 0.02:
                text += f" ({often(once)} if that were the only look)"
        much = (
            " It is more doughs than in any bake so far." if row["more_doughs_than_usual"] else ""
        )
        return f"{text}.{much}"

    @property
    def method(self) -> str:
        """For a statistician."""
        return (
            f"{self.looks.method} What a bake adds: standard errors and Kenward–Roger degrees of "
            "freedom of old and new bakes together at the variances estimated so far, in "
            "proportion to those of the present answer; widths are of the usual interval. The "
            "chances take the difference as it stands now, with its uncertainty; of the largest of "
            "several that is a little hopeful."
        )

    def __repr__(self) -> str:
        c = self.comparison
        what = "stop" if self.looks.stop else "go on"
        return f"<NextBake {c.outcome} by {c.by}: {what}, {len(self.kinds)} kinds of bake>"

    def tells(self) -> Telling:
        """What it says."""
        return Telling(self.headline, (*self.sentences,), self.checks, self.method)

    def to_frame(self) -> pd.DataFrame:
        """Return one row a kind of bake; see `kinds`. The looks are in ``looks.to_frame()``."""
        return self.kinds.copy()

    def plot(self, ax: "Axes | None" = None) -> "Axes":
        """Draw the intervals after each bake so far."""
        return self.looks.plot(ax)


def next_bake(
    frame: pd.DataFrame,
    outcome: str,
    by: str,
    bakes_planned: int | None = None,
    *,
    bake: str = "bake",
    matters: float | None = None,
    **more: Any,
) -> NextBake:
    """Say how sure the answer is and what one more bake of each kind would add.

    Parameters
    ----------
    frame : DataFrame
        One row a piece, bakes in the order they were made.
    outcome, by : str
        As for `kit.compare`.
    bakes_planned : int, optional
        In all, settled before the first look; 8 (or one more than made) when not given.
    bake, matters, **more
        As for `kit.plan.looking.looks`: dough, load, adjust, line, alpha, mixing.

    Raises
    ------
    InputError, DataError, DesignError, NotFoundError
        As for `kit.plan.looking.looks`.

    Examples
    --------
    >>> days = [(b, f"{b}{s}", s, 30 + 3 * s + (7 * b * (s + 2) + 5 * i) % 4)
    ...         for b in range(1, 4) for s in (0, 1) for i in range(3)]
    >>> rows = pd.DataFrame(days, columns=["bake", "dough", "malt", "height"])
    >>> found = next_bake(rows, "height", "malt", bakes_planned=6)
    >>> found.kinds["doughs"].tolist()
    [2, 4, 2]
    """
    checks: list[str] = []
    if matters is None:
        checks.append(
            "no smallest difference that matters was given, so only a difference that is surely "
            "not zero can settle it, never that there is none worth caring about"
        )
    if bakes_planned is None:
        made = frame.loc[frame[outcome].notna(), bake].nunique() if outcome in frame else 0
        bakes_planned = max(USUAL_BAKES, made + 1)
        checks.append(
            f"{bakes_planned} bakes were taken as planned, because nobody said: settle the number "
            "before the first look"
        )
    found = looks(frame, outcome, by, bakes_planned, bake=bake, matters=matters, **more)
    kinds, notes = _kinds(found)
    return NextBake(found, kinds, (*checks, *found.checks, *notes))


_COLUMNS = [
    "kind", "settings", "doughs", "pieces", "half_now", "half_after", "settled",
    "settled_looking", "gain", "more_doughs_than_usual",
]  # fmt: skip


def _kinds(found: Looks) -> tuple[pd.DataFrame, list[str]]:
    """Every kind of bake, as far as it can be worked out."""
    rows: list[dict[str, Any]] = []
    notes: list[str] = []
    e, c = found.evidence, found.comparison
    if e is None:
        return pd.DataFrame(columns=_COLUMNS), []
    for settings, each, more_pieces in _asked(e):
        kind = _in_words(e, settings, each, more_pieces)
        try:
            rows.append({"kind": kind, **_worth(found, e, settings, each, more_pieces)})
        except DesignError as why:
            notes.append(f"{kind} was not worked out: {why}".rstrip("."))
    if rows and c.unit == "dough" and c.columns["mixing"] == c.by:
        notes.append(TAKEN_ALIKE)
    return pd.DataFrame(rows, columns=_COLUMNS), notes


def _asked(e: Evidence) -> list[tuple[tuple[Any, ...], int, int]]:
    """Settings, doughs of each, and times as many pieces."""
    asked = [(e.every, 1, 1)]
    if len(e.every) > 2:
        asked.append((e.pair, 1, 1))
    asked.append((e.pair, 2, 1))
    if e.pieces > 1:  # else nothing tells how alike the pieces of a dough are
        asked.append((e.every, 1, 2))
    return asked


def _worth(
    found: Looks, e: Evidence, settings: tuple[Any, ...], each: int, more_pieces: int
) -> dict[str, Any]:
    runs = e.bake_of(settings, each, more_pieces)
    then = e.after(runs)
    now = found.comparison.leading.half_width
    half = e.half(then, 1 - found.alpha)
    looking = float("nan")
    if found.made < found.planned:
        level = e.looking_level(found.table, then, 1, found.planned, found.alpha)
        looking = e.chance(then, e.half(then, level))
    doughs = runs["dough"].nunique()
    return {
        "settings": settings, "doughs": doughs, "pieces": e.pieces * more_pieces,
        "half_now": now, "half_after": half, "settled": e.chance(then, half),
        "settled_looking": looking, "gain": 1 - half / now,
        "more_doughs_than_usual": doughs > e.doughs,
    }  # fmt: skip


def _in_words(e: Evidence, settings: tuple[Any, ...], each: int, more_pieces: int) -> str:
    """A kind of bake as a baker says it."""
    c = e.comparison
    two = words.join(words.amount(c.by, s) for s in sorted(settings, key=e.every.index))
    ends = c.kind == "line"
    which = f"with {two}" if ends else "with every setting"
    if not ends and len(settings) < len(e.every):
        which = f"with only {two}"
    pieces = words.plural(e.pieces * more_pieces, "piece")
    if c.unit in ("piece", "shaping"):
        made = f"of {words.plural(each, 'dough')}, {pieces} each, {which} in every dough"
    elif c.unit == "load":
        made = f"{which}, {words.plural(each, 'load')} of each"
    else:
        twice = ", two doughs of each" if each == 2 else ""
        made = f"{which}{twice} ({words.plural(len(settings) * each, 'dough')} of {pieces})"
    return f"{'twice as many pieces: ' if more_pieces > 1 else ''}one bake {made}"

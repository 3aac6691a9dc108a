"""What a page tells: a result, the table it comes from, and the words around it."""

import platform
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from hashlib import sha256
from importlib import metadata
from typing import TYPE_CHECKING

import pandas as pd

import kit
from kit import quantities, words
from kit.analysis.comparison import Comparison
from kit.analysis.grouping.structure import MOST_SETTINGS

if TYPE_CHECKING:
    from kit.analysis.tasting.answered import Answered

__all__ = ["Also", "Report", "data_hash", "dough_table", "from_frame"]

_PACKAGES = ("numpy", "pandas", "scipy", "formulaic", "matplotlib")


@dataclass(frozen=True, eq=False)
class Also:
    """What the page says of another factor of the same trial.

    Parameters
    ----------
    by : str
    comparison : Comparison or None
        Its answer; None when there is none yet.
    why_not : str
        Then the reason, in a sentence.
    repeat : str
        The call that gives the comparison again; may be empty.
    """

    by: str
    comparison: Comparison | None
    why_not: str = ""
    repeat: str = ""


@dataclass(frozen=True, eq=False)  # tables have no one answer to ==
class Report:
    """Everything on the page; the same report gives the same bytes.

    Parameters
    ----------
    title, question : str
        An empty question is put in the words of the comparison.
    baker : str
        Whose bakes they are; may be empty.
    invented : bool
        Whether the data were made up, which the page then says first.
    comparison : Comparison
    formula : DataFrame or None
        ``name, role, percent``: baker's percentages, flour = 100; NaN where the trial decides.
        A column ``changed``, where not empty, is shown in place of the percentage.
    formula_note : str
    doughs : DataFrame
        One row a dough, columns named in words (see `dough_table`).
    events : tuple of str
        What happened besides the plan.
    measured : str
        How the outcome was measured; empty when that is not known.
    data_hash : str
        See `data_hash`.
    source : str
        Where the data come from; may be empty.
    made_on : date
    versions : mapping
        Program -> version.
    repeat : str
        The call that gives the comparison again; may be empty.
    also : tuple of Also
        The other factors of the trial, each answered in a section of its own.
    drawn : bool
        Whether all bakes are of a kept plan, which draws the turn of the doughs by lot.
    unasked : tuple of str
        What else was measured and is not answered on the page.
    tasted : tuple of (str, Answered or str)
        Of every blind tasting that was opened: what was served how, and its answer, or why there
        is none.
    """

    title: str
    question: str
    baker: str
    invented: bool
    comparison: Comparison
    formula: pd.DataFrame | None
    formula_note: str
    doughs: pd.DataFrame
    events: tuple[str, ...]
    data_hash: str
    source: str
    made_on: date
    versions: Mapping[str, str]
    repeat: str = ""
    measured: str = ""
    also: tuple[Also, ...] = ()
    drawn: bool = False
    unasked: tuple[str, ...] = ()
    tasted: "tuple[tuple[str, Answered | str], ...]" = ()


def from_frame(
    frame: pd.DataFrame, comparison: Comparison, title: str, question: str = "", *,
    baker: str = "", invented: bool = False, formula: pd.DataFrame | None = None,
    formula_note: str = "", events: Iterable[str] = (), measured: str = "", source: str = "",
    also: Mapping[str, Comparison | str] | None = None, drawn: bool = False,
    unasked: Iterable[str] = (), tasted: "Iterable[tuple[str, Answered | str]]" = (),
    made_on: date | None = None, dough: str | None = "dough",
    bake: str | None = "bake", load: str | None = "load", day: str | None = "day",
) -> Report:  # fmt: skip
    """Make a report of a comparison and the frame it was made from.

    Parameters
    ----------
    frame : DataFrame
        As given to `kit.compare`.
    comparison : Comparison
    title, question, baker, invented, formula, formula_note, events, measured, source, drawn
        See `Report`.
    also : mapping, optional
        Other factors of the same frame -> their comparison, or why there is none.
    unasked, tasted
        See `Report`.
    made_on : date, optional
        Today when not given.
    dough, bake, load : str or None
        The columns given to `kit.compare`; one that the frame does not have is none.
    day : str or None
        Column with the day of the bake, when there is one.

    Returns
    -------
    Report
    """
    dough, bake, load, day = (
        column if column in frame.columns else None for column in (dough, bake, load, day)
    )
    units = {"dough": dough, "bake": bake, "load": load}
    answers = (also or {}).items()
    return Report(
        title=title, question=question, baker=baker, invented=invented, comparison=comparison,
        formula=formula, formula_note=formula_note,
        doughs=dough_table(frame, comparison, dough=dough, bake=bake, day=day),
        events=tuple(events), data_hash=data_hash(frame), source=source,
        made_on=made_on or date.today(), versions=_versions(), measured=measured,
        repeat=_call(comparison, **units), drawn=drawn, unasked=tuple(unasked),
        tasted=tuple(tasted),
        also=tuple(
            Also(by, None, found) if isinstance(found, str)
            else Also(by, found, repeat=_call(found, **units)) for by, found in answers
        ),
    )  # fmt: skip


def data_hash(frame: pd.DataFrame) -> str:
    """SHA-256 of a table, by which two people see that they hold the same data.

    Of the table as CSV: UTF-8, commas, lines ended by a line feed, header first, no index,
    missing cells empty, columns and rows in their order.

    Examples
    --------
    >>> data_hash(pd.DataFrame({"dough": ["a"], "height_mm": [28.5]}))[:16]
    'fd2bb30d64bd2dbf'
    """
    return sha256(frame.to_csv(index=False, lineterminator="\n").encode()).hexdigest()


def dough_table(
    frame: pd.DataFrame, comparison: Comparison, dough: str | None = "dough",
    bake: str | None = "bake", day: str | None = "day",
) -> pd.DataFrame:  # fmt: skip
    """One row a dough: where it belongs, its settings, its pieces and their mean.

    Where pieces of one dough had different settings, there is a mean for each setting.

    Parameters
    ----------
    frame : DataFrame
        Where days and the settings of other factors are looked up.
    comparison : Comparison
    dough, bake, day : str or None
        Columns of `frame`; None when there is none.

    Returns
    -------
    DataFrame
        Columns named in words, means rounded as the spread from piece to piece allows.
    """
    c = comparison
    key = ["bake", "dough"]
    groups = c.points.groupby(key, sort=False, observed=True)
    decimals = words.decimals_for(float(c.fit.variance["sd"].iloc[-1]))
    table = groups.agg(pieces=("value", "size"), mean=("value", "mean"))
    settings = groups["level"].nunique()
    facts = {} if dough is None else _constant_in_dough(frame, c, dough, bake, day)
    shown = pd.DataFrame({"Dough": [d for _, d in table.index]})
    if bake is not None:
        shown["Bake"] = [b for b, _ in table.index]
    if "day" in facts:
        shown["Day"] = facts.pop("day").reindex(table.index).to_numpy()
    if settings.max() == 1:
        shown[_head(c.by)] = _readable(c.by, groups["level"].first()).to_numpy()
    for column, values in facts.items():
        shown[_head(column)] = _readable(column, values.reindex(table.index)).to_numpy()
    shown["Pieces"] = table["pieces"].to_numpy()
    head = f"Mean {words.name(c.outcome)}"
    if settings.max() > 1 and c.points["level"].nunique() <= MOST_SETTINGS:
        means = c.dough_means().set_index([*key, "level"])["value"].unstack("level")
        for level in (one for one in c.means["level"] if one in means):
            own = means[level].reindex(table.index).round(decimals)
            shown[f"{head} at {words.amount(c.by, level)}"] = own.to_numpy()
    else:
        unit = words.unit_of(c.outcome)
        shown[f"{head} ({unit})" if unit else head] = table["mean"].round(decimals).to_numpy()
    return shown


def _readable(column: str, values: pd.Series) -> pd.Series:
    """Settings that a clock gave, rounded: 48 h 20 min is 48.33 h."""
    if not pd.api.types.is_float_dtype(values):
        return values
    return values.map(lambda value: words.rounded(column, value))


def _head(column: str) -> str:
    return words.capital(quantities.label(column))


def _constant_in_dough(
    frame: pd.DataFrame, c: Comparison, dough: str, bake: str | None, day: str | None
) -> dict[str, pd.Series]:
    """The day and the other factors, where a dough has one value of them."""
    keys = frame[dough].to_frame("dough")
    keys.insert(0, "bake", frame[bake] if bake is not None else "")
    wanted = {"day": day} if day is not None else {}
    wanted |= {column: column for column in c.adjusted if column in frame.columns}
    found = {}
    for name, column in wanted.items():
        by_dough = frame[column].groupby([keys["bake"], keys["dough"]], sort=False)
        if by_dough.nunique().max() == 1:
            found[name] = by_dough.first()
    return found


def _versions() -> dict[str, str]:
    installed = {name: metadata.version(name) for name in _PACKAGES}
    return {"bake-trial-kit": kit.__version__, "Python": platform.python_version(), **installed}


def _call(c: Comparison, dough: str | None, bake: str | None, load: str | None) -> str:
    given = {"outcome": c.outcome, "by": c.by, "dough": dough, "bake": bake}
    given["load"] = load if "load" in c.fit.groups or c.unit == "load" else None
    given["mixing"] = c.columns["mixing"] if "mixing" in c.fit.groups else None
    text = [f"{name}={value!r}" for name, value in given.items() if value is not None]
    if c.matters is not None:
        text.append(f"matters={c.matters:g}")
    if c.adjusted:
        text.append(f"adjust={list(c.adjusted)!r}")
    if c.control is not None:
        text.append(f"control={c.control!r}")
    if c.kind == "line":
        text.append("line=True")
    if c.fit.level != 0.95:
        text.append(f"level={c.fit.level:g}")
    return f"kit.compare(frame, {', '.join(text)})"

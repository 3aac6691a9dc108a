"""The page's sections as plain blocks, so that HTML and Markdown say the same.

Words come before statistics. What people typed passes through unchanged: escaping is the
template's work.
"""

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from kit import charts
from kit.analysis import sentences, words
from kit.analysis.components import Surrogates, interval
from kit.analysis.verdict import Answer
from kit.writeup.blocks import Block, Code, Items, Picture, Section, Table, Text
from kit.writeup.safety import SAFETY

if TYPE_CHECKING:
    from kit.analysis.compare import Comparison
    from kit.writeup.report import Report

__all__ = ["sections"]

#: A table of more rows than this is cut, and says so.
MOST_ROWS = 120


def sections(report: "Report") -> list[Section]:
    """Everything on the page below its title, in reading order."""
    c = report.comparison
    made: list[tuple[str, str, list[Block]]] = [
        ("question", "The question", [Text(report.question or _question(c))]),
        ("answer", "The answer", _answer(c)),
        ("picture", "The picture", [_picture(c)]),
        ("rests-on", "What it rests on", _rests_on(c)),
        ("formula", "The formula", _formula(report)),
        ("done", "What was done", _done(report)),
        ("analysis", "How it was analysed", _analysis(c)),
        ("not-tested", "What was not tested", _not_tested(c)),
        ("safety", "For safety", [Items(tuple((t, s) for t, s, _ in SAFETY)), *_documents()]),
        ("repeat", "To check and repeat it", _repeat(report)),
    ]
    return [Section(name, heading, tuple(blocks)) for name, heading, blocks in made]


def _question(c: "Comparison") -> str:
    return f"Does {words.name(c.by)} change {words.name(c.outcome)}?"


def _answer(c: "Comparison") -> list[Block]:
    return [Text(c.headline, "lead"), Text(c.sentence), Text(c.next_step)]


def _picture(c: "Comparison") -> Picture:
    sure = f"{100 * c.fit.level:.0f} % interval"
    shown = charts.drawn(c)
    text = []
    if "piece" in shown:
        text.append("A dot is one piece.")
    if "dough" in shown:
        text.append("A diamond is the mean of a dough.")
    if c.kind == "line":
        text.append(f"The line is the straight line that fits best, the blue band its {sure}.")
    else:
        if "dough" in shown:
            text.append("Pieces of one dough stand above each other, on a thread.")
        text.append(f"A square is the mean of a setting, its bar the {sure}.")
        if c.adjusted:
            text.append(
                f"These means are worked out with {_listed(c.adjusted)} held alike, so they need "
                "not lie in the middle of their doughs."
            )
    if c.matters is not None:
        text.append(
            f"The green band reaches {words.amount(c.outcome, c.matters)} either side of the "
            f"mean at {words.amount(c.by, c.leading.versus)}: less than that does not matter."
        )
    if c.kind == "settings":
        text.append(
            "Whether two settings differ is read from the interval of their difference, given "
            "below, not from whether two bars overlap."
        )
    title = f"{words.capital(words.name(c.outcome))} by {words.name(c.by)}"
    return Picture(title, charts.describe(c), " ".join(text))


def _rests_on(c: "Comparison") -> list[Block]:
    blocks: list[Block] = [Text(c.rests_on)]
    if c.checks:
        blocks.append(Text("Know before you trust it:", "intro"))
        blocks.append(Items(tuple((words.capital(f"{check}."),) for check in c.checks)))
    return blocks


def _formula(report: "Report") -> list[Block]:
    if report.formula is None or report.formula.empty:
        return [Text(report.formula_note or "No formula was recorded.")]
    table = report.formula
    shown = pd.DataFrame({"Ingredient": table["name"], "What for": table["role"]})
    shown["Percent"] = table["percent"].astype(float)
    blocks: list[Block] = [
        _table(
            shown,
            "Baker’s percentages: the weight of each for 100 of flour",
            missing="as the trial says",
        )
    ]
    return [*blocks, Text(report.formula_note)] if report.formula_note else blocks


def _done(report: "Report") -> list[Block]:
    c = report.comparison
    blocks: list[Block] = [_table(report.doughs, "The doughs, in the order they were recorded")]
    left = len(report.doughs) - MOST_ROWS
    if left > 0:
        blocks.append(Text(f"{words.plural(left, 'more dough')} in the data.", "small"))
    if report.measured:
        blocks.append(Text(report.measured))
    if report.events:
        blocks.append(Text("What happened besides the plan:", "intro"))
        blocks.append(Items(tuple((event,) for event in report.events)))
    else:
        blocks.append(Text("No mishap was noted."))
    if c.matters is not None:
        blocks.append(
            Text(
                f"The baker said that less than {words.amount(c.outcome, c.matters)} of "
                f"{words.name(c.outcome)} does not matter."
            )
        )
    return blocks


def _analysis(c: "Comparison") -> list[Block]:
    blocks: list[Block] = [
        Text("Every difference gets one of these answers:", "intro"),
        Items(tuple(_four_answers(c))),
    ]
    why = sentences.why_not_pieces(c)
    if why:
        blocks.append(Text(why))
    blocks += [_means(c), _differences(c)]
    if len(c.differences) > 1:
        blocks.append(
            Text(
                "Intervals and p values of the differences are widened together, because several "
                "were looked at.",
                "small",
            )
        )
    blocks += [_spread(c), Text(c.method), Text(f"Sources: {'; '.join(_sources(c))}.", "small")]
    return blocks


def _four_answers(c: "Comparison") -> list[tuple[str, str]]:
    sure = f"the {100 * c.fit.level:.0f} % interval of the difference"
    if c.matters is None:
        return [
            ("A difference", f"{sure} does not hold zero."),
            ("Cannot tell yet", f"{sure} holds zero."),
            (
                "No answer “too small to matter”",
                "nobody said from how much on a difference matters.",
            ),
        ]
    margin = words.amount(c.outcome, c.matters)
    told = {
        Answer.MATTERS: f"{sure} lies wholly beyond {margin}, on one side.",
        Answer.SMALL: f"it lies wholly within {margin} either way, and does not hold zero.",
        Answer.NONE: f"it lies wholly within {margin} either way, and holds zero.",
        Answer.UNCLEAR: "it lies anywhere else: more than one of these may be true.",
    }
    return [(words.capital(answer.value), text) for answer, text in told.items()]


def _means(c: "Comparison") -> Table:
    unit, sure = words.unit_of(c.outcome), f"{100 * c.fit.level:.0f} % interval"
    rows = []
    for level, mean, low, high in c.means[["level", "mean", "low", "high"]].itertuples(index=False):
        half = (high - low) / 2
        rows.append((words.amount(c.by, level), words.number(mean, half), _span(low, high, half)))
    what = "Height of the line" if c.kind == "line" else "Means of the settings"
    if c.adjusted:
        what += f", {_listed(c.adjusted)} held alike"
    head = (
        words.capital(words.name(c.by)),
        f"Mean {words.name(c.outcome)}{f' ({unit})' if unit else ''}",
        sure,
    )
    return Table(what, head, tuple(rows), (False, True, True))


def _differences(c: "Comparison") -> Table:
    unit = words.unit_of(c.outcome)
    rows = []
    for row in c.differences.to_dict("records"):
        half = (row["high"] - row["low"]) / 2
        rows.append(
            (
                f"{words.amount(c.by, row['level'])} against {words.amount(c.by, row['versus'])}",
                str(row["answer"]),
                words.number(row["difference"], half),
                _span(row["low"], row["high"], half),
                words.number(row["se"], row["se"]),
                words.number(row["df"], 10),
                _p(row["p"]),
            )
        )
    head = (
        words.capital(words.name(c.by)),
        "Answer",
        f"Difference{f' ({unit})' if unit else ''}",
        f"{100 * c.fit.level:.0f} % interval",
        "SE",
        "df",
        "p",
    )
    caption = f"Differences in {words.name(c.outcome)}: the first less the second"
    return Table(caption, head, tuple(rows), (False, False, True, True, True, True, True))


def _spread(c: "Comparison") -> Table:
    unit = words.unit_of(c.outcome)
    inner = "dough" if c.counts["piece"] == c.counts["dough"] else "piece"
    within = " within a bake" if c.counts["bake"] > 1 else ""
    called = {
        "bake": "From bake to bake",
        "mixing": f"From mixing to mixing{within}",
        "dough": f"From dough to dough{within}",
        "load": f"From load to load{within}",
        "residual": f"From {inner} to {inner}, and the measuring",
    }
    rows = []
    drawn = Surrogates(c.fit)
    for component, sd, share in c.fit.variance[["sd", "share"]].itertuples():
        name = str(component)
        size = "none seen" if sd == 0 else words.number(sd, sd)
        values = drawn.values[:, drawn.names.index(name)]
        low, high = (math.sqrt(max(v, 0.0)) for v in interval(values, c.fit.level))
        span = _span(low, high, (high - low) / 2)
        rows.append((called.get(name, name), size, span, f"{100 * share:.0f} %"))
    sd_head = f"Standard deviation{f' ({unit})' if unit else ''}"
    sure = f"{100 * c.fit.level:.0f} % interval"
    return Table(
        "Where the spread comes from, the settings apart",
        ("Spread", sd_head, sure, "Share of the variance"),
        tuple(rows),
        (False, True, True, True),
    )


def _sources(c: "Comparison") -> list[str]:
    named = []
    if c.fit.groups:
        named += [
            "Patterson and Thompson (1971), Biometrika 58:545 (REML)",
            "Kenward and Roger (1997), Biometrics 53:983 (standard errors and degrees of freedom)",
        ]
    if len(c.differences) > 1 and c.control is None:
        named.append("Kramer (1956), Biometrics 12:307 (all pairs)")
    if len(c.differences) > 1 and c.control is not None:
        named.append("Dunnett (1955), J Am Stat Assoc 50:1096 (against one setting)")
    if c.matters is not None:
        named.append("Schuirmann (1987), J Pharmacokinet Biopharm 15:657 (too small to matter)")
    if sentences.why_not_pieces(c):
        named.append("Hurlbert (1984), Ecol Monogr 54:187 (why pieces are not experiments)")
    return named or ["Student (1908), Biometrika 6:1"]


def _not_tested(c: "Comparison") -> list[Block]:
    by, outcome = words.name(c.by), words.name(c.outcome)
    if c.kind == "line":
        low, high = (words.amount(c.by, c.means["level"].iloc[i]) for i in (0, -1))
        settings = (
            f"{words.capital(by)} from {low} to {high}, and nothing beyond. Between them a "
            "straight line was taken for granted."
        )
    else:
        listed = words.join(words.amount(c.by, level) for level in c.means["level"])
        settings = f"Only {by} {listed}. Nothing is said of anything between or beyond."
    if c.adjusted:
        other = (
            f"{words.capital(_listed(c.adjusted))} changed too and "
            f"{'was' if len(c.adjusted) == 1 else 'were'} held alike by calculation. That takes "
            f"{by} to do the same at each of their settings; whether it does was not tested."
        )
    else:
        other = (
            f"Whatever else changed from {c.unit} to {c.unit} was not taken into account: it adds "
            "to the spread or, where it changed together with the settings, to the difference."
        )
    bakes = c.counts["bake"]
    if (c.points["bake"] == "").all():
        kitchen = "Which bake a piece came from is not recorded, so days cannot be compared."
    elif bakes == 1:
        kitchen = "One bake only: another day may come out otherwise."
    else:
        kitchen = f"{bakes} bakes of one series: another kitchen, flour or griddle may differ."
    return [
        Items(
            (
                ("Other settings", settings),
                ("Other factors", other),
                ("Other kitchens", kitchen),
                (
                    "Other outcomes",
                    f"Only {outcome} was looked at here. A setting good for it may be bad for "
                    "something else.",
                ),
            )
        )
    ]


def _documents() -> list[Block]:
    return [
        Text(f"Documents named: {'; '.join(d for _, _, d in SAFETY if d)}.", "small"),
        Text(
            "This is general information from the documents named, not advice for your premises. "
            "Food laws, allergen labelling and the rules for gas and electricity differ from "
            "place to place: follow your local food code, and ask your food authority or a "
            "licensed professional before you sell or change equipment."
        ),
    ]


def _repeat(report: "Report") -> list[Block]:
    facts = []
    if report.source:
        facts.append(("Data from", report.source))
    facts += [
        ("Page made on", report.made_on.isoformat()),
        ("Made with", ", ".join(f"{name} {v}" for name, v in report.versions.items())),
        ("SHA-256 of the data", report.data_hash),
    ]
    blocks: list[Block] = [Items(tuple(facts))]
    if report.repeat:
        blocks += [
            Text("With the same table in frame, this gives the same answer:", "intro"),
            Code(report.repeat),
        ]
    blocks.append(
        Text(
            "The hash is of the table as CSV (UTF-8, commas, line feeds, missing cells empty): "
            "whoever gets the same hash holds the same data.",
            "small",
        )
    )
    return blocks


def _listed(columns: Sequence[str]) -> str:
    return words.join(words.name(column) for column in columns)


def _span(low: float, high: float, half: float) -> str:
    return f"{words.number(low, half)} to {words.number(high, half)}"


def _p(value: float) -> str:
    if np.isnan(value):
        return "unknown"
    return "below 0.0001" if value < 1e-4 else f"{value:.2g}"


def _table(frame: pd.DataFrame, caption: str, missing: str = "–") -> Table:
    """A frame's first rows as text, each column with the decimals it needs."""
    frame = frame.head(MOST_ROWS)
    columns = [[_cell(v, missing, _decimals(frame[n])) for v in frame[n]] for n in frame]
    numeric = tuple(
        pd.api.types.is_numeric_dtype(frame[n]) and not pd.api.types.is_bool_dtype(frame[n])
        for n in frame
    )
    return Table(caption, tuple(map(str, frame)), tuple(zip(*columns, strict=True)), numeric)


def _decimals(column: "pd.Series[Any]") -> int:
    if not pd.api.types.is_float_dtype(column):
        return 0
    shown = [f"{v:.6g}" for v in column.dropna()]
    return max((len(s.partition(".")[2]) for s in shown if "e" not in s), default=0)


def _cell(value: Any, missing: str, decimals: int) -> str:
    if pd.isna(value):
        return missing
    if isinstance(value, (float, np.floating)):
        return words.minus(f"{value:.{decimals}f}")
    if isinstance(value, pd.Timestamp):
        return value.date().isoformat()
    return str(value)

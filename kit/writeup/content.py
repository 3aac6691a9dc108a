"""The page's sections as plain blocks, so that HTML and Markdown say the same.

Words come before statistics. What people typed passes through unchanged: escaping is the
template's work.
"""

from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING

import pandas as pd

from kit import charts, words
from kit.analysis.verdict import Answer
from kit.formula.safety import GENERAL, SAFETY, cautions
from kit.records.trial_asked import ALLOWED_FOR
from kit.us_units import also_us
from kit.writeup.blocks import Block, Code, Items, Picture, Section, Text
from kit.writeup.tables import MOST_ROWS, differences, listed, means, spread, table

if TYPE_CHECKING:
    from kit.analysis.comparison import Comparison
    from kit.analysis.tasting.answered import Answered
    from kit.writeup.report import Also, Report

__all__ = ["sections"]


def sections(report: "Report") -> list[Section]:
    """Everything on the page below its title, in reading order."""
    c = report.comparison
    of = f": {words.name(c.by)}" if report.also else ""  # one of several
    made: list[tuple[str, str, list[Block]]] = [
        ("question", "The question", [Text(report.question or _question(c))]),
        ("answer", f"The answer{of}", _answer(c)),
        ("picture", "The picture", [_picture(c)]),
        ("rests-on", "What it rests on", _rests_on(c)),
        *(
            (f"also-{i}", f"And {words.name(also.by)}?", _also(also))
            for i, also in enumerate(report.also, 1)
        ),
        *((("tasted", "What the tasters found", _tasted(report.tasted)),) if report.tasted else ()),
        ("formula", "The formula", _formula(report)),
        ("done", "What was done", _done(report)),
        ("analysis", "How it was analysed", [*_analysis(c), *_several(report)]),
        ("not-tested", "What was not tested", _not_tested(report)),
        ("safety", "For safety", _safety(report)),
        ("repeat", "To check and repeat it", _repeat(report)),
    ]
    return [Section(name, head, tuple(map(_also_us, blocks))) for name, head, blocks in made]


def _also_us(block: Block) -> Block:
    """US units behind the metric ones where they are wanted; tables and code stay as they are."""
    if isinstance(block, Text):
        return replace(block, text=also_us(block.text))
    if isinstance(block, Items):
        return Items(tuple(tuple(map(also_us, item)) for item in block.items))
    if isinstance(block, Picture):
        return replace(block, caption=also_us(block.caption))
    return block


def _question(c: "Comparison") -> str:
    return f"Does {words.name(c.by)} change {words.name(c.outcome)}?"


def _answer(c: "Comparison") -> list[Block]:
    return [Text(c.headline, "lead"), Text(c.sentence), Text(c.next_step)]


def _picture(c: "Comparison", first: bool = True) -> Picture:
    """A picture and what its legend does not say; how to read it under the first of the page."""
    shown = charts.drawn(c)
    text = []
    if c.kind == "line":
        sure = f"{100 * c.fit.level:.0f} % interval"
        text.append(f"The line is the straight line that fits best, the blue band its {sure}.")
    elif "dough" in shown and "piece" in shown:
        text.append("Pieces of one dough stand above each other, on a thread.")
    if c.kind != "line" and c.adjusted:
        text.append(
            f"These means are worked out with {listed(c.adjusted)} held alike, so they need "
            "not lie in the middle of their doughs."
        )
    if c.matters is not None:
        text.append(
            f"The shaded band is {words.amount(c.outcome, c.matters)} either side of the mean at "
            f"{words.amount(c.by, c.leading.versus)}."
        )
    if first and c.kind == "settings":
        text.append(
            "Whether two settings differ is read from the interval of their difference, given "
            "below, not from whether two bars overlap."
        )
    title = f"{words.capital(words.name(c.outcome))} by {words.name(c.by)}"
    return Picture(title, charts.describe(c), " ".join(text), partial(charts.comparison, c))


def _rests_on(c: "Comparison") -> list[Block]:
    return [Text(c.rests_on), *_cautions([check.replace(ALLOWED_FOR, "") for check in c.checks])]


def _cautions(checks: Sequence[str]) -> list[Block]:
    if not checks:
        return []
    told = tuple((words.capital(f"{check}."),) for check in checks)
    return [Text("Know before you trust it:", "intro"), Items(told)]


def _also(also: "Also") -> list[Block]:
    """The answer to another factor of the trial, whole, or why there is none."""
    c = also.comparison
    if c is None:
        return [Text("Not answered yet.", "lead"), Text(also.why_not)]
    return [
        *_answer(c), _picture(c, first=False), *_rests_on(c), differences(c),
        Text(c.method, "small"),
    ]  # fmt: skip


def _tasted(tastings: "Sequence[tuple[str, Answered | str]]") -> list[Block]:
    """Every blind tasting that was opened, whatever came out of it."""
    blocks: list[Block] = []
    for served, answer in tastings:
        if isinstance(answer, str):
            blocks += [Text(served), Text("Not answered yet.", "lead"), Text(answer)]
            continue
        headline, sentences, checks, method = answer.tells()
        found = f"Chart. {headline} {answer.sentence}"
        blocks += [
            Text(served), Text(headline, "lead"), *map(Text, filter(None, sentences)),
            Picture(served, found, "", answer.plot), *_cautions(checks), Text(method, "small"),
        ]  # fmt: skip
    return blocks


def _formula(report: "Report") -> list[Block]:
    recipe = report.formula
    if recipe is None or recipe.empty:
        return [Text(report.formula_note or "No formula was recorded.")]
    columns = {"Ingredient": recipe["name"], "What for": recipe["role"]}
    shown = pd.DataFrame(columns | {"Percent": recipe["percent"].astype(float).round(2)})
    what = "Baker’s percentages: the weight of each for 100 of flour"
    told = table(shown, what, missing="as the trial says")
    if "changed" in recipe:  # a percentage in the recipe that no dough had is none
        changed = zip(told.rows, recipe["changed"], strict=True)
        told = replace(told, rows=tuple((*row[:2], said or row[2]) for row, said in changed))
    blocks: list[Block] = [told]
    return [*blocks, Text(report.formula_note)] if report.formula_note else blocks


def _done(report: "Report") -> list[Block]:
    c = report.comparison
    blocks: list[Block] = [table(report.doughs, "The doughs, in the order they were recorded")]
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
        margin = words.amount(c.outcome, c.matters)
        told = f"The baker said that less than {margin} of {words.name(c.outcome)} does not matter."
        blocks.append(Text(told))
    return blocks


def _analysis(c: "Comparison") -> list[Block]:
    why = c.why_not_pieces
    together = (
        "Intervals and p values of the differences are widened together, because several were "
        "looked at."
    )
    return [
        Text("Every difference gets one of these answers:", "intro"),
        Items(tuple(_four_answers(c))),
        *([Text(why)] if why else []), means(c), differences(c),
        *([Text(together, "small")] if len(c.differences) > 1 else []),
        spread(c), Text(c.method), Text(f"Sources: {'; '.join(_sources(c))}.", "small"),
    ]  # fmt: skip


def _several(report: "Report") -> list[Block]:
    """How often chance alone speaks where several factors are answered, each by itself."""
    answered = [report.comparison, *(a.comparison for a in report.also if a.comparison)]
    if len(answered) < 2:
        return []
    missed = 100 * (1 - report.comparison.fit.level)
    told = (
        f"This page gives {len(answered)} answers, one a factor. Where a factor changes nothing, "
        f"its answer says by chance that there is a difference in up to {missed:.0f} of 100 "
        "trials; one answer or another does so more often than that."
    )
    return [Text(told, "small")]


def _four_answers(c: "Comparison") -> list[tuple[str, str]]:
    sure = f"the {100 * c.fit.level:.0f} % interval of the difference"
    if c.matters is None:
        return [
            ("A difference", f"{sure} does not hold zero."),
            ("Cannot tell yet", f"{sure} holds zero."),
            ("No answer “too small to matter”", "nobody said from how much on it matters."),
        ]
    margin = words.amount(c.outcome, c.matters)
    told = {
        Answer.MATTERS: f"{sure} lies wholly beyond {margin}, on one side.",
        Answer.SMALL: f"it lies wholly within {margin} either way, and does not hold zero.",
        Answer.NONE: f"it lies wholly within {margin} either way, and holds zero.",
        Answer.UNCLEAR: "it lies anywhere else: more than one of these may be true.",
    }
    return [(words.capital(answer.value), text) for answer, text in told.items()]


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
    if c.why_not_pieces:
        named.append("Hurlbert (1984), Ecol Monogr 54:187 (why pieces are not experiments)")
    return named or ["Student (1908), Biometrika 6:1"]


def _not_tested(report: "Report") -> list[Block]:
    c = report.comparison
    by = words.name(c.by)
    if c.kind == "line":
        low, high = (words.amount(c.by, c.means["level"].iloc[i]) for i in (0, -1))
        settings = (
            f"{words.capital(by)} from {low} to {high}, and nothing beyond. Between them a "
            "straight line was taken for granted."
        )
    else:
        levels = words.join(words.amount(c.by, level) for level in c.means["level"])
        settings = f"Only {by} {levels}. Nothing is said of anything between or beyond."
    if c.adjusted:
        other = (
            f"{words.capital(listed(c.adjusted))} changed too and "
            f"{'was' if len(c.adjusted) == 1 else 'were'} held alike by calculation. That takes "
            f"{by} to do the same at each of their settings{_together(report)}."
        )
        if report.also:
            what = "it does" if len(report.also) == 1 else "each of them does"
            other += f" What {what} by itself is told above."
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
    told = (
        ("Other settings", settings), ("Other factors", other), ("Other turns", _turns(report)),
        ("Other kitchens", kitchen), ("Other outcomes", _unasked(report)),
    )  # fmt: skip
    return [Items(told)]


def _together(report: "Report") -> str:
    """What is known of whether a factor does the same whatever the others are set to."""
    own, *more = (
        [f for f in (c.examined.findings if c and c.examined else ()) if f.subject == "together"]
        for c in (report.comparison, *(also.comparison for also in report.also))
    )
    if any(found.alarm for found in own):
        return ". It did not: see above, before you trust it"
    if any(found.alarm for others in more for found in others):
        return ". Not every factor did so: see above, before you trust it"
    if len(own) < len(report.comparison.adjusted):
        return "; whether it does was not tested" + (" for each of them" if own else "")
    return "; no sign against it was seen, which is no proof"


def _unasked(report: "Report") -> str:
    """That the page is about one outcome, and which others it could have been about."""
    also, measured, outcome = "", report.unasked, words.name(report.comparison.outcome)
    tasted = any(not isinstance(answer, str) for _, answer in report.tasted)
    about = f"{outcome} and taste" if tasted else outcome
    if measured:
        also = (
            f" {words.capital(words.join(words.name(name) for name in measured))} "
            f"{'was' if len(measured) == 1 else 'were'} measured too and "
            f"{'is' if len(measured) == 1 else 'are'} not answered here."
        )
    return (
        f"This page is about {about} only.{also} A setting good for {outcome} may be bad for "
        "something else."
    )


def _turns(report: "Report") -> str:
    """What is known of the turn in which the settings were mixed and baked."""
    examined = report.comparison.examined
    seen = [f for f in (examined.findings if examined else ()) if f.subject == "turn"]
    lots = "The plan drew by lot which dough is mixed first"
    if not report.drawn:
        lots = "Whether lots were drawn for which dough is mixed and baked first is not recorded"
    if any(f.alarm for f in seen):
        return f"{lots}. One order was kept in every bake: see above, before you trust it."
    return f"{lots}{f'; {seen[0].text}' if seen else ''}."


def _safety(report: "Report") -> list[Block]:
    recipe = report.formula
    known = None if recipe is None or recipe.empty else recipe
    lines = () if known is None else zip(known["name"], known["role"], strict=True)
    return [
        Items(tuple((what, text) for what, text, _ in cautions(lines))),
        Text(f"Documents named: {'; '.join(d for _, _, d in SAFETY if d)}.", "small"),
        Text(GENERAL),
    ]


def _repeat(report: "Report") -> list[Block]:
    facts = [
        *([("Data from", report.source)] if report.source else []),
        ("Page made on", report.made_on.isoformat()),
        ("Made with", ", ".join(f"{name} {v}" for name, v in report.versions.items())),
        ("SHA-256 of the data", report.data_hash),
    ]
    blocks: list[Block] = [Items(tuple(facts))]
    calls = [report.repeat, *(also.repeat for also in report.also)]
    if any(calls):
        answers = "the same answer" if len(calls) == 1 else "the same answers"
        blocks += [
            Text(f"With the same table in frame, this gives {answers}:", "intro"),
            *(Code(call) for call in calls if call),
        ]
    hashed = (
        "The hash is of the table as CSV (UTF-8, commas, line feeds, missing cells empty): "
        "whoever gets the same hash holds the same data."
    )
    return [*blocks, Text(hashed, "small")]

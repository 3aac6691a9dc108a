"""A plan as it stands in the panel: what it will show, what to know, pictures, times, weights."""

import time
from collections.abc import Sequence
from html import escape

import pandas as pd

from kit import charts, words
from kit.charts.plans import alike_in
from kit.formula import WeighingSheet
from kit.panels.parts.blocks import folded, from_python, items, scrolled
from kit.panels.parts.blocks import picture as drawn
from kit.plan.plan import Plan
from kit.plan.power import Power
from kit.plan.schedule import Schedule
from kit.plan.timetable.clock import local, say_clock, say_day, say_moment
from kit.shown import paragraphs
from kit.us_units import also_us

__all__ = ["show_plan"]

_SURE, _TABLE = "How sure that is", "Timetable"
_UNKNOWN = (
    "How small a difference these bakes will notice cannot be said before anybody knows how much "
    "doughs of one recipe differ by themselves. Best mix the same recipe several times on two "
    "bakes first, or state your guess."
)


def show_plan(
    plan: Plan, powers: Sequence[Power], weights: WeighingSheet | None, schedule: Schedule,
    call: str, unusual: Sequence[str] = (),
) -> str:  # fmt: skip
    """Write a plan as HTML; whatever people typed is escaped.

    Parameters
    ----------
    plan : Plan
    powers : sequence of Power
        One a factor, the first first; empty where nothing is known of the spread.
    weights : WeighingSheet or None
    schedule : Schedule
        Of the first bake.
    call : str
        The same from Python.
    unusual : sequence of str
        What is to be asked about what was typed.
    """
    power = powers[0] if powers else None
    said = [] if power is None else power.sentences
    lead = said[0] if said else "What these bakes will notice is not known yet."
    unknown = _UNKNOWN
    if not plan.factors:
        lead = "These bakes show how much doughs of one recipe differ by themselves."
        unknown = "Only then can anybody say how small a difference a trial will notice."
    parts = [
        f'<div role="status"><p class="kit-lead">{escape(also_us(lead))}</p>',
        _in_short(said[1:]) if said else paragraphs([unknown]),
        *map(_besides, powers[1:]), "</div>",
        _doubts(plan, powers, weights, schedule, unusual),
        f"<p>{escape(' '.join([plan.headline, *(f'{note}.' for note in plan.notes)]))}</p>",
        '<div class="kit-pictures">',
        _picture(plan.plot(), "Which dough is mixed when", str(plan), _boxes(plan)),
    ]  # fmt: skip
    if power is not None:
        table = power.doughs_against_pieces()
        told = f"{lead} {_against(table, power)}"
        parts.append(
            _picture(power.plot(), "More doughs or more pieces", told, "Each line is a number of "
                     "pieces a dough: where the lines lie close, more pieces do not help.")
        )  # fmt: skip
    parts += [
        "</div>", _times(schedule), _weights(weights),
        folded("For the statistician", paragraphs([plan.method, *(one.method for one in powers)])),
        from_python(call),
    ]  # fmt: skip
    return f'<section class="kit-answer">{"".join(parts)}</section>'


def _in_short(texts: Sequence[str]) -> str:
    """The first sentence of each; the rest when it is asked for."""
    parts = [text.partition(". ") for text in texts]
    rest = [more for *_, more in parts if more]
    first = [f"{first}{stop.strip()}" for first, stop, _ in parts]
    return paragraphs(first) + folded(_SURE, paragraphs(rest))


def _besides(other: Power) -> str:
    """What is noticed of a further factor; the rest is mostly as with the first."""
    first, *rest = other.sentences
    return paragraphs([first]) + folded(_SURE, paragraphs(rest))


def _boxes(plan: Plan) -> str:
    """What the boxes and their colours are; with more recipes than colours, one factor's."""
    alike, whole = alike_in(plan), [f for f in plan.factors if f.level == "dough"]
    same = "recipes" if len(alike) == len(whole) else words.join([words.name(q) for q in alike])
    return f"Boxes are doughs{f'; alike colours are alike {same}' if alike else ''}."


def _doubts(
    plan: Plan, powers: Sequence[Power], weights: WeighingSheet | None, schedule: Schedule,
    unusual: Sequence[str],
) -> str:  # fmt: skip
    """What to know before baking; once, whoever says it."""
    checks = [*plan.checks, *(check for power in powers for check in power.checks)]
    if weights is not None:
        checks = [*(doubt.text for doubt in weights.doubts), *weights.gone, *checks]
    if 60 * schedule.times.start < time.time():
        year = local(schedule.times.start, schedule.zone).year
        begin = f"{say_moment(schedule.times.start, schedule.zone)} {year}"
        checks.insert(0, f"the first bake would begin at {begin}, which is past: take a later day")
    told = [words.capital(check) for check in dict.fromkeys([*unusual, *checks])]
    if not told:
        return ""
    listed = items([t if t.endswith((".", "?", "!")) else f"{t}." for t in told])
    return f'<div class="kit-banner"><p><strong>Before you bake</strong></p>{listed}</div>'


def _picture(drawing: object, title: str, description: str, caption: str = "") -> str:
    return drawn(charts.svg(drawing, title, description), title, caption)  # type: ignore[arg-type]


def _against(table: pd.DataFrame, power: Power) -> str:
    """The ends of the picture in words, for who cannot see it."""
    first, last = table.iloc[0], table.iloc[-1]
    unit = power.unit_of_outcome
    ends = [
        f"{first.iloc[0]:g} with {first['pieces']:g} a dough: "
        f"{words.number(first['smallest'], first['smallest'], unit)}",
        f"{last.iloc[0]:g} with {last['pieces']:g}: "
        f"{words.number(last['smallest'], last['smallest'], unit)}",
    ]
    return f"Smallest difference by {table.columns[0]} and pieces: {'; '.join(ends)}."


def _times(schedule: Schedule) -> str:
    """The first bake's timetable: what does not fit first."""
    misses = [f"Does not fit: {miss}." for miss in schedule.misses]
    nearest = f"<p><strong>{escape(schedule.nearest_words)}</strong></p>" if misses else ""
    rows, day = [], ""
    for step in schedule.steps:
        if not step.told:
            continue
        today = say_day(step.start, schedule.zone)
        if today != day:
            rows.append(f'<tr><th scope="rowgroup" colspan="2">{escape(today)}</th></tr>')
            day = today
        rows.append(
            f'<tr><th scope="row">{say_clock(step.start, schedule.zone)}</th>'
            f'<td class="kit-wrap">{escape(words.capital(step.text))}</td></tr>'
        )
    told = [f"{words.capital(note)}." for note in schedule.notes]
    changed = [note for note in told if note.startswith("Changed so that it fits")]
    notes = items([note for note in told if note not in changed])
    return (
        '<h2 class="kit-section">Times of the first bake</h2>'
        + (f'<div class="kit-trouble">{items(misses)}{nearest}</div>' if misses else "")
        + "".join(f'<p class="kit-banner">{escape(note)}</p>' for note in changed)
        + f"<p>{escape(schedule.headline)}</p>"
        + _picture(schedule.plot(), "The bake day", schedule.headline)
        + scrolled(f"<table><caption>{_TABLE}</caption>{''.join(rows)}</table>", _TABLE)
        + folded("What to know about the times", notes)
    )  # fmt: skip


def _weights(weights: WeighingSheet | None) -> str:
    if weights is None:
        return "<p>What to weigh is not known before the formula is written, each share of it.</p>"
    # only the table scrolls sideways: a note must be read without
    table, end, notes = weights._repr_html_().partition("</table>")
    head, close, rows = table.partition("</thead>")  # the settings, by the reader's thermometer
    table = f"{also_us(head, absolute=True)}{close}{rows}"
    return (
        '<h2 class="kit-section">What to weigh at the first bake</h2>'
        + scrolled(table + end, "What to weigh", "kit-scroll kit-weights")
        + notes
    )

"""Every sentence about two doses together, made from the numbers of the same object."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from kit import words
from kit.analysis.answer.sentences import fitted, held_alike, made_of
from kit.analysis.doses.settings import near
from kit.analysis.verdict import Answer, decide, sign

if TYPE_CHECKING:
    from kit.analysis.doses.surface_fit import Effect
    from kit.analysis.surface import Surface

__all__ = ["about", "finding", "headline", "method", "next_step", "rests_on"]


def headline(s: "Surface") -> str:
    """Whether the two work together."""
    first, second = map(words.name, s.of)
    t = s.together
    if decide(t.low, t.high, s.matters) in (Answer.NONE, Answer.SMALL):
        return f"What {first} does hardly depends on {second}."
    if not sign(t.low, t.high):
        return f"Whether what {first} does depends on {second} cannot be told yet."
    low, high = s.effects[0], s.effects[1]
    at_low, at_high = (words.amount(s.of[1], e.at) for e in (low, high))
    sure_low, sure_high = (sign(e.low, e.high) for e in (low, high))
    if sure_low and sure_high and sure_low != sure_high:
        turn = f"{first} {_verb(sure_low)} {words.name(s.outcome)} at {at_low} {second} and"
        return words.capital(f"{turn} {_verb(sure_high)} it at {at_high}.")
    if bool(sure_low) != bool(sure_high):
        here, there = (at_low, at_high) if sure_low else (at_high, at_low)
        return (
            f"{words.capital(first)} surely {_verb(sure_low or sure_high)} {words.name(s.outcome)} "
            f"at {here} {second}; at {there} what it does is surely different, and may be nothing."
        )
    more = "more" if abs(high.change) > abs(low.change) else "less"
    return f"{words.capital(first)} does {more} at {at_high} {second} than at {at_low}."


def finding(s: "Surface") -> str:
    """What each does at either end of the other, how they work together, where it is best."""
    parts = []
    for low, high in (s.effects[:2], s.effects[2:]):
        unit = words.unit_of(s.outcome)
        told = [
            f"{_number(e, unit)} at {words.amount(e.other, e.at)} {words.name(e.other)}"
            for e in (low, high)
        ]
        parts.append(
            f"From its lowest dose to its highest, {words.name(low.factor)} changes "
            f"{words.name(s.outcome)} by {told[0]} and by {told[1]}."
        )
    t = s.together
    parts.append(f"The difference between the first two is {_number(t, words.unit_of(s.outcome))}.")
    most = "highest" if s.want == "high" else "lowest"
    half = (s.best_high - s.best_low) / 2
    parts.append(
        f"Inside what was baked the fitted surface is {most} at {_place(s, s.best)}: "
        f"{words.number(s.best_mean, half, words.unit_of(s.outcome))} "
        f"({words.number(s.best_low, half)} to {words.number(s.best_high, half)}); picked for "
        f"coming out {most}, it is likely a little {'lower' if s.want == 'high' else 'higher'}."
    )
    parts.append(_turning(s))
    return " ".join(parts).strip()


def _turning(s: "Surface") -> str:
    t = s.turning
    if t is None:
        return ""
    kinds = {
        "peak": "a peak",
        "dip": "a lowest point",
        "saddle": "a saddle (up one way, down another)",
    }
    if t.ridge:
        return (
            "It bends surely in one direction only. Along the other it may be a ridge, on which "
            "quite different pairs of doses do about the same; whether it is cannot be told yet."
        )
    if not t.sure:
        return (
            f"The fitted surface has {kinds[t.kind]}, but its bends are not sure: take the "
            "picture as a guess where to bake next."
        )
    where = f"at {_place(s, t.at)}" if t.inside else "outside what was baked"
    return f"It has {kinds[t.kind]} {where}; both its bends are sure."


def next_step(s: "Surface") -> str:
    """What to bake next."""
    t = s.together
    if decide(t.low, t.high, s.matters) in (Answer.NONE, Answer.SMALL):
        first, second = map(words.name, s.of)
        return f"Choose {first} and {second} each by itself."
    if not sign(t.low, t.high):
        return (
            "More doughs at the four corners (both low, both high, and one of each) tell most "
            "about whether the two work together."
        )
    return f"Before you rely on it, bake {_place(s, s.best)} again, on another day."


def rests_on(s: "Surface") -> str:
    """How much baking stands behind it."""
    made = made_of(s.counts, s.columns)
    text = (
        f"It rests on {made}, in {words.plural(len(s.points), 'combination')} of the two; the "
        f"difference is judged with {s.together.df:.1f} degrees of freedom, so by the spread of "
        f"about {s.together.df + 1:.0f} independent results."
    )
    return text + held_alike(s.adjusted)


def method(s: "Surface") -> str:
    """Model, tests and sources, for a statistician."""
    tests = "; ".join(f"{name} {words.f_test(test)}" for name, test in s.tests.iterrows())
    text = f"For the statistician: {fitted(s.fit)}. {words.capital(tests)}."
    if s.lack_of_fit is not None:
        text += f" Lack of fit {words.f_test(s.lack_of_fit)}."
    if s.turning is not None:
        a, b = s.turning.curvatures
        text += (
            f" Stationary point ({s.turning.at[0]:.3g}, {s.turning.at[1]:.3g}), curvatures "
            f"{words.minus(f'{a:.3g}')} and {words.minus(f'{b:.3g}')} in half ranges (Box & "
            "Draper 2007, ch. 11)."
        )
    return f"{text} {100 * s.fit.level:.0f} % intervals, not protected for looking at several."


def about(
    of: tuple[str, str], columns: Sequence[str], bends: Sequence[str], asked: bool, corners: bool
) -> list[str]:
    """What cannot be seen with these doses."""
    notes = []
    for name, column in zip(of, columns, strict=True):
        if asked and column not in bends:
            notes.append(
                f"{words.name(name)} has two doses: whether the surface bends along it cannot be "
                "seen"
            )
    if not corners:
        notes.append(
            "not all four corners (lowest and highest of both) were baked: what is said about "
            "them follows the surface beyond what was baked"
        )
    return notes


def _verb(sign: int) -> str:
    return "raises" if sign > 0 else "lowers"


def _number(e: "Effect", unit: str) -> str:
    half = (e.high - e.low) / 2
    sign = "+" if e.change > 0 else ""
    return (
        f"{sign}{words.number(e.change, half, unit)} ({words.number(e.low, half)} to "
        f"{words.number(e.high, half)})"
    )


def _place(s: "Surface", at: tuple[float, float]) -> str:
    told = []
    for name, dose in zip(s.of, at, strict=True):
        doses = s.grid[name]
        span = float(doses.max() - doses.min())
        told.append(f"{words.amount(name, near(dose, span))} {words.name(name)}")
    return " and ".join(told)

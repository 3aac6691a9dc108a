"""Which bake, trial and outcome a baker means who says nothing, and what Undo takes back."""

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from kit import quantities
from kit.quantities import Quantity
from kit.records.things import Bake
from kit.workspace import Trial, Workspace

__all__ = [
    "day_said", "last_done", "outcomes_of", "today_in", "todays_bake", "trial_at_work",
    "trial_to_answer",
]  # fmt: skip

#: steps of the history that are looked at
_LOOKED_AT = 40
#: how many days after today
_DAYS = {"yesterday": -1, "today": 0, "tomorrow": 1}


def today_in(zone: str) -> date:
    """Return the kitchen's day, which need not be that of the computer."""
    return datetime.now(ZoneInfo(zone)).date()


def day_said(typed: str, zone: str) -> str:
    """Return a day in ISO form where a kitchen in `zone` says it as today; else what was typed.

    Examples
    --------
    >>> day_said(" Tomorrow ", "UTC") == str(today_in("UTC") + timedelta(days=1))
    True
    >>> day_said("3.12.2026", "UTC")
    '3.12.2026'
    """
    days = _DAYS.get(typed.strip().lower())
    return typed if days is None else str(today_in(zone) + timedelta(days=days))


def last_done(workspace: Workspace) -> str:
    """Say what Undo would take back."""
    done = workspace.history(_LOOKED_AT)
    return str(next(iter(done["what"][~done["undone"]].iloc[::-1]), "nothing yet"))


def trial_at_work(workspace: Workspace) -> str | None:
    """Return the name of the trial of the newest step in the history, else of the newest one.

    None where there is no trial.
    """
    names = [trial.name for trial in workspace.trials()]
    done = workspace.history(_LOOKED_AT)
    for what in reversed(list(done["what"][~done["undone"]])):
        if found := [name for name in names if what.startswith(f"{name}: ")]:
            return max(found, key=len)
    return names[-1] if names else None


def trial_to_answer(workspace: Workspace) -> str | None:
    """Return the name of the newest trial of the baker's own that has something to answer.

    Else the first there is, which is the invented one; None where there is none.
    """
    trials = workspace.trials()
    for trial in reversed(trials):
        if not trial.invented and not trial.baked().empty:
            return trial.name
    return trials[0].name if trials else None


def outcomes_of(trial: Trial) -> list[Quantity]:
    """Return what was measured on pieces and not set on purpose, and the trial's own outcome.

    What was only planned, such as the time a side, answers nothing.
    """
    hows, factors = trial.provenance(), trial.factors
    return [
        q
        for q in quantities.all_quantities()
        if q.level == "piece" and q.name not in factors
        and (q.name == trial.outcome
             or (q.name in hows and (hows[q.name].notna() & (hows[q.name] != "planned")).any()))
    ]  # fmt: skip


def todays_bake(bakes: Sequence[Bake], today: date | None = None) -> Bake | None:
    """Return the bake whose day is nearest; of two as near the later, which may be mixed by now.

    A kept plan has all its bakes in the records before the first dough is mixed, so the newest
    one is not the one that is under way.

    Parameters
    ----------
    bakes : sequence of Bake
        In the order they were begun.
    today : date, optional
        Today when not given.

    Returns
    -------
    Bake or None
        The newest one where no bake has a day, None where there is no bake.
    """
    now = today or date.today()
    dated = [(abs(bake.day - now), now - bake.day, bake) for bake in bakes if bake.day is not None]
    if not dated:
        return bakes[-1] if bakes else None
    # min keeps the first of equals: of two bakes of one day the one begun last is meant
    return min(reversed(dated), key=lambda found: found[:2])[2]

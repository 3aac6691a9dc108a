"""Which bake and which trial a baker means who says nothing."""

from collections.abc import Sequence
from datetime import date

from kit.records.things import Bake
from kit.workspace import Workspace

__all__ = ["todays_bake", "trial_to_answer"]


def trial_to_answer(workspace: Workspace) -> str | None:
    """Return the name of the newest trial of the baker's own that has something to answer.

    Else the first there is, which is the invented one; None where there is none.
    """
    trials = workspace.trials()
    for trial in reversed(trials):
        if not trial.invented and not trial.baked().empty:
            return trial.name
    return trials[0].name if trials else None


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

"""Blind tastings of a trial: plan, answer, open, and read what they say."""

import secrets
from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from kit import words
from kit.errors import DataError, InputError, NotFoundError
from kit.records import trials
from kit.records.keeping.aside import file_name, write_whole
from kit.records.tastings import store as tastings
from kit.records.things import Thing, check_there
from kit.records.trial_head import TrialHead
from kit.records.typed import need
from kit.records.when import read_at

if TYPE_CHECKING:
    from kit.analysis.tasting import Choice, Ranking, Scores
    from kit.plan.serving import Serving

__all__ = ["TrialTastings"]

#: A setting that was mixed once cannot be told from its dough, by tasters no more than by a ruler.
_SERVE = (
    "serve muffins of several doughs of each setting, best of two bakes, half the tasters each: of "
    "one dough each, tasters tell two doughs apart, whatever the setting did"
)
_CAME = (
    "it speaks of what was on the plates: where the muffins of a setting came of one dough, two "
    "doughs were told apart, and that the setting did it takes another tasting, of other doughs"
)


class TrialTastings(TrialHead):
    """The verbs of blind tasting; see `kit.plan.serving` and `kit.analysis.tasting`."""

    def plan_tasting(
        self,
        method: str,
        samples: Sequence[Any] | None = None,
        tasters: Sequence[str] | int = 12,
        seed: int | None = None,
        tries: int = 1,
        duplicate: str | bool = False,
        question: str = "",
        expected: str | None = None,
    ) -> "Serving":
        """Plan a blind tasting and keep its key.

        Parameters
        ----------
        method : str
            ``"triangle"``, ``"duo-trio"``, ``"pair"``, ``"ranking"`` or ``"scores"``.
        samples : sequence, optional
            What is compared: doughs, pieces, or names in words; the settings of the trial's first
            factor when not given.
        tasters : sequence of str, or int
            Who, or how many.
        seed : int, optional
            Another draw each time when not given: a key that came back would be known.
        tries, duplicate
            See `kit.plan.serving.serve`.
        question : str
            What is asked of pairs, ranks and scores; liking when empty.
        expected : str, optional
            Of a pair: the sample known before to be more of what is asked. Never of liking.

        Returns
        -------
        Serving
            Its sheets: `kit.plan.paper.score_sheet`. Shown, it gives nothing away.
        """
        from kit.plan.serving import serve

        if seed is None:
            seed = secrets.randbelow(2**31)
        need("method", method, str, "kind of tasting", "Write for example triangle, in quotes.")
        if samples is not None:
            need("samples", samples, Iterable, "list", "Give doughs, pieces or names in a list.")
        given = self._settings() if samples is None else list(samples)
        names = [str(one) for one in given]
        things = {str(one): one.id for one in given if hasattr(one, "id")}
        if expected is not None:
            if method != "pair" or not question:
                raise InputError(
                    "expected", expected, "is for pairs with a question of their own",
                    "Which is liked better is never known before.",
                )  # fmt: skip
            if expected not in names:
                raise NotFoundError("sample", expected, names)
        with self._step() as step:
            trials.trial_row(step.connection, self.id)
            for one in given:
                if isinstance(one, Thing):
                    check_there(step.connection, self.id, one)
            taken = tastings.taken(step.connection, self.id)
            plan = serve(method, names, tasters, seed, tries, duplicate, taken)
            number = tastings.store(step, self.id, plan, things, question, expected)
            people = words.plural(len(plan.tasters), "taster")
            self._say(step, f"tasting {number} planned, {method}, {people}")
        return replace(plan, checks=(*plan.checks, _SERVE))

    def serving(self, tasting: int | None = None) -> "Serving":
        """Return a tasting as it was planned, the newest when none is given."""
        with self._store.reading() as connection:
            return tastings.serving(tastings.plates_of(connection, self.id, tasting))

    def tasting_sheets(
        self, folder: str | Path, tasting: int | None = None, paper: str = "A4"
    ) -> tuple[Path, Path]:
        """Write a tasting's score sheets, and its key into a page of its own.

        Parameters
        ----------
        folder : str or Path
            Where; pages of an earlier call are replaced.
        tasting : int, optional
            Which; the newest when not given.
        paper : str
            ``"A4"`` or ``"Letter"``.

        Returns
        -------
        tuple of Path
            The score sheets, and the key: for who serves and does not taste.

        Raises
        ------
        StoreError
            The folder cannot be written.
        """
        from kit.plan.paper.score_sheet import key_sheet, score_sheet

        with self._store.reading() as connection:
            rows = tastings.plates_of(connection, self.id, tasting)
        plan, number = tastings.serving(rows), tastings.number_of(rows)
        question = rows[0].samples["question"]
        name = file_name(f"{self.name}-tasting-{number}")
        mark = " (invented)" if self.invented else ""
        # the trial's own name may tell what it is about
        sheets = score_sheet(plan, f"Tasting {number}{mark}", question, paper, self.formula())
        key = key_sheet(plan, f"{self.name}, tasting {number}{mark}", paper)
        paths = Path(folder) / f"{name}-sheets.html", Path(folder) / f"{name}-key.html"
        for path, page in zip(paths, (sheets, key), strict=True):
            write_whole(path, page)
        return paths

    def taste(
        self,
        taster: str,
        answer: Any,
        plate: int = 1,
        tasting: int | None = None,
        at: str | datetime | None = None,
    ) -> str:
        """Record what a taster answered, by codes alone; it is stored when this returns.

        Parameters
        ----------
        taster : str
            Who.
        answer : str, sequence, mapping or None
            The code ticked; of a ranking the codes in order, or code -> rank; of scores
            code -> score. None takes an answer back.
        plate : int
            Which, where a taster has several.
        tasting : int, optional
            Which; the newest when not given.
        at : str or datetime, optional
            When, by the clock of the kitchen; now when not given.

        Returns
        -------
        str
            What is stored, in words.

        Raises
        ------
        NotFoundError, InputError
            A taster or code that is not there, a mark that is none, a tasting already opened.
        """
        when = read_at("at", at, self.zone)
        with self._step() as step:
            rows = tastings.plates_of(step.connection, self.id, tasting)
            said = tastings.answer(step, rows, taster, answer, plate, when)
            self._say(step, f"tasting {tastings.number_of(rows)}, {said}")
        return said

    def tastings(self) -> pd.DataFrame:
        """Return one row a muffin served; which one it was only once its tasting is open.

        Columns: tasting, method, taster, plate, position, code, mark, sample.
        """
        with self._store.reading() as connection:
            return tastings.frame(connection, self.id)

    def unblind(self, tasting: int | None = None, incomplete: bool = False) -> str:
        """Open a tasting, once, when all answers are in; it stands in the history.

        Parameters
        ----------
        tasting : int, optional
            Which; the newest when not given.
        incomplete : bool
            Open it although somebody has not answered.

        Raises
        ------
        DataError
            Somebody has not answered (named), or it is open already.
        """
        with self._step() as step:
            rows = tastings.plates_of(step.connection, self.id, tasting)
            said = tastings.open_up(step, rows, incomplete)
            self._say(step, said)
        return said

    def tasting_answer(
        self, tasting: int | None = None, matters: float | None = None, alpha: float = 0.05
    ) -> "Choice | Ranking | Scores":
        """Say what a tasting found; only after it was opened.

        Parameters
        ----------
        tasting : int, optional
            Which; the newest when not given.
        matters : float, optional
            See `kit.analysis.tasting`; not of rankings.
        alpha : float
            Largest chance of a false alarm.

        Raises
        ------
        DataError
            It is still blind, or nobody has answered.
        """
        with self._store.reading() as connection:
            rows = tastings.plates_of(connection, self.id, tasting)
            told = tastings.frame(connection, self.id)
        number = tastings.number_of(rows)
        if not tastings.is_open(rows):
            msg = (
                f"tasting {number} is still blind: record all answers, then open it with unblind; "
                "looking earlier would sway who still tastes."
            )
            raise DataError(msg)
        marked = told[(told["tasting"] == number) & told["mark"].notna()]
        answer = _judge(tastings.serving(rows), marked, rows[0].samples, matters, alpha)
        asked = rows[0].samples["question"]
        return replace(answer, question=asked, checks=(*answer.checks, _CAME))

    def _settings(self) -> list[str]:
        """The settings of the first factor in words."""
        factors = self.factors
        if not factors:
            msg = "the trial has no factor: say what is compared, for example samples=['A', 'B']."
            raise DataError(msg)
        name, settings = next(iter(factors.items()))
        return [words.setting(name, level) for level in settings]


def _judge(
    plan: "Serving", marked: pd.DataFrame, head: dict[str, Any], matters: float | None, alpha: float
) -> "Choice | Ranking | Scores":
    from kit.analysis import tasting as judge

    names = (plan.samples[0], plan.samples[1])
    if plan.method == "ranking":
        meaning = "the first" if head["question"] else "liked most"
        return judge.ranking(marked, rank="mark", meaning=meaning, alpha=alpha)
    if plan.method == "scores":
        return judge.scores(marked, score="mark", matters=matters, level=1 - alpha)
    ticked = marked[marked["mark"] == 1]
    if plan.method == "pair":
        first = head["expected"] or names[0]
        names = (first, next(s for s in plan.samples if s != first))
        right = ticked["sample"] == first
    else:
        code = zip(ticked["taster"], ticked["plate"], ticked["code"], strict=True)
        right = pd.Series([plan.right(who, plate) == c for who, plate, c in code], ticked.index)
    by_taster = right.astype(int).groupby(ticked["taster"], sort=False).agg(["sum", "size"])
    rights, tries = by_taster["sum"].tolist(), by_taster["size"].tolist()
    if plan.method == "triangle":
        return judge.triangle(rights, len(tries), tries, matters, alpha, names)
    if plan.method == "duo-trio":
        return judge.duo_trio(rights, len(tries), tries, matters, alpha, names)
    expected = head["expected"] is not None
    return judge.pair(rights, len(tries), tries, expected, matters, alpha, names)

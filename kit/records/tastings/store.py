"""Blind tastings in the records: planned, answered by code, and opened at the end.

One row of the table `tasting` is one plate of one taster. Its `samples` hold the key; what is
told before the tasting is opened never does. Opening is a change of those rows like any other:
journalled, and undone as a whole.
"""

from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd
from sqlalchemy import Connection, select

from kit import words
from kit.errors import DataError, InputError, NotFoundError
from kit.plan.serving import METHODS, REFERENCE, Serving
from kit.records import tables as t
from kit.records.journal import Row, Step
from kit.records.things import pieces, there
from kit.records.typed import text
from kit.units import parse

__all__ = [
    "answer", "check_plate", "frame", "is_open",  "number_of", "open_up", "plates", "plates_of",
    "serving", "store", "taken",
]  # fmt: skip


def plates(connection: Connection, trial_id: str) -> list[Any]:
    """Return the plates of a trial by tasting: id, taster, method, samples, answer."""
    query = (
        select(t.tasting, t.taster.c.name.label("taster"))
        .join(t.taster, t.tasting.c.taster_id == t.taster.c.id)
        .where(t.tasting.c.trial_id == trial_id, there(t.tasting))
        .order_by(t.tasting.c.id)
    )
    rows = connection.execute(query)
    return sorted(rows, key=lambda row: (row.samples["tasting"], row.samples["order"]))


def plates_of(connection: Connection, trial_id: str, tasting: int | None) -> list[Any]:
    """Return the plates of one tasting, of the newest when None is given.

    Raises NotFoundError, DataError: a tasting that is not there, or none at all.
    """
    rows = plates(connection, trial_id)
    if tasting is None and not rows:
        msg = "no tasting is planned yet: plan one with plan_tasting."
        raise DataError(msg)
    wanted = number_of(rows[-1:]) if tasting is None else tasting
    found = [row for row in rows if row.samples["tasting"] == wanted]
    if not found:
        known = dict.fromkeys(str(row.samples["tasting"]) for row in rows)
        raise NotFoundError("tasting", str(wanted), known)
    return found


def check_plate(method: str, samples: Any, answer: Any) -> None:
    """Refuse what is no plate as `store` and `answer` write it: it came from elsewhere."""
    if method not in METHODS:
        raise InputError("method", method, f"must be one of {', '.join(METHODS)}")
    if not _is_plate(method, samples):
        raise InputError("samples", "…", "is not the plate of a tasting")
    if answer is None:
        return
    if not isinstance(answer, dict) or not answer:
        raise InputError("answer", "…", "must say a mark for each code")
    read = _marks(method, _coded(samples), answer if method in _MARKED else min(answer))
    if answer != read:
        raise InputError("answer", "…", "must be 1 for the code that was chosen")


def _is_plate(method: str, samples: Any) -> bool:
    said = str | None
    kinds: dict[str, Any] = {
        "tasting": int, "order": int, "plate": int, "seed": int, "of": list, "things": dict,
        "checks": list, "cups": list, "open": said, "duplicate": said, "question": str,
        "expected": said,
    }  # fmt: skip
    if not isinstance(samples, dict) or not samples.keys() >= kinds.keys():
        return False
    if not all(isinstance(samples[key], kind) for key, kind in kinds.items()):
        return False
    of, cups = samples["of"], samples["cups"]
    words_only = [*of, *samples["checks"], *samples["things"].values()]
    if not all(isinstance(word, str) for word in words_only):
        return False
    if not all(isinstance(cup, dict) and cup.keys() == {"code", "sample"} for cup in cups):
        return False
    known = all(isinstance(cup["code"], str) and cup["sample"] in of for cup in cups)
    apart = known and len({cup["code"] for cup in cups}) == len(cups)
    least = METHODS[method] if method not in _MARKED else 2
    chosen = {samples[name] for name in ("duplicate", "expected")} - {None}
    return apart and least <= len(cups) <= METHODS[method] and len({*of}) > 1 and chosen <= {*of}


def _coded(samples: Mapping[str, Any]) -> list[str]:
    """Return the codes on a plate that can be answered."""
    return [cup["code"] for cup in samples["cups"] if cup["code"] != REFERENCE]


def number_of(rows: Sequence[Any]) -> int:
    """Return the number of the tasting that plates are of."""
    number: int = rows[0].samples["tasting"]
    return number


def taken(connection: Connection, trial_id: str) -> set[str]:
    """Return the codes that mean something already: of pieces, and of tastings still blind."""
    codes = {piece.blind for piece in pieces(connection, trial_id) if piece.blind}
    for row in plates(connection, trial_id):
        if not row.samples["open"]:
            codes |= {cup["code"] for cup in row.samples["cups"]}
    return codes - {REFERENCE}


def store(
    step: Step, trial_id: str, plan: Serving, things: Mapping[str, str], question: str,
    expected: str | None,
) -> int:  # fmt: skip
    """Store a serving, a row a plate; return the tasting's number.

    `things` is sample -> id of the dough or piece it is, where it is one; `expected` the sample of
    a pair that is known before to be more.
    """
    before = plates(step.connection, trial_id)
    number = max((row.samples["tasting"] for row in before), default=0) + 1
    ids = {name: _taster(step, name) for name in plan.tasters}
    shared = {
        "tasting": number, "of": list(plan.samples), "things": dict(things), "seed": plan.seed,
        "duplicate": plan.duplicate, "question": text("question", question, needed=False),
        "expected": expected, "checks": list(plan.checks), "open": None,
    }  # fmt: skip
    grouped = plan.table.groupby(["taster", "set"], sort=False)
    for order, (key, cups) in enumerate(grouped, start=1):
        name, plate = str(key[0]), int(key[1])  # type: ignore[call-overload]
        listed = [
            {"code": c, "sample": s} for c, s in zip(cups["code"], cups["sample"], strict=True)
        ]
        samples = {**shared, "order": order, "plate": plate, "cups": listed}
        row: Row = {
            "trial_id": trial_id, "taster_id": ids[name], "method": plan.method,
            "samples": samples, "answer": None, "at": step.at,
        }  # fmt: skip
        step.add(t.tasting, row)
    return number


def _taster(step: Step, name: str) -> str:
    """Return a taster's id; a new one becomes known."""
    clean = text("taster", name)
    known = select(t.taster.c.id).where(t.taster.c.name == clean, there(t.taster))
    return step.connection.scalar(known) or step.add(t.taster, {"name": clean})


def serving(rows: Sequence[Any]) -> Serving:
    """Return a tasting as it was planned, from its plates."""
    head = rows[0].samples
    table = [
        {
            "taster": row.taster, "set": row.samples["plate"], "position": position, **cup,
        }
        for row in rows
        for position, cup in enumerate(row.samples["cups"], start=1)
    ]  # fmt: skip
    return Serving(
        rows[0].method, tuple(head["of"]), pd.DataFrame(table), head["duplicate"], head["seed"],
        tuple(head["checks"]),
    )  # fmt: skip


def is_open(rows: Sequence[Any]) -> bool:
    """Say whether a tasting's plates have been opened."""
    return bool(rows[0].samples["open"])


def answer(step: Step, rows: Sequence[Any], taster: str, given: Any, plate: int, at: str) -> str:
    """Store what a taster answered on one of the plates; return it in words, by codes alone.

    Raises NotFoundError: a taster without such a plate. InputError: a code that is not on the
    plate, a rank or score that is none, a tasting already opened.
    """
    if is_open(rows):
        raise InputError(
            "answer", str(given), "comes after the tasting was opened",
            "Undo the opening, or plan another tasting.",
        )  # fmt: skip
    own = [row for row in rows if row.taster == str(taster).strip()]
    if not own:
        raise NotFoundError("taster", str(taster), dict.fromkeys(row.taster for row in rows))
    found = next((row for row in own if row.samples["plate"] == plate), None)
    if found is None:
        raise NotFoundError("plate", str(plate), [str(r.samples["plate"]) for r in own])
    marks = None if given is None else _marks(found.method, _coded(found.samples), given)
    step.change(t.tasting, found.id, {"answer": marks, "at": at})
    if marks is None:
        return f"{found.taster}: answer taken back"
    told = (
        f"{code} as {mark:g}" if found.method in _MARKED else code for code, mark in marks.items()
    )
    return f"{found.taster} answered {words.join(told)}"


#: kinds in which every muffin gets a mark
_MARKED = ("ranking", "scores")


def _marks(method: str, codes: Sequence[str], given: Any) -> dict[str, float]:
    """Read an answer: code -> 1 for the one ticked, its rank, or its score."""
    if method not in _MARKED:
        code = str(given).strip()
        _on_plate(code, codes)
        return {code: 1.0}
    if not isinstance(given, Mapping):
        if method == "scores" or isinstance(given, str) or not isinstance(given, Sequence):
            example = f"Write {{{codes[0]!r}: 6, …}}."
            raise InputError("answer", given, "must say a mark for each code", example)
        given = {code: place for place, code in enumerate(given, start=1)}
    marks = {str(code).strip(): mark for code, mark in given.items()}
    for code in marks:
        _on_plate(code, codes)
    span = (1, len(codes)) if method == "ranking" else (0, 100)
    marks = {code: _number(code, mark, *span)
             for code, mark in marks.items() if mark not in (None, "")}  # fmt: skip
    lacking = [code for code in codes if code not in marks]
    if method == "ranking" and lacking:
        raise InputError(
            "answer", words.join(marks), f"has no rank for {words.join(lacking)}", "Rank every one."
        )
    if not marks:
        raise InputError("answer", given, "has no score", "Leave it out if nothing was answered.")
    return {code: marks[code] for code in codes if code in marks}


def _on_plate(code: str, codes: Sequence[str]) -> None:
    if code not in codes:
        raise InputError("code", code, "is not on this plate", f"On it are {words.join(codes)}.")


def _number(code: str, mark: Any, least: int, most: int) -> float:
    value = parse(mark, "", f"mark of {code}")
    if value is None or not least <= value <= most:
        field = f"mark of {code}"
        raise InputError(field, mark, f"must be a number from {least} to {most}")
    return value


def frame(connection: Connection, trial_id: str) -> pd.DataFrame:
    """Return one row a muffin served, oldest tasting first; columns as in `Trial.tastings`.

    `mark` is 1 for the one ticked and 0 for the others, the rank, or the score; missing where
    nothing was answered. `sample` is missing until the tasting is opened.
    """
    rows = []
    for row in plates(connection, trial_id):
        for position, cup in enumerate(row.samples["cups"], start=1):
            rows.append(
                {
                    "tasting": row.samples["tasting"], "method": row.method, "taster": row.taster,
                    "plate": row.samples["plate"], "position": position, "code": cup["code"],
                    "mark": _mark(row, cup["code"]),
                    "sample": cup["sample"] if row.samples["open"] else None,
                }
            )  # fmt: skip
    columns = ["tasting", "method", "taster", "plate", "position", "code", "mark", "sample"]
    return pd.DataFrame(rows, columns=columns).astype({"mark": float})


def _mark(row: Any, code: str) -> float | None:
    if row.answer is None or code == REFERENCE:
        return None
    own = row.answer.get(code)
    if own is None and row.method not in _MARKED:
        return 0.0
    return None if own is None else float(own)


def open_up(step: Step, rows: Sequence[Any], incomplete: bool) -> str:
    """Open a tasting's plates: from now on its samples are told; return what was done, in words.

    Raises DataError: somebody has not answered and `incomplete` is false; it is open already.
    """
    number = number_of(rows)
    if is_open(rows):
        msg = f"tasting {number} is open already."
        raise DataError(msg)
    missing = list(dict.fromkeys(row.taster for row in rows if row.answer is None))
    if len(missing) == len(set(row.taster for row in rows)) and not any(r.answer for r in rows):
        msg = f"nobody has answered in tasting {number} yet: there is nothing to open it for."
        raise DataError(msg)
    if missing and not incomplete:
        msg = (
            f"{words.join(missing[:5])}{' and others' if len(missing) > 5 else ''} have not "
            "answered everything: whoever tastes after it is opened is not blind. Wait for them, "
            "or open it without them (incomplete=True)."
        )
        raise DataError(msg)
    for row in rows:
        step.change(t.tasting, row.id, {"samples": {**row.samples, "open": step.at}})
    came = sum(row.answer is not None for row in rows)
    return f"tasting {number} opened with {came} of {words.plural(len(rows), 'answer')} in"

"""The rise panel: how far a dough has risen, when it will be double, when to look again."""

from collections.abc import Callable, Mapping
from html import escape
from typing import Any

import anywidget
import ipywidgets as widgets
import traitlets

from kit import charts, quantities, words
from kit.analysis.proofs.rise_words import DOUBLE_IS
from kit.analysis.proofs.ways import WAYS
from kit.errors import DataError, InputError, KitError
from kit.formula.safety import SAFETY
from kit.panels.parts.blocks import folded, items, picture, show, status
from kit.panels.parts.controls import Panel, button, offer, pick, row, section
from kit.panels.parts.fields import Typed, beside_of, number, refused, tell
from kit.panels.parts.once import Once
from kit.panels.parts.scripts import SHARED, script
from kit.panels.parts.style import notebook, trouble
from kit.panels.parts.today import todays_bake, trial_at_work
from kit.records.things import Dough
from kit.workspace import Trial, Workspace
from kit.writeup.tables import table

__all__ = ["RisePanel"]

_MILK = next((name, text, source) for name, text, source in SAFETY if name.startswith("Milk"))


class _Reader(anywidget.AnyWidget):
    """The fields and buttons of one reading; its part in the browser is rise.js."""

    _esm = script(__file__, "presses")
    _css = SHARED / "presses.css"
    trial = traitlets.Unicode().tag(sync=True)
    dough = traitlets.Unicode().tag(sync=True)
    name = traitlets.Unicode().tag(sync=True)
    zone = traitlets.Unicode("UTC").tag(sync=True)
    started = traitlets.Bool(False).tag(sync=True)
    ways: Any = traitlets.List().tag(sync=True)


class RisePanel(Panel):
    """Pick a dough, note its rise, see when it will be double; below, all doughs by setting.

    It holds nothing: what it shows is read from the records.
    """

    def __init__(self, workspace: Workspace) -> None:
        self.workspace = workspace
        self._once: Once[dict[str, Any]] = Once()
        self._doughs: dict[str, Dough] = {}
        names = [trial.name for trial in workspace.trials()]
        self.trial = pick("Trial", names[::-1], value=trial_at_work(workspace))
        self.dough = pick("Dough")
        self.reader = _Reader(
            # the ratio itself last: who knows it has reckoned already
            ways=[
                {"key": key, "words": WAYS[key].words, "holds": WAYS[key].holds}
                for key in sorted(WAYS, key=lambda one: one == "ratio")
            ]
        )
        self.reader.on_msg(self._hear)
        self.look, self.shown, self.told = widgets.HTML(), widgets.HTML(), widgets.HTML()
        self.undo = button("Undo", self._undo, "undo")
        self.by = pick("Told apart by")
        self.draw = button("Draw all doughs", self._draw)
        self.keep = button("Keep the times to double", self._keep)
        self.compare = button("Compare the times to double", self._ask)
        self.answer = widgets.HTML()
        self.room = Typed("Room (°C)", hint="26")
        self.move = button("How long in such a room?", self._move)
        self.moved = widgets.HTML()
        about = f'<div class="kit-answer"><p>{escape(DOUBLE_IS)}</p></div>'
        read = section("How far has it risen?", self.reader)
        buttons = row(self.draw, self.keep, self.compare, gap="0")
        everything = section("All doughs", self.by, buttons, self.answer)
        elsewhere = section("In a warmer or cooler room", self.room, self.move, self.moved)
        super().__init__(
            self.trial, self.dough, widgets.HTML(about), self.look, read, self.undo, self.told,
            self.shown, everything, elsewhere, widgets.HTML(_caution()),
        )  # fmt: skip
        self.trial.observe(lambda _: self._show_trial(), "value")
        self.dough.observe(lambda _: self._show_dough(), "value")
        self.refresh()

    def _asks(self) -> list[widgets.Widget]:
        return [self.trial, self.dough, self.by, self.room]

    @property
    def chosen_dough(self) -> Dough | None:
        """The dough that is picked."""
        return self._doughs.get(self.dough.value or "")

    # showing

    def refresh(self) -> None:
        """Read the records again and show them."""
        self._show_trial()

    def _show_trial(self) -> None:
        trial = self.chosen
        doughs = trial.doughs() if trial else []
        self._doughs = {dough.id: dough for dough in doughs}
        kept = self.dough.value
        newest = sorted(doughs, key=lambda d: str(d.bake.day or ""), reverse=True)
        # shown are the doughs that proof now, not those of a bake that is only planned
        meant = todays_bake([dough.bake for dough in doughs])
        with self.filling():
            first = [dough.id for dough in newest if dough.bake == meant][:1]
            offer(self.dough, [(_called(dough), dough.id) for dough in newest], kept, *first)
            factors = list(trial.factors) if trial else []
            own = [n for n in factors if quantities.get(n).level in ("dough", "bake")]
            offer(self.by, [("nothing", ""), *((quantities.get(n).label, n) for n in own)], *own)
        self.answer.value = self.moved.value = self.told.value = ""
        for one in (self.draw, self.keep, self.compare, self.move, self.undo):
            one.disabled = trial is None
        self.reader.trial = trial.id if trial else ""
        self._show_dough()

    def _show_dough(self) -> None:
        if self._filling:
            return
        trial, dough = self.chosen, self.chosen_dough
        self.reader.name = str(dough) if dough else ""
        self.reader.zone = dough.bake.zone if dough else "UTC"
        self.reader.dough = dough.id if dough else ""
        self.look.value = self.shown.value = ""
        if trial is None or dough is None:
            what = "This trial has no dough yet. Add one in record.ipynb."
            self.shown.value = trouble(what if trial else "There is no trial in this folder yet.")
            return
        self._show_rise(trial, dough)

    def _show_rise(self, trial: Trial, dough: Dough) -> None:
        start = trial.proof_start(dough)
        self.reader.started = start is not None
        if start is None:
            self.look.value = (
                '<p role="status">Its clock has not started: note when it was shaped (in '
                f"{notebook('record')}), or press <em>the clock starts</em> when you mark it.</p>"
            )
            return
        invented = '<p class="kit-banner">Invented data.</p>' if trial.invented else ""
        head = f"<p>{escape(words.capital(str(dough)))}: {escape(start)}.</p>"
        parts = [invented, head]
        try:
            told = trial.forecast(dough)
            self.look.value = _large(told)
            alone = told.doubled
            parts += [] if alone else [_picture(told, told.headline), _notes(told)]
        except KitError as exc:
            # too few readings to foresee it are enough to see it
            most = _own(trial, dough)["proof_ratio"].max()
            said = f"<p>{escape(str(exc))}</p>"
            if most >= 2:
                said = f'<p class="kit-look">Read at {most:.2g} times: it has doubled.</p>'
            self.look.value = f'<div role="status" aria-live="polite">{said}</div>'
            alone = True
        parts.append(_readings(trial, dough))
        if alone:
            parts += self._curve(trial, dough)
        self.shown.value = f'<section class="kit-answer">{"".join(parts)}</section>'

    def _curve(self, trial: Trial, dough: Dough) -> list[str]:
        """The dough's own curve, once it is double or where nothing can be forecast."""
        if _own(trial, dough).empty:
            return []
        told = trial.rise(of=dough)
        lead, *rest = (told.headline, told.sentence, told.next_step)
        return [f"<p><strong>{escape(lead)}</strong> {escape(' '.join(rest))}</p>",
                _picture(told.curves[0], lead, charts.photos_in_words(told.curves)),
                _notes(told)]  # fmt: skip

    # doing

    def note(
        self, dough: Dough, now: str, start: str = "1", way: str = "ratio", at: str | None = None
    ) -> str:
        """Note a reading; say what was noted. See `Trial.note_rise`."""
        trial = self._trial_of(dough.id)[0]
        made = trial.note_rise(dough, now, start, way, at)
        self.told.value = self.answer.value = ""
        if self.chosen_dough == dough:
            self._show_rise(trial, dough)
        return f"Noted: {dough} at {made.value:.2f} times its start. {made.doubt}".strip()

    def _trial_of(self, dough_id: str) -> tuple[Trial, Dough]:
        """The trial a dough belongs to: a press may come after another one was picked."""
        chosen = [self.chosen] if self.chosen else []
        for trial in (*chosen, *self.workspace.trials()):
            for dough in trial.doughs():
                if dough.id == dough_id:
                    return trial, dough
        raise InputError("dough", dough_id, "is not in this workspace any more")

    def _hear(self, _widget: object, message: Mapping[str, Any], _buffers: object) -> None:
        """Do what the browser asks; a press is answered, and done once however often it comes."""
        if message.get("type") != "note":
            return
        key = str(message["id"])
        told, _ = self._once.answer(key, lambda: self._do(message))
        self.reader.send({"type": "answer", "id": key, **told})

    def _do(self, message: Mapping[str, Any]) -> dict[str, Any]:
        try:
            _, dough = self._trial_of(str(message["dough"]))
            at = message["at"] or message["pressed"]
            text = self.note(dough, message["now"], message["start"], message["way"], at)
        except KitError as exc:
            return {"ok": False, "text": refused(exc)}
        return {"ok": True, "text": text}

    def _doing(self, what: Callable[[Trial], str], shown: widgets.HTML, *typed: Typed) -> None:
        if trial := self.chosen:
            tell(shown, lambda: what(trial), *typed, meanwhile="Working it out …")

    def _undo(self) -> None:
        self._doing(lambda _: status(self.workspace.undo()), self.told)
        said = self.told.value
        self._show_dough()
        self.told.value = said

    def _draw(self) -> None:
        def drawn(trial: Trial) -> str:
            told = trial.rise(self.by.value or None)
            texts = (told.sentence, told.next_step)
            each = show([table(told.in_words(), "Each dough", missing="")])
            return (
                f'<section class="kit-answer"><div role="status"><p class="kit-lead">'
                f"{escape(told.headline)}</p><p>{escape(' '.join(texts))}</p></div>"
                + _picture(told, told.headline, charts.photos_in_words(told.curves))
                + _notes(told) + each + "</section>"
            )  # fmt: skip

        self._doing(drawn, self.answer)

    def _keep(self) -> None:
        self._doing(
            lambda trial: (
                f'<div class="kit-answer" role="status">{trial.keep_double()._repr_html_()}</div>'
            ),
            self.answer,
        )

    def _ask(self) -> None:
        def compared(trial: Trial) -> str:
            if not self.by.value:
                raise InputError("by", "nothing", "cannot be compared", "Pick what to tell apart.")
            if "double_minutes" not in trial.frame():
                msg = (
                    "no time to double is kept yet: once doughs have doubled, press “"
                    f"{self.keep.description}”."
                )
                raise DataError(msg)
            told = trial.compare("double_minutes", by=self.by.value)
            return f'<div class="kit-answer" role="status">{told._repr_html_()}</div>'

        self._doing(compared, self.answer)

    def _move(self) -> None:
        def moved(trial: Trial) -> str:
            room = self.room.read(lambda text: number(text, "°C", "room"))
            with beside_of({"temp_c": self.room}):
                told = trial.double_at(room)
            return (
                f'<div class="kit-answer" role="status"><p class="kit-lead">'
                f"{escape(told.headline)}</p><p>{escape(told.rests_on)}</p>{_notes(told)}</div>"
            )

        self._doing(moved, self.moved, self.room)


def _called(dough: Dough) -> str:
    day = f", {dough.bake.day}" if dough.bake.day else ""
    return f"{words.capital(str(dough))} (bake {dough.bake.code}{day})"


def _own(trial: Trial, dough: Dough) -> Any:
    return trial.rise_readings().query("dough == @dough.code and bake == @dough.bake.code")


def _large(told: Any) -> str:
    """When to look again in large words, and when it will be double."""
    look, expected = told.look or told.expected, told.expected if told.look else ""
    # in large letters, what was to be done on another day would be taken for today's
    then = [f"<p>{escape(words.capital(check))}.</p>" for check in told.checks[:1] if _back(check)]
    return (
        f'<div class="kit-answer" role="status" aria-live="polite">{"".join(then)}'
        f'<p class="kit-look">'
        f"{escape(look)}</p><p>{escape(expected)} {escape(told.rests_on)}</p></div>"
    )


def _back(check: str) -> bool:
    """Whether it says that a dough of another day is told of."""
    return check.startswith("looked back at")


def _picture(told: Any, title: str, more: str = "") -> str:
    drawn = charts.svg(told.plot(), title, f"{title} {DOUBLE_IS} {more}".strip())
    return picture(drawn, f"Picture: {title}")


def _notes(told: Any) -> str:
    notes = [check for check in told.checks if not _back(check)]
    return folded("To know", items(f"{check.rstrip('.')}." for check in notes))


def _readings(trial: Trial, dough: Dough) -> str:
    rows = _own(trial, dough)
    if rows.empty:
        return "<p>No reading after the start yet.</p>"
    shown = rows[["at", "proof_ratio", "how"]].assign(
        at=rows["at"].dt.strftime("%H:%M"), proof_ratio=rows["proof_ratio"].map("{:.2f}".format)
    )
    shown.columns = ["Time", "Times the start", "How"]
    return show([table(shown, "Its readings", missing="")])


def _caution() -> str:
    name, text, source = _MILK
    return (
        f'<div class="kit-answer kit-small"><p><strong>{escape(name)}.</strong> {escape(text)} '
        f"({escape(source)})</p></div>"
    )

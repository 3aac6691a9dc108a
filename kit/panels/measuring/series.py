"""All photos of a proofing dough measured together: ratios that are surer than one by one."""

from collections.abc import Callable, Iterable
from html import escape
from typing import Any

import ipywidgets as widgets

from kit import words
from kit.panels.parts.blocks import items, scrolled, status
from kit.panels.parts.controls import button, section, visible
from kit.panels.parts.fields import tell
from kit.records.photos.measured_by import MeasuredBy
from kit.records.things import Dough
from kit.workspace import Trial

__all__ = ["SeriesBlock"]

_WHEN = (
    "When camera and reference stayed where they were, measure all photos of the dough together: "
    "what errs alike in all of them, such as the reference's size, cancels in the ratios."
)


class SeriesBlock(widgets.VBox):  # type: ignore[misc]
    """Measures the photos of one dough by the scale of the one that is shown, and keeps them.

    Parameters
    ----------
    scale : callable
        Gives the scale of the photo that is shown.
    how : callable
        Gives what to measure by: shape, jar, box, an outline by hand.
    changed : callable
        Called after something was stored.

    Attributes
    ----------
    series : Series or None
        What was measured.
    """

    def __init__(
        self, scale: Callable[[], Any], how: Callable[[], dict[str, Any]],
        changed: Callable[[], None],
    ) -> None:  # fmt: skip
        self._scale, self._how, self._changed = scale, how, changed
        self.trial: Trial | None = None
        self.dough: Dough | None = None
        self.series: Any = None
        self._corrected: list[str] = []
        self._by: MeasuredBy | None = None
        self._title = widgets.HTML()
        self.measure = button("Measure them together", self._measure)
        self.said, self.table = widgets.HTML(), widgets.HTML()
        self.keep = button("Keep these ratios", self._keep)
        self.kept = widgets.HTML()
        told = widgets.HTML(f'<p class="kit-small">{_WHEN}</p>')
        inside = (self._title, told, self.measure, self.said, self.table, self.keep, self.kept)
        super().__init__([section("All photos of this dough", *inside)])
        self.hide()

    def hide(self) -> None:
        """Show nothing: the photo is of no dough that proofs, or the only one."""
        self.trial = self.dough = None
        self._forget()
        visible(self, False)

    def show(self, trial: Trial, dough: Dough) -> None:
        """Offer to measure the photos of a dough, where there are several."""
        count = len(trial.proof_photos(dough))
        if count < 2:
            self.hide()
            return
        if self.dough is None or dough.id != self.dough.id:
            self._forget()
        self.trial, self.dough = trial, dough
        visible(self, True)
        self._title.value = (
            f"<p>{escape(words.capital(str(dough)))}: {words.plural(count, 'photo')}.</p>"
        )

    def _forget(self) -> None:
        self.series = None
        self.said.value = self.table.value = self.kept.value = ""
        visible(self.keep, False)

    def _measure(self) -> None:
        trial, dough = self.trial, self.dough
        if trial is None or dough is None:
            return
        self._forget()
        photos = trial.proof_photos(dough)

        def progress(done: int, of: int) -> None:
            self.said.value = status(f"Measured {done} of {of} photos …")

        def measured() -> None:
            how = self._how()
            self._corrected, self._by = list(how.pop("corrected", [])), how.pop("by", None)
            outline, shown = how.pop("outline", None), how.pop("shown", None)
            at = [i for i, photo in enumerate(photos) if photo.id == shown]
            if outline is not None and at:
                how["outlines"] = {at[0]: outline}
            scale = self._scale()
            self.series = trial.measure_series(dough, scale, progress=progress, **how)
            self.table.value = _table(self.series, scale.notes)
            visible(self.keep, self.series.measured)

        tell(self.said, measured, meanwhile="Measuring …")

    def _keep(self) -> None:
        trial, dough, series = self.trial, self.dough, self.series
        if trial is None or dough is None or series is None:
            return

        def kept() -> str:
            count = trial.accept_series(dough, series, self._corrected, self._by)
            self._changed()
            return status(f"Kept for {dough}: {words.plural(count, 'photo')}.")

        tell(self.kept, kept)


def _table(series: Any, about_scale: Iterable[str]) -> str:
    """Each photo's volume and ratio, or why it has none; what to know, of the scale too."""
    rows = []
    for row in series.rows:
        when = f"{row.taken:%H:%M}" if row.taken else "no time"
        if row.view is None or row.ratio is None:
            cells = f'<td colspan="2" class="kit-wrap">{escape("; ".join(row.notes))}</td>'
        else:
            cells = (
                f"<td>{escape(str(row.view.volume_ml))}</td><td>{escape(_ratio(row.ratio))}</td>"
            )
        rows.append(f"<tr><td>{when}</td><td>{escape(row.photo)}</td>{cells}</tr>")
    heads = "".join(
        f'<th scope="col">{name}</th>'
        for name in ("Taken", "Photo", "Volume", "Times the first volume")
    )
    notes = [note.rstrip(".") for note in (*about_scale, *series.checks)]
    told = items((f"{words.capital(note)}." for note in notes), "kit-small")
    table = f"<table><thead><tr>{heads}</tr></thead><tbody>{''.join(rows)}</tbody></table>"
    return (
        f'<div class="kit-answer" role="status"><p><strong>{escape(series.headline)}</strong></p>'
        f"{scrolled(table, 'Volumes and ratios')}{told}</div>"
    )


def _ratio(ratio: Any) -> str:
    if not ratio.u:
        return "1, by definition"
    return f"{words.number(ratio.value, ratio.u)} ± {words.number(ratio.u, ratio.u)}"

"""A trial in one zip file: all that is recorded, for another baker, with the page where asked."""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from inspect import signature
from pathlib import Path
from typing import TYPE_CHECKING, Any

from kit.errors import DataError, InputError, KitError, NotFoundError
from kit.quantities import called, find
from kit.records.keeping.aside import file_name, write_whole
from kit.records.typed import file_path
from kit.telling import TrialPages
from kit.units import parse

if TYPE_CHECKING:
    from kit.analysis.comparison import Comparison
    from kit.records.package.out import Package

__all__ = ["TrialSharing"]


class TrialSharing(TrialPages):
    """The verbs of a trial that hand it on."""

    def package(
        self, path: str | Path, photos: bool = True, licence: str | None = None
    ) -> "Package":
        """Write all of this trial into one zip file that another baker can receive.

        Parameters
        ----------
        path : str or Path
            Ending in .zip.
        photos : bool
            Whether pictures go with it; without place, owner, serial numbers and previews.
        licence : str, optional
            What others may do with it, e.g. ``"CC-BY-4.0"``. That is for you to say.

        Returns
        -------
        Package
            What is in it, and under `checks` what was left out. It can be used as the path.

        Raises
        ------
        InputError
            The path does not end in .zip.
        StoreError
            It cannot be written; an older file stays as it was.
        """
        return self._pack(path, photos, licence)

    def writeup(
        self,
        path: str | Path,
        comparison: "Comparison | None" = None,
        leave_out: Iterable[str] = (),
    ) -> Path:
        """Write one file to share: the page as .html, .pdf or .md, or as .zip with all its data.

        Where the trial changes several things, each is answered in a section of its own, that of
        `comparison` first.

        Parameters
        ----------
        path : str or Path
            Of a .zip it is `package` with the page in it, as ``page.html``.
        comparison : Comparison, optional
            What the page answers first; `compare` without arguments when not given.
        leave_out : iterable of str
            As it was given to `compare`; holds for the other factors as well.

        Raises
        ------
        StoreError
            It cannot be written; an older file stays as it was.
        """
        from kit.writeup import render, write

        path = file_path("path", path)
        report = self.report(comparison, leave_out)
        if path.suffix.lower() != ".zip":
            return write(report, path)
        return self._pack(path, page=render(report)).path

    def recipe(
        self,
        path: str | Path,
        pieces: int,
        raw_piece_g: float | str,
        settings: Mapping[str, Any] | None = None,
        **more: Any,
    ) -> Path:
        """Write the trial's recipe at one setting as a page: grams, ounces, steps, allergens.

        It carries the recipe for search engines, too (schema.org, in JSON-LD).

        Parameters
        ----------
        path : str or Path
            Ending in .html.
        pieces : int
            How many it makes.
        raw_piece_g : float or str
            Weight of a raw piece, as typed or in g.
        settings : mapping, optional
            What the trial changes in the recipe -> the value to tell, as typed.
        **more
            See `kit.formula.card`: steps, prep_minutes, wait_minutes, cook_minutes, author …

        Raises
        ------
        DataError
            The trial has no formula.
        InputError, NotFoundError
            A setting that is missing or was not baked, or another ending of the path.
        StoreError
            It cannot be written; an older file stays as it was.
        """
        from kit.formula import card, scale
        from kit.writeup.recipe import at_setting

        path = file_path("path", path)
        if path.suffix.lower() not in (".html", ".htm"):
            raise InputError("path", str(path), "must end in .html", "For example muffin.html.")
        known = [name for name in signature(card).parameters if name != "batch"]
        if strange := next((name for name in more if name not in known), None):
            raise NotFoundError("part of a recipe page", strange, known)
        formula = self.formula()
        if formula is None:
            msg = f"{self.name} has no formula: set it first, then it can be told (set_formula)."
            raise DataError(msg)
        formula = at_setting(formula, self.factors, settings or {})
        if self.invented:
            formula = replace(formula, note=f"Invented data. {formula.note}".strip())
        weight_g = parse(raw_piece_g, "g", "raw_piece_g")
        if weight_g is None:
            raise InputError("raw_piece_g", raw_piece_g, "must not be empty", "For example 76 g.")
        batch = scale(formula, pieces=pieces, raw_piece_g=weight_g)
        return write_whole(path, card(batch, **{"author": self.baker, **more}))

    def recipe_name(self, settings: Mapping[str, Any]) -> str:
        """Return what the recipe's page is called: one setting has one, however it is typed.

        Parameters
        ----------
        settings : mapping
            As for `recipe`.
        """
        if not isinstance(settings, Mapping):
            rule = "must be settings by name"
            raise InputError("settings", settings, rule, 'Write {"malt_percent": 0.8}.')
        factors = [*self.factors]
        given = {called(str(said)): value for said, value in settings.items()}
        order = sorted(given, key=lambda n: (factors.index(n) if n in factors else len(factors), n))
        told = [_dose(name, given[name]) for name in order]
        if len(order) > 1:
            told = [word for both in zip(order, told, strict=True) for word in both]
        return f"{file_name(' '.join([self.name, 'recipe', *told]))}.html"

    def _pack(
        self, path: str | Path, photos: bool = True, licence: str | None = None, page: str = ""
    ) -> "Package":
        from kit.formula.safety import cautions
        from kit.records.package.out import write_package

        formula = self.formula()
        told = cautions((one.name, one.role) for one in (formula.ingredients if formula else ()))
        return write_package(self._store, self.id, path, photos, licence, told, page)


def _dose(name: str, typed: Any) -> str:
    """Return a dose for a file's name; as typed where it is none, which `recipe` then refuses."""
    own = find(name)
    try:
        read = parse(typed, own.unit if own else "%", name)
    except KitError:
        return str(typed)
    return "" if read is None else f"{read:.12g}"

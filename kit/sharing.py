"""A trial in one zip file: all that is recorded, for another baker, with the page where asked."""

from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

from kit.telling import TrialPages

if TYPE_CHECKING:
    from kit.analysis.compare import Comparison
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

        report = self.report(comparison, leave_out)
        if Path(path).suffix.lower() != ".zip":
            return write(report, path)
        return self._pack(path, page=render(report)).path

    def _pack(
        self, path: str | Path, photos: bool = True, licence: str | None = None, page: str = ""
    ) -> "Package":
        from kit.records.package.out import write_package
        from kit.writeup.safety import SAFETY

        return write_package(self._store, self.id, path, photos, licence, SAFETY, page)

"""The pictures of a package on their way into a workspace's folder: never over a file, never out.

They are unpacked aside and looked at first. When the rows are stored they get names made of their
own fingerprint, which no package can choose; when anything fails they are taken away again.
"""

import shutil
import tempfile
from pathlib import Path

from kit.records.journal import Row
from kit.records.keeping.aside import put_beside, sweep
from kit.records.keeping.trouble import in_words
from kit.records.package.read import Arrival, where_of
from kit.records.package.safe_zip import SafeZip
from kit.records.package.strip import kind_of_picture

__all__ = ["Landing"]

_FOLDER, _ASIDE = "photos", ".receiving-"


class Landing:
    """Pictures unpacked aside; `place` puts them where they belong.

    Into the workspace's `folder`; None is a database elsewhere, which keeps no pictures; then the
    rows tell of no path here. Raises DataError: a picture is not the one the rows tell of.
    """

    def __init__(self, folder: Path | None, zipped: SafeZip, arrival: Arrival) -> None:
        self._into, self._arrival = (folder or Path()) / _FOLDER, arrival
        self._aside: Path | None = None
        self._waiting: list[tuple[Row, Path, str]] = []
        self._placed: list[Path] = []
        wanted = [row for row in arrival.rows["photo"] if row["path"]]
        if folder is None and wanted:
            arrival.notes.append(
                f"{len(wanted)} pictures are left out: a shared database keeps none"
            )
        try:
            if folder is not None and wanted:
                with in_words(str(folder)):
                    self._into.mkdir(exist_ok=True)
                    sweep(folder, f"{_ASIDE}*", folders=True)
                    self._aside = Path(tempfile.mkdtemp(prefix=_ASIDE, dir=folder))
                    self._unpack(zipped, wanted, self._aside)
            arrival.stop()
        except BaseException:
            self._clear()
            raise

    def __enter__(self) -> "Landing":
        return self

    def __exit__(self, _kind: object, error: BaseException | None, _where: object) -> None:
        if error is not None:
            for path in self._placed:
                path.unlink(missing_ok=True)
        self._clear()

    def _clear(self) -> None:
        if self._aside is not None:
            shutil.rmtree(self._aside, ignore_errors=True)

    def _unpack(self, zipped: SafeZip, rows: list[Row], aside: Path) -> None:
        unpacked: dict[str, tuple[Path, str]] = {}
        for row in rows:
            name, where = row["path"], where_of("photo", row)
            if name not in zipped:
                self._arrival.problem(where, "path", name, "must be a file in the package")
                continue
            if name not in unpacked:
                path = aside / str(len(unpacked))
                with path.open("xb") as file:
                    unpacked[name] = path, zipped.copy(name, file)
            path, digest = unpacked[name]
            if digest != row["sha256"]:
                rule = "must be the SHA-256 of the file; the picture is another one"
                self._arrival.problem(where, "sha256", row["sha256"], rule)
                continue
            with path.open("rb") as file:
                kind = kind_of_picture(file.read(16))
            if kind is None:
                self._arrival.notes.append(f"{name} is left out: it is no picture")
                continue
            self._waiting.append((row, path, kind))
            row["as_received"] = digest

    def place(self) -> None:
        """Put the pictures into the folder and their paths into the rows."""
        for row in self._arrival.rows["photo"]:
            row["path"], row["sha256"] = "", row["original_sha256"]
        put: dict[Path, Path] = {}  # several rows may have one file
        for row, path, kind in self._waiting:
            if path not in put:
                with in_words(str(self._into)):
                    stem = row["original_sha256"]
                    target, is_new = put_beside(path, self._into, stem, f".{kind}")
                self._placed += [target] if is_new else []
                put[path] = target
            target = put[path]
            row["path"], row["sha256"] = f"{_FOLDER}/{target.name}", row.pop("as_received")

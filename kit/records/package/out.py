"""A trial out: one zip file another baker, a spreadsheet or pandas can open.

``pieces.csv`` is the table one opens first; the folder ``records`` holds what rebuilds the trial
whole, ``photos`` the pictures. The file is written aside and put in its place when it is whole.
"""

import csv
import hashlib
import io
import json
import math
import time
import zipfile
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from kit.errors import InputError
from kit.quantities import Quantity
from kit.records import frame as frames
from kit.records.journal import Row
from kit.records.keeping.aside import aside
from kit.records.keeping.store import Store
from kit.records.package import schema as layout
from kit.records.package.cells import write_cell
from kit.records.package.readme import readme
from kit.records.package.rows import PACKED, original_of, read_rows
from kit.records.package.safe_zip import MAX_PHOTO, MAX_TEXT, MAX_TOTAL
from kit.records.package.strip import CannotStrip, strip
from kit.records.typed import file_path, now, text
from kit.shown import InLines
from kit.words import plural

__all__ = ["Package", "write_package"]


@dataclass(frozen=True, repr=False)
class Package(InLines):
    """A package that was written: where, and how many of what are in it."""

    path: Path
    pieces: int
    readings: int
    photos: int
    checks: tuple[str, ...]  # what was left out, and what to look at before it is handed on

    def __fspath__(self) -> str:
        return str(self.path)

    def __repr__(self) -> str:
        counts = f"pieces: {self.pieces}, readings: {self.readings}, photos: {self.photos}"
        return f"<Package {self.path.name!r}, {counts}>"

    def __str__(self) -> str:
        parts = {"piece": self.pieces, "reading": self.readings, "photo": self.photos}
        counts = ", ".join(plural(number, name) for name, number in parts.items())
        return "\n".join([f"{self.path}: {counts}", *(f"Note: {check}." for check in self.checks)])

    def to_frame(self) -> pd.DataFrame:
        """Return one row."""
        row = {"path": str(self.path), "pieces": self.pieces, "readings": self.readings,
               "photos": self.photos, "checks": "; ".join(self.checks)}  # fmt: skip
        return pd.DataFrame([row])


def write_package(
    store: Store,
    trial_id: str,
    path: str | Path,
    photos: bool = True,
    licence: str | None = None,
    cautions: Sequence[tuple[str, str, str]] = (),
    page: str = "",
) -> Package:
    """Write a trial's package; see `Trial.package`.

    `cautions` are (what, text, source) for its README; `page` is HTML that tells what came out and
    goes in as ``page.html``.
    """
    path = file_path("path", path)
    if path.suffix.lower() != ".zip":
        raise InputError("path", str(path), "must end in .zip", "For example malt.zip.")
    said = text("licence", licence, needed=False) or None
    with store.reading() as connection:
        kept = read_rows(connection, trial_id)
        table = frames.read(connection, trial_id).values
    checks = [*kept.left_out]
    with aside(path) as file, zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as zipped:
        out = _Out(zipped)
        out.table(
            "pieces", "pieces.csv", layout.piece_cells(table), _PIECES, layout.pieces_schema(table)
        )
        count = out.photos(kept.rows["photo"], store.folder if photos else None, checks, photos)
        for one in PACKED:
            out.record(
                one.name, layout.cell_kinds(one), kept.rows[one.name], layout.table_schema(one)
            )
        lines = [_quantity_row(q) for q in kept.quantities]
        out.record("quantity", layout.QUANTITY_COLUMNS, lines, layout.quantities_schema())
        head = kept.rows["trial"][0]
        package = layout.descriptor(head, now(), said, out.resources)
        names = [taster["name"] for taster in kept.rows["taster"]]
        if names:
            checks.append(f"it names your tasters ({', '.join(names)}): ask them before you share")
        if any(not plate["samples"]["open"] for plate in kept.rows["tasting"]):
            checks.append("it holds the key of a tasting that is still blind: keep it from tasters")
        if page:
            out.member("page.html", page.encode())
        about = readme(head, kept.rows, table, said, cautions, checks, bool(page))
        out.member("README.md", about.encode())
        whole = json.dumps(package, ensure_ascii=False, indent=1, allow_nan=False)
        out.member("datapackage.json", whole.encode())
    return Package(path, len(table), len(kept.rows["reading"]), count, tuple(checks))


_PIECES = {
    "title": "Pieces",
    "description": "One row a piece. What belongs to a bake, dough or load is repeated on the rows "
    "of its pieces. An empty cell was not measured. Text that begins like a spreadsheet's formula "
    "has an apostrophe before it.",
}


class _Out:
    """A zip file being filled, and the description of what is in it."""

    def __init__(self, zipped: zipfile.ZipFile) -> None:
        self.zipped, self.resources, self.total = zipped, list[Row](), 0

    def member(self, name: str, content: bytes, packed: bool = True) -> None:
        self.total += len(content)
        if self.total > MAX_TOTAL:
            raise InputError(
                "path", name, f"would make the package larger than {MAX_TOTAL // 10**6} MB",
                "Make it without photos: photos=False.",
            )  # fmt: skip
        info = zipfile.ZipInfo(name, time.localtime()[:6])
        info.external_attr = 0o100644 << 16
        info.compress_type = zipfile.ZIP_DEFLATED if packed else zipfile.ZIP_STORED
        self.zipped.writestr(info, content)

    def table(
        self, name: str, path: str, lines: Iterable[list[str]], about: Row, schema: Row
    ) -> None:
        written = io.StringIO()
        csv.writer(written).writerows(lines)  # CRLF, as RFC 4180 has it
        content = written.getvalue().encode()
        if len(content) > MAX_TEXT:
            raise InputError(
                "path", path, f"would hold more than {MAX_TEXT // 10**6} MB of text",
                "A trial of this size is better shared as a database.",
            )  # fmt: skip
        self.member(path, content)
        digest = hashlib.sha256(content).hexdigest()
        self.resources.append(layout.resource(name, path, content, digest, about, schema))

    def record(
        self, table: str, columns: dict[str, tuple[str, bool]], rows: list[Row], schema: Row
    ) -> None:
        def lines() -> Iterator[list[str]]:
            yield list(columns)
            for row in rows:
                yield [write_cell(row[name], *kind) for name, kind in columns.items()]

        path = f"records/{table}.csv"
        self.table(layout.resource_name(table), path, lines(), layout.about_table(table), schema)

    def photos(self, rows: list[Row], folder: Path | None, checks: list[str], wanted: bool) -> int:
        """Put the pictures in; fill in the rows' path and hashes; return how many there are."""
        count = 0
        if rows and not wanted:
            checks.append(f"the pictures are not in it: {len(rows)} left out as asked")
        for row in rows:
            where, row["original_sha256"] = row["path"], original_of(row)
            row["path"], row["sha256"] = "", row["original_sha256"]
            if not wanted:
                continue
            try:
                content, ending = strip(_picture(folder, where))
            except CannotStrip as exc:
                checks.append(f"the picture {where or 'without a file'} is left out: it {exc}")
                continue
            path = f"photos/{row['original_sha256']}.{ending}"
            row["path"], row["sha256"] = path, hashlib.sha256(content).hexdigest()
            if path in self.zipped.NameToInfo:
                continue  # two rows about one picture
            self.member(path, content, packed=False)
            kind = "image/jpeg" if ending == "jpg" else "image/png"
            self.resources.append(
                {"name": f"photo-{row['original_sha256']}", "path": path, "mediatype": kind,
                 "format": ending, "bytes": len(content), "hash": f"sha256:{row['sha256']}"}
            )  # fmt: skip
            count += 1
        return count


def _picture(folder: Path | None, where: str) -> bytes:
    if folder is None or not where:
        raise CannotStrip("is not in this workspace's folder")
    try:
        file = folder / where
        if file.stat().st_size > MAX_PHOTO:
            msg = f"is larger than {MAX_PHOTO // 10**6} MB"
            raise CannotStrip(msg)
        return file.read_bytes()
    except OSError as exc:
        msg = f"cannot be read: {(exc.strerror or str(exc)).lower()}"
        raise CannotStrip(msg) from exc


def _quantity_row(quantity: Quantity) -> Row:
    row = {name: getattr(quantity, name, None) for name in layout.QUANTITY_COLUMNS}
    for what in ("possible", "usual"):
        for side, end in zip(("low", "high"), getattr(quantity, what), strict=True):
            row[f"{what}_{side}"] = end if math.isfinite(end) else None
    return row

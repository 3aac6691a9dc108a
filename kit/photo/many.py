"""Many photos: the same measuring over a whole folder, on all cores or on a cluster.

`measure_one` is a pure function of the file's bytes and of what is asked (`Asked`); this module
hands it out, writes a table after every photo and takes up where it was stopped. One file that
cannot be read or measured is a row with its reason, never the end of the rest.
"""

import hashlib
import json
import os
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import asdict, dataclass, field, fields
from multiprocessing import get_context
from pathlib import Path
from time import monotonic
from typing import TYPE_CHECKING, Any

from kit.errors import InputError, KitError, MissingPackageError
from kit.photo.arguments import check_kind, one_of
from kit.photo.one_photo import ABOUT, SHOWS, measure
from kit.photo.reading.exif import as_zone
from kit.photo.reference import KINDS
from kit.photo.value import Value

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["Asked", "measure_folder", "measure_one", "photos_in"]

#: names that are taken for photos; what a file really holds is found out when it is read
ENDINGS = (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".heic", ".heif")
#: the table is written anew at most this often, in seconds: a folder may hold thousands
WRITE_EVERY_S = 2.0

Row = dict[str, Any]
Told = Callable[[int, int, Row], None]


@dataclass(frozen=True)
class Asked:
    """What is to be measured in every photo of a folder.

    Parameters
    ----------
    shows : str
        "side" (a piece from the side), "rise" (dough while it proofs), "crumb" (a cut face) or
        "face" (browning).
    reference : str
        Kind of reference, as in `kit.photo.scale`.
    about : dict
        What that kind needs, such as ``{"side_mm": 40}``; `offset_mm` belongs here too.
    shape : str, optional
        For side and rise: "piece", "ball" or "jar"; a piece from the side, a ball of rising dough
        when not given.
    jar : dict, optional
        What `kit.photo.Jar` needs, when the shape is "jar".
    zone : str, optional
        Time zone of the camera's clock where the file does not say.

    Raises
    ------
    InputError
        An unknown kind of picture, reference or shape, a jar without its size, no such zone: said
        before any photo is looked at.
    """

    shows: str
    reference: str = "card"
    about: dict[str, Any] = field(default_factory=dict)
    shape: str | None = None
    jar: dict[str, Any] | None = None
    zone: str | None = None

    def __post_init__(self) -> None:
        one_of("shows", self.shows, SHOWS)
        kinds = [kind for kind in KINDS if kind not in ("ruler", "points")]  # put there by hand
        one_of("reference", self.reference, kinds)
        check_kind("about", self.about, Mapping, ABOUT)
        if self.shape is not None:
            one_of("shape", self.shape, ("piece", "ball", "jar"))
        if (self.jar is not None) != (self.shape == "jar"):
            remedy = "Say how wide it is inside, such as inner_diameter=72."
            raise InputError(
                "jar", self.jar, "must be said for the shape jar and only then", remedy
            )
        if self.jar is not None:
            _jar(self.jar)
        as_zone(self.zone)

    @property
    def mark(self) -> str:
        """Short sign of what was asked: rows of another question are measured again."""
        text = json.dumps(asdict(self), sort_keys=True, default=str)
        return hashlib.sha256(text.encode()).hexdigest()[:12]


def photos_in(folder: str | Path) -> list[Path]:
    """Return the photos of a folder, by name; those in folders below it too.

    What is hidden (a name that begins with a dot) is left: phones and computers keep small copies
    of the same pictures there.

    Raises
    ------
    InputError
        The folder does not exist or holds no photo.
    """
    check_kind("folder", folder, str | Path, "must be the path of a folder")
    where = Path(folder)
    if not where.is_dir():
        raise InputError("folder", str(folder), "is no folder", "Give the folder of your photos.")
    found = sorted(
        p
        for p in where.rglob("*")
        if p.suffix.lower() in ENDINGS
        and not any(part.startswith(".") for part in p.relative_to(where).parts)
        and p.is_file()
    )
    if not found:
        raise InputError(
            "folder", str(folder), f"holds no photo ({', '.join(ENDINGS)})", "Look for another."
        )
    return found


def measure_one(source: Path | bytes, name: str, asked: Asked) -> Row:
    """Measure one photo; what cannot be measured comes back with its reason.

    Parameters
    ----------
    source : Path or bytes
        The file, or what it holds where a worker does not see the folder.
    name : str
        How the photo is called in the table.
    asked : Asked

    Returns
    -------
    dict
        file, asked, sha256, taken (with its offset where that is known), status ("measured" or
        "refused"), reason, and for every quantity its value and, with "_u" added, its standard
        uncertainty.
    """
    from kit.photo.picture import read

    row: Row = {"file": name, "asked": asked.mark, "status": "refused", "reason": ""}
    try:
        photo = read(source, zone=asked.zone)
        when = photo.taken or photo.clock  # without a zone, as the camera's clock said
        row |= {"sha256": photo.sha256, "taken": when.isoformat() if when else ""}
        for quantity, value in _values(_measured(photo, asked)):
            row |= {quantity: value.value, f"{quantity}_u": value.u}
        row["status"] = "measured"
    except KitError as exc:
        row["reason"] = str(exc)
    except MemoryError:
        row["reason"] = f"{name} needs more memory than there is. Make the picture smaller."
    except Exception as exc:  # a fault of ours, told in the table: the other photos go on
        row["reason"] = f"this should not happen ({type(exc).__name__}: {exc}). Tell us, please."
    return row


def _measured(photo: Any, asked: Asked) -> Any:
    """Do what is asked with a photo that was read."""
    how: dict[str, Any] = {"shape": asked.shape} if asked.shape else {}
    if asked.jar:
        how["jar"] = _jar(asked.jar)
    return measure(photo, asked.shows, reference=asked.reference, about=asked.about, **how)


def _jar(said: Mapping[str, Any]) -> Any:
    """The jar that was said.

    Raises
    ------
    InputError
        Something is missing, unknown or impossible.
    """
    from kit.photo.sides.jar import Jar

    known = ", ".join(one.name for one in fields(Jar))
    check_kind("jar", said, Mapping, f"must say {known} by name")
    if not {"inner_diameter_mm"} <= set(said) <= set(known.split(", ")):
        raise InputError("jar", said, f"must say inner_diameter_mm, and may say {known}")
    return Jar(**said)


def _values(result: Any) -> Iterator[tuple[str, Value]]:
    """Yield every measured value of a result by its name; of several faces, the first."""
    if hasattr(result, "faces"):
        result = result.faces[0]
    for one in fields(result):
        value = getattr(result, one.name)
        if isinstance(value, Value):
            yield one.name, value


def measure_folder(
    folder: str | Path,
    asked: Asked,
    out: str | Path | None = None,
    *,
    workers: int | None = None,
    dask: str | None = None,
    told: Told | None = None,
) -> "pd.DataFrame":
    """Measure every photo of a folder and write the table; what was measured before is kept.

    Stopped (Ctrl-C) and called again, it goes on with what is missing. A photo counts as done
    when its bytes and what is asked are the same; refused photos are tried again only when the
    file or what is asked has changed.

    Parameters
    ----------
    folder : str or Path
        The photos; the folder itself is not touched, except for the table.
    asked : Asked
    out : str or Path, optional
        The table; ``measured-<what it shows>.csv`` in the folder when not given.
    workers : int, optional
        Processes; as many as cores when not given.
    dask : str, optional
        Address of a Dask scheduler. The photos' bytes are sent: workers need not see the folder.
    told : callable, optional
        Called with (done, all, row) after every photo.

    Returns
    -------
    DataFrame
        One row a photo, in the order of the files' names.

    Raises
    ------
    InputError
        No folder, no photo, a table of something else in the way, or no place to write to.
    MissingPackageError
        `dask` is given and Dask is not installed.
    """
    files = photos_in(folder)
    table = Path(out) if out else Path(folder) / f"measured-{asked.shows}.csv"
    names = {path: _as_utf8(path.relative_to(folder).as_posix()) for path in files}
    rows = _done_before(table, asked, names)
    left = [path for path in files if names[path] not in rows]
    if told:
        for i, row in enumerate(rows.values(), 1):
            told(i, len(files), row)
    written = monotonic()
    try:
        found = (
            _on_cluster(left, names, asked, dask) if dask
            else _on_cores(left, names, asked, workers)
        )  # fmt: skip
        for row in found:
            rows[row["file"]] = row
            if told:
                told(len(rows), len(files), row)
            if monotonic() - written > WRITE_EVERY_S:
                _write(table, rows, names)
                written = monotonic()
    finally:  # also when stopped: nothing that was measured is lost
        frame = _write(table, rows, names)
    return frame


def _on_cores(
    left: list[Path], names: dict[Path, str], asked: Asked, workers: int | None
) -> Iterator[Row]:
    """Hand the photos to processes of this machine; a process that dies takes one photo along."""
    count = max(1, workers or os.cpu_count() or 1)
    suspects: list[Path] = []
    waiting = list(left)
    while waiting:
        with _processes(count) as pool:
            jobs: dict[Future[Row], Path] = {}
            broken = False
            while (waiting or jobs) and not broken:
                while waiting and len(jobs) < 2 * count:  # so that a stop comes soon
                    path = waiting.pop(0)
                    jobs[pool.submit(measure_one, path, names[path], asked)] = path
                for job in wait(jobs, return_when=FIRST_COMPLETED).done:
                    path = jobs.pop(job)
                    try:
                        yield job.result()
                    except BrokenProcessPool:
                        suspects.append(path)
                        broken = True
            suspects += jobs.values()
    for path in suspects:  # each alone, so that only the one that kills its process is lost
        with _processes(1) as pool:
            try:
                yield pool.submit(measure_one, path, names[path], asked).result()
            except BrokenProcessPool:
                yield _lost(names[path], asked)


def _processes(count: int) -> ProcessPoolExecutor:
    """Start fresh processes: a copy of one in which OpenCV has threads may hang."""
    return ProcessPoolExecutor(count, get_context("spawn"), _one_thread)


def _one_thread() -> None:
    """Keep OpenCV to one thread in every process: the cores are taken by the processes."""
    import cv2

    cv2.setNumThreads(1)


def _lost(name: str, asked: Asked) -> Row:
    """Return the row of a photo that ended the process that looked at it."""
    reason = f"{name} ended the process that measured it. Save it anew as JPEG, or leave it out."
    return {"file": name, "asked": asked.mark, "status": "refused", "reason": reason}


def _on_cluster(
    left: list[Path], names: dict[Path, str], asked: Asked, address: str
) -> Iterator[Row]:
    """Send the photos' bytes to a Dask cluster; work of a lost worker is done by another."""
    try:
        from distributed import Client, as_completed
    except ImportError as exc:
        raise MissingPackageError("Measuring on a cluster", "cluster") from exc
    with Client(address, set_as_default=False) as client:
        ahead = max(4, 2 * sum(client.ncores().values()))  # not all bytes at once
        waiting = iter(left)
        doing: dict[Any, str] = {}

        def send() -> Any:
            path = next(waiting, None)
            if path is None:
                return None
            job = client.submit(
                measure_one, path.read_bytes(), names[path], asked, pure=False, retries=2
            )
            doing[job] = names[path]
            return job

        first = [job for job in (send() for _ in range(ahead)) if job]
        done = as_completed(first, loop=client.loop)
        for job in done:
            name = doing.pop(job)
            yield _lost(name, asked) if job.status == "error" else job.result()
            following = send()
            if following is not None:
                done.add(following)


def _as_utf8(name: str) -> str:
    """A file's name as a table can hold it, its bytes that are no UTF-8 written out."""
    return name.encode("utf-8", "backslashreplace").decode()


def _done_before(table: Path, asked: Asked, names: dict[Path, str]) -> dict[str, Row]:
    """Return the rows of an earlier run that still hold: same question, same bytes."""
    import pandas as pd

    from kit.photo.picture import sha256_of

    if not table.exists():
        return {}
    other = InputError("out", str(table), "is no table of measured photos", "Choose another file.")
    try:
        before = pd.read_csv(table, dtype={"file": str, "asked": str, "sha256": str})
    except (ValueError, OSError) as exc:
        raise other from exc
    if not {"file", "asked", "status"} <= set(before.columns):
        raise other
    there = {name: path for path, name in names.items()}
    rows: dict[str, Row] = {}
    for row in before[before["asked"] == asked.mark].to_dict("records"):
        name = str(row["file"])
        if name in there and row.get("sha256") == sha256_of(there[name]):
            rows[name] = {str(column): value for column, value in row.items()}
    return rows


def _write(table: Path, rows: dict[str, Row], names: dict[Path, str]) -> "pd.DataFrame":
    """Write the table aside, then rename: a half-written one never appears."""
    import pandas as pd

    frame = pd.DataFrame([rows[name] for name in names.values() if name in rows])
    aside = table.with_name(f".{table.name}.part")
    try:
        frame.to_csv(aside, index=False)
        os.replace(aside, table)
    except OSError as exc:
        raise InputError("out", str(table), "cannot be written", "Choose another place.") from exc
    return frame

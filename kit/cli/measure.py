"""``kit measure``: every photo of a folder into one table, on all cores or on a cluster."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from kit import words
from kit.cli.shell import command, err, say
from kit.errors import InputError
from kit.units import parse

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["measure"]

#: how many reasons are listed, and photos with each; all of them stand in the table
LISTED, NAMED = 12, 4


@command()
def measure(
    folder: Annotated[Path, typer.Argument(help="The photos.")],
    shows: Annotated[str, typer.Option(help="What they show: side, rise, crumb or face.")],
    by: Annotated[
        str, typer.Option(help="Reference: card, marker, checkerboard, disc or scanner.")
    ] = "card",
    about: Annotated[
        list[str] | None,
        typer.Option(
            help="About the reference: side=40, diameter=1in, lies=flat, dpi=600, or of the card "
            "bar=178 (its long bar, measured); may repeat."
        ),
    ] = None,
    in_front: Annotated[
        str | None,
        typer.Option(
            help="How far its middle stands before, or its face lies above, the reference."
        ),
    ] = None,
    shape: Annotated[
        str | None, typer.Option(help="From the side: piece, ball (of rising dough) or jar.")
    ] = None,
    jar: Annotated[
        list[str] | None,
        typer.Option(help="The jar: inner_diameter=72, base_thickness=3; may repeat."),
    ] = None,
    zone: Annotated[
        str | None, typer.Option(help="Time zone of the camera, where the files do not say.")
    ] = None,
    out: Annotated[Path | None, typer.Option(help="Table to write; in the folder.")] = None,
    workers: Annotated[int | None, typer.Option(help="Processes; all cores.", min=1)] = None,
    dask: Annotated[str | None, typer.Option(help="Address of a Dask scheduler.")] = None,
) -> None:
    """Measure every photo of a folder into one table.

    Stop it with Ctrl-C and call it again: it goes on with what is missing. A photo that cannot be
    measured stands in the table with the reason.

    Example: python -m kit measure photos --shows crumb --by scanner --about dpi=600
    """
    from rich.progress import MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    from kit.photo.many import Asked, measure_folder
    from kit.photo.one_photo import DEPTHS
    from kit.photo.reference import checked

    offset = None if in_front is None else parse(in_front, "mm", "--in-front")
    said = _named(about, "--about")
    more = {} if offset is None else {"offset_mm": offset}
    asked = Asked(shows, by, said | more, shape, _named(jar, "--jar") if jar else None, zone)
    checked(by, said)
    columns = (TextColumn("{task.description}"), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*columns, console=err, transient=True) as shown:
        bar = shown.add_task("Measuring", total=None)

        def told(done: int, among: int, row: dict[str, Any]) -> None:
            shown.update(bar, completed=done, total=among, description=str(row["file"])[:40])

        try:
            frame = measure_folder(folder, asked, out, workers=workers, dask=dask, told=told)
        except KeyboardInterrupt:
            err.print("Stopped. What was measured is kept; the same command goes on.")
            raise
    _report(frame, out or folder / f"measured-{shows}.csv")
    if (
        (frame["status"] == "measured").any()
        and offset is None
        and by != "scanner"
        and shows in DEPTHS
    ):
        say(f"How far {DEPTHS[shows][0]} was not said: lengths are unsure. Say it with --in-front.")


def _named(words: list[str] | None, option: str) -> dict[str, Any]:
    """Return what was said as name=value: lengths in any unit become millimetres."""
    named: dict[str, Any] = {}
    for word in words or []:
        name, equals, text = word.partition("=")
        if not equals or not name.strip():
            raise InputError(option, word, "must be a name and a value", "Such as side=40.")
        key = name.strip().lower()
        if key in ("dictionary", "name", "lies"):
            named[key] = text.strip()
        elif key in ("id", "dpi"):
            number = parse(text, "", f"{option} {key}")
            named[key] = int(number) if number is not None and number == int(number) else number
        elif key == "inner_corners":
            named[key] = _corners(option, text)
        elif key in ("bar", "printed_scale"):
            named["printed_scale"] = parse(text, "mm", f"{option} {key}")
        else:
            named[key if key.endswith("_mm") else f"{key}_mm"] = parse(text, "mm", option)
    return named


def _corners(option: str, text: str) -> tuple[int, int]:
    """Read the inner corners of a checkerboard: 7x5."""
    numbers = text.lower().replace("x", " ").split()
    if len(numbers) != 2 or not all(n.isdecimal() for n in numbers):
        rule = "must be two whole numbers"
        raise InputError(option, f"inner_corners={text}", rule, "Such as inner_corners=7x5.")
    return int(numbers[0]), int(numbers[1])


def _report(frame: "pd.DataFrame", table: Path) -> None:
    """Say what was measured and what was not, with the reasons."""
    refused = frame[frame["status"] != "measured"]
    done = len(frame) - len(refused)
    say(f"{done} of {len(frame)} photo{'' if len(frame) == 1 else 's'} measured: {table}")
    reasons = refused.groupby("reason", sort=False)["file"].agg(list)
    for reason, files in list(reasons.items())[:LISTED]:
        more = [f"{len(files) - NAMED} more"] if len(files) > NAMED else []
        say(f"  {words.join([*map(str, files[:NAMED]), *more])}: {reason}")
    if len(reasons) > LISTED:
        say(f"  and {len(reasons) - LISTED} more reasons, in the table")
    if any("two points" in str(reason) for reason in reasons.index):
        say("  Points are marked by hand, in measure.ipynb.")

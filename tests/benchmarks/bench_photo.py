"""Speed with photos, as ratios to Pillow's full decode of the same file in the same run.

Run with ``python tests/benchmarks/bench_photo.py``. Files are made here: smooth noise, about
the size of a phone's 12-megapixel JPEG. Best of five each.
"""

import io
import resource
import sys
import tempfile
import time
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

from kit.photo import crumb, read, scale, series, side
from kit.photo.camera import Pose
from kit.photo.pixels.ranks import median
from kit.photo.reference import Scale

sys.path.insert(0, str(Path(__file__).parents[1] / "photo"))
import shots

WIDTH, HEIGHT = 4000, 3000


def best(call, times=5, clock=time.perf_counter):
    """Shortest of several runs, in milliseconds."""
    took = []
    for _ in range(times):
        start = clock()
        call()
        took.append(clock() - start)
    return 1e3 * min(took)


def picture():
    """A 12-megapixel JPEG's bytes."""
    rng = np.random.default_rng(1)
    pixels = rng.integers(40, 216, (HEIGHT, WIDTH, 3), dtype=np.uint8)
    pixels = cv2.add(
        cv2.GaussianBlur(pixels, (0, 0), 2), rng.integers(0, 6, pixels.shape, np.uint8)
    )
    file = io.BytesIO()
    Image.fromarray(pixels).save(file, "JPEG", quality=92)
    return file.getvalue()


def cut_face():
    """Return the bytes of a 12-megapixel JPEG of a cut face, 35 pixels to a millimetre."""
    rng = np.random.default_rng(2)
    px = 8.75  # drawn at a quarter, then enlarged
    y, x = (np.mgrid[: HEIGHT // 4, : WIDTH // 4] + 0.5) / px
    rho = ((abs(x - 57) / 42) ** 3 + (abs(y - 43) / 20) ** 3) ** (1 / 3)
    face = np.full((HEIGHT // 4, WIDTH // 4, 3), 40, np.uint8)
    face[rho < 1] = (150, 105, 60)
    face[rho < 0.95] = (225, 208, 175)
    for at in rng.uniform(0, 1, (900, 2)) * (114, 86):
        r = rng.uniform(0.25, 1.3)
        face[(np.hypot(x - at[0], y - at[1]) < r) & (rho < 0.93)] = (130, 115, 92)
    pixels = cv2.GaussianBlur(cv2.resize(face, (WIDTH, HEIGHT)), (0, 0), 3)
    pixels = cv2.add(pixels, rng.integers(0, 6, pixels.shape, np.uint8))
    file = io.BytesIO()
    Image.fromarray(pixels).save(file, "JPEG", quality=92)
    return file.getvalue()


def crumbs(content):
    """Rows of name and milliseconds of processor time; the first is the peer."""
    half = np.array([-0.5, -0.5, 0.0]) / 35
    scanned = Scale("scanner", None, Pose(np.eye(3), half), 1 / 35, 0.002)

    def peer():
        return np.asarray(Image.open(io.BytesIO(content)).convert("RGB"))

    crumb(read(content), scanned)  # libraries are loaded
    yield "Pillow, full decode of a cut face", best(peer, clock=time.process_time)
    yield (
        "crumb(read(...), scale)",
        best(lambda: crumb(read(content), scanned), clock=time.process_time),
    )
    found = crumb(read(content), scanned)
    again = best(lambda: found.again(threshold=0.2), clock=time.process_time)
    yield "counted again at another threshold", again


def ranks():
    """Rows of name and milliseconds of processor time; the peer is NumPy."""
    values = np.random.default_rng(3).normal(size=400_000).astype(np.float32)
    yield (
        "NumPy, median of 400 000 values",
        best(lambda: np.median(values), clock=time.process_time),
    )
    yield "median of the same", best(lambda: median(values), clock=time.process_time)


def sides():
    """Rows of name and milliseconds of processor time, for a piece beside a marker; then twelve."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "side.jpg"
        shots.from_the_side(path, 12, marker=True, size=(WIDTH, HEIGHT))
        content = path.read_bytes()

    def marked(photo):
        return scale(photo, kind="marker", side_mm=shots.MARKER_MM, offset_mm=shots.OFFSET_MM)

    def measured():
        photo = read(content)
        return side(photo, marked(photo), "piece")

    def peer():
        return np.asarray(Image.open(io.BytesIO(content)).convert("RGB"))

    measured()  # libraries are loaded
    yield "Pillow, full decode of a side view", best(peer, clock=time.process_time)
    yield (
        "scale(read(...), kind='marker')",
        best(lambda: marked(read(content)), 5, time.process_time),
    )
    one = best(measured, clock=time.process_time)
    yield "and side(...) of the piece, without a box", one

    def twelve():
        photos = [read(content) for _ in range(12)]
        return series(photos, marked(photos[0]), "piece")

    took = best(twelve, 2, time.process_time)
    yield f"series of 12 such photos ({took / one:.1f} such ones)", took


def decoding(content):
    """Rows of name and milliseconds."""

    def peer():
        return np.asarray(Image.open(io.BytesIO(content)).convert("RGB"))

    yield "Pillow, full decode to an array (the peer)", best(peer)
    yield "read: header and SHA-256", best(lambda: read(content))
    yield "read(...).pixels", best(lambda: read(content).pixels)
    for longest in (2000, 1000, 500):
        yield f"read(...).reduced({longest})", best(lambda n=longest: read(content).reduced(n))


def main():
    """Print every figure and its ratio to the peer."""
    content = picture()
    print(f"{WIDTH}×{HEIGHT} JPEG, {len(content) / 1e6:.1f} MB")
    shown(decoding(content))
    shown(crumbs(cut_face()))
    shown(ranks())
    # drawing a side view takes more than measuring it, so this is told before
    print(f"most memory: {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB")
    shown(sides())


def shown(rows):
    """Print rows and their ratios to the first."""
    peer = None
    for name, took in rows:
        peer = peer or took
        print(f"{name:45} {took:7.1f} ms  {took / peer:5.2f} ×")


if __name__ == "__main__":
    main()

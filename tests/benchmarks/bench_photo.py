"""Speed with photos, as ratios to Pillow's full decode of the same file in the same run.

Run with ``python tests/benchmarks/bench_photo.py``. Files are made here: smooth noise, about
the size of a phone's 12-megapixel JPEG. Best of five each.
"""

import io
import resource
import time

import cv2
import numpy as np
from PIL import Image

from kit.photo import read

WIDTH, HEIGHT = 4000, 3000


def best(call, times=5):
    """Shortest of several runs, in milliseconds."""
    took = []
    for _ in range(times):
        start = time.perf_counter()
        call()
        took.append(time.perf_counter() - start)
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
    peer = None
    for name, took in decoding(content):
        peer = peer or took
        print(f"{name:45} {took:7.1f} ms  {took / peer:5.2f} ×")
    print(f"most memory: {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB")


if __name__ == "__main__":
    main()

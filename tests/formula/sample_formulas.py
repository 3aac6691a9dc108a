"""The demo's formula, and formulas of all kinds, for the tests of this folder."""

import json
from pathlib import Path

from hypothesis import strategies as st

from kit import formula as kf

DEMO = json.loads((Path(__file__).parents[2] / "datasets/demo/trial.json").read_text("utf-8"))


def harbour(malt=0.8):
    made = kf.Formula.from_lines(
        DEMO["formula"]["name"], DEMO["formula"]["ingredients"], DEMO["formula"]["note"]
    )
    return made if malt is None else made.with_setting("malt_percent", malt)


SMALL = st.floats(0, 300).map(lambda x: round(x, 3))


@st.composite
def formulas(draw):
    """Formulas of one to three flours, water and other things."""
    shares = draw(st.lists(st.integers(1, 50), min_size=1, max_size=3))
    lines = [(f"flour {i}", "flour", 100 * s / sum(shares)) for i, s in enumerate(shares)]
    lines += [
        ("water", "liquid", draw(st.floats(30, 90))),
        ("whole milk", "liquid", draw(st.floats(0, 60))),
        ("butter", "fat", draw(st.floats(0, 20))),
        ("salt", "salt", draw(st.floats(0.1, 4))),
        ("yeast", "yeast", draw(st.floats(0.1, 4))),
        ("malt", "malt", draw(st.floats(0, 2))),
    ]
    return kf.Formula.from_lines("any", lines)

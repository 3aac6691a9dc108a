"""Published values of blind tasting: minimum counts, d′, similarity, panel sizes, ranks, orders.

The entries, each with its source, lie in `handbook_area_6.json`. The environment variable
KIT_HANDBOOK_FILE names another file of the same structure to run instead. An entry is recognised
by what it is about; what is not recognised is skipped and says so.
"""

import json
import os
from itertools import pairwise
from pathlib import Path

import pytest

from kit.analysis.tasting import duo_trio, pair, tasters_needed, triangle
from kit.analysis.tasting.methods import chance_right
from kit.analysis.tasting.ranking import friedman, least_difference
from kit.plan.serving import williams

OWN = Path(__file__).with_name("handbook_area_6.json")
FILE = Path(os.environ.get("KIT_HANDBOOK_FILE") or OWN)
ENTRIES = [entry for entry in json.loads(FILE.read_text("utf-8")) if entry.get("area") == 6]
TESTS = {"triangle": triangle, "duo-trio": duo_trio}


def critical(entry, test):
    alpha = entry["inputs"].get("alpha", 0.05)
    for n, least in zip(entry["inputs"]["n"], entry["expected"], strict=True):
        assert test(0, n, alpha=alpha).needed == least
        assert test(least, n, alpha=alpha).told
        assert not test(least - 1, n, alpha=alpha).told


def critical_pair(entry):
    alphas = entry["inputs"]["alpha"]
    for name, least in entry["expected"].items():
        n = int(name.split("_")[0])
        for alpha, enough in zip(alphas, least, strict=False):
            assert pair(0, n, expected=True, alpha=alpha).needed == enough


def exact_p(entry):
    answer = triangle(entry["inputs"]["correct"], entry["inputs"]["n"])
    assert answer.p == pytest.approx(entry["expected"], abs=entry["tolerance"])


def psychometric(entry, test):
    for d, right in zip(entry["inputs"]["d"], entry["expected"], strict=True):
        assert chance_right(test, d) == pytest.approx(right, abs=entry["tolerance"])


def estimate(entry):
    answer = triangle(entry["inputs"]["correct"], entry["inputs"]["n"])
    got = {
        "pc": answer.share.value, "pd": answer.noticing.value, "d": answer.d.value,
        "se_d": answer.d_se, "exact_p": answer.p,
    }  # fmt: skip
    for name, value in got.items():
        if name in entry["expected"]:
            assert value == pytest.approx(entry["expected"][name], abs=entry["tolerance"]), name


def similarity(entry):
    given = entry["inputs"]
    # the source's interval is two-sided at 95 %: each end at 2.5 %
    answer = triangle(given["correct"], given["n"], matters=given["pd0"], alpha=0.025)
    assert answer.p_alike == pytest.approx(entry["expected"]["p"], abs=entry["tolerance"])
    assert answer.noticing.high == pytest.approx(entry["expected"]["pd_upper"], abs=5e-6)
    assert answer.answer == "no difference that matters"


def panel(entry):
    need = tasters_needed("pair", share=entry["inputs"]["pd"], chance=entry["inputs"]["power"])
    assert need.first == entry["expected"]
    assert need.tasters >= need.first


def ranks(entry):
    given, expected = entry["inputs"], entry["expected"]
    close = {"abs": entry["tolerance"]}
    assert friedman(given["rank_sums"], given["assessors"]) == pytest.approx(expected["F"], **close)
    assert least_difference(given["assessors"], given["products"]) == pytest.approx(
        expected["LSD"], **close
    )


def orders(entry):
    for t, rows, each in zip(
        entry["inputs"]["t"], entry["expected"]["rows"],
        entry["expected"]["adjacent_count_each_pair"], strict=True,
    ):  # fmt: skip
        made = williams(t)
        assert made.shape == (rows, t)
        seen = [step for row in made.tolist() for step in pairwise(row)]
        pairs = {(a, b) for a in range(t) for b in range(t) if a != b}
        assert {p: seen.count(p) for p in pairs} == dict.fromkeys(pairs, each)
        for place in range(t):  # every sample in every place equally often
            assert sorted(made[:, place].tolist()) == sorted(list(range(t)) * (rows // t))


CHECKS = (
    ("triangle critical", lambda e: critical(e, triangle)),
    ("duo-trio critical", lambda e: critical(e, duo_trio)),
    ("paired comparison one-sided", critical_pair),
    ("triangle exact p", exact_p),
    ("triangle psychometric", lambda e: psychometric(e, "triangle")),
    ("duo-trio pc", lambda e: psychometric(e, "duo-trio")),
    ("triangle estimate", estimate),
    ("triangle similarity", similarity),
    ("2-AFC sample size", panel),
    ("Friedman", ranks),
    ("Williams", orders),
)


def find(entry):
    return next((check for name, check in CHECKS if entry["quantity"].startswith(name)), None)


@pytest.mark.parametrize("entry", ENTRIES, ids=[e["quantity"][:40] for e in ENTRIES])
def test_entry(entry):
    check = find(entry)
    if check is None:
        pytest.skip(f"not recognised: {entry['quantity']}")
    check(entry)


def test_own_entries_are_all_recognised():
    if FILE != OWN:
        pytest.skip("another file of entries is being run")
    assert len(ENTRIES) == 11
    assert all(find(entry) for entry in ENTRIES)

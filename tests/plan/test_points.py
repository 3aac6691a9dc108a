"""Classical designs against the e-Handbook's tables and pydoe.

NIST/SEMATECH e-Handbook of Statistical Methods, sections named beside each; pydoe 1.6.0.
"""

import itertools

import numpy as np
import pydoe
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kit.errors import InputError
from kit.plan.designs.points import box_behnken, composite, fraction, full, rotatable


def rows(points):
    return sorted(map(tuple, np.round(points, 9) + 0.0))


def test_half_of_five_factors():
    # e-Handbook 5.3.3.4.7: 2^(5-1), E = ABCD, resolution V, 16 runs
    half = fraction(5, 1)
    assert half.generators == ("E=ABCD",)
    assert half.resolution == 5
    assert half.words == ((0, 1, 2, 3, 4),)
    assert np.array_equal(half.points[:, 4], half.points[:, :4].prod(axis=1))


def test_catapult_data_are_that_half():
    # e-Handbook 5.4.7.2 (a catapult): the 16 corner runs in their order, columns h s b l e
    runs = """----+ +++++ +-++- -+++- +---- ++--+ +--++ -+--- ++-+- ---+-
              +++-- --+-- -++-+ +-+-+ -+-++ --+++"""
    published = np.array([[1.0 if c == "+" else -1.0 for c in run] for run in runs.split()])
    assert rows(fraction(5, 1).points) == rows(published)


@pytest.mark.parametrize(
    ("k", "p", "resolution"),
    # e-Handbook 5.3.3.4.7, summary table: highest resolution of 2^(k-p)
    [
        (3, 1, 3), (4, 1, 4), (5, 1, 5), (5, 2, 3), (6, 1, 6), (6, 2, 4), (6, 3, 3), (7, 1, 7),
        (7, 2, 4), (7, 3, 4), (7, 4, 3), (8, 2, 5), (8, 3, 4), (8, 4, 4), (9, 3, 4), (9, 4, 4),
        (9, 5, 3), (10, 4, 4), (10, 5, 4), (10, 6, 3),
    ],
)  # fmt: skip
def test_resolutions(k, p, resolution):
    found = fraction(k, p)
    assert found.resolution == resolution
    assert len(found.points) == 2 ** (k - p)


def test_minimum_aberration():
    # Fries & Hunter (1980), from memory: 2^(7-2) has one word of length 4 and two of length 5
    lengths = sorted(len(word) for word in fraction(7, 2).words)
    assert lengths == [4, 5, 5]


@pytest.mark.parametrize("kp", [(3, 1), (4, 1), (5, 1), (5, 2), (6, 2), (7, 3), (7, 4), (8, 4)])
def test_fractions_as_pydoe_makes_them(kp):
    found = fraction(*kp)
    base = kp[0] - kp[1]
    columns = list("abcdefgh"[:base]) + [g.split("=")[1].lower() for g in found.generators]
    assert rows(found.points) == rows(pydoe.fracfact(" ".join(columns)))


def test_own_generators():
    # e-Handbook 5.3.3.4.3: the other half, 3 = -12
    found = fraction(3, 1, ["C=-AB"])
    assert rows(found.points) == rows(pydoe.fracfact("a b -ab"))
    assert found.generators == ("C=-AB",)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ((1, 1), "factors is 1: must be 2 to 10 for a fraction."),
        ((3, 2), "halvings is 2: must be 1 to 1 with 3 factors."),
        (
            (4, 1, ["D=AX"]),
            "generators is 'D=AX': must set D to a product of A, B, C. For example D=ABC.",
        ),
        ((5, 2, ["D=AB"]), "generators is ['D=AB']: must be 2. For example D=ABC."),
    ],
)
def test_fraction_refuses(arguments, message):
    with pytest.raises(InputError) as refused:
        fraction(*arguments)
    assert str(refused.value) == message


def test_rotatable_distances():
    # e-Handbook 5.3.3.6.1, table 3.23
    assert [rotatable(k) for k in (2, 3, 4, 5)] == pytest.approx(
        [1.414, 1.682, 2.000, 2.378], abs=5e-4
    )


@pytest.mark.parametrize("k", [2, 3, 4])
def test_composite_as_pydoe_makes_it(k):
    oracle = pydoe.ccdesign(k, center=(0, 4), alpha="r", face="ccc")
    assert rows(composite(k, 4)) == rows(oracle)


def test_composite_is_rotatable():
    # Box & Hunter (1957): the precision of the fitted surface depends on the distance only
    points = composite(2, 4)
    x, z = points.T
    model = np.column_stack([np.ones(len(x)), x, z, x * z, x**2, z**2])
    inverse = np.linalg.inv(model.T @ model)

    def variance(angle):
        a, b = np.cos(angle), np.sin(angle)
        row = np.array([1, a, b, a * b, a * a, b * b])
        return row @ inverse @ row

    assert np.ptp([variance(t) for t in np.linspace(0, 6, 13)]) < 1e-12


def test_box_behnken_of_three():
    # e-Handbook 5.3.3.6.2, table 3.24: the runs of three factors, three in the middle
    table = """-1 -1 0  1 -1 0  -1 1 0  1 1 0  -1 0 -1  1 0 -1  -1 0 1  1 0 1
               0 -1 -1  0 1 -1  0 -1 1  0 1 1  0 0 0  0 0 0  0 0 0"""
    published = np.array(table.split(), dtype=float).reshape(15, 3)
    assert rows(box_behnken(3, 3)) == rows(published)


@pytest.mark.parametrize("k", [3, 4, 5])
def test_box_behnken_as_pydoe_makes_it(k):
    assert rows(box_behnken(k, 3)) == rows(pydoe.bbdesign(k, center=3))


@given(st.lists(st.integers(2, 5), min_size=1, max_size=4))
def test_full_factorials_are_balanced(levels):
    points = full(levels)
    assert len(set(map(tuple, points))) == len(points) == np.prod(levels)
    for i, j in itertools.combinations(range(len(levels)), 2):
        pairs = np.unique(points[:, [i, j]], axis=0, return_counts=True)[1]
        assert len(pairs) == levels[i] * levels[j]
        assert np.ptp(pairs) == 0


@given(st.sampled_from([(3, 1), (4, 1), (5, 1), (5, 2), (6, 2), (6, 3), (7, 3), (7, 4)]))
def test_fractions_are_orthogonal(kp):
    points = fraction(*kp).points
    assert np.array_equal(points.T @ points, len(points) * np.eye(kp[0]))


@pytest.mark.parametrize("make", [composite, box_behnken])
def test_curves_refuse_too_many(make):
    with pytest.raises(InputError, match=r"must be [23] to 5 for a"):
        make(6, 1)

"""Servings: balance of orders, codes that give nothing away, sheets without a setting."""

import re
from collections import Counter
from itertools import pairwise

import html5lib
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kit.errors import DataError, InputError, NotFoundError
from kit.formula import Formula
from kit.plan.paper.score_sheet import key_sheet, score_sheet
from kit.plan.serving import REFERENCE, codes_for, serve, williams

TWO = ["long retard", "short retard"]


@pytest.mark.parametrize(
    ("method", "orders"), [("triangle", 6), ("duo-trio", 4), ("pair", 2)]
)  # fmt: skip
def test_orders_of_two_come_out_even(method, orders):
    plan = serve(method, TWO, 2 * orders, seed=4)
    plates = plan.table.groupby("taster")["sample"].agg(tuple)
    assert set(Counter(plates).values()) == {2}
    assert plates.nunique() == orders
    assert plan.checks == ()
    odd = serve(method, TWO, 2 * orders + 1, seed=4)
    assert odd.checks[0].startswith(f"orders come out even with {3 * orders} plates")


def test_triangle_has_one_odd_and_duo_trio_its_reference():
    triangle = serve("triangle", TWO, 12, seed=2)
    for taster, rows in triangle.table.groupby("taster"):
        odd = rows[rows["code"] == triangle.right(taster)]
        assert (rows["sample"] == odd["sample"].iloc[0]).sum() == 1
    duo = serve("duo-trio", TWO, 8, seed=2)
    for taster, rows in duo.table.groupby("taster"):
        assert rows.iloc[0]["code"] == REFERENCE
        right = rows[rows["code"] == duo.right(taster)]
        assert right["sample"].iloc[0] == rows.iloc[0]["sample"]
    with pytest.raises(InputError, match="has no right answer"):
        serve("pair", TWO, 2).right("taster 1")


@pytest.mark.parametrize("count", [3, 4, 5, 6])
def test_many_samples_follow_williams(count):
    tasters = len(williams(count))
    plan = serve("scores", list("ABCDEF")[:count], tasters, seed=9)
    steps = Counter()
    for _, rows in plan.table.groupby("taster"):
        order = rows.sort_values("position")["sample"].tolist()
        assert sorted(order) == list("ABCDEF")[:count]
        steps.update(pairwise(order))
    assert set(steps.values()) == {2 if count % 2 else 1}
    assert len(steps) == count * (count - 1)


def test_hidden_duplicate():
    plan = serve("scores", ["A", "B", "C"], 8, seed=1, duplicate="B")
    for _, rows in plan.table.groupby("taster"):
        assert Counter(rows["sample"]) == {"A": 1, "B": 2, "C": 1}
        assert rows["code"].is_unique
    assert serve("scores", ["A", "B"], 6, duplicate=True).duplicate == "A"
    with pytest.raises(InputError, match="is for scores only"):
        serve("triangle", TWO, 6, duplicate=True)


@settings(max_examples=40)
@given(
    st.integers(0, 10_000), st.integers(1, 60), st.sampled_from(["triangle", "pair", "duo-trio"])
)
def test_codes_give_nothing_away(seed, tasters, method):
    plan = serve(method, TWO, tasters, seed=seed)
    codes = [c for c in plan.table["code"] if c != REFERENCE]
    assert len(set(codes)) == len(codes)
    for code in codes:
        assert re.fullmatch(r"[1-9]\d\d", code)
        assert len(set(code)) == 3  # no 111, no 474
        assert not set(code) <= set("01689")  # none that reads otherwise upside down
    for _, rows in plan.table[plan.table["code"] != REFERENCE].groupby("taster"):
        own = rows["code"].tolist()
        for i, one in enumerate(own):
            for other in own[:i]:
                assert set(one) != set(other)
                assert sum(a != b for a, b in zip(one, other, strict=True)) >= 2
    again = serve(method, TWO, tasters, seed=seed)
    assert again.table.equals(plan.table)


def test_codes_do_not_follow_the_sample():
    """Mean code of either sample over many servings; chance of false failure below 1e-3."""
    means = {name: [] for name in TWO}
    for seed in range(60):
        table = serve("pair", TWO, 6, seed=seed).table
        for name in TWO:
            means[name] += table.loc[table["sample"] == name, "code"].astype(int).tolist()
    gap = np.mean(means[TWO[0]]) - np.mean(means[TWO[1]])
    assert abs(gap) < 3.3 * 260 * np.sqrt(2 / 360)


def test_taken_codes_and_too_many():
    free = codes_for([3] * 20, np.random.default_rng(1), taken={"123", "457"})
    assert not {"123", "457"} & {code for plate in free for code in plate}
    with pytest.raises(DataError) as caught:
        serve("scores", list("ABCDEF"), 150)
    assert str(caught.value) == (
        "900 muffins need more codes than the 600 there are: split it into two tastings."
    )


@pytest.mark.parametrize(
    ("call", "error", "said"),
    [
        (lambda: serve("square", TWO, 6), NotFoundError, "no kind of tasting 'square'"),
        (lambda: serve("pair", ["A"], 6), InputError, "must be two for a pair. Rank or score"),
        (lambda: serve("pair", ["A", "A"], 6), InputError, "must each have a name of its own"),
        (lambda: serve("pair", TWO, ["Ida", "Ida"]), InputError, "Two of one name: add an"),
        (lambda: serve("pair", TWO, 0), InputError, "must be a whole number from 1 to 200"),
        (lambda: serve("pair", TWO, 2, tries=0), InputError, "must be a whole number from 1"),
        (lambda: serve("pair", TWO, 2, tries=1.5), InputError, "must be a whole number from 1"),
        (
            lambda: serve("scores", list("ABCDEF"), 6, duplicate=True), InputError,
            "samples is 7: must be at most 6 on one plate. The tongue tires",
        ),
    ],
)  # fmt: skip
def test_what_cannot_be_served(call, error, said):
    with pytest.raises(error) as caught:
        call()
    assert said in str(caught.value)


def sheet(method, **more):
    names = TWO if method in ("triangle", "duo-trio", "pair") else [*TWO, "no retard"]
    plan = serve(method, names, ["Ida", "Jon <J>"], seed=3)
    return plan, score_sheet(plan, title="Thursday tasting", **more)


@pytest.mark.parametrize("method", ["triangle", "duo-trio", "pair", "ranking", "scores"])
def test_score_sheet_is_whole_and_blind(method):
    plan, html = sheet(method)
    html5lib.HTMLParser(strict=True).parse(html)
    assert "http" not in html.replace("http-equiv", "")
    assert "<script" not in html
    for name in plan.samples:
        assert name not in html
    for code in plan.table["code"]:
        assert f">{code}<" in html or code == REFERENCE
    assert "wheat" in html
    assert "egg" in html
    assert "sip of water" in html
    assert "Jon &lt;J&gt;" in html
    assert html.count('<section class="page">') == 2
    boxes = {"triangle": 6, "pair": 4, "duo-trio": 4}.get(method)
    if boxes:
        assert html.count('<span class="tick">') == boxes
    if method == "scores":
        assert html.count("<td><span></span></td>") == 2 * 3 * 9


def test_sheet_of_a_formula_names_its_allergens():
    formula = Formula.from_lines("Oat", [("bread flour", "flour", 100), ("oat milk", "liquid", 70)])
    html = sheet("pair", formula=formula)[1]
    assert "Contains wheat and oats (gluten)." in html
    assert "barley" not in html
    # milk holds no gluten, and must not read as if it did
    lines = [("bread flour", "flour", 100), ("diastatic malt", "malt", 1), ("milk", "liquid", 70)]
    html = sheet("pair", formula=Formula.from_lines("Milk", lines))[1]
    assert "Contains wheat and barley (gluten) and milk." in html


def test_sheet_refuses_to_name_a_sample():
    plan = serve("pair", TWO, 2)
    with pytest.raises(InputError) as caught:
        score_sheet(plan, title="Long retard or not")
    assert str(caught.value) == (
        "title is 'Long retard or not': names long retard, which tasters must not know. Say it "
        "otherwise."
    )
    with pytest.raises(InputError, match="paper is 'A5': must be A4 or Letter"):
        score_sheet(plan, paper="A5")
    assert "size: Letter portrait" in score_sheet(plan, paper="Letter")


def test_key_stands_apart():
    plan = serve("triangle", TWO, ["Ida", "Jon"], seed=3)
    html = key_sheet(plan)
    html5lib.HTMLParser(strict=True).parse(html)
    assert "Keep it from the tasters" in html
    told = re.findall(r"<td><b>(\d{3})</b>([^<]+)</td>", html)
    assert told == list(zip(plan.table["code"], plan.table["sample"], strict=True))


def test_shown_a_serving_gives_nothing_away():
    plan = serve("triangle", TWO, ["Ida", "Jon"], seed=3)
    shown = " ".join(
        [repr(plan), str(plan), plan._repr_html_(), plan.plates().to_string()]
        + [text.get_text() for text in plan.plot().texts]
    )
    assert "retard" not in shown
    assert "sample" not in plan.plates()


def test_numbers_of_numpy_count_people_and_plates():
    plan = serve("triangle", TWO, np.int64(3), seed=3, tries=np.int64(2))
    assert plan.table.equals(serve("triangle", TWO, 3, seed=3, tries=2).table)

"""What is handed on: schema.org Recipe, the card, allergens."""

import json
import re
import shutil
import subprocess
from html import escape

import html5lib
import pytest
from hypothesis import given
from hypothesis import strategies as st
from sample_formulas import harbour

from kit import formula as kf
from kit.errors import InputError
from kit.formula.allergens import allergen_sentences
from kit.formula.card import duration, ounces, safe_json

STEPS = ("Mix <well> & rest.", "Bake 6 minutes a side.")
BATCH = kf.scale(harbour(), pieces=6, raw_piece_g=76, bake_loss_percent=11)


def test_recipe():
    recipe = json.loads(
        kf.to_jsonld(
            BATCH,
            steps=STEPS,
            prep_minutes=40,
            wait_minutes=16 * 60 + 50,
            cook_minutes=25,
            author="Harbour café",
        )
    )
    assert recipe == {
        "@context": "https://schema.org",
        "@type": "Recipe",
        "name": "Harbour griddle muffin (invented)",
        "description": harbour().note,
        "author": {"@type": "Person", "name": "Harbour café"},
        "recipeYield": "6 pieces",
        "recipeIngredient": [
            "248 g bread flour",
            "139 g water",
            "49.6 g whole milk",
            "4.5 g salt",
            "1 g instant dry yeast",
            "2 g diastatic malt, as the trial says",
            "7.4 g rapeseed oil",
            "5 g honey",
        ],
        "recipeInstructions": [
            {"@type": "HowToStep", "text": "Mix <well> & rest."},
            {"@type": "HowToStep", "text": "Bake 6 minutes a side."},
        ],
        "prepTime": "PT40M",
        "cookTime": "PT25M",
        "totalTime": "PT17H55M",
    }


def test_total_time_is_left_out_where_a_part_is_not_known():
    recipe = json.loads(kf.to_jsonld(BATCH, cook_minutes=25))
    assert "totalTime" not in recipe
    assert "prepTime" not in recipe
    assert recipe["cookTime"] == "PT25M"


@given(st.integers(0, 10_000))
def test_durations_read_back(minutes):
    match = re.fullmatch(r"PT(?:(\d+)H)?(?:(\d+)M)?", duration(minutes))
    assert int(match[1] or 0) * 60 + int(match[2] or 0) == minutes


@given(st.text())
def test_json_is_safe_inside_a_page(text):
    written = safe_json({"text": text})
    assert not set(written) & set("<>&\u2028\u2029")
    assert json.loads(written) == {"text": text}


def test_open_formula_is_not_shared():
    with pytest.raises(InputError) as caught:
        kf.to_jsonld(kf.scale(harbour(None), flour_g=250))
    assert str(caught.value) == (
        "percent is None (diastatic malt): must not be empty. Set it before sharing: "
        "formula.with_setting('malt_percent', 0.8)."
    )
    with pytest.raises(InputError) as late:
        kf.to_jsonld(BATCH, prep_minutes=-5)
    assert str(late.value) == "prep_minutes is -5: must be at least 0. Enter minutes."


def test_card_is_one_valid_page():
    page = kf.card(BATCH, steps=STEPS, prep_minutes=40, wait_minutes=1010, cook_minutes=25)
    tree = html5lib.HTMLParser(strict=True, namespaceHTMLElements=False).parse(page)
    rows = [["".join(cell.itertext()) for cell in row] for row in tree.iterfind(".//table//tr")]
    assert rows[0] == ["Ingredient", "% of flour", "Metric", "Ounces"]
    assert rows[1] == ["bread flour", "100", "248 g", "8.75 oz"]
    assert rows[5] == ["instant dry yeast", "0.4", "1 g", "0.035 oz"]
    assert rows[-1] == ["In all", "184", "456.5 g", "1 lb 0.1 oz"]
    text = " ".join("".join(tree.find("body").itertext()).split())
    assert "Hands at work: 40 min; Waiting: 16 h 50 min; Griddle: 25 min." in text
    assert "Mix <well> & rest." in text
    assert "Do not taste dough" in text
    assert "5 °C (41 °F) or colder" in text  # milk
    assert "local food code" in text
    embedded = tree.find(".//script[@type='application/ld+json']").text
    assert json.loads(embedded)["recipeYield"] == "6 pieces"
    outside = re.sub(r"<script.*?</script>", "", page, flags=re.S)
    assert "http" not in outside
    assert "src=" not in page


@given(st.text(min_size=1, max_size=30).filter(lambda text: text.strip()))
def test_card_escapes_what_was_typed(text):
    made = kf.Formula.from_lines(text, [(f"{text} flour", "flour", 100)], note=text)
    page = kf.card(kf.scale(made, flour_g=100), steps=[text], author=text)
    for tag in re.findall(r"<\w+", text):
        assert page.count(tag) == kf.card(
            kf.scale(kf.Formula.from_lines("x", [("flour", "flour", 100)], note="x"), flour_g=100),
            steps=["x"],
            author="x",
        ).count(tag)


def test_a_card_says_how_long_it_takes():
    page = kf.card(BATCH, prep_minutes=0, wait_minutes=60, cook_minutes=61)
    assert "Hands at work: 0 min; Waiting: 1 h; Griddle: 1 h 1 min." in page
    assert "500 g of flour." in kf.card(kf.scale(harbour(), flour_g=500))


def test_only_a_dough_of_milk_or_egg_is_cautioned_of_standing_warm():
    def page(*more):
        made = kf.Formula.from_lines("x", [("flour", "flour", 100), *more])
        return kf.card(kf.scale(made, flour_g=500))

    assert "stands warm" in page(("eggs", "egg", 20))
    assert "stands warm" not in page()


@pytest.mark.parametrize(
    ("name", "role", "expected"),
    [
        ("bread flour", "flour", ["wheat"]),
        ("spelt flour", "flour", ["wheat"]),
        ("rye flour", "flour", ["rye"]),
        ("rice flour", "flour", []),
        ("buckwheat flour", "flour", []),
        ("gluten-free flour", "flour", []),
        ("diastatic malt", "malt", ["barley"]),
        ("wheat malt", "malt", ["wheat"]),
        ("whole milk", "liquid", ["milk"]),
        ("buttermilk", "liquid", ["milk"]),
        ("oat milk", "liquid", ["oats"]),
        ("soy milk", "liquid", ["soy"]),
        ("coconut milk", "liquid", []),
        ("almond milk", "liquid", ["tree nuts"]),
        ("butter", "fat", ["milk"]),
        ("cocoa butter", "fat", []),
        ("peanut butter", "fat", ["peanut"]),
        ("eggs", "egg", ["egg"]),
        ("hen", "egg", ["egg"]),
        ("sesame seeds", "other", ["sesame"]),
        ("rapeseed oil", "fat", []),
        ("cream of tartar", "other", []),
        ("eggplant", "other", []),
    ],
)
def test_allergens_by_name(name, role, expected):
    lines = [(name, role, 100 if role == "flour" else 2)]
    if role != "flour":
        lines.append(("rice flour", "flour", 100))
    found = [one.name for one in kf.allergens(kf.Formula.from_lines("x", lines))]
    assert found == expected


def test_allergens_in_words():
    assert allergen_sentences(harbour()) == (
        "Contains wheat (bread flour), barley (diastatic malt) and milk (whole milk).",
        "Barley is on the European list, not on the American one; gluten comes with barley as with "
        "wheat.",
        "Taken from the ingredients' names: their labels decide. Traces, and whether and how to "
        "print “may contain”, are for your local food law to say.",
    )
    assert [one.name for one in kf.allergens(harbour(0.0))] == ["wheat", "milk"]


def test_ounces():
    # 1 oz = 28.349523125 g exactly
    assert [ounces(g) for g in (0, 2, 28.349523125, 453.59237, 500, 453.5)] == [
        "0 oz", "0.071 oz", "1 oz", "1 lb", "1 lb 1.64 oz", "1 lb",
    ]  # fmt: skip


@pytest.mark.parametrize("width", [320, 400])
@pytest.mark.skipif(shutil.which("chromium") is None, reason="chromium is not installed")
def test_ounces_are_seen_on_a_telephone(tmp_path, width):
    """The table is no wider than the screen: its last column was cut off at 400 px."""
    made = kf.card(kf.scale(harbour(0.6), pieces=6, raw_piece_g=76))
    tell = (
        "const wide = document.querySelector('iframe').contentDocument.querySelector('.wide');"
        "document.title = `wide ${wide.clientWidth} holds ${wide.scrollWidth}`"
    )
    page = tmp_path / "page.html"  # in a frame: chromium's own window is never so narrow
    page.write_text(
        f'<iframe width="{width}" onload="{escape(tell)}" srcdoc="{escape(made)}"></iframe>',
        "utf-8",
    )
    words = ["chromium", "--headless", "--no-sandbox", "--disable-gpu", "--dump-dom"]
    words += [f"--user-data-dir={tmp_path / 'own'}", page.as_uri()]
    seen = subprocess.run(words, capture_output=True, text=True, check=True).stdout
    sizes = re.search(r"<title>wide (\d+) holds (\d+)", seen)
    assert 0.8 * width < int(sizes[1]) < width
    assert int(sizes[2]) == int(sizes[1])

"""A trial handed on as one file: the page, the page with all its data, or the recipe."""

import json
import zipfile

import frictionless
import html5lib
import pandas as pd
import pytest

from kit import shipped
from kit.errors import DataError, InputError, KitError
from kit.workspace import Workspace


@pytest.fixture
def trial(tmp_path):
    with Workspace(tmp_path / "bakes") as ws:
        shipped.load_demo(ws)
        yield ws.trial("harbour-malt")


def test_a_writeup_as_zip_is_the_page_with_all_its_data(trial, tmp_path):
    path = trial.writeup(str(tmp_path / "malt.ZIP"))
    with zipfile.ZipFile(path) as zipped:
        page = zipped.read("page.html").decode()
        assert "stands in `page.html`" in zipped.read("README.md").decode()
        zipped.extractall(tmp_path / "open")
    html5lib.HTMLParser(strict=True).parse(page)
    alone = trial.writeup(tmp_path / "malt.html").read_text()
    assert page == alone
    # frictionless is the reference for data packages: the page must not spoil the description
    assert frictionless.validate(tmp_path / "open" / "datapackage.json").valid


def test_a_writeup_as_zip_is_received_like_a_package(trial, tmp_path):
    path = trial.writeup(tmp_path / "malt.zip")
    with Workspace(tmp_path / "theirs") as theirs:
        pd.testing.assert_frame_equal(theirs.receive(path).frame(), trial.frame())


def test_a_package_alone_says_nothing_of_a_page(trial, tmp_path):
    with zipfile.ZipFile(trial.package(tmp_path / "malt.zip")) as zipped:
        assert "page.html" not in zipped.namelist()
        assert "page.html" not in zipped.read("README.md").decode()


def test_an_answer_that_cannot_be_given_leaves_no_file(trial, tmp_path):
    with pytest.raises(InputError, match="outcome is None"):
        trial.workspace.new_trial("empty").writeup(tmp_path / "empty.zip")
    assert not (tmp_path / "empty.zip").exists()


def test_the_recipe_at_one_setting_is_a_page_that_search_engines_read(trial, tmp_path):
    path = trial.recipe(
        tmp_path / "malt.html", 6, "76 g", {"Diastatic malt": "0,6 %"}, steps=["Mix."]
    )
    tree = html5lib.parse(path.read_text(), namespaceHTMLElements=False)
    told = json.loads(tree.find(".//script").text)
    assert told["name"] == "Harbour griddle muffin (invented)"
    assert told["author"]["name"] == trial.baker
    assert told["recipeYield"] == "6 pieces"
    # 6 x 76 g of a dough that is 183.8 % of its flour: 248.1 g of flour
    assert told["recipeIngredient"][0] == "248 g bread flour"
    assert told["recipeIngredient"][5] == "1.5 g diastatic malt"
    assert told["recipeInstructions"] == [{"@type": "HowToStep", "text": "Mix."}]
    assert told["description"].startswith("Invented data. ")
    assert path.read_text().count("Invented data. ") == 2  # and where people read it


@pytest.mark.parametrize(
    ("settings", "said"),
    [
        ({}, "malt_percent is None: must be one that was baked, or between those. Baked were "
             "0.00 %, 0.40 %, 0.80 %, 1.20 %."),
        ({"malt_percent": "1,3"}, "malt_percent is '1,3': must be one that was baked, or between "
                                  "those. Baked were 0.00 %, 0.40 %, 0.80 %, 1.20 %."),
        ({"malt_percent": 0.6, "retard_hours": 24}, "no part of the recipe that the trial changes "
                                                    "'retard_hours'. There are: 'malt_percent'."),
        ({"malt_percent": 0.6, "Diastatic malt": 0.8}, "malt_percent is 0.8: is said twice. Leave "
                                                       "out this or 0.6."),
    ],
)  # fmt: skip
def test_a_recipe_tells_no_dose_that_was_never_baked(trial, tmp_path, settings, said):
    with pytest.raises(KitError) as caught:
        trial.recipe(tmp_path / "malt.html", 6, 76, settings)
    assert str(caught.value) == said
    assert not (tmp_path / "malt.html").exists()


def test_a_dose_may_be_typed_as_it_is_told(trial, tmp_path):
    nine = trial.workspace.new_trial("nine", factors={"malt_percent": [0.1 + 0.2, 1.256]})
    nine.set_formula("Muffin", [("flour", "flour", 100), ("malt", "malt", None)])
    for typed in ("0.3", "1.26"):
        assert nine.recipe(tmp_path / "nine.html", 6, 76, {"malt_percent": typed}).exists()


@pytest.mark.parametrize(
    ("settings", "more", "said"),
    [
        (["malt"], {}, "settings is ['malt']: must be settings by name. Write "
                       '{"malt_percent": 0.8}.'),
        ({"malt_percent": 0.6}, {"wibble": 3}, "no part of a recipe page 'wibble'. There are: "
         "'steps', 'prep_minutes', 'wait_minutes', 'cook_minutes', 'author'."),
        ({"malt_percent": 0.6}, {"steps": "Mix."}, "steps is 'Mix.': must be a list of texts, a "
         'step each. Write ["Mix.", "Bake."].'),
        ({"malt_percent": 0.6}, {"steps": [1]}, "steps is [1]: must be a list of texts, a step "
         'each. Write ["Mix.", "Bake."].'),
        ({"malt_percent": 0.6}, {"steps": 5}, "steps is 5: must be a list of texts, a step each. "
         'Write ["Mix.", "Bake."].'),
        ({"malt_percent": 0.6}, {"author": 3}, "author is 3: must be a text. Leave it out where "
         "none is told."),
    ],
)  # fmt: skip
def test_what_is_given_to_a_recipe_is_looked_at(trial, tmp_path, settings, more, said):
    with pytest.raises(KitError) as caught:
        trial.recipe(tmp_path / "malt.html", 6, 76, settings, **more)
    assert str(caught.value) == said
    assert not (tmp_path / "malt.html").exists()


def test_each_setting_has_a_page_of_its_own_however_it_is_typed(trial):
    name = trial.recipe_name
    same = {name({said: dose}) for said in ("malt_percent", "Diastatic malt")
            for dose in (0.6, "0.60", "0,6 %")}  # fmt: skip
    assert same == {"harbour-malt-recipe-0.6.html"}
    assert name({"malt_percent": "1/2"}) != name({"malt_percent": "1 2"})
    two = trial.workspace.new_trial("two", factors={"salt_percent": [1, 2], "malt_percent": [1, 2]})
    told = two.recipe_name({"malt_percent": 1, "salt_percent": 2, "honey": 3})
    assert told == "two-recipe-salt_percent-2-malt_percent-1-honey-3.html"
    assert told == two.recipe_name({"honey": 3, "salt_percent": 2, "malt_percent": 1})
    assert told != two.recipe_name({"malt_percent": 2, "salt_percent": 1, "honey": 3})


def test_a_recipe_is_a_page_of_a_formula(trial, tmp_path):
    with pytest.raises(InputError, match="raw_piece_g is '': must not be empty"):
        trial.recipe(tmp_path / "malt.html", 6, "", {"malt_percent": 0.6})
    with pytest.raises(InputError, match=r"must end in \.html"):
        trial.recipe(tmp_path / "malt.pdf", 6, 76, {"malt_percent": 0.6})
    with pytest.raises(DataError, match="empty has no formula"):
        trial.workspace.new_trial("empty").recipe(tmp_path / "malt.html", 6, 76)

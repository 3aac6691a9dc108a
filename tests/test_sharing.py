"""A trial handed on as one file: the page, or the page with all its data."""

import zipfile

import frictionless
import html5lib
import pandas as pd
import pytest

from kit import shipped
from kit.errors import InputError
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

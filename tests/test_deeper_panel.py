"""The deeper panel without a browser: every question gets an answer, a picture, or a reason."""

import re

import pytest

from kit import panels
from kit.panels.deeper import _QUESTIONS


@pytest.fixture(scope="module")
def ws(tmp_path_factory):
    made = panels.open_workspace(tmp_path_factory.mktemp("deeper") / "bakes")
    yield made
    made.close()


@pytest.fixture
def panel(ws):
    made = panels.deeper(ws)
    made.trial.value = "harbour-malt"
    return made


def words(widget):
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", widget.value)).strip()


@pytest.mark.parametrize("question", [q.verb for q in _QUESTIONS])
def test_every_question_gets_an_answer_with_its_picture(panel, question):
    panel.question.value = question
    # a button that is disabled while it works loses the keyboard
    lost = []
    panel.ask.observe(lambda change: lost.append(change["new"]), "disabled")
    panel.ask.click()
    assert lost == []
    assert panel.answer is not None, words(panel.shown)
    shown = words(panel.shown)
    lead = str(panel.answer).split("\n")[0]
    assert re.sub(r"\s+", " ", lead) in shown.replace("&#x27;", "'").replace("&gt;", ">")
    assert "Invented data" in shown
    assert "<svg" in panel.shown.value
    assert panel.called.startswith(f"print(ws.trial('harbour-malt').{question}(")


def test_many_sentences_stand_below_their_picture(panel):
    panel.question.value = "overview"
    panel.ask.click()
    shown = panel.shown.value
    assert shown.index('class="kit-lead"') < shown.index("<svg") < shown.index("<li>")
    # in short before it, which is all that is read out
    read_out = re.search(r'<div role="status">(.*?)</div>', shown)[1]
    found = panel.answer.table["verdict"].value_counts()
    assert found.to_dict() == {
        "cannot tell": 13, "a difference": 11, "does not": 2, "matters": 1
    }  # fmt: skip
    told = re.sub("<[^>]+>", " ", read_out).split()
    assert " ".join(told) == (
        "Does it matter if…? Of 27 effects asked about, 1 matters (diastatic malt for height), "
        "2 do not, 13 cannot be told yet and 11 make a difference (how much matters was not said)."
    )
    panel.question.value = "dose"
    panel.ask.click()
    shown = panel.shown.value
    first = panel.answer.tells().sentences[0].split()[0]
    assert shown.index('class="kit-lead"') < shown.index(f"<p>{first}") < shown.index("<svg")


def test_fields_follow_the_question(panel):
    panel.question.value = "dose"
    assert panel.factor.layout.display is None
    assert panel.factor.value == "malt_percent"  # never an empty field that means the first
    panel.question.value = "steadiness"
    assert panel.factor.layout.display == "none"
    assert panel.question.layout.display is None  # and no other field with it
    assert panel.outcome.layout.display is None
    panel.question.value = "overview"
    assert panel.outcome.layout.display == "none"
    assert panel.shown.value == ""  # no answer stands under another question
    panel.question.value = "steadiness"
    panel.ask.click()
    assert panel.shown.value != ""
    panel.outcome.value = "diameter_mm"
    assert (panel.answer, panel.shown.value) == (None, "")  # nor under another outcome


def test_what_cannot_be_answered_says_why(ws, panel):
    bare = ws.new_trial("bare", factors={"malt_percent": [0, 1]}, outcome="rise_height_mm")
    try:
        dough = bare.add_dough(bare.add_bake("2026-11-26"))
        bare.record(dough, "malt_percent", 1)
        bare.record(bare.add_piece(dough), "rise_height_mm", 30)
        made = panels.deeper(ws)
        made.trial.value = "bare"
        for question in ("dose", "steadiness", "griddle_map"):
            made.question.value = question
            made.ask.click()
            assert made.answer is None
            assert words(made.shown).startswith("Not yet:")
            assert "_" not in words(made.shown)  # quantities are called as a baker calls them
        made.question.value = "surface"
        made.ask.click()
        assert "bare changed only 1 thing on purpose, and this asks about two." in words(made.shown)
    finally:
        ws.remove_trial("bare")

"""From records to an answer and a page: what `Trial` and `Workspace` add to `kit.compare`."""

import re
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import kit
from kit.analysis.verdict import Answer
from kit.errors import DataError, InputError, NotFoundError

DEMO = Path(__file__).parents[1] / "datasets" / "demo" / "pieces.csv"


@pytest.fixture
def workspace(tmp_path):
    with kit.Workspace(tmp_path / "bakes") as ws:
        trial = ws.new_trial(
            "harbour",
            question="Does <malt> matter?",
            factors={"malt_percent": [0, 0.4, 0.8, 1.2], "retard_hours": [16, 40]},
            outcome="rise_height_mm",
            matters=2.0,
            invented=True,
            baker="A & B",
        )
        trial.import_csv(DEMO)
        trial.event("warm room", "window <shut>", on=trial.bake("4"))
        yield ws


def test_trial_fills_in_what_it_knows(workspace):
    trial = workspace.trial("harbour")
    answer = trial.compare()
    frame = trial.frame()
    same = kit.compare(
        frame, "rise_height_mm", "malt_percent", dough="dough", bake="bake", load="load",
        matters=2.0, adjust=["retard_hours"],
    )  # fmt: skip
    pd.testing.assert_frame_equal(answer.differences, same.differences)
    assert answer.adjusted == ("retard_hours",)
    assert answer.matters == 2.0
    assert answer.fit.groups == ("bake", "dough", "load")
    # what matters for height says nothing about another outcome
    assert trial.compare(outcome="browning_l").matters is None


def test_events_are_pointed_out_and_can_be_left_out(workspace):
    trial = workspace.trial("harbour")
    assert trial.compare().checks[-1] == (
        "without the 12 pieces of “warm room” the answer would be: cannot tell yet (with them: a "
        "difference that matters)"
    )
    without = trial.compare(leave_out=["warm room"])
    assert without.counts["dough"] == 18
    assert without.checks[-1] == "12 pieces left out because of: warm room"
    with pytest.raises(NotFoundError) as caught:
        trial.compare(leave_out=["flood"])
    assert str(caught.value) == "no event 'flood'. There are: 'warm room'."


def test_against_none_with_dunnett(workspace):
    answer = workspace.trial("harbour").compare(control=0.0)
    assert list(answer.differences["versus"]) == [0.0, 0.0, 0.0]
    pairs = workspace.trial("harbour").compare()
    assert answer.differences["high"].iloc[0] < pairs.differences["high"].iloc[0]
    assert answer.answer is Answer.MATTERS


def test_several_trials_in_one_regression(workspace):
    second = workspace.new_trial("again", outcome="rise_height_mm")
    second.import_csv(pd.read_csv(DEMO).assign(rise_height_mm=lambda f: f["rise_height_mm"] + 5))
    both = workspace.compare(["harbour", "again"], "rise_height_mm", "malt_percent", matters=2)
    assert both.counts == {"bake": 16, "dough": 40, "piece": 236}
    assert both.adjusted == ("trial",)
    line = workspace.compare(["harbour", "again"], "rise_height_mm", "malt_percent", line=True)
    assert line.kind == "line"


def test_page_of_a_trial(workspace, tmp_path):
    trial = workspace.trial("harbour")
    assert trial.report().question == trial.question
    assert trial.report(trial.compare(by="retard_hours")).question == ""  # not what was asked
    path = trial.writeup(tmp_path / "harbour.html")
    page = path.read_text(encoding="utf-8")
    assert "Invented data" in page
    assert "Does &lt;malt&gt; matter?" in page
    assert "window &lt;shut&gt;" in page
    assert "A &amp; B" in page
    words = re.sub(r"\s+", " ", re.sub(r"<[^>]+>", "", page))
    assert trial.compare().sentence in words


@pytest.mark.parametrize(
    ("arguments", "error", "message"),
    [
        ({"by": "salt_percent"}, DataError, "nothing is recorded for salt_percent in harbour. "),
        ({"matters": 0}, InputError, "matters is 0: must be above 0. "),
    ],
)
def test_questions_that_cannot_be_asked(workspace, arguments, error, message):
    with pytest.raises(error) as caught:
        workspace.trial("harbour").compare(**arguments)
    assert str(caught.value).startswith(message)


def test_trial_without_pieces_outcome_or_factor(workspace):
    empty = workspace.new_trial("empty", factors={"malt_percent": [0, 1]}, outcome="volume_ml")
    with pytest.raises(DataError) as caught:
        empty.compare()
    assert str(caught.value) == (
        "there are no pieces yet: nothing to compare. Record a bake first."
    )
    with pytest.raises(InputError) as caught:
        workspace.new_trial("plain").compare()
    assert str(caught.value) == (
        "outcome is None: is not set for this trial. Say which quantity answers it."
    )
    with pytest.raises(InputError) as caught:
        workspace.new_trial("bare", outcome="volume_ml").compare()
    assert str(caught.value) == (
        "by is None: is not set: the trial has no factor. Say what was set on purpose."
    )


def test_a_dough_chilled_nearly_as_long_as_meant_counts_as_meant(tmp_path):
    with kit.Workspace(tmp_path / "bakes", who="Ida") as ws:
        trial = ws.new_trial(
            "fridge", factors={"retard_hours": [24, 48]}, outcome="rise_height_mm", matters=2
        )
        rng = np.random.default_rng(4)
        for _ in range(3):
            bake = trial.add_bake("2026-01-08")
            for hours in (24, 48):
                dough = trial.add_dough(bake)
                trial.record(dough, "retard_hours", hours)
                for height in rng.normal(30 + hours / 24, 0.5, 4):
                    trial.record(trial.add_piece(dough), "rise_height_mm", float(height))
        meant = trial.compare()
        trial.record(dough, "retard_hours", 48 + 1 / 3)
        late = trial.compare()
        assert late.differences.equals(meant.differences)
        assert late.headline == meant.headline
        told = "cold retard was 48.33 h in dough 3B: counted as 48 h, as meant"
        assert told in late.checks
        assert told in trial.dose().checks
        assert (trial.frame()["retard_hours"] > 48).any()  # the records keep what was done
        assert late.unit == "dough"
        other = trial.add_dough(bake)
        trial.record(other, "retard_hours", 24)
        trial.record(trial.add_piece(other), "rise_height_mm", 31.0)
        assert trial.compare().unit == "mixing"

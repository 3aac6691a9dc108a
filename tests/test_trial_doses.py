"""What `Trial` adds to doses, surfaces and the overview: it fills in what it knows."""

import pytest

import kit
from kit.errors import DataError, InputError
from kit.shipped import load_demo


@pytest.fixture(scope="module")
def trial(tmp_path_factory):
    with kit.Workspace(tmp_path_factory.mktemp("bakes")) as ws:
        yield load_demo(ws)


def test_dose_fills_in_what_the_trial_knows(trial):
    answer = trial.dose()
    assert (answer.outcome, answer.of, answer.matters) == ("rise_height_mm", "malt_percent", 2.0)
    assert answer.adjusted == ("retard_hours", "side_minutes")
    assert answer.fit.groups == ("bake", "dough", "load")
    assert not any(note.startswith("also noted") for note in answer.checks)
    (event,) = [f for f in answer.examined.findings if f.subject == "events"]
    assert event.text.startswith("without the 12 pieces of “warm room” the answer stays")


def test_dose_without_some_pieces(trial):
    answer = trial.dose(shape="straight", leave_out=["warm room"])
    assert answer.counts["dough"] == 18
    assert answer.checks[-1] == "12 pieces left out because of: warm room"
    assert answer.shape == "straight"


def test_surface_takes_the_first_two_factors(trial):
    answer = trial.surface()
    assert answer.of == ("malt_percent", "retard_hours")
    assert answer.adjusted == ("side_minutes",)


def test_overview_asks_all_outcomes_of_pieces(trial):
    answer = trial.overview(outcomes=["browning_l", "rise_height_mm"])
    assert list(answer.table["outcome"].unique()) == ["rise_height_mm", "browning_l"]
    assert list(answer.table["factor"].unique()) == list(trial.factors)
    first = answer.table.iloc[0]
    assert (first["verdict"], first["matters"]) == ("matters", 2.0)
    assert answer.trade_offs == ()  # browning at 0.8 % is not surely darker than at 0 %


def test_questions_that_cannot_be_asked(trial):
    with pytest.raises(DataError) as caught:
        trial.dose(of="salt_percent")
    assert str(caught.value).startswith("nothing is recorded for salt_percent in harbour-malt. ")
    single = trial.workspace.new_trial("one factor", factors={"malt_percent": [0, 1]})
    with pytest.raises(InputError) as caught:
        single.surface("rise_height_mm")
    assert str(caught.value) == "of is None: is not set: the trial has fewer than two factors."


def test_what_was_planned_is_no_outcome(tmp_path):
    """Time a side was planned alike for all pieces, the raw piece weighed, the proof ratio read."""
    with kit.Workspace(tmp_path / "bakes") as ws:
        one = ws.new_trial(
            "planned", factors={"malt_percent": [0, 0.6]}, outcome="rise_height_mm", matters=2
        )
        plan = one.design(kit.Kitchen(bakes=2, doughs_per_bake=2, pieces_per_dough=3))
        bakes = one.keep(plan, "2026-12-03", same={"side_minutes": "5"})
        frame = one.frame()
        pieces = one.pieces()
        assert len(bakes) == 2
        assert len(pieces) == len(frame) == 12
        for number, piece in enumerate(pieces):
            one.record(piece, "rise_height_mm", 30 + number % 5 + 0.3 * number)
            one.record(piece, "ball_weight_g", 76)
            one.record(piece, "browning_l", 50 + number % 4)
        assert set(one.provenance()["side_minutes"]) == {"planned"}
        answer = one.overview()
        assert list(answer.table["outcome"]) == ["rise_height_mm", "browning_l"]
        assert "copied" not in str(answer)
        alike = "left out, because it is the same on every piece: raw piece at 76 g"
        assert alike in answer.checks
        # asked for by name it is answered all the same
        (why,) = one.overview(outcomes=["side_minutes"]).table["why"]
        assert why.startswith("the readings do not differ at all")

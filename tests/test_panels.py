"""The compare panel without a browser: what it offers, shows and says."""

import re
from itertools import cycle

import pytest

import kit
from kit import panels, shipped
from kit.analysis.verdict import Answer


@pytest.fixture
def panel(tmp_path):
    ws = panels.open_workspace(tmp_path / "bakes")
    yield panels.compare(ws)
    ws.close()


def words(panel):
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", panel.shown.value))


def test_alive_on_the_demo(panel):
    assert panel.trial.value == "harbour-malt"
    assert panel.outcome.value == "rise_height_mm"
    assert panel.factor.value == "malt_percent"
    assert panel.matters.value == "2"
    assert panel.matters.text.placeholder == "2, as the trial says"  # what an empty field means
    same = panel.workspace.trial("harbour-malt").compare()
    assert same.sentence in words(panel)
    assert "Invented data" in words(panel)
    assert "<svg" in panel.shown.value
    assert not panel.write.disabled


def test_what_matters_takes_any_unit(panel):
    panel.matters.value = "1/8 in"
    assert panel.answer.matters == pytest.approx(3.175)
    panel.matters.value = "1,5"
    assert panel.answer.matters == 1.5
    panel.matters.value = "0.5"  # less than any height could be, yet a difference
    assert panel.answer.matters == 0.5
    panel.matters.value = ""  # the trial's own
    assert panel.answer.matters == 2.0
    panel.outcome.value = "browning_l"
    assert panel.matters.value == ""
    assert panel.answer.matters is None
    panel.matters.value = "3"
    panel.outcome.value = "rise_height_mm"
    panel.outcome.value = "browning_l"  # nothing typed is lost
    assert panel.matters.value == "3"
    panel.matters.value = ""
    assert panel.matters.text.description == "What matters"


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("much", "what matters &#x27;much&#x27; is not a number."),
        ("-3", "what matters (mm) is &#x27;-3&#x27;: must be above 0."),
        ("2 oz", "oz measures mass, expected length"),
    ],
)
def test_nonsense_is_answered_beside_the_field_and_kept(panel, typed, said):
    panel.matters.value = typed
    assert said in panel.matters.said.value
    assert panel.matters.value == typed
    assert panel.write.disabled
    panel.matters.value = "2"
    assert panel.matters.said.value == ""
    assert panel.answer.answer is Answer.MATTERS


def test_other_factor_control_line_and_events(panel):
    panel.factor.value = "side_minutes"
    assert panel.answer.unit == "piece"
    panel.factor.value = "malt_percent"
    panel.control.value = 0
    assert panel.answer.control == 0
    panel.line.value = True
    assert panel.answer.kind == "line"
    assert panel.control.disabled
    assert "The line is the straight line that fits best" in words(panel)
    panel.line.value = False
    for box in panel.without.children:
        box.value = True
    assert panel.answer.counts["dough"] == 18
    for box in panel.alike.children:
        box.value = False
    assert panel.answer.adjusted == ()


def test_page_is_written_and_trouble_is_said(panel, tmp_path, monkeypatch):
    panel._write_page()
    assert "Written: " in panel.written.value
    assert (tmp_path / "bakes" / "harbour-malt.html").exists()
    # another factor first: the same page, which still answers the first one
    panel.factor.value = "side_minutes"
    panel._write_page()
    assert re.sub(r"<[^>]+>", "", panel.written.value).endswith(
        "harbour-malt.html, with time a side, diastatic malt and cold retard, each in its own "
        "section. It takes the place of the page written before."
    )
    page = (tmp_path / "bakes" / "harbour-malt.html").read_text(encoding="utf-8")
    page = page.replace("\N{NO-BREAK SPACE}", " ")
    assert page.count("<svg") == 3
    assert panel.workspace.trial("harbour-malt").compare().sentence in page
    panel.outcome.value = "browning_l"  # another outcome is another page
    panel._write_page()
    assert "It takes the place" not in panel.written.value
    assert (tmp_path / "bakes" / "harbour-malt-browning_l.html").exists()

    def full(*_):
        raise kit.errors.StoreError("harbour-malt.html was not written: the disk is full.")

    monkeypatch.setattr(kit.Trial, "writeup", full)
    panel._write_page()
    assert "the disk is full" in panel.written.value


def test_the_same_by_a_plain_call(panel):
    panel.factor.value = "retard_hours"
    trial = panel.workspace.trial("harbour-malt")
    assert trial.compare(**panel.asked).sentence == panel.answer.sentence
    assert "adjust=[&#x27;malt_percent&#x27;, &#x27;side_minutes&#x27;]" in panel.shown.value


def test_trials_that_cannot_answer_say_why(tmp_path):
    with kit.Workspace(tmp_path / "bakes") as ws:
        nothing = panels.compare(ws)
        assert "There is no trial in this folder yet." in nothing.shown.value
        trial = ws.new_trial("salt/2", question="<b>salt?</b>")
        assert "outcome is None: is not set" in panels.compare(ws).shown.value
        trial.bring_in(trial.look_at(shipped.demo_folder() / "pieces.csv"))
        assert "by is None: is not set: the trial has no factor" in panels.compare(ws).shown.value
        trial.change(factors={"malt_percent": [0, 0.4, 0.8, 1.2]}, outcome="rise_height_mm")
        panel = panels.compare(ws)
        assert "&lt;b&gt;salt?" in panel.shown.value
        assert "Invented" not in panel.shown.value
        panel._write_page()
        assert (tmp_path / "bakes" / "salt-2.html").exists()


def test_one_bake_of_two_doughs_shows_its_means_beside_the_refusal(tmp_path):
    with kit.Workspace(tmp_path / "bakes") as ws:
        trial = ws.new_trial(
            "two", factors={"malt_percent": [0, 0.6]}, outcome="rise_height_mm", matters=2
        )
        bake = trial.add_bake("2026-11-05")
        for malt, heights in ((0, (29, 30, 29.5)), (0.6, (34, 35, 34.5))):
            dough = trial.add_dough(bake)
            trial.record(dough, "malt_percent", malt)
            for height in heights:
                trial.record(trial.add_piece(dough), "rise_height_mm", height)
        panel = panels.compare(ws)
        again = (
            "Next: bake the same settings again on another day, and do that at least twice. Before "
            "that nothing can be told apart."
        )
        means = (
            "So far mean height came to 29.5 mm with diastatic malt at 0 % (dough 1A, 3 pieces) "
            "and 34.5 mm with diastatic malt at 0.6 % (dough 1B, 3 pieces)."
        )
        shown = words(panel)
        assert panel.answer is None
        assert panel.write.disabled
        assert "no number of pieces can tell the setting from the dough." in shown  # not softened
        assert again in shown
        assert means in shown
        assert panel.shown.value.count("<svg") == 1
        assert "0.6 % 1 1B 3 34.5 mm" in shown
        deeper = panels.deeper(ws)
        deeper.question.value = "next"
        deeper.ask.click()
        told = words(deeper)
        assert "no number of pieces can tell the setting from the dough." in told
        assert again in told
        assert means in told
        trial.event("torn", on=trial.piece("1A1"))  # 29: those left are shown without it
        panel._show_trial()
        next(box for box in panel.without.children if box.name == "torn").value = True
        assert "came to 29.8 mm with diastatic malt at 0 % (dough 1A, 2 pieces)" in words(panel)
        trial.change(factors={"salt_percent": [1, 2]})  # nothing was recorded for it
        assert "<svg" not in panels.compare(ws).shown.value


def test_every_control_has_a_label(panel):
    for control in (panel.trial, panel.outcome, panel.factor, panel.matters.text, panel.control):
        assert control.description
    for box in (*panel.alike.children, *panel.without.children, panel.line):
        assert box.description


def test_workspace_named_by_the_environment(tmp_path, monkeypatch):
    monkeypatch.setenv("KIT_FOLDER", str(tmp_path / "named"))
    with panels.open_workspace() as ws:
        assert ws.folder == tmp_path / "named"
    monkeypatch.delenv("KIT_FOLDER")
    monkeypatch.chdir(tmp_path / "named")
    with panels.open_workspace() as ws:
        assert ws.folder == tmp_path / "named"


def own_trial(ws, name="salt"):
    """A trial of the baker's own with pieces turned at two times, and one planned after it."""
    trial = ws.new_trial(
        name, "Does salt matter?", {"salt_percent": [1, 2], "retard_hours": [24, 48]},
        outcome="rise_height_mm", matters=2,
    )  # fmt: skip
    own = cycle((0.1, -0.2, 0.0, 0.2, -0.1))  # no piece is quite like another
    for day in range(3):
        bake = trial.add_bake(f"2026-06-{18 + day}")
        for salt, retard in ((1, 24), (2, 48), (1, 48), (2, 24)):
            dough = trial.add_dough(bake)
            trial.record(dough, "salt_percent", salt)
            trial.record(dough, "retard_hours", retard)
            for side in (5, 6):
                piece = trial.add_piece(dough)
                trial.record(piece, "side_minutes", side)
                height = 28 + salt + 0.2 * side + 0.3 * day + next(own)
                trial.record(piece, "rise_height_mm", height)
    ws.new_trial("next", "And then?", {"salt_percent": [1, 2]}, outcome="rise_height_mm")
    return trial


def test_the_panels_open_on_one_s_own_newest_trial_that_can_be_answered(tmp_path):
    ws = panels.open_workspace(tmp_path / "bakes")
    own_trial(ws)
    panel = panels.compare(ws)
    more = panels.deeper(follows=panel)
    assert panel.trial.value == more.trial.value == "salt"
    panel.trial.value = "harbour-malt"
    assert more.trial.value == "harbour-malt"
    assert more.workspace is ws
    more.trial.value = "salt"  # and may be another
    assert panel.trial.value == "harbour-malt"
    ws.close()


def test_what_was_set_differently_besides_the_factors_can_be_held_alike(tmp_path):
    ws = panels.open_workspace(tmp_path / "bakes")
    trial = own_trial(ws)
    panel = panels.compare(ws)
    offered = {box.name: (box.description, box.value) for box in panel.alike.children}
    assert offered == {
        "retard_hours": ("Hold alike: cold retard", True),
        "side_minutes": ("Hold alike: time a side", False),
    }
    next(box for box in panel.alike.children if box.name == "side_minutes").value = True
    assert panel.answer.adjusted == ("retard_hours", "side_minutes")
    same = trial.compare("rise_height_mm", "salt_percent", adjust=["retard_hours", "side_minutes"])
    assert panel.answer.sentence == same.sentence
    ws.close()


def test_compare_does_not_hold_alike_what_is_then_asked_about(tmp_path):
    """Its box stays ticked, for the next outcome."""
    ws = panels.open_workspace(tmp_path / "bakes")
    trial = own_trial(ws)
    for i, piece in enumerate(trial.pieces()):
        trial.record(piece, "ball_weight_g", 80 + 7 * i % 11)
    panel = panels.compare(ws)
    box = next(box for box in panel.alike.children if box.name == "ball_weight_g")
    box.value = True
    panel.outcome.value = "ball_weight_g"
    assert panel.answer.adjusted == ("retard_hours",)
    panel.outcome.value = "rise_height_mm"
    assert "ball_weight_g" in panel.answer.adjusted
    ws.close()


def test_the_page_of_all_factors_begins_with_the_trial_s_question(tmp_path):
    ws = panels.open_workspace(tmp_path / "bakes")
    trial = own_trial(ws)
    retard = trial.compare(by="retard_hours")
    assert trial.report(retard).question == (
        "Does salt matter? Asked here first: Does cold retard change height?"
    )
    assert trial.report(retard, others=False).question == ""
    ws.close()


def test_what_was_only_planned_is_no_outcome(tmp_path):
    ws = panels.open_workspace(tmp_path / "bakes")
    trial = ws.new_trial("dose", "", {"malt_percent": [0, 1]}, outcome="rise_height_mm")
    for malt in (0, 1):
        dough = trial.add_dough(trial.add_bake())
        trial.record(dough, "malt_percent", malt, how="planned")
        trial.record(trial.add_piece(dough), "side_minutes", 5, how="planned")
    panel = panels.compare(ws)
    panel.trial.value = "dose"
    assert [label for label, _ in panel.outcome.options] == ["Height"]
    assert panel.answer is None
    assert "nothing is recorded for height in dose" in words(panel)
    more = panels.deeper(ws)
    more.trial.value = "dose"
    assert [label for label, _ in more.outcome.options] == ["Height"]
    ws.close()


def test_what_few_change_is_folded_away(panel):
    """Seven boxes to tick once stood between the question and its answer."""
    first = [one for one in panel.children if one.layout.display != "none"]
    assert panel.rest not in first
    assert {panel.control, panel.line, panel.alike, panel.without} == set(panel.rest.children)
    panel.more.value = True
    assert panel.rest.layout.display is None
    panel.line.value = True
    again = panels.compare(panel.workspace)
    assert again.line.value
    assert again.rest.layout.display is None  # what was opened comes back open
    again.more.value = False
    assert again.answer.kind == "line"  # what is folded away still counts

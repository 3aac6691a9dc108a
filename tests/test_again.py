"""A panel made again, as by reloading its page, shows what was chosen and typed before."""

from datetime import date

import pytest

import kit
from kit import panels


@pytest.fixture
def ws(tmp_path):
    made = panels.open_workspace(tmp_path / "bakes")
    yield made
    made.close()


def test_compare_asks_the_same_again_once(ws, monkeypatch):
    panel = panels.compare(ws)
    panel.factor.value = "retard_hours"
    panel.matters.value = "1/16 in"
    panel.without.children[0].value = True
    panel.control.value = panel.control.options[-1][1]
    asked, answer = panel.asked, panel.shown.value
    calls = []
    monkeypatch.setattr(
        type(ws.trial("harbour-malt")), "compare",
        lambda trial, real=kit.Trial.compare, **how: calls.append(how) or real(trial, **how),
    )  # fmt: skip
    again = panels.compare(ws)
    assert len(calls) == 2  # as it is offered, and as it was left: not once a field
    assert (again.asked, again.shown.value) == (asked, answer)


def test_plan_keeps_the_half_filled_form(ws):
    panel = panels.plan(ws)
    panel.question.value, panel.name.value = "Does the second day matter?", "second-day"
    panel.factor.value = "retard_hours"
    panel.settings.value = "24; 36; 48"
    panel.other.value = "malt_percent"
    panel.other_settings.value = "soon"
    panel.bakes.value, panel.hands.value, panel.more.value = 4, "2", True
    again = panels.plan(ws)
    typed = [f.value for f in (again.question, again.name, again.settings, again.other_settings)]
    assert typed == ["Does the second day matter?", "second-day", "24; 36; 48", "soon"]
    assert (again.factor.value, again.other.value) == ("retard_hours", "malt_percent")
    assert (again.bakes.value, again.hands.value, again.more.value) == (4, "2", True)
    assert again.other_settings.said.value == panel.other_settings.said.value != ""
    again.other_settings.value = "0; 1"
    assert again.proposal.plan.counts["bake"] == 4
    assert panels.plan(ws).other_settings.value == "0; 1"  # and once more


def test_record_comes_back_to_the_bake_that_is_typed_into(ws):
    trial = ws.new_trial("cold", outcome="rise_height_mm")
    first = trial.add_bake("2026-06-04")
    trial.add_piece(trial.add_dough(first))
    trial.add_bake("2026-06-18")
    panel = panels.record(ws)
    assert panel.chosen_bake.code == "2"
    panel.bake.value = first.id
    panel.tables["piece"].order.value = "code"
    panel.tables["piece"].add("baked_weight_g")
    panel.happened.value, panel.events.what.value = True, "torn"
    panel.new.value, panel.form.name.value = True, "half"
    again = panels.record(ws)
    assert again.chosen_bake == first
    assert again.tables["piece"].sheet.order == "code"
    assert "baked_weight_g" in again.tables["piece"].sheet.shown
    assert (again.events.what.value, again.form.name.value) == ("torn", "half")
    assert again.form.layout.display != "none" != again.events.layout.display
    trial.add_dough(first)
    assert panels.record(ws).doughs.value == "2"  # what is counted comes from the records


def test_what_nobody_chose_follows_the_records(ws):
    cold = ws.new_trial("cold", outcome="rise_height_mm")
    assert panels.record(ws).trial.value == "cold"
    ws.new_trial("warm", outcome="rise_height_mm")
    panel = panels.record(ws)
    assert panel.trial.value == "warm"
    panel.trial.value = "cold"
    cold.add_bake()
    ws.new_trial("hot")
    assert panels.record(ws).trial.value == "cold"
    for _ in range(4):
        ws.undo()
    assert panels.record(ws).trial.value == "harbour-malt"  # what was chosen is not there any more


def test_another_day_begins_anew(ws, monkeypatch):
    panels.compare(ws).factor.value = "retard_hours"
    monkeypatch.setattr(panels, "date", type("Tomorrow", (date,), {"today": lambda: date.max}))
    assert panels.compare(ws).factor.value == "malt_percent"


def test_what_is_typed_stays_with_what_it_was_typed_of(ws):
    """Bakes and trials begun meanwhile, here or in another window."""
    trial = ws.new_trial("cold", outcome="rise_height_mm")
    for n in range(2):
        trial.add_piece(trial.add_dough(trial.add_bake(f"2026-06-{4 + n:02}")))
    compare, record = panels.compare(ws), panels.record(ws)
    compare.matters.value = "3"
    assert record.chosen_bake.code == "2"
    record.happened.value, record.events.what.value = True, "burnt"
    weights = ws.new_trial("weights", outcome="baked_weight_g", matters=0.5)
    trial.add_bake("2026-06-18")
    again = panels.compare(ws)
    assert (again.trial.value, again.matters.value) == (compare.trial.value, "3")
    back = panels.record(ws)
    assert (back.chosen_bake.code, back.events.what.value) == ("2", "burnt")
    ws.remove_trial("cold")
    gone = panels.record(ws)
    assert (gone.trial.value, gone.events.what.value) == (weights.name, "")


def test_what_a_trial_brings_into_a_plan_comes_from_the_trial(ws):
    trial = ws.trial("harbour-malt")
    panel = panels.plan(ws)
    panel.trial.value = trial.name
    panel.bakes.value = 4
    trial.set_formula("other", [("bread flour", "flour", 100), ("milk", "liquid", 50)])
    again = panels.plan(ws)
    assert (again.trial.value, again.bakes.value) == (trial.name, 4)
    assert "milk 50" in again.formula.value


def test_what_cannot_come_back_is_not_tried_again(ws, monkeypatch):
    panels.compare(ws).factor.value = "retard_hours"
    monkeypatch.setattr(panels.ComparePanel, "_returned", lambda panel: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        panels.compare(ws)
    assert panels.compare(ws).factor.value == "malt_percent"


def test_rise_comes_back_to_the_dough_that_is_read(ws):
    trial = ws.new_trial("cold", outcome="rise_height_mm")
    bake = trial.add_bake()
    first, second = trial.add_dough(bake), trial.add_dough(bake)
    panel = panels.rise(ws)
    assert panel.chosen_dough == first
    panel.dough.value = second.id
    panel.room.value = "26"
    again = panels.rise(ws)
    assert (again.chosen_dough, again.reader.dough) == (second, second.id)
    assert again.room.value == "26"


def test_taste_keeps_what_is_planned_and_no_answer(ws):
    ws.new_trial("cold", factors={"retard_hours": [16, 40]})
    panel = panels.taste(ws)
    panel.trial.value = "harbour-malt"
    panel.method.value, panel.samples.value = "scores", "plain\nmalted"
    panel.tasters.value, panel.twice.value = "Ida, Jon", True
    panel.plan.click()
    panel.tasters.value = "Ida, Jon, Kim"
    panel.marks.children[0].value = "7"  # typed, and not saved
    panel.without.value = True
    again = panels.taste(ws)
    assert (again.trial.value, again.method.value) == ("harbour-malt", "scores")
    assert (again.samples.value, again.tasters.value) == ("plain\nmalted", "Ida, Jon, Kim")
    assert again.twice.value
    assert again.tasting.value == panel.tasting.value
    assert again.marks.children[0].value == ""
    assert not again.without.value


def test_share_gives_no_more_away_than_was_agreed_to(ws):
    ws.new_trial("cold", outcome="rise_height_mm")
    panel = panels.share(ws)
    panel.trial.value, panel.licence.value = "cold", "CC-BY-4.0"
    panel.source.value, panel.photos.value = "salt.zip", False
    again = panels.share(ws)
    assert (again.trial.value, again.source.value, again.licence.value) == ("cold", "salt.zip", "")
    assert again.photos.value is False


def test_bring_keeps_the_table_as_it_was_corrected(ws):
    ws.new_trial("mine", factors={"malt_percent": [0, 0.8]}, outcome="rise_height_mm")
    table = ws.folder / "own" / "bakes.csv"
    table.parent.mkdir()
    table.write_text("Day;Dough;Malt %;Height\n03/12/2026;A;0;31\n03/12/2026;B;0,8;33\n")
    panel = panels.bring(ws)
    panel.trial.value, panel.path.value = "mine", str(table)
    panel.again.click()
    panel.dates.value = "day/month"
    again = panels.bring(ws)
    assert (again.path.value, again.dates.value) == (str(table), "day/month")
    assert (again.shown.value, again.store.disabled) == (panel.shown.value, False)
    again.store.click()
    again.work.thread.join(30)
    later = panels.bring(ws)
    assert later.work.thread is again.work.thread
    frame = ws.trial("mine").frame()
    assert frame["rise_height_mm"].tolist() == [31, 33]
    assert [str(bake.day) for bake in ws.trial("mine").bakes()] == ["2026-12-03"]


def test_the_further_question_comes_back_and_is_answered_when_pressed(ws):
    compare = panels.compare(ws)
    panel = panels.deeper(follows=compare)
    panel.question.value, panel.outcome.value = "next", "diameter_mm"
    panel.factor.value = "retard_hours"
    again = panels.deeper(follows=panels.compare(ws))
    assert again.question.value == "next"
    assert (again.outcome.value, again.factor.value) == ("diameter_mm", "retard_hours")
    assert again.answer is None


def test_the_two_batches_come_back(ws):
    panel = panels.side_by_side(ws)
    panel.kind.value = "bakes"
    panel.one.value = panel.one.options[0][1]
    again = panels.side_by_side(ws)
    assert (again.kind.value, str(again.one.value)) == ("bakes", "bake 1")
    assert again.shown.value == panel.shown.value != panels.SideBySidePanel(ws).shown.value


def test_two_panels_of_a_kind_keep_their_own(ws, monkeypatch):
    """Each stands for the one in its own cell."""

    def made_in(cell):
        monkeypatch.setattr(panels, "_cell", lambda: cell)
        return panels.compare(ws)

    chosen = {"one": "retard_hours", "two": "side_minutes"}
    for cell, factor in chosen.items():
        made_in(cell).factor.value = factor
    assert {cell: made_in(cell).factor.value for cell in chosen} == chosen
    assert made_in("three").factor.value == "malt_percent"


def test_which_cell_runs_is_as_the_notebook_says(monkeypatch):
    from IPython.core import getipython

    shell = type("Shell", (), {"get_parent": lambda _: {"metadata": {"cellId": "a1"}}})()
    assert panels._cell() == ""  # outside a notebook
    monkeypatch.setattr(getipython, "get_ipython", lambda: shell)
    assert panels._cell() == "a1"

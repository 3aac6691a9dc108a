"""The taste panel pressed through by its buttons, without a browser."""

import html

import ipywidgets as widgets
import pytest

from kit import panels
from kit.formula import Formula
from kit.workspace import Workspace


@pytest.fixture
def panel(tmp_path):
    with Workspace(tmp_path / "bakes") as ws:
        ws.new_trial("cold", factors={"retard_hours": [16, 40]}, outcome="rise_height_mm")
        yield panels.taste(ws)


def answer_all(panel, right=9):
    plan = panel.chosen.serving(panel.tasting.value)
    for k, name in enumerate(plan.tasters):
        assert panel.taster.value == name  # it goes on to the next one by itself
        ticks = panel.marks.children[0]
        odd = plan.right(name)
        ticks.value = odd if k < right else next(c for c in ticks.options if c != odd)
        panel.save.click()
        assert f"Saved: {name} answered {ticks.value}." in panel.saved.value


def test_triangle_by_its_buttons(panel, tmp_path):
    assert panel.samples.value == "cold retard at 16 h\ncold retard at 40 h"
    needed = '<p role="status">It would take 16 tasters: 8 times in 10 they will notice'
    assert panel.enough.value.startswith(needed)
    assert "You have entered 12, who may well miss it." in panel.enough.value
    # 2 of 2 right come by guessing once in 9, 3 of 3 once in 27: 5 % lies between
    for count, few in (("2", "can never show it, whatever they answer"), ("3", "may well miss it")):
        panel.tasters.value = count
        assert f"You have entered {count}, who {few}." in panel.enough.value
    for enough in ("16", "3.5"):  # the second is no number of tasters
        panel.tasters.value = enough
        assert panel.enough.value.startswith(needed)
        assert "entered" not in panel.enough.value
    panel.tasters.value = "12"
    panel.plan.click()
    assert "12 plates of 3 muffins for 12 tasters." in panel.planned.value
    sheets = (tmp_path / "bakes" / "cold-tasting-1-sheets.html").read_text()
    assert "40 h" not in sheets
    assert "40 h" in (tmp_path / "bakes" / "cold-tasting-1-key.html").read_text()
    panel.unblind.click()
    assert "nobody has answered" in panel.opened.value
    answer_all(panel)
    assert panel.opened.value == ""  # it holds no longer
    assert "12 of 12 answers are in" in panel.marks.children[-1].value
    assert panel.answer is None
    assert "told them apart" not in panel.shown.value
    panel.unblind.click()
    assert "The tasters told them apart." in panel.shown.value
    assert "<svg" in panel.shown.value
    told = panel.shown.value
    assert (told.count("<td>right</td>"), told.count("<td>wrong</td>")) == (9, 3)
    panel.matters.value = "30"
    assert "cannot tell yet whether enough to matter" in panel.shown.value
    panel.matters.value = "a lot"
    assert "what matters (%) &#x27;a lot&#x27; is not a number" in panel.matters.said.value
    assert panel.matters.value == "a lot"
    # the button that opened it can still be focused, and says so when it is pressed again
    assert not panel.unblind.disabled
    panel.unblind.click()
    assert "It is open already: the answer stands below." in panel.opened.value


def test_another_windows_tasting_of_the_same_number_is_not_taken_for_it(panel):
    panel.plan.click()
    with Workspace(panel.workspace.folder) as ws:
        other = panels.TastePanel(ws)
        other.undo.click()
        other.method.value = "scores"
        other.plan.click()
    panel.plan.click()
    assert "planned already" not in panel.planned.value
    planned = panel.chosen.tastings().groupby("tasting")["method"].first()
    assert planned.to_dict() == {1: "scores", 2: "triangle"}


def test_an_earlier_plan_is_known_again_when_a_later_one_is_undone(panel):
    panel.plan.click()
    panel.method.value = "scores"
    panel.plan.click()
    panel.undo.click()
    panel.method.value = "triangle"
    panel.plan.click()
    assert "It is planned already." in panel.planned.value
    planned = panel.chosen.tastings().groupby("tasting")["method"].first()
    assert planned.to_dict() == {1: "triangle"}


def test_what_is_planned_twice_is_stored_once(panel, tmp_path):
    panel.plan.click()
    sheets = tmp_path / "bakes" / "cold-tasting-1-sheets.html"
    sheets.unlink()
    panel.plan.click()
    assert "It is planned already. To draw it afresh, press Undo first." in panel.planned.value
    assert "cold-tasting-1-sheets.html" in panel.planned.value
    assert sheets.exists()
    again = panels.taste(panel.workspace)
    again.plan.click()
    assert again.chosen.tastings()["tasting"].unique().tolist() == [1]
    again.tasters.value = "8"  # another one
    again.plan.click()
    again.undo.click()
    again.plan.click()
    answer_all(again)
    again.plan.click()  # the same people once more, after they have answered
    assert again.chosen.tastings()["tasting"].nunique() == 3


@pytest.mark.parametrize("method", ["duo-trio", "pair", "ranking"])
def test_who_answered_what_is_told_when_it_is_open(panel, method):
    panel.method.value, panel.tasters.value = method, "Ada, Bo"
    panel.plan.click()
    plan = panel.chosen.serving()
    for name in plan.tasters:
        own = plan.table[(plan.table["taster"] == name) & (plan.table["code"] != "R")]
        code = own.set_index("sample")["code"]["cold retard at 40 h"]
        panel.chosen.taste(name, code if method != "ranking" else list(own["code"]))
    panel._show_tasting()
    panel.unblind.click()
    told, served = panel.shown.value, panel.chosen.tastings()
    if method == "duo-trio":
        ticked = served[served["mark"] == 1].set_index("taster")["code"]
        right = sum(plan.right(name) == ticked[name] for name in plan.tasters)
        assert told.count("<td>right</td>") == right
        assert told.count("<td>wrong</td>") == 2 - right
    elif method == "pair":
        assert told.count("<td>cold retard at 40 h</td>") == 2
        assert "right</td>" not in told
    else:
        assert "Rank" in told
        assert told.count("<td>cold retard at 16 h</td>") == 2


def test_scores_with_names(panel):
    panel.method.value = "scores"
    assert panel.noticed.layout.display == "none"
    panel.samples.value = "plain\nmalted\n\nlong"
    panel.tasters.value = "Ida, Jon, Kim"
    panel.twice.value = True
    panel.plan.click()
    assert "3 plates of 4 muffins for 3 tasters." in panel.planned.value
    plan = panel.chosen.serving()
    key = plan.table.set_index("code")["sample"]
    for _ in range(3):
        for field in [f for f in panel.marks.children if not isinstance(f, widgets.HTML)]:
            code = field.text.description.split()[-1]
            field.value = {"plain": "4", "malted": "6,5", "long": "8"}[key[code]]
        panel.save.click()
    panel.unblind.click()
    assert "was marked 0.0 apart on average" in panel.shown.value
    assert panel.answer.leading["higher"] == "long"


def test_ranks_say_which_end_is_1_and_stand_apart_from_their_codes(panel):
    panel.method.value, panel.samples.value, panel.tasters.value = "ranking", "plain\nmalted", "Ada"
    panel.plan.click()
    one, other = (f for f in panel.marks.children if not isinstance(f, widgets.HTML))
    assert one.text.placeholder == "1: put first"
    one.value, other.value = "1", "2"
    codes = [field.text.description.split()[-1] for field in (one, other)]
    panel.save.click()
    assert f"Saved: Ada answered {codes[0]} as 1 and {codes[1]} as 2." in panel.saved.value


def test_trouble_stands_beside_the_field(panel):
    panel.tasters.value = "Ida, Ida"
    panel.plan.click()
    assert "Two of one name: add an initial." in panel.tasters.said.value
    panel.tasters.value = "2"
    panel.samples.value = "only one\n"
    panel.plan.click()
    told = "compare is &#x27;only one&#x27;: must be two for a triangle. Rank or score more."
    assert told in panel.samples.said.value
    assert panel.planned.value == ""  # once is enough
    panel.method.value, panel.samples.value = "scores", "\n".join("abcdefg")
    panel.plan.click()
    told = "compare is &#x27;a; b; c; d; e; f; g&#x27;: must be at most 6 on one plate."
    assert told in panel.samples.said.value
    panel.method.value = "triangle"
    panel.noticed.value = "150"
    told = "to be noticed by (%) is &#x27;150&#x27;: must lie between 0 and 100 %. Write 30."
    assert told in panel.noticed.said.value
    assert panel.enough.value == ""
    panel.samples.value = "a one\na two"
    panel.plan.click()
    assert panel.samples.said.value == ""
    panel.save.click()
    assert "Tick a code." in panel.saved.value


def test_every_field_has_a_label_and_nothing_is_sure_without_a_trial(panel, tmp_path):
    for field in (
        panel.trial,
        panel.method,
        panel.tasting,
        panel.taster,
        panel.plan,
        panel.unblind,
    ):
        assert field.description
    with Workspace(tmp_path / "none") as ws:
        nothing = panels.taste(ws)
        assert "There is no trial in this folder yet." in nothing.shown.value
        assert nothing.plan.disabled


def test_names_are_escaped(panel):
    panel.samples.value = "<b>one</b>\n<i>two</i>"
    panel.tasters.value = "<u>Ida</u>"
    panel.plan.click()
    panel.marks.children[0].value = panel.marks.children[0].options[0]
    panel.save.click()
    panel.unblind.click()
    told = panel.saved.value + panel.shown.value + panel.planned.value
    assert "<b>one" not in told
    assert "<u>Ida" not in told


def test_a_number_gone_wrong_is_no_taster_s_name(panel):
    for typed in ("-5", "3.5", "", "1 000", "0", "9" * 10_000):
        panel.tasters.value = typed
        panel.plan.click()
        assert "must be a whole number or names. Write 12, or names" in panel.tasters.said.value
        assert panel.planned.value == ""
        assert panel.tasting.value is None


def test_too_few_tasters_and_missing_answers_are_said_in_the_panel_s_words(panel):
    panel.tasters.value = "Ida, Jon, Kim"
    panel.plan.click()
    assert "You have entered 3, who may well miss it." in panel.enough.value
    assert "may well miss it" not in panel.planned.value  # once is enough
    panel.marks.children[0].value = panel.marks.children[0].options[0]
    panel.save.click()
    panel.unblind.click()
    assert "answers are missing from Jon and Kim" in panel.opened.value
    assert "tick “Open it although answers are missing”" in panel.opened.value
    assert panel.answer is None
    assert "Still to come: Jon and Kim." in panel.marks.children[-1].value
    panel.without.value = True
    panel.unblind.click()
    assert panel.answer is not None
    assert panel.marks.children[-1].value == "<p>1 of 3 answers are in.</p>"  # no more will come


def test_tasters_that_cannot_be_read_are_told_at_once(panel):
    for typed in ("1.5", "-3"):
        panel.tasters.value = typed
        assert "must be a whole number or names" in panel.tasters.said.value
    panel.tasters.value = "Ada, Ben, Cem"
    assert panel.tasters.said.value == ""


def plan(panel, method="triangle", tasters="Ada, Bo, Cy", samples="plain\nmalted"):
    panel.method.value, panel.samples.value, panel.tasters.value = method, samples, tasters
    panel.plan.click()


def codes(panel):
    return panel.chosen.tastings()["code"].tolist()


def fields(panel):
    return [field for field in panel.marks.children if not isinstance(field, widgets.HTML)]


def test_no_key_comes_back(panel):
    """A key that the next trial, or the same plan made anew, had again would be known.

    Nine codes of three digits: that two draws are alike by chance has no odds worth naming.
    """
    plan(panel)
    first = codes(panel)
    panel.undo.click()
    plan(panel)
    assert codes(panel) != first
    panel.workspace.new_trial("warm", factors={"retard_hours": [1, 2]})
    other = panels.taste(panel.workspace)
    other.trial.value = "warm"
    plan(other)
    assert codes(other) != codes(panel)


def test_a_page_made_anew_goes_on_with_who_has_not_answered(panel):
    plan(panel)
    panel.marks.children[0].value = panel.marks.children[0].options[0]
    panel.save.click()
    again = panels.taste(panel.workspace)
    assert again.taster.value == "Bo"
    assert again.marks.children[0].value is None
    # and what is to be printed is found again, until it is open
    assert "cold-tasting-1-sheets.html" in again.planned.value
    again.without.value = True
    again.unblind.click()
    assert panels.taste(panel.workspace).planned.value == ""


def test_another_answer_of_the_same_taster_is_said_and_can_be_taken_back(panel):
    plan(panel)
    first, second = panel.marks.children[0].options[:2]
    panel.marks.children[0].value = first
    panel.save.click()
    assert "another answer" not in panel.saved.value.lower()
    panel.taster.value = "Ada"
    panel.marks.children[0].value = second
    panel.save.click()
    told = f"Saved: Ada answered {second}. Another answer stood there; Undo brings it back."
    assert told in panel.saved.value
    panel.undo.click()
    assert f"answered {second}" in panel.saved.value
    panel.taster.value = "Ada"
    assert panel.marks.children[0].value == first


def test_undo_takes_a_tasting_back_and_says_who_is_not_blind(panel):
    plan(panel, tasters="Ada Bo Cy")  # commas forgotten: one person
    panel.undo.click()
    assert "undone" in panel.saved.value.lower()
    assert panel.tasting.value is None
    assert "No tasting is planned yet." in panel.marks.children[0].value
    plan(panel, tasters="Ada")
    panel.marks.children[0].value = panel.marks.children[0].options[0]
    panel.save.click()
    panel.unblind.click()
    panel.undo.click()
    assert panel.answer is None
    assert "Who has seen what it said is not blind any more." in panel.saved.value
    for _ in range(2):
        panel.undo.click()
    panel.undo.click()  # that the trial was begun
    assert panel.trial.value is None
    assert "There is no trial in this folder yet." in panel.shown.value
    assert panel.undo.disabled


def test_that_answers_may_be_missing_is_said_of_one_tasting_only(panel):
    plan(panel)
    panel.marks.children[0].value = panel.marks.children[0].options[0]
    panel.save.click()
    panel.without.value = True
    panel.unblind.click()
    assert "opened with 1 of 3" in panel.opened.value
    assert not panel.without.value
    panel.without.value = True
    plan(panel)
    assert not panel.without.value


def test_marks_are_asked_for_beside_their_fields(panel):
    plan(panel, "scores")
    panel.save.click()
    told = "answer must not be empty. Write a mark for each."
    assert told in panel.saved.value
    one, other = fields(panel)
    one.value, other.value = "ten", "5"
    panel.save.click()
    code = one.text.description.split()[-1]
    assert f"score of {code} &#x27;ten&#x27; is not a number" in one.said.value
    assert panel.saved.value == ""  # once is enough
    one.value = ""
    panel.save.click()
    rest = other.text.description.split()[-1]
    assert f"Saved: Ada answered {rest} as 5, {code} left empty." in panel.saved.value


def test_pages_of_another_tasting_are_not_offered(panel):
    """Names that differ by a sign make one file name; what was taken back leaves its pages."""
    made = {}
    for name in ("malt rye", "malt-rye"):
        panel.workspace.new_trial(name, factors={"retard_hours": [1, 2]})
        made[name] = panels.taste(panel.workspace)
        made[name].trial.value = name
        plan(made[name])
    last = panels.taste(panel.workspace)
    last.trial.value = "malt rye"
    assert last.planned.value == ""
    last.trial.value = "malt-rye"
    assert "malt-rye-tasting-1-key.html" in last.planned.value
    last.undo.click()
    last.chosen.plan_tasting("triangle", ["plain", "malted"], ["Ada", "Bo", "Cy"])
    last = panels.taste(panel.workspace)
    assert (last.trial.value, last.tasting.value, last.planned.value) == ("malt-rye", 1, "")


def test_a_trial_that_another_window_took_back_is_said(panel):
    panel.workspace.new_trial("later", factors={"retard_hours": [1, 2]})
    tab = panels.taste(panel.workspace)
    tab.trial.value = "later"
    plan(tab)
    tab.marks.children[0].value = tab.marks.children[0].options[0]
    for _ in range(2):
        panel.workspace.undo()
    buttons = {tab.save: tab.saved, tab.undo: tab.saved, tab.unblind: tab.opened,
               tab.plan: tab.planned}  # fmt: skip
    for button, said in buttons.items():
        said.value = ""
        button.click()
        assert "no trial 'later'" in html.unescape(said.value)


def test_what_undo_takes_back_stands_beside_it(panel):
    plan(panel, "scores")
    fields(panel)[0].value = "5"
    panel.save.click()
    told = f"Last: cold: tasting 1, Ada answered {codes(panel)[0]} as 5"
    assert panel.last.value == f'<p class="kit-last">{told}</p>'
    panel.taster.value = "Ada"
    fields(panel)[1].value = "7"  # it was missing
    panel.save.click()
    assert "Another answer" not in panel.saved.value
    Workspace(panel.workspace.folder).trial("cold").add_bake("2026-11-20")
    panel.taster.value = "Cy"
    assert ">Last: cold: bake 1 of 2026-11-20 begun</p>" in panel.last.value


def test_answers_are_asked_for_once_something_is_tasted(panel):
    """Empty menus, and an Undo that would take the trial out, stood beside the plan."""
    assert {panel.take.layout.display, panel.end.layout.display} == {"none"}
    panel.plan.click()
    assert {panel.take.layout.display, panel.end.layout.display} == {None}
    panel.undo.click()
    assert "undone: " in panel.saved.value.lower()
    assert panel.take.layout.display is None  # what was taken back is read there
    panel.workspace.new_trial("salt", factors={"salt_percent": [1, 2]})
    again = panels.taste(panel.workspace)
    assert {again.take.layout.display, again.end.layout.display} == {"none"}


def test_tasters_are_asked_about_what_is_in_it(panel):
    assert "may hold barley malt, milk and egg" in panel.mind.value
    flour = Formula.from_lines("x", [("flour", "flour", 100), ("sesame", "other", 2)])
    trial = panel.workspace.new_trial("seeds", factors={"salt_percent": [1, 2]})
    trial.set_formula(flour)
    again = panels.taste(panel.workspace)
    again.trial.value = "seeds"
    assert "the muffins hold wheat and sesame. Serve them baked through" in again.mind.value
    assert "milk" not in again.mind.value
    again.trial.value = "cold"
    assert again.mind.value == panel.mind.value

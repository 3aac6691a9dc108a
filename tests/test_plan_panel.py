"""The plan panel without a browser: what it asks, shows, refuses and keeps."""

import asyncio
import re
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

import kit
from kit import panels
from kit.errors import NotFoundError
from kit.panels.parts import rest
from kit.panels.planning.form import NEW
from kit.records.typed import local_zone
from kit.workspace import Trial


@pytest.fixture
def panel(tmp_path):
    ws = panels.open_workspace(tmp_path / "bakes")
    yield panels.plan(ws)
    ws.close()


def words(widget):
    return words_of(widget.value)


def words_of(html):
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", html)).strip()


def test_filled_in_already(panel):
    proposal = panel.proposal
    assert proposal.plan.counts == {"bake": 5, "dough": 20, "load": 20, "piece": 120}
    assert proposal.powers[0].headline in words(panel.shown)
    assert "Before you bake" not in words(panel.shown)  # four doses, spread known: no doubts
    assert proposal.schedule.fits
    assert proposal.weights.formula.name == "Harbour griddle muffin (invented)"
    assert not panel.keep.disabled
    assert panel.spread.value == "as in harbour-malt (invented)"


def test_a_day_that_is_past_is_said(panel):
    panel.first.value = "2025-12-03"
    told = words(panel.shown)
    assert re.search(
        r"first bake would begin at [\d:]+ on \w+ [23] December 2025, which is past", told
    )
    # in January it is easily taken for the year before; the dough begins on the day before
    panel.first.value = "2020-01-01"
    assert re.search(r"begin at [\d:]+ on Tuesday 31 December 2019, which is", words(panel.shown))
    panel.first.value = "12/3/2099"
    assert "2099-12-03 or 2099-03-12, whichever it is" in words(panel.first.said)
    panel.first.value = "2099-12-03"
    assert "which is past" not in words(panel.shown)
    panel.first.value = "tomorrow"
    assert words(panel.first.said) == ""
    tomorrow = datetime.now(ZoneInfo(local_zone())).date() + timedelta(days=1)
    assert f"{tomorrow:%A} {tomorrow.day} {tomorrow:%B}" in words(panel.shown)


def test_a_slip_in_the_kitchen_s_numbers_is_asked_about(panel):
    """A thousands' point: 1.050 g is read as a little more than one gram."""
    panel.piece.value, panel.side.value, panel.room.value = "1.050 g", "0,5", "33"
    told = words(panel.shown)
    before = told[told.index("Before you bake") : told.index("Which dough is mixed when")]
    for doubt in (
        "Raw piece 1.1 g is unusual (mostly 40 to 150 g). Is it right?",
        "Time a side 0.5 min is unusual (mostly 3 to 12 min). Is it right?",
        "Room temperature 33.0 °C is unusual (mostly 15 to 32 °C). Is it right?",
    ):
        assert before.count(doubt) == 1
    assert not panel.keep.disabled  # asked about, not refused
    panel.piece.value, panel.side.value, panel.room.value = "76 g", "5", "22"
    assert "Is it right?" not in words(panel.shown)


def test_what_is_unusual_or_cannot_be_weighed_is_said_before_baking(panel):
    panel.formula.value = "flour 500 g; water 2000 g; salt 75 g; yeast 2 g; malt ?"
    told = words(panel.shown)
    before = told[told.index("Before you bake") :]
    assert "Hydration is 400 %" in before
    assert "Salt is 15 %" in before
    panel.formula.value = "flour 8.8 oz; water 5 oz; salt 0.2 oz; instant yeast 0.04 oz; malt ?"
    panel.step.value = "0.1 oz"
    told = words(panel.shown)
    assert "of instant yeast is too little for the scale: in steps of 0.1 oz" in told
    assert "instant yeast too little to weigh" in told
    assert re.search(r"flour 1\d\.\d oz", told)


def test_the_slider_turns_the_question_round(panel):
    before = panel.proposal.powers[0].smallest
    panel.bakes.value = 8
    assert panel.proposal.powers[0].smallest < before
    assert "With 8 bakes" in words(panel.shown)
    assert "more than a home series usually gets done" in words(panel.shown)


def test_without_a_spread_nothing_is_promised(panel):
    panel.spread.value = "not known yet"
    assert panel.proposal.powers == []
    assert words(panel.shown).startswith("What these bakes will notice is not known yet.")
    assert "Best bake that first" in words(panel.shown)
    panel.spread.value = "my guess, below"
    assert panel.guess.layout.display is None
    panel.dough_sd.value, panel.piece_sd.value = "0,5 mm", "1/16 in"
    assert panel.proposal.powers[0].spread.dough == 0.5
    assert panel.proposal.powers[0].spread.piece == pytest.approx(1.5875)
    assert "All this holds if the spread is as stated" in words(panel.shown)


def test_a_factor_of_the_griddle_goes_inside_each_dough(panel):
    panel.other.value = "side_minutes"
    assert panel.proposal is None  # its settings are still empty
    assert "must be at least two" in words(panel.other_settings.said)
    panel.other_settings.value = "5 or 6"
    assert panel.proposal.plan.kind == "split-plot"
    assert "inside each dough" in words(panel.shown)
    for name in ("of diastatic malt", "of time a side"):  # each is told what will be noticed
        assert f"settings {name}" in words(panel.shown)
    assert "too few to see a peak" in words(panel.shown)
    told = re.sub(r"<details>.*?</details>", "", panel.shown.value)
    assert told.count("The spread is known only") == 1  # the same of both: told once


def test_more_recipes_than_colours_are_coloured_by_the_first_factor(panel):
    assert "alike colours are alike recipes." in words(panel.shown)
    panel.settings.value, panel.other.value = "0; 0.4; 0.8", "retard_hours"
    panel.other_settings.value = "24; 36; 48"
    assert "alike colours are alike diastatic malt." in words(panel.shown)
    drawn = {}
    plan = panel.proposal.plan
    ax = plan.plot()
    boxes = zip(ax.patches, plan.doughs["malt_percent"], strict=True)
    for box, malt in boxes:
        drawn.setdefault(malt, set()).add(box.get_facecolor())
    assert len(drawn) == 3
    assert len(set.union(*drawn.values())) == 3


@pytest.mark.parametrize(
    ("field", "typed", "said"),
    [
        ("settings", "0 to 130", "diastatic malt is 130 (settings): must lie between 0 and 20 %."),
        ("settings", "0.4", "settings '0.4' (diastatic malt) was read as one number, 0.4."),
        ("settings", "lots", "diastatic malt 'lots' (settings) is not a number."),
        ("matters", "-2", "what matters is '-2': must be above 0."),
        ("doughs", "0", "doughs a bake is '0': must be a whole number from 1."),
        ("pieces", "2.5", "pieces a dough is '2.5': must be a whole number from 1."),
        ("places", "", "places on the griddle must not be empty."),
        ("first", "someday", "first bake on 'someday' is not a day"),
        ("table", "25:00", "on the table at '25:00' is not a time of day."),
        ("awake_from", "dawn", "awake from 'dawn' is not a time of day."),
        ("room", "350 F", "room temperature is '350 F': must lie between"),
        ("retard", "-3", "cold retard is -3"),
        ("formula", "water 60", "flour must not be empty."),
        ("formula", "bread flour 100\nmystery 3", "does not tell what it does in the dough"),
        ("piece", "-76 g", "raw piece is -76: must lie between 1 and 2000 g."),
        ("piece", "", "raw piece must not be empty."),
        ("piece", "76 h", "h measures time, expected mass"),
        ("step", "0", "scale step is '0': must be above 0."),
    ],
)
def test_nonsense_is_answered_beside_its_field(panel, field, typed, said):
    asked = getattr(panel, field)
    before, shown = asked.value, panel.shown.value
    asked.value = typed
    assert asked.value == typed  # what was typed stays
    beside = words(asked.said).replace("&#x27;", "'")
    everywhere = " ".join([beside, words(panel.shown)]).replace("&#x27;", "'")
    assert said in everywhere
    assert panel.proposal is None
    assert panel.keep.disabled
    asked.value = before
    assert panel.shown.value == shown
    assert beside == "" or words(asked.said) == ""


def test_what_cannot_be_is_said_beside_its_own_field_and_the_page_names_it(panel):
    """A page is long: who presses Enter in one field does not see all the others."""
    panel.awake_to.value, panel.doughs.value = "late", "20000"
    panel.doughs.value = "4"
    assert words(panel.awake_to.said).startswith("Not yet: awake to &#x27;late&#x27; is not a")
    assert not panel.awake_from.said.value
    assert words(panel.shown) == "Not yet: see beside “Awake to” what can be used."
    panel.awake_to.value, panel.doughs.value = "22:00", "20000"
    told = "doughs a bake is &#x27;20000&#x27;: must lie between 1 and 10000"
    assert told in words(panel.doughs.said)
    assert words(panel.shown) == "Not yet: see beside “Doughs a bake” what can be used."


def test_fields_typed_one_after_the_other_are_one_question(panel, monkeypatch):
    """As in a notebook, where Python hears the next field before the hand rests."""
    made = []
    propose = panel._propose
    monkeypatch.setattr(panel, "_propose", lambda: made.append(panel.doughs.value) or propose())

    async def typing():
        for field, text in ((panel.matters, "1.5"), (panel.pieces, "4"), (panel.doughs, "3")):
            field.value = text
            await asyncio.sleep(0)
        assert (made, words(panel.working)) == ([], "Working it out …")
        await asyncio.sleep(2 * rest.REST_S)
        assert (made, words(panel.working)) == (["3"], "")
        panel.doughs.value = "2"
        panel.keep.click()  # what is kept is what is typed, however soon it is pressed
        assert made == ["3", "2"]

    asyncio.run(typing())
    assert "Kept in" in words(panel.kept)
    assert len(panel.chosen.doughs()) == 10


def test_the_plan_asked_for_in_the_same_moment_is_of_what_is_typed(panel):
    async def typing():
        panel.doughs.value = "3"
        assert panel.proposal.plan.kitchen.doughs == 3
        assert words(panel.working) == ""
        panel.doughs.value = "many"
        assert panel.proposal is None

    asyncio.run(typing())


def test_a_fault_while_the_hand_rests_is_seen(panel, monkeypatch):
    def boom():
        raise RuntimeError("fault")

    faults = []

    async def typing():
        loop = asyncio.get_running_loop()
        loop.set_exception_handler(lambda _, told: faults.append(str(told["exception"])))
        monkeypatch.setattr(panel, "_propose", boom)
        panel.doughs.value = "3"
        await asyncio.sleep(2 * rest.REST_S)

    asyncio.run(typing())
    assert faults == ["fault"]
    assert words(panel.working) == ""
    assert words(panel.shown) == "Not yet: this should not happen; the log says more."
    assert panel.keep.disabled
    assert panel.proposal is None


def test_asking_again_says_so_and_leaves_what_was_shown(panel):
    before, told = panel.shown.value, []
    panel.working.observe(
        lambda change: told.append((words(panel.working), panel.shown.value == before)), "value"
    )
    panel.matters.value = "3"
    assert told == [("Working it out …", True), ("", False)]
    panel.settings.value = "nonsense"
    assert words(panel.working) == ""


def test_a_fault_while_it_fills_itself_in_does_not_leave_it_deaf(panel, monkeypatch):
    def breaks_off(_):
        raise RuntimeError

    panel.workspace.new_trial("salt")
    panel.trial.options = [*panel.trial.options, "salt"]
    with monkeypatch.context() as broken:
        broken.setattr(kit.Trial, "formula", breaks_off)
        with pytest.raises(RuntimeError):
            panel.trial.value = "salt"
    panel.trial.value = "a new trial"
    panel.first.value = "soon"
    assert "is not a day" in words(panel.first.said)


def test_no_formula_no_weights(panel):
    panel.formula.value = ""
    assert panel.proposal.weights is None
    assert "What to weigh is not known before the formula is written" in words(panel.shown)


def test_keeping_a_plan(panel):
    panel.first.value, panel.name.value = "2026-12-03", "malt <b>bold</b>"
    panel.keep.click()
    assert "Kept in malt &lt;b&gt;bold&lt;/b&gt; ." in words(panel.kept)
    trial = panel.workspace.trial("malt <b>bold</b>")
    assert len(trial.bakes()) == 5
    assert trial.frame()["retard_hours"].eq(24).all()
    assert trial.formula().name == "Harbour griddle muffin (invented)"
    sheets = sorted(path.name for path in panel.workspace.folder.glob("malt-b-*"))
    assert len(sheets) == 10  # a sheet and a calendar a bake
    assert panel.trial.value == trial.name
    panel.keep.click()  # again: the plan not begun is replaced, not doubled
    assert len(trial.bakes()) == 5


def test_sheets_of_a_trial_with_a_path_for_a_name_are_not_hidden(panel):
    panel.name.value, panel.settings.value, panel.bakes.value = "../x", "0 or 1", 1
    panel.keep.click()
    written = {path.name for path in panel.workspace.folder.glob("*x-bake-1.*")}
    assert written == {"x-bake-1.html", "x-bake-1.ics"}


def test_notes_on_weights_do_not_scroll_sideways_with_their_table(panel):
    panel.step.value = "10 g"  # too coarse for salt and yeast
    scrolled = re.search(r'<div class="kit-scroll kit-weights".*?</div>(.*)', panel.shown.value)
    assert "<table>" in scrolled[0]
    assert "<li>" not in scrolled[0].removesuffix(scrolled[1])
    assert "A step of 10 g" in words_of(scrolled[1]) or "a step of 10 g" in words_of(scrolled[1])


def test_sheets_that_could_not_be_written_are_written_by_the_same_button(panel, monkeypatch):
    def full(*_, **__):
        raise OSError(28, "No space left on device")

    panel.name.value, panel.first.value = "cold", "2026-12-03"
    with monkeypatch.context() as disk:
        disk.setattr(Trial, "bench_sheet", full)
        panel.keep.click()
    assert "Not yet: the disk is full. Free some space" in words(panel.kept)
    assert (panel.trial.value, panel.name.value) == ("cold", "cold")  # it is there, only unwritten
    panel.keep.click()
    assert "Kept in cold ." in words(panel.kept)
    assert len(panel.chosen.bakes()) == 5


def test_a_new_trial_is_not_said_to_be_gone(panel):
    kit.Workspace(panel.workspace.folder).undo()
    with pytest.raises(NotFoundError):
        panel.trial.value = "harbour-malt"
    assert "harbour-malt was taken back" in words(panel.gone)
    panel.trial.value = NEW
    assert panel.gone.value == ""


def test_keeping_under_a_name_that_is_taken(panel):
    panel.name.value = "harbour-malt"
    panel.keep.click()
    assert "name 'harbour-malt' is taken by another trial." in words(panel.kept).replace(
        "&#x27;", "'"
    )
    assert len(panel.workspace.trials()) == 1


def test_more_bakes_of_a_trial_that_is_there(panel):
    panel.trial.value = "harbour-malt"
    assert panel.question.value == "Does more malt make a taller griddle muffin?"
    assert (panel.factor.value, panel.settings.value) == ("malt_percent", "0; 0.4; 0.8; 1.2")
    assert (panel.other.value, panel.other_settings.value) == ("retard_hours", "16; 40")
    assert panel.factor.disabled
    assert "Added to 20 doughs on 8 bakes" in words(panel.shown)
    assert words(panel.shown).startswith("With 13 bakes (40 doughs of about 5.95 pieces)")
    panel.bakes.value = 1
    assert "trial.extend(" in panel.shown.value
    panel.keep.click()
    trial = panel.workspace.trial("harbour-malt")
    assert [bake.code for bake in trial.planned_bakes()] == ["9"]


def test_a_bake_in_which_nothing_is_changed(panel):
    panel.factor.value = ""
    assert panel.settings.layout.display == "none"
    assert panel.other.layout.display == "none"
    assert panel.outcome.layout.display is None  # and no other field with it
    assert "is not set by this plan" in words(panel.formula.said)  # malt ? needs a number now
    assert panel.proposal.plan.kind == "noise"  # and the rest of the plan need not wait for it
    assert panel.proposal.weights is None
    panel.formula.value = panel.formula.value.replace(", as the trial says ?", " 0.8")
    assert panel.proposal.weights is not None
    assert panel.formula.said.value == ""
    assert words(panel.shown).startswith("These bakes show how much doughs of one recipe differ")
    panel.keep.click()
    assert "Kept in same recipe" in words(panel.kept)


def test_a_plan_is_kept_although_its_formula_leaves_a_share_open(panel):
    panel.factor.value, panel.settings.value, panel.bakes.value = "retard_hours", "24 or 48", 4
    told = "To see what to weigh, write its share of the flour in place of the question mark."
    assert words(panel.formula.said).endswith(told)
    assert "What to weigh is not known" in words(panel.shown)
    panel.keep.click()
    assert "bench sheet" in words(panel.kept)
    sheet = (panel.workspace.folder / "cold-retard-bake-1.html").read_text()
    assert "What to weigh" not in sheet
    assert "Take dough" in sheet


def test_settings_of_one_thing_are_not_taken_for_another(panel):
    panel.factor.value = "retard_hours"
    assert panel.settings.value == ""  # 0 to 1.2 was % of malt, and would be hours
    assert panel.settings.text.description == "Settings (h)"
    assert panel.settings.text.placeholder == "such as 24 or 48 h"
    assert "must be at least two. Write them here, such as 24 or 48 h." in words(
        panel.settings.said
    )
    assert panel.proposal is None
    assert (panel.name.value, panel.question.value) == (
        "cold retard", "Does cold retard change height?",
    )  # fmt: skip
    panel.settings.value = "24 vs. 48 h"
    panel.question.value = "Does the second day matter?"
    panel.formula.value = panel.formula.value.replace("?", "0.8")
    assert panel.proposal.plan.factors[0].settings == (24, 48)
    panel.factor.value = "malt_percent"
    assert panel.settings.value == "0 to 1.2"
    panel.factor.value = "retard_hours"
    assert panel.settings.value == "24 vs. 48 h"  # nothing typed is lost
    assert panel.question.value == "Does the second day matter?"
    panel.factor.value = ""
    assert panel.name.value == "same recipe"
    assert panel.proposal is not None


def test_a_trials_own_spread_comes_first_and_invented_ones_last(tmp_path):
    with panels.open_workspace(tmp_path / "bakes") as ws:
        rng = np.random.default_rng(7)
        for name in ("other", "own"):
            trial = ws.new_trial(
                name, factors={"malt_percent": [0, 0.6]}, outcome="rise_height_mm", matters=2
            )
            for day in ("2026-10-01", "2026-10-08", "2026-10-15"):
                bake = trial.add_bake(day)
                for malt in (0, 0.6):
                    dough = trial.add_dough(bake)
                    trial.record(dough, "malt_percent", malt)
                    for _ in range(3):
                        height = round(30 + rng.normal(), 1)
                        trial.record(trial.add_piece(dough), "rise_height_mm", height)
        panel = panels.plan(ws)
        assert panel.spread.value == "as in other"
        panel.trial.value = "own"
        assert panel.spread.options[:3] == ("as in own", "as in other",
                                            "as in harbour-malt (invented)")  # fmt: skip
        assert panel.spread.value == "as in own"
        panel.trial.value = "harbour-malt"
        assert panel.spread.value == "as in harbour-malt (invented)"
        assert "of harbour-malt (invented data)" in words(panel.shown)


def test_the_same_from_python_can_be_run(panel):
    made, _ = panel._call(panel.proposal.plan).rsplit("\n", 1)
    there = {"kit": kit}
    exec(made, there)
    assert there["plan"].counts == panel.proposal.plan.counts


def test_a_us_kitchen_sees_its_settings_in_its_own_degrees(panel, monkeypatch):
    monkeypatch.setenv("KIT_UNITS", "us")
    panel.formula.value = "flour 100\nwater 60\nsalt 1.8\nyeast 0.5"
    panel.factor.value = "liquid_temp_c"
    panel.settings.value = "21 or 40 °C"
    assert panel.proposal is not None, words(panel.shown)
    boxes = {text.get_text() for text in panel.proposal.plan.plot().texts}
    assert {"1A\n40 °C\n(104 °F)", "1C\n21 °C\n(70 °F)"} <= boxes
    assert "liquid temperature 40 °C (104 °F)" in words(panel.shown)


def test_what_must_be_read_before_acting_is_short(panel):
    """Of each paragraph its first sentence; the others when they are asked for."""
    told, _, rest = panel.shown.value.partition("<details>")
    shown = words_of(told)
    assert re.search(r"A difference of 2 mm, which matters to you, is noticed \S+ ", shown)
    assert shown.endswith("twice as many bakes to 1.8 mm.")
    assert len(shown.split()) < 110  # eight lines; they were fifteen
    folded = words_of(rest.partition("</details>")[0])
    assert folded.startswith("How sure that is To be noticed is to be told from none: ")
    assert "5 bakes, 20 doughs, 20 loads and 120 pieces" in words_of(rest)


def test_the_sheets_are_found_again_where_the_trial_is_picked(panel):
    """As after a reload: they lie in the folder, and who planned them wants to print one more."""
    panel.name.value = "malt again"
    panel.bakes.value = 2
    panel.keep.click()
    again = panels.plan(panel.workspace)
    again.trial.value = "malt again"
    told = words(again.kept)
    day = panel.workspace.trial("malt again").bakes()[0].day
    assert told.startswith(f"Kept before: Bake 1 on {day}: bench sheet")
    assert told.count("bench sheet") == told.count("calendar") == 2
    again.trial.value = "a new trial"
    assert again.kept.value == ""


def test_sheets_of_another_bake_are_not_offered(panel):
    """Names that differ by a sign make one file name; what was taken back leaves its sheets."""
    ws, offered = panel.workspace, panels.PlanPanel
    for name in ("malt rye", "malt-rye"):
        one = offered(ws)
        one.name.value, one.bakes.value = name, 2
        one.keep.click()
    again = offered(ws)
    again.trial.value = "malt rye"
    assert again.kept.value == ""
    again.trial.value = "malt-rye"
    assert again.kept.value != ""
    plan = one.proposal.plan
    ws.undo()
    ws.new_trial("malt-rye", factors={"malt_percent": [0, 1.2]}).keep(plan, "2031-01-02")
    again = offered(ws)
    again.trial.value = "malt-rye"
    assert again.kept.value == ""


def test_it_opens_with_a_plan_that_the_baker_s_own_formula_can_have(panel):
    """No malt in it: a page that opened with malt began with a complaint."""
    mine = panel.workspace.new_trial("rounds", outcome="rise_height_mm")
    mine.set_formula("rounds", [("flour", "flour", 100), ("milk", "liquid", 70)])
    again = panels.plan(panel.workspace)
    assert again.factor.value == "retard_hours"
    assert again.proposal is not None, words(again.shown)
    assert again.name.value == "cold retard"
    assert again.question.value == "Does cold retard change height?"


def test_what_to_do_where_no_spread_is_known_is_not_folded(panel):
    panel.spread.value = panel.spread.options[-1]
    told = panel.shown.value.partition("<details>")[0]
    assert "or state your guess." in words_of(told)


def test_a_factor_that_comes_back_brings_its_settings(panel):
    before = panels.plan(panel.workspace)
    before.bakes.value = 7
    assert (before.factor.value, before.settings.value) == ("malt_percent", "0 to 1.2")
    mine = panel.workspace.new_trial("rounds", outcome="rise_height_mm")
    mine.set_formula("rounds", [("flour", "flour", 100), ("milk", "liquid", 70)])
    again = panels.plan(panel.workspace)
    assert (again.factor.value, again.settings.value) == ("malt_percent", "0 to 1.2")

"""From records to an answer and a page: what `Trial` and `Workspace` add to `kit.compare`."""

import html
import re
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import kit
from kit import words
from kit.analysis.verdict import Answer
from kit.errors import DataError, InputError, NotFoundError
from kit.writeup.recipe import recipe

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
        trial.bring_in(trial.look_at(DEMO))
        trial.event("warm room", "window <shut>", on=trial.bake("4"))
        yield ws


def test_only_what_happened_to_measured_pieces_is_noted(workspace):
    """Leaving out a dropped piece that has no height changes nothing."""
    trial = workspace.trial("harbour")
    lost = trial.pieces()[0]
    trial.record(lost, "rise_height_mm", "")
    trial.event("dropped", on=lost)
    noted = [c for c in trial.overview(["rise_height_mm"]).checks if c.startswith("also noted")]
    assert len(noted) == 1
    assert "warm room" in noted[0]
    assert "dropped" not in noted[0]


def test_bakes_without_a_condition_noted_have_nothing_to_follow(tmp_path):
    trial = kit.Workspace(tmp_path).new_trial(
        "plain", question="?", factors={"malt_percent": [0, 1]}, outcome="rise_height_mm"
    )
    piece = trial.add_piece(trial.add_dough(trial.add_bake("2026-11-26")))
    trial.record(piece, "rise_height_mm", "31")
    with pytest.raises(DataError) as caught:
        trial.drift()
    assert str(caught.value) == (
        "plain has no condition noted that its bakes could follow: note the room's temperature or "
        "the flour lot of each bake, or say what else to look at (against)."
    )


def test_trial_fills_in_what_it_knows(workspace):
    trial = workspace.trial("harbour")
    answer = trial.compare()
    frame = trial.frame()
    same = kit.compare(
        frame, "rise_height_mm", "malt_percent", dough="dough", bake="bake", load="load",
        matters=2.0, adjust=["retard_hours"], mixing="retard_hours",
    )  # fmt: skip
    pd.testing.assert_frame_equal(answer.differences, same.differences)
    assert answer.adjusted == ("retard_hours",)
    assert answer.matters == 2.0
    assert answer.fit.groups == ("bake", "dough", "load")
    # what matters for height says nothing about another outcome
    assert trial.compare(outcome="browning_l").matters is None


def test_what_matters_is_taken_as_typed(workspace):
    trial = workspace.trial("harbour")
    assert trial.compare(matters="1/8 in").matters == pytest.approx(3.175)
    assert trial.dose(matters="1,5").matters == 1.5
    with pytest.raises(InputError, match="matters is '3 oz': oz measures mass, expected length"):
        trial.compare(matters="3 oz")


def test_events_are_pointed_out_and_can_be_left_out(workspace):
    trial = workspace.trial("harbour")
    assert trial.compare().checks[-1] == (
        "without the 12 pieces of “warm room” the answer would be: cannot tell yet (with them: a "
        "difference that matters)"
    )
    without = trial.compare(leave_out=["warm room"])
    assert without.counts["dough"] == 18
    assert without.checks[-1] == "12 pieces left out because of: warm room"
    assert trial.compare(leave_out="warm room").leading == without.leading
    with pytest.raises(NotFoundError) as caught:
        trial.compare(leave_out=["flood"])
    assert str(caught.value) == "no event 'flood'. There are: 'warm room'."


def test_every_question_of_a_trial_is_told_its_mixings(workspace, two_factors):
    """Malts lie as by lot in the demo's mixings, and evenly in the other trial's."""
    for trial, malt in ((workspace.trial("harbour"), False), (two_factors, True)):
        for by, other in (trial.factors, reversed(trial.factors)):
            frame = trial.frame()
            asked = {"dough": "dough", "bake": "bake", "adjust": [other]}
            if "load" in frame:
                asked["load"] = "load"
            answer = trial.compare(by=by)
            same = kit.compare(frame, trial.outcome, by, mixing="retard_hours", **asked)
            assert answer.leading.se == same.leading.se
            assert ("mixing" in answer.fit.groups) == (malt or by == "retard_hours")
            assert trial.dose(of=by).fit.groups == answer.fit.groups
            each = trial.overview(outcomes=[trial.outcome]).comparisons[by, trial.outcome]
            assert each.leading == answer.leading


def test_against_none_with_dunnett(workspace):
    answer = workspace.trial("harbour").compare(control=0.0)
    assert list(answer.differences["versus"]) == [0.0, 0.0, 0.0]
    pairs = workspace.trial("harbour").compare()
    assert answer.differences["high"].iloc[0] < pairs.differences["high"].iloc[0]
    assert answer.answer is Answer.MATTERS


def test_several_trials_in_one_regression(workspace):
    second = workspace.new_trial("again", outcome="rise_height_mm")
    second.bring_in(
        second.look_at(pd.read_csv(DEMO).assign(rise_height_mm=lambda f: f["rise_height_mm"] + 5))
    )
    both = workspace.compare(["harbour", "again"], "rise_height_mm", "malt_percent", matters=2)
    assert both.counts == {"bake": 16, "dough": 40, "piece": 236}
    assert both.adjusted == ("trial",)
    line = workspace.compare(["harbour", "again"], "rise_height_mm", "malt_percent", line=True)
    assert line.kind == "line"


def test_page_of_a_trial(workspace, tmp_path):
    trial = workspace.trial("harbour")
    assert trial.report().question == trial.question
    cold = trial.compare(by="retard_hours")
    assert trial.report(cold).question == (  # all is answered there
        f"{trial.question} Asked here first: Does cold retard change height?"
    )
    assert trial.report(cold, others=False).question == ""  # not what was asked
    path = trial.writeup(tmp_path / "harbour.html")
    page = path.read_text(encoding="utf-8")
    assert "Invented data" in page
    assert "Does &lt;malt&gt; matter?" in page
    assert "window &lt;shut&gt;" in page
    assert "A &amp; B" in page
    plain = re.sub(r"\s+", " ", re.sub(r"<[^>]+>", "", page))
    assert trial.compare().sentence in plain


@pytest.fixture
def two_factors(tmp_path):
    """Malt 0 or 0.6 % inside, cold retard 24 or 48 h: two bakes of four doughs, two pieces each."""
    ws = kit.Workspace(tmp_path / "two")
    trial = ws.new_trial(
        "lodge/fog", "Does the malt matter? Does the second day?",
        factors={"malt_percent": [0, 0.6], "retard_hours": [24, 48]},
        outcome="rise_height_mm", matters=2,
    )  # fmt: skip
    lines = [("flour", "flour", 100), ("water", "liquid", 62), ("malt", "malt", 0.5)]
    trial.set_formula("muffin", lines)
    heights = iter([30, 31, 33, 33.4, 31, 30.6, 34, 34.4, 29.5, 30, 32.6, 33, 30.9, 31, 34.5, 34])
    for _ in range(2):
        bake = trial.add_bake("2026-11-05")
        for hours in (24, 48):
            for malt in (0, 0.6):
                dough = trial.add_dough(bake)
                trial.record(dough, "malt_percent", malt)
                trial.record(dough, "retard_hours", hours)
                for _ in range(2):
                    trial.record(trial.add_piece(dough), "rise_height_mm", next(heights))
    yield trial
    ws.close()


def page_sections(path):
    """Name of the section -> its words, of an HTML page."""
    found = re.findall(r'<section id="([\w-]+)".*?</section>', path.read_text("utf-8"), re.DOTALL)
    whole = re.findall(r"<section id=.*?</section>", path.read_text("utf-8"), re.DOTALL)
    plain = (re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", one)) for one in whole)
    return dict(zip(found, map(html.unescape, plain), strict=True))


def test_every_factor_has_its_section_on_the_page(two_factors, tmp_path):
    malt, cold = two_factors.compare(), two_factors.compare(by="retard_hours")
    for first, second in ((malt, cold), (cold, malt)):
        path = two_factors.writeup(tmp_path / "page.html", first)
        told = page_sections(path)
        assert f"The answer: {words.name(first.by)}" in told["answer"]
        assert first.sentence in told["answer"]
        assert first.rests_on in told["rests-on"]
        assert f"And {words.name(second.by)}?" in told["also-1"]
        assert "This page gives 2 answers, one a factor. Where a factor" in told["analysis"]
        regions = re.findall(r'role="region" aria-label="([^"]+)"', path.read_text("utf-8"))
        assert len(regions) == len(set(regions)) > 5  # a screen reader lists them
        for said in (second.headline, second.sentence, second.next_step, second.rests_on):
            assert said in told["also-1"]
        assert "What it does by itself is told above." in told["not-tested"]
        assert told["repeat"].count("kit.compare(frame") == 2
        page = path.read_text("utf-8")
        assert page.count("<svg") == 2
        ids = re.findall(r'\bid="([^"]+)"', page)
        assert len(ids) == len(set(ids))
        for name in re.findall(r'href="#([^"]+)"|url\(#([^)]+)\)', page):
            assert "".join(name) in ids
    text = two_factors.writeup(tmp_path / "page.md", malt).read_text("utf-8")
    assert "## And cold retard?\n" in text
    assert malt.sentence in text
    assert cold.sentence in text


def test_the_page_tells_opened_tastings_and_none_that_is_blind(two_factors):
    two_factors.plan_tasting("pair", ["long", "short"], tasters=3, seed=664201)
    served = two_factors.tastings()
    for who, code in served.groupby("taster")["code"].first().items():
        two_factors.taste(who, code)
    assert two_factors.report().tasted == ()
    two_factors.unblind()
    ((told, answer),) = two_factors.report().tasted
    assert told == (
        "Tasting 1, blind, pair, 3 tasters: long and short. They were asked: Which is liked better?"
    )
    assert str(answer) == str(two_factors.tasting_answer(1))
    assert two_factors.report(others=False).tasted == ()


@pytest.mark.parametrize(
    ("method", "headline"), [("pair", "chose short"), ("scores", "scored short higher")]
)
def test_what_was_not_asked_of_liking_is_not_told_as_liking(two_factors, method, headline):
    two_factors.plan_tasting(
        method, ["long", "short"], 12, seed=664203, question="Which tastes more sour?"
    )
    key = two_factors.serving().table.pivot(index="taster", columns="sample", values="code")
    for who, long, short in key.itertuples():
        two_factors.taste(who, short if method == "pair" else {short: 7, long: 3})
    two_factors.unblind()
    ((served, answer),) = two_factors.report().tasted
    assert served.endswith("long and short. They were asked: Which tastes more sour?")
    assert answer.headline == f"The tasters {headline}."
    assert "prefer" not in str(answer)
    assert answer.next_step == (
        "Next: decide whether that is what you want; the tasters were asked nothing else."
    )


@pytest.mark.parametrize(
    ("came", "scores", "why"),
    [
        (4, (6, 6), "Every score is 6: nothing can be told apart."),
        (1, (5, 7), "1 taster scored two samples or more: at least two tasters are needed."),
        (4, (5, None), "0 tasters scored two samples or more: at least two tasters are needed."),
    ],
)
def test_an_opened_tasting_without_an_answer_says_why(two_factors, tmp_path, came, scores, why):
    """It once took the whole page with it."""
    two_factors.plan_tasting("scores", ["long", "short"], 4, seed=664202, question="How sour?")
    plates = two_factors.tastings().groupby("taster")["code"].agg(list)
    for who, codes in list(plates.items())[:came]:
        two_factors.taste(who, dict(zip(codes, scores, strict=True)))
    two_factors.unblind(incomplete=True)
    told = page_sections(two_factors.writeup(tmp_path / "page.html"))
    who = "4 tasters" if came == 4 else f"{came} of 4 tasters answered"
    served = f"Tasting 1, blind, scores, {who}: long and short. They were asked: How sour?"
    assert f"{served} Not answered yet. {why}" in told["tasted"]
    assert "This page is about height only." in told["not-tested"]


def test_a_factor_without_an_answer_says_why_on_the_page(two_factors, tmp_path):
    two_factors.change(factors={"malt_percent": [0, 0.6], "salt_percent": [1.5, 2]})
    told = page_sections(two_factors.writeup(tmp_path / "page.html"))
    assert "Not answered yet. Nothing is recorded for salt in lodge/fog." in told["also-1"]


def test_pages_of_one_trial_do_not_take_each_other_s_place(two_factors):
    malt, cold = two_factors.compare(), two_factors.compare(by="retard_hours")
    assert two_factors.page_name(malt) == two_factors.page_name(cold) == "lodge-fog.html"
    for number, piece in enumerate(two_factors.pieces()):
        two_factors.record(piece, "diameter_mm", 80 + number % 3)
    assert two_factors.page_name(two_factors.compare("diameter_mm")) == "lodge-fog-diameter_mm.html"


def test_what_is_left_out_is_left_out_of_every_section(two_factors, tmp_path):
    two_factors.event("dropped", on=two_factors.doughs()[0])
    for kept, pieces in (((), 16), (["dropped"], 14)):
        answer = two_factors.compare(leave_out=kept)
        told = page_sections(two_factors.writeup(tmp_path / "page.html", answer, leave_out=kept))
        assert f"{pieces} pieces" in told["rests-on"]
        assert f"{pieces} pieces" in told["also-1"]


def test_the_formula_of_the_page_names_the_doses_that_were_baked(two_factors):
    table = two_factors.report().formula.set_index("name")["changed"]
    assert table["malt"] == "0 or 0.6 (changed on purpose)"
    assert table["flour"] == table["water"] == ""
    made = two_factors.formula()
    # 62 % water is 62 % hydration: 60 is 60 of water
    assert recipe(made, {"hydration_percent": [60, 62]})["changed"].tolist() == [
        "", "60 or 62 (changed on purpose)", "",
    ]  # fmt: skip
    assert recipe(made, {"malt_percent": [0.2]})["changed"].tolist()[2] == "0.2 (set by the trial)"
    assert recipe(made, {"malt_percent": [0.5]})["changed"].tolist()[2] == ""
    assert not any(recipe(made, {"yeast_percent": [0.4, 1]})["changed"])  # it has none
    many = recipe(made, {"malt_percent": [n / 10 for n in range(9)]})["changed"].tolist()
    assert many[2] == "0 to 0.8 (changed on purpose)"


def test_a_doughs_own_outcome_where_every_bake_calls_its_doughs_alike(tmp_path):
    with kit.Workspace(tmp_path) as ws:
        trial = ws.new_trial("letters", factors={"malt_percent": [0, 1]})
        for bake in range(4):
            made = trial.add_bake(f"2026-11-{bake + 1:02}")
            for code, malt in zip("AB", (bake % 2, 1 - bake % 2), strict=True):
                dough = trial.add_dough(made, code=code)
                trial.add_piece(dough)
                trial.record(dough, "malt_percent", malt)
                trial.record(dough, "dough_temp_c", 24 + malt + 0.1 * bake * (code == "A"))
        assert trial.compare("dough_temp_c").leading.difference == pytest.approx(1, abs=0.3)


def test_what_an_empty_trial_is_asked_is_refused_in_words(tmp_path):
    with kit.Workspace(tmp_path) as ws:
        trial = ws.new_trial("new", factors={"malt_percent": [0, 1]}, outcome="room_temp_c")
        for asked in (trial.compare, trial.dose, lambda: trial.compare("proof_ratio")):
            with pytest.raises(DataError, match="no pieces yet"):
                asked()
        with pytest.raises(DataError, match="new has no outcome to compare"):
            trial.overview()


@pytest.mark.parametrize(
    ("arguments", "error", "message"),
    [
        ({"by": "salt_percent"}, DataError, "nothing is recorded for salt_percent in harbour. "),
        ({"adjust": ["salt_percent"]}, DataError, "nothing is recorded for salt_percent in harb"),
        ({"adjust": "salt"}, DataError, "nothing is recorded for salt in harbour. Recorded are: "),
        ({"matters": 0}, InputError, "matters is 0: must be above 0. "),
        (
            {"outcome": "room_temp_c"},
            InputError,
            "outcome is 'room_temp_c': has one value a bake, and diastatic malt differs within a "
            "bake. Choose an outcome that can differ there.",
        ),
        (
            {"outcome": "dough_temp_c", "by": "side_minutes"},
            InputError,
            "outcome is 'dough_temp_c': has one value a dough, and time a side differs within a ",
        ),
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
    assert str(caught.value) == ("there are no pieces yet: record a bake first.")
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


def measured(trial, bake, rng):
    """Write down a height of every piece of a bake; malt makes no difference."""
    for dough in trial.doughs(bake):
        luck = rng.normal(30, 0.8)
        for piece in trial.pieces(dough):
            trial.record(piece, "rise_height_mm", luck + rng.normal(0, 1.2))


def test_an_answer_looked_at_before_the_plan_is_done_says_so(tmp_path):
    rng = np.random.default_rng(5)
    with kit.Workspace(tmp_path / "early") as ws:
        trial = ws.new_trial(
            "early", factors={"malt_percent": [0, 0.8]}, outcome="rise_height_mm", matters=2
        )
        bakes = trial.keep(trial.design(kit.Kitchen(bakes=4, tubs=2)), "2026-12-03")
        told = (
            "3 of the 4 planned bakes are measured: whoever looks after every bake and stops at "
            "the first answer is fooled far more often than one time in twenty; “What should I "
            "bake next?” (trial.next) allows for every look"
        )
        for bake in bakes[:3]:
            measured(trial, bake, rng)
        assert told in trial.compare().checks
        assert told in trial.dose().checks
        page = trial.writeup(tmp_path / "early.html", trial.compare()).read_text()
        assert "is fooled far more often than one time in twenty." in page
        assert "trial.next" not in page  # the reader of a page has no notebook to ask
        report = trial.report()
        assert told in report.comparison.checks  # hence on the page
        assert report.drawn
        measured(trial, bakes[3], rng)
        assert not [c for c in trial.compare().checks if "planned" in c]
        fifth = trial.add_bake("2027-01-07")
        load = trial.add_load(fifth)
        for malt in (0, 0.8):
            dough = trial.add_dough(fifth)
            trial.record(dough, "malt_percent", malt)
            for _ in range(4):
                trial.add_piece(dough, load)
        measured(trial, fifth, rng)
        assert not trial.report().drawn
        assert trial.compare().checks[-1] == (
            "1 bake came on top of the 4 planned: if what was seen by then led to more, the "
            "answer is less sure than it says"
        )


def test_doughs_given_up_come_before_the_next_step(tmp_path):
    """Half of the treated doughs came to nothing: that is no number to be sharpened."""
    rng = np.random.default_rng(5597031)
    with kit.Workspace(tmp_path / "bakes") as ws:
        trial = ws.new_trial(
            "malt", factors={"malt_percent": [0, 1]}, outcome="rise_height_mm", matters=2
        )
        for day in range(5):
            bake = trial.add_bake(f"2026-10-0{day + 1}")
            for again in range(2):
                for malt in (0, 1):
                    dough = trial.add_dough(bake)
                    trial.record(dough, "malt_percent", malt)
                    for _ in range(0 if malt and again else 4):
                        height = round(30 + 6 * malt + rng.normal(0, 0.3), 1)
                        trial.record(trial.add_piece(dough), "rise_height_mm", height)
        answers = (trial.compare(), trial.dose(shape="straight"))
        for answer in answers:
            assert answer.answer.value == "a difference that matters"
            assert "think about the notes first" in answer.next_step
            assert "only sharpen" not in answer.next_step
            (lost,) = [c for c in answer.checks if "have no height at all" in c]
            assert lost in answer.examined.checks

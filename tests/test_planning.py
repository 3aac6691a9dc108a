"""A trial before the bake: plan kept, weights, times, sheet; from the records alone."""

import re
from datetime import date, time

import html5lib
import icalendar
import numpy as np
import pandas as pd
import pytest

import kit
from kit import shipped
from kit.cli import main
from kit.errors import DataError, InputError, NotFoundError
from kit.plan.timetable.limits import Limits


@pytest.fixture
def ws(tmp_path):
    with kit.Workspace(tmp_path / "bakes") as ws:
        yield ws


@pytest.fixture
def trial(ws):
    made = ws.new_trial(
        "malt",
        factors={"malt_percent": [0, 0.6, 1.2], "side_minutes": [5, 6]},
        outcome="rise_height_mm",
        matters=2,
        zone="Europe/Lisbon",
    )
    lines = [
        ("bread flour", "flour", 100), ("water", "liquid", 60), ("salt", "salt", 1.8),
        ("instant dry yeast", "yeast", 0.5), ("diastatic malt", "malt", None),
    ]  # fmt: skip
    made.set_formula("Muffin", lines)
    return made


KITCHEN = kit.Kitchen(bakes=3, doughs_per_bake=3, pieces_per_dough=4, places=6)


def kept(trial, **more):
    plan = trial.design(KITCHEN)
    return plan, trial.keep(plan, "2026-12-03", same={"retard_hours": "24"}, **more)


def test_a_kept_plan_is_the_planned_readings(trial):
    plan, bakes = kept(trial)
    assert [bake.day for bake in bakes] == [
        date(2026, 12, 3), date(2026, 12, 10), date(2026, 12, 17),
    ]  # fmt: skip
    frame, how = trial.frame(), trial.provenance()
    assert len(frame) == len(plan.runs) == 36
    for name in ("malt_percent", "side_minutes", "retard_hours"):
        assert set(how[name]) == {"planned"}
    # the same settings in the same places, piece by piece
    keys = ["bake", "load", "place"]
    stored = frame.astype({"bake": int}).sort_values(keys)
    asked = plan.runs.sort_values(keys)
    for name in (*keys, "dough", "malt_percent", "side_minutes"):
        assert stored[name].tolist() == asked[name].tolist(), name
    runs = pd.concat([trial.planned(bake) for bake in bakes]).astype({"bake": int})
    blind = runs.sort_values(keys)["blind"].tolist()
    assert blind == asked["code"].astype(str).tolist()
    assert len(set(blind)) == 36
    order = runs.drop_duplicates(["bake", "dough"]).set_index("dough")["order"].to_dict()
    assert order == plan.doughs.set_index("dough")["order"].to_dict()


def test_what_is_done_counts_in_place_of_what_was_planned(trial):
    _, bakes = kept(trial)
    dough = trial.doughs(bakes[0])[0]
    planned = trial.planned(bakes[0]).set_index("dough")["malt_percent"].loc[dough.code].iloc[0]
    trial.record(dough, "malt_percent", "0,65")
    frame = trial.frame()
    assert set(frame.loc[frame["dough"] == dough.code, "malt_percent"]) == {0.65}
    again = trial.planned(bakes[0]).set_index("dough")["malt_percent"].loc[dough.code].iloc[0]
    assert again == planned  # the plan stays what it was
    assert trial.planned_bakes() == bakes[1:]


def test_one_undo_takes_the_plan_back(ws, trial):
    kept(trial)
    assert ws.undo() == "undone: malt: plan kept: 3 bakes"
    assert trial.bakes() == []
    assert trial.frame().empty


def test_another_plan_puts_away_only_what_was_not_begun(ws, trial):
    _, bakes = kept(trial)
    trial.record(trial.pieces(trial.doughs(bakes[0])[0])[0], "rise_height_mm", 31)
    trial.event("fridge open", on=trial.doughs(bakes[1])[0])
    _, more = kept(trial, instead=True)
    assert {bake.code for bake in trial.bakes()} == {"1", "2", *(bake.code for bake in more)}
    codes = [piece.blind for piece in trial.pieces()]
    assert len(set(codes)) == len(codes)  # also across plans drawn from one seed
    assert [bake.code for bake in trial.put_plan_away()] == [bake.code for bake in more]
    assert len(trial.bakes()) == 2
    ws.undo()
    assert len(trial.bakes()) == 5


def test_factors_grow_with_the_plan(ws):
    bare = ws.new_trial("bare", outcome="rise_height_mm")
    plan = kit.design([kit.Factor("malt_percent", (0, 1))], kit.Kitchen(bakes=2, tubs=2))
    bare.keep(plan)
    assert bare.factors == {"malt_percent": [0, 1]}
    assert bare.bakes()[0].day is None
    bare.keep(kit.design([kit.Factor("malt_percent", (0.5, 1))], kit.Kitchen(bakes=2, tubs=2)))
    assert bare.factors == {"malt_percent": [0, 0.5, 1]}


@pytest.mark.parametrize(
    ("given", "error", "message"),
    [
        ({"days": "3/12/2026"}, InputError, "days is '3/12/2026'"),
        ({"days": ["2026-12-03"]}, InputError, "days is 1: must be 3, one a bake."),
        (
            {"days": ["2026-12-10", "2026-12-03", "2026-12-17"]},
            InputError,
            "must be in order, each once",
        ),
        ({"days": "2026-12-03", "every_days": 0}, InputError, "every_days is 0: must be a whole"),
        ({"same": {"malt_percent": 1}}, InputError, "malt_percent is 1: is varied by the plan."),
        ({"same": {"retard_hours": -2}}, InputError, "retard_hours is -2"),
        ({"same": {"nonsense": 1}}, NotFoundError, "no quantity 'nonsense'"),
    ],
)
def test_what_cannot_be_kept(trial, given, error, message):
    with pytest.raises(error, match=re.escape(message)):
        trial.keep(trial.design(KITCHEN), **given)
    assert trial.bakes() == []


def test_weights_of_a_planned_bake(trial):
    _, bakes = kept(trial)
    sheet = trial.weigh(bakes[0], "76 g" and 76, scale_step_g=0.1)
    doses = trial.planned(bakes[0]).drop_duplicates("dough").set_index("dough")["malt_percent"]
    assert set(sheet.doughs) == set(doses.index)
    for dough, dose in doses.items():
        weight = sheet[dough, "diastatic malt"]
        assert weight.percent == dose
        assert weight.low_percent <= dose <= weight.high_percent
        assert sheet.dough_g(dough) >= 4 * 76 - 0.05
    trial.workspace.new_trial("empty")
    with pytest.raises(DataError, match="nothing is planned for"):
        trial.planned(trial.add_bake())


def test_no_formula_no_weights(ws):
    bare = ws.new_trial("bare", factors={"malt_percent": [0, 1]})
    (bake, _) = bare.keep(bare.design(kit.Kitchen(bakes=2, tubs=2)))
    with pytest.raises(DataError, match=re.escape("bare has no formula: set it first")):
        bare.weigh(bake, 76)


def test_an_amount_left_open_that_no_plan_sets_is_named(ws):
    salt = ws.new_trial("salt", factors={"salt_percent": [1.5, 2]})
    lines = [("flour", "flour", 100), ("water", "liquid", 60), ("salt", "salt", 2)]
    salt.set_formula("Muffin", [*lines, ("diastatic malt, as the trial says", "malt", None)])
    (bake, _) = salt.keep(salt.design(kit.Kitchen(bakes=2, tubs=2)))
    said = "the formula leaves diastatic malt open (?), and nothing planned for dough 1A says how"
    with pytest.raises(DataError, match=re.escape(said)):
        salt.weigh(bake, 76)
    salt.set_formula("Muffin", [*lines, ("diastatic malt", "malt", 0.8)])
    assert salt.weigh(bake, 76)["1A", "diastatic malt"].percent == 0.8


def test_weights_days_and_times_as_people_give_them(trial):
    plan, bakes = kept(trial, every_days=np.int64(7))
    assert [bake.day.isoformat() for bake in bakes] == ["2026-12-03", "2026-12-10", "2026-12-17"]
    assert trial.weigh(bakes[0], "76 g").to_frame().equals(trial.weigh(bakes[0], 76).to_frame())
    at_noon = trial.timetable(bakes[0], "12:00").table_time
    assert trial.timetable(bakes[0], time(12)).table_time == at_noon
    assert trial.timetable(bakes[0], "3.12.2026 12:00").table_time == at_noon
    with pytest.raises(InputError, match=r"every_days is 2\.5: must be a whole number"):
        trial.keep(plan, "2026-12-03", every_days=2.5, instead=True)


def test_times_take_the_bakes_day_and_zone(trial):
    _, bakes = kept(trial)
    times = trial.timetable(bakes[0], "12 pm", limits=Limits(tubs=3))
    assert f"{times.table_time:%Y-%m-%d %H:%M}" == "2026-12-03 12:00"
    assert str(times.table_time.tzinfo) == "Europe/Lisbon"
    full = trial.timetable(bakes[0], "2026-12-04 12:00")
    assert full.table_time.day == 4
    with pytest.raises(InputError, match="table_time is 'noon': is not a time of day"):
        trial.timetable(bakes[0], "noon")
    trial.change(bakes[0], day=None)
    with pytest.raises(InputError, match="needs a day, and bake 1 has none"):
        trial.timetable(trial.bake("1"), "12:00")


def test_the_fitted_timetable_bakes_the_same_pieces(trial):
    _, bakes = kept(trial)
    asked = trial.timetable(bakes[0], "5:00")
    fitted = asked.fitted()
    assert not asked.fits
    assert fitted.fits
    assert fitted.notes[0].startswith("changed so that it fits: ")
    assert set(fitted.pieces["piece"]) == set(asked.pieces["piece"])
    assert fitted.fitted() is fitted
    hopeless = trial.timetable(bakes[0], "5:00", limits=Limits(awake_from="6:00", awake_to="6:10"))
    assert hopeless.fitted() is hopeless


def test_sheet_and_calendar(trial, tmp_path):
    _, bakes = kept(trial)
    weights = trial.weigh(bakes[0], 76)
    times = trial.timetable(bakes[0], "12:00").fitted()
    page = trial.bench_sheet(bakes[0], tmp_path / "sheet.html", weights, times)
    text = page.read_text(encoding="utf-8")
    html5lib.HTMLParser(strict=True).parse(text)
    for row in trial.planned(bakes[0]).itertuples():
        assert row.blind in text
    assert "the blend below does" in text
    assert "Blend: mix" in text
    calendar = icalendar.Calendar.from_ical(
        trial.calendar(times, tmp_path / "bake.ics").read_bytes()
    )
    assert calendar.walk("VEVENT")
    assert not list(tmp_path.glob(".*part"))
    trial.change(invented=True)
    trial.bench_sheet(bakes[0], page)
    assert "(invented data)" in page.read_text(encoding="utf-8")


def test_the_kept_plan_says_how_many_bakes_were_planned(trial):
    _, bakes = kept(trial)
    rng = np.random.default_rng(2)
    for made, bake in enumerate(bakes, start=1):
        for piece in trial.pieces():
            if piece.dough.bake == bake:
                trial.record(piece, "rise_height_mm", float(rng.normal(30, 1)))
        if made > 1:
            found = trial.next()
            assert found.looks.planned == len(bakes)
            assert not any("were taken as planned" in check for check in found.checks)
    assert trial.planned_bakes() == []


def test_more_bakes_of_a_proof_that_was_read_are_of_the_settings_meant(ws):
    """Each reading was planned as a setting: proof ratio at 1.44, 1.56 … 14 of them."""
    trial = ws.new_trial(
        "proof", factors={"proof_ratio": [1.6, 2.0, 2.4]}, outcome="rise_height_mm", matters=1
    )
    rng = np.random.default_rng(9641200)
    for bake in (trial.add_bake(day) for day in ("2026-11-05", "2026-11-12")):
        for dough in (trial.add_dough(bake) for _ in "AB"):
            for ratio in (1.6, 1.6, 2.0, 2.0, 2.4, 3.2):
                piece = trial.add_piece(dough)
                read = 3.2 if ratio == 3.2 else round(ratio + rng.normal(0, 0.12), 2)
                trial.record(piece, "proof_ratio", read)
                trial.record(piece, "rise_height_mm", round(30 + rng.normal(), 1))
    assert trial.frame()["proof_ratio"].nunique() > 8
    assert sorted(trial.baked()["proof_ratio"].unique()) == [1.6, 2.0, 2.4, 3.2]
    assert "proof_ratio, meant" not in trial.baked()
    plan = trial.extend(kit.Kitchen(bakes=1, doughs_per_bake=2, pieces_per_dough=6))
    assert plan.factors[0].settings == (1.6, 2.0, 2.4, 3.2)


def test_more_bakes_for_a_trial_under_way(ws):
    demo = shipped.load_demo(ws)
    plan = demo.extend(kit.Kitchen(bakes=1, tubs=4))
    assert plan.runs["bake"].unique().tolist() == [9]
    spread = demo.spread()
    noticed = demo.power(demo.design(kit.Kitchen(bakes=5, tubs=4)), of="malt_percent")
    assert noticed.spread == kit.Spread(**{**vars(spread)})
    assert noticed.matters == 2.0
    with pytest.raises(DataError, match="nothing has been baked yet"):
        ws.new_trial("new", factors={"malt_percent": [0, 1]}, outcome="rise_height_mm").extend(
            kit.Kitchen(bakes=1, tubs=4)
        )


def typed(*words):
    with pytest.raises(SystemExit) as ended:
        main(words)
    return ended.value.code or 0


def test_the_same_from_the_command_line(tmp_path, capsys):
    folder = str(tmp_path / "bakes")
    assert typed("start", folder, "--no-lab") == 0
    plan = ["plan", folder, "--trial", "m", "--factor", "malt_percent=0 to 1.2", "--matters", "2"]
    more = ["--spread-of", "harbour-malt", "--keep", "--first", "2026-12-03"]
    assert typed(*plan, *more, "--formula", "harbour-malt") == 0
    said = capsys.readouterr().out
    assert "you will notice a difference of" in said
    assert "Kept in m: bakes 1, 2, 3, 4, 5." in said
    assert typed("sheet", folder, "--trial", "m", "--table", "12:00", "--piece", "2 3/4 oz") == 0
    said = capsys.readouterr().out
    assert (tmp_path / "bakes/m-bake-1.html").exists()
    assert (tmp_path / "bakes/m-bake-1.ics").exists()
    for words, message in (
        (["plan", folder, "--factor", "malt_percent"], "must be a quantity and its settings"),
        (["plan", folder, "--factor", "malt_percent=0, 130"], "must lie between 0 and 20"),
        (["plan", folder, "--factor", "malt_percent=0 to 1", "--bakes", "0"], "--bakes is '0'"),
        ([*plan[:2], *plan[4:], "--keep"], "--trial is '': is needed to keep a plan"),
        (["sheet", folder, "--trial", "harbour-malt"], "and none is planned"),
    ):
        assert typed(*words) == 2
        assert message in capsys.readouterr().err.replace("\n", " ")


# a trial that was begun


@pytest.fixture
def begun(ws):
    """Three bakes of two doughs, malt 0 and 0.6 %, heights made up."""
    trial = ws.new_trial(
        "begun", factors={"malt_percent": [0, 0.6]}, outcome="rise_height_mm", matters=2
    )
    rng = np.random.default_rng(20261126)
    for week in range(3):
        bake = trial.add_bake(f"2026-10-{1 + 7 * week:02d}")
        for malt in (0, 0.6):
            dough = trial.add_dough(bake)
            trial.record(dough, "malt_percent", malt)
            for _ in range(4):
                height = round(30 + 5 * malt + rng.normal(), 1)
                trial.record(trial.add_piece(dough), "rise_height_mm", height)
    return trial


def test_a_factor_the_bakes_so_far_lack_is_refused(begun):
    before = begun.compare().headline
    plan = kit.design([kit.Factor("salt_percent", (1, 2))], kit.Kitchen(bakes=2, tubs=2))
    with pytest.raises(InputError) as caught:
        begun.keep(plan, "2027-01-05")
    assert str(caught.value) == (
        "factor is 'salt_percent': is not what begun changes (diastatic malt): its bakes so far "
        "lack it. Begin a new trial for it."
    )
    assert begun.factors == {"malt_percent": [0, 0.6]}
    assert begun.planned_bakes() == []
    assert begun.compare().headline == before


def test_before_the_first_bake_a_plan_may_ask_more_but_nothing_else(ws):
    trial = ws.new_trial("m", factors={"malt_percent": [0, 0.6]}, outcome="rise_height_mm")
    kitchen, salt = kit.Kitchen(bakes=2, tubs=4), kit.Factor("salt_percent", (1, 2))
    with pytest.raises(InputError) as caught:
        trial.keep(kit.design([salt], kitchen), "2027-01-05")
    assert str(caught.value) == (
        "factor is 'salt_percent': is not what m changes (diastatic malt). Begin a new trial for "
        "it."
    )
    assert (trial.factors, trial.planned_bakes()) == ({"malt_percent": [0, 0.6]}, [])
    both = kit.design([kit.Factor("malt_percent", (0, 0.6)), salt], kitchen)
    assert len(trial.keep(both, "2027-01-05")) == 2
    assert list(trial.factors) == ["malt_percent", "salt_percent"]


def test_what_is_only_planned_is_not_held_alike(begun):
    before = begun.compare()
    begun.change(factors={"malt_percent": [0, 0.6], "salt_percent": [1, 2]})
    plan = kit.design([kit.Factor("salt_percent", (1, 2))], kit.Kitchen(bakes=2, tubs=2))
    begun.keep(plan, "2027-01-05", same={"malt_percent": 0.6})
    assert begun.compare().differences.equals(before.differences)
    assert begun.compare().checks == before.checks  # pieces to come are not missing
    assert begun.next().comparison.differences.equals(before.differences)


def test_a_trial_begins_with_its_plan_or_not_at_all(ws):
    plan = kit.design([kit.Factor("malt_percent", (0, 0.6))], kit.Kitchen(bakes=2, tubs=2))
    with pytest.raises(InputError, match="3/12/2026"):
        ws.begin("x", plan, "3/12/2026", outcome="rise_height_mm")
    assert ws.trials() == []
    trial, bakes = ws.begin("x", plan, "2026-12-03", outcome="rise_height_mm", matters=2)
    assert (trial.name, len(bakes), trial.matters) == ("x", 2, 2.0)
    assert ws.undo() == "undone: x: trial begun with its plan"
    assert ws.trials() == []


def test_a_plan_that_cannot_be_kept_takes_back_nothing_of_others(ws):
    """In a workspace that a kitchen shares the newest thing done may be another's."""
    theirs = kit.Workspace(ws.folder)  # another window
    other = theirs.new_trial("theirs")
    plan = kit.design([kit.Factor("malt_percent", (0, 0.6))], kit.Kitchen(bakes=2, tubs=2))
    keep = kit.Trial.keep

    def meanwhile(self, *args):
        other.change(question="asked meanwhile")
        return keep(self, *args)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(kit.Trial, "keep", meanwhile)
        with pytest.raises(InputError):
            ws.begin("x", plan, "3/12/2026", outcome="rise_height_mm")
    assert [trial.name for trial in ws.trials()] == ["theirs"]
    assert other.question == "asked meanwhile"
    theirs.close()


def cli(capsys, ws, *more):
    with pytest.raises(SystemExit) as ended:
        main(["plan", str(ws.folder), *more])
    told = capsys.readouterr()
    return ended.value.code, " ".join((told.out + told.err).split())


def test_the_command_plans_on_from_what_was_baked(begun, ws, capsys):
    malt = ("--trial", "begun", "--factor", "malt_percent=0, 0.6", "--bakes", "1", "--doughs", "4")
    code, told = cli(capsys, ws, *malt, "--keep", "--first", "2027-01-05")
    assert not code
    assert "spread is known only from 6 doughs on 3 bakes of begun" in told
    assert "4 bakes" in told  # three are in already
    assert "Kept in begun: bake 4." in told
    assert len(begun.planned_bakes()) == 1
    code, told = cli(capsys, ws, *malt, "--keep", "--first", "2027-01-12")
    assert told.endswith(
        "Kept in begun: bake 4. Put away, because planned earlier and not begun: bake 4. Undo "
        "brings them back."
    )
    with pytest.raises(SystemExit):
        main(["undo", str(ws.folder)])
    said = "Undone: begun: plan kept: 1 bake, 1 planned earlier put away.\n"
    assert capsys.readouterr().out == said
    assert [bake.day for bake in begun.planned_bakes()] == [date(2027, 1, 5)]
    code, told = cli(capsys, ws, "--trial", "begun", "--factor", "salt_percent=1, 2", "--keep")
    assert code == 2
    assert "is not what begun changes" in told


def test_the_command_stores_nothing_when_something_cannot_be(ws, capsys):
    malt = ("--factor", "malt_percent=0, 1")
    code, told = cli(capsys, ws, *malt, "--trial", "x", "--keep", "--first", "3/12/2026")
    assert code == 2
    assert "3/12/2026" in told
    assert ws.trials() == []
    code, told = cli(capsys, ws, *malt, "--formula", "nope")
    assert code == 2
    assert "nope" in told


def test_every_factor_is_told_what_will_be_noticed(ws, capsys):
    _, told = cli(
        capsys, ws, "--factor", "malt_percent=0, 0.6", "--factor", "side_minutes=5 or 6",
        "--sd-dough", "1", "--sd-piece", "1.5",
    )  # fmt: skip
    assert "between the two settings of diastatic malt" in told
    assert "between the two settings of time a side" in told


@pytest.mark.parametrize("hours", [0, "0 h"])
def test_proof_inside_doughs_that_are_not_chilled_is_not_kept(ws, hours):
    """They would be shaped all at once, and the records would have it that they proofed apart."""
    warm = ws.new_trial("warm", factors={"proof_ratio": [1.5, 2]})
    plan = warm.design(kit.Kitchen(bakes=2, tubs=2))
    with pytest.raises(InputError) as caught:
        warm.keep(plan, same={"retard_hours": hours})
    assert str(caught.value) == (
        f"retard_hours is {hours!r}: would not let proof ratio be varied: a dough that is not "
        "chilled is shaped all at once, and its pieces proof alike. Chill it for some hours, or "
        "change proof from dough to dough."
    )
    assert not warm.bakes()
    assert len(warm.keep(plan, same={"retard_hours": 16})) == 2

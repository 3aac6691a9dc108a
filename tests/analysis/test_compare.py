"""The answer: right unit, right numbers, and refusals that say what to bake."""

import re
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from scipy import stats

import kit
from kit.analysis.answer.fitting import Difference
from kit.analysis.dose import dose
from kit.analysis.grouping.structure import read_records
from kit.analysis.steadiness import steadiness
from kit.analysis.verdict import MOST_DOUGHS, Answer, decide, more_units
from kit.errors import DataError, DesignError, InputError, KitError, NotFoundError

PUBLISHED = Path(__file__).parents[2] / "datasets" / "published"
DEMO = Path(__file__).parents[2] / "datasets" / "demo" / "pieces.csv"


@pytest.fixture
def small():
    """Three bakes, both malts in each, four pieces a dough."""
    rng = np.random.default_rng(1)
    rows = [
        (bake, f"{bake}{letter}", f"{bake}{letter}{i}", malt, 5 + i % 2)
        for bake in (1, 2, 3)
        for letter, malt in (("A", 0.0), ("B", 0.8))
        for i in (1, 2, 3, 4)
    ]
    frame = pd.DataFrame(rows, columns=["bake", "dough", "piece", "malt_percent", "side_minutes"])
    frame["rise_height_mm"] = (28 + 3 * frame["malt_percent"] + rng.normal(size=24)).round(1)
    return frame


def ask(frame, **changes):
    given_ = {
        "outcome": "rise_height_mm", "by": "malt_percent", "dough": "dough", "bake": "bake",
        "matters": 2.0,
    }  # fmt: skip
    return kit.compare(frame, **(given_ | changes))


# against published analyses


def test_cake_recipe():
    """Cochran & Cox (1957), data of Cook (1938): recipe F = 1.578 on 2 and 28 df."""
    c = kit.compare(
        pd.read_csv(PUBLISHED / "cake.csv"),
        outcome="angle_deg", by="recipe", dough="mix", bake="replicate", matters=3,
    )  # fmt: skip
    assert c.test["F"] == pytest.approx(1.578, abs=5e-4)
    assert (c.test["num_df"], c.test["den_df"]) == (2, pytest.approx(28))
    assert c.unit == "dough"
    assert c.counts == {"bake": 15, "dough": 45, "piece": 270}
    assert c.answer is Answer.UNCLEAR


def test_cake_temperature_is_judged_within_doughs():
    """Temperature varied within a mix: Cook's data, F = 20.5 on 5 and 210 df by R's lmerTest."""
    c = kit.compare(
        pd.read_csv(PUBLISHED / "cake.csv"),
        outcome="angle_deg", by="temperature_f", dough="mix", bake="replicate", matters=3,
    )  # fmt: skip
    assert c.unit == "piece"
    assert c.test["F"] == pytest.approx(20.5, abs=0.05)
    assert c.answer is Answer.MATTERS
    assert c.leading.versus == 175


def test_cookie_dough_counts_doughs():
    """Lawson, Design and Analysis of Experiments with R: shortening F(1, 1) = 374, p = 0.033."""
    frame = pd.read_csv(PUBLISHED / "cookie_dough.csv")
    c = kit.compare(
        frame, outcome="diameter", by="shortening_percent", dough="dough", bake="batch", matters=0.3
    )
    assert c.test["F"] == pytest.approx(374.1, rel=1e-3)
    assert c.test["den_df"] == pytest.approx(1)
    assert c.test["p"] == pytest.approx(0.033, abs=5e-4)
    assert c.naive_p < 1e-6
    assert c.why_not_pieces == (
        "Had each of the 24 pieces been counted as an experiment of its own, p would read 3e-07 "
        "instead of 0.033. That would be wrong: the pieces of one dough share its luck, so 6 of "
        "them are not 6 separate answers. What was varied was varied between doughs, and there "
        "are 4 doughs."
    )


def test_cookie_dough_naive_analysis():
    """Where 4e-9 comes from: the full model judged by the spread inside the doughs (10 df)."""
    frame = pd.read_csv(PUBLISHED / "cookie_dough.csv")
    formula = (
        "diameter ~ C(batch)*C(shortening_percent) + C(shortening_percent)*tray_temp*bake_temp"
    )
    naive = kit.mixed(frame, formula)
    assert naive.terms.loc["C(shortening_percent)", "p"] == pytest.approx(4.1e-9, rel=0.01)
    assert naive.terms.loc["C(shortening_percent)", "den_df"] == pytest.approx(10)


def test_bread_rise_one_way():
    """Lawson: 12 loaves, F(2, 9) = 4.602, p = 0.042; scipy agrees."""
    frame = pd.read_csv(PUBLISHED / "bread_rise.csv")
    c = kit.compare(frame, outcome="height", by="rise_minutes", dough="loaf")
    assert c.test["F"] == pytest.approx(4.6022, abs=5e-4)
    groups = [g["height"] for _, g in frame.groupby("rise_minutes")]
    assert c.test["p"] == pytest.approx(stats.f_oneway(*groups).pvalue, rel=1e-9)


def test_two_settings_equal_the_t_test_on_dough_means(small):
    """Without bakes and balanced, the answer is Student's t on the dough means (scipy)."""
    c = ask(small, bake=None)
    means = small.groupby(["malt_percent", "dough"])["rise_height_mm"].mean()
    t = stats.ttest_ind(means[0.8], means[0.0])
    interval = t.confidence_interval()
    assert c.leading.p == pytest.approx(t.pvalue, rel=1e-8)
    assert (c.leading.low, c.leading.high) == pytest.approx((interval.low, interval.high), rel=1e-8)


def test_with_bakes_equal_the_paired_t_test(small):
    """Every setting once in every bake: the paired t test on dough means (scipy)."""
    c = ask(small)
    means = small.groupby(["malt_percent", "bake"])["rise_height_mm"].mean()
    assert c.leading.p == pytest.approx(stats.ttest_rel(means[0.8], means[0.0]).pvalue, rel=1e-8)


def test_line_through_dough_means(small):
    """A straight line equals the difference of two settings; with scipy's slope on means."""
    c = ask(small, line=True, bake=None)
    means = small.groupby("dough")[["malt_percent", "rise_height_mm"]].mean()
    slope = stats.linregress(means["malt_percent"], means["rise_height_mm"])
    assert c.leading.difference == pytest.approx(0.8 * slope.slope)
    assert c.leading.se == pytest.approx(0.8 * slope.stderr)
    assert c.kind == "line"


# the unit follows from the records


def test_load_level_factor(small):
    frame = pd.concat([small.assign(load=1 + small["side_minutes"] % 2)])
    frame["griddle_temp_c"] = np.where(frame["load"] == 1, 180, 200)
    c = ask(frame, by="griddle_temp_c", load="load", matters=None)
    assert c.unit == "load"


def test_bake_level_factor(small):
    more = pd.concat([small, small.assign(bake=small["bake"] + 3, dough=small["dough"] + "x")])
    more["piece"] = range(len(more))
    more["room_temp_c"] = np.where(more["bake"] % 2 == 0, 20, 28)
    c = ask(more, by="room_temp_c", matters=None)
    assert c.unit == "bake"
    assert c.leading.df < 6


def test_value_of_a_dough_is_counted_once(small):
    means = small.groupby("dough")["rise_height_mm"].transform("mean")
    c = ask(small.assign(rise_height_mm=means))
    assert c.counts["piece"] == 6
    assert c.checks[0] == "all pieces of a dough have the same height, so it was taken once a dough"
    assert c.leading.p == pytest.approx(ask(small).leading.p, rel=1e-6)


def test_missing_pieces_are_named(small):
    frame = small.copy()
    frame.loc[[1, 5], "rise_height_mm"] = np.nan
    c = ask(frame)
    assert c.checks[0] == "2 pieces of 24 left out: height is missing (1A2 and 1B2)"
    assert c.counts["piece"] == 22


def test_several_trials_are_held_alike(small):
    other = small.assign(rise_height_mm=small["rise_height_mm"] + 10)
    both = pd.concat([small.assign(trial="one"), other.assign(trial="two")], ignore_index=True)
    c = ask(both.drop(columns="piece"), trial="trial")
    assert c.counts == {"bake": 6, "dough": 12, "piece": 48}
    assert c.adjusted == ("trial",)
    # the trials' level of 10 mm goes to the trial, not into the spread
    assert c.leading.se < 0.5


def test_columns_with_any_name(small):
    frame = small.rename(
        columns={"rise_height_mm": "2nd <b>", "malt_percent": "class", "dough": "C", "bake": "I"}
    )
    c = ask(frame, outcome="2nd <b>", by="class", dough="C", bake="I")
    assert c.leading.p == pytest.approx(ask(small).leading.p)
    assert "<b>" not in c._repr_html_()


# refusals, the whole message


@pytest.mark.parametrize(
    ("change", "error", "message"),
    [
        (lambda f: f.iloc[:0], DataError,
         "there are no pieces yet: record a bake first."),
        (lambda f: f[f["dough"] == "1A"], DataError,
         "diastatic malt has one setting only (0.0) among the pieces with height: there is "
         "nothing to compare it with. Bake at least one more setting, twice."),
        (lambda f: f.assign(rise_height_mm=["tall", *f["rise_height_mm"][1:]]), DataError,
         "rise_height_mm is 'tall' (row 1 of the table): is not a number. 1 of 24 values are "
         "text; correct them or leave the cells empty."),
        (lambda f: pd.concat([f, f.iloc[[2]]]), DataError,
         "piece '1A3' stands in rows 3 and 25 of the table: a piece must stand once. Give each "
         "piece its own name, or remove the copy."),
        (lambda f: f.assign(rise_height_mm=[np.inf, *f["rise_height_mm"][1:]]), DataError,
         "rise_height_mm is inf (row 1 of the table): is not a finite number. Correct it or leave "
         "the cell empty."),
        (lambda f: f.assign(rise_height_mm=np.nan), DataError,
         "no piece has both rise_height_mm and malt_percent: nothing to compare. Record height "
         "for pieces of at least two settings."),
        (lambda f: f[f["dough"].isin(["1A", "1B"])], DesignError,
         "each setting of diastatic malt was mixed once (2 doughs): no number of pieces can tell "
         "the setting from the dough. Mix each setting in at least one more dough, best on "
         "another bake."),
        (lambda f: f[f["dough"].isin(["1A", "2B"])], DesignError,
         "diastatic malt and bake cannot be told apart: each setting was baked on one bake only, "
         "so a difference may come from the day as well. Bake each setting on at least two bakes, "
         "best all settings on every bake."),
        (lambda f: f.assign(rise_height_mm=30.0), DataError,
         "the readings do not differ at all within a setting: there is no spread to judge a "
         "difference by. Readings in coarse steps may agree so by chance: read finer, or bake once "
         "more. Or were they copied, and not measured one by one?"),
    ],
)  # fmt: skip
def test_refuses_to_pretend(small, change, error, message):
    with pytest.raises(error) as caught:
        ask(change(small))
    assert str(caught.value) == message


@pytest.mark.parametrize(
    ("named", "first", "other"),
    [("malt_percent", "0.8", "0,8"), ("malt_percent", "0.8", "0.80 %"), ("flour", "rye", "rye ")],
)
def test_a_setting_written_in_two_ways_is_asked_about(small, named, first, other):
    """It was taken for another setting, and the doughs of both for too few."""
    frame = small.rename(columns={"malt_percent": named})
    frame[named] = np.where(frame[named] > 0, first, "0")
    assert ask(frame, by=named).differences.shape[0] == 1
    late = (frame["bake"] == frame["bake"].max()) & (frame[named] == first)
    frame.loc[late, named] = other
    with pytest.raises(DataError) as caught:
        ask(frame, by=named)
    assert str(caught.value) == (
        f"{named} is {first!r} in some rows and {other!r} in others, the same setting written in "
        "two ways, which would count as two. Write it in one way."
    )


@pytest.mark.parametrize(
    ("named", "first", "other"),
    [("flour", "0", "00"), ("flour", "7", "07"), ("flour", "A", "a")],
)
def test_settings_that_look_alike_are_compared(small, named, first, other):
    """Flours 0 and 00 were taken for one written in two ways."""
    frame = small.rename(columns={"malt_percent": named})
    frame[named] = np.where(frame[named] > 0, first, other)
    assert ask(frame, by=named).differences.shape[0] == 1


@pytest.mark.parametrize(
    ("levels", "text"),
    [((0.0, 0.8), ("0", "0.8")), ((False, True), ("False", "True")),
     ((Decimal(0), Decimal("0.8")), ("0", "0.8"))],
)  # fmt: skip
def test_a_number_and_its_text_are_one_setting(small, levels, text):
    """They were two, of the same name: "must be one of 0.8, '0.8'"."""
    high = small["malt_percent"] > 0
    plain = small.assign(malt_percent=[levels[h] for h in high])
    late = small["bake"] == small["bake"].max()
    frame = plain.astype({"malt_percent": object})
    frame.loc[late, "malt_percent"] = [text[h] for h in high[late]]
    told, same = ask(frame), ask(plain)
    assert list(told.differences["level"]) == list(same.differences["level"])
    assert told.sentence == same.sentence
    columns = {"trial": None, "bake": "bake", "dough": "dough"}
    assert read_records(frame, "rise_height_mm", "malt_percent", columns, [], None).unit == "dough"


def test_numbers_of_other_kinds_keep_their_unit(small):
    """ "With diastatic malt 0.8" was said of 0.8 %."""
    exact = small.assign(malt_percent=small["malt_percent"].map(lambda m: Decimal(str(m))))
    assert ask(exact).sentence == ask(small).sentence
    assert ask(exact, control=Decimal("0.8")).control == 0.8
    lots = small.assign(lot=(2**53 + small["malt_percent"].gt(0)).astype(object))
    assert len(ask(lots, by="lot").means) == 2  # as floats they would be one


def test_a_factor_that_differed_in_one_bake_only_is_told(small):
    alike = small["bake"] != small["bake"].min()
    frame = small.assign(malt_percent=small["malt_percent"].mask(alike, 0.0))
    more = frame.assign(
        bake=frame["bake"].astype(str) + "b", piece=frame["piece"].astype(str) + "b"
    )
    more["malt_percent"] = small["malt_percent"].mask(small["bake"] != small["bake"].max(), 0.8)
    assert "differed within one" not in str(ask(small))
    frame = pd.concat([frame, more[more["bake"] != more["bake"].max()]], ignore_index=True)
    said = [check for check in ask(frame).checks if "differed within" in check]
    assert said == [
        "diastatic malt differed within one of the 5 bakes only, and each of the others had one "
        "setting: what their days did is in what they tell"
    ]


def test_what_makes_one_bake_is_not_to_be_spread_over_several(small):
    c = replace(ask(small), more=2)
    assert c.next_step.startswith(
        "Next: about 2 more doughs, spread evenly over the settings, would settle it four times in "
    )
    many = replace(c, more=6).next_step
    assert "evenly over the settings and best over several bakes, would settle it" in many


def test_the_day_and_the_only_dough_of_a_bake_are_called_what_the_answer_calls_them():
    rng = np.random.default_rng(14201701)
    rows = [
        (b, "A", b % 2, 30 + day + rng.normal()) for b in range(6) for day in [rng.normal()] * 4
    ]
    frame = pd.DataFrame(rows, columns=["bake", "dough", "malt_percent", "height"])
    c = kit.compare(frame, "height", "malt_percent", dough="dough", bake="bake")
    assert "spread from bake to bake" in str(c) or "bake-to-bake" in str(c)
    assert [check[-29:] for check in c.checks if "told apart" in check] == [
        "together they are called bake here"[-29:]
    ]


def test_a_row_that_does_not_count_may_write_a_setting_in_another_way(small):
    frame = small.assign(malt_percent=np.where(small["malt_percent"] > 0, "0.8", "0"))
    unread = frame.iloc[[0]].assign(malt_percent="0,8", rise_height_mm=np.nan, piece="not read")
    told = ask(pd.concat([frame, unread], ignore_index=True))
    assert told.leading.t == pytest.approx(ask(frame).leading.t)


@pytest.mark.parametrize("once", [False, True])
def test_tables_put_together_have_labels_twice(once):
    """As `pd.concat` of two days leaves them; one value a dough was refused by pandas."""
    rows = pd.read_csv(DEMO, dtype={"bake": str})
    if once:
        means = rows.groupby(["bake", "dough"])["rise_height_mm"].transform("mean")
        rows = rows.assign(rise_height_mm=means)
    early = rows["bake"] <= "4"
    twice = pd.concat([rows[early].reset_index(drop=True), rows[~early].reset_index(drop=True)])
    asked = {"dough": "dough", "bake": "bake", "matters": 2.0, "examine": True}
    whole, again = (
        kit.compare(frame, "rise_height_mm", "malt_percent", **asked)
        for frame in (twice.reset_index(drop=True), twice)
    )
    assert str(again) == str(whole)
    assert again.examined == whole.examined


@pytest.mark.parametrize("bake", [None, "bake"])
@pytest.mark.parametrize("means", [(30.1, 31.3), (30.1, 31.3, 29.7), (0.1, 0.7, 0.3)])
@pytest.mark.parametrize("doughs", [2, 3, 5])
def test_readings_alike_but_for_the_settings_are_refused(means, doughs, bake):
    """What rounding leaves of them is no spread: it gave p = 1e-80, or no answer, as it fell."""
    rows = pd.DataFrame(
        {
            "recipe": np.repeat(list("ABC")[: len(means)], doughs),
            "rise_height_mm": np.repeat(means, doughs),
            "bake": np.tile(range(doughs), len(means)),
            "dough": range(doughs * len(means)),
        }
    )
    with pytest.raises(DataError, match="the readings do not differ at all within a setting"):
        kit.compare(rows, "rise_height_mm", "recipe", dough="dough", bake=bake)


@pytest.mark.parametrize(
    ("arguments", "error", "message"),
    [
        ({"outcome": "hieght"}, NotFoundError,
         "no column for outcome 'hieght'. There are: 'bake', 'dough', 'piece', 'malt_percent', "
         "'side_minutes', 'rise_height_mm'."),
        ({"matters": -2}, InputError,
         "matters is -2: must be above 0. Give the smallest difference you care about."),
        ({"matters": np.nan}, InputError,
         "matters is nan: must be above 0. Give the smallest difference you care about."),
        ({"bake": "dough"}, InputError,
         "dough is 'dough': is already used for bake. Give each its own column."),
        ({"control": 0.5}, InputError, "control is 0.5: must be one of 0.0, 0.8."),
        ({"control": 0.0, "line": True}, InputError,
         "control is 0: goes with settings, not with a line."),
    ],
)  # fmt: skip
def test_unusable_arguments(small, arguments, error, message):
    with pytest.raises(error) as caught:
        ask(small, **arguments)
    assert str(caught.value) == message


def test_factors_that_changed_together(small):
    frame = small.assign(retard_hours=16 + 30 * small["malt_percent"])
    with pytest.raises(DesignError) as caught:
        ask(frame, adjust=["retard_hours"])
    assert str(caught.value) == (
        "diastatic malt and cold retard cannot be told apart: they changed together. Bake at "
        "least two settings of one with the same setting of the other."
    )


def test_no_dough_column_is_said(small):
    c = ask(small, dough=None, bake=None)
    assert c.checks[0] == (
        "no column says which pieces share a dough, so every row is taken as a dough of its own; "
        "if rows do share doughs, the answer is surer than it should be"
    )


# the four answers


@pytest.mark.parametrize(
    ("low", "high", "matters", "answer"),
    [
        (2.1, 5.5, 2.0, Answer.MATTERS),
        (-5.5, -2.1, 2.0, Answer.MATTERS),
        (0.5, 1.5, 2.0, Answer.SMALL),
        (-0.9, 1.2, 2.0, Answer.NONE),
        (0.5, 3.0, 2.0, Answer.UNCLEAR),
        (-3.0, 3.0, 2.0, Answer.UNCLEAR),
        (2.0, 5.0, 2.0, Answer.UNCLEAR),  # touching the limit is not beyond it
        (0.1, 0.2, None, Answer.MATTERS),
        (-0.1, 0.2, None, Answer.UNCLEAR),
        (np.nan, 1.0, 2.0, Answer.UNCLEAR),
    ],
)
def test_decide(low, high, matters, answer):
    assert decide(low, high, matters) is answer


@given(st.floats(-10, 10), st.floats(0.01, 5), st.floats(0.1, 5))
def test_wider_intervals_never_say_more(middle, half, matters):
    """An answer may become "cannot tell yet" as the interval widens, but no other."""
    narrow = decide(middle - half, middle + half, matters)
    wide = decide(middle - 2 * half, middle + 2 * half, matters)
    assert wide in (narrow, Answer.UNCLEAR) or (narrow, wide) == (Answer.SMALL, Answer.NONE)


def test_more_doughs_settle_it():
    # difference 3 ± 1.76 with matters 2. With m more doughs the standard error is s = .9 √(6/(6+m))
    # and the estimate to come scatters about 3 by s √(m/(6+m)), 0.8416 of which (one time in five)
    # must be spared: 1.96 s + 0.8416 s √(m/(6+m)) is 1.0025 for m = 30 and 0.9896 for m = 31
    assert more_units(3.0, 0.9, 1e6, 1.96, 2.0, 6, most=40) == 31
    assert more_units(3.0, 0.9, 1e6, 1.96, 2.0, 6, most=31) == 31
    assert more_units(3.0, 0.9, 1e6, 1.96, 2.0, 6, most=30) is None
    assert more_units(3.0, 0.9, 1e6, 1.96, 2.0, 6) is None
    # no difference at all: both limits count, so 1.2816 instead of 0.8416: 1.5275 for 13, 1.4948
    assert more_units(0.0, 0.9, 1e6, 1.96, 1.5, 6) == 14
    assert more_units(2.01, 0.9, 10, 2.2, 2.0, 6) is None
    assert MOST_DOUGHS == 24


# the faces of the result


def test_every_number_is_in_the_frame(small):
    c = ask(small)
    table = c.to_frame()
    assert table["kind"].value_counts().to_dict() == {
        "piece": 24, "dough": 6, "mean": 2, "difference": 1,
    }  # fmt: skip
    assert table.loc[table["kind"] == "piece", "estimate"].sum() == pytest.approx(
        small["rise_height_mm"].sum()
    )


def test_words_before_statistics(small):
    c = ask(small)
    text = str(c)
    assert text.index("For the statistician") > text.index("It rests on")
    plain = text[: text.index("For the statistician")]
    assert "p =" not in plain
    assert c.sentence == (
        "With diastatic malt at 0.8 %, height comes out 2.6 mm more than at 0 %, but the bakes "
        "fit anything from 0.9 to 4.3 mm more. There is a difference; whether it reaches the 2 mm "
        "that matters is open."
    )
    assert c.rests_on == (
        "It rests on 3 bakes, 6 doughs and 24 pieces. Diastatic malt was decided for a whole "
        "dough, so a dough counts once however many pieces it made. The dough-to-dough spread it "
        "is judged by is known about as well as from 3.0 doughs of one recipe."
    )
    assert c.next_step.startswith("Next: about 14 more doughs, spread evenly over the settings")
    assert repr(c).startswith("<Comparison rise_height_mm by malt_percent: cannot tell yet, 2.62")


@settings(max_examples=25, derandomize=True, phases=[Phase.generate])
@given(st.data())
def test_any_table_gives_an_answer_or_a_reason(data):
    """Whatever is missing or lopsided: a Comparison or a KitError, never anything else."""
    n = data.draw(st.integers(1, 30))
    ints = st.lists(st.integers(0, 3), min_size=n, max_size=n)
    frame = pd.DataFrame(
        {
            "bake": data.draw(ints),
            "dough": data.draw(ints),
            "load": data.draw(ints),
            "x": data.draw(ints),
            "y": data.draw(
                st.lists(
                    st.one_of(st.floats(-50, 50), st.just(float("nan"))), min_size=n, max_size=n
                )
            ),
        }
    )
    for arguments in ({}, {"dough": "dough"}, {"dough": "dough", "bake": "bake", "load": "load"}):
        try:
            c = kit.compare(frame, "y", "x", matters=1.0, **arguments)
        except KitError:
            continue
        assert str(c)
        assert c.leading.low <= c.leading.difference <= c.leading.high


def test_demo_says_what_its_script_put_in():
    frame = pd.read_csv(DEMO)
    c = kit.compare(
        frame, "rise_height_mm", "malt_percent", dough="dough", bake="bake", load="load",
        matters=2.0, adjust=["retard_hours", "side_minutes"],
    )  # fmt: skip
    assert c.counts == {"bake": 8, "dough": 20, "piece": 118}
    truth = {0.4: 2.3, 0.8: 3.5, 1.2: 3.2}  # as written in make_demo.py, mean over retards
    against_none = c.differences[c.differences["versus"] == 0]
    for row in against_none.itertuples():
        assert row.low < truth[row.level] < row.high


@pytest.mark.parametrize(
    ("low", "high", "matters", "told"),
    [
        (-0.6, 1.46, 1.5, "from 0.6 less to 1.46 more"),
        (-0.6, 1.499, 1.5, "from 0.6 less to 1.499 more"),
        (0.03, 4.2, 2.0, "from 0.03 to 4.2 more"),
        (1.96, 6.0, 2.0, "from 1.96 to 6.0 more"),
        (2.1, 6.0, 2.0, "from 2.1 to 6.0 more"),
    ],
)
def test_a_bound_is_not_rounded_onto_the_limit_it_lies_beside(low, high, matters, told):
    middle, half = (low + high) / 2, (high - low) / 2
    lead = Difference("b", "a", middle, half / 2, 9.0, 2.0, 0.05, low, high, Answer.UNCLEAR)
    frame = pd.DataFrame(
        {"bake": [1, 1, 2, 2] * 3, "setting": ["a", "b"] * 6, "y": np.arange(12.0) ** 0.5}
    )
    found = kit.compare(frame, "y", "setting", bake="bake", matters=matters)
    assert told in replace(found, leading=lead).sentence


@pytest.mark.parametrize(
    "given", ["1/8 in", "3.175 mm", 3.175, Decimal("3.175"), np.float32(3.175)]
)
def test_what_matters_is_a_number_of_any_kind_or_as_typed(given):
    frame, asked = pd.read_csv(DEMO), ("rise_height_mm", "malt_percent")
    how = {"dough": "dough", "bake": "bake", "matters": given}
    assert kit.compare(frame, *asked, **how).matters == pytest.approx(3.175)
    assert dose(frame, *asked, **how).matters == pytest.approx(3.175)


def test_columns_and_tables_that_cannot_be_used_are_named():
    frame = pd.DataFrame({"y": [1.0, 2, 3, 4], "a": list("xyxy"), 0: list("pqpq")})
    for asked, told in (
        ((pd.concat([frame, frame["a"]], axis=1), "y", "a"), "by is 'a': stands twice among the"),
        ((frame, "y", 0), "by is 0: must be the name of a column, in text"),
        (({"y": [1, 2]}, "y", "a"), "frame is 'dict': must be a table"),
    ):
        with pytest.raises(InputError) as caught:
            kit.compare(*asked)
        assert str(caught.value).startswith(told)


@pytest.mark.parametrize("by_computer", [0.0, 1e-9])
def test_readings_that_agree_exactly_by_their_steps_are_not_certainty(by_computer):
    """Read to 1 mm, both bakes may say 1 mm more: t of an infinite ratio is no answer."""
    frame = pd.DataFrame({"bake": [1, 1, 2, 2, 3, 3], "dough": list("abcdef")})
    frame["malt_percent"] = [0.0, 1.0] * 3
    frame["rise_height_mm"] = (
        np.array([28.0, 29, 31, 32, 27, 28]) + 0.1 + by_computer * np.arange(6)
    )
    with pytest.raises(DataError, match="Readings in coarse steps may agree so by chance"):
        kit.compare(frame, "rise_height_mm", "malt_percent", "dough", "bake")


def test_a_whole_factor_that_cannot_be_tested_is_not_told_as_a_number(small):
    answer = kit.compare(small, "rise_height_mm", "malt_percent", "dough")
    for f, p in ((-0.01, np.nan), (np.nan, np.nan)):
        test = answer.test.copy()
        test[["F", "p"]] = f, p
        told = replace(answer, test=test).method
        assert "Whole factor: F cannot be told" in told
        assert "nan" not in told


@pytest.mark.parametrize(("column", "role"), [("malt", "by"), ("height", "outcome")])
def test_what_is_compared_cannot_be_held_alike_as_well(column, role):
    frame = pd.DataFrame(
        {"dough": list("abcdef"), "malt": [0, 1, 2.0] * 2, "height": [30, 31, 33, 29, 32, 33.0]}
    )
    message = f"adjust is '{column}': is already used for {role}. Give each its own column."
    for ask in (kit.compare, dose):
        with pytest.raises(InputError, match=re.escape(message)):
            ask(frame, "height", "malt", dough="dough", adjust=[column])


def test_one_reading_is_told_in_words():
    frame = pd.DataFrame({"bake": [1], "dough": ["a"], "height": [30.0]})
    message = "1 reading to find 1 number by: nothing is left over to judge the spread by."
    with pytest.raises(DesignError, match=message):
        steadiness(frame, "height")

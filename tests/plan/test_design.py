"""Plans: balance as properties, the sentences a baker reads, and what is refused."""

import re
from decimal import Decimal

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kit.analysis.grouping.mixing import mixed_by
from kit.errors import DesignError, InputError, KitError, NotFoundError
from kit.plan.design import KINDS, design
from kit.plan.designs.aliases import freedom, one_with
from kit.plan.designs.blocking import fill, into_blocks
from kit.plan.factors import Factor
from kit.plan.kitchen import Kitchen
from kit.plan.noticing.rehearsal import rehearse
from kit.plan.plan import Plan
from kit.plan.power import power
from kit.plan.spread import Spread

MALT = Factor.between("malt_percent", 0, 1.2)
MALT2 = Factor("malt_percent", (0, 1))
HYDRATION = Factor("hydration_percent", (65, 80))
SALT = Factor("salt_percent", (1.5, 2))
YEAST = Factor("yeast_percent", (0.2, 0.6))
RETARD = Factor("retard_hours", (12, 36))
SIDE = Factor("side_minutes", (5, 6))
RATIO = Factor("proof_ratio", (1.5, 2))
HEAT = Factor("griddle_temp_c", (170, 190))
KNOWN = Spread(dough=1.0, piece=1.5)
FIVE = Kitchen(bakes=5, tubs=4, places=6)


def counts(runs, *columns):
    return runs.groupby(list(columns), observed=True).size()


def sound(plan):
    """What holds for every plan."""
    runs = plan.runs
    assert list(runs.columns[:7]) == ["bake", "order", "dough", "load", "place", "code", "piece"]
    assert list(runs.columns[7:]) == [f.quantity for f in plan.factors]
    assert runs.notna().all(axis=None)
    assert not runs.duplicated(["bake", "load", "place"]).any()
    assert not runs.duplicated(["dough", "piece"]).any()
    assert runs["place"].between(1, plan.kitchen.places).all()
    for _, bake in runs.groupby("bake"):
        assert not bake["code"].duplicated().any()
        assert bake["code"].between(100, 999).all()
        turns = bake.drop_duplicates("dough")["order"]
        assert sorted(turns) == list(range(1, len(turns) + 1))
        assert len(turns) <= plan.kitchen.doughs
        assert sorted(bake["load"].unique()) == list(range(1, bake["load"].max() + 1))
        sizes = counts(bake, "load")
        assert sizes.max() <= plan.kitchen.places
        if plan.kitchen.loads_per_bake is not None:
            assert len(sizes) <= plan.kitchen.loads_per_bake
    for factor in plan.factors:
        level = {"dough": ["bake", "dough"], "load": ["bake", "load"]}.get(factor.level)
        if level:
            assert (runs.groupby(level)[factor.quantity].nunique() == 1).all()


# ---- what a baker asks for


def test_malt_on_five_thursdays():
    plan = design([MALT], FIVE, spread=KNOWN)
    sound(plan)
    assert plan.kind == "blocks"
    assert repr(plan) == "<Plan blocks: malt_percent; 5 bakes, 20 doughs, 120 pieces>"
    assert (counts(plan.doughs, "bake", "malt_percent") == 1).all()
    assert plan.checks == ()
    assert str(plan).splitlines()[:3] == [
        "5 bakes, 20 doughs, 20 loads and 120 pieces: settings compared within each bake.",
        "Diastatic malt at 0, 0.4, 0.8 and 1.2 %, decided for a whole dough.",
        "Every setting is mixed in every bake, so the day cancels.",
    ]
    assert re.fullmatch(
        r"Bake 1: 1A: [\d.]+ %; 1B: [\d.]+ %; 1C: [\d.]+ %; 1D: [\d.]+ %",
        str(plan).splitlines()[3],
    )
    # what a baker need not read comes last
    told = "For the statistician: Randomised blocks; order and places drawn with seed 1."
    assert str(plan).splitlines()[-1] == told
    assert f"<p>{told}</p>" in plan._repr_html_()


def test_malt_and_side_time_are_a_split_plot():
    plan = design([MALT, SIDE], FIVE, spread=KNOWN)
    sound(plan)
    runs = plan.runs
    assert plan.kind == "split-plot"
    assert (counts(runs, "dough", "side_minutes") == 3).all()
    assert (counts(runs, "bake", "load", "side_minutes") == 3).all()
    assert (counts(runs, "place", "side_minutes") == 10).all()
    spread = counts(runs, "bake", "dough", "load")
    assert spread.between(1, 2).all()  # doughs cross loads
    assert len(spread) == 5 * 4 * 4
    assert plan.checks == (
        "time a side has two settings: enough to see whether it does anything, too few to see a "
        "peak between them. Four settings or more can show one",
    )


def test_without_any_spread_a_noise_bake_comes_first():
    plan = design([MALT], FIVE)
    assert plan.checks == (
        "how much doughs of one recipe differ by themselves is not known yet. Best bake that "
        "first (one recipe, repeated: the same several times on two bakes); only then can anyone "
        "say how small a difference this plan will show",
    )
    noise = design([], FIVE)
    sound(noise)
    assert noise.kind == "noise"
    assert noise.counts == {"bake": 2, "dough": 8, "load": 8, "piece": 48}
    assert str(noise) == (
        "2 bakes, 8 doughs, 8 loads and 48 pieces: the same dough recipe repeated, to learn how "
        "much doughs differ by themselves.\n"
        "4 doughs of one recipe on each bake.\n"
        "2 of the 5 bakes are enough; keep the rest for the trial itself.\n"
        "For the statistician: Order and places drawn with seed 1."
    )


def test_the_same_seed_gives_the_same_plan():
    one, two, other = (design([MALT, SIDE], FIVE, seed=s) for s in (7, 7, 8))
    pd.testing.assert_frame_equal(one.runs, two.runs)
    assert not one.runs.equals(other.runs)


def test_order_is_random_and_no_setting_always_first():
    plan = design([MALT], FIVE)
    turns = counts(plan.doughs, "order", "malt_percent")
    assert turns.max() <= 3
    assert not (plan.doughs["malt_percent"].to_numpy().reshape(5, 4) == [0, 0.4, 0.8, 1.2]).all()


def test_a_factorial_that_does_not_fit_one_bake():
    # 2³ in blocks of 4: single factors are balanced inside every bake
    plan = design([MALT2, HYDRATION, SALT], Kitchen(4, 4), spread=KNOWN)
    sound(plan)
    for name in ("malt_percent", "hydration_percent", "salt_percent"):
        assert (counts(plan.doughs, "bake", name) == 2).all()


@pytest.mark.parametrize(
    ("settings_", "size", "bakes", "together"),
    # balanced incomplete block designs: settings, block size, blocks, how often a pair meets
    [(4, 2, 6, 1), (4, 3, 4, 2), (5, 4, 5, 3), (6, 3, 10, 2), (7, 3, 7, 1), (5, 2, 10, 1)],
)
def test_balanced_incomplete_blocks_are_found(settings_, size, bakes, together):
    plan = design([Factor("malt_percent", [i / 5 for i in range(settings_)])], Kitchen(bakes, size))
    doughs = plan.doughs
    assert np.ptp(counts(doughs, "malt_percent")) == 0
    met = np.zeros((settings_, settings_))
    for _, bake in doughs.groupby("bake"):
        index = np.round(bake["malt_percent"].to_numpy() * 5).astype(int)
        assert len(set(index)) == size
        met[np.ix_(index, index)] += 1
    assert (met[~np.eye(settings_, dtype=bool)] == together).all()


def test_a_fraction_names_its_aliases():
    plan = design([MALT2, HYDRATION, SALT, YEAST], Kitchen(4, 2), spread=KNOWN, kind="fraction")
    sound(plan)
    assert plan.notes[-1] == (
        "8 of the 16 combinations (resolution IV, D=ABC with the factors lettered in order): "
        "single factors are clear of pairs, but pairs are confused with each other"
    )
    assert (
        "what diastatic malt and hydration do together cannot be told from what salt and yeast "
        "do together"
    ) in plan.checks


def test_resolution_three_confuses_a_factor_with_a_pair():
    plan = design([MALT2, HYDRATION, SALT], Kitchen(1, 4), spread=KNOWN, kind="fraction")
    assert "diastatic malt cannot be told from what hydration and salt do together" in plan.checks
    assert "(resolution III, C=AB with the factors lettered in order)" in plan.notes[-1]
    assert (
        "nothing is left over to judge diastatic malt, hydration and salt by (0 degrees of "
        "freedom): the settings use up every dough. Plan another bake, or fewer settings"
    ) in plan.checks


def test_five_factors_in_sixteen_doughs():
    plan = design([MALT2, HYDRATION, SALT, YEAST, RETARD], Kitchen(5, 4), spread=KNOWN)
    sound(plan)
    assert plan.kind == "fraction"
    assert plan.notes[-1].startswith("16 of the 32 combinations (resolution V, E=ABCD with ")
    assert plan.counts["dough"] == 16
    assert plan.counts["bake"] == 4
    assert "4 of the 5 bakes are enough; keep the rest for doughs that go wrong" in plan.notes
    for factor in plan.factors:
        assert (counts(plan.doughs, "bake", factor.quantity) == 2).all()


def test_latin_square_of_side_times():
    six = Factor("side_minutes", (4, 5, 6, 7, 8, 9))
    plan = design([six], Kitchen(2, 6), kind="latin", spread=KNOWN)
    sound(plan)
    for _, bake in plan.runs.groupby("bake"):  # each once in every row and column
        assert (counts(bake, "load", "side_minutes") == 1).all()
        assert (counts(bake, "place", "side_minutes") == 1).all()
        assert (counts(bake, "dough", "side_minutes") == 1).all()
    assert plan.checks == ()


def test_latin_square_of_doughs():
    three = Factor("malt_percent", (0, 0.5, 1))
    plan = design([three], Kitchen(3, 4), kind="latin", spread=KNOWN)
    sound(plan)
    assert (counts(plan.runs, "bake", "place", "malt_percent") == 1).all()
    assert (counts(plan.runs, "bake", "load", "malt_percent") == 2).all()


def test_latin_square_uses_the_places_that_fit():
    plan = design([MALT], Kitchen(2, 4), kind="latin", spread=KNOWN)
    sound(plan)
    assert plan.checks[0] == (
        "4 settings go round evenly on 4 of the 6 places with 4 pieces a dough instead of 6"
    )
    assert (counts(plan.runs, "bake", "place", "malt_percent") == 1).all()


def test_composite_stays_within_the_settings():
    plan = design([MALT2, HYDRATION], Kitchen(3, 4), kind="composite", spread=KNOWN)
    sound(plan)
    doughs = plan.doughs
    assert sorted(doughs["malt_percent"].unique()) == [0, 0.15, 0.5, 0.85, 1]
    assert sorted(doughs["hydration_percent"].unique()) == [65, 67.2, 72.5, 77.8, 80]
    middle = (doughs["malt_percent"] == 0.5) & (doughs["hydration_percent"] == 72.5)
    assert middle.sum() == 4


def test_composite_on_the_faces_and_beyond():
    faced = design([MALT2, HYDRATION], Kitchen(3, 4), kind="composite", star="faced")
    assert sorted(faced.doughs["malt_percent"].unique()) == [0, 0.5, 1]
    wide = [Factor("malt_percent", (0.5, 1)), HYDRATION]
    beyond = design(wide, Kitchen(3, 4), kind="composite", star="circumscribed")
    assert sorted(beyond.doughs["malt_percent"].unique()) == [0.4, 0.5, 0.75, 1, 1.1]


def test_box_behnken_on_real_settings():
    plan = design([MALT2, HYDRATION, RETARD], Kitchen(4, 4), kind="box-behnken", spread=KNOWN)
    sound(plan)
    doughs = plan.doughs
    assert len(doughs) == 15
    assert sorted(doughs["retard_hours"].unique()) == [12, 24, 36]
    ends = doughs["malt_percent"].isin((0, 1)).astype(int)
    ends += doughs["hydration_percent"].isin((65, 80)).astype(int)
    ends += doughs["retard_hours"].isin((12, 36)).astype(int)
    assert sorted(ends) == [0] * 3 + [2] * 12
    freedom, days = plan.checks
    assert freedom == (
        "the curve leaves 2 degrees of freedom to judge it by: its intervals will be wide. "
        "Repeating the middle of the range helps most"
    )
    assert "are mixed in one go" in days


def test_doughs_of_one_retard_are_mixed_in_one_go():
    def told(kitchen):
        checks = design([RETARD], kitchen, spread=KNOWN).checks
        return any("are mixed in one go" in check for check in checks)

    assert told(Kitchen(4, 4))
    assert any(
        "judged by about 3 degrees of freedom" in c for c in design([RETARD], Kitchen(4, 4)).checks
    )
    assert "so the day at the griddle cancels" in str(design([RETARD], Kitchen(4, 4)))
    assert not told(Kitchen(4, 2))


def test_griddle_temperature_belongs_to_the_load():
    plan = design([HEAT, MALT2], FIVE, spread=KNOWN)
    sound(plan)
    loads = plan.runs.drop_duplicates(["bake", "load"])
    assert (counts(loads, "bake", "griddle_temp_c") == 2).all()
    assert (counts(plan.runs, "dough", "griddle_temp_c") == 3).all()  # loads cross doughs


# ---- what is said before baking


def test_each_setting_mixed_once():
    plan = design([MALT], Kitchen(1, 4), spread=KNOWN)
    assert plan.checks == (
        "each setting of diastatic malt is mixed once: no number of pieces can tell the setting "
        "from the dough (0 degrees of freedom). Bake it all again on another bake",
    )


def test_malt_and_bake_cannot_be_told_apart():
    plan = design([MALT2], Kitchen(2, 1), spread=KNOWN)
    assert plan.checks[0] == (
        "diastatic malt and bake cannot be told apart: each bake has one setting only. Mix two or "
        "more on each, and the day cancels"
    )
    assert plan.checks[1] == (
        "each setting of diastatic malt is mixed once: no number of pieces can tell the setting "
        "from the dough (0 degrees of freedom). Give each setting one more dough, best all "
        "settings on each bake"
    )


def test_bakes_of_one_dough_are_judged_by_what_is_left_between_bakes():
    """4 bakes, 2 settings: 2 are left, in the plan as in what it will notice."""
    plan = design([MALT2], Kitchen(4, 1), spread=KNOWN)
    assert plan.checks[1].startswith("diastatic malt is judged by about 2 degrees of freedom only")
    assert power(plan, spread=KNOWN).df == pytest.approx(2)
    assert not any("nothing is left over" in check for check in plan.checks)


@pytest.mark.parametrize(
    ("factors", "kitchen"),
    [
        ([MALT], Kitchen(3, 2)),
        ([Factor("retard_hours", (16, 40)), MALT2], Kitchen(2, 2)),
        ([Factor("retard_hours", (16, 40)), MALT2], Kitchen(3, 1)),
    ],
)
def test_what_leaves_nothing_to_judge_by_promises_nothing(factors, kitchen):
    """The plan says that nothing is left over, and so does what would say what it notices."""
    plan = design(factors, kitchen, spread=KNOWN)
    assert any("nothing is left over" in check for check in plan.checks)
    for factor in plan.factors:
        with pytest.raises(DesignError) as caught:
            power(plan, factor.quantity, spread=KNOWN)
        assert str(caught.value) == (
            f"nothing is left over to judge {factor.name} by (0 degrees of freedom): the settings "
            "use up every dough. Plan another bake, or fewer settings."
        )


@pytest.mark.parametrize("listed", ["malt_percent", 5, None])
def test_what_are_no_factors(listed):
    with pytest.raises(InputError) as caught:
        design(listed, Kitchen(2, 2))
    assert str(caught.value) == (
        f"factors is {listed!r}: must be Factors. For example Factor('malt_percent', (0, 1))."
    )


def test_few_degrees_of_freedom_are_told_once_for_all_factors():
    plan = design([MALT2, HYDRATION], Kitchen(1, 5), spread=KNOWN, kind="factorial")
    assert plan.checks[0] == (
        "diastatic malt and hydration are judged by about 1 degree of freedom only (comparisons "
        "left over to see the spread by): their intervals will be wide, and one more bake narrows "
        "them a lot"
    )


def test_loads_of_one_dough_are_one_with_it():
    plan = design([MALT2], Kitchen(4, 2, shared_loads=False), spread=KNOWN)
    sound(plan)
    assert (
        "each load holds pieces of one dough only, so what the load does (its heat, its wait) "
        "cannot be told from the dough: let the doughs share the loads if you can"
    ) in plan.checks


def test_too_many_doughs_for_a_home():
    plan = design([MALT], Kitchen(10, 4), spread=KNOWN)
    assert plan.checks == (
        "40 doughs are more than a home series usually gets done (some 12 to 24; experience, no "
        "source): 6 bakes of the same kind would be 24 doughs",
    )


def test_unusual_settings_are_asked_about():
    plan = design([Factor("malt_percent", (0, 1, 2, 5))], FIVE, spread=KNOWN)
    assert plan.checks == ("Diastatic malt 5.00 % is unusual (mostly 0 to 2 %). Is it right?",)


def test_pieces_that_cannot_be_shared_evenly():
    three = Factor("proof_ratio", (1.5, 2, 2.5))
    plan = design([three, MALT], Kitchen(3, 4, 4), spread=KNOWN)
    sound(plan)
    assert plan.checks == (
        "4 pieces of a dough cannot be shared out evenly between 3 settings of proof ratio: 3 or "
        "6 pieces could",
    )
    assert np.ptp(counts(plan.runs, "proof_ratio")) <= 4
    six = Factor("side_minutes", (4, 5, 6, 7, 8, 9))
    few = design([six], Kitchen(3, 4, 3), spread=KNOWN)
    sound(few)
    assert few.checks == (
        "3 pieces of a dough cannot hold all 6 settings of time a side: each dough has some of "
        "them, as evenly as it goes. With 6 pieces each would have all",
    )
    assert (counts(few.runs, "side_minutes") == 6).all()


def test_a_noise_bake_of_single_doughs_says_what_it_cannot_tell():
    plan = design([], Kitchen(3, 1, 1))
    assert plan.checks == (
        "each bake has one dough, so what a dough does cannot be told from what the day does: "
        "mix at least two doughs on each bake",
        "each dough makes one piece, so the spread from piece to piece cannot be told from that "
        "from dough to dough: bake at least two pieces of each",
    )


@pytest.mark.parametrize(
    ("quantity", "settings", "said"),
    [
        ("proof_ratio", (0.5, 2), "0.5 (proof_ratio): must be above 1 and at most 4. 2 is double "
                                  "the volume after shaping."),
        ("proof_ratio", (1, 2), "1 (proof_ratio): must be above 1 and at most 4. 2 is double the "
                                "volume after shaping."),
        ("proof_ratio", (2, 4.5), "4.5 (proof_ratio): must be above 1 and at most 4. 2 is double "
                                  "the volume after shaping."),
        ("side_minutes", (0, 5), "0 (side_minutes): must be above 0 and at most 60. Enter minutes "
                                 "a side."),
    ],
)  # fmt: skip
def test_what_no_kitchen_can_set_is_no_setting(quantity, settings, said):
    """They were planned, and the timetable of the bake was then refused."""
    with pytest.raises(InputError) as told:
        Factor(quantity, settings)
    assert str(told.value) == f"settings is {said}"
    assert Factor("proof_ratio", (1.1, 4)).settings == (1.1, 4)


def test_settings_that_never_meet():
    plan = design([MALT], Kitchen(2, 2), spread=KNOWN)
    so_far = plan.runs.assign(
        malt_percent=plan.runs["bake"].map({1: 0.0, 2: 0.8}) + 0.4 * (plan.runs["order"] - 1)
    )
    assert one_with(so_far, [MALT])[0] == (
        "some settings of diastatic malt cannot be told from the bake: they are never in one "
        "bake with the others"
    )


def test_two_factors_that_change_together():
    runs = design([MALT2], Kitchen(3, 2)).runs
    runs["hydration_percent"] = runs["malt_percent"].map({0: 65, 1: 80})
    assert one_with(runs, [MALT2, HYDRATION]) == [
        "diastatic malt and hydration cannot be told apart: they change only together"
    ]


def test_one_place_makes_load_and_setting_one():
    plan = design([SIDE], Kitchen(1, 1, 4, places=1), spread=KNOWN)
    sound(plan)
    assert plan.checks[0] == (
        "time a side and load cannot be told apart: each load holds one setting only"
    )


def test_codes_repeat_only_in_other_bakes_when_three_digits_run_out():
    plan = design([MALT2], Kitchen(20, 10, 6))
    sound(plan)
    assert plan.counts["piece"] == 1200


# ---- limits


def test_the_nearest_plan_that_fits():
    plan = design([MALT, SIDE], Kitchen(5, 4, 12, loads_per_bake=3), spread=KNOWN)
    sound(plan)
    assert plan.checks[0] == (
        "4 doughs of 12 pieces need 8 loads a bake, and there is time for 3: planned with 4 "
        "doughs of 4 pieces"
    )
    more = design([MALT2], Kitchen(3, 6, tubs=4), spread=KNOWN)
    assert more.checks[0] == "6 doughs a bake do not fit into 4 tubs: planned with 4"


@pytest.mark.parametrize(
    ("factors", "kitchen", "kind", "message"),
    [
        (
            [MALT], Kitchen(1, 2), "auto",
            "4 settings of diastatic malt do not fit into 1 bake of 2 doughs. Nearest: 4 bakes, "
            "each setting mixed twice.",
        ),
        (
            [MALT2, HYDRATION, SALT, YEAST], Kitchen(2, 4), "factorial",
            "16 combinations of diastatic malt, hydration, salt and yeast do not fit into 2 "
            "bakes of 4 doughs. Nearest: 4 bakes, or kind='fraction'.",
        ),
        (
            [MALT2, HYDRATION], Kitchen(2, 4), "composite",
            "9 combinations of diastatic malt and hydration do not fit into 2 bakes of 4 doughs. "
            "Nearest: 3 bakes, or kind='optimal'.",
        ),
        (
            [MALT2, HYDRATION], Kitchen(4, 4), "circumscribed",
            "the axis points need diastatic malt at -0.21 %, which is impossible. Nearest: "
            "star='inscribed', which stays within your settings.",
        ),
        (
            [MALT2], Kitchen(4, 4), "split-plot",
            "a split plot needs a factor decided for whole doughs and one decided for pieces; "
            "these are all decided for doughs. Nearest: kind='factorial'.",
        ),
        (
            [MALT2], Kitchen(4, 4), "fraction",
            "a fraction needs three or more factors of two settings each, and there is 1. "
            "Nearest: kind='factorial' or 'optimal'.",
        ),
        (
            [MALT2, HYDRATION, Factor("salt_percent", (1, 1.5, 2))], Kitchen(4, 4), "fraction",
            "a fraction needs three or more factors of two settings each, and salt has more than "
            "two settings. Nearest: kind='factorial' or 'optimal'.",
        ),
        (
            [MALT2, HYDRATION], Kitchen(5, 4), "box-behnken",
            "a Box–Behnken design needs 3 to 5 factors, and there are 2. Nearest: "
            "kind='composite'.",
        ),
        (
            [MALT2, SIDE], Kitchen(5, 4), "composite",
            "a composite design needs factors that are all decided for doughs or all for pieces. "
            "Nearest: kind='optimal'.",
        ),
        (
            [MALT2, Factor("flour", ("strong", "plain"), "mixing")], Kitchen(5, 4), "composite",
            "a composite design needs numbers, and flour is set in words. Nearest: "
            "kind='optimal'.",
        ),
        (
            [Factor("malt_percent", [i / 5 for i in range(7)])], Kitchen(5, 7), "latin",
            "a Latin square of 7 settings needs 7 places on the griddle, and there are 6. "
            "Nearest: 6 settings, or kind='blocks'.",
        ),
        (
            [HEAT], Kitchen(2, 2, loads_per_bake=1, pieces_per_dough=3), "auto",
            "griddle temperature has 2 settings, and there is time for 1 load a bake. Nearest: 1 "
            "setting, or 2 loads.",
        ),
        (
            [HEAT], Kitchen(2, 2, shared_loads=False), "auto",
            "griddle temperature is decided for a whole load, and here each load holds one "
            "dough: load and dough could not be told apart. Let doughs share loads "
            "(shared_loads=True).",
        ),
        (
            [HEAT, MALT2], Kitchen(2, 2), "optimal",
            "griddle temperature is decided for whole loads, which an optimal plan does not "
            "choose. Nearest: kind='factorial'.",
        ),
        (
            [], Kitchen(2, 2), "blocks",
            "there is no factor: nothing is set on purpose. Name at least one, or plan a noise "
            "bake (kind='noise').",
        ),
    ],
)  # fmt: skip
def test_what_does_not_fit_is_refused_with_the_nearest(factors, kitchen, kind, message):
    more = {}
    if kind == "circumscribed":
        kind, more = "composite", {"star": kind}
    with pytest.raises(DesignError) as refused:
        design(factors, kitchen, kind=kind, **more)
    assert str(refused.value) == message


@pytest.mark.parametrize(
    ("make", "kind", "message"),
    [
        (
            lambda: Factor("malt_percent", (0,)), InputError,
            "settings is [0] (malt_percent): must be at least two. With one setting there is "
            "nothing to compare it with.",
        ),
        (
            lambda: Factor("malt_percent", (0, 130)), InputError,
            "malt_percent is 130: must lie between 0 and 20 %. Enter diastatic malt in %.",
        ),
        (
            lambda: Factor("malt_percent", (0, 1, 1.0)), InputError,
            "settings is [0, 1, 1.0] (malt_percent): must all be different.",
        ),
        (
            lambda: Factor("malt_percent", (0, "some")), InputError,
            "settings is 'some' (malt_percent): must be numbers only or words only.",
        ),
        (
            lambda: Factor("malt_percent", (0, float("nan"))), InputError,
            "settings is nan (malt_percent): must be numbers only or words only.",
        ),
        (
            lambda: Factor("malt_percent", 1.2), InputError,
            "settings is 1.2 (malt_percent): must be a list of at least two. For example (0, "
            "0.6, 1.2).",
        ),
        (
            lambda: Factor("malt_procent", (0, 1), "mixing"), NotFoundError,
            "no quantity 'malt_procent'. There are: 'malt_percent'.",
        ),
        (
            lambda: Factor("room_temp_c", (20, 25)), DesignError,
            "room temperature belongs to the whole bake, so it can never be told from the bake "
            "itself. Record it instead, or choose a factor decided for doughs, loads or pieces.",
        ),
        (
            lambda: Factor("malt_percent", (0, 1), "griddle"), InputError,
            "decided is 'griddle' (malt_percent): must be mixing or retarding. All pieces of a "
            "dough share it.",
        ),
        (
            lambda: Factor("malt_percent", (0, 1), "eating"), InputError,
            "decided is 'eating' (malt_percent): must be one of mixing, retarding, shaping, "
            "griddle. Say where the setting is chosen.",
        ),
        (
            lambda: Factor.between("malt_percent", 1, 0), InputError,
            "high is 0: must be above low, which is 1.",
        ),
        (
            lambda: Factor.between("malt_percent", 0, 0.02, 4), DesignError,
            "4 doses of diastatic malt between 0 and 0.02 lie closer together than can be told "
            "apart. Take fewer doses or a wider range.",
        ),
        (
            lambda: Kitchen(0, 4), InputError, "bakes is 0: must lie between 1 and 10000.",
        ),
        (
            lambda: Kitchen(5, 2.5), InputError, "doughs_per_bake is 2.5: must be a whole number.",
        ),
        (
            lambda: Kitchen(5), InputError,
            "doughs_per_bake is None: must be given, or tubs. Say how many doughs you can mix "
            "for one bake.",
        ),
        (
            lambda: Kitchen(5, float("nan")), InputError,
            "doughs_per_bake is nan: must be a whole number.",
        ),
        (
            lambda: design([MALT2, MALT], FIVE), InputError,
            "factors is ['malt_percent', 'malt_percent']: must not repeat a quantity.",
        ),
        (
            lambda: design([MALT], FIVE, kind="magic"), InputError,
            "kind is 'magic': must be one of auto, factorial, fraction, blocks, latin, "
            "split-plot, composite, box-behnken, optimal, noise.",
        ),
        (
            lambda: design([MALT], FIVE, kind="noise"), InputError,
            "factors is ['malt_percent']: must be empty for a noise bake. Bake one recipe, "
            "unchanged.",
        ),
        (
            lambda: design([MALT], FIVE, seed=-1), InputError,
            "seed is -1: must be a whole number, 0 or more.",
        ),
        (
            lambda: design(["malt"], FIVE), InputError,
            "factors is 'malt': must be Factors. For example Factor('malt_percent', (0, 1)).",
        ),
    ],
)  # fmt: skip
def test_nonsense(make, kind, message):
    with pytest.raises(kind) as refused:
        make()
    assert str(refused.value) == message


# ---- properties

FACTORS = st.lists(
    st.sampled_from([MALT, HYDRATION, SIDE, HEAT, Factor("proof_ratio", (1.5, 2, 2.5))]),
    min_size=1, max_size=3, unique_by=lambda f: f.quantity,
)  # fmt: skip


@settings(max_examples=40)
@given(
    FACTORS,
    st.integers(1, 5), st.integers(1, 6), st.integers(1, 8), st.integers(1, 8),
    st.none() | st.integers(1, 6), st.booleans(), st.sampled_from(KINDS), st.integers(0, 99),
)  # fmt: skip
def test_any_wish_gives_a_sound_plan_or_a_clear_word(
    factors, bakes, doughs, pieces, places, loads, shared, kind, seed
):
    kitchen = Kitchen(bakes, doughs, pieces, places, loads, shared_loads=shared)
    if kind == "noise":
        factors = []
    try:
        with pytest.MonkeyPatch.context() as quick:
            quick.setattr("kit.plan.designs.optimal._STARTS", 1)
            plan = design(factors, kitchen, kind=kind, seed=seed)
    except KitError:
        return  # the words are tested one by one above
    sound(plan)
    assert str(plan)
    assert all(check and not check.endswith(".") for check in plan.checks)


def test_a_search_ends_where_the_bakes_tell_too_little():
    """Rounding passed for gain for ever where more was asked than four doughs tell."""
    factors = [MALT, HYDRATION, Factor("proof_ratio", (1.5, 2, 2.5))]
    kitchen = Kitchen(1, 4, 6, 6, 2)
    with pytest.raises(DesignError, match="cannot tell apart"):
        design(factors, kitchen, kind="optimal", model="quadratic", seed=32)
    sound(design(factors, kitchen, seed=32))


def test_loads_of_one_dough_each_are_baked_as_they_are_mixed():
    runs = design([MALT2], Kitchen(4, 4, 12, 6, shared_loads=False), spread=KNOWN).runs
    for _, bake in runs.groupby("bake"):
        assert counts(bake, "load").to_list() == [6] * 8
        assert bake.sort_values("load")["order"].is_monotonic_increasing


@pytest.mark.parametrize(
    ("factors", "kitchen"),
    [
        ([RATIO], Kitchen(3, 3, 6, 3)),
        ([RATIO, SIDE], Kitchen(3, 3, 12, 6)),
        ([SIDE, RATIO], Kitchen(3, 3, 4, 2)),
        ([SIDE], Kitchen(3, 3, 6, 3, shared_loads=False)),
    ],
)
def test_no_setting_keeps_to_the_first_load_of_its_dough(factors, kitchen):
    for seed in range(5):
        runs = design(factors, kitchen, seed=seed).runs
        turn = runs.groupby("dough")["load"].rank("dense")
        for factor in factors:
            table = pd.crosstab(turn, runs[factor.quantity])
            assert (table.max() - table.min()).max() <= 2
        # and by lot: not every dough's first load holds the same
        first = runs[turn == 1].groupby("dough")
        held = {
            tuple(sorted(zip(*(d[f.quantity] for f in factors), strict=True))) for _, d in first
        }
        assert len(held) > 1


def test_no_load_is_left_empty():
    # two settings of the griddle make four loads of three pieces' three
    for seed in range(20):
        plan = design([HEAT], Kitchen(1, 1, 3, 1), seed=seed)
        sound(plan)
        assert plan.runs["load"].tolist() == [1, 2, 3]
        assert plan.runs["griddle_temp_c"].nunique() == 2


@settings(max_examples=25)
@given(st.integers(2, 6), st.integers(2, 5), st.integers(1, 2), st.integers(0, 999))
def test_complete_blocks_are_orthogonal(count, bakes, times, seed):
    rng = np.random.default_rng(seed)
    rows = np.eye(count)[:, 1:]
    blocks = into_blocks(
        rows, fill(count, bakes * count * times, rng), [count * times] * bakes, rng
    )
    for block in blocks:
        assert np.array_equal(np.bincount(block), np.full(count, times))


@settings(max_examples=25)
@given(st.integers(1, 6), st.integers(1, 4), st.integers(0, 99))
def test_settings_of_pieces_are_even_in_every_dough_load_and_place(bakes, doughs, seed):
    # as many pieces of each setting in every dough, load and on every place
    plan = design([MALT2, SIDE], Kitchen(bakes, 2 * doughs, 6), seed=seed)
    assert (counts(plan.runs, "dough", "side_minutes") == 3).all()
    assert (counts(plan.runs, "bake", "load", "side_minutes") == 3).all()
    assert np.ptp(counts(plan.runs, "place", "side_minutes")) == 0


# ---- faces


def test_faces():
    plan = design([MALT, SIDE], Kitchen(2, 4), spread=KNOWN)
    assert isinstance(plan, Plan)
    pd.testing.assert_frame_equal(plan.to_frame(), plan.runs)
    html = plan._repr_html_()
    assert html.startswith("<p><strong>2 bakes, 8 doughs")
    assert "<th>Diastatic malt (%)</th>" in html
    word = Factor("flour", ("<b>strong</b>", "plain & soft"), "mixing")
    risky = design([word], Kitchen(3, 2))
    assert "<b>strong" not in risky._repr_html_()
    ax = plan.plot()
    said = sorted(text.get_text() for text in ax.texts)
    assert said == sorted(f"{d.dough}\n{d.malt_percent:g} %" for d in plan.doughs.itertuples())
    assert len(ax.patches) == 8
    assert ax.get_xlabel() == "Order of mixing"
    ax = design([RETARD], Kitchen(2, 2)).plot()
    assert "longer retards first" in ax.get_xlabel()


# slips of the pen


@pytest.mark.parametrize(
    ("kitchen", "told"),
    [
        ({"bakes": 4000, "doughs_per_bake": 4000}, "pieces is 96000000: must be at most 2000"),
        ({"bakes": 5, "tubs": 4, "pieces_per_dough": 6000}, "pieces is 120000: must be at most"),
    ],
)
def test_more_than_any_kitchen_bakes_is_refused_before_anything_is_searched(kitchen, told):
    with pytest.raises(InputError) as caught:
        Kitchen(**kitchen)
    assert told in str(caught.value)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("0,1", "was read as one number, 0.1. Put a space or a semicolon between two settings"),
        ("1,2 %", "was read as one number, 1.2."),
        ("24/48", "settings is '24/48' (malt_percent): was read as one number, 0.5."),
    ],
)
def test_a_comma_without_a_space_is_told_as_what_it_was_read_as(text, told):
    with pytest.raises(InputError) as caught:
        Factor.written("malt_percent", text)
    assert told in str(caught.value)


@pytest.mark.parametrize(
    ("text", "settings"),
    [
        ("0,5 1,0", (0.5, 1)),
        ("0,4 0,8 %", (0.4, 0.8)),
        ("0.4 0.8 1.2", (0.4, 0.8, 1.2)),
        ("0 .5 1", (0, 0.5, 1)),
        ("0,0 / 1,0", (0, 1)),
        ("0; 0,4; 0,8", (0, 0.4, 0.8)),
        ("0 - 1,2", (0, 0.4, 0.8, 1.2)),
        ("0-1.2", (0, 0.4, 0.8, 1.2)),
        ("0 % - 1,2 % in 3", (0, 0.6, 1.2)),
        ("none or 1", (0, 1)),
        ("None to 1.2", (0, 0.4, 0.8, 1.2)),
    ],
)
def test_settings_as_people_type_them(text, settings):
    assert Factor.written("malt_percent", text).settings == settings


@pytest.mark.parametrize(
    ("quantity", "text", "settings"),
    [
        ("liquid_temp_c", "70 or 105 °F", (21.1, 40.6)),
        ("liquid_temp_c", "68, 86 F", (20, 30)),
        ("liquid_temp_c", "70 °F or 105", (21.1, 40.6)),
        ("liquid_temp_c", "70 to 105 °F in 2", (21.1, 40.6)),
        ("liquid_temp_c", "70 °F or 40 °C", (21.1, 40)),
        ("side_minutes", "5 1/2; 6 1/2 min", (5.5, 6.5)),
        ("retard_hours", "24 or 36 h or 2 d", (24, 36, 48)),
        ("ball_weight_g", "2 3/4 or 3 oz", (78, 85)),
    ],
)
def test_one_unit_written_once_is_that_of_all(quantity, text, settings):
    assert Factor.written(quantity, text).settings == settings


def test_none_is_a_share_alone():
    with pytest.raises(InputError, match="is not a number"):
        Factor.written("liquid_temp_c", "none or 5")


def test_settings_that_are_alike_are_told_as_typed():
    with pytest.raises(InputError, match=r"0,4 0,40' .*must all be different"):
        Factor.written("malt_percent", "0,4 0,40")


def test_half_a_name_is_answered_with_the_whole_ones():
    with pytest.raises(NotFoundError, match="Did you mean 'malt_percent' or 'malt_lintner'"):
        Factor.written("malt", "0, 1")


def test_one_dough_a_bake_is_not_said_to_be_compared_within_bakes():
    plan = design([Factor("malt_percent", (0, 1))], Kitchen(bakes=2, doughs_per_bake=1))
    assert "within bakes" not in str(plan)
    assert "cannot be told apart" in str(plan)


@pytest.mark.parametrize(
    "settings",
    [
        (0, 0.8),
        ("0", "0,8 %"),
        (Decimal(0), Decimal("0.8")),
        np.array([0.8, 0.0]),
        pd.Series([0, 0.8], index=[7, 7]),
        (dose for dose in (0, 0.8)),
    ],
    ids=["numbers", "text", "Decimal", "array", "Series", "generator"],
)
def test_settings_are_kept_as_plain_numbers_however_they_are_given(settings):
    factor = Factor("malt_percent", settings)
    assert repr(factor) == "Factor('malt_percent', (0, 0.8), decided='mixing')"


def test_whole_numbers_of_numpy_plan_the_same():
    plan = design([MALT], Kitchen(bakes=np.int64(5), tubs=4.0), seed=np.int64(3), centre=None)
    assert plan.runs.equals(design([MALT], Kitchen(bakes=5, tubs=4), seed=3).runs)
    assert type(plan.seed) is int
    for seed in (True, 2.5, "3", np.float64("nan")):
        with pytest.raises(InputError, match="must be a whole number, 0 or more"):
            design([MALT], FIVE, seed=seed)


def test_what_the_kitchen_can_do_is_asked_for():
    with pytest.raises(InputError, match=r"^kitchen is None: must be a Kitchen"):
        design([MALT], None)
    with pytest.raises(InputError, match=r"^pieces_per_dough is None: must be a whole number\.$"):
        Kitchen(5, 4, None)


@pytest.mark.parametrize(
    ("factors", "kitchen"),
    [
        ([MALT], Kitchen(4, 2)),
        ([Factor.between("malt_percent", 0, 1.2, 9)], Kitchen(3, 4)),
        ([MALT], Kitchen(5, 1)),
        ([MALT2, RETARD], Kitchen(2, 4)),
        ([MALT2, RETARD], Kitchen(3, 3)),
        ([MALT2, HYDRATION, RETARD], Kitchen(2, 4)),
        ([Factor("retard_hours", (0, 24, 48))], Kitchen(2, 6)),
        ([Factor("proof_ratio", (1.5, 2))], Kitchen(2, 2)),
        ([MALT2, Factor("proof_ratio", (1.5, 2, 2.5))], Kitchen(2, 2)),
    ],
)
def test_a_plan_leaves_over_what_the_answers_will_count(factors, kitchen):
    """Malt beside a retard was told "about 4 degrees" where its answers had 3; 9 doses 2 of 10."""
    plan = design(factors, kitchen, spread=KNOWN)
    names = [factor.quantity for factor in factors]
    for left in freedom(plan.runs, factors):
        others = [name for name in names if name != left.factor]
        read = rehearse(plan.runs, left.factor, others, mixing=mixed_by(*names))
        assert left.df == read.least_df > 0
        assert (left.unit, read.unit) in {(left.unit, left.unit), ("dough", "bake")}


# --- proof inside doughs ----------------------------------------------------------------------

NOT_VARIED = (
    "proof ratio would not be varied in a dough of 0 h retard: not chilled, it is shaped all at "
    "once, and its pieces proof alike. Chill every dough for some hours, or change proof from "
    "dough to dough"
)


@pytest.mark.parametrize("kind", ["auto", "optimal"])
def test_proof_inside_doughs_asks_for_chilled_ones(kind):
    plan = design([RATIO], Kitchen(2, 2), kind=kind, spread=KNOWN)
    assert plan.notes[0] == (
        "Proof ratio at 1.5 and 2, inside each dough: pieces that proof for less are shaped later "
        "and stand cold for so much longer (little beside a day in the cold, much beside a few "
        "hours). Chill every dough: one that is not is shaped all at once, and its pieces proof "
        "alike"
    )
    assert NOT_VARIED not in plan.checks
    found = power(plan, spread=KNOWN)
    assert (found.unit, round(found.df, 1)) == ("shaping", 3.0)
    assert found.checks[:2] == (
        "this holds where every dough is chilled: one that is not is shaped all at once, and its "
        "pieces proof alike",
        "pieces of one dough that are shaped for the same proof count once. It was taken "
        "that such proofs come out alike; where one is better by itself, less will be noticed",
    )


def test_proof_inside_doughs_of_which_some_are_not_chilled():
    plan = design([Factor("retard_hours", (0, 16)), RATIO], Kitchen(3, 2), spread=KNOWN)
    assert plan.checks[0] == NOT_VARIED
    assert power(plan, "proof_ratio", spread=KNOWN).checks[0] == NOT_VARIED
    assert NOT_VARIED not in power(plan, "retard_hours", spread=KNOWN).checks
    cold = design([Factor("retard_hours", (16, 40)), RATIO], Kitchen(3, 2), spread=KNOWN)
    assert NOT_VARIED not in cold.checks
    assert not any("chilled" in c for c in power(cold, "proof_ratio", spread=KNOWN).checks)


def test_only_what_proofs_for_less_is_shaped_later():
    sides = design([Factor("side_minutes", (5, 6))], Kitchen(2, 2), spread=KNOWN)
    assert sides.notes[0] == "Time a side at 5 and 6 min, inside each dough"
    assert not any("chilled" in check for check in power(sides, spread=KNOWN).checks)
    whole = Factor("proof_ratio", (1.5, 2), decided="mixing")
    doughs = design([Factor("retard_hours", (0, 16)), whole], Kitchen(3, 4), spread=KNOWN)
    assert NOT_VARIED not in doughs.checks


def test_proof_minutes_are_a_whole_dough_s():
    with pytest.raises(InputError) as told:
        Factor("proof_minutes", (60, 120), decided="shaping")
    assert str(told.value) == (
        "decided is 'shaping' (proof_minutes): must be mixing or retarding. All pieces of a dough "
        "share it. Inside doughs vary proof_ratio, which each piece has its own of."
    )

"""Scales with steps: rounding, achieved ranges, doses that meet, blends that keep them apart."""

import json
import math
from itertools import pairwise

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from sample_formulas import formulas, harbour

from kit import formula as kf
from kit.errors import InputError

STEPS = st.sampled_from([0.01, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0])
WEIGHTS = st.floats(0, 5000).map(lambda x: round(x, 4))


@pytest.mark.parametrize(
    ("weight", "step", "shown"),
    [
        (7.5, 1, 8), (11.5, 1, 12), (-7.5, 1, -8), (2.5, 5, 5), (0.05, 0.1, 0.1),
        (2.345, 0.01, 2.35),
        (1.005, 0.01, 1.01), (0.35 * 7 + 0.05, 1, 3), (0.4999, 1, 0),
    ],
)  # fmt: skip
def test_halves_go_away_from_zero(weight, step, shown):
    # binary noise does not count: 1.005 is stored below itself, 0.35 × 7 + 0.05 too
    assert kf.round_to_step(weight, step) == shown


@given(WEIGHTS, STEPS)
def test_rounding_stays_within_half_a_step_and_on_the_scale(weight, step):
    shown = kf.round_to_step(weight, step)
    assert abs(shown - weight) <= step / 2 + 1e-9
    assert shown / step == pytest.approx(round(shown / step), abs=1e-9)
    assert kf.round_to_step(shown, step) == shown
    assert kf.round_to_step(-weight, step) == -shown


@example(0.0, 20.0, 0.01)
@given(st.floats(0, 20), st.floats(20, 5000), STEPS)
def test_achieved_range_holds_the_planned_dose(percent, flour_g, step):
    bun = kf.Formula.from_lines("Bun", [("flour", "flour", 100), ("malt", "malt", percent)])
    dose = kf.weigh(bun, flour_g=flour_g, scale_step_g=step)["dough", "malt"]
    slack = 1e-9 * (1 + percent)
    assert dose.low_percent - slack <= percent <= dose.high_percent + slack
    assert dose.coarse == (percent > 0 and step > 0.02 * dose.planned_g * (1 + 1e-12))


def test_the_range_of_a_dose():
    # 0.5 % of 400 g is 2.0 ± 0.5 g: 0.38 to 0.63 %, by arithmetic
    bun = kf.Formula.from_lines("Bun", [("flour", "flour", 100), ("honey", "sugar", None)])
    sheet = kf.weigh(bun, [{"honey": share} for share in (0, 0.1, 0.5, 12.5)], flour_g=400)
    two = sheet["C", "honey"]
    assert (two.low_percent, two.high_percent) == (0.375, 0.625)
    assert two.range_percent == "0.38 to 0.63 %"
    assert sheet["B", "honey"].vanishes
    assert sheet["A", "honey"].high_percent == 0  # what is left out is really nothing
    assert not sheet["D", "honey"].coarse  # 1 g in 50 g is 2 %, not more


DEMO_DOUGHS = [{"malt_percent": malt} for malt in (0, 0.4, 0.8, 1.2)]


def test_sheet_of_the_demo_warns_that_doses_meet():
    sheet = kf.weigh(harbour(None), DEMO_DOUGHS, flour_g=250)
    assert str(sheet) == (
        "Harbour griddle muffin (invented): 250 g of flour a dough, on a scale in steps of 1 g.\n"
        "                                   A                   B                     C"
        "                     D\n"
        "                                   diastatic malt 0 %  diastatic malt 0.4 %  "
        "diastatic malt 0.8 %  diastatic malt 1.2 %\n"
        "bread flour                        250 g               250 g                 250 g"
        "                 250 g\n"
        "water                              140 g               140 g                 140 g"
        "                 140 g\n"
        "whole milk                         50 g                50 g                  50 g"
        "                  50 g\n"
        "salt                               5 g (1.8 to 2.2 %)  5 g (1.8 to 2.2 %)    "
        "5 g (1.8 to 2.2 %)    5 g (1.8 to 2.2 %)\n"
        "instant dry yeast                  1 g (0.2 to 0.6 %)  1 g (0.2 to 0.6 %)    "
        "1 g (0.2 to 0.6 %)    1 g (0.2 to 0.6 %)\n"
        "diastatic malt, as the trial says  none                1 g (0.2 to 0.6 %)    "
        "2 g (0.6 to 1 %)      3 g (1 to 1.4 %)\n"
        "rapeseed oil                       8 g (3 to 3.4 %)    8 g (3 to 3.4 %)      "
        "8 g (3 to 3.4 %)      8 g (3 to 3.4 %)\n"
        "honey                              5 g (1.8 to 2.2 %)  5 g (1.8 to 2.2 %)    "
        "5 g (1.8 to 2.2 %)    5 g (1.8 to 2.2 %)\n"
        "dough in all                       459 g               460 g                 461 g"
        "                 462 g\n"
        "Note: this scale does not keep the doses of diastatic malt apart: 0.4 % is really 0.2 to "
        "0.6 %, 0.8 % is really 0.6 to 1 % and 1.2 % is really 1 to 1.4 %; the blend below does.\n"
        "Note: a step of 1 g is more than 2 % of salt, instant dry yeast, diastatic malt, rapeseed "
        "oil and honey: the range in brackets is what the dough really gets. Furthest off may be "
        "instant dry yeast, 50 % of its 1 g; a finer scale or a larger dough narrows it.\n"
        "Blend: mix 10 g diastatic malt evenly into 490 g flour. That makes 500 g, one part in 50; "
        "its strength is known to within 5 %. Use the one blend for all doughs of the bake; for "
        "five bakes mix five times as much, which is known better, too.\n"
        "For 0 %: no blend and 250 g flour.\n"
        "For 0.4 %: 50 g blend and 201 g flour, really 0.38 to 0.42 %.\n"
        "For 0.8 %: 100 g blend and 152 g flour, really 0.76 to 0.84 %.\n"
        "For 1.2 %: 150 g blend and 103 g flour, really 1.14 to 1.26 %."
    )
    assert repr(sheet) == (
        "<WeighingSheet Harbour griddle muffin (invented): 4 doughs of 250 g flour>"
    )
    assert sheet.to_frame().shape == (32, 9)


def test_sheet_with_the_blend_keeps_them_apart():
    sheet = kf.weigh(harbour(None), DEMO_DOUGHS, flour_g=250, use_blend=True)
    name = "blend of diastatic malt, 1 part in 50"
    assert [sheet[d, name].weigh_g for d in "ABCD"] == [0, 50, 100, 150]
    assert [sheet[d, "bread flour"].weigh_g for d in "ABCD"] == [250, 201, 152, 103]
    doses = [sheet[d, name] for d in "ABCD"]
    assert not any(one.overlaps(other) for one, other in pairwise(doses))
    assert not any("apart" in check for check in sheet.checks)
    # the doughs stay what they were: flour, malt and all
    plain = kf.weigh(harbour(None), DEMO_DOUGHS, flour_g=250)
    assert [sheet.dough_g(d) for d in "ABCD"] == [plain.dough_g(d) for d in "ABCD"]


def test_a_scale_in_ounces_shows_ounces():
    bun = kf.read_formula("Bun", "bread flour 1 lb 2 oz; water 11 oz; salt .3 oz; yeast .2 oz")
    sheet = kf.weigh(bun, flour_g=18 * 28.349523125, scale_step_g=2.8349523125, scale_unit="oz")
    assert sheet.table()["dough"].to_dict() == {
        "bread flour": "18 oz", "water": "11 oz", "salt": "0.3 oz (1.39 to 1.94 %)",
        "yeast": "0.2 oz (0.83 to 1.39 %)", "dough in all": "29.5 oz",
    }  # fmt: skip
    assert "18 oz of flour a dough, on a scale in steps of 0.1 oz." in str(sheet)
    assert " g " not in "".join(map(str, (sheet, *sheet.blends)))
    # the international avoirdupois ounce, 28.349 523 125 g exactly (NIST SP 811, appendix B.8)
    assert sheet["dough", "salt"].weigh_g == pytest.approx(0.3 * 28.349523125)
    with pytest.raises(InputError, match="must be 'g' or 'oz'"):
        kf.weigh(bun, flour_g=500, scale_unit="cup")


def test_unusual_amounts_are_asked_about_unless_they_are_varied():
    odd = kf.read_formula("Bun", "flour 100; water 60; salt 4; yeast 1; malt ?")
    sheet = kf.weigh(odd, [{"malt_percent": 0}, {"malt_percent": 1.2}], flour_g=400)
    assert [doubt.subject for doubt in sheet.doubts] == ["salt_percent"]
    assert [d.subject for d in kf.weigh(odd, [{"malt_percent": 3}], flour_g=400).doubts] == [
        "salt_percent", "malt_percent",
    ]  # fmt: skip


def test_doughs_of_which_the_bowl_is_the_same_have_one_column():
    doughs = {"1A": {"retard_hours": 24}, "1B": {"retard_hours": 48}, "1C": {"retard_hours": 24}}
    sheet = kf.weigh(harbour(), {k: {"malt_percent": 0, **v} for k, v in doughs.items()},
                     flour_g=500)  # fmt: skip
    assert len(sheet.table().columns) == 3  # a box to tick for each, on the bench sheet
    head = sheet._repr_html_().partition("</thead>")[0].partition("<thead>")[2]
    told = "1A: cold retard 24 h; 1B: cold retard 48 h; 1C: cold retard 24 h"
    assert head == f'<tr><td></td><th scope="col">{told}</th></tr>'


def test_doses_the_scale_shows_alike_keep_their_columns():
    doughs = {"A": {"malt_percent": 0.3}, "B": {"malt_percent": 0.4}}
    table = kf.weigh(harbour(), doughs, flour_g=250).table()
    assert (table.nunique(axis=1) == 1).all()
    page = kf.weigh(harbour(), doughs, flour_g=250)._repr_html_()
    for head in ("A: diastatic malt 0.3 %", "B: diastatic malt 0.4 %"):
        assert f'<th scope="col">{head}</th>' in page


def test_a_fine_scale_needs_no_blend():
    sheet = kf.weigh(harbour(None), DEMO_DOUGHS, flour_g=250, fine_step_g=0.1)
    assert sheet.blends == ()
    assert [sheet[d, "salt"].step_g for d in "AB"] == [0.1, 0.1]
    assert sheet["A", "water"].step_g == 1
    assert sheet["A", "whole milk"].step_g == 0.1  # 50 g: just what it carries
    malt = sheet["B", "diastatic malt, as the trial says"]
    assert (malt.low_percent, malt.high_percent) == pytest.approx((0.38, 0.42))


def test_all_doughs_get_the_flour_that_the_leanest_needs():
    doughs = {"1A": {"malt_percent": 0}, "1B": {"malt_percent": 1.2, "retard_hours": 40}}
    sheet = kf.weigh(harbour(None), doughs, pieces=6, raw_piece_g=76)
    exact = kf.scale(harbour(0.0), pieces=6, raw_piece_g=76).flour_g
    assert exact <= sheet.flour_g <= exact + 3
    assert list(sheet.columns().values()) == [
        "1A: diastatic malt 0 %",
        "1B: diastatic malt 1.2 %, cold retard 40 h",
    ]
    assert min(sheet.dough_g(code) for code in doughs) >= 6 * 76


@pytest.mark.parametrize(
    ("water", "yeast", "malts", "pieces", "raw_g", "step"),
    [
        (53.6, 0.49, (0.26, 0.52, 0.97), 10, 94, 2),
        (58.1, 0.26, (0.68, 0.97, 1.09), 8, 88, 1),
        (54.5, 0.59, (0.31, 0.94, 1.03), 11, 75, 2),
    ],
)
def test_a_sheet_with_blends_gives_all_its_pieces_too(water, yeast, malts, pieces, raw_g, step):
    """The blend and the flour held back for it are rounded once more: a step was missing."""
    bun = kf.Formula.from_lines(
        "Bun",
        [("wheat", "flour", 70), ("rye", "flour", 30), ("water", "liquid", water),
         ("milk", "liquid", 20), ("salt", "salt", 1.8), ("instant yeast", "yeast", yeast),
         ("malt", "malt", None), ("butter", "fat", 4)],
    )  # fmt: skip
    sheet = kf.weigh(
        bun, [{"malt_percent": malt} for malt in malts], pieces=pieces, raw_piece_g=raw_g,
        scale_step_g=step, use_blend=True,
    )  # fmt: skip
    assert "blend" in " ".join(w.ingredient for w in sheet.weights)
    assert min(map(sheet.dough_g, sheet.doughs)) >= pieces * raw_g


def test_too_little_for_the_scale_is_said_and_a_blend_offered():
    made = kf.Formula.from_lines("x", [("flour", "flour", 100), ("yeast", "yeast", 0.1)])
    sheet = kf.weigh(made, flour_g=300)
    assert sheet.checks == (
        "0.3 g of yeast is too little for the scale: in steps of 1 g it shows nothing. Use a finer "
        "scale, a larger dough or a blend; without it the dough is another",
    )
    assert sheet.checks == sheet.gone
    # no 0 to weigh: somebody would weigh it
    assert sheet.table().loc["yeast", "dough"] == "too little to weigh (0 to 0.17 %)"
    assert sheet.blends[0].apart
    assert str(sheet.blends[0]).split("\n")[1] == (
        "For 0.1 %: 60 g blend and 240 g flour, really 0.094 to 0.106 %."
    )


def test_several_flours_are_the_basis_as_weighed():
    made = kf.Formula.from_lines(
        "x", [("a", "flour", 33.4), ("b", "flour", 66.6), ("water", "liquid", 70)]
    )
    sheet = kf.weigh(made, flour_g=101, scale_step_g=5)
    assert [w.weigh_g for w in sheet.weights] == [35, 65, 70]
    assert sheet["dough", "water"].planned_g == pytest.approx(70)


@settings(max_examples=60)
@given(
    formulas(),
    st.floats(100, 3000),
    STEPS,
    st.lists(st.floats(0, 2).map(lambda x: round(x, 2)), min_size=1, max_size=4),
    st.booleans(),
)
def test_sheet_ranges_hold_what_was_planned(made, flour_g, step, malts, use_blend):
    sheet = kf.weigh(
        made,
        [{"malt_percent": malt} for malt in malts],
        flour_g=flour_g,
        scale_step_g=step,
        use_blend=use_blend,
    )
    for one in sheet.weights:
        assert one.low_percent - 1e-6 <= one.percent <= one.high_percent + 1e-6
        assert one.weigh_g >= 0
        assert abs(one.weigh_g - one.planned_g) <= step / 2 + 1e-6
    assert str(sheet)
    assert "<table>" in sheet._repr_html_()


SHEET_ERRORS = [
    (
        {"flour_g": 250},
        None,
        "percent is None: must not be empty: diastatic malt. Set it for each dough: "
        'doughs=[{"malt_percent": 0.8}, …].',
    ),
    (
        {"flour_g": 250},
        [{"malt_percent": 0.8}, {"retard_hours": 16}],
        "percent is None (dough B): must not be empty: diastatic malt. Set it for each dough: "
        'doughs=[{"malt_percent": 0.8}, …].',
    ),
    (
        {"flour_g": 0.3},
        [{"malt_percent": 0.8}],
        "flour_g is 0.3: is less than this scale can show, in steps of 1 g. The least it can "
        "weigh is 1 g.",
    ),
    (
        {"flour_g": 250, "scale_step_g": -1},
        [{"malt_percent": 0.8}],
        "scale_step_g is -1: must be above 0. It is the smallest change the scale shows, for "
        "example 1 or 0.1 g.",
    ),
    ({"flour_g": 250}, [], "doughs is None: must not be empty. Leave it out for a single dough."),
    (
        {"flour_g": 250},
        [0.8],
        'doughs is 0.8 (dough A): must be settings by name. Write {"malt_percent": 0.8}.',
    ),
]


@pytest.mark.parametrize(("size", "doughs", "message"), SHEET_ERRORS)
def test_sheets_refused(size, doughs, message):
    with pytest.raises(InputError) as caught:
        kf.weigh(harbour(None), doughs, **size)
    assert str(caught.value) == message


def test_the_furthest_off_counts_rounding_and_half_a_step():
    """1.57 g of yeast on a scale of 1 g: shown 2, really 1.5 to 2.5, so up to 59 % more."""
    bun = kf.Formula.from_lines("Bun", [("flour", "flour", 100), ("yeast", "yeast", 0.6)])
    sheet = kf.weigh(bun, flour_g=262)
    assert sheet["dough", "yeast"].furthest_percent == pytest.approx(100 * (2.5 / 1.572 - 1))
    assert "Furthest off may be yeast, 59 % of its 1.57 g" in sheet.checks[0]
    # 1.4 g shown as 1 may really be 0.5: the lower end is the further one
    less = kf.weigh(bun.with_percent("yeast", 1.4), flour_g=100)
    assert less["dough", "yeast"].furthest_percent == pytest.approx(100 * 0.9 / 1.4)


@pytest.mark.parametrize("listed", [5, "malt", {"A": {3: 1}}, [{3: 1}]])
def test_doughs_that_are_no_settings(listed):
    with pytest.raises(InputError, match=r"^doughs is .*settings"):
        kf.weigh(harbour(None), listed, flour_g=100)


@pytest.mark.parametrize("listed", [5, "malt", ["malt"], {3: 1}])
def test_settings_that_are_none(listed):
    with pytest.raises(InputError) as caught:
        harbour(None).with_settings(listed)
    assert str(caught.value) == (
        f'settings is {listed!r}: must be settings by name. Write {{"malt_percent": 0.8}}.'
    )


def test_sheet_is_escaped():
    made = kf.Formula.from_lines("<i>", [("<b>", "flour", 100), ("&", "malt", None)])
    page = kf.weigh(made, {"<u>": {"malt_percent": 1}}, flour_g=100)._repr_html_()
    for tag in ("<i>", "<b>", "<u>"):
        assert tag not in page
    assert "&lt;u&gt;" in page
    json.dumps(kf.weigh(made, {"x": {"malt_percent": 1}}, flour_g=100).to_frame().to_dict())


@given(
    st.lists(st.floats(0, 3).map(lambda x: round(x, 2)), min_size=1, max_size=5, unique=True),
    st.floats(100, 2000),
    STEPS,
    st.integers(1, 8),
)
def test_blend_keeps_its_word(doses, flour_g, step, each):
    try:
        blend = kf.preblend(doses, flour_g, step, doughs_each=each)
    except InputError:
        assert max(doses) == 0
        return
    ordered = blend.doses
    assert [one.percent for one in ordered] == sorted(doses)
    if blend.apart:
        for one, other in pairwise(ordered):
            assert one.high_percent < other.low_percent
    else:
        assert any("does not keep" in check for check in blend.checks)
    assert blend.strong_g * blend.parts == pytest.approx(blend.dilute_g)
    assert blend.strong_g + blend.dilute_g >= blend.used_g - step * each * len(doses)
    for one in ordered:
        # what was planned lies in the range, blend and flour make the same flour and malt
        assert one.low_percent - 1e-9 <= one.percent <= one.high_percent + 1e-9
        flour = one.plain_flour_g + one.blend_g * blend.parts / (1 + blend.parts)
        assert flour == pytest.approx(flour_g, abs=step / 2 + 1e-6)
        assert one.blend_g <= 0.75 * flour_g + step


def test_blends_refused_and_admitted():
    for doses, message in [
        ([0], "doses_percent is '0': holds no dose above 0. There is nothing to dilute."),
        (
            [0, 60],
            "doses_percent is 60: is too large to be diluted in the dough's own flour. So much can "
            "be weighed as it is.",
        ),
        ([math.nan], "doses_percent is nan: must not be empty. Enter it in % of the flour."),
    ]:
        with pytest.raises(InputError) as caught:
            kf.preblend(doses, 250)
        assert str(caught.value) == message
    close = kf.preblend([0.4, 0.402], 250)
    assert not close.apart
    assert close.checks[0] == (
        "even this blend does not keep all doses apart: choose doses further from each other, or a "
        "scale with a finer step"
    )
    fine = kf.preblend([1, 1.02], 1000)  # 2 % apart: half a gram in 160 g of malt is 0.3 %
    assert (fine.apart, fine.parts, fine.strong_g) == (True, 9, 160)
    assert "its strength is known to within 0.3 %" in fine.recipe
    tiny = kf.preblend([0.01, 0.02], 250)
    assert tiny.apart
    assert tiny.checks == (
        "the smallest dose is 25 g of blend, so the scale's step is still more than 2 % of it; a "
        "thinner blend would need too much of the flour",
        "the doughs use only 75 g of it; so much has to be made because less malt cannot be "
        "weighed well enough, which a finer scale changes",
    )

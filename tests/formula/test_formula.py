"""Baker's percentages, settings, scaling: hand arithmetic, properties and whole messages."""

import math
from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from sample_formulas import formulas, harbour

from kit import formula as kf
from kit.errors import InputError, KitError, NotFoundError

NAN = math.nan


def test_says_what_is_in_it():
    assert str(harbour(None)) == (
        "Harbour griddle muffin (invented)\n"
        "  100 %  bread flour\n"
        "   56 %  water\n"
        "   20 %  whole milk (88 % water)\n"
        "  1.8 %  salt\n"
        "  0.4 %  instant dry yeast\n"
        "   open  diastatic malt, as the trial says\n"
        "    3 %  rapeseed oil\n"
        "    2 %  honey\n"
        "In all 183.2 % of the flour's weight and diastatic malt, still to be set; hydration "
        "73.6 % (water 56, whole milk 17.6).\n"
        "Invented for the demo. 250 g flour makes one dough: six raw pieces of 76 g."
    )
    assert repr(harbour()) == (
        "<Formula Harbour griddle muffin (invented): 8 ingredients, 184 %, hydration 73.6 %>"
    )


def test_the_line_kept_with_a_trial_is_taken_as_it_is():
    kept = SimpleNamespace(name="salt", role="salt", percent=1.8, note="fine")
    made = kf.Formula.from_lines("x", [("flour", "flour", 100), kept])
    assert made["salt"] == kf.Ingredient("salt", "salt", 1.8, note="fine")


def test_frame_and_html():
    frame = harbour(None).to_frame()
    assert list(frame.columns) == [
        "name", "role", "percent", "water_fraction", "water_percent", "note",
    ]  # fmt: skip
    milk = frame.set_index("name").loc["whole milk"]
    assert (milk.percent, milk.water_fraction) == (20, 0.88)
    assert milk.water_percent == pytest.approx(17.6)
    assert math.isnan(frame.percent[5])  # open is missing, never 0
    nasty = kf.Formula.from_lines("<b>x</b>", [("<script>", "flour", 100)], note="a & b")
    page = nasty._repr_html_()
    assert "<script>" not in page
    assert "<b>" not in page
    assert "&lt;script&gt;" in page
    assert "a &amp; b" in page


@given(formulas())
def test_percentages_add_up(made):
    total = math.fsum(one.percent for one in made.ingredients)
    assert made.total_percent == pytest.approx(total, rel=1e-12)
    flours = math.fsum(one.percent for one in made.of_role("flour"))
    assert flours == pytest.approx(100, abs=1e-9)
    weights = kf.scale(made, flour_g=437).weights_g
    assert math.fsum(weights.values()) == pytest.approx(4.37 * total, rel=1e-12)


# water of the table: USDA Agriculture Handbook No. 8 (1976), as copied at cip.ukcentre.com
@pytest.mark.parametrize(
    ("name", "role", "fraction"),
    [
        ("water", "liquid", 1.0),
        ("Cold water", "liquid", 1.0),
        ("whole milk", "liquid", 0.880),
        ("milk, 2 %", "liquid", 0.880),
        ("skimmed milk", "liquid", 0.908),
        ("semi-skimmed milk", "liquid", 0.892),
        ("buttermilk", "liquid", 0.901),
        ("sour cream", "fat", 0.710),
        ("butter", "fat", 0.159),
        ("unsalted butter", "fat", 0.159),
        ("rapeseed oil", "fat", 0.0),
        ("peanut butter", "fat", 0.0),
        ("cocoa butter", "fat", 0.0),
        ("eggs", "egg", 0.7533),
        ("hen", "egg", 0.7533),
        ("dried egg", "egg", 0.0),
        ("nonfat milk solids", "other", 0.0),
        ("milk powder", "other", 0.0),
        ("milk chocolate", "other", 0.0),
        ("bread flour", "flour", 0.0),
        ("fresh yeast", "yeast", 0.0),
    ],
)
def test_water_by_name(name, role, fraction):
    found = kf.water_in(name, role)
    assert (found.fraction, found.known) == (fraction, True)


@pytest.mark.parametrize("name", ["pale ale", "oat milk", "coconut milk", "egg whites"])
def test_unknown_liquid_counts_as_water_and_is_asked_about(name):
    made = kf.Formula.from_lines("x", [("f", "flour", 100), (name, "liquid", 60), ("s", "salt", 2)])
    assert made.hydration_percent == 60
    assert str(kf.doubts(made)[0]) == (
        f"{name[0].upper()}{name[1:]} counts as all water, because its share of water is not "
        "known. Give water_fraction if it is another. (Source: assumption.)"
    )
    said = kf.Ingredient(name, "liquid", 60, water_fraction=0.9)
    made = kf.Formula("x", (*made.ingredients[:1], said, *made.ingredients[2:]))
    assert made.hydration_percent == pytest.approx(54)


@given(formulas(), st.floats(40, 120))
def test_hydration_is_reached(made, wanted):
    there = made.with_setting("hydration_percent", wanted)
    assert there.hydration_percent == pytest.approx(wanted, rel=1e-9)
    # milk and water keep their proportion; nothing else moves
    for name in ("butter", "salt", "malt"):
        assert there[name] == made[name]
    if made["whole milk"].percent > 0.01:
        ratio = made["water"].percent / made["whole milk"].percent
        assert there["water"].percent / there["whole milk"].percent == pytest.approx(ratio)


def test_settings_of_a_dough():
    made = harbour(None).with_settings(
        {"hydration_percent": 75, "malt_percent": 1.2, "retard_hours": 40, "honey_percent": 3}
    )
    assert made["diastatic malt, as the trial says"].percent == 1.2
    assert made["honey"].percent == 3
    assert made.hydration_percent == pytest.approx(75)
    two = kf.Formula.from_lines(
        "x", [("f", "flour", 100), ("fine salt", "salt", 1.5), ("sea salt", "salt", 0.5)]
    ).with_setting("salt_percent", 1)
    assert [one.percent for one in two.of_role("salt")] == [0.75, 0.25]
    plain = kf.Formula.from_lines("x", [("f", "flour", 100)])
    assert plain.with_setting("malt_percent", 0) is plain


SETTING_ERRORS = [
    (
        "malt_percent",
        130,
        "malt_percent is 130: must lie between 0 and 20. The nearest possible is 20; 0.5 to 1 % "
        "is mostly named as the most.",
    ),
    (
        "malt_percent",
        NAN,
        "malt_percent is nan: must not be empty. Enter diastatic malt in %; 0.5 to 1 % is mostly "
        "named as the most.",
    ),
    (
        "malt_percent",
        None,
        "malt_percent is None: must not be empty. Enter diastatic malt in %; 0.5 to 1 % is mostly "
        "named as the most.",
    ),
    (
        "salt_percent",
        -1,
        "salt_percent is -1: must lie between 0 and 20. The nearest possible is 0; mostly it is 1 "
        "to 2.5 %.",
    ),
    (
        "hydration_percent",
        10,
        "hydration_percent is 10: must be at least 11.3. So much water comes with the other "
        "ingredients: lower those first.",
    ),
    (
        "moisture",
        10,
        "no setting of a formula 'moisture'. There are: 'malt_percent', 'salt_percent', "
        "'yeast_percent', 'hydration_percent', 'f', 'egg', 'milk'.",
    ),
    (
        "yeast_percent",
        1,
        "yeast_percent is 1: the formula has no ingredient of the role yeast. Add one to it; its "
        "percentage may be left open.",
    ),
]


@pytest.mark.parametrize(("name", "value", "message"), SETTING_ERRORS)
def test_settings_refused(name, value, message):
    made = kf.Formula.from_lines(
        "x", [("f", "flour", 100), ("egg", "egg", 15), ("milk", "liquid", 60)]
    )
    with pytest.raises(KitError) as caught:
        made.with_setting(name, value)
    assert str(caught.value) == message


def test_what_is_open_twice_cannot_be_shared_out():
    open_twice = kf.Formula.from_lines(
        "x",
        [("f", "flour", 100), ("milk", "liquid", None), ("water", "liquid", 30),
         ("malt", "malt", None), ("rye malt", "malt", 0.2)],
    )  # fmt: skip
    for name, value, message in [
        (
            "hydration_percent",
            62,
            "hydration_percent is 62: cannot be shared out between milk and water. Give all "
            "liquids but the one that is set; or set them by name.",
        ),
        (
            "malt_percent",
            0.6,
            "malt_percent is 0.6: cannot be shared out between malt and rye malt. Set each of them "
            "by its own name.",
        ),
    ]:
        with pytest.raises(KitError) as caught:
            open_twice.with_setting(name, value)
        assert str(caught.value) == message
    alone = kf.Formula.from_lines("x", [("f", "flour", 100), ("milk", "liquid", None)])
    assert alone.with_setting("hydration_percent", 66)["milk"].percent == pytest.approx(75)
    two = open_twice.with_percent("malt", 0.4).with_setting("malt_percent", 0.9)
    assert [one.percent for one in two.of_role("malt")] == pytest.approx([0.6, 0.3])


def test_formulas_refused():
    for lines, message in [
        (
            [("a", "flour", 60), ("b", "flour", 35)],
            "flour is 95: must add up to 100. In baker's percentages all flours together are 100 "
            "and the rest is measured by them. Kept in proportion they would be: a 63.16, b 36.84.",
        ),
        (
            [("water", "liquid", 60)],
            "flour is None: must not be empty. Add the flour: it is 100 % by definition.",
        ),
        (
            [("a", "flour", 100), ("a", "salt", 2)],
            "ingredient is 'a': is there twice. Put the two together, or tell them apart by name.",
        ),
        (
            [("a", "flour", 100), ("malt", "malt", 130)],
            "percent is 130 (malt): must lie between 0 and 20. Enzymes work in traces: 1 % is a "
            "high dose. Syrup without enzymes has the role sugar.",
        ),
        (
            [("a", "flour", 100), ("water", "liquid", -5)],
            "percent is -5 (water): must lie between 0 and 1000. Enter it in % of the flour's "
            "weight.",
        ),
        (
            [("a", "flour", None)],
            "percent is None (a): must not be empty. Flour cannot be left open.",
        ),
        (
            [("a", "flour", 100), "salt"],
            'ingredient is \'salt\': must be name, role and percent. Write ("salt", "salt", 1.8).',
        ),
    ]:
        with pytest.raises(InputError) as caught:
            kf.Formula.from_lines("x", lines)
        assert str(caught.value) == message
    with pytest.raises(NotFoundError) as unknown:
        kf.Ingredient("x", "spice", 1)
    assert str(unknown.value) == (
        "no role 'spice'. There are: 'flour', 'liquid', 'salt', 'yeast', 'malt', 'fat', 'egg', "
        "'sugar', 'other'."
    )
    with pytest.raises(InputError) as none:
        kf.Formula.from_weights("x", [("flour", "flour", 0), ("water", "liquid", 300)])
    assert str(none.value) == (
        "flour is 0: must be above 0. Baker's percentages are measured by the flour: add it."
    )


@given(formulas(), st.floats(1, 1e5))
def test_scaling_there_and_back(made, flour_g):
    batch = kf.scale(made, flour_g=flour_g)
    assert kf.scale(made, dough_g=batch.dough_g).flour_g == pytest.approx(flour_g, rel=1e-9)
    by_salt = kf.scale(made, have_g={"salt": batch.weights_g["salt"]})
    assert by_salt.flour_g == pytest.approx(flour_g, rel=1e-9)
    again = kf.Formula.from_weights(
        "back", [(i.name, i.role, batch.weights_g[i.name]) for i in made.ingredients]
    )
    for one in made.ingredients:
        assert again[one.name].percent == pytest.approx(one.percent, rel=1e-9, abs=1e-12)


@given(
    formulas(),
    st.integers(1, 500),
    st.floats(5, 500),
    st.floats(0, 30),
    st.floats(0, 40),
    st.sampled_from(["dough", "baked"]),
)
def test_pieces_come_out_as_wanted(made, pieces, baked_g, dough_loss, bake_loss, of):
    batch = kf.scale(
        made,
        pieces=pieces,
        baked_piece_g=baked_g,
        dough_loss_percent=dough_loss,
        bake_loss_percent=bake_loss,
        bake_loss_of=of,
    )
    left = batch.dough_g * (1 - dough_loss / 100) / pieces
    assert left == pytest.approx(batch.raw_piece_g, rel=1e-9)
    lost = kf.bake_loss_percent(left, baked_g, of=of)
    assert lost == pytest.approx(bake_loss, rel=1e-6, abs=1e-9)
    raw = kf.scale(made, pieces=pieces, raw_piece_g=left, dough_loss_percent=dough_loss)
    assert raw.flour_g == pytest.approx(batch.flour_g, rel=1e-9)


@given(st.floats(0, 60))
def test_loss_on_the_other_basis_and_back(loss):
    of_baked = kf.rebase_loss(loss, "dough", "baked")
    assert of_baked >= loss * (1 - 1e-12)
    assert kf.rebase_loss(of_baked, "baked", "dough") == pytest.approx(loss, abs=1e-9)


def test_what_runs_out_first_sets_the_size():
    batch = kf.scale(harbour(), have_g={"bread flour": 740, "whole milk": 100})
    assert batch.flour_g == 500
    assert batch.left_over == {"bread flour": 240, "whole milk": 0}
    assert str(batch).endswith("920 g of dough. Left over: 240 g bread flour.")
    assert str(kf.scale(harbour(), have_g={"bread flour": 740})).startswith(
        "Harbour griddle muffin (invented), as far as 740 g of bread flour goes\n    740 g  bread"
    )


def test_a_batch_in_words():
    batch = kf.scale(
        harbour(), pieces=12, baked_piece_g=68, dough_loss_percent=2, bake_loss_percent=11
    )
    assert str(batch).split("\n")[-1] == (
        "935.6 g of dough. 12 raw pieces of 76.4 g; 68 g each when baked. 2 % of the dough is "
        "allowed for bowl and hands."
    )
    assert batch.checks == ()
    assert repr(batch) == (
        "<Batch Harbour griddle muffin (invented): 508.5 g flour, 935.6 g dough>"
    )
    assert batch.to_frame().weight_g.sum() == pytest.approx(batch.dough_g)
    odd = kf.scale(harbour(1.2), pieces=6, raw_piece_g=76, bake_loss_percent=25)
    assert [doubt.subject for doubt in odd.checks] == ["malt_percent", "bake_loss_percent"]
    assert str(odd.checks[1]) == (
        "Bake loss is 25 % of the dough, mostly it is 9.8 to 11.5 %. Is it right? (Source: "
        "bakers' dictionary, Baking Business.)"
    )


SCALE_ERRORS = [
    (
        {},
        "size is None: must be given in exactly one way. Give flour_g, dough_g, have_g, or pieces "
        "with raw_piece_g or baked_piece_g.",
    ),
    (
        {"flour_g": 100, "dough_g": 5},
        "size is 'flour_g and dough_g': must be given in exactly one way. Give flour_g, dough_g, "
        "have_g, or pieces with raw_piece_g or baked_piece_g.",
    ),
    ({"flour_g": 0}, "flour_g is 0: must be above 0. Enter a weight in grams."),
    ({"flour_g": -3.5}, "flour_g is -3.5: must be above 0. Enter a weight in grams."),
    ({"flour_g": NAN}, "flour_g is nan: must not be empty. Enter a weight in grams."),
    ({"flour_g": math.inf}, "flour_g is inf: must be a finite number. Enter a weight in grams."),
    ({"flour_g": "much"}, "flour_g is 'much': must be a number. Enter a weight in grams."),
    (
        {"pieces": 6},
        "piece is None: must be given in exactly one way. Give raw_piece_g, the weight when "
        "shaped, or baked_piece_g, the weight on the plate.",
    ),
    (
        {"pieces": 1.5, "raw_piece_g": 70},
        "pieces is 1.5: must be a whole number. Write 1, 2, 3 …",
    ),
    (
        {"pieces": 6, "baked_piece_g": 68},
        "bake_loss_percent is None: must not be empty when a baked weight is wanted. Mostly 9.8 "
        "to 11.5 % of the raw piece is lost (bakers' dictionary, Baking Business); weigh a few "
        "pieces before and after to know your own.",
    ),
    (
        {"pieces": 6, "baked_piece_g": 68, "bake_loss_percent": 11, "bake_loss_of": "flour"},
        "bake_loss_of is 'flour': must be 'dough' or 'baked'. Say what the loss is a share of: "
        "the dough's weight or the baked weight.",
    ),
    ({"have_g": {"salt": -2}}, "have_g is -2 (salt): must be above 0. Enter a weight in grams."),
    ({"have_g": {}}, "have_g is None: sets no size. Name an ingredient that is used."),
]


@pytest.mark.parametrize(("size", "message"), SCALE_ERRORS)
def test_sizes_refused(size, message):
    with pytest.raises(InputError) as caught:
        kf.scale(harbour(), **size)
    assert str(caught.value) == message


def test_division():
    # common practice, no source: 1051 g of dough gives twelve pieces of 87 g with 7 g over
    cut = kf.divide(1051, pieces=12)
    assert (cut.pieces, cut.raw_piece_g, cut.over_g) == (12, 87, 7)
    assert str(cut) == "1051 g of dough gives 12 pieces of 87 g with 7 g over."
    assert kf.divide(1051, raw_piece_g=87) == cut
    assert str(kf.divide(76, raw_piece_g=76)) == (
        "76 g of dough gives 1 piece of 76 g, nothing over."
    )
    with pytest.raises(InputError) as many:
        kf.divide(50, pieces=100)
    assert str(many.value) == (
        "pieces is 100: 50 g of dough does not give so many. On this scale it gives at most 50."
    )
    with pytest.raises(InputError) as heavy:
        kf.divide(50, raw_piece_g=76)
    assert str(heavy.value) == (
        "raw_piece_g is 76: must be at most 50 g, all the dough there is. Make more dough, or "
        "smaller pieces."
    )


@given(st.floats(10, 5000), st.integers(1, 40), st.sampled_from([0.1, 0.5, 1, 2]))
def test_division_loses_nothing(dough_g, pieces, step):
    try:
        cut = kf.divide(dough_g, pieces=pieces, scale_step_g=step)
    except InputError:
        assert dough_g / pieces < step
        return
    assert cut.pieces * cut.raw_piece_g + cut.over_g == pytest.approx(dough_g, abs=1e-6)
    assert cut.over_g <= pieces * step + 1e-6


def test_demo_formula_makes_six_pieces_of_76_g_as_its_note_says():
    dough = kf.scale(harbour(0.0), flour_g=250).dough_g
    assert str(kf.divide(dough, pieces=6)) == "458 g of dough gives 6 pieces of 76 g with 2 g over."


def test_usual_formula_raises_no_doubt_and_odd_ones_do():
    assert kf.doubts(harbour()) == ()
    odd = kf.Formula.from_lines(
        "odd",
        [("rye flour", "flour", 100), ("water", "liquid", 40), ("salt", "salt", 0.2),
         ("yeast", "yeast", 3), ("malt", "malt", 1.5), ("sugar", "sugar", 8)],
    )  # fmt: skip
    assert [str(doubt) for doubt in kf.doubts(odd)] == [
        "Hydration is 40 %, mostly it is 55 to 95 %; muffins take 83 to 87 % water. Is it right? "
        "(Source: common practice, no source; American Society of Baking, English muffins.)",
        "Salt is 0.2 %, mostly it is 1 to 2.5 %. Is it right? (Source: The Bread Baker's "
        "Apprentice, 1.5 to 2.5 %; American Society of Baking, English muffins, 1 to 2 %.)",
        "Yeast is 3 %, mostly it is at most 2.5 %. Is it fresh yeast? (Source: common practice, "
        "no source.)",
        "Diastatic malt is 1.5 %; 0.5 to 1 % is mostly named as the most, above it the crumb may "
        "turn sticky and gummy. Is it right? (Source: two trade pages on diastatic malt, no "
        "standard found.)",
        "Sugar is 8 %; above 5 % it slows the yeast. Is it meant so? (Source: Marek and Bushuk, "
        "Cereal Chem. 44:300 (1967).)",
    ]


@pytest.mark.parametrize(
    ("name", "role", "usual", "doubted"),
    [
        ("fresh yeast", "yeast", 8, 8.1),
        ("instant yeast", "yeast", 2.5, 2.6),
        ("instant yeast", "yeast", 0.1, 0),
        ("sugar", "sugar", 5, 5.1),
        ("malt", "malt", 1, 1.1),
        ("salt", "salt", 2.5, 2.6),
    ],
)
def test_a_doubt_begins_beyond_what_is_usual(name, role, usual, doubted):
    lines = {"water": "liquid", "salt": "salt", "instant yeast": "yeast"}
    shares = {"water": 68, "salt": 1.8, "instant yeast": 0.5}
    others = [(n, r, shares[n]) for n, r in lines.items() if r != role]
    made = kf.Formula.from_lines("x", [("f", "flour", 100), *others, (name, role, usual)])
    assert kf.doubts(made) == ()
    assert len(kf.doubts(made.with_percent(name, doubted))) == 1

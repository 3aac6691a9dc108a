"""Does it matter if…? Every factor against every outcome."""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from matplotlib.container import ErrorbarContainer

import kit
from kit.analysis.overview import overview
from kit.errors import InputError

DEMO = Path(__file__).parents[2] / "datasets" / "demo" / "pieces.csv"
FACTORS = ["malt_percent", "retard_hours", "side_minutes"]
OUTCOMES = ["rise_height_mm", "browning_l", "gumminess"]


@pytest.fixture(scope="module")
def demo():
    return pd.read_csv(DEMO, dtype={"bake": str})


@pytest.fixture(scope="module")
def table(demo):
    return overview(
        demo, [*FACTORS, "salt_percent"], OUTCOMES, dough="dough", bake="bake", load="load",
        matters={"rise_height_mm": 2.0, "browning_l": 4.0},
    )  # fmt: skip


def row(o, factor, outcome):
    found = o.table[(o.table["factor"] == factor) & (o.table["outcome"] == outcome)]
    return found.iloc[0]


def test_each_cell_is_the_comparison_itself(demo, table):
    mine = row(table, "malt_percent", "rise_height_mm")
    theirs = kit.compare(
        demo, "rise_height_mm", "malt_percent", dough="dough", bake="bake", load="load",
        matters=2.0, adjust=["retard_hours", "side_minutes"],
    )  # fmt: skip
    assert mine["difference"] == theirs.leading.difference
    assert (mine["low"], mine["high"]) == (theirs.leading.low, theirs.leading.high)
    assert mine["verdict"] == "matters"
    assert mine["units"] == 20


def test_verdicts_follow_the_truth_of_the_demo(table):
    """Truth: side time adds nothing to height and takes 7 from browning L*."""
    assert row(table, "side_minutes", "rise_height_mm")["verdict"] == "does not"
    assert row(table, "side_minutes", "browning_l")["verdict"] == "matters"
    assert row(table, "malt_percent", "gumminess")["verdict"] == "a difference"
    assert "does not" not in set(table.table.loc[table.table["matters"].isna(), "verdict"])


def test_not_tested_says_why(table):
    missing = row(table, "salt_percent", "rise_height_mm")
    assert missing["verdict"] == "not tested"
    assert missing["why"].startswith(
        "no column for by 'salt_percent'. Did you mean 'malt_percent'? There are: "
    )
    assert np.isnan(missing["difference"])


def test_notes_say_how_many_answers_and_what_has_no_margin(table):
    assert table.checks[0].startswith("9 answers were asked for at once, each wrong by chance in")
    assert table.checks[1].startswith("how much matters was not said for gumminess")


def test_trade_offs_only_of_what_is_sure(demo, table):
    assert table.trade_offs == ()  # at 0.8 % browning and gumminess do not surely differ
    open_too = overview(
        demo, FACTORS, ["rise_height_mm", "crumb_openness", "gumminess"], dough="dough",
        bake="bake", load="load",
    )  # fmt: skip
    (told,) = open_too.trade_offs
    assert told.startswith("With diastatic malt at 0.8 % instead of 0 %: height 4.2 mm more (")
    assert told.endswith("; no sure difference in gumminess.")


def test_taller_but_darker():
    """Two outcomes that go together with one setting are told together."""
    rng = np.random.default_rng(1)
    malt = np.repeat([0.0, 0.8], 24)
    dough = np.repeat(np.arange(12), 4)
    own = rng.normal(0, 0.3, 12)[dough]
    frame = pd.DataFrame(
        {
            "dough": dough,
            "malt_percent": malt,
            "rise_height_mm": 28 + 5 * malt + own + rng.normal(0, 0.4, 48),
            "browning_l": 60 - 10 * malt - own + rng.normal(0, 0.4, 48),
        }
    )
    found = overview(frame, ["malt_percent"], ["rise_height_mm", "browning_l"], dough="dough")
    (told,) = found.trade_offs
    assert told == (
        "With diastatic malt at 0.8 % instead of 0 %: height 3.92 mm more (3.43 to 4.41) and "
        "browning L* 7.91 less (7.54 to 8.27)."
    )
    ends = found.table.set_index("outcome")[["low", "high"]].abs()
    assert ends.loc["rise_height_mm"].tolist() == pytest.approx([3.43, 4.41], abs=0.005)
    assert ends.loc["browning_l"].tolist() == pytest.approx([8.27, 7.54], abs=0.005)


def test_faces_and_pictures(table):
    assert str(table).startswith("Does it matter if…?\n– Diastatic malt for height: matters (")
    assert repr(table).startswith("<Overview: ")
    assert table._repr_html_().count("<tr>") == 1 + len(table.table)
    assert set(table.to_frame()["kind"]) == {"answer", "setting"}
    ax = table.plot()
    assert len(ax.get_yticklabels()) == (table.table["verdict"] != "not tested").sum()
    one = table.plot(factor="malt_percent")
    line = next(a for a in one.lines if a.get_label() == "height")
    want = table.settings.query("factor == 'malt_percent' and outcome == 'rise_height_mm'")
    np.testing.assert_allclose(line.get_ydata(), want["scaled"])


def test_verdicts_differ_in_their_marks_also_where_colours_are_lost(table):
    drawn = [one for one in table.plot().containers if isinstance(one, ErrorbarContainer)]
    marks = [one.lines[0].get_marker() for one in drawn]
    assert len(marks) == len(set(marks)) > 2


def test_tables_put_together_have_labels_twice(demo):
    """As `pd.concat` of two days leaves them; pandas refused what was looked at besides."""
    early = demo["bake"] <= "4"
    twice = pd.concat([demo[early].reset_index(drop=True), demo[~early].reset_index(drop=True)])
    asked = (["malt_percent"], ["rise_height_mm"], "dough", "bake")
    assert str(overview(twice, *asked)) == str(overview(twice.reset_index(drop=True), *asked))


def test_something_must_be_asked(demo):
    with pytest.raises(InputError) as caught:
        overview(demo, [], OUTCOMES)
    assert str(caught.value) == "factors is []: must name at least one column."


def test_what_is_to_think_about_in_single_answers_is_told_once(demo):
    """A slip, and settings that kept their turn, are in no sentence of the overview."""
    frame = demo.copy()
    frame.loc[7, "browning_l"] /= 10
    found = overview(frame, FACTORS, OUTCOMES, dough="dough", bake="bake", load="load")
    (slip,) = [c for c in found.checks if "look for a slip" in c or "decimal point" in c]
    assert slip.startswith(f"browning L*: one piece of dough {frame['dough'][7]} lies ")
    rows = [
        (bake, f"{bake}{malt}", malt, 30 + 0.1 * bake * malt + 0.2 * k, 5.0 + (k + bake) % 3)
        for bake in range(5) for malt in (0.0, 1.2) for k in range(3)
    ]  # fmt: skip
    kept = pd.DataFrame(rows, columns=["bake", "dough", "malt_percent", *OUTCOMES[::2]])
    all_of = overview(kept, ["malt_percent"], OUTCOMES[::2], dough="dough", bake="bake")
    single = kit.compare(
        kept, OUTCOMES[0], "malt_percent", dough="dough", bake="bake", examine=True
    )
    (turn,) = [f.text for f in single.examined.findings if f.subject == "turn"]
    assert turn.startswith("0 % came before 1.2 % in all 5 bakes")
    assert all_of.checks.count(turn) == 1

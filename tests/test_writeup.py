"""The page that is shared: complete, self-contained, escaped, written whole or not at all."""

import os
import re
import sys
from dataclasses import replace
from datetime import date
from functools import cache
from html.parser import HTMLParser
from pathlib import Path

import html5lib
import numpy as np
import pandas as pd
import pytest
import scipy.stats

import kit
from kit import charts, writeup
from kit.analysis.compare import compare
from kit.errors import InputError, KitError, MissingPackageError
from kit.formula import Formula
from kit.writeup import Report, tables
from kit.writeup.report import Also

ROOT = Path(__file__).parents[1]
CHROMIUM = Path("/usr/bin/chromium")
HEADINGS = [
    "The question",
    "The answer",
    "The picture",
    "What it rests on",
    "The formula",
    "What was done",
    "How it was analysed",
    "What was not tested",
    "For safety",
    "To check and repeat it",
]
in_a_browser = pytest.mark.skipif(
    not CHROMIUM.exists(),
    reason="no Chromium here, so no page was opened in a browser: apt-get install chromium",
)


@cache
def cake(by: str = "recipe", **options) -> Report:
    frame = pd.read_csv(ROOT / "datasets" / "published" / "cake.csv")
    given = {"dough": "mix", "bake": "replicate", "matters": 3.0} | options
    return writeup.from_frame(
        frame,
        compare(frame, "angle_deg", by, **given),
        "Cake",
        dough="mix",
        bake="replicate",
        source="Cook (1938)",
        made_on=date(2026, 11, 26),
    )


@cache
def demo() -> Report:
    frame = pd.read_csv(ROOT / "datasets" / "demo" / "pieces.csv")
    found = compare(
        frame, "rise_height_mm", "malt_percent", dough="dough", bake="bake", load="load",
        matters=2.0, adjust=["retard_hours", "side_minutes"],
    )  # fmt: skip
    formula = pd.DataFrame(
        [("bread flour", "flour", 100), ("salt", "salt", 1.8), ("malt", "malt", np.nan)],
        columns=["name", "role", "percent"],
    )
    return writeup.from_frame(
        frame,
        found,
        "Malt and height",
        "Does more malt make a taller griddle muffin?",
        baker="Harbour café (invented)",
        invented=True,
        formula=formula,
        formula_note="250 g flour makes one dough.",
        events=["Bake 4: warm room.", "Piece 6A3: burnt."],
        source="datasets/demo, made by make_demo.py",
        made_on=date(2026, 11, 26),
    )


@cache
def parsed(report: Report):
    """The page as a tree; any fault in the HTML is an error."""
    parser = html5lib.HTMLParser(strict=True, namespaceHTMLElements=False)
    return parser.parse(writeup.render(report))


def words(element) -> str:
    return " ".join(" ".join(element.itertext()).split())


def section(report: Report, name: str) -> str:
    return words(parsed(report).find(f".//section[@id='{name}']"))


def table(report: Report, caption: str) -> list[list[str]]:
    found = next(t for t in parsed(report).iter("table") if words(t.find("caption")) == caption)
    return [[words(cell) for cell in row] for row in found.iter("tr")]


def test_the_page_is_sound_and_in_order():
    page = parsed(demo())
    assert page.get("lang") == "en"
    assert page.find(".//meta[@name='viewport']") is not None
    body = page.find("body")
    assert [child.tag for child in body] == ["header", "main"]
    assert [words(h) for h in page.iter("h1")] == ["Malt and height"]
    assert [words(h) for h in page.iter("h2")] == HEADINGS
    assert not list(page.iter("h3"))
    for part in page.iter("section"):
        assert part.get("aria-labelledby") == part.find("h2").get("id")
    ids = [e.get("id") for e in page.iter() if e.get("id")]
    assert len(ids) == len(set(ids))


def test_every_table_has_a_caption_and_scopes():
    for found in parsed(demo()).iter("table"):
        assert words(found.find("caption"))
        assert {th.get("scope") for th in found.find("thead").iter("th")} == {"col"}
        for row in found.find("tbody"):
            assert row[0].get("scope") == "row"


def test_the_page_asks_for_nothing():
    page = writeup.render(demo())
    assert not re.search(r"http|<script|src=|@import|url\((?!#)|<link|<iframe", page)
    assert len(page.encode()) < 200_000


def test_the_same_report_gives_the_same_bytes():
    assert writeup.render(demo()) == writeup.render(demo())
    assert writeup.markdown(demo()) == writeup.markdown(demo())
    assert "2026-11-26" in writeup.render(demo())


def test_the_picture_is_described_for_those_who_do_not_see_it():
    drawing = parsed(demo()).find(".//figure//{*}svg")
    described = {e.get("id"): words(e) for e in drawing if e.get("id")}
    assert described[drawing.get("aria-labelledby")] == "Height by diastatic malt"
    assert described[drawing.get("aria-describedby")] == charts.describe(demo().comparison)
    # the marks are named in the picture itself
    assert section(demo(), "picture").endswith(
        "Pieces of one dough stand above each other, on a thread. These means are worked out with "
        "cold retard and time a side held alike, so they need not lie in the middle of their "
        "doughs. The shaded band is 2 mm either side of the mean at 0 %. Whether two settings "
        "differ is read from the interval of their difference, given below, not from whether two "
        "bars overlap."
    )


def test_another_factor_has_its_answer_and_picture_in_a_section_of_its_own():
    frame = pd.read_csv(ROOT / "datasets" / "demo" / "pieces.csv")
    retard = compare(
        frame, "rise_height_mm", "retard_hours", dough="dough", bake="bake", load="load",
        matters=2.0, adjust=["malt_percent"],
    )  # fmt: skip
    told = section(replace(demo(), also=(Also("retard_hours", retard),)), "also-1")
    assert retard.headline in told
    held = "These means are worked out with diastatic malt held alike"
    assert f"Pieces of one dough stand above each other, on a thread. {held}" in told
    # how a picture is read was told under the first
    assert "from whether two bars overlap" not in told


def test_invented_data_are_called_invented_first_and_only_then():
    header = parsed(demo()).find(".//header")
    assert words(header[0]) == "Invented data: made up to show how this works"
    assert writeup.markdown(demo()).startswith("**Invented data: made up to show how this works**")
    assert "Invented" not in writeup.render(cake())
    assert "nvented" not in words(parsed(cake()).find("body")) + writeup.markdown(cake())


def test_the_answer_is_the_comparison_s_own():
    c = cake().comparison
    assert section(cake(), "answer") == (f"The answer {c.headline} {c.sentence} {c.next_step}")
    assert section(cake(), "rests-on") == f"What it rests on {c.rests_on}"
    assert section(cake(), "question") == "The question Does recipe change angle deg?"


def test_cautions_are_told():
    checks = demo().comparison.checks
    assert checks
    assert section(demo(), "rests-on").endswith("height is missing (6A3 and 8A6).")


def test_the_cake_analysed():
    text = section(cake(), "analysis")
    assert "F(2, 28.0) = 1.58" in text
    assert cake().comparison.why_not_pieces in text
    assert "Kramer (1956), Biometrics 12:307 (all pairs)" in text
    assert "A difference that matters: the 95 % interval of the difference lies wholly" in text
    rows = table(cake(), "Differences in angle deg by recipe: the first less the second")
    assert rows[0] == ["Recipe", "Answer", "Difference (95 % interval)", "SE", "df", "p"]
    assert rows[2] == ["C against A", "cannot tell yet", "−1.5 (−3.9 to 0.9)", "0.98", "28",
                       "0.28"]  # fmt: skip
    rows = table(cake(), "Means of the settings")
    assert rows[1] == ["A", "33.1 (29.5 to 36.8)"]
    for made in (tables.means(cake().comparison), tables.differences(cake().comparison)):
        (place,) = (i for i, head in enumerate(made.head) if "interval" in head)
        assert made.numeric[place]  # so that it stands to the right, figures below figures
        # an interval is on one line, on a phone too
        assert all(re.search(r"\(\S+\xa0to\xa0\S+\)$", row[place]) for row in made.rows)
    spread = table(cake(), "Where the spread comes from, the settings apart")
    assert [row[0] for row in spread[1:]] == [
        "From bake to bake",
        "From dough to dough within a bake",
        "From piece to piece, and the measuring",
    ]
    # 6 pieces in each of 45 mixes: 225 degrees of freedom, and the classical interval
    frame = pd.read_csv(ROOT / "datasets" / "published" / "cake.csv")
    mixes = frame.groupby(["replicate", "mix"])["angle_deg"]
    squares = float((mixes.var() * 5).sum())
    ends = np.sqrt(squares / scipy.stats.chi2.ppf([0.975, 0.025], 225))
    assert [float(x) for x in re.findall(r"[\d.]+", spread[3][1])[1:]] == pytest.approx(
        ends, abs=0.05
    )


def test_against_one_setting_dunnett_is_named():
    text = section(cake(control="A"), "analysis")
    assert "Dunnett (1955), J Am Stat Assoc 50:1096 (against one setting)" in text
    assert "Kramer" not in text


def test_without_what_matters_the_answers_are_others():
    text = section(cake(matters=None), "analysis")
    assert "A difference: the 95 % interval of the difference does not hold zero." in text
    assert "too small to matter”: nobody said from how much on it matters." in text
    assert "does not matter" not in section(cake(matters=None), "picture")


def test_a_straight_line():
    report = cake("temperature_f", line=True)
    assert "The line is the straight line that fits best, the blue band its 95 %" in section(
        report, "picture"
    )
    assert (
        "Other settings: Temperature f from 175 to 225, and nothing beyond. Between them a "
        "straight line was taken for granted."
    ) in section(report, "not-tested")
    assert report.repeat == (
        "kit.compare(frame, outcome='angle_deg', by='temperature_f', dough='mix', "
        "bake='replicate', matters=3, line=True)"
    )


def test_what_was_not_tested_is_said():
    assert section(demo(), "not-tested") == (
        "What was not tested Other settings: Only diastatic malt 0 %, 0.4 %, 0.8 % and 1.2 %. "
        "Nothing is said of anything between or beyond. Other factors: Cold retard and time a "
        "side changed too and were held alike by calculation. That takes diastatic malt to do "
        "the same at each of their settings; whether it does was not tested. Other turns: Whether "
        "lots were drawn for which dough is mixed and baked first is not recorded. Other "
        "kitchens: 8 bakes of one series: another kitchen, flour or griddle may differ. Other "
        "outcomes: This page is about height only. A setting good for height may be bad "
        "for something else."
    )
    assert "Whatever else changed from dough to dough was not taken into account" in section(
        cake(), "not-tested"
    )


@pytest.mark.parametrize(
    ("together", "pieces", "hours", "told"),
    [
        (0, 12, 0, "; no sign against it was seen, which is no proof."),
        (6, 12, 0, ". It did not: see above, before you trust it."),
        (0, 4, 0, "; whether it does was not tested."),  # a dough each: nothing left to judge by
        (6, 12, 1, "; whether it does was not tested."),  # more hours than are told apart
    ],
)
def test_what_was_looked_at_is_not_called_untested(together, pieces, hours, told):
    lucks = np.random.default_rng(664200).normal(0, 0.5, 12)
    frame = pd.DataFrame(
        [(0, 16), (0, 40), (1, 16), (1, 40)] * 3, columns=["malt_percent", "retard_hours"]
    )
    frame["dough"], frame["bake"] = frame.index.map("d{}".format), frame.index // 4
    more = together * (frame["malt_percent"] == 1) * (frame["retard_hours"] == 40)
    frame["rise_height_mm"] = 30 + more + lucks
    frame["retard_hours"] += hours * frame.index
    frame = frame[:pieces].loc[lambda f: f.index.repeat(3)].reset_index(drop=True)
    frame["rise_height_mm"] += np.resize([0.1, -0.1, 0], len(frame))
    found = compare(
        frame, "rise_height_mm", "malt_percent", dough="dough", bake="bake", matters=2,
        adjust=["retard_hours"], examine=True,
    )  # fmt: skip
    page = writeup.from_frame(frame, found, "Malt")
    assert f"to do the same at each of their settings{told}" in section(page, "not-tested")
    if hours:  # asked the other way round it was seen
        other = compare(
            frame, "rise_height_mm", "retard_hours", dough="dough", bake="bake", line=True,
            adjust=["malt_percent"], examine=True,
        )  # fmt: skip
        page = writeup.from_frame(frame, found, "Malt", also={"retard_hours": other})
        assert "settings. Not every factor did so: see above" in section(page, "not-tested")


def test_every_opened_tasting_is_told():
    answer = kit.triangle(9, 12)
    served = "Tasting 1, blind, triangle, 12 tasters: long and short."
    page = replace(demo(), tasted=((served, answer),))
    told = section(page, "tasted")
    for part in (served, answer.headline, answer.sentence, answer.next_step, answer.statistics):
        assert " ".join(part.split()) in told
    drawn = parsed(page).find(".//section[@id='tasted']//{*}svg/{*}desc")
    assert words(drawn) == f"Chart. {answer.headline} {answer.sentence}"
    assert "This page is about height and taste only." in section(page, "not-tested")
    assert answer.headline in writeup.markdown(page)


def test_what_else_was_measured_is_named():
    told = section(replace(demo(), unasked=("browning_l", "crumb_openness")), "not-tested")
    assert "Browning L* and crumb openness were measured too and are not answered here." in told
    told = section(replace(demo(), unasked=("gumminess",)), "not-tested")
    assert "Gumminess was measured too and is not answered here." in told


def test_the_turn_of_the_settings_is_told():
    assert "Other turns: The plan drew by lot which dough is mixed first." in section(
        replace(demo(), drawn=True), "not-tested"
    )
    given = {"dough": "mix", "bake": "replicate", "matters": 3.0, "examine": True}
    frame = pd.read_csv(ROOT / "datasets" / "published" / "cake.csv")
    frame = frame.sort_values(["replicate", "recipe"])
    kept = replace(cake(), comparison=compare(frame, "angle_deg", "recipe", **given))
    assert "is not recorded. One order was kept in every bake: see above" in section(
        kept, "not-tested"
    )
    assert "A, B and C came in this order in all 15 bakes" in section(kept, "rests-on")
    other = frame["recipe"].map({"A": "C", "B": "A", "C": "B"})
    turned = frame["recipe"].where(frame["replicate"] > 5, other)
    mixed = compare(frame.assign(recipe=turned), "angle_deg", "recipe", **given)
    assert "the settings came in different turns from bake to bake, as the doughs are" in section(
        replace(cake(), comparison=mixed), "not-tested"
    )


def test_safety_defers_to_those_who_are_licensed():
    text = section(cake(), "safety")
    for caution in (
        "Hot surface and gas", "Raw flour and egg", "Milk dough held warm", "Allergens",
        "Barley malt carries gluten", "Acrylamide", "golden, not dark", "local food code",
        "licensed professional", "3-501.19", "No 1169/2011", "2017/2158",
    ):  # fmt: skip
        assert caution in text


def test_the_formula():
    assert table(demo(), "Baker’s percentages: the weight of each for 100 of flour") == [
        ["Ingredient", "What for", "Percent"],
        ["bread flour", "flour", "100.0"],
        ["salt", "salt", "1.8"],
        ["malt", "malt", "as the trial says"],
    ]
    assert section(demo(), "formula").endswith("250 g flour makes one dough.")
    assert section(cake(), "formula") == "The formula No formula was recorded."


def test_percentages_that_come_of_weights_are_rounded():
    """Ounces make endless percentages: 5 oz of water to 8.8 oz of flour."""
    recipe = Formula.from_weights("bun", [("flour", "flour", 8.8), ("water", "liquid", 5)])
    report = replace(demo(), formula=recipe.to_frame())
    rows = table(report, "Baker’s percentages: the weight of each for 100 of flour")
    assert [row[2] for row in rows[-2:]] == ["100.00", "56.82"]


def test_the_doughs():
    rows = table(demo(), "The doughs, in the order they were recorded")
    assert rows[0] == ["Dough", "Bake", "Day", "Diastatic malt (%)", "Cold retard (h)", "Pieces",
                       "Mean height (mm)"]  # fmt: skip
    frame = pd.read_csv(ROOT / "datasets" / "demo" / "pieces.csv")
    mean = frame.loc[frame["dough"] == "6A", "rise_height_mm"].mean()  # one of six not measured
    assert ["6A", "6", "2026-06-04", "0.0", "40", "5", f"{mean:.1f}"] in rows
    assert len(rows) == 21
    assert "Bake 4: warm room." in section(demo(), "done")
    assert "No mishap was noted." in section(cake(), "done")


def test_lengths_of_time_as_they_were_are_shown_readably():
    frame = pd.read_csv(ROOT / "datasets" / "demo" / "pieces.csv")
    frame["retard_hours"] = frame["retard_hours"] + 1 / 3  # 20 minutes late
    answer = compare(frame, "rise_height_mm", "retard_hours", dough="dough", bake="bake")
    shown = writeup.from_frame(frame, answer, "Late").doughs["Cold retard (h)"]
    assert set(shown) == {16.33, 40.33}


def test_doughs_with_several_settings_have_a_mean_for_each():
    shown = cake("temperature_f").doughs
    assert list(shown) == ["Dough", "Bake", "Pieces"] + [
        f"Mean angle deg at {t}" for t in (175, 185, 195, 205, 215, 225)
    ]
    assert shown.iloc[0].tolist() == ["A01", 1, 6, 42, 46, 47, 39, 53, 42]


def test_doughs_of_a_table_without_doughs_and_days_as_dates():
    frame = pd.DataFrame(
        {
            "day": pd.to_datetime(["2026-01-01", "2026-01-01", "2026-01-08", "2026-01-08"] * 2),
            "dough": list("abcdefgh"),
            "retard_hours": [16, 40.5] * 4,
            "height": [1.0, 2.0, 1.5, 2.5, 1.2, 2.1, 1.4, 2.6],
        }
    )
    found = compare(frame, "height", "retard_hours", dough="dough")
    report = writeup.from_frame(frame, found, "Retard")
    rows = table(report, "The doughs, in the order they were recorded")
    assert rows[:2] == [
        ["Dough", "Day", "Cold retard (h)", "Pieces", "Mean height"],
        ["a", "2026-01-01", "16.0", "1", "1.0"],
    ]
    assert "Which bake a piece came from is not recorded" in section(report, "not-tested")
    found = compare(frame, "height", "retard_hours")
    report = writeup.from_frame(frame, found, "Retard", dough=None)
    assert list(report.doughs) == ["Dough", "Cold retard (h)", "Pieces", "Mean height"]
    assert report.made_on == date.today()


def test_a_long_table_is_cut_and_says_so():
    many = pd.concat([demo().doughs] * 10, ignore_index=True)
    text = section(replace(demo(), doughs=many), "done")
    assert "80 more doughs in the data." in text


def test_versions_hash_and_call():
    text = section(demo(), "repeat")
    assert f"bake-trial-kit {kit.__version__}" in text
    for name in ("Python", "numpy", "pandas", "scipy"):
        assert f"{name} " in text
    assert f"SHA-256 of the data: {demo().data_hash}" in text
    assert "Data from: datasets/demo, made by make_demo.py" in text
    frame = pd.read_csv(ROOT / "datasets" / "demo" / "pieces.csv")
    again = eval(demo().repeat, {"kit": kit, "frame": frame})
    assert again.to_frame().equals(demo().comparison.to_frame())


def test_what_was_measured_on_photos_is_told():
    told = "Height was measured on photos for 2 of 4 pieces."
    assert told in section(replace(demo(), measured=told), "done")


def test_mixings_are_told_and_can_be_repeated():
    frame = pd.read_csv(ROOT / "datasets" / "demo" / "pieces.csv")
    found = compare(
        frame, "rise_height_mm", "retard_hours", dough="dough", bake="bake",
        mixing="retard_hours", matters=2.0, adjust=["malt_percent"],
    )  # fmt: skip
    report = writeup.from_frame(frame, found, "Retard and height")
    again = eval(report.repeat, {"kit": kit, "frame": frame})
    assert again.to_frame().equals(found.to_frame())
    assert "8 bakes, 16 mixings, 20 doughs" in section(report, "rests-on")
    assert "From mixing to mixing within a bake" in section(report, "analysis")


def test_the_hash_is_of_the_table_and_nothing_else():
    frame = pd.DataFrame({"dough": ["a"], "height_mm": [28.5]})
    # printf 'dough,height_mm\na,28.5\n' | sha256sum
    known = "fd2bb30d64bd2dbf9a85ae422201b5e0a761df1ee7d0295c197c25862b7a0065"
    assert writeup.data_hash(frame) == known
    assert writeup.data_hash(frame.set_index(pd.Index([7]))) == known
    assert writeup.data_hash(frame.assign(height_mm=28.6)) != known


EVIL = ("<script>alert(1)</script>", '" onload="alert(1)\'><img src=x onerror=alert(1)>')


@cache
def evil(text: str) -> Report:
    """A report with the text in every field that people type."""
    rng = np.random.default_rng(3)
    by, outcome, other = f"by {text}", f"outcome {text}", f"other {text}"
    frame = pd.DataFrame(
        [
            {"bake": f"{text} {bake}", "dough": f"{bake}{setting} {text}", "day": text,
             by: f"{setting} {text}", other: f"{half} {text}", outcome: rng.normal()}
            for bake in range(4) for setting in "AB" for half in (1, 2)
        ]
    )  # fmt: skip
    found = compare(frame, outcome, by, dough="dough", bake="bake", adjust=[other], matters=1)
    found = replace(found, checks=(*found.checks, text))
    formula = pd.DataFrame({"name": [text], "role": [text], "percent": [100.0]})
    return writeup.from_frame(
        frame, found, text, text, baker=text, invented=True, formula=formula, formula_note=text,
        events=[text], source=text, made_on=date(2026, 1, 1),
    )  # fmt: skip


class Attributes(HTMLParser):
    """Every tag and attribute a browser would see."""

    def __init__(self) -> None:
        super().__init__()
        self.seen: set[str] = set()

    def handle_starttag(self, tag, attrs):
        self.seen |= {tag} | {name for name, _ in attrs}


@pytest.mark.parametrize("text", EVIL)
def test_what_people_type_stays_text(text):
    report = evil(text)
    parsed(report)
    browser = Attributes()
    browser.feed(writeup.render(report))
    assert not {"script", "img", "src", "onload", "onerror"} & browser.seen
    whole = words(parsed(report))
    assert whole.count(" ".join(text.split())) > 30


@pytest.mark.parametrize("text", EVIL)
def test_what_people_type_stays_text_in_markdown(text):
    lines = [li for li in writeup.markdown(evil(text)).splitlines() if not li.startswith("    ")]
    assert not re.search(r"<(script|img|/)", "\n".join(lines))


def test_allergens_are_those_of_the_formula():
    """The page told of wheat, milk and egg in general where the dough held sesame."""
    lines = [("bread flour", "flour", 100), ("water", "liquid", 62), ("sesame seed", "other", 3)]
    sesame = replace(demo(), formula=Formula.from_lines("Sesame", lines).to_frame())
    holds = "holds wheat (gluten) and sesame; their labels decide"
    assert holds in writeup.markdown(sesame)
    for unknown in (None, pd.DataFrame()):
        assert "By its ingredients" not in writeup.markdown(replace(demo(), formula=unknown))


def test_markdown_says_the_same():
    text = writeup.markdown(demo())
    assert re.findall(r"^#+ (.*)", text, re.MULTILINE) == ["Malt and height", *HEADINGS]
    assert charts.describe(demo().comparison) in text
    assert "| bread flour | flour | 100.0 |\n" in text
    assert "| Ingredient | What for | Percent |\n| --- | --- | ---: |\n" in text
    assert "- **Allergens**: By its ingredients' names this holds wheat" in text
    assert f"\n    {demo().repeat}\n" in text
    assert not re.search(r"\n{3}|[ \t]\n", text)
    hostile = replace(demo(), title="*a* | `b` _c_ [d](e) # $f$\n# g")
    assert writeup.markdown(hostile).splitlines()[2] == (
        r"# \*a\* \| \`b\` \_c\_ \[d\](e) \# \$f\$ \# g"
    )


@pytest.mark.parametrize("name", ["malt.html", "malt.md", "MALT.HTML"])
def test_writing_a_file(tmp_path, name):
    made = writeup.write(demo(), tmp_path / name)
    wanted = writeup.markdown if name.endswith("md") else writeup.render
    assert made.read_text(encoding="utf-8") == wanted(demo())
    assert os.listdir(tmp_path) == [name]


def test_writing_a_pdf(tmp_path):
    pytest.importorskip("weasyprint", reason="pip install 'bake-trial-kit[pdf]' tests the PDF")
    made = writeup.write(demo(), tmp_path / "malt.pdf").read_bytes()
    assert made.startswith(b"%PDF")
    assert made.rstrip().endswith(b"%%EOF")
    assert os.listdir(tmp_path) == ["malt.pdf"]


def test_pdf_without_its_package(tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "weasyprint", None)
    with pytest.raises(MissingPackageError) as caught:
        writeup.write(demo(), tmp_path / "malt.pdf")
    assert str(caught.value) == (
        "PDF needs a package that is not installed. Install it with: pip install "
        "'bake-trial-kit[pdf]'"
    )
    assert not os.listdir(tmp_path)


def test_pdf_without_the_system_s_libraries(tmp_path, monkeypatch):
    def broken(name):
        raise OSError("cannot load library 'libpango-1.0-0'")

    monkeypatch.setattr(writeup, "import_module", broken)
    with pytest.raises(KitError) as caught:
        writeup.write(demo(), tmp_path / "malt.pdf")
    assert str(caught.value) == (
        "PDF needs the Pango library, which pip does not bring. On Debian and Ubuntu: apt-get "
        "install libpango-1.0-0 libpangoft2-1.0-0. Or write .html and print it from a browser."
    )


@pytest.mark.parametrize("name", ["malt.docx", "malt"])
def test_other_endings_are_refused(name):
    with pytest.raises(InputError) as caught:
        writeup.write(demo(), name)
    assert str(caught.value) == (
        f"path is {name!r}: must end in .html, .md or .pdf. For example malt.html."
    )


@pytest.fixture(scope="module")
def browser():
    sync_api = pytest.importorskip("playwright.sync_api", reason="pip install playwright")
    flags = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"]
    with sync_api.sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=str(CHROMIUM), args=flags)
        yield chromium
        chromium.close()


@pytest.mark.browser
@in_a_browser
@pytest.mark.parametrize("width", [320, 1000])
def test_the_page_in_a_browser(browser, tmp_path, width):
    asked, said = [], []
    for name, report in {"demo": demo(), "evil": evil(EVIL[1])}.items():
        path = writeup.write(report, tmp_path / f"{name}.html")
        page = browser.new_page(viewport={"width": width, "height": 900})
        page.on("request", lambda request: asked.append(request.url))
        page.on("dialog", lambda dialog: said.append(dialog.message))
        page.goto(path.as_uri())
        assert page.evaluate("document.documentElement.scrollWidth") == width
        assert page.locator("figure svg").bounding_box()["width"] > 280
        page.close()
    assert asked == [(tmp_path / f"{name}.html").as_uri() for name in ("demo", "evil")]
    assert said == []


@pytest.mark.browser
@in_a_browser
def test_the_page_on_paper(browser, tmp_path):
    path = writeup.write(demo(), tmp_path / "malt.html")
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(path.as_uri())
    page.emulate_media(media="print")
    for paper in ("A4", "Letter"):
        pages = re.findall(rb"/Type\s*/Page\b", page.pdf(format=paper))
        assert 1 <= len(pages) <= 5
    context.close()


def test_a_spread_has_the_digits_of_its_own_size():
    """It was rounded by half its interval: 0.57 with an interval to 20 stood as 1."""
    rng = np.random.default_rng(664210)
    frame = pd.DataFrame({"malt_percent": [0, 1] * 2, "bake": [0, 0, 1, 1], "dough": list("abcd")})
    frame["rise_height_mm"] = 30 + rng.normal(0, 0.3, 2)[frame["bake"]] + rng.normal(0, 0.3, 4)
    frame = frame.loc[frame.index.repeat(3)].reset_index(drop=True)
    frame["rise_height_mm"] += rng.normal(0, 0.4, 12)
    c = compare(frame, "rise_height_mm", "malt_percent", dough="dough", bake="bake")
    assert (c.fit.variance["sd"] > 0).sum() > 1
    for (_, size, _), sd in zip(tables.spread(c).rows, c.fit.variance["sd"], strict=True):
        assert not sd or abs(float(size.split(" ")[0]) / sd - 1) < 0.06

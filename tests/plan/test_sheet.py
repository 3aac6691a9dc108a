"""The bench sheet: complete, escaped, nothing from outside, and right on paper."""

import re
from pathlib import Path

import html5lib
import numpy as np
import pandas as pd
import pytest

import kit
from kit import formula, shipped
from kit.errors import DataError, InputError, NotFoundError
from kit.formula.sheet import WeighingSheet
from kit.plan.schedule import Limits, schedule
from kit.plan.sheet import CAUTIONS, bench_sheet

CHROMIUM = Path("/usr/bin/chromium")
SVG = "{http://www.w3.org/2000/svg}"
WANTED = [
    "room_temp_c", "dough_temp_c", "retard_temp_c", "griddle_temp_c", "waited_minutes",
    "ball_weight_g", "proof_ratio", "side_minutes", "core_temp_c", "rise_height_mm",
    "bake_loss_percent", "crumb_openness", "gumminess",
]  # fmt: skip


def plan(names=("A", "B", "C"), pieces=6) -> pd.DataFrame:
    """Doughs of different malt, pieces of different side times, all loads crossed."""
    rows = [
        {
            "bake": 3, "dough": d, "piece": f"{d}{k + 1}", "malt_percent": 0.4 * i,
            "retard_hours": [16, 40, 16][i], "side_minutes": [5, 7][k % 2],
        }
        for i, d in enumerate(names)
        for k in range(pieces)
    ]  # fmt: skip
    order = np.random.default_rng(2).permutation(len(rows))
    for at, i in enumerate(order):
        rows[i] |= {"load": at // 6 + 1, "place": at % 6 + 1, "blind": str(101 + 7 * at)}
    return pd.DataFrame(rows)


def weights() -> WeighingSheet:
    made = formula.read_formula("Bun", "bread flour 100; salt 1.8; malt ?")
    doughs = {d: {"malt_percent": 0.4 * i} for i, d in enumerate("ABC")}
    return formula.weigh(made, doughs, flour_g=250, scale_step_g=0.25)


def whole(**more) -> str:
    s = schedule(plan(), table_time="2026-11-05 10:00", zone="Europe/Berlin")
    given = {"weights": weights(), "schedule": s, "quantities": WANTED, "title": "More malt?"}
    return bench_sheet(plan(), **(given | more))


def parse(html):
    parser = html5lib.HTMLParser(strict=True, namespaceHTMLElements=False)
    return parser.parse(html)


def text_of(element):
    return re.sub(r"\s+", " ", "".join(element.itertext())).strip()


def section(tree, heading):
    return next(s for s in tree.iter("section") if text_of(s.find(".//h2")).startswith(heading))


def table_of(element):
    """Head and rows of a table, boxes as their planned value in brackets."""
    table = element.find(".//table")
    head = [text_of(th) for th in table.find("thead").iter("th")]
    rows = [
        [f"[{text_of(td)}]" if td.get("class") == "box" else text_of(td) for td in tr.iter("td")]
        for tr in table.find("tbody").iter("tr")
    ]
    return head, rows


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_it_is_a_whole_page_without_anything_from_outside(paper):
    html = whole(paper=paper)
    parse(html)
    assert f"size: {paper} portrait" in html
    assert not re.search(r"<script|<link|<img|https?:|url\(|@import|\bon\w+=", html)
    parse(bench_sheet(plan()))
    parse(bench_sheet(plan().drop(columns=["blind", "load", "place"]), title=""))


def test_headings_and_boxes():
    tree = parse(whole())
    heads = [text_of(h) for h in tree.iter("h2")]
    assert [h.removesuffix(" More malt? · bake 3") for h in heads] == [
        "Mind", "Times", "Doughs", "What happened", "Load 1", "Load 2", "Load 3",
        "To measure, by code alone",
    ]  # fmt: skip
    boxes = [text_of(b) for b in tree.find(".//header//div[@class='boxes']")]
    assert boxes == ["Date", "Who", "Flour lot", "Yeast lot", "Room temperature (°C)"]
    assert text_of(tree.find(".//header/p")) == (
        "Bake 3: 3 doughs, 18 pieces and 3 loads, on the table at 10:00 on Thursday 5 November "
        "(Europe/Berlin)."
    )


def test_times_are_those_of_the_schedule():
    s = schedule(plan(), table_time="2026-11-05 10:00", zone="Europe/Berlin")
    _, rows = table_of(section(parse(whole(schedule=s)), "Times"))
    told = s.to_frame().query("hands_on and what != 'changeover'")
    times = [row[0] for row in rows if row]
    assert times == [f"{t:%H:%M}" for t in told["start"]]
    assert all(row[2] == "[]" for row in rows if row)
    assert "Load 1 on, 6 pieces of doughs A, B and C" in [row[1] for row in rows if row]


def test_what_does_not_fit_stands_on_the_sheet():
    s = schedule(plan(), table_time="2026-11-05 08:00", zone="Europe/Berlin")
    html = whole(schedule=s)
    assert s.misses
    for miss in s.misses:
        assert f"Does not fit: {miss}." in html


def test_weights_and_doughs():
    head, rows = table_of(section(parse(whole()), "Doughs"))
    assert head == [
        "Ingredient", "A: diastatic malt 0 %", "B: diastatic malt 0.4 %", "C: diastatic malt 0.8 %",
    ]  # fmt: skip
    salt = "4.5 g(1.75 to 1.85 %)"
    assert rows == [
        ["bread flour", "250 g", "250 g", "250 g"], ["salt", salt, salt, salt],
        ["malt", "none", "1 g(0.35 to 0.45 %)", "2 g(0.75 to 0.85 %)"],
        ["dough in all", "254.5 g", "255.5 g", "256.5 g"],
    ]  # fmt: skip
    head, rows = table_of(section(parse(whole(weights=None)), "Doughs"))
    assert head == [
        "Dough", "Diastatic malt (%)", "Cold retard (h)", "Dough temperature (°C)",
        "Retard temperature (°C)",
    ]  # fmt: skip
    assert sorted(rows) == [
        ["A", "0 %", "16 h", "[]", "[]"], ["B", "0.4 %", "40 h", "[]", "[]"],
        ["C", "0.8 %", "16 h", "[]", "[]"],
    ]  # fmt: skip


def test_one_formula_for_all_doughs_is_one_column():
    bun = formula.read_formula("Bun", "bread flour 100; salt 1.8")
    head, rows = table_of(section(parse(whole(weights=formula.weigh(bun, flour_g=250))), "Doughs"))
    assert head == ["Ingredient", "each dough"]
    assert rows[0] == ["bread flour", "250 g"]


def test_weights_of_other_doughs_are_refused_by_name():
    bun = formula.read_formula("Bun", "bread flour 100; salt 1.8")
    with pytest.raises(DataError) as caught:
        whole(weights=formula.weigh(bun, {"A": {}, "1B": {}}, flour_g=250))
    assert str(caught.value) == (
        "the weights are of A and 1B, and the plan mixes B and C: give weigh the doughs by the "
        "plan's codes, or none where one formula is for all."
    )


def test_a_table_is_no_weighing_sheet():
    with pytest.raises(DataError, match="the weights are a DataFrame: they must be a weighing"):
        whole(weights=weights().table())


def _circle(piece):
    return str(piece.place), piece.blind, f"{piece.side_minutes} min"


def test_a_load_shows_where_each_piece_lies():
    runs = plan()
    tree = parse(whole())
    loads = [d for d in tree.iter("div") if d.get("class") == "load"]
    assert len(loads) == 3
    for number, load in enumerate(loads, start=1):
        own = runs[runs["load"] == number].sort_values("place")
        head, rows = table_of(load)
        assert head == [
            "Place", "Code", "Piece", "Raw piece (g)", "Proof ratio", "Time a side (min)",
            "Core temperature (°C)",
        ]  # fmt: skip
        assert rows == [
            [str(p.place), p.blind, p.piece, "[]", "[]", f"[plan {p.side_minutes}]", "[]"]
            for p in own.itertuples()
        ]
        drawn = [text_of(t) for t in load.find(f".//{SVG}svg").iter(f"{SVG}text")]
        assert drawn == [
            *(w for p in own.itertuples() for w in _circle(p)),
            "front, where you stand",
        ]  # fmt: skip
    boxes = [text_of(b) for b in loads[1].find(".//div[@class='boxes']")]
    assert boxes[:3] == ["Really on at", "Really off at", "Griddle temperature (°C)"]
    assert re.fullmatch(r"Waited before the griddle \(min\) plan \d+", boxes[3])


def test_whoever_measures_sees_codes_only():
    runs = plan()
    part = section(parse(whole()), "To measure")
    head, rows = table_of(part)
    assert head == ["Code", "Height (mm)", "Baked piece (g)", "Crumb openness", "Gumminess"]
    assert [row[0] for row in rows] == sorted(runs["blind"])
    assert all(cell == "[]" for row in rows for cell in row[1:])
    words = text_of(part).split()
    assert not {"A", "B", "C", *runs["piece"]} & set(words)
    assert "Diastatic" not in words


def test_without_codes_it_says_so():
    html = bench_sheet(plan().drop(columns="blind"), quantities=["rise_height_mm"])
    part = section(parse(html), "To measure")
    assert text_of(part.find("h2")) == "To measure Bake · bake 3"
    assert "The pieces have no codes, so whoever measures sees which they are." in text_of(part)
    assert "To measure" not in bench_sheet(plan())


def test_many_boxes_are_shared_out_evenly():
    many = [
        "rise_height_mm", "diameter_mm", "volume_ml", "baked_weight_g", "crumb_openness",
        "cells_per_cm2", "browning_l", "hollow_tap", "gumminess", "liking",
    ]  # fmt: skip
    part = section(parse(bench_sheet(plan(), quantities=many)), "To measure")
    assert [len(list(t.find("thead").iter("th"))) for t in part.iter("table")] == [6, 6]


def test_only_what_the_schedule_bakes():
    s = schedule(plan(), table_time="2026-11-05 10:00", zone="Europe/Berlin",
                 limits=Limits(tubs=2)).nearest  # fmt: skip
    kept = {d.name for d in s.bake.doughs}
    assert len(kept) == 2
    tree = parse(whole(schedule=s))
    head, _ = table_of(section(tree, "Doughs"))
    assert {text[0] for text in head[1:]} == kept
    _, rows = table_of(section(tree, "To measure"))
    assert len(rows) == 12


def test_the_bakers_own_griddle():
    html = whole(layout=[[5, 6], [3, 4], [0, 1, 2]])
    first = parse(html).find(f".//{SVG}svg")
    places = {c.get("cx") + " " + c.get("cy") for c in first.iter(f"{SVG}circle")}
    assert places == {"40 40", "120 40", "40 120", "120 120", "120 200", "200 200"}


EVIL = "<script>alert(1)</script>\"'&</style><b>"


def test_what_people_type_is_escaped():
    runs = plan(names=(EVIL, "B", "C")).assign(**{f"note {EVIL}": EVIL})
    runs["blind"] = [f"{EVIL}{i}" for i in range(len(runs))]
    runs["bake"] = EVIL
    s = schedule(runs, table_time="2026-11-05 10:00", zone="Europe/Berlin")
    bun = formula.Formula.from_lines("Bun", [(EVIL, "flour", 100)])
    sheet = formula.weigh(bun, {EVIL: {}, "B": {}, "C": {}}, flour_g=250)
    html = bench_sheet(runs, sheet, s, WANTED, title=EVIL)
    tree = parse(html)
    assert "<script" not in html
    assert "<b>" not in html
    assert html.count("</style>") == 1
    assert text_of(tree.find(".//h1")) == EVIL


def test_cautions_are_all_there():
    part = section(parse(whole()), "Mind")
    assert [text_of(d) for d in part.iter("dt")] == [f"{name}:" for name, _ in CAUTIONS]
    told = text_of(part)
    for word in ("burns", "gas", "raw", "four hours"):
        assert word in told
    assert told.endswith("Wheat and barley (gluten). Tell everybody who tastes.")
    told = text_of(section(parse(bench_sheet(plan())), "Mind"))  # of a formula not known
    for word in ("Wheat", "milk", "egg", "barley malt"):
        assert word in told


@pytest.mark.parametrize(
    ("given", "error", "message"),
    [
        ({"paper": "A5"}, InputError, "paper is 'A5': must be A4 or Letter."),
        ({"layout": [[1, 2], [2, 3]]}, InputError,
         "layout is [[1, 2], [2, 3]]: must hold every place once. For example [[1, 2, 3], [4, 5, "
         "6]]."),
        ({"layout": [[1, 2, 3]]}, InputError,
         "layout is [[1, 2, 3]]: has no place 4, which the plan uses. Add it."),
        ({"runs": plan().assign(blind="7")}, DataError,
         "the code 7 is given to "),
        ({"schedule": schedule(plan(names=("X", "Y")), table_time="2026-11-05 10:00",
                               zone="UTC")}, DataError,
         "the schedule bakes X1, X2 and X3, which the plan does not have: make the schedule from "
         "the same rows."),
    ],
    ids=["paper", "twice", "missing", "codes", "schedule"],
)  # fmt: skip
def test_refusals(given, error, message):
    with pytest.raises(error) as said:
        bench_sheet(**({"runs": plan()} | given))
    if message.endswith("to "):
        assert str(said.value).startswith(message)
        assert str(said.value).endswith(": give every piece its own.")
    else:
        assert str(said.value) == message
    with pytest.raises(NotFoundError):
        bench_sheet(plan(), quantities=["hieght_mm"])


@pytest.mark.browser
@pytest.mark.skipif(not CHROMIUM.exists(), reason="no Chromium here: apt-get install chromium")
def test_on_paper_and_on_a_phone(tmp_path):
    sync_api = pytest.importorskip("playwright.sync_api")
    asked, wide = [], []
    with sync_api.sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=str(CHROMIUM), args=["--no-sandbox"])
        for paper, size in (("A4", b"594.95"), ("Letter", b"612 792")):
            path = tmp_path / f"{paper}.html"
            path.write_text(whole(paper=paper), encoding="utf-8")
            page = chromium.new_page(viewport={"width": 400, "height": 800})
            page.on("request", lambda request: asked.append(request.url))
            page.goto(path.as_uri())
            wide.append(page.evaluate("document.documentElement.scrollWidth"))
            pdf = page.pdf(prefer_css_page_size=True)
            boxes = re.findall(rb"/MediaBox \[0 0 ([\d. ]+)\]", pdf)
            assert len(boxes) == 5  # times, doughs, two loads, one load, measuring
            assert all(box.startswith(size) for box in boxes)
        chromium.close()
    assert wide == [400, 400]
    assert [Path(url).name for url in asked] == ["A4.html", "Letter.html"]


@pytest.mark.browser
@pytest.mark.skipif(not CHROMIUM.exists(), reason="no Chromium here: apt-get install chromium")
def test_a_whole_bake_takes_as_many_pages_of_letter_as_of_a4(tmp_path, monkeypatch):
    """Letter is 18 mm lower (ANSI/ASME Y14.1): no page may hold one row and nothing else."""
    sync_api = pytest.importorskip("playwright.sync_api")
    monkeypatch.setenv("KIT_UNITS", "us")  # the longer labels
    pages = {}
    factors = [kit.Factor("malt_percent", (0, 1)), kit.Factor("retard_hours", (24, 48))]
    with kit.Workspace(tmp_path / "bakes") as ws, sync_api.sync_playwright() as playwright:
        formula = shipped.load_demo(ws).formula()
        made = kit.design(factors, kit.Kitchen(bakes=2, tubs=4))
        same, outcome = {"side_minutes": 5}, "rise_height_mm"
        trial, bakes = ws.begin("malt", made, "2027-01-05", 7, same, formula, outcome=outcome)
        weights = trial.weigh(bakes[0], 76)
        times = trial.timetable(bakes[0], "18:30", room_temp_c=21).fitted()
        chromium = playwright.chromium.launch(executable_path=str(CHROMIUM), args=["--no-sandbox"])
        for paper in ("A4", "Letter"):
            path = tmp_path / f"{paper}.html"
            trial.bench_sheet(bakes[0], path, weights, times, paper=paper)
            page = chromium.new_page()
            page.goto(path.as_uri())
            pdf = page.pdf(prefer_css_page_size=True)
            pages[paper] = len(re.findall(rb"/MediaBox", pdf))
        chromium.close()
    assert pages == {"A4": 5, "Letter": 5}


def test_a_us_kitchen_reads_planned_temperatures_in_its_own_degrees(monkeypatch):
    milk = plan().assign(liquid_temp_c=lambda rows: rows["dough"].map({"A": 20, "B": 40, "C": 20}))
    assert "°F" not in bench_sheet(milk)
    monkeypatch.setenv("KIT_UNITS", "us")
    assert "40 °C (104 °F)" in bench_sheet(milk)

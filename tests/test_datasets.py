"""The tables that ship: valid, complete, and saying what their sources or their maker say."""

import json
import math
import subprocess
import sys
import warnings
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from kit.quantities import LEVELS, get

ROOT = Path(__file__).parents[1]
PUBLISHED = ROOT / "datasets" / "published"
DEMO = ROOT / "datasets" / "demo"
BURNT, FORGOTTEN = "6A3", "8A6"


def read(path: Path, **options) -> pd.DataFrame:
    return pd.read_csv(path, **options)


def descriptor(folder: Path) -> dict:
    return json.loads((folder / "datapackage.json").read_text(encoding="utf-8"))


def fields(folder: Path, resource: str) -> list[dict]:
    package = descriptor(folder)
    return next(r for r in package["resources"] if r["name"] == resource)["schema"]["fields"]


@pytest.fixture(scope="module")
def cake() -> pd.DataFrame:
    return read(PUBLISHED / "cake.csv")


@pytest.fixture(scope="module")
def cookies() -> pd.DataFrame:
    return read(PUBLISHED / "cookie_dough.csv")


@pytest.fixture(scope="module")
def pieces() -> pd.DataFrame:
    return read(DEMO / "pieces.csv", dtype={"bake": str})


@pytest.fixture(scope="module")
def doughs(pieces) -> pd.DataFrame:
    return pieces.drop_duplicates("dough")


# --- descriptors --------------------------------------------------------------------------


@pytest.mark.parametrize("folder", [PUBLISHED, DEMO], ids=lambda folder: folder.name)
def test_frictionless_finds_nothing_wrong(folder):
    with warnings.catch_warnings():  # of its own dependencies, not ours
        warnings.simplefilter("ignore")
        from frictionless import validate

        report = validate(str(folder / "datapackage.json"))
    assert report.valid, report.flatten(["name", "rowNumber", "fieldName", "message"])
    # an unlisted table would be checked by nobody
    listed = {resource["path"] for resource in descriptor(folder)["resources"]}
    assert listed == {path.name for path in folder.glob("*.csv")}


@pytest.mark.parametrize("folder", [PUBLISHED, DEMO], ids=lambda folder: folder.name)
def test_tables_are_utf8_with_line_feeds(folder):
    for path in folder.glob("*.csv"):
        content = path.read_bytes()
        assert b"\r" not in content
        assert content.endswith(b"\n")
        assert not content.startswith(b"\xef\xbb\xbf")
        content.decode("utf-8")


def test_units_and_sources_of_the_published_tables():
    units = {
        (resource["name"], field["name"]): field.get("unit")
        for resource in descriptor(PUBLISHED)["resources"]
        for field in resource["schema"]["fields"]
    }
    assert {key: unit for key, unit in units.items() if unit} == {
        ("cake", "temperature_f"): "°F",
        ("cake", "angle_deg"): "°",
        ("cookie_dough", "shortening_percent"): "%",
        ("cookie_dough", "diameter"): "not stated",
        ("bread_rise", "rise_minutes"): "min",
        ("bread_rise", "height"): "not stated",
    }
    for resource in descriptor(PUBLISHED)["resources"]:
        said = " ".join(source["title"] for source in resource["sources"])
        for name in ("Cook", "Cochran", "1938") if resource["name"] == "cake" else ("Lawson",):
            assert name in said
        for field in resource["schema"]["fields"]:
            assert "nit" in field["description"]  # "Unit: …" or "No unit"


def test_demo_descriptor_agrees_with_the_quantities(pieces):
    described = fields(DEMO, "pieces")
    assert [field["name"] for field in described] == list(pieces.columns)
    for field in described[8:]:
        quantity = get(field["name"])
        assert field["title"] == quantity.label
        assert field.get("unit", "") == quantity.unit
        assert field["description"].startswith(quantity.meaning)
        assert field["type"] == ("integer" if quantity.whole else "number")
        limits = field["constraints"]
        low, high = limits.get("minimum", -math.inf), limits.get("maximum", math.inf)
        assert (low, high) == quantity.possible


# --- published ----------------------------------------------------------------------------


def test_cake_is_a_complete_split_plot(cake):
    assert list(cake) == ["replicate", "recipe", "mix", "temperature_f", "angle_deg"]
    assert len(cake) == 3 * 6 * 15 == 270
    assert cake["replicate"].nunique() == 15
    assert cake["mix"].nunique() == 45
    assert (cake["mix"] == cake["recipe"] + cake["replicate"].map("{:02d}".format)).all()
    assert (cake.groupby("mix")["temperature_f"].nunique() == 6).all()
    assert sorted(set(cake["temperature_f"])) == [175, 185, 195, 205, 215, 225]


def test_cake_sums_are_those_of_the_source(cake):
    # sums over lme4::cake 1.1-31 (R 4.2.2), 90 cakes a recipe, 45 a temperature
    assert cake.groupby("recipe")["angle_deg"].sum().to_dict() == {"A": 2981, "B": 2848, "C": 2844}
    assert cake.groupby("temperature_f")["angle_deg"].sum().tolist() == [
        1259,
        1348,
        1414,
        1448,
        1613,
        1591,
    ]
    assert int((cake["angle_deg"] ** 2).sum()) == 296739


def test_cake_recipe_f_with_replicates_as_blocks(cake):
    # Cochran & Cox: recipes are judged against mixes. F 1.578 on 2 and 28 df: lmerTest 3.1.3
    means = cake.pivot_table(index="replicate", columns="recipe", values="angle_deg")
    f, df = block_f(means)
    assert df == (2, 28)
    assert f == pytest.approx(1.578, abs=5e-4)


def block_f(means: pd.DataFrame) -> tuple[float, tuple[int, int]]:
    """F of the columns in a table of means, rows as blocks: two-way analysis of variance."""
    rows, columns = means.shape
    y = means.to_numpy()
    left = y - y.mean(axis=1, keepdims=True) - y.mean(axis=0) + y.mean()
    df = (columns - 1, (rows - 1) * (columns - 1))
    treatment = rows * ((y.mean(axis=0) - y.mean()) ** 2).sum() / df[0]
    return float(treatment / ((left**2).sum() / df[1])), df


def test_cookie_dough_whole_plots(cookies):
    # Lawson, Design and Analysis of Experiments with R; R package daewr 1.2, splitPdes (aov)
    assert len(cookies) == 24
    assert cookies["dough"].nunique() == 4
    per_dough = cookies.groupby("dough")
    assert (per_dough[["batch", "shortening_percent"]].nunique() == 1).all(axis=None)
    assert not cookies.duplicated(["dough", "tray_temp", "bake_temp"]).any()
    means = cookies.pivot_table(index="batch", columns="shortening_percent", values="diameter")
    f, df = block_f(means)
    assert df == (1, 1)
    assert f == pytest.approx(374.1, rel=1e-3)
    assert stats.f.sf(f, *df) == pytest.approx(0.033, abs=5e-4)


def test_cookie_dough_sub_plots(cookies):
    # same source: F tray (1, 10) 68.153, baking temperature (2, 10) 10.442, residual 0.0098
    y = cookies["diameter"]
    grand = y.mean()

    def ss(*by: str) -> float:
        return float(
            ((y.groupby([cookies[name] for name in by]).transform("mean") - grand) ** 2).sum()
        )

    cells = ss("shortening_percent", "tray_temp", "bake_temp")
    left = float(((y - grand) ** 2).sum()) - cells - ss("dough") + ss("shortening_percent")
    residual = left / 10
    assert residual == pytest.approx(0.0098, abs=5e-5)
    assert ss("tray_temp") / residual == pytest.approx(68.153, rel=1e-3)
    assert ss("bake_temp") / 2 / residual == pytest.approx(10.442, rel=1e-3)


def test_bread_rise_one_way():
    # Lawson, Design and Analysis of Experiments with R; R package daewr 1.2, bread (aov)
    bread = read(PUBLISHED / "bread_rise.csv")
    assert len(bread) == 12
    groups = [height.to_numpy() for _, height in bread.groupby("rise_minutes")["height"]]
    assert [len(group) for group in groups] == [4, 4, 4]
    within = sum(((group - group.mean()) ** 2).sum() for group in groups)
    between = ((bread["height"] - bread["height"].mean()) ** 2).sum() - within
    assert between == pytest.approx(21.573, abs=5e-4)
    assert within == pytest.approx(21.094, abs=5e-4)
    f, p = stats.f_oneway(*groups)
    assert f == pytest.approx(4.602, abs=5e-4)
    assert p == pytest.approx(0.042, abs=5e-4)


# --- demo: the plan -----------------------------------------------------------------------


def test_demo_counts(pieces, doughs):
    assert len(pieces) == 120
    assert pieces["piece"].is_unique
    assert sorted(set(pieces["bake"])) == [str(n) for n in range(1, 9)]
    assert sorted(doughs["bake"].value_counts()) == [2] * 4 + [3] * 4
    assert (pieces["dough"].value_counts() == 6).all()
    days = pd.to_datetime(pieces["day"])
    assert (days.dt.day_name() == "Thursday").all()
    assert (days.dt.year == 2026).all()
    assert days.nunique() == 8


def test_demo_values_belong_to_their_level(pieces):
    keys = {"bake": ["bake"], "dough": ["dough"], "load": ["bake", "load"], "piece": ["piece"]}
    assert set(keys) == set(LEVELS)
    for name in pieces.columns[8:]:
        per_group = pieces.groupby(keys[get(name).level])[name].nunique()
        assert (per_group <= 1).all(), name
    assert (pieces.groupby("bake")[["day", "flour_lot", "yeast_lot"]].nunique() == 1).all(axis=None)
    assert (pieces["dough"].str[0] == pieces["bake"]).all()
    assert (pieces["piece"].str[:2] == pieces["dough"]).all()


def test_demo_settings(doughs):
    mixed = doughs.groupby(["malt_percent", "retard_hours"]).size()
    assert len(mixed) == 8
    assert mixed.min() >= 2
    assert not doughs.duplicated(["bake", "malt_percent", "retard_hours"]).any()
    assert set(doughs["malt_percent"]) == {0.0, 0.4, 0.8, 1.2}
    assert set(doughs["retard_hours"]) == {16, 40}


def test_demo_settings_can_be_told_from_the_bakes(doughs):
    bakes = pd.get_dummies(doughs["bake"], dtype=float).to_numpy()
    cells = pd.get_dummies(
        doughs["malt_percent"].astype(str) + "/" + doughs["retard_hours"].astype(str), dtype=float
    ).to_numpy()
    # 8 bakes and the 7 differences among 8 settings
    assert np.linalg.matrix_rank(np.hstack([bakes, cells])) == 15
    malt = pd.get_dummies(doughs["malt_percent"], dtype=float).to_numpy()
    assert np.linalg.matrix_rank(np.hstack([bakes, malt])) == 11


def test_demo_loads_cross_the_doughs(pieces):
    loads = pieces.groupby(["bake", "load"])
    assert (loads.size() == 6).all()
    assert all(sorted(place) == [1, 2, 3, 4, 5, 6] for _, place in loads["place"])
    in_bake = pieces.groupby("bake")["dough"].agg(set)
    assert all(set(load) == in_bake[bake] for (bake, _), load in loads["dough"])
    assert (pieces.groupby(["dough", "load"]).size().unstack().nunique(axis=1) == 1).all()
    waited = loads["waited_minutes"].first()
    assert (waited.groupby("bake").diff().dropna() > 10).all()
    assert (pieces.groupby("dough")["side_minutes"].value_counts() == 3).all()
    assert set(pieces["side_minutes"]) == {5, 6}


# --- demo: the readings -------------------------------------------------------------------


def test_demo_accidents(pieces):
    by_piece = pieces.set_index("piece")
    missing = by_piece.isna()
    assert missing.sum().sum() == 2
    assert by_piece.index[missing["rise_height_mm"]].tolist() == [BURNT, FORGOTTEN]
    assert by_piece["browning_l"].idxmin() == BURNT
    assert by_piece["browning_l"].drop(BURNT).min() > 40
    assert set(pieces.loc[pieces["room_temp_c"] == 28, "bake"]) == {"4"}
    assert pieces.loc[pieces["bake"] != "4", "room_temp_c"].max() < 25
    lots = pieces.groupby("bake")["flour_lot"].first().tolist()
    assert lots == ["F1"] * 5 + ["F2"] * 3
    assert set(pieces["yeast_lot"]) == {"Y1"}
    events = read(DEMO / "events.csv", dtype=str)
    assert list(events) == ["level", "code", "kind", "text"]
    assert events[["level", "code", "kind"]].to_numpy().tolist() == [
        ["bake", "4", "warm room"],
        ["piece", BURNT, "burnt"],
    ]


def test_demo_values_are_possible_and_only_the_burnt_piece_is_doubted(pieces):
    doubts = [
        (row["piece"], name)
        for row in pieces.to_dict("records")
        for name in pieces.columns[8:]
        if get(name).check(row[name], where=row["piece"]).doubt
    ]
    assert doubts == [(BURNT, "browning_l")]


def test_demo_says_what_its_maker_put_in(pieces):
    """Within two standard errors or so of the truth stated in the script; the seed is fixed."""
    means = pieces.groupby(["bake", "dough", "malt_percent", "retard_hours"], as_index=False).mean(
        numeric_only=True
    )
    bakes = pd.get_dummies(means["bake"], dtype=float)
    malt = pd.get_dummies(means["malt_percent"], dtype=float).iloc[:, 1:]
    long_retard = (means["retard_hours"] == 40).to_numpy(dtype=float)[:, None]
    x = np.hstack([bakes, malt, long_retard])
    height = np.linalg.lstsq(x, means["rise_height_mm"], rcond=None)[0][8:]
    # least squares of 20 dough means with bakes as blocks; standard errors about 0.75 and 0.5
    assert height[:3] == pytest.approx([2.3, 3.5, 3.2], abs=1.5)
    assert height[3] == pytest.approx(0.8, abs=1.0)
    sound = pieces[pieces["piece"] != BURNT]
    by_side = sound.groupby("side_minutes")[["rise_height_mm", "browning_l"]].mean().diff().iloc[1]
    assert by_side["rise_height_mm"] == pytest.approx(0.0, abs=0.8)
    assert by_side["browning_l"] == pytest.approx(-7.0, abs=1.5)
    by_malt = sound.groupby("malt_percent")[["browning_l", "gumminess"]].mean()
    assert by_malt["browning_l"].is_monotonic_decreasing
    assert by_malt.loc[1.2, "gumminess"] - by_malt.loc[0.0, "gumminess"] == pytest.approx(
        1.5, abs=0.5
    )


def test_demo_is_made_again_byte_for_byte(tmp_path):
    made = subprocess.run(
        [sys.executable, str(DEMO / "make_demo.py"), "--out", str(tmp_path)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert made.returncode == 0, made.stderr
    for name in ("pieces.csv", "events.csv", "rises.csv"):
        assert (tmp_path / name).read_bytes() == (DEMO / name).read_bytes()


def test_demo_rises_are_possible_and_rise(doughs):
    rises = read(DEMO / "rises.csv", dtype={"dough": str})
    assert set(rises["dough"]) <= set(doughs["dough"])
    assert sorted(rises["dough"].value_counts()) == [4] * 2 + [8] * 10
    assert (rises.groupby("dough")["dough_ratio"].first() == 1).all()
    for row in rises.to_dict("records"):
        assert not get("dough_ratio").check(row["dough_ratio"], where=row["dough"]).doubt
    by_time = rises.sort_values(["dough", "time"])
    assert (by_time.groupby("dough")["dough_ratio"].diff().dropna() > -0.05).all()
    assert fields(DEMO, "rises")[2]["title"] == get("dough_ratio").label


def test_demo_says_that_it_is_invented(pieces):
    trial = json.loads((DEMO / "trial.json").read_text(encoding="utf-8"))
    assert trial["invented"] is True
    assert "invented" in trial["baker"]
    assert "INVENTED" in descriptor(DEMO)["title"]
    assert "INVENTED" in (DEMO / "README.md").read_text(encoding="utf-8")
    assert trial["outcome"] in pieces
    for factor in trial["factors"]:
        assert get(factor["quantity"]).level == factor["level"]
        assert sorted(set(pieces[factor["quantity"]])) == factor["settings"]


def test_demo_formula():
    formula = json.loads((DEMO / "trial.json").read_text(encoding="utf-8"))["formula"]
    roles = {"flour", "liquid", "salt", "yeast", "malt", "fat", "egg", "sugar", "other"}
    assert {role for _, role, _ in formula["ingredients"]} <= roles
    assert sum(percent for _, role, percent in formula["ingredients"] if role == "flour") == 100
    assert [percent for _, role, percent in formula["ingredients"] if role == "malt"] == [None]
    total = sum(percent or 0 for _, _, percent in formula["ingredients"])
    assert 250 * total / 100 == pytest.approx(6 * 76, abs=3)  # as its note says

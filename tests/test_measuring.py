"""A trial's photos through its verbs: taken in, guessed, measured (by a stand-in), kept, undone."""

import os
import re
import zlib
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
import shots
from PIL import Image

from kit.errors import DataError, InputError, KitError
from kit.measuring import TrialPhotos
from kit.photo.proof_series import series
from kit.photo.value import Value
from kit.records.photos.measured import (
    against_typed,
    mean_of_two,
    measured_values,
    told_of_photos,
    volume_ratios,
)
from kit.records.photos.measured_by import MeasuredBy
from kit.workspace import Workspace

DAY = "2026-11-19"  # a Thursday


def picture(path, taken=None, colour=(180, 140, 90), size=(64, 48)):
    """A small JPEG, no two alike, with the time in its EXIF where one is given."""
    path.parent.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng(zlib.crc32(path.name.encode()))
    pixels = np.clip(np.array(colour) + rng.integers(-20, 20, (size[1], size[0], 3)), 0, 255)
    exif = Image.Exif()
    if taken:
        exif.get_ifd(0x8769)[0x9003] = taken.replace("-", ":")
    Image.fromarray(pixels.astype(np.uint8)).save(path, exif=exif)
    return path


@pytest.fixture
def ws(tmp_path):
    with Workspace(tmp_path / "bakes", who="Ida") as workspace:
        yield workspace


@pytest.fixture
def trial(ws):
    made = ws.new_trial(
        "malt", factors={"malt_percent": [0, 0.8]}, outcome="rise_height_mm", zone="Europe/Berlin"
    )
    bake = made.add_bake(DAY)
    doughs = [made.add_dough(bake) for _ in range(2)]
    load = made.add_load(bake)
    for place in (1, 2, 3):
        made.add_piece(doughs[0], load, place)
    made.add_piece(doughs[1], load, 4)
    return made


def side(height=31.5, u=0.3):
    return SimpleNamespace(
        height_mm=Value(height, u, "mm"), diameter_mm=Value(92.0, 0.5, "mm"),
        volume_ml=Value(150.0, 4.0, "ml"),
    )  # fmt: skip


def ball(volume, u=2.0):
    return SimpleNamespace(
        height_mm=Value(50.0, 0.3, "mm"), diameter_mm=Value(60.0, 0.5, "mm"),
        volume_ml=Value(volume, u, "ml"),
    )  # fmt: skip


def test_a_folder_is_taken_in_once_bad_files_told(trial, tmp_path):
    folder = tmp_path / "phone"
    picture(folder / "b.jpg", f"{DAY} 10:05:00")
    picture(folder / "a.jpg", f"{DAY} 10:01:00")
    picture(folder / "undated.png")
    (folder / "broken.jpg").write_bytes(b"\xff\xd8\xff\xe0 no more")
    (folder / "notes.txt").write_text("not a photo")
    added = trial.add_photos(folder)
    assert [photo.name for photo in added.new] == ["a.jpg", "b.jpg", "undated.png"]
    assert [name for name, _ in added.refused] == ["broken.jpg"]
    said = str(added)
    assert said.startswith(
        "3 photos taken in. 1 without a time: say when each was taken.\nbroken.jpg"
    )
    assert [f"{p.taken:%H:%M}" for p in trial.photos() if p.taken] == ["10:01", "10:05"]
    again = trial.add_photos(str(folder))
    assert (again.new, again.known) == ((), 3)
    assert len(trial.photos()) == 3
    assert trial.workspace.undo() == "undone: malt: 3 photos taken in"
    assert trial.photos() == []


def test_files_and_one_file(trial, tmp_path):
    one, two = picture(tmp_path / "x/1.jpg"), picture(tmp_path / "y/2.jpg")
    assert len(trial.add_photos([one, two], shows="crumb").new) == 2
    assert {photo.shows for photo in trial.photos()} == {"crumb"}
    assert trial.add_photos(one).known == 1
    twin = tmp_path / "x/3.jpg"
    twin.write_bytes(picture(tmp_path / "x/4.jpg").read_bytes())  # the same picture, copied
    added = trial.add_photos([twin, tmp_path / "x/4.jpg"])
    assert (len(added.new), added.known) == (1, 1)
    assert str(added).startswith("1 photo taken in. 1 was there before.")


def test_a_folder_that_is_not_there_is_said(trial, tmp_path):
    with pytest.raises(InputError):
        trial.add_photos(tmp_path / "gone")


@pytest.mark.parametrize(
    ("name", "shows", "on"),
    [
        ("1A2.jpg", "side", "piece 1A2"),
        ("1a2_crumb_1.jpg", "crumb", "piece 1A2"),
        ("crumb-1B1.JPG", "crumb", "piece 1B1"),
        ("top 1A3.png", "face", "piece 1A3"),
        ("1A proof 3.jpg", "rise", "dough 1A"),
        ("ball 1B.jpg", "rise", "dough 1B"),
        ("holiday.jpg", None, None),
    ],
)
def test_guessed_by_name(trial, tmp_path, name, shows, on):
    (photo,) = trial.add_photos(picture(tmp_path / "p" / name)).new
    guess = trial.guess(photo)
    assert (guess.shows, guess.on and str(guess.on)) == (shows, on)
    assert guess.why.endswith(".")


def test_a_cameras_count_is_no_code(ws, tmp_path):
    trial = ws.new_trial("blind")
    dough = trial.add_dough(trial.add_bake(DAY))
    trial.add_piece(dough, code="482")
    names = ("IMG_482.jpg", "482 side.jpg")
    photos = trial.add_photos([picture(tmp_path / name) for name in names]).new
    found = {photo.name: trial.guess(photo).on for photo in photos}
    assert found["IMG_482.jpg"] is None
    assert str(found["482 side.jpg"]) == "piece 482 of dough 1A"


def test_guessed_by_the_order_on_the_griddle(trial, tmp_path):
    """As many photos after a load as it has pieces; then one more, and it asks."""
    for minute in range(4):
        picture(tmp_path / f"p/IMG_{minute}.jpg", f"{DAY} 12:0{minute}:00")
    trial.add_photos(tmp_path / "p")
    guesses = trial.guesses()
    told = [guesses[p.id] for p in trial.photos()]
    assert [str(g.on) for g in told] == ["piece 1A1", "piece 1A2", "piece 1A3", "piece 1B1"]
    assert {g.shows for g in told} == {"side"}
    assert told[0].why == "As many photos as load 1 has pieces, in their order on the griddle." or (
        told[0].why == "As many photos as bake 1 has pieces, in their order on the griddle."
    )
    trial.add_photos(picture(tmp_path / "p/IMG_9.jpg", f"{DAY} 12:09:00"))
    guesses = trial.guesses()
    assert {g.on for g in guesses.values()} == {None}
    assert "5 photos for 4 pieces" in guesses[trial.photos()[0].id].why


def test_after_midnight_it_is_still_the_evenings_bake(trial, tmp_path):
    night, morning = "2026-11-20 00:40:00", "2026-11-20 05:10:00"
    for name, at in (("late rise", night), ("early rise", morning)):
        trial.add_photos(picture(tmp_path / f"{name}.jpg", at))
    told = {photo.name: trial.guesses()[photo.id].why for photo in trial.photos()}
    assert told["late rise.jpg"] == "It may be any of 1A, 1B."
    assert told["early rise.jpg"] == "No bake was on 2026-11-20."
    face = trial.add_photos(picture(tmp_path / "late face.jpg", night)).new[0]
    assert trial.guesses()[face.id].why == "1 photo for 4 pieces of bake 1: say which is which."


def test_guessed_by_the_stages(ws, tmp_path):
    """One dough stands warm, then lies on the griddle: what is taken when shows which."""
    trial = ws.new_trial("stages", zone="UTC")
    now = datetime.now(UTC).replace(microsecond=0)
    bake = trial.add_bake(now.date())
    one, two = trial.add_dough(bake), trial.add_dough(bake)
    load = trial.add_load(bake)
    piece = trial.add_piece(one, load, 1)
    trial.add_piece(two)
    trial.stage(one, "shaped", now - timedelta(hours=3))
    trial.stage(two, "mixed", now - timedelta(hours=3))
    trial.stage(two, "in the fridge", now - timedelta(hours=2, minutes=50))
    trial.stage(load, "on the griddle", now - timedelta(hours=1))
    trial.stage(load, "off the griddle", now - timedelta(minutes=40))
    for name, ago in (("IMG_1", 120), ("IMG_2", 10)):
        at = now - timedelta(minutes=ago)
        picture(tmp_path / f"q/{name}.jpg", f"{at:%Y-%m-%d %H:%M:%S}")
    trial.add_photos(tmp_path / "q")
    first, second = (trial.guess(photo) for photo in trial.photos())
    assert (first.shows, first.on, first.why) == ("rise", one, "Dough 1A was proofing then.")
    assert (second.shows, second.on) == ("side", piece)


def test_said_by_hand_wins_over_the_guess(trial, tmp_path):
    (photo,) = trial.add_photos(picture(tmp_path / "1A2.jpg")).new
    trial.change_photo(photo, shows="crumb", on="1B1")
    (now,) = trial.photos()
    guess = trial.guess(now)
    assert (guess.shows, str(guess.on), guess.why) == ("crumb", "piece 1B1", "You said so.")


def test_accepted_is_stored_with_photo_uncertainty_and_hand(trial, tmp_path):
    (photo,) = trial.add_photos(picture(tmp_path / "1A2.jpg", f"{DAY} 12:00:00")).new
    kept = trial.accept(photo, side(), "1A2", shows="side")
    assert str(kept) == (
        "Kept for piece 1A2: height 31.5 mm, diameter 92.0 mm and volume 150 ml (as found)."
    )
    (now,) = trial.photos()
    assert (now.shows, str(now.on)) == ("side", "piece 1A2")
    rows = trial.photo_readings()
    assert rows[["quantity", "value", "u", "note"]].values.tolist() == [
        ["rise_height_mm", 31.5, 0.3, "as found"],
        ["diameter_mm", 92.0, 0.5, "as found"],
        ["volume_ml", 150.0, 4.0, "as found"],
    ]
    assert set(rows["photo"]) == {photo.id}
    trial.accept(now, side(33.0), corrected=("outline", "top"))
    frame = trial.frame().set_index("piece")
    assert frame.loc["1A2", "rise_height_mm"] == 33.0
    notes = trial.photo_readings()["note"].unique().tolist()
    assert notes == ["corrected by hand: outline, top"]
    trial.workspace.undo()
    assert trial.frame().set_index("piece").loc["1A2", "rise_height_mm"] == 31.5
    trial.workspace.undo()
    assert trial.photos()[0].on is None
    assert trial.workspace.check().ok


def test_the_page_says_what_was_measured_on_photos(trial, tmp_path):
    assert told_of_photos(trial.readings(), "rise_height_mm") == ""
    names = ("1A1", "1A2", "1A3")
    paths = [picture(tmp_path / f"{name}.jpg", f"{DAY} 12:00:00") for name in names]
    one, two, three = (trial.add_photos(path).new[0] for path in paths)
    trial.accept(one, side(30.0, 0.2), "1A1", shows="side")
    told = told_of_photos(trial.readings(), "rise_height_mm")
    assert told == (
        "Height was measured on photos for 1 of 1 piece, each give or take about 0.40 mm "
        "(95 in 100)."
    )
    trial.accept(two, side(31.0, 0.4), "1A2", shows="side", corrected=("top",))
    trial.accept(three, side(32.0, 0.3), "1A3", shows="side", looked_at=False)
    trial.record("1A1", "rise_height_mm", 30.5)  # by calliper: the last one counts
    trial.record("1B1", "rise_height_mm", 33.5)
    assert told_of_photos(trial.readings(), "rise_height_mm") == (
        "Height was measured on photos for 2 of 4 pieces, each give or take about 0.70 mm "
        "(95 in 100; 0.60 to 0.80); 1 was corrected by hand; 1 was taken as found without a look."
    )


def test_crumb_and_face_are_kept_as_their_quantities(trial, tmp_path):
    photos = trial.add_photos([picture(tmp_path / f"{n}.jpg") for n in ("c", "f")]).new
    crumb = SimpleNamespace(
        openness=Value(0.42, 0.02), cells_per_cm2=Value(31.0, 2.0, "/cm²"),
        median_cell_mm2=Value(0.61, 0.05, "mm²"),
    )  # fmt: skip
    trial.accept(photos[0], crumb, "1A1", shows="crumb")
    frame = trial.frame().set_index("piece").loc["1A1"]
    assert frame[["crumb_openness", "cells_per_cm2", "median_cell_mm2"]].tolist() == [
        0.42, 31.0, 0.61,
    ]  # fmt: skip


def test_what_was_not_measured_stays_missing(trial, tmp_path):
    (photo,) = trial.add_photos(picture(tmp_path / "1A1.jpg")).new
    partly = side()
    partly.volume_ml = Value(float("nan"), 1.0, "ml")
    assert set(measured_values(partly, "side")) == {"rise_height_mm", "diameter_mm"}
    trial.accept(photo, partly, "1A1", shows="side")
    assert "volume_ml" not in trial.frame()
    with pytest.raises(DataError, match=r"nothing was measured on photo 1A1\.jpg"):
        trial.accept(photo, SimpleNamespace(), "1A1", shows="side")


def test_nothing_is_kept_without_an_owner(trial, tmp_path):
    (photo,) = trial.add_photos(picture(tmp_path / "x.jpg")).new
    with pytest.raises(InputError, match=r"must be known\. Say whose photo x\.jpg is\."):
        trial.accept(photo, side(), shows="side")
    with pytest.raises(InputError, match="must be one of side, rise, crumb, face"):
        trial.accept(photo, side(), "1A1")
    assert trial.photo_readings().empty


def test_rising_dough_is_its_doughs_and_the_first_photo_is_one(trial, tmp_path):
    """Hand arithmetic: 100, 150 and 210 ml are 1, 1.5 and 2.1 times the first."""
    for name, minute in (("b", 30), ("a", 0), ("c", 55)):
        picture(tmp_path / f"r/{name}.jpg", f"{DAY} 10:{minute:02d}:00")
    trial.add_photos(tmp_path / "r", shows="rise")
    first, middle, last = trial.photos()
    trial.accept(middle, ball(150.0), "1A")
    trial.accept(last, ball(210.0), trial.pieces()[0])
    rows = trial.photo_readings()
    ratio = rows[rows["quantity"] == "dough_ratio"]["value"].tolist()
    assert ratio == pytest.approx([1.0, 1.4])
    trial.accept(first, ball(100.0), "1A")  # an earlier one: the others are said anew
    rows = trial.photo_readings()
    rows = rows[rows["quantity"] == "dough_ratio"].sort_values("at")
    assert rows["value"].tolist() == pytest.approx([1.0, 1.5, 2.1])
    assert rows["u"].tolist()[1] == pytest.approx(1.5 * ((2 / 150) ** 2 + (2 / 100) ** 2) ** 0.5)
    assert np.isnan(rows["u"].tolist()[0])
    trial.change_photo(trial.photos()[0], taken=f"{DAY} 11:30")  # it was the last one after all
    rows = trial.photo_readings()
    rows = rows[rows["quantity"] == "dough_ratio"].sort_values("at")
    assert rows["value"].tolist() == pytest.approx([1.0, 1.4, 100 / 150])
    assert "dough_ratio" not in trial.frame()


def test_a_photo_taken_out_is_nothing_that_others_are_held_against(trial, tmp_path):
    """Doubled since the photo that is left: what was kept of the one taken out is gone."""
    for i, volume in enumerate((100.0, 150.0, 300.0)):
        (photo,) = trial.add_photos(
            picture(tmp_path / f"1A rise {i}.jpg", f"{DAY} {10 + i}:00:00")
        ).new
        trial.accept(photo, ball(volume), "1A", shows="rise")
    read = lambda: trial.rise_readings()[["hours", "proof_ratio"]].to_numpy().tolist()  # noqa: E731
    before = read()
    assert before == [[1.0, 1.5], [2.0, 3.0]]
    trial.remove_photo(trial.photos()[0])
    assert read() == [[1.0, 2.0]]
    trial.workspace.undo()
    assert read() == before
    trial.remove_photo(trial.photos()[1])
    assert read() == [[2.0, 3.0]]


def test_dough_measured_together_is_surer_than_one_by_one(trial, tmp_path):
    """Drawn balls of known volume before one camera; seeds are fixed."""
    paths, volumes, _ = shots.proofing(tmp_path / "rise", size=(1000, 750))
    trial.add_photos(paths)
    about = {"side_mm": 32, "offset_mm": 12}
    done = []
    together = trial.measure_series(
        "1A", reference="marker", about=about, progress=lambda i, n: done.append((i, n))
    )
    assert done == [(1, 3), (2, 3), (3, 3)]
    assert trial.photo_readings().empty  # nothing is stored before it is accepted
    one_by_one = series(paths, {"kind": "marker", **about})
    for row, apart, true in zip(together.rows, one_by_one.rows, volumes / volumes[0], strict=True):
        assert abs(row.ratio.value - true) <= max(3 * row.ratio.u, 0.01)
        assert row.ratio.u <= 0.3 * apart.ratio.u
    assert trial.accept_series("1A", together) == 3
    rows = trial.photo_readings()
    kept = rows[rows["quantity"] == "dough_ratio"].sort_values("at")
    assert kept["value"].tolist() == [row.ratio.value for row in together.rows]
    assert kept["u"].tolist()[1:] == [row.ratio.u for row in together.rows[1:]]
    assert trial.workspace.undo() == "undone: malt: 3 photos of dough 1A measured together"
    assert trial.photo_readings().empty
    # an earlier photo, kept by itself, is the first one then: all ratios are said anew
    trial.accept_series("1A", together)
    (first,) = trial.add_photos(picture(tmp_path / "1A first.jpg", f"{DAY} 07:30:00")).new
    trial.accept(first, ball(volumes[0] / 2), "1A", shows="rise")
    rows = trial.photo_readings()
    kept = rows[rows["quantity"] == "dough_ratio"].sort_values("at")
    assert kept["value"].tolist() == pytest.approx([1, *2 * volumes / volumes[0]], rel=0.02)
    with pytest.raises(InputError, match="has no photo of it while it proofs"):
        trial.measure_series("1B")
    with pytest.raises(DataError, match="nothing was measured on the photos of dough 1B"):
        trial.accept_series("1B", replace(together, rows=()))


def test_photos_of_rising_dough_become_its_curve(trial, tmp_path):
    """A logistic rise drawn by hand: when it passes 2 is known in closed form."""
    dough = trial.doughs()[0]
    trial.stage(dough, "shaped", f"{DAY} 10:00")
    minutes = range(0, 121, 15)
    for m in minutes:
        picture(tmp_path / f"r/1A rise {m}.jpg", f"{DAY} {10 + m // 60}:{m % 60:02d}:00")
    trial.add_photos(tmp_path / "r")
    rise = [1.6 / (1 + np.exp(-(m - 60) / 15)) for m in minutes]
    for photo, gained in zip(trial.photos(), rise, strict=True):
        guess = trial.guess(photo)
        trial.accept(photo, ball(100 * (1 + gained - rise[0]), 1.0), guess.on, shows=guess.shows)
    (row,) = trial.rise().to_frame().to_dict("records")
    true = (60 + 15 * np.log(1 / (1.6 / (1 + rise[0]) - 1))) / 60
    assert row["double_low"] < true < row["double_high"]
    assert row["double_hours"] == pytest.approx(true, abs=0.05)


def test_ratios_have_the_uncertainty_of_both():
    ratios = volume_ratios([80.0, 160.0], [1.6, 3.2])
    assert ratios[0] == (1.0, None)
    assert ratios[1] == (2.0, pytest.approx(2 * (0.02**2 + 0.02**2) ** 0.5))
    assert volume_ratios([], []) == []


def test_repeatability_from_pieces_photographed_twice(ws, trial, tmp_path):
    """As `kit.analysis.gauge` says of the same ten values."""
    from kit.analysis.gauge import gauge

    with pytest.raises(DataError, match="Photograph 5 pieces twice"):
        trial.repeatability()
    dough = trial.doughs()[0]
    trial.add_piece(dough)
    pairs = {"1A1": (28.1, 28.4), "1A2": (31.0, 30.7), "1A3": (29.2, 29.9), "1B1": (33.1, 32.8),
             "1A4": (27.0, 27.1)}  # fmt: skip
    for piece, heights in pairs.items():
        for n, height in enumerate(heights):
            (photo,) = trial.add_photos(picture(tmp_path / f"t/{piece}-{n}.jpg")).new
            trial.accept(photo, SimpleNamespace(height_mm=Value(height, 0.3, "mm")), piece,
                         shows="side")  # fmt: skip
    told = trial.repeatability()
    rows = trial.photo_readings().rename(columns={"id": "piece", "value": "rise_height_mm"})
    same = gauge(rows, "rise_height_mm")
    assert told.gauges["rise_height_mm"].repeat["limit"] == pytest.approx(same.repeat["limit"])
    assert told.headline == (
        "Your photos tell apart differences of about 0.77 mm (0.48 to 1.9 mm) in height."
    )
    assert told.to_frame()["pieces"].tolist() == [5]
    other = ws.new_trial("salt")
    assert other.repeatability().headline == told.headline
    assert re.search(r"measuring is \d+ % of the spread", str(told))


def test_two_photos_taken_together_are_no_second_measuring(trial, tmp_path):
    photos = [picture(tmp_path / f"t/{n}.jpg") for n in range(10)]
    stored = trial.add_photos(photos).new
    trial.add_piece(trial.doughs()[0])
    for first, turned, piece in zip(
        stored[::2], stored[1::2], ("1A1", "1A2", "1A3", "1A4", "1B1"), strict=True
    ):
        trial.accept(first, side(), piece, shows="side")
        trial.accept(turned, side(29.0), piece, shows="side", turned=(first, side(30.0)))
    notes = trial.photo_readings().groupby("photo")["note"].first()
    assert notes[stored[0].id] == "as found"
    assert notes[stored[1].id] == "as found; turned by a quarter"
    assert trial.frame()["rise_height_mm"].unique().tolist() == [30.0]
    with pytest.raises(DataError, match="Photograph 5 pieces twice"):
        trial.repeatability()


@pytest.fixture
def turned(trial, tmp_path):
    """Two photos of piece 1A1, at 28 and 32 mm; what both say is 30 ± 0.2 mm."""
    photos = [
        picture(tmp_path / f"t/{n}.jpg", f"{DAY} 10:0{n}:00", size=(64, 48 + n)) for n in range(2)
    ]
    first, second = trial.add_photos(photos).new
    by = MeasuredBy("card")
    trial.accept(first, side(28.0), "1A1", shows="side", by=by)
    trial.accept(
        second, side(32.0), "1A1", shows="side", by=by, turned=(first, side(30.0, 0.2)),
        corrected=["top"],
    )  # fmt: skip
    return trial.photos()


def heights(trial):
    frame = trial.frame().set_index("piece")["rise_height_mm"].dropna()
    return {str(piece): float(height) for piece, height in frame.items()}


def test_the_mean_of_two_photos_is_of_neither(trial, turned):
    first, second = turned
    rows = trial.readings()
    mean = rows[rows["quantity"] == "rise_height_mm"].iloc[-1]
    assert pd.isna(mean["photo"])
    assert (mean["value"], mean["u"], mean["how"]) == (30.0, 0.2, "photo")
    assert mean["note"] == (
        f"corrected by hand: top; two photos turned by a quarter: {first.sha256[:12]}, "
        f"{second.sha256[:12]}"
    )
    assert "1 was corrected by hand" in told_of_photos(rows, "rise_height_mm")
    trial.change_photo(first, taken=f"{DAY} 09:00")
    assert heights(trial) == {"1A1": 30.0}
    trial.change_photo(trial.photos()[0], on="1A2")
    assert heights(trial) == {"1A1": 30.0, "1A2": 28.0}
    trial.change_photo(trial.photos()[0], on="1A1")
    assert heights(trial) == {"1A1": 30.0}  # there again, it counts no more than before
    trial.change_photo(second, on="1A3")
    assert heights(trial) == {"1A1": 30.0, "1A3": 32.0}
    for photo in trial.photos():
        trial.remove_photo(photo)
    assert heights(trial) == {"1A1": 30.0, "1A3": 32.0}


def test_one_undo_takes_the_mean_and_its_second_photo_back(trial, turned):
    trial.workspace.undo()
    assert heights(trial) == {"1A1": 28.0}
    assert len(set(trial.photo_readings()["photo"])) == 1


def test_the_mean_of_two_photos_goes_in_a_package(trial, turned, tmp_path):
    path = trial.package(tmp_path / "there.zip").path
    with Workspace(tmp_path / "there") as there:
        there.receive(path)
        (arrived,) = there.trials()
        assert heights(arrived) == {"1A1": 30.0}
        assert len(mean_of_two(arrived.readings(), arrived.piece("1A1"))) == 3
        arrived.change_photo(arrived.photos()[0], taken=f"{DAY} 09:00")
        assert heights(arrived) == {"1A1": 30.0}
        back = arrived.package(tmp_path / "back.zip").path
    with Workspace(tmp_path / "again") as again:
        again.receive(back)
        assert heights(again.trials()[0]) == {"1A1": 30.0}


def test_no_photo_that_nobody_looked_at_replaces_the_mean_of_two(
    trial, turned, tmp_path, monkeypatch
):
    Measurer(monkeypatch)  # says 31.0 ± 0.3 mm: not farther off than both may err
    trial.add_photos(picture(tmp_path / "m/1A1 again.jpg"))
    kept, reasons = trial.measure_all(lambda shows: {})
    assert kept == 0
    assert reasons["1A1 again.jpg"].startswith(
        "height of piece 1A1 was kept as 30.0 mm of two photos, and this one alone says 31.00 ± "
        "0.30 mm, "
    )
    assert heights(trial) == {"1A1": 30.0}
    typed = trial.piece("1A1")
    trial.record(typed, "rise_height_mm", "30.5")
    value = {"rise_height_mm": Value(30.6, 0.3, "mm")}
    assert against_typed(trial.readings(), typed, value) == []  # what was typed since counts


class Measurer:
    """Stands in for `Trial.measure`: a height from the file's name, a refusal for some."""

    def __init__(self, monkeypatch):
        self.asked = []
        monkeypatch.setattr(TrialPhotos, "measure", lambda _, photo, **how: self(photo, how))

    def __call__(self, photo, how):
        self.asked.append((photo.name, how))
        if "bad" in photo.name:
            raise DataError("no card was found. Retake with the card beside the piece.")
        return side(30.0 + len(self.asked))


def test_measure_all_tells_goes_on_and_takes_up_again(trial, tmp_path, monkeypatch):
    measurer = Measurer(monkeypatch)
    for name in ("1A1", "1A2-bad", "1A3", "1B1", "whose"):
        picture(tmp_path / f"m/{name}.jpg")
    trial.add_photos(tmp_path / "m")
    told = []
    stop = lambda: len(told) == 2  # noqa: E731
    kept, reasons = trial.measure_all(
        lambda shows: {"reference": "card"}, lambda *how: told.append(how), stop
    )
    assert (kept, list(reasons)) == (1, ["1A2-bad.jpg"])
    assert [t[:2] for t in told] == [(1, 4), (2, 4)]
    assert reasons["1A2-bad.jpg"].startswith("no card was found.")
    kept, _ = trial.measure_all(lambda shows: {})
    assert kept == 2
    assert [name for name, _ in measurer.asked] == [
        "1A1.jpg", "1A2-bad.jpg", "1A2-bad.jpg", "1A3.jpg", "1B1.jpg",
    ]  # fmt: skip
    assert set(trial.photo_readings()["note"]) == {"as found, not looked at"}
    assert trial.workspace.undo() == "undone: malt: photos measured"
    assert len(set(trial.photo_readings()["photo"])) == 1  # those of the second go together


def test_what_was_typed_is_not_replaced_unseen_by_a_photo_that_says_otherwise(
    trial, tmp_path, monkeypatch
):
    Measurer(monkeypatch)
    for name in ("1A1", "1A2", "1A3"):
        picture(tmp_path / f"m/{name}.jpg")
    trial.add_photos(tmp_path / "m")
    one, other, third = map(trial.piece, ("1A1", "1A2", "1A3"))  # photos say 31, 32, 33 ± 0.3
    trial.record(one, "rise_height_mm", 28)
    trial.record(other, "rise_height_mm", 32.5)
    trial.record(third, "rise_height_mm", 20, how="planned")
    kept, reasons = trial.measure_all(lambda shows: {})
    assert kept == 2
    assert list(reasons) == ["1A1.jpg"]
    assert reasons["1A1.jpg"] == (
        "height of piece 1A1 was typed as 28.0 mm, and the photo says 31.00 ± 0.30 mm: left as "
        "it was. Look at the photo, then keep what is right."
    )
    heights = [trial.recorded(piece, "rise_height_mm") for piece in (one, other, third)]
    assert heights == [28, 32, 33]


def test_a_drawn_piece_by_a_marker_measured_and_kept(trial, tmp_path):
    """The real calls, on a picture drawn by other code, whose height and width are known."""
    shot = shots.from_the_side(tmp_path / "1A2 side.jpg", 1, True, f"{DAY} 10:00:00")
    (photo,) = trial.add_photos(shot.path).new
    guess = trial.guess(photo)
    by = {"side_mm": shots.MARKER_MM, "offset_mm": shots.OFFSET_MM}
    result = trial.measure(photo, shows=guess.shows, reference="marker", about=by)
    trial.accept(photo, result, guess.on, shows=guess.shows)
    rows = trial.photo_readings().set_index("quantity")
    for name, true in (
        ("rise_height_mm", shot.truth.height_mm), ("diameter_mm", shot.truth.diameter_mm),
        ("volume_ml", shot.truth.volume_ml),
    ):  # fmt: skip
        assert abs(rows.loc[name, "value"] - true) < 3 * rows.loc[name, "u"]
        assert rows.loc[name, "u"] < 0.03 * true


def test_measured_again_elsewhere_as_it_was_kept(trial, tmp_path):
    """What a photo was measured by goes along: who is sent the data finds the same numbers."""
    shot = shots.from_the_side(tmp_path / "1A2 side.jpg", 1, True, f"{DAY} 10:00:00")
    (photo,) = trial.add_photos(shot.path).new
    about = {"side_mm": shots.MARKER_MM, "offset_mm": shots.OFFSET_MM}
    result = trial.measure(photo, shows="side", reference="marker", about=about)
    by = MeasuredBy("marker", about, {"outline": result.outline}, ("outline",))
    drawn = trial.measure(photo, shows="side", reference="marker", about=about, **by.arguments())
    trial.accept(photo, drawn, "1A2", shows="side", corrected=by.corrected, by=by)
    (kept,) = trial.photos()
    assert kept.measured_by == by
    assert trial.measure(kept).height_mm == drawn.height_mm
    assert trial.measure(kept, reference="marker", about=about).height_mm == result.height_mm
    package = trial.package(tmp_path / "malt.zip")
    with Workspace(tmp_path / "elsewhere", who="Ole") as other:
        (got,) = other.receive(package.path).photos()
        assert got.measured_by == by
        assert other.trial("malt").measure(got).height_mm == drawn.height_mm
    trial.change_photo(kept, shows="crumb")  # an outline of another thing
    assert trial.photos()[0].measured_by is None
    trial.workspace.undo()
    assert trial.photos()[0].measured_by == by
    trial.accept(trial.photos()[0], result)  # nobody knows by what
    assert trial.photos()[0].measured_by is None
    assert trial.workspace.check().ok


def deep(count):
    nested = 1
    for _ in range(count):
        nested = [nested]
    return nested


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ([], "must say by what the photo was measured"),
        ({"reference": "card"}, "must say by what the photo was measured"),
        ({"reference": "card", "about": [], "how": {}, "corrected": []}, "must say by what"),
        ({"reference": "ell", "about": {}, "how": {}, "corrected": []}, "must be one of card"),
        ({"reference": "card", "about": {"mm": float("nan")}, "how": {}, "corrected": []},
         "must be a finite number"),
        ({"reference": "card", "about": {}, "how": {"jar": {"wide": 3}}, "corrected": []},
         "must say its inside diameter"),
        ({"reference": "card", "about": {}, "how": {"jar": {"inner_diameter_mm": -3}},
          "corrected": []}, "must be above 0"),
        ({"reference": "card", "about": {}, "how": {"outline": [[0.5, 0.5]] * 9000},
          "corrected": []}, "must be at most 60000 signs long"),
        *(({"reference": "card", "about": {}, "how": {"outline": line}, "corrected": []},
           "must be points of the photo") for line in (3, [1, 2], [[1, 2], [3]], [[1, {}]])),
        ({"reference": "card", "about": {}, "how": {"jar": {"inner_diameter_mm": 80,
          "profile": [[]]}}, "corrected": []}, "must say its inside diameter"),
        ({"reference": "card", "about": {}, "how": {"photo": 1}, "corrected": []},
         "is nothing to measure by"),
        ({"reference": "card", "about": {}, "how": {"box": "wide"}, "corrected": []},
         "box is 'wide': must be a number"),
        ({"reference": "card", "about": {"offset_mm": deep(900)}, "how": {}, "corrected": []},
         "must say by what the photo was measured"),
    ],
)  # fmt: skip
def test_what_a_photo_cannot_have_been_measured_by(row, said):
    with pytest.raises(InputError) as caught:
        MeasuredBy.from_row(row)
    assert said in str(caught.value)


def test_a_thing_that_cannot_be_kept():
    with pytest.raises(InputError, match="must be a number"):
        MeasuredBy("card", {"offset_mm": object()})


def test_faces_in_the_cards_window(trial, tmp_path):
    """The card is found by itself and its frame is not taken for a face.

    L* 48 is that of the colour drawn; the cells were counted on the plane by scikit-image.
    """
    shots.on_card(tmp_path / "1A1 face.jpg", shots.face_of((48, 16, 30)))
    inside, scene = shots.cut_face()
    shots.on_card(tmp_path / "1A1 crumb.jpg", inside, size=(4000, 3000))
    trial.add_photos([tmp_path / "1A1 face.jpg", tmp_path / "1A1 crumb.jpg"])
    kept, reasons = trial.measure_all(lambda shows: {})
    assert (kept, reasons) == (2, {})
    rows = trial.photo_readings().set_index("quantity")
    assert abs(rows.loc["browning_l", "value"] - 48) < 3 * rows.loc["browning_l", "u"]
    open_share = rows.loc["crumb_openness"]
    assert abs(open_share["value"] - scene.truth["openness"]) < 3 * open_share["u"]
    assert open_share["u"] < 0.1
    frame = trial.frame().set_index("piece")
    assert frame.loc["1A1", "cells_per_cm2"] > 10


def test_a_photo_without_the_card_is_refused_with_what_to_do(trial, tmp_path):
    (photo,) = trial.add_photos(picture(tmp_path / "1A1.jpg", size=(640, 480))).new
    with pytest.raises(KitError, match=r"(?i)card"):
        trial.measure(photo, shows="side")


def test_another_picture_under_the_same_name_is_not_measured_for_it(ws, trial, tmp_path):
    (photo,) = trial.add_photos(picture(tmp_path / "1A1 side.jpg", f"{DAY} 10:00:00")).new
    assert trial.open_photo(photo).sha256 == photo.sha256
    os.replace(picture(tmp_path / "other.jpg", f"{DAY} 11:00:00"), ws.folder / photo.path)
    says = "is another picture now than the one that was taken in. Take the new one in"
    with pytest.raises(InputError, match=says):
        trial.measure(photo, shows="side")
    (new,) = trial.add_photos(ws.folder / photo.path).new
    assert trial.open_photo(new).sha256 == new.sha256 != photo.sha256


def test_a_file_that_went_missing_is_said(ws, trial, tmp_path):
    (photo,) = trial.add_photos(picture(tmp_path / "1A1.jpg")).new
    os.remove(ws.folder / photo.path)
    with pytest.raises(InputError):
        trial.open_photo(photo)
    assert [finding.about for finding in ws.check().findings] == ["photo"]

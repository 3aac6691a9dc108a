"""Many photos: resumed, stopped, a file that kills its process, a cluster that loses a worker."""

import json
import os

import numpy as np
import pandas as pd
import pytest
import shots
from mortal import measure_or_die, measure_slowly_or_die
from PIL import Image
from typer.testing import CliRunner

import kit.photo
from kit.cli import app
from kit.errors import InputError
from kit.photo import many
from kit.photo.many import Asked, measure_folder, measure_one, photos_in
from kit.photo.one_photo import measure, scale_for
from kit.photo.picture import read, sha256_of

CRUMB = Asked("crumb", "scanner", {"dpi": 600})


@pytest.fixture
def folder(tmp_path):
    """Files that no measuring can use: empty, cut off, one grey pixel, words."""
    (tmp_path / "empty.jpg").touch()
    Image.fromarray(np.full((300, 400, 3), 120, np.uint8)).save(tmp_path / "whole.jpg")
    (tmp_path / "cut.jpg").write_bytes((tmp_path / "whole.jpg").read_bytes()[:200])
    Image.fromarray(np.full((1, 1, 3), 120, np.uint8)).save(tmp_path / "pixel.png")
    (tmp_path / "words.tif").write_text("not a picture")
    (tmp_path / "notes.txt").write_text("not taken for a photo")
    return tmp_path


def test_only_photos_are_taken(folder):
    (folder / "below").mkdir()
    (folder / "below" / "A.JPG").touch()
    (folder / ".thumbnails").mkdir()  # the same pictures once more, small, as phones keep them
    (folder / ".thumbnails" / "whole.jpg").touch()
    (folder / "._whole.jpg").touch()  # what a Mac writes beside a file on a card
    names = [p.relative_to(folder).as_posix() for p in photos_in(folder)]
    assert names == ["below/A.JPG", "cut.jpg", "empty.jpg", "pixel.png", "whole.jpg", "words.tif"]


def test_bad_files_are_rows_with_reasons(folder):
    told = []
    frame = measure_folder(folder, CRUMB, workers=1, told=lambda *said: told.append(said[:2]))
    assert list(frame["file"]) == ["cut.jpg", "empty.jpg", "pixel.png", "whole.jpg", "words.tif"]
    assert (frame["status"] == "refused").all()
    assert frame["reason"].str.len().gt(20).all()
    assert not frame["reason"].str.contains("should not happen").any(), list(frame["reason"])
    assert sorted(told) == [(i, 5) for i in range(1, 6)]
    assert not list(folder.glob(".*part"))


def test_names_that_are_no_utf8_are_kept_apart(tmp_path):
    for name in (b"br\xf6t.jpg", b"br\xf7t.jpg"):
        try:
            (tmp_path / os.fsdecode(name)).touch()
        except OSError as exc:
            pytest.skip(f"this file system keeps no such names: {exc}")
    for _ in range(2):  # measured, then gone on with
        frame = measure_folder(tmp_path, CRUMB, workers=1)
        assert list(frame["file"]) == ["br\\udcf6t.jpg", "br\\udcf7t.jpg"]


def test_an_unreadable_question_is_told():
    with pytest.raises(InputError, match="shows is 'bread': must be one of side, rise, crumb"):
        Asked("bread")


@pytest.mark.parametrize("bad", ["nowhere", "notes.txt", "nothing"])
def test_no_folder_or_no_photo(folder, bad):
    (folder / "nothing").mkdir()
    with pytest.raises(InputError, match="folder is"):
        measure_folder(folder / bad, CRUMB)


def test_goes_on_where_it_was_stopped(folder, monkeypatch):
    """Done rows are kept by the photo's bytes and by what is asked; the table says the same."""
    looked = []

    def one(source, name, asked):
        looked.append(name)
        if len(looked) == 3:
            raise KeyboardInterrupt
        row = measure_one(source, name, asked)
        return row | {"sha256": sha256_of(source), "status": "measured"}

    def in_turn(left, names, asked, workers):
        return (one(p, names[p], asked) for p in left)

    monkeypatch.setattr(many, "_on_cores", in_turn)
    with pytest.raises(KeyboardInterrupt):
        measure_folder(folder, CRUMB)
    table = folder / "measured-crumb.csv"
    assert list(pd.read_csv(table)["file"]) == ["cut.jpg", "empty.jpg"]
    assert len(measure_folder(folder, CRUMB)) == 5
    assert looked == ["cut.jpg", "empty.jpg", "pixel.png", "pixel.png", "whole.jpg", "words.tif"]
    (folder / "whole.jpg").write_bytes((folder / "whole.jpg").read_bytes() + b" ")
    measure_folder(folder, CRUMB)
    assert looked[6:] == ["whole.jpg"]  # its bytes changed
    measure_folder(folder, Asked("crumb", "scanner", {"dpi": 300}))
    assert len(looked) == 7 + 5  # another question


def test_another_table_is_never_overwritten(folder):
    mine = folder / "recipes.csv"
    mine.write_text("flour,water\n100,70\n")
    with pytest.raises(InputError, match="is no table of measured photos"):
        measure_folder(folder, CRUMB, mine, workers=1)
    assert mine.read_text() == "flour,water\n100,70\n"


def test_a_photo_that_kills_its_process_costs_one_row(tmp_path, monkeypatch):
    names = ["a.jpg", "b.jpg", "c.jpg", "d.jpg", "deadly.jpg", "e.jpg", "f.jpg"]
    for name in names:
        (tmp_path / name).touch()
    monkeypatch.setattr(many, "measure_one", measure_or_die)
    frame = measure_folder(tmp_path, CRUMB, workers=2).set_index("file")
    assert list(frame.index) == names
    assert list(frame.index[frame["status"] == "refused"]) == ["deadly.jpg"]
    assert "ended the process" in frame.loc["deadly.jpg", "reason"]


@pytest.mark.filterwarnings("default")  # the cluster's own threads and sockets warn as they end
def test_cores_and_cluster_measure_alike(tmp_path):
    """Three photos, and one that is none, by processes and by a cluster: the same figures."""
    distributed = pytest.importorskip("distributed", reason="extra [cluster] is not installed")
    photos = tmp_path / "photos"
    photos.mkdir()
    truth = {}
    for seed in (11, 12, 13):
        shot = shots.from_the_side(photos / f"p{seed}.jpg", seed, marker=True)
        truth[shot.path.name] = shot.truth.height_mm
    (photos / "words.jpg").write_text("not a picture")
    about = {"side_mm": shots.MARKER_MM, "offset_mm": shots.OFFSET_MM}
    asked = Asked("side", "marker", about)
    ours = measure_folder(photos, asked, tmp_path / "ours.csv", workers=2).set_index("file")
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, dashboard_address=None, silence_logs=50
    ) as cluster:
        theirs = measure_folder(
            photos, asked, tmp_path / "theirs.csv", dask=cluster.scheduler_address
        ).set_index("file")
    # the reason names the photo by what it came as: a file, or the bytes that were sent
    pd.testing.assert_frame_equal(ours.drop(columns="reason"), theirs.drop(columns="reason"))
    assert list(ours["status"]) == ["measured"] * 3 + ["refused"]
    for name, height in truth.items():
        assert abs(ours.loc[name, "height_mm"] - height) < 4 * ours.loc[name, "height_mm_u"]


@pytest.mark.filterwarnings("default")  # the cluster's own threads and sockets warn as they end
def test_a_cluster_that_loses_a_worker_half_way(tmp_path, monkeypatch):
    distributed = pytest.importorskip("distributed", reason="extra [cluster] is not installed")
    photos = tmp_path / "photos"
    photos.mkdir()
    names = ["first.jpg", *(f"p{i:02}.jpg" for i in range(10))]
    for name in names:
        (photos / name).write_bytes(name.encode())
    monkeypatch.setattr(many, "measure_one", measure_slowly_or_die)
    asked = Asked("crumb", "scanner", {"marker": str(tmp_path / "killed")})
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, dashboard_address=None, silence_logs=50
    ) as cluster:
        frame = measure_folder(photos, asked, dask=cluster.scheduler_address)
    assert (tmp_path / "killed").exists()
    assert list(frame["file"]) == names
    assert (frame["status"] == "measured").all()


def test_missing_cluster_package_names_its_extra(folder, monkeypatch):
    monkeypatch.setitem(__import__("sys").modules, "distributed", None)
    with pytest.raises(ImportError, match=r"bake-trial-kit\[cluster\]"):
        measure_folder(folder, CRUMB, dask="tcp://127.0.0.1:1")


def test_command_says_what_was_measured_and_why_not(folder):
    result = CliRunner().invoke(
        app, ["measure", str(folder), "--shows", "crumb", "--by", "scanner", "--about", "dpi=600"]
    )
    assert result.exit_code == 0, result.output
    assert "0 of 5 photos measured" in result.output
    for about, said in (("dpi", "must be a name and a value"), ("side=wide", "is not a")):
        words = ["measure", str(folder), "--shows", "side", "--by", "marker", "--about", about]
        result = CliRunner().invoke(app, words)
        assert result.exit_code == 2
        assert said in " ".join(result.output.split())


def test_one_reason_of_many_photos_is_said_once(tmp_path):
    for n in range(6):
        Image.new("RGB", (300, 200), (40 * n, 90, 120)).save(tmp_path / f"{n}.jpg")
    out = CliRunner().invoke(app, ["measure", str(tmp_path), "--shows", "side"]).output
    said = " ".join(out.split())
    assert "0 of 6 photos measured" in said
    assert said.count("mark two points") == 1
    assert "0.jpg, 1.jpg, 2.jpg, 3.jpg and 2 more:" in said
    assert "Points are marked by hand, in measure.ipynb." in said


def test_a_depth_that_nobody_said_makes_lengths_unsure_and_is_told(tmp_path):
    """A piece before its marker is nearer than the marker: silence must not pass for 0 mm."""
    shot = shots.from_the_side(tmp_path / "p.jpg", 61, marker=True)
    photo, side = read(shot.path), {"side_mm": shots.MARKER_MM}
    true = shot.truth.diameter_mm
    said = measure(photo, "side", reference="marker", about=side | {"offset_mm": shots.OFFSET_MM})
    unsaid = measure(photo, "side", reference="marker", about=side)
    exact = kit.photo.side(photo, kit.photo.scale(photo, "marker", **side), shape="piece")
    assert abs(said.diameter_mm.value - true) < 2 * said.diameter_mm.u < 0.02 * true
    assert abs(exact.diameter_mm.value - true) > 5 * exact.diameter_mm.u  # as it would have been
    assert abs(unsaid.diameter_mm.value - true) < 2 * unsaid.diameter_mm.u
    assert unsaid.diameter_mm.u > 0.05 * true
    told = scale_for(photo, "side", "marker", side).notes[-1]
    assert told.startswith("how far its middle stands in front of the reference was not said.")
    assert scale_for(photo, "crumb", "marker", side).u_offset_mm == 12
    assert "not said" not in str(scale_for(photo, "face", "marker", side).notes)
    words = ["measure", str(tmp_path), "--shows", "side", "--by", "marker", "--about", "side=32"]
    silent = CliRunner().invoke(app, words).output
    assert "was not said: lengths are unsure. Say it with --in-front." in " ".join(silent.split())
    assert "not said" not in CliRunner().invoke(app, [*words, "--in-front", "12 mm"]).output


def test_what_is_asked_wrongly_is_refused_before_any_photo_is_looked_at(folder):
    for asked, said in (
        (["--by", "coin"], "reference is 'coin': must be one of card, marker, checkerboard, disc"),
        (["--by", "points"], "reference is 'points': must be one of"),
        (["--shape", "cube"], "shape is 'cube': must be one of piece, ball, jar."),
        (["--shape", "jar"], "must be said for the shape jar and only then. Say how wide"),
        (["--jar", "inner_diameter=72"], "must be said for the shape jar and only then."),
        (["--about", "dpi=600"], "dpi is 600: is no argument of the kind 'card', which takes"),
        (["--by", "disc"], "diameter_mm is not given: must be given for the kind 'disc'."),
        (["--zone", "Mars/X"], "zone is 'Mars/X': must be a time zone"),
    ):
        result = CliRunner().invoke(app, ["measure", str(folder), "--shows", "rise", *asked])
        assert result.exit_code == 2
        assert said in " ".join(result.output.split())
    assert not list(folder.glob("*.csv"))


def test_the_cards_bar_and_the_cameras_clock_are_taken(tmp_path):
    photo = tmp_path / "1A1 face.jpg"
    shots.on_card(photo, shots.face_of((62, 12, 38)), "2026-11-19 11:10:00", size=(1000, 750))
    words = ["measure", str(tmp_path), "--shows", "side", "--about", "bar=120 mm"]
    said = " ".join(CliRunner().invoke(app, words).output.split())
    assert "printed_scale is 120: must be the length in mm of the bar" in said
    row = measure_one(photo, photo.name, Asked("face"))
    assert row["taken"] == "2026-11-19T11:10:00"  # no zone is known, so none is made up
    zoned = measure_one(photo, photo.name, Asked("face", zone="Europe/Berlin"))
    assert zoned["taken"] == "2026-11-19T11:10:00+01:00"


def test_rows_survive_json_and_csv(folder):
    """A row is plain: it can be sent, written and read back."""
    row = measure_one(folder / "pixel.png", "pixel.png", CRUMB)
    assert json.loads(json.dumps(row)) == row

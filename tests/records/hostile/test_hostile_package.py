"""Packages whose contents lie: refused in plain words, nothing stored, nothing fetched."""

import hashlib
import json
import re

import pytest
from ipywidgets import HTML

from kit import quantities
from kit.panels.compare import ComparePanel

# datapackage.json


def package(good, **changes):
    return {**json.loads(good["datapackage.json"]), **changes}


def as_json(said):
    return {"datapackage.json": json.dumps(said).encode()}


def moved(good, name, path):
    said = package(good)
    for one in said["resources"]:
        if one["name"] == name:
            one["path"] = path
    return as_json(said)


@pytest.mark.parametrize(
    ("path", "said"),
    [
        ("https://example.org/reading.csv", "wants 'record-reading' fetched from elsewhere"),
        ("file:///etc/passwd", "wants 'record-reading' fetched from elsewhere"),
        ("/etc/passwd", "leads outside the package"),
        ("../reading.csv", "leads outside the package"),
        ("C:/reading.csv", "leads outside the package"),
        ("records\\reading.csv", "holds a backslash"),
        ("records/other.csv", "lacks the file 'records/other.csv'"),
        (["a", "b"], "does not say in one word where 'record-reading' is"),
        (None, "does not say in one word where 'record-reading' is"),
        ({}, "does not say in one word where 'record-reading' is"),
    ],
)
def test_paths_in_the_description(send, good, path, said, monkeypatch):
    def fetched(*_, **__):
        raise AssertionError("something was fetched")

    monkeypatch.setattr("socket.socket.connect", fetched)
    assert said in send(moved(good, "record-reading", path))


def test_a_description_that_points_elsewhere_is_never_asked(ws, good, tmp_path, monkeypatch, whole):
    def fetched(*_, **__):
        raise AssertionError("something was fetched")

    monkeypatch.setattr("socket.socket.connect", fetched)
    said = package(good, **{"$schema": "https://example.org/x", "profile": "https://example.org/y"})
    for one in said["resources"]:
        one["schema"] = "https://example.org/schema.json"
    said["resources"].append({"name": "more", "path": "https://example.org/z.csv"})
    (tmp_path / "x.zip").write_bytes(whole({**good, **as_json(said)}))
    assert len(ws.receive(tmp_path / "x.zip").frame()) == 2


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (None, "is no data package: it has no datapackage.json"),
        (b"{", "cannot be read as JSON"),
        (b"[" * 200_000, "cannot be read as JSON"),
        (b'{"kit": ' + b"9" * 5000 + b"}", "cannot be read as JSON"),
        (b"[]", "not one of a bake trial"),
        (b"{}", "not one of a bake trial"),
        (b'"kit"', "not one of a bake trial"),
        (b'{"kit": {"format": 1, "schema": "0001"}}', "lists no files"),
        (b"\xff\xfe{\0}\0", "holds text that is not UTF-8"),
        (b"{\0}", "holds signs that are no text"),
    ],
)
def test_descriptions_that_are_none(send, content, said):
    assert said in send({"datapackage.json": content})


@pytest.mark.parametrize(
    ("kit", "said"),
    [
        ({"format": 2, "schema": "0001"}, "was written by a newer kit (format 2"),
        ({"format": 1, "schema": "0999"}, "was written by a newer kit (format 1, schema 0999"),
        ({"format": 1, "schema": "9" * 5000}, "was written by a newer kit"),
        ({"format": "1", "schema": "0001"}, "is of a kind that never was"),
        ({"format": True, "schema": "0001"}, "is of a kind that never was"),
        ({"format": 1, "schema": ["0001"]}, "is of a kind that never was"),
        ({"format": 0, "schema": "0001"}, "is of a kind that never was"),
        ({}, "is of a kind that never was"),
    ],
)
def test_versions(send, good, kit, said):
    text = send(as_json(package(good, kit=kit)))
    assert said in text
    if "newer" in said:
        assert "pip install -U bake-trial-kit" in text


def test_a_table_that_is_missing(send, good):
    said = package(good)
    said["resources"] = [one for one in said["resources"] if one["name"] != "record-bake"]
    assert "lacks the table 'record-bake'" in send(as_json(said))
    assert "lacks the file 'records/bake.csv'" in send({"records/bake.csv": None})
    said = package(good)
    said["resources"] *= 2
    assert "describes 'pieces' twice" in send(as_json(said))


# the tables


def changed(good, table, old, new, count=1):
    content = good[f"records/{table}.csv"]
    assert content.count(old) >= 1, (table, old, content[:500])
    return {f"records/{table}.csv": content.replace(old, new, count)}


@pytest.mark.parametrize(
    ("table", "old", "new", "said"),
    [
        ("reading", b"33.5", b"3350.0", "must lie between 1 and 300"),
        ("reading", b"33.5", b"NaN", "must be a finite number with a decimal point"),
        ("reading", b"33.5", b"=1+1", "must be a finite number with a decimal point"),
        ("reading", b"33.5", b"", "must not be empty"),
        ("reading", b"0.25", b"-1", "must be above 0"),
        ("reading", b"rise_height_mm", b"malt_percent", "must be dough for malt_percent"),
        ("reading", b"rise_height_mm", b"unheard_of", "must be explained in quantity.csv"),
        ("reading", b"entered", b"guessed", "must be one of planned, entered, photo, computed"),
        ("reading", b"+00:00", b"+99:00", "is not a point in time"),
        ("reading", b"piece,", b"oven,", "must be one of bake, dough, load, piece, trial"),
        ("reading", b"NOTE", b"N" * 3000, "must be at most 2000 characters long"),
        ("reading", b"NOTE", b"N" * 120_000, "must be at most 100000 characters long"),
        ("reading", b"NOTE", b"N" * 1_000_000, "must be at most 100000 characters long"),
        ("reading", b"NOTE", b'"NOTE', "cannot be read as CSV"),
        ("reading", b"NOTE", b"NOTE,more", "as many cells as the heading has"),
        ("reading", b"id,level", b"id,height", "must have the columns level"),
        ("reading", b"id,level", b"id,id,level", "must be there once"),
        ("event", b"burnt", b"burnt; again", "must not hold a semicolon"),
        ("event", b"burnt", b"", "must not be empty"),
        ("trial", b"Europe/Lisbon", b"../../etc/passwd", "is not a time zone"),
        ("trial", b"Europe/Lisbon", b"", "is not a time zone"),
        ("trial", b"malt,", b"m" * 81 + b",", "must be at most 80 characters long"),
        ("trial", b"malt,", b",", "must not be empty"),
        ("trial", b"false", b"perhaps", "must be true or false"),
        ("trial", b"rise_height_mm", b"__class__", "must be explained in quantity.csv"),
        ("factor", b"[0.0, 0.8]", b"[0.0]", "must be two or more numbers"),
        ("factor", b'"[0.0, 0.8]"', b'"{""a"": 1}"', "must be two or more numbers"),
        ("factor", b"[0.0, 0.8]", b"[0.0, true]", "must be two or more numbers"),
        ("factor", b"[0.0, 0.8]", b"[0.0, 99]", "must lie between 0 and 20"),
        ("ingredient", b"flour,100.0", b"flour,50.0", "must add up to 100"),
        ("ingredient", b",liquid,", b",magic,", "is not known"),
        ("ingredient", b"72.0", b"-72.0", "must lie between 0 and"),
        ("bake", b"2026-11-26", b"26.11.2026", "must be a day written year-month-day"),
        ("lot", b"flour", b"yeast", "must be a lot of flour"),
        ("piece", b"1A2", b"1A1", "must be alone in piece.csv"),
        ("piece", b",2,\r\n", b",1,\r\n", "must be from 1, and no other piece's"),
        ("quantity", b"scorch_mm", b"bake", "must be lower-case letters"),
        ("quantity", b"scorch_mm", b"events", "must be lower-case letters"),
        ("quantity", b"scorch_mm", b"class", "must be lower-case letters"),
        ("quantity", b"scorch_mm", b"a b", "must be lower-case letters"),
        ("quantity", b"scorch_mm", b"x" * 81, "must be lower-case letters"),
        ("quantity", b",1,Burnt", b",10,Burnt", "must be a whole number from 0 to 9"),
        ("quantity", b"0.0,50.0", b"50.0,0.0", "must be two numbers, the lower one first"),
        ("quantity", b"mm,piece", b"mm,oven", "must be one of bake, dough, load, piece"),
        ("quantity", b"Scorch", b"S" * 300, "must be at most 200 characters long"),
    ],
)
def test_values_that_cannot_be(send, good, table, old, new, said):
    text = send(changed(good, table, old, new))
    assert said in text
    assert ".csv" in text
    assert "row " in text


@pytest.mark.parametrize("column", ["id", "dough_id", "load_id"])
def test_references_to_nothing(send, good, column):
    lines = good["records/piece.csv"].decode().split("\r\n")
    place = lines[0].split(",").index(column)
    cells = lines[1].split(",")
    cells[place] = "0" * 32
    lines[1] = ",".join(cells)
    text = send({"records/piece.csv": "\r\n".join(lines).encode()})
    assert "must be the id of a row in" in text or "must be a piece's id" in text


def test_ids_that_are_none_or_somebody_elses(send, good):
    lines = good["records/piece.csv"].decode().split("\r\n")
    first = lines[1].split(",")[0]
    for new in ("../x", "a" * 70, "' OR 1=1", lines[2].split(",")[0]):
        text = good["records/piece.csv"].decode().replace(first, new)
        told = send({"records/piece.csv": text.encode()})
        assert "must be letters and digits, and no other row's" in told
    # a dough with the id of a piece would be taken for it
    dough = good["records/dough.csv"].decode().split("\r\n")[1].split(",")[0]
    text = good["records/piece.csv"].decode().replace(first, dough)
    assert "no other row's" in send({"records/piece.csv": text.encode()})


def test_two_trials_or_none(send, good):
    lines = good["records/trial.csv"].split(b"\r\n")
    assert "must be one: the trial" in send({"records/trial.csv": lines[0] + b"\r\n"})
    both = b"\r\n".join([lines[0], lines[1], b"x" * 8 + lines[1][8:], b""])
    assert "must be one: the trial" in send({"records/trial.csv": both})


@pytest.mark.parametrize("codec", ["utf-16", "latin-1", "cp037"])
def test_other_encodings(send, good, codec):
    text = good["records/event.csv"].decode().replace("burnt", "brülé")
    assert "holds text that is not UTF-8 (in 'records/event.csv')" in send(
        {"records/event.csv": text.encode(codec)}
    )


def test_zero_bytes(send, good):
    assert "signs that are no text" in send(changed(good, "event", b"burnt", b"bur\0nt"))


def test_all_problems_are_told_at_once(send, good):
    content = good["records/reading.csv"].replace(b"33.5", b"999").replace(b"0.25", b"-1")
    content = content.replace(b"entered", b"guessed")
    both = {**changed(good, "event", b"burnt", b""), "records/reading.csv": content}
    text = send(both)
    assert "bad.zip has 4 problems; nothing was stored. Row 1 is the heading." in text
    assert "reading.csv row 2" in text
    assert "event.csv row 2" in text


def test_columns_nobody_knows_are_left_out_with_a_word(ws, good, tmp_path, whole):
    lines = good["records/event.csv"].split(b"\r\n")
    more = b"\r\n".join([lines[0] + b",mood", lines[1] + b",good", b""])
    (tmp_path / "x.zip").write_bytes(whole({**good, "records/event.csv": more}))
    assert "left out of event.csv: mood, not known here" in ws.receive(tmp_path / "x.zip").notes


def test_a_row_cannot_reach_what_is_here(ws, good, tmp_path, whole):
    """Ids of mine in somebody's package: theirs get new ones, mine stay as they are."""
    mine = ws.new_trial("mine")
    bake = mine.add_bake("2026-01-02")
    piece = mine.add_piece(mine.add_dough(bake))
    mine.record(piece, "rise_height_mm", 20)
    before = mine.frame()
    theirs = good["records/piece.csv"].decode().split("\r\n")[1].split(",")[0]
    contents = {name: content.replace(theirs.encode(), piece.id.encode())
                for name, content in good.items()}  # fmt: skip
    (tmp_path / "x.zip").write_bytes(whole(contents))
    got = ws.receive(tmp_path / "x.zip")
    assert mine.frame().equals(before)
    assert piece.id not in {p.id for p in got.pieces()}
    assert len(got.frame()) == 2


def photo_rows(good, path, digest, original="0" * 64):
    head = good["records/photo.csv"].decode()
    columns = head.strip().split(",")
    row = dict.fromkeys(columns, "")
    row |= {"id": "f" * 32, "path": path, "sha256": digest, "original_sha256": original}
    return {"records/photo.csv": (head + ",".join(row.values()) + "\r\n").encode()}


def test_pictures(send, ws, good, tmp_path, whole):
    digest = hashlib.sha256(b"#!/bin/sh").hexdigest()
    for path in ("../../evil.jpg", "/tmp/evil.jpg", "C:\\evil.jpg", "..\\evil"):
        assert "photo.csv row 2" in send(photo_rows(good, path, digest))
    assert "must be a file in the package" in send(photo_rows(good, "photos/none.jpg", digest))
    there = {"photos/a.jpg": b"#!/bin/sh"}
    assert "the picture is another one" in send(
        {**photo_rows(good, "photos/a.jpg", "1" * 64), **there}
    )
    evil = photo_rows(good, "photos/a.jpg", digest, original="../" * 21 + "x")
    assert "must be a SHA-256" in send({**evil, **there})
    # what is no picture is left out
    sent = {**good, **photo_rows(good, "photos/a.jpg", digest), **there}
    (tmp_path / "x.zip").write_bytes(whole(sent))
    got = ws.receive(tmp_path / "x.zip")
    assert "photos/a.jpg is left out: it is no picture" in got.notes
    assert list((ws.folder / "photos").iterdir()) == []


def test_two_photos_may_have_one_picture(ws, good, tmp_path, whole):
    picture = b"\xff\xd8\xff\xe0 a picture"
    (name, rows), *_ = photo_rows(good, "photos/a.jpg", hashlib.sha256(picture).hexdigest()).items()
    head, row, _ = rows.decode().split("\r\n")
    other = row.replace("f" * 32, "e" * 32).replace("0" * 64, "1" * 64)
    rows = "\r\n".join([head, row, other, ""]).encode()
    (tmp_path / "x.zip").write_bytes(whole({**good, name: rows, "photos/a.jpg": picture}))
    got = ws.receive(tmp_path / "x.zip")
    assert [photo.path for photo in got.photos()] == [f"photos/{'0' * 64}.jpg"] * 2
    assert [file.read_bytes() for file in (ws.folder / "photos").iterdir()] == [picture]
    assert ws.check().ok


def test_a_picture_larger_than_any(send, good):
    big = b"\xff\xd8\xff\xe0" + bytes(101_000_000)
    rows = photo_rows(good, "photos/a.jpg", hashlib.sha256(big).hexdigest())
    assert "holds more than 100 MB in 'photos/a.jpg'" in send({**rows, "photos/a.jpg": big})


EVIL = '<img src=x onerror="alert(1)">'


def inside(widget):
    """A widget and all that lies in it."""
    yield widget
    for child in getattr(widget, "children", ()):
        yield from inside(child)


def test_words_that_are_html_stay_words(ws, good, tmp_path, whole):
    """The page and the panel escape what a package brought."""
    rows = good["records/quantity.csv"].replace(
        b"scorch_mm,Scorch", b'scorch_html,"' + EVIL.replace('"', '""').encode() + b'"'
    )
    contents = {**good, "records/quantity.csv": rows}
    for table in ("reading", "trial"):
        contents[f"records/{table}.csv"] = good[f"records/{table}.csv"].replace(
            b"scorch_mm", b"scorch_html"
        )
    evil = EVIL.replace('"', '""').encode()
    contents["records/trial.csv"] = contents["records/trial.csv"].replace(
        b"malt,,", b'"' + evil + b'","' + evil + b'",', 1
    )
    contents["records/event.csv"] = good["records/event.csv"].replace(b"burnt", b"<b>burnt</b>")
    (tmp_path / "x.zip").write_bytes(whole(contents))
    got = ws.receive(tmp_path / "x.zip")
    assert EVIL in got.name
    assert quantities.get("scorch_html").label == EVIL
    # more doughs, so that there is something to answer, and the quantity answers it
    for number in range(3):
        bake = got.add_bake(f"2026-12-0{number + 1}")
        load = got.add_load(bake)
        for malt in (0, 0.8):
            dough = got.add_dough(bake)
            got.record(dough, "malt_percent", malt)
            for value in (1, 2):
                got.record(got.add_piece(dough, load), "scorch_html", value + malt)
    got.change(outcome="scorch_html", matters=1)
    page = got.writeup(tmp_path / "page.html").read_text(encoding="utf-8")
    assert "<img src=x" not in page
    assert "&lt;img src=x" in page
    assert "<b>burnt" not in page
    assert "<img src=x" not in got.compare()._repr_html_()

    panel = ComparePanel(ws)
    assert panel.trial.value == EVIL
    assert panel.answer is not None
    shown = [w.value for w in inside(panel) if isinstance(w, HTML)]
    assert any("&lt;img src=x" in value for value in shown)
    assert not any("<img src=x" in value for value in shown)


@pytest.mark.parametrize(
    ("was", "now"),
    [
        (b'""order"": 1', b'""order"": ""x""'),
        (b'""cups""', b'""cubs""'),
        (b'""code"":', b'""cold"":'),
        (b'""of"": [', b'""of"": 3, ""so"": ['),
        (b'""open"": null', b'""open"": {}'),
        (b'""duplicate"": null', b'""duplicate"": ""C""'),
        (b'""sample"": ""A""', b'""sample"": ""C""'),
        (b'""of"": [""A"", ""B""]', b'""of"": [""A"", [""B""]]'),
    ],
)
def test_a_plate_of_a_tasting_that_is_none(send, good, was, now):
    table = good["records/tasting.csv"]
    assert was in table
    said = send({"records/tasting.csv": table.replace(was, now)})
    assert "tasting.csv row" in said
    assert "is not the plate of a tasting" in said


@pytest.mark.parametrize(
    ("method", "answer", "said"),
    [
        (b"telling", b"", "method is 'telling' (tasting.csv row 2): must be one of triangle"),
        (b"triangle", b"3", "must say a mark for each code"),
        (b"triangle", b"[1]", "must say a mark for each code"),
        (b"triangle", b"{}", "must say a mark for each code"),
        (b"triangle", b'"{""0"": 1}"', "is not on this plate"),
        (b"triangle", b'"{""CODE"": 2}"', "must be 1 for the code that was chosen"),
        (b"ranking", b'"{""CODE"": 1}"', "has no rank for"),
        (b"scores", b'"{""CODE"": ""many""}"', "is not a number"),
    ],
)
def test_an_answer_of_a_tasting_that_is_none(send, good, method, answer, said):
    table = good["records/tasting.csv"]
    code = re.search(rb'""code"": ""(\w+)""', table)[1]
    empty = re.search(rb'\}",,(?=2)', table)[0]
    table = table.replace(empty, b'}",' + answer.replace(b"CODE", code) + b",")
    assert said in send({"records/tasting.csv": table.replace(b",triangle,", b"," + method + b",")})


def test_when_a_stage_was_written_is_a_moment(send, good):
    stage = changed(good, "event", b",burnt,,", b",stage: turned,yesterday,")
    said = send(stage)
    assert "text is 'yesterday' (event.csv row 2): is not a point in time" in said

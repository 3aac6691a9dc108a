import math
from datetime import date
from zoneinfo import ZoneInfo

import pytest

from kit.errors import InputError, NotFoundError
from kit.records.structure import letters


def refused(kind, call, *args, **kwargs):
    with pytest.raises(kind) as caught:
        call(*args, **kwargs)
    return str(caught.value)


def test_codes_by_themselves(trial, made):
    assert [str(x) for x in (made.bake, made.dough, made.load, *made.pieces)] == [
        "bake 1", "dough 1A", "load 1 of bake 1", "piece 1A1", "piece 1A2", "piece 1A3",
    ]  # fmt: skip
    assert repr(made.pieces[0]) == "<piece 1A1>"
    assert trial.add_dough(made.bake).code == "1B"
    assert trial.add_bake("2026-12-03").code == "2"
    assert [letters(n) for n in (1, 26, 27, 52, 53, 702, 703)] == [
        "A", "Z", "AA", "AZ", "BA", "ZZ", "AAA",
    ]  # fmt: skip


def test_a_free_code_is_found_when_the_next_one_is_taken(trial, made):
    trial.add_piece(made.dough, code="1A5")
    trial.remove(made.pieces[0])
    assert trial.add_piece(made.dough).code == "1A4"
    assert trial.add_piece(made.dough).code == "1A6"


def test_handles_know_what_they_belong_to(trial, made):
    piece = trial.piece("1A2")
    assert piece == made.pieces[1]
    assert (piece.load, piece.place, piece.dough.bake.flour_lot) == (made.load, 2, "F2")
    assert trial.piece("1A3").load is None
    assert trial.bakes() == [made.bake]
    assert trial.doughs(made.bake) == [made.dough]
    assert trial.loads() == [made.load] == [trial.load(1, bake="1")]
    assert trial.pieces(made.dough) == made.pieces
    assert made.bake.day == date(2026, 11, 26)


def test_bakes_come_by_day(trial, made):
    trial.add_bake("2026-11-20")
    assert [bake.code for bake in trial.bakes()] == ["2", "1"]


def test_a_bake_without_a_day_is_today(trial):
    assert isinstance(trial.add_bake().day, date)


def test_what_is_not_there_lists_what_is(trial, made):
    assert refused(NotFoundError, trial.piece, "1A9") == (
        "no piece '1A9'. There are: '1A1', '1A2', '1A3'."
    )
    assert refused(NotFoundError, trial.bake, 7) == "no bake '7'. There are: '1'."
    assert refused(NotFoundError, trial.load, 2, bake="1") == "no load '2'. There are: '1'."


def test_a_load_whose_place_is_taken_is_refused_as_the_load(trial, made):
    piece = trial.add_piece(made.dough, trial.add_load(made.bake), 2)
    assert refused(InputError, trial.change, piece, load=made.load) == (
        "load is 'load 1 of bake 1': has piece 1A2 on the same place, 2, already. "
        "Choose another place first."
    )
    assert trial.piece(piece.code).load == piece.load


def test_a_code_two_share_asks_which(trial, made):
    other = trial.add_bake("2026-12-03")
    for bake in (made.bake, other):
        dough = trial.add_dough(bake, code="plain")
        trial.add_piece(dough, code="x")
        trial.add_piece(trial.add_dough(bake, code="malted"), code="x")
    assert refused(InputError, trial.dough, "plain") == (
        "dough is 'plain': could be dough plain of bake 1 or dough plain of bake 2. "
        "Say which bake: bake=…."
    )
    assert trial.dough("plain", bake="2").bake == other
    assert refused(InputError, trial.piece, "x", bake="2") == (
        "piece is 'x': could be piece x of dough plain of bake 2 or piece x of dough malted of "
        "bake 2. Say which dough: dough=…."
    )
    assert trial.piece("x", dough="malted", bake="2").dough.code == "malted"


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (
            lambda t, m: t.add_piece(m.dough, code="1A1"),
            "code is '1A1' (dough 1A): is taken by another piece. Choose another code.",
        ),
        (
            lambda t, m: t.add_dough(m.bake, code="1A"),
            "code is '1A' (bake 1): is taken by another dough. Choose another code.",
        ),
        (
            lambda t, m: t.add_bake(code="1"),
            "code is '1': is taken by another bake. Choose another code.",
        ),
        (lambda t, m: t.add_bake(code="  "), "code is '  ': must not be empty."),
        (
            lambda t, m: t.add_bake("26/11/2026"),
            "day is '26/11/2026': is not a day written year-month-day. Write 2026-11-26.",
        ),
        (
            lambda t, m: t.add_piece(m.dough, m.load, 1),
            "place is 1 (load 1 of bake 1): is taken by piece 1A1. Choose another place.",
        ),
        (
            lambda t, m: t.change(m.pieces[2], load=m.load, place=2),
            "place is 2 (load 1 of bake 1): is taken by piece 1A2. Choose another place.",
        ),
        (
            lambda t, m: t.add_piece(m.dough, place=1),
            "place is 1: needs a load. Say on which load the piece lies as well.",
        ),
        (
            lambda t, m: t.add_piece(m.dough, m.load, "1.5"),
            "place is '1.5': must be a whole number from 1. Write 1, 2, 3 …",
        ),
        (
            lambda t, m: t.add_piece(m.dough, t.add_load(t.add_bake())),
            "load is 'load 1 of bake 2': is not of bake 1, where dough 1A belongs.",
        ),
        (
            lambda t, m: t.change(m.pieces[1], code="1A1"),
            "code is '1A1' (dough 1A): is taken by another piece. Choose another code.",
        ),
        (
            lambda t, m: t.add_bake(note="a\0b"),
            "note is 'a\\x00b': holds characters that cannot be stored. Type it anew.",
        ),
        (
            lambda t, m: t.add_dough(m.bake, code="x" * 41),
            "code is 'xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx': must be at most 40 characters "
            "long.",
        ),
    ],
)
def test_what_cannot_be_is_refused(ws, trial, made, call, message):
    before = trial.frame(), trial.pieces()
    assert refused(InputError, call, trial, made) == message
    assert trial.frame().equals(before[0])
    assert trial.pieces() == before[1]


def test_only_what_it_has_can_be_changed(trial, made):
    assert refused(NotFoundError, trial.change, made.pieces[0], colour="brown") == (
        "no piece field 'colour'. There are: 'code', 'load', 'place', 'blind'."
    )
    assert refused(InputError, trial.change, made.load, place=1) == (
        "load is 'load 1 of bake 1': has nothing to change. Change its pieces' load."
    )


def test_changing(trial, made):
    trial.change(made.bake, code="Thursday", flour_lot="F3", note="warm")
    trial.change(made.dough, code="plain")
    trial.change(made.pieces[2], load=made.load, place=6, blind="417")
    trial.change(made.pieces[0], load=None)
    bake = trial.bake("Thursday")
    assert (bake.flour_lot, bake.note, bake.day) == ("F3", "warm", date(2026, 11, 26))
    third = trial.piece("1A3")
    assert (third.load, third.place, third.blind) == (trial.loads()[0], 6, "417")
    assert (trial.piece("1A1").load, trial.piece("1A1").place) == (None, None)
    # the handle still says load 1, the store knows better
    assert refused(InputError, trial.change, made.pieces[0], place=3) == (
        "place is 3: needs a load. Say on which load the piece lies as well."
    )


def test_what_was_removed_takes_nothing_more(ws, trial, made):
    trial.remove(made.dough)
    assert refused(InputError, trial.record, made.pieces[0], "rise_height_mm", 38) == (
        "piece is 'piece 1A1': was removed. Undo that, or add it again."
    )
    assert refused(InputError, trial.add_piece, made.dough) == (
        "dough is 'dough 1A': was removed. Undo that, or add it again."
    )
    again = trial.add_dough(made.bake)
    assert again.code == "1A"  # its code is free again, and so are its places
    assert trial.add_piece(again, made.load, 1).place == 1
    for _ in range(3):
        ws.undo()
    trial.record(made.pieces[0], "rise_height_mm", 38)


def test_a_removed_loads_pieces_stay_off_it(trial, made):
    trial.remove(made.load)
    assert trial.loads() == []
    assert trial.frame()[["load", "place"]].isna().all(axis=None)
    again = trial.add_load(made.bake)
    trial.change(made.pieces[0], load=again, place=1)
    assert trial.frame()["load"].tolist()[0] == 1


def test_another_trials_things_are_refused(ws, trial, made):
    other = ws.new_trial("retard")
    assert refused(InputError, other.record, made.pieces[0], "rise_height_mm", 38) == (
        "piece is 'piece 1A1': belongs to another trial."
    )
    assert refused(InputError, other.remove, made.bake) == (
        "bake is 'bake 1': belongs to another trial."
    )


def test_the_database_itself_lets_no_two_share_a_place(ws, trial, made):
    """What another program does behind our back ends in words too."""
    from kit.errors import StoreError
    from kit.records import tables as t

    told = (
        f"{ws.store.name} did not take this: the same thing was stored a moment ago by someone "
        "else. Look at what is there, then do this again; nothing was stored."
    )
    row = {"id": "x", "dough_id": made.dough.id, "position": 9, "code": "1A1"}
    with pytest.raises(StoreError) as caught, ws.store.writing() as connection:
        connection.execute(t.piece.insert(), row)
    assert str(caught.value) == told
    row |= {"code": "1A9", "load_id": made.load.id, "place": 1}
    with pytest.raises(StoreError) as caught, ws.store.writing() as connection:
        connection.execute(t.piece.insert(), row)
    assert str(caught.value) == told


def test_a_code_where_the_thing_itself_is_needed_is_told_how_to_get_it(trial, made):
    for call, what in (
        (lambda: trial.add_dough("1"), "bake is '1': is no bake. Give what trial.bake(…) returns."),
        (
            lambda: trial.add_dough(made.pieces[0]),
            "bake is <piece 1A1>: is no bake. Give what trial.bake(…) returns.",
        ),
        (
            lambda: trial.add_piece(made.dough, load=1),
            "load is 1: is no load. Give what trial.load(…) returns.",
        ),
        (lambda: trial.doughs("1"), "bake is '1': is no bake. Give what trial.bake(…) returns."),
        (
            lambda: trial.pieces("1A"),
            "dough is '1A': is no dough. Give what trial.dough(…) returns.",
        ),
        (lambda: trial.running("1"), "bake is '1': is no bake. Give what trial.bake(…) returns."),
    ):
        assert refused(InputError, call) == what
    for call in (
        lambda: trial.event("burnt", on="1A1"),
        lambda: trial.stage("1A", "mixed"),
        lambda: trial.record(None, "rise_height_mm", 30),
        lambda: trial.recorded("1A1", "rise_height_mm"),
        lambda: trial.remove("1A1"),
        lambda: trial.change("1A", note="soft"),
    ):
        assert refused(InputError, call).endswith(
            "is no bake, dough, load or piece. Give what trial.piece(…) or the like returns."
        )


def test_a_bake_without_a_day_has_none(trial):
    """Missing stays missing: a frame's empty cell is not today."""
    assert trial.add_bake(math.nan).day is None
    assert trial.add_bake("").day is None
    assert trial.add_bake().day is not None


def test_a_trial_takes_its_numbers_as_typed(ws):
    trial = ws.new_trial(
        "zoned", zone=ZoneInfo("Asia/Tokyo"), outcome="rise_height_mm", matters="1/16 in",
        factors={"malt_percent": (dose for dose in ("0", "0,8 %"))},
    )  # fmt: skip
    assert (trial.zone, trial.matters) == ("Asia/Tokyo", 1.5875)
    assert trial.factors == {"malt_percent": [0, 0.8]}
    trial.change(matters="1/8 in")
    assert trial.matters == 3.175
    assert refused(InputError, ws.new_trial, "bad", factors=["malt_percent"]) == (
        "factors is ['malt_percent']: must say what is set on purpose, and to what. "
        'Write {"malt_percent": [0, 0.4, 0.8]}.'
    )

"""Commands as typed: what is printed, exit codes, one-line errors."""

import errno
import os
import re
import shutil
import subprocess
import sys
import zipfile
from datetime import UTC, datetime
from pathlib import Path

import pytest
from typer.testing import CliRunner

import kit
from kit.cli import app, main, tables
from kit.cli.shell import speak_plainly
from kit.errors import StoreError
from kit.workspace import Trial

PUBLISHED = Path(__file__).parents[1] / "datasets" / "published"
DEMO = Path(__file__).parents[1] / "datasets" / "demo" / "pieces.csv"
CAKE = [
    "compare", str(PUBLISHED / "cake.csv"), "--outcome", "angle_deg", "--by", "recipe",
    "--dough", "mix", "--bake", "replicate", "--matters", "3",
]  # fmt: skip


@pytest.fixture
def run(tmp_path, monkeypatch):
    """Run a command in an empty folder; one line a sentence."""
    monkeypatch.chdir(tmp_path)

    def call(*words):
        result = CliRunner().invoke(app, [str(w) for w in words], prog_name="kit")
        assert result.exception is None or isinstance(result.exception, SystemExit), (
            result.exception
        )
        return result

    return call


@pytest.fixture(scope="module")
def started(tmp_path_factory):
    """A folder as ``kit start`` leaves it."""
    folder = tmp_path_factory.mktemp("started") / "bakes"
    assert CliRunner().invoke(app, ["start", str(folder), "--no-lab"]).exit_code == 0
    return folder


@pytest.fixture
def demo(started, tmp_path):
    """A copy of it, as `bakes` in the folder the command runs in."""
    return shutil.copytree(started, tmp_path / "bakes")


def test_cake_from_the_command_line(run):
    """Cochran & Cox (1957): F = 1.578 on 2 and 28 df."""
    result = run(*CAKE)
    assert result.exit_code == 0
    assert result.output.startswith("Cannot tell yet.\nWith recipe C, angle deg comes out 1.5 less")
    assert "F(2, 28.0) = 1.58, p = 0.22" in result.output


def test_cookie_dough_from_the_command_line(run):
    """Lawson: F(1, 1) = 374, p = 0.033; with the other two factors held alike as well."""
    words = [
        "compare", PUBLISHED / "cookie_dough.csv", "--outcome", "diameter", "--by",
        "shortening_percent", "--dough", "dough", "--bake", "batch",
    ]  # fmt: skip
    for adjust in ([], ["--adjust", "tray_temp", "--adjust", "bake_temp"]):
        result = run(*words, *adjust)
        assert result.exit_code == 0
        assert "F(1, 1.0) = 374.05, p = 0.033" in result.output
        assert "That would be wrong" in result.output


def test_start_answers_the_demo_and_can_be_repeated(run, tmp_path):
    first = run("start", "bakes", "--no-lab")
    assert first.exit_code == 0
    assert "Invented data: made up to show how this works.\n" in first.output
    assert "With diastatic malt at 0.8 %, height comes out" in first.output
    assert "compare.ipynb copied" in first.output
    page = (tmp_path / "bakes" / "harbour-malt.html").read_text()
    assert "Invented data" in page
    again = run("start", "bakes", "--no-lab")
    assert again.exit_code == 0
    assert "page.html" not in again.output
    assert again.output == re.sub(r"\w+\.ipynb copied\n", "", first.output)


def test_start_keeps_what_the_baker_made_of_it(run, demo, tmp_path):
    page = tmp_path / "bakes" / "harbour-malt.html"
    page.write_text("of another question")
    run("import", DEMO, "bakes", "--trial", "own")
    assert run("start", "bakes", "--no-lab").exit_code == 0
    assert page.read_text() == "of another question"
    with kit.Workspace(tmp_path / "bakes") as ws:
        ws.remove_trial("harbour-malt")
    without = run("start", "bakes", "--no-lab")
    assert without.output.endswith("Trials in bakes: own.\n")


def test_invented_data_are_called_so_wherever_shown(run, demo):
    for command in ("compare", "writeup"):
        assert run(command, "bakes").output.startswith("Invented data: made up to show how this")


def test_what_matters_in_any_unit_and_events_left_out(run, demo):
    result = run("compare", "bakes", "--matters", "1/4 in", "--leave-out", "warm room")
    assert "the 6.35 mm that matters" in result.output
    assert "18 doughs" in result.output
    wrong = run("compare", "bakes", "--matters", "2 oz")
    assert wrong.exit_code == 2
    assert "oz measures mass, expected length" in wrong.stderr


def test_a_trial_is_answered_as_in_the_panel(run, demo, tmp_path):
    """What else was changed is held alike unless --adjust says what to hold."""
    with kit.Workspace(tmp_path / "bakes") as ws:
        held = str(ws.trial("harbour-malt").compare())
    assert "were held alike" in held
    for paragraph in held.split("\n")[:3]:
        assert paragraph in run("compare", "bakes").output
    assert held.split("\n")[1] in run("writeup", "bakes").output
    other = run("compare", "bakes", "--adjust", "side_minutes").output
    assert "Time a side was held alike." in other


def test_looking_makes_no_workspace(run, tmp_path):
    (tmp_path / "papers").mkdir()
    result = run("compare", "papers")
    assert result.exit_code == 2
    assert result.stderr == (
        "kit: papers holds no bakes yet. Give a CSV file, or make a workspace of it: "
        "python -m kit start papers\n"
    )
    assert list((tmp_path / "papers").iterdir()) == []


def test_semicolons_and_decimal_commas(run, tmp_path):
    table = tmp_path / "eu.csv"
    table.write_text("dough;h;k\na;1,5;x\nb;2,5;x\nc;3,5;y\nd;4,0;y\n")
    result = run("compare", table, "--outcome", "h", "--by", "k", "--dough", "dough")
    assert "h comes out 1.8 more than with k x" in result.output


def test_differences_are_as_precise_as_their_intervals(run):
    lines = [" ".join(line.split()) for line in run(*CAKE).output.splitlines()]
    assert "B against A −1.5 −3.9 to 0.9 0.3 cannot tell yet" in lines
    assert "C against B 0.0 −2.5 to 2.4 1 no difference that matters" in lines


def typed(*words):
    """Exit code of the program as started from a shell."""
    with pytest.raises(SystemExit) as ended:
        main([str(word) for word in words])
    return ended.value.code


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["compare"], "kit: Missing argument 'where'. See: python -m kit compare --help\n"),
        (["bake"], "kit: No such command 'bake'. See: python -m kit --help\n"),
    ],
)
def test_typing_mistakes_are_one_line(capsys, words, said):
    assert typed(*words) == 2
    assert capsys.readouterr().err == said


def test_no_words_are_answered_with_help(capsys):
    assert not typed()
    assert "Commands" in capsys.readouterr().out


def test_ctrl_c_is_quiet_and_the_unexpected_one_line(capsys, monkeypatch):
    monkeypatch.delenv("KIT_TRACEBACK", raising=False)
    for raised, code, said in (
        (KeyboardInterrupt(), 130, ""),
        (RuntimeError("a\nb"), 1, "kit: this should not happen. RuntimeError: a b "
         "Where: set KIT_TRACEBACK=1.\n"),
        (OSError(errno.ENOSPC, "No space left on device"), 1,
         "kit: the disk is full. Free some space, then do this again.\n"),
    ):  # fmt: skip

        def fails(*_, _raised=raised):
            raise _raised

        monkeypatch.setattr(tables, "read", fails)
        assert typed("compare", "x.csv") == code
        assert capsys.readouterr().err == said


def test_import_compare_and_writeup_of_a_workspace(run, tmp_path):
    result = run(
        "import", DEMO, "bakes", "--trial", "thursday", "--factor", "malt_percent", "--factor",
        "retard_hours", "--outcome", "rise_height_mm", "--matters", "2",
    )  # fmt: skip
    assert result.exit_code == 0, result.output
    assert result.output.endswith("thursday: 20 doughs and 120 pieces in bakes\n")
    assert "Browning L* 19.0 is unusual" in result.output  # the burnt piece
    pairs = run("compare", "bakes", "--trial", "thursday")
    assert "height comes out" in pairs.output
    one = run("compare", "bakes", "--by", "retard_hours", "--control", "16")
    assert "Cold retard was decided for all doughs mixed in one go" in one.output
    page = run("writeup", "bakes", "--trial", "thursday", "--out", "page.html")
    assert page.output.endswith("Written: page.html\n")
    assert (tmp_path / "page.html").stat().st_size > 10_000


def test_writeup_into_a_zip_is_the_page_with_all_its_data(run, demo, tmp_path, monkeypatch):
    made, report = [], Trial.report
    monkeypatch.setattr(Trial, "report", lambda *asked: made.append(1) or report(*asked))
    words = ("--by", "retard_hours", "--leave-out", "burnt", "--out")
    for command, out in (("writeup", "x.zip"), ("compare", "y.ZIP")):
        told = run(command, "bakes", *words, out)
        assert told.exit_code == 0, told.output
        assert told.output.endswith(f"Written: {out}\n")
        with zipfile.ZipFile(tmp_path / out) as file:
            assert "pieces.csv" in file.namelist()
            page = file.read("page.html").decode()
        assert "The answer: cold retard" in page
    assert len(made) == 2  # every other factor is answered again for it
    assert ".zip with all" in run("writeup", "--help").output


def test_a_recipe_is_written_at_the_dose_that_is_named(run, demo, tmp_path):
    (tmp_path / "steps.txt").write_text("Mix.\n\n  Bake.\n")
    asked = "recipe", "bakes", "--piece", "2 3/4 oz", "--setting", "malt=0.6"
    assert run(*asked, "--steps", "steps.txt").stdout == (
        "Written: bakes/harbour-malt-recipe-0.6.html\n"
    )
    page = (tmp_path / "bakes" / "harbour-malt-recipe-0.6.html").read_text()
    assert "<ol>\n<li>Mix.</li>\n<li>Bake.</li>\n</ol>" in page
    assert "6 raw pieces of 78 g" in page
    # another dose is another page, however it is typed
    other = run(*asked[:-1], "malt_percent=0,4 %")
    assert other.stdout == "Written: bakes/harbour-malt-recipe-0.4.html\n"
    assert len(list((tmp_path / "bakes").glob("*recipe*"))) == 2
    assert run(*asked, "--steps", "none.txt").stderr == (
        "kit: none.txt was not read: it is not there. Check its name.\n"
    )
    assert run(*asked, "--setting", "malt_percent=1.2").stderr == (
        "kit: --setting is 'malt_percent=1.2': is said twice. Leave one out.\n"
    )
    assert run(*asked[:-1], "malt").stderr == (
        "kit: --setting is 'malt': must be a quantity and its settings. For example "
        "malt_percent=0.6.\n"
    )


def test_quantities_may_be_called_as_the_screen_does(run, demo):
    words = ("compare", "bakes", "--trial", "harbour-malt", "--matters", "1/8 in")
    spoken = run(*words, "--outcome", "height", "--by", "Cold retard")
    written = run(*words, "--outcome", "rise_height_mm", "--by", "retard_hours")
    assert spoken.exit_code == 0
    assert spoken.output == written.output
    # of the factors, which are few, a word is enough
    assert run(*words, "--by", "malt").output == run(*words, "--by", "malt_percent").output
    assert run(*words, "--by", "malt").exit_code == 0
    assert "nothing is recorded for rain" in run(*words, "--by", "rain").stderr


def test_what_happened_is_noted(run, tmp_path):
    with kit.Workspace(tmp_path / "bakes") as ws:
        trial = ws.new_trial("salt", outcome="rise_height_mm")
        bake = trial.add_bake("2026-06-18")
        trial.add_piece(trial.add_dough(bake), trial.add_load(bake))
    yesterday = ("--more", "too hot", "--at", "yesterday 9:40")
    told = run("note", "bakes", "burnt", "--piece", "1A1", *yesterday)
    assert told.output == "Noted in salt: event 'burnt' on piece 1A1\n"
    for words, said in (
        (["--dough", "1A"], "event 'dropped' on dough 1A"),
        (["--bake", "1", "--load", "1"], "event 'dropped' on load 1 of bake 1"),
        (["--bake", "1"], "event 'dropped' on bake 1"),
    ):
        assert run("note", "bakes", "dropped", *words).output == f"Noted in salt: {said}\n"
    for words, said in (
        ([], "--bake is not given: must say what it happened to. Give --bake, --dough, --load or "
             "--piece."),
        (["--load", "1"], "--load is 1: needs --bake. Loads are counted in each bake."),
        (["--piece", "9Z"], "no piece '9Z'. There are: '1A1'."),
        (["--bake", "1", "--at", "noonish"], "--at is 'noonish': is not a time. Write 9:40, "
                                             "yesterday 21:15, or 2026-11-26 09:40."),
    ):  # fmt: skip
        answer = run("note", "bakes", "dropped", *words)
        assert (answer.exit_code, answer.stderr) == (2, f"kit: {said}\n")
    with kit.Workspace(tmp_path / "bakes") as ws:
        noted = ws.trial("salt").events()
    assert noted["kind"].tolist() == ["burnt", "dropped", "dropped", "dropped"]
    assert noted["text"][0] == "too hot"
    assert f"{noted['at'][0]:%H:%M}" == "09:40"


def test_what_was_noted_by_mistake_is_taken_out(run, tmp_path):
    with kit.Workspace(tmp_path / "bakes") as ws:
        trial = ws.new_trial("salt", outcome="rise_height_mm")
        bake = trial.add_bake("2026-06-18")
        trial.event("dropped", "first", bake, "2026-06-18 09:00")
        trial.event("dropped", "second", bake, "2026-06-18 10:00")
        trial.event("dropped", "of the dough", trial.add_dough(bake))
    out = ("note", "bakes", "dropped", "--bake", "1", "--take-out")
    told = run(*out)
    assert told.output == "Taken out of salt: event 'dropped' on bake 1. Undo brings it back.\n"
    with kit.Workspace(tmp_path / "bakes") as ws:
        assert ws.trial("salt").events()["text"].tolist() == ["first", "of the dough"]
    assert run(*out).exit_code == 0
    assert run(*out).stderr == "kit: no note of bake 1 'dropped'. There are none yet.\n"
    run("undo", "bakes")
    with kit.Workspace(tmp_path / "bakes") as ws:
        assert "first" in ws.trial("salt").events()["text"].tolist()


@pytest.mark.parametrize(
    "words",
    [["plan", "--factor", "malt_percent=0; 1"], ["undo"], ["note", "burnt"], ["package"]],
)
def test_a_folder_without_bakes_is_told_of_without_tables(run, tmp_path, words):
    (tmp_path / "papers").mkdir()
    answer = run(words[0], "papers", *words[1:])
    assert (answer.exit_code, answer.stderr) == (
        2,
        "kit: papers holds no bakes yet. Make a workspace of it: python -m kit start papers\n",
    )


def test_a_workspace_knows_its_doughs(run, demo):
    result = run("compare", "bakes", "--dough", "dough")
    assert result.stderr == (
        "kit: --dough is 'dough': goes with a table. A workspace knows its own doughs.\n"
    )


def test_writeup_from_a_table(run, tmp_path):
    table = tmp_path / "cake.csv"
    table.write_bytes((PUBLISHED / "cake.csv").read_bytes())
    words = ["writeup", table, *CAKE[2:], "--source", "Cochran & Cox (1957)"]
    assert run(*words).exit_code == 0
    assert "Cochran &amp; Cox (1957)" in (tmp_path / "cake.html").read_text()


@pytest.mark.parametrize(
    ("words", "code", "message"),
    [
        (["compare", "none.csv", "--outcome", "a", "--by", "b"], 2,
         "kit: none.csv is not there. Give a CSV file or a workspace folder."),
        (["compare", str(PUBLISHED / "cake.csv"), "--by", "recipe"], 2,
         "kit: --outcome is not given: is needed with a table. Columns: replicate, recipe, mix, "
         "temperature_f, angle_deg."),
        ([*CAKE[:3], "angle", *CAKE[4:]], 2,
         "kit: no column for outcome 'angle'. There are: 'replicate', 'recipe', 'mix', "
         "'temperature_f', 'angle_deg'."),
        ([*CAKE, "--trial", "x"], 2,
         "kit: --trial is 'x': goes with a workspace. A table is one trial."),
        ([*CAKE, "--control", "Z"], 2, "kit: --control is 'Z': must be one of A, B, C."),
        (["import", "none.csv", "bakes", "--trial", "x"], 2,
         "kit: none.csv is not there. Give a CSV or XLSX file."),
        (["import", CAKE[1], "bakes", "--trial", "x", "--sheet", "Friday"], 2,
         "kit: sheet is 'Friday': names a sheet of a workbook, and cake.csv is one table without "
         "sheets. Leave it out."),
        (["writeup", *CAKE[1:], "--out", "page.doc"], 2,
         "kit: path is 'page.doc': must end in .html, .md or .pdf. For example malt.html."),
        (["writeup", *CAKE[1:], "--out", "page.zip"], 2,  # a table has nothing else to hand on
         "kit: path is 'page.zip': must end in .html, .md or .pdf. For example malt.html."),
        (["writeup", *CAKE[1:], "--out", "no/page.html"], 1,
         "kit: no/page.html was not written: the folder no does not exist. Make it, or choose "
         "another folder."),
    ],
)  # fmt: skip
def test_mistakes_are_one_line(run, words, code, message):
    result = run(*words)
    assert result.exit_code == code
    assert result.stderr == message + "\n"


def test_a_failed_import_leaves_no_trial(run, tmp_path):
    table = tmp_path / "bad.csv"
    table.write_text("bake,dough,rise_height_mm\n1,1A,tall\n")
    result = run("import", table, "bakes", "--trial", "bad")
    assert result.exit_code == 2
    assert "row 2, rise_height_mm" in result.output
    assert "1 row cannot be used, see above" in result.stderr
    assert "There are none yet." in run("compare", "bakes", "--trial", "bad").stderr
    assert run("compare", "bakes").stderr == (
        "kit: --trial is not given: there are no trials yet.\n"
    )
    with kit.Workspace("bakes") as ws:
        ws.new_trial("salt")
    assert run("compare", "bakes").stderr == (
        "kit: outcome is not given: is not set for this trial. Say which quantity answers it.\n"
    )


def test_an_import_that_breaks_off_leaves_a_trial_that_was_there_as_it_was(
    run, tmp_path, monkeypatch
):
    table = tmp_path / "good.csv"
    table.write_text(
        "bake,dough,salt_percent,rise_height_mm\n1,1A,1.2,30\n1,1B,1.8,31\n1,1C,1.2,32\n"
    )
    with kit.Workspace("bakes") as ws:
        ws.new_trial("salt", question="as it was")

    def breaks_off(self, seen):
        raise StoreError("the disk is full")

    monkeypatch.setattr(kit.Trial, "bring_in", breaks_off)
    asked = ("--factor", "salt_percent", "--question", "another")
    assert run("import", table, "bakes", "--trial", "salt", *asked).exit_code == 1
    with kit.Workspace("bakes") as ws:
        assert (ws.trial("salt").question, ws.trial("salt").factors) == ("as it was", {})


def test_an_import_is_one_thing_to_undo_and_one_that_failed_or_only_looked_is_none(run, tmp_path):
    good, bad = tmp_path / "good.csv", tmp_path / "bad.csv"
    good.write_text("bake,dough,salt_percent,rise_height_mm\n1,1A,1.2,30\n1,1B,1.8,31\n")
    bad.write_text("bake,dough,rise_height_mm\n1,1A,tall\n")
    with kit.Workspace("bakes") as ws:
        ws.new_trial("malt")
    asked = ("--factor", "salt_percent", "--question", "Less salt?")
    assert run("import", good, "bakes", "--trial", "salt", *asked).exit_code == 0
    assert run("import", good, "bakes", "--trial", "salt", *asked).exit_code == 0  # nothing new
    assert run("import", bad, "bakes", "--trial", "salt", "--question", "Other?").exit_code == 2
    assert run("import", bad, "bakes", "--trial", "new").exit_code == 2
    assert run("import", good, "bakes", "--trial", "new", "--look").exit_code == 0
    assert run("undo", "bakes").output == "Undone: salt: good.csv brought in.\n"
    with kit.Workspace("bakes") as ws:
        assert [t.name for t in ws.trials()] == ["malt"]
        assert ws.check().ok, str(ws.check())
    assert run("undo", "bakes").output == "Undone: malt: trial begun.\n"


def test_a_workspace_whose_file_is_gone_is_told_by_every_command(run):
    for _ in range(2):
        with kit.Workspace("bakes") as ws:
            ws.new_trial(f"trial {len(ws.trials())}")
    Path("bakes/bakes.sqlite").unlink()
    for command in ("check", "undo", "compare"):
        assert "was taken away, but copies of it are there" in run(command, "bakes").output
    (copy,) = Path("bakes/copies").iterdir()
    when = datetime.strptime(copy.stem[:-7], "bakes-%Y%m%d-%H%M%S").replace(tzinfo=UTC)
    assert run("restore", "bakes").output == (
        f"bakes is again as it was on {when.astimezone():%Y-%m-%d %H:%M} ({copy.name}); "
        "what was done since is not in it.\n"
    )
    with kit.Workspace("bakes") as ws:
        assert [trial.name for trial in ws.trials()] == ["trial 0"]


def test_what_a_copy_replaced_is_named_and_can_be_put_back(run):
    for _ in range(2):
        with kit.Workspace("bakes") as ws:
            ws.new_trial(f"trial {len(ws.trials())}")
    told = run("restore", "bakes").output
    (gone,) = Path("bakes/copies").glob("replaced-*.sqlite")
    words = f"python -m kit restore bakes --copy {gone.name}"
    assert told.endswith(f"What was there lies in {gone}. Back to it: {words}\n")
    with kit.Workspace("bakes") as ws:
        assert len(ws.trials()) == 1
    assert run(*words.split()[3:]).exit_code == 0
    with kit.Workspace("bakes") as ws:
        assert len(ws.trials()) == 2


@pytest.mark.parametrize("folder", ["", "sqlite:///x.db"])
def test_only_the_folder_of_a_workspace_is_put_back(run, folder):
    told = run("restore", folder)
    assert told.exit_code == 2
    assert "must be the folder of a workspace" in told.output


@pytest.mark.skipif(os.name != "posix", reason="file names are Unicode there")
@pytest.mark.parametrize("words", [["check"], ["restore"], ["plan", "--nonsense"]])
def test_an_error_about_a_name_that_is_no_utf_8_can_be_written(capsys, words):
    with pytest.raises(SystemExit):
        main([words[0], os.fsdecode(b"br\xf6t.x"), *words[1:]])
    told = capsys.readouterr().err
    assert told.startswith("kit: ")
    told.encode()


def test_a_table_saved_as_unicode_text_is_read(tmp_path):
    table = tmp_path / "cookies.txt"
    table.write_text("dough\tdiameter\nA\t61,5\n", encoding="utf-16")
    assert tables.read(table)["diameter"].tolist() == [61.5]


@pytest.mark.skipif(os.name != "posix", reason="file names are Unicode there")
def test_a_table_whose_name_is_no_utf_8_is_brought_in(run, tmp_path):
    table = tmp_path / os.fsdecode(b"br\xf6tchen.csv")
    table.write_text("Bake,Dough,Height\n1,A,38\n")
    result = run("import", table, "bakes", "--trial", "mine")
    assert result.output.startswith("br_tchen.csv: 1 of 1 rows are stored")
    with kit.Workspace("bakes") as ws:
        assert ws.history(1)["what"].tolist() == ["mine: br_tchen.csv brought in"]


def test_names_no_folder_has(run):
    for command in ("check", "undo", "sheet", "package", "compare"):
        said = run(command, "a" * 300)
        assert said.exit_code == 2
        assert "should not happen" not in said.stderr
        nameless = run(command, "")
        assert 'no folder was named. Write for example my-bakes, or "." for' in nameless.output


def test_a_table_is_looked_at_before_it_is_stored(run, tmp_path):
    table = tmp_path / "kitchen.csv"
    table.write_text(
        "Bake;Date;Dough;Height;Remark\n1;3/12/2026;A;1 1/4 in;x\n1;3/12/2026;B;30,5;y\n"
    )
    words = ["import", table, "bakes", "--trial", "mine"]
    asked = run(*words)
    assert asked.exit_code == 2
    assert "Are these dates day/month or month/day, such as '3/12/2026'?" in asked.output
    assert "Answer with --column 'Heading=meaning unit', --dates or --decimal." in asked.output
    assert ".with_" not in asked.output
    assert "there are no trials yet" in run("compare", "bakes").stderr
    seen = run(*words, "--dates", "day/month", "--column", "Remark=ignored", "--look")
    assert seen.exit_code == 0, seen.output
    assert "2 rows, one piece a row; 2 can be stored" in seen.output
    assert "there are no trials yet" in run("compare", "bakes").stderr
    done = run(*words, "--dates", "day/month", "--column", "Remark=ignored")
    assert done.exit_code == 0, done.output
    with kit.Workspace("bakes") as ws:
        assert ws.trial("mine").frame()["rise_height_mm"].tolist() == [31.75, 30.5]
    wrong = run(*words, "--column", "Height")
    assert "--column is 'Height': must be a heading and what it means." in wrong.stderr


def test_one_answer_about_a_dough_s_pieces_gives_its_unit_to_all(run, tmp_path):
    table = tmp_path / "cm.csv"
    table.write_text("Bake,Dough,Height 1,Height 2,Height 3\n1,A,2.8,2.9,3.1\n")
    words = ["import", table, "bakes", "--trial", "mine"]
    other = run(*words, "--column", "Height 1=ignored")
    assert other.exit_code == 2
    assert "Are 'Height 2' and 'Height 3' those of 2 pieces of a dough?" in other.output
    done = run(*words, "--column", "Height 1=rise_height_mm cm")
    assert done.exit_code == 0, done.output
    with kit.Workspace("bakes") as ws:
        assert ws.trial("mine").frame()["rise_height_mm"].tolist() == [28, 29, 31]


def unread(*words):
    """As with ``| head``: the pipe is closed before anything is written."""
    read, write = os.pipe()
    os.close(read)
    with open(write, "w") as out:
        asked = [sys.executable, "-m", "kit", *words]
        ended = subprocess.run(asked, stdout=out, stderr=subprocess.PIPE, text=True, check=False)
    return ended.returncode, ended.stderr


@pytest.mark.parametrize("words", [CAKE, ["compare", "--help"], ["--help"], []])
def test_a_reader_that_has_seen_enough_is_no_error(words):
    assert unread(*words) == (0, "")


@pytest.mark.parametrize(("encoding", "dash"), [("ascii", "-"), ("latin-1", "-"), ("cp1252", "–")])
def test_a_terminal_that_holds_few_signs_is_told_all_the_same(encoding, dash):
    """It ended at the first quotation mark or dash: "this should not happen"."""
    asked = [sys.executable, "-m", "kit", *CAKE]
    given = os.environ | {"PYTHONIOENCODING": encoding}
    ended = subprocess.run(asked, capture_output=True, env=given, check=False)
    assert (ended.returncode, ended.stderr) == (0, b"")
    assert f"Kenward{dash}Roger" in ended.stdout.decode(encoding)


def test_signs_an_encoding_lacks_are_written_with_what_it_has():
    """A minus must not get lost, and é is read as e."""
    speak_plainly()
    assert "−0,5 °C “café” 2 × 3".encode("ascii", "kit") == b'-0,5 deg C "cafe" 2 x 3'


def test_what_nobody_reads_is_done_or_refused_as_ever(tmp_path):
    table, into = tmp_path / "t.csv", tmp_path / "bakes"
    table.write_text("Bake,Dough,hieght\n1,A,30\n")
    asked = ("import", str(table), str(into), "--trial", "malt")
    code, told = unread(*asked)
    assert (code, told.startswith("kit: there are questions")) == (2, True)
    assert unread(*asked, "--column", "hieght=rise_height_mm") == (0, "")
    with kit.Workspace(into) as ws:
        assert ws.trial("malt").frame()["rise_height_mm"].tolist() == [30]


def test_broken_table(run, tmp_path):
    (tmp_path / "empty.csv").write_text("")
    result = run("compare", "empty.csv", "--outcome", "a", "--by", "b")
    assert result.stderr == (
        "kit: empty.csv cannot be read as a CSV table: No columns to parse from file\n"
    )


def test_help_has_an_example(run):
    for command in ("start", "compare", "writeup", "import"):
        result = run(command, "--help")
        assert result.exit_code == 0
        assert f"python -m kit {command}" in result.output


def test_a_plan_reads_what_is_typed_in_a_kitchen(run, demo, tmp_path):
    """Decimal commas are read; a day is refused before anything is worked out."""
    plan = ["plan", "bakes", "--trial", "salt", "--factor", "salt_percent=1,4 and 2,2"]
    guessed = run(*plan, "--sd-dough", "0,9", "--sd-piece", "1,2 mm", "--matters", "1,5")
    assert guessed.output == run(
        *plan, "--sd-dough", "0.9", "--sd-piece", "1.2", "--matters", "1.5"
    ).output  # fmt: skip
    assert "you will notice a difference of" in guessed.output
    wrong = run(*plan, "--sd-dough", "little", "--sd-piece", "1")
    assert wrong.stderr.startswith("kit: --sd-dough is 'little': is not a number. Write digits")
    day = run(*plan, "--first", "tomorrow")
    assert (day.exit_code, day.output) == (2, day.stderr)
    assert day.stderr.startswith("kit: --first is 'tomorrow': is not a day")


def test_a_plan_says_in_our_words_what_it_cannot_use(run, demo):
    plan = ["plan", "bakes", "--trial", "salt", "--factor", "salt_percent=1.4 and 2.2"]
    for words, told in (
        (["--bakes", "two"],
         "--bakes is 'two': must be a whole number from 1 to 10000. Write 1, 2, 3 …"),
        (["--bakes", "200000"],
         "--bakes is '200000': must be a whole number from 1 to 10000. Write 1, 2, 3 …"),
        (["--doughs", ""], "--doughs is '': must not be empty. Write 1, 2, 3 …"),
        (["--every-days", "7.5", "--keep"],
         "--every-days is '7.5': must be a whole number from 1 to 10000. Write 1, 2, 3 …"),
        # what is planned alike counts when the plan is kept, and where it is not what is varied
        (["--retard", "2 d"], "--retard is '2 d': counts only when the plan is kept. Add --keep."),
        (["--sd-dough", "1"],
         "--sd-piece is not given: is needed with --sd-dough. A guess takes both."),
        (["--retard", "two", "--keep"],
         "--retard is 'two': is not a number. Write digits, with a comma or a point before "
         "decimals, for example 2.5 or 3 1/2."),
        (["--retard", "-5", "--keep"],
         "--retard is '-5': must lie between 0 and 240 h. Enter cold retard in h."),
        (["--factor", "retard_hours=24 or 48", "--retard", "2 d", "--keep"],
         "--retard is '2 d': is what this plan varies. Leave it out."),
        (["--outcome", "salt"],
         "--outcome is 'salt_percent': is what this plan changes. Name a result."),
    ):  # fmt: skip
        refused = run(*plan, *words)
        assert (refused.exit_code, refused.stderr.strip()) == (2, f"kit: {told}")
        assert not refused.stdout  # before the plan is printed, not behind it
    misspelled = run(*plan, "--outcome", "rise_hight_mm").stderr
    assert misspelled.startswith(
        "kit: no quantity 'rise_hight_mm'. Did you mean 'rise_height_mm'? There are: "
    )
    for seed in ("0", "20261203"):  # a day is a good seed, and larger than any count
        assert run(*plan, "--seed", seed).exit_code == 0
    no_seed = run(*plan, "--seed", "one").stderr
    assert no_seed.startswith("kit: --seed is 'one': must be a whole number, 0 or more")
    assert run(*plan, "--retard", "2 d", "--keep").exit_code == 0
    with kit.Workspace("bakes") as ws:
        planned = ws.trial("salt").planned(ws.trial("salt").planned_bakes()[0])
    assert set(planned["retard_hours"]) == {48}
    assert set(planned["side_minutes"]) == {5}


def test_us_paper_and_units_on_a_sheet(run, demo, tmp_path, monkeypatch):
    """What KIT_UNITS=us promises: a sheet for the printer that stands there, °F beside °C."""
    run("plan", "bakes", "--trial", "salt", "--factor", "salt_percent=1.4 and 2.2", "--keep",
        "--first", "2027-01-01")  # fmt: skip
    sheet = ["sheet", "bakes", "--trial", "salt", "--table", "12:00"]
    run(*sheet, "--out", "a4.html")
    monkeypatch.setenv("KIT_UNITS", "us")
    run(*sheet, "--out", "us.html")
    metric, us = ((tmp_path / name).read_text() for name in ("a4.html", "us.html"))
    assert "size: A4 portrait" in metric
    assert "Room temperature (°C)<" in metric
    assert "size: Letter portrait" in us
    for label in ("Room temperature (°C or °F)", "Height (mm or in)", "Raw piece (g or oz)"):
        assert label in us
    assert "22 °C, 72 °F" in us
    # a bake whose doughs are mixed in the old year says so
    assert "Thursday 31 December 2026" in metric
    assert "Friday 1 January 2027" in metric


def test_a_formula_that_the_plan_leaves_open_is_told_and_not_weighed(run, demo, tmp_path):
    plan = ["plan", "bakes", "--factor", "salt_percent=1.4 and 2.2", "--keep"]
    told = run(*plan, "--trial", "open", "--formula", "harbour-malt")
    assert told.exit_code == 0
    assert (
        "Note: diastatic malt ? is not set by this plan. To know what to weigh, write its share of "
        "the flour in place of the question mark."
    ) in told.stdout
    assert run("sheet", "bakes", "--trial", "open").exit_code == 0
    told = run("sheet", "bakes", "--trial", "open", "--piece", "75,5 g")
    assert told.exit_code == 2
    assert "open (?), and nothing planned for dough 1A says how much" in told.stderr
    plan += ["--trial", "salt"]
    file = tmp_path / "plain.txt"
    file.write_text("bread flour 100\nwater 56\nsalt ?\ninstant dry yeast 0,4\n")
    assert run(*plan, "--formula", "plain.txt").exit_code == 0
    assert run("sheet", "bakes", "--trial", "salt", "--piece", "75,5 g").exit_code == 0
    for name in ("sheet.pdf", "sheet", ""):
        told = run("sheet", "bakes", "--trial", "salt", "--out", name).stderr
        assert told.endswith(": must end in .html. A browser prints it.\n")
        assert not (tmp_path / "sheet.pdf").exists()


def test_a_formula_as_an_editor_on_windows_saves_it(run, demo, tmp_path):
    plan = ["plan", "bakes", "--factor", "salt_percent=1.4 and 2.2", "--bakes", "2", "--keep"]
    text = "bread flour 100\nMüller's milk 56 (liquid)\nsalt ?\ninstant dry yeast 0,4\n"
    for encoding, named in (("cp1252", "not UTF-8"), ("utf-16", ""), ("utf-8-sig", "")):
        (tmp_path / "plain.txt").write_bytes(text.encode(encoding))
        told = run(*plan, "--trial", encoding, "--formula", "plain.txt")
        assert told.exit_code == 0, told.output
        assert named in told.output
        with kit.Workspace(tmp_path / "bakes") as ws:
            assert ws.trial(encoding).formula().ingredients[1].name == "Müller's milk"
    (tmp_path / "plain.txt").write_bytes(bytes(range(256)))
    told = run(*plan, "--trial", "x", "--formula", "plain.txt").stderr
    assert told == "kit: plain.txt is not plain text. Save it as plain text (UTF-8).\n"

"""Commands as typed: what is printed, exit codes, one-line errors."""

from pathlib import Path

import pytest
from typer.testing import CliRunner

from kit.cli import app

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


def test_cake_from_the_command_line(run):
    """Cochran & Cox (1957): F = 1.578 on 2 and 28 df."""
    result = run(*CAKE)
    assert result.exit_code == 0
    assert result.output.startswith("Cannot tell yet. With recipe C, angle deg comes out 1.5 less")
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
    assert "invented data" in first.output
    assert "With diastatic malt at 0.8 %, height comes out" in first.output
    assert "compare.ipynb copied" in first.output
    page = (tmp_path / "bakes" / "harbour-malt.html").read_text()
    assert "Invented data" in page
    again = run("start", "bakes", "--no-lab")
    assert again.exit_code == 0
    assert again.output == first.output.replace("compare.ipynb copied\n", "")


def test_import_compare_and_writeup_of_a_workspace(run, tmp_path):
    result = run(
        "import", DEMO, "bakes", "--trial", "thursday", "--factor", "malt_percent", "--factor",
        "retard_hours", "--outcome", "rise_height_mm", "--matters", "2",
    )  # fmt: skip
    assert result.exit_code == 0, result.output
    assert result.output.endswith("thursday: 20 doughs and 120 pieces in bakes\n")
    assert "look again: " in result.output  # the burnt piece's browning
    pairs = run("compare", "bakes", "--trial", "thursday")
    assert "height comes out" in pairs.output
    one = run("compare", "bakes", "--by", "retard_hours", "--control", "16")
    assert "Cold retard was decided for a whole dough" in one.output
    page = run("writeup", "bakes", "--trial", "thursday", "--out", "page.html")
    assert page.output.endswith("Written: page.html\n")
    assert (tmp_path / "page.html").stat().st_size > 10_000


def test_a_workspace_knows_its_doughs(run):
    run("start", "bakes", "--no-lab")
    result = run("compare", "bakes", "--dough", "dough")
    assert result.stderr == (
        "kit: --dough is 'dough': goes with a table. A workspace knows its own doughs.\n"
    )


def test_writeup_from_a_table(run, tmp_path):
    words = ["writeup", *CAKE[1:], "--source", "Cochran & Cox (1957)"]
    assert run(*words).exit_code == 0
    assert "Cochran &amp; Cox (1957)" in (tmp_path / "cake.html").read_text()


@pytest.mark.parametrize(
    ("words", "code", "message"),
    [
        (["compare", "none.csv", "--outcome", "a", "--by", "b"], 2,
         "kit: none.csv is not there. Give a CSV file or a workspace folder."),
        (["compare", str(PUBLISHED / "cake.csv"), "--by", "recipe"], 2,
         "kit: --outcome is None: is needed with a table. Columns: replicate, recipe, mix, "
         "temperature_f, angle_deg."),
        ([*CAKE[:3], "angle", *CAKE[4:]], 2,
         "kit: no column for outcome 'angle'. There are: 'replicate', 'recipe', 'mix', "
         "'temperature_f', 'angle_deg'."),
        ([*CAKE, "--control", "Z"], 2, "kit: --control is 'Z': must be one of A, B, C."),
        (["import", "none.csv", "bakes", "--trial", "x"], 2,
         "kit: none.csv is not there. Give a CSV file or a workspace folder."),
        (["writeup", *CAKE[1:], "--out", "page.doc"], 2,
         "kit: path is 'page.doc': must end in .html, .md or .pdf. For example malt.html."),
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
    assert "rise_height_mm" in result.stderr
    assert "There are none yet." in run("compare", "bakes", "--trial", "bad").stderr


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

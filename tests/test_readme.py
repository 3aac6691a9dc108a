"""What the README says, word for word: its Python lines run in the workspace `kit start` makes."""

import re
from pathlib import Path

import pytest

from kit.cli import main

README = (Path(__file__).parents[1] / "README.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"```python\n(.*?)```", README, re.DOTALL)
#: of these the newcomer brings a photo or a table, and other tests do what they do
BROUGHT = ("piece.jpg", "kit.compare(frame")


def test_the_python_lines_run_in_their_order(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    with pytest.raises(SystemExit) as ended:
        main(["start", "my-bakes", "--no-lab"])
    assert not ended.value.code
    own = [block for block in BLOCKS if not any(sign in block for sign in BROUGHT)]
    assert len(own) == len(BLOCKS) - len(BROUGHT)
    names: dict[str, object] = {}
    capsys.readouterr()
    for block in own:
        exec(compile(block, "README.md", "exec"), names)
    told = capsys.readouterr().out
    for said in ("settings of time a side", "Double at about", "The tasters told them apart."):
        assert said in told
    assert "is not known yet" not in told
    trial, piece = names["trial"], names["piece"]
    assert trial.name == "salt"
    assert "rise_height_mm" not in trial.frame()  # the last line takes it back
    assert str(piece) == "piece 1A1"
    names["ws"].close()

"""Files written whole or not at all."""

import pytest

from kit.records.aside import aside, write_whole


def test_a_text_takes_the_place_of_the_old_one_as_it_is(tmp_path):
    path = tmp_path / "sheet.html"
    write_whole(path, "old")
    write_whole(path, "Höhe\r\n38 mm\n")
    assert path.read_bytes() == "Höhe\r\n38 mm\n".encode()
    assert [file.name for file in tmp_path.iterdir()] == ["sheet.html"]


def test_what_breaks_off_leaves_the_old_file_and_nothing_beside_it(tmp_path):
    path = tmp_path / "malt.zip"
    path.write_bytes(b"whole")

    def breaks_off():
        with aside(path) as file:
            file.write(b"hal")
            msg = "power cut"
            raise RuntimeError(msg)

    with pytest.raises(RuntimeError, match="power cut"):
        breaks_off()
    assert path.read_bytes() == b"whole"
    assert [file.name for file in tmp_path.iterdir()] == ["malt.zip"]

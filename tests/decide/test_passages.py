"""What a search leaves for a client's page: as it was written, or refused."""

from __future__ import annotations

import pytest
from commands import asked

from pondpop.checks import RunError
from pondpop.decide.passages import Passage, read, to_json

FOUND = [
    Passage("Take 12 lb of bass an acre a year.", [["window", "lb"], ["8–12 in", "12"]], "In 8 of 10 futures.", True),
    Passage("The pond then holds 40 lb.", []),
]


def damaged(path, data: bytes) -> bool:
    path.write_bytes(data)
    try:
        return read(path) != ("An invented pond", "12 lb a year", FOUND)
    except RunError as error:
        assert str(error) == f"{path}: the file is damaged, or pondpop did not write it; make it again"
        return False


def test_a_file_of_which_any_byte_is_altered_or_cut_off_is_refused_or_says_what_it_said(tmp_path):
    path, whole = tmp_path / "quota.json", to_json("An invented pond", FOUND, "12 lb a year").encode()
    assert not damaged(path, whole) and read(path) == ("An invented pond", "12 lb a year", FOUND)
    assert not [at for at in range(len(whole)) if damaged(path, whole[:at])]
    for bit in (1, 2, 16):
        changed = (whole[:at] + bytes([whole[at] ^ bit]) + whole[at + 1 :] for at in range(len(whole)))
        assert not [at for at, data in enumerate(changed) if damaged(path, data)]


@pytest.mark.parametrize("words", ["\ud800", "\udfff lb"])
def test_half_a_character_is_refused(tmp_path, words):
    path = tmp_path / "quota.json"
    path.write_text(to_json("An invented pond", FOUND, "12 lb a year").replace("12 lb of", ascii(words)[1:-1]), "utf-8")
    status, out, err = asked("report", path, "--out", tmp_path / "page.html")
    assert (status, out, err.count("\n")) == (1, "", 1) and "the file is damaged" in err
    assert list(tmp_path.iterdir()) == [path]


def test_a_file_has_a_million_bytes_at_most(tmp_path):
    path, whole = tmp_path / "quota.json", to_json("An invented pond", FOUND, "12 lb a year").encode()
    path.write_bytes(whole.ljust(1_000_000))
    assert read(path)[0] == "An invented pond"
    path.write_bytes(whole.ljust(1_000_001))
    with pytest.raises(RunError, match="damaged"):
        read(path)

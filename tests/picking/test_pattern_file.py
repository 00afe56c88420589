"""Pattern files there and back, and every way they can be wrong."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import given

from coach.errors import BadPattern
from coach.picking.pattern import Pattern
from coach.picking.pattern_file import parse_pattern, pattern_text, read_pattern
from tests.picking.made_up import patterns
from tests.sentences import is_one_sentence

GOOD = """\
title = "Two and two"
about = "For the tests."
meter = "4/4"
slots = 4
feel = "straight"
tags = ["plain"]
[[bars]]
p = "r a f a"
i = ". 3 . 3"
[[bars]]
p = "r a f a"
m = ". 2 . 2"
"""


@given(patterns())
def test_a_pattern_reads_back_as_written(pattern: Pattern) -> None:
    """Any pattern, written as a file and read again, is the same pattern."""
    assert parse_pattern(pattern_text(pattern), "made-up") == pattern


def test_a_file_is_read(tmp_path: Path) -> None:
    """The id is the file's stem, bars stand in order, a lane left out is silent."""
    path = tmp_path / "two-and-two.toml"
    path.write_text(GOOD)
    pattern = read_pattern(path, own=True)
    assert (pattern.id, pattern.title, pattern.slots, pattern.own) == ("two-and-two", "Two and two", 4, True)
    assert [bar.lane("m", 4) for bar in pattern.bars] == [". . . .", ". 2 . 2"]


def test_a_byte_order_mark_and_crlf_do_no_harm(tmp_path: Path) -> None:
    """A file saved by an editor that marks UTF-8 and ends lines with CR LF reads the same."""
    path = tmp_path / "two-and-two.toml"
    path.write_bytes(b"\xef\xbb\xbf" + GOOD.replace("\n", "\r\n").encode())
    assert read_pattern(path) == parse_pattern(GOOD, "two-and-two")


@pytest.mark.parametrize(
    ("old", "new", "line", "says"),
    [
        ('i = ". 3 . 3"', 'i = ". 3 . "', 9, "lane i has 3 tokens, not 4"),
        ('m = ". 2 . 2"', 'm = ". 2 . 2 ."', 12, "lane m has 5 tokens, not 4"),
        ('i = ". 3 . 3"', 'i = ". 3 . 9"', 9, "'9' in slot 4"),
        ('i = ". 3 . 3"', 'i = ". 3@25 . 3"', 9, "'3@25' in slot 2, past the end of the neck"),
        ('i = ". 3 . 3"', 'i = ". 3@24 . (3@99)"', 9, "'(3@99)' in slot 4, past the end of the neck"),
        ('i = ". 3 . 3"', 'i = ". 3@100 . 3"', 9, "use frets 0 to 24"),
        ('p = "r a f a"\nm', 'p = "r a 5@99 a"\nm', 11, "'5@99' in slot 3, past the end of the neck"),
        ('p = "r a f a"\nm', 'p = "r a q a"\nm', 11, "'q' in slot 3"),
        ('i = ". 3 . 3"', 'i = ". 3 . 3"\nm = ". 3 . ."', 10, "both want string 3"),
        ('i = ". 3 . 3"', 'i = ". 3 . 3"\na = 1', 10, "lane a must be text"),
        ('m = ". 2 . 2"', 'q = ". 2 . 2"', 12, "'q' is not a lane"),
        ('meter = "4/4"', 'meter = "4/5"', 3, "'4/5' is not a meter"),
        ('meter = "4/4"', "meter = 4", 3, "is not a meter"),
        ('tags = ["plain"]', 'chords = "C | H"', 6, "chords: bar 2: 'H' is not a chord"),
        ('tags = ["plain"]', 'chords = "C || G"', 6, "chords: bar 2: there is no chord"),
        ('tags = ["plain"]', "chords = 7", 6, "'chords' must be text"),
        ("slots = 4", "slots = 8", 8, "lane p has 4 tokens, not 8"),
        ("slots = 4", "slots = 0", 4, "slots = 0 cannot be"),
        ("slots = 4", "slots = true", 4, "slots = True cannot be"),
        ("slots = 4", "slots = 65", 4, "slots = 65 cannot be"),
        ('feel = "straight"', "feel = 0.8", 5, "feel = 0.8 cannot be"),
        ('feel = "straight"', "feel = nan", 5, "feel = nan cannot be"),
        ('feel = "straight"', 'feel = "swung"', 5, "feel = 'swung' cannot be"),
        ('tags = ["plain"]', 'tags = "plain"', 6, "'tags' must be a list"),
        ('title = "Two and two"', "title = 2", 1, "'title' must be text"),
        ('title = "Two and two"', 'title.en = "Two"', 1, "'title' must be text"),
        ('about = "For', 'abuot = "For', 2, "did you mean 'about'?"),
        ('title = "Two and two"', 'title = "Two', 1, "this is not TOML"),
        ("slots = 4", "slots = ", 4, "this is not TOML"),
        ('m = ". 2 . 2"', 'p = ". . . ."', 12, "this is not TOML"),
        ('p = "r a f a"\nm = ". 2 . 2"', 'm = ". . . ."', 10, "bar 2 is silent"),
    ],
)
def test_a_bad_line_is_named(tmp_path: Path, old: str, new: str, line: int, says: str) -> None:
    """File, line, what and how to mend it, in one sentence."""
    assert GOOD.count(old) == 1
    path = tmp_path / "mine.toml"
    path.write_text(GOOD.replace(old, new))
    with pytest.raises(BadPattern) as caught:
        read_pattern(path)
    assert str(caught.value).startswith(f"mine.toml: line {line}: ")
    assert says in str(caught.value)
    assert is_one_sentence(caught.value)


@pytest.mark.parametrize("key", ["title", "meter", "slots", "bars"])
def test_a_missing_key_is_named(key: str) -> None:
    """A file without one of the four needed keys is told which, with an example."""
    head = GOOD[: GOOD.index("[[bars]]")]
    text = head if key == "bars" else "\n".join(line for line in GOOD.splitlines() if not line.startswith(key))
    with pytest.raises(BadPattern) as caught:
        parse_pattern(text, "mine")
    assert f"'{key}' is missing" in str(caught.value)
    assert is_one_sentence(caught.value)


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"\x00\x01\x02" * 100,
        b"\xff\xfe\x00" + os.urandom(64) + b"\xff",
        b"\x89PNG\r\n\x1a\n" + b"\x00" * 100,
        b"x = " + b"[" * 5000,
        b"slots = " + b"9" * 5000,
        b"# " + b"a" * 10_000_000,
    ],
    ids=["empty", "zeros", "random", "picture", "deep", "digits", "10 MB"],
)
def test_what_is_no_pattern_file_is_refused(tmp_path: Path, content: bytes) -> None:
    """Empty, binary, absurdly deep or 10 MB long: one sentence that begins with the file's name."""
    path = tmp_path / "mine.toml"
    path.write_bytes(content)
    with pytest.raises(BadPattern) as caught:
        read_pattern(path)
    assert str(caught.value).startswith("mine.toml: ")
    assert is_one_sentence(caught.value)
    assert len(str(caught.value)) < 300


def test_a_folder_is_no_pattern_file(tmp_path: Path) -> None:
    """A folder that is called like a pattern is refused in one sentence."""
    with pytest.raises(BadPattern, match="this is a folder") as caught:
        read_pattern(tmp_path)
    assert is_one_sentence(caught.value)


def test_a_file_that_is_not_there_is_refused(tmp_path: Path) -> None:
    """The sentence names the whole path."""
    with pytest.raises(BadPattern) as caught:
        read_pattern(tmp_path / "gone.toml")
    assert str(tmp_path / "gone.toml") in str(caught.value)
    assert is_one_sentence(caught.value)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="pipes with a name are a Unix thing")
def test_a_pipe_is_not_waited_for(tmp_path: Path) -> None:
    """A pipe that nobody writes to is refused at once."""
    path = tmp_path / "pipe.toml"
    os.mkfifo(path)
    with pytest.raises(BadPattern, match="not an ordinary file") as caught:
        read_pattern(path)
    assert is_one_sentence(caught.value)

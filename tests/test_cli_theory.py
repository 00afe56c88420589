"""`coach numerals`, `coach rekey`, `coach keysheet` as scripts and players call them."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.calls import Data, Run

MISTAKES = [
    "numerals",
    "numerals|C F G",
    "numerals|--key|C",
    "numerals|--key|C|",
    "numerals|--key|H|C",
    "numerals|--key|b|C",
    "numerals|--key|G#|C",
    "numerals|--key|C dorian|C",
    "numerals|--key|C|C H",
    "numerals|--key|C|C / G",
    "numerals|--key|C|C|F",
    "numerals|--key|C|C || F",
    "numerals|--kee|C|C",
    "rekey|C F",
    "rekey|--from|C|C F",
    "rekey|--from|C|--to|X|C F",
    "rekey|--from|C|--to|Am|C F",
    "rekey|--from|C|--to|D|C Fsomething",
    "rekey|--from|C|--to|D|",
    "keysheet|--key|Z",
    "keysheet|C",
    "keysheet|-o",
    "keysheet|-o|{folder}",
    "keysheet|-o|{folder}/folder.txt",
    "keysheet|-o|{folder}/sheet.doc",
    "keysheet|-o|{folder}/sheet",
]


@pytest.mark.parametrize("line", MISTAKES)
def test_every_mistake_is_one_sentence_and_exit_code_2(run: Run, line: str, tmp_path: Path) -> None:
    """Nothing on stdout, one line on stderr that is a sentence."""
    (tmp_path / "folder.txt").mkdir()
    code, out, err = run(*line.format(folder=tmp_path).split("|"))
    assert (code, out) == (2, "")
    assert err.count("\n") == 1
    assert err.rstrip().endswith((".", "?"))
    assert not any(word in err for word in ("Traceback", "usage:", "argparse", "Error("))


@pytest.mark.parametrize(
    ("words", "near"),
    [
        (("numerals", "--key", "G#", "C"), "did you mean Ab (Ab major)?"),
        (("numerals", "--key", "C", "C | am"), "bar 2: 'am' is not a chord; did you mean Am?"),
        (("rekey", "--from", "C", "--to", "Am", "C"), "did you mean A (A major)?"),
        (("rekey", "--from", "Dbm", "--to", "Am", "C"), "--from: Db minor would need 8 flats"),
    ],
)
def test_a_mistake_is_answered_with_the_nearest(run: Run, words: tuple[str, ...], near: str) -> None:
    """The key or chord that was likely meant, and where the slip stands."""
    assert near in run(*words)[2]


def test_numerals_of_a_progression(data: Data) -> None:
    """One row for each chord, in order; the style of the contract."""
    rows = data("numerals", "--key", "C", "C | Dm G7 | D7 | Bb Fm | N")
    told = [(row["chord"], row["numeral"]) for row in rows]
    assert told == [
        *[("C", "I"), ("Dm", "ii"), ("G7", "V7"), ("D7", "V7/V"), ("Bb", "bVII"), ("Fm", "iv"), ("N", "N")],
    ]
    assert [row["bar"] for row in rows] == [0, 1, 1, 2, 3, 3, 4]
    assert [row["standing"] for row in rows] == ["own", "own", "own", "dominant", "borrowed", "borrowed", None]


def test_numerals_as_text_stand_under_their_chords(run: Run) -> None:
    """Chord over numeral, bar lines in line; what the key does not have is told below."""
    _, out, _ = run("numerals", "--key", "C", "C | Am Fm | D7 G7 | Db")
    assert out.splitlines() == [
        "C major, no sharps or flats",
        "",
        "| C | Am Fm | D7   G7 | Db  |",
        "| I | vi iv | V7/V V7 | bII |",
        "",
        "Borrowed from C minor: Fm.",
        "Dominants of other chords of the key: D7.",
        "From outside the key: Db.",
    ]


def test_long_progressions_wrap_at_bar_lines(run: Run) -> None:
    """In a pipe no line passes column 80, and no bar is torn."""
    _, out, _ = run("numerals", "--key", "Bb", " | ".join(["Bb Gm7 Ebmaj7 F7sus4"] * 9))
    lines = [line for line in out.splitlines() if line.startswith("|")]
    assert max(map(len, lines)) <= 80
    assert all(line.endswith("|") for line in lines)
    assert sum(line.count("Bb") for line in lines) == 9


def test_rekey_moves_a_progression(data: Data) -> None:
    """E A B C#m with the flat seven becomes C F G Am Bb, and capo 4 makes it sound in E; bars and basses stay."""
    moved = data("rekey", "--from", "E", "--to", "C", "E | A B7 | C#m D | N | D/F#")
    assert moved["chords"] == ["C", "F", "G7", "Am", "Bb", "N", "Bb/D"]
    assert moved["capo_to_match"] == 4
    assert moved["bars"] == [["C"], ["F", "G7"], ["Am", "Bb"], ["N"], ["Bb/D"]]
    assert moved["numerals"] == ["I", "IV", "V7", "vi", "bVII", "N", "bVII/3"]


def test_players_names_are_a_field_and_a_line_of_their_own(run: Run, data: Data) -> None:
    """The flat six of Ab is Fb by theory and E by name."""
    words = ("rekey", "--from", "C", "--to", "Ab", "C Ab F")
    moved = data(*words)
    assert (moved["chords"], moved["for_players"]) == (["Ab", "Fb", "Db"], ["Ab", "E", "Db"])
    assert run(*words)[1].endswith("With a capo at fret 4 these Ab shapes sound in C.\nAs players say it: Fb is E.\n")


def test_what_rekey_gives_can_be_given_to_it_again(data: Data) -> None:
    """From C# to Cb and back, with chords that neither key has."""
    chords = ["C#", "Gb7", "Db/F", "B#m7", "Ebmaj7/Bb"]
    there = data("rekey", "--from", "C#", "--to", "Cb", " ".join(chords))["chords"]
    assert data("rekey", "--from", "Cb", "--to", "C#", " ".join(there))["chords"] == chords


def test_a_key_that_sounds_the_same_needs_no_capo(run: Run, data: Data) -> None:
    """F# and Gb."""
    words = ("rekey", "--from", "F#", "--to", "Gb", "F# B C#7")
    assert data(*words)["chords"] == ["Gb", "Cb", "Db7"]
    assert "Both keys sound the same: no capo." in run(*words)[1]


def test_the_sheet_of_one_key(run: Run, data: Data) -> None:
    """G major: numerals over chords, a column for each degree, dominants under the chord they lead to."""
    _, out, _ = run("keysheet", "--key", "G")
    lines = out.splitlines()
    assert lines[0] == "G major, 1 sharp"
    at = lines[2].index(" ii ") + 1
    assert lines[3][at:].startswith("Am ")
    assert lines[8][at:].startswith("V/ii ")
    assert lines[9][at:].startswith("E ")
    (sheet,) = data("keysheet", "--key", "G")["keys"]
    assert [e["chord"] for e in sheet["triads"]] == ["G", "Am", "Bm", "C", "D", "Em", "F#dim"]
    assert {"numeral": "V7/IV", "chord": "G7", "notes": ["G", "B", "D", "F"], "for_players": "G7"} in sheet["dominants"]


def test_the_sheet_of_every_key_is_80_columns_wide(run: Run, data: Data) -> None:
    """Thirty keys, major first."""
    _, out, _ = run("keysheet")
    assert max(map(len, out.splitlines())) <= 80
    assert len(data("keysheet")["keys"]) == 30


def test_a_sheet_is_written_and_an_old_one_kept(run: Run, tmp_path: Path) -> None:
    """The file has what stdout has; a second time it stays unless forced."""
    path = tmp_path / "sheet.txt"
    code, out, err = run("keysheet", "--key", "E", "-o", str(path))
    assert (code, path.read_text("utf-8")) == (0, out)
    assert str(path) in err
    path.write_text("mine", "utf-8")
    assert run("keysheet", "--key", "C", "-o", str(path))[:2] == (1, "")
    assert path.read_text("utf-8") == "mine"
    code, out, _ = run("keysheet", "--key", "C", "-o", str(path), "--force", "--json")
    assert (code, json.loads(out)["file"]) == (0, str(path))
    assert path.read_text("utf-8").startswith("C major")


def test_a_sheet_as_pdf(run: Run, data: Data, tmp_path: Path) -> None:
    """The file is a PDF of the paper asked for, JSON tells its pages, and an old one is kept."""
    path = tmp_path / "sheet.pdf"
    told = data("keysheet", "--key", "E", "-o", str(path), "--paper", "letter")
    assert (told["file"], told["pages"]) == (str(path), 1)
    before = path.read_bytes()
    assert before.startswith(b"%PDF-")
    assert run("keysheet", "-o", str(path))[:2] == (1, "")
    assert path.read_bytes() == before


def test_a_paper_that_is_not_known(run: Run, tmp_path: Path) -> None:
    """One sentence that names the sizes; no file."""
    code, out, err = run("keysheet", "-o", str(tmp_path / "sheet.pdf"), "--paper", "a5")
    assert (code, out) == (2, "")
    assert "a4, letter" in err
    assert list(tmp_path.glob("*.pdf")) == []

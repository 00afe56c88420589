"""`coach song arrange` and `coach song import`: what they write, what they keep, and what they refuse."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from coach import places, shelf
from coach.song.files.song_file import read_song
from tests.calls import Data, Run
from tests.song.sheets import attributes, harmony, note, sheet

SONG = """\
# my own note
title = "Ferry"
key = "G"
meter = "4/4"
tempo = 90
[parts.Verse]
bars = [
  { chords = "G", words = "salt on the wind", tune = "G4 A4 B4:2" },  # first line
  { chords = "C D", tune = "C5:2 A4:2" },
  { chords = "G", tune = "G4:4" },
]
"""


@pytest.fixture
def ferry(tmp_path: Path) -> Path:
    """A song file of the player's own, without an arrangement."""
    path = tmp_path / "ferry.song.toml"
    path.write_text(SONG, "utf-8")
    return path


@pytest.fixture
def leaf(tmp_path: Path) -> Path:
    """A lead sheet."""
    path = tmp_path / "Last Leaf.musicxml"
    bars = [attributes(1) + harmony("G") + note("G4", 2, "last") + note("B4", 2, "leaf"), harmony("D") + note("A4", 4)]
    path.write_text(sheet(bars, "Last leaf"), "utf-8")
    return path


def test_both_tiers_are_written_with_their_reasons(data: Data, ferry: Path) -> None:
    """Plain and full stand in the file, each with why; the JSON tells key, capo, pattern, shapes and bars."""
    out = data("song", "arrange", str(ferry))
    assert [row["name"] for row in out["arrangements"]] == ["plain", "full"]
    song = read_song(ferry)
    for row in out["arrangements"]:
        arrangement = song.arrangements[row["name"]]
        assert list(arrangement.why) == row["why"]
        assert (str(arrangement.key), arrangement.capo) == (row["key"], row["capo"])
        assert arrangement.way.pattern == row["pattern"]
        assert row["bars"][0] == {**row["bars"][0], "part": "Verse", "bar": 1}
    assert Path(out["file"]) == ferry


def test_nothing_the_player_wrote_is_lost(run: Run, ferry: Path) -> None:
    """Every line of the file still stands in it, comments too."""
    assert run("song", "arrange", str(ferry))[0] == 0
    text = ferry.read_text("utf-8")
    assert all(line in text for line in SONG.splitlines())


def test_the_text_says_why(run: Run, ferry: Path) -> None:
    """Reasons for the key, the pattern and the bar with two chords, and what to do next."""
    _, out, err = run("song", "arrange", str(ferry), "--tier", "plain")
    assert "it sounds in G major, as it is charted" in out
    assert "the chord changes on beat 3" in out
    assert "coach song show ferry --arrangement plain" in out
    assert err == ""


def test_an_arrangement_is_kept_without_force(run: Run, ferry: Path) -> None:
    """The second time it is refused with exit code 1 and the file stays; with --force it is made anew."""
    assert run("song", "arrange", str(ferry))[0] == 0
    before = ferry.read_text("utf-8")
    code, out, err = run("song", "arrange", str(ferry), "--tier", "full", "--melody")
    assert (code, out) == (1, "")
    assert "--force" in err
    assert ferry.read_text("utf-8") == before
    assert run("song", "arrange", str(ferry), "--tier", "full", "--melody", "--force")[0] == 0
    assert "top strings" in ferry.read_text("utf-8")


def test_a_shipped_song_is_copied_first(data: Data) -> None:
    """The shipped file is not touched; the copy among the player's songs has the new arrangement."""
    name = next(song.id for song in shelf.songs().songs.values() if not song.own)
    out = data("song", "arrange", name, "--name", "evening")
    assert Path(out["file"]).parent == places.songs()
    song = shelf.songs().find(name)
    assert song.own
    assert {"evening-plain", "evening-full"} <= set(song.arrangements)


def test_o_writes_another_file(run: Run, ferry: Path, tmp_path: Path) -> None:
    """The song given stays as it is; a file that is there already is kept."""
    out = tmp_path / "other.song.toml"
    assert run("song", "arrange", str(ferry), "-o", str(out))[0] == 0
    assert ferry.read_text("utf-8") == SONG
    assert set(read_song(out).arrangements) == {"plain", "full"}
    written = out.read_text("utf-8")
    assert run("song", "arrange", str(ferry), "-o", str(out))[0] == 1
    assert out.read_text("utf-8") == written


def test_force_is_for_the_arrangement_and_takes_no_song_s_place(run: Run, coach_home: Path) -> None:
    """The player's copy of a shipped song has a slip in it: the shipped one is arranged, and the slip stays to mend."""
    mine = coach_home / "songs" / "last-boat.song.toml"
    mine.parent.mkdir(parents=True)
    mine.write_text("title = = 'mine'\n", "utf-8")
    code, out, err = run("song", "arrange", "last-boat", "--force")
    assert (code, out) == (1, "")
    assert "this file exists already" in err
    assert mine.read_text("utf-8") == "title = = 'mine'\n"


def test_key_voice_capo_and_early_are_kept_to(data: Data, ferry: Path) -> None:
    """A tune from G4 to C5 for a voice of A2 to D4 lies inside it; A asked for sounds in A; early is written."""
    sung = data("song", "arrange", str(ferry), "--voice", "A2-D4", "--tier", "plain", "--early")["arrangements"][0]
    assert 67 + sung["shift"] >= 45
    assert 72 + sung["shift"] <= 62
    assert sung["early"] is True
    assert read_song(ferry).arrangements["plain"].early
    in_a = data("song", "arrange", str(ferry), "--key", "A", "--max-capo", "0", "--tier", "full")["arrangements"][0]
    assert (in_a["key"], in_a["capo"], in_a["sounding_key"]) == ("A", 0, "A")


def test_the_melody_is_written_as_lanes(data: Data, ferry: Path) -> None:
    """With --melody the bars have lanes whose accents are the tune's six notes."""
    row = data("song", "arrange", str(ferry), "--tier", "plain", "--melody")["arrangements"][0]
    accents = [token for bar in row["bars"] for lane in bar["lanes"].values() for token in lane.split() if "!" in token]
    assert len(accents) == 6


def test_a_lead_sheet_becomes_a_song_of_the_players(data: Data, leaf: Path) -> None:
    """Its id comes of the file's name; the song is on the shelf and can be arranged at once."""
    out = data("song", "import", str(leaf))
    assert (out["song"], out["title"], out["key"], out["bars"]) == ("last-leaf", "Last leaf", "G", 2)
    assert out["voice"] == {"low": "G4", "high": "B4"}
    assert shelf.songs().find("last-leaf").own
    assert data("song", "arrange", "last-leaf", "--voice", "A2-D4")["song"] == "last-leaf"


def test_an_import_never_takes_the_place_of_a_song(run: Run, leaf: Path) -> None:
    """The second time another name is asked for."""
    assert run("song", "import", str(leaf))[0] == 0
    code, out, err = run("song", "import", str(leaf))
    assert (code, out) == (1, "")
    assert "exists already" in err
    assert run("song", "import", str(leaf), "--name", "leaf")[0] == 0


def test_notes_go_to_stderr_and_json_stays_one_document(run: Run, leaf: Path) -> None:
    """That no tempo is given is a note; stdout is one JSON document all the same."""
    code, out, err = run("song", "import", str(leaf), "--json")
    assert code == 0
    assert json.loads(out)["notes"]
    assert err.startswith("note: ")


@pytest.mark.parametrize(
    "words",
    [
        "song arrange",
        "song arrange no-such-song",
        "song arrange {ferry} --tier most",
        "song arrange {ferry} --voice D4",
        "song arrange {ferry} --voice D4-A2",
        "song arrange {ferry} --key H",
        "song arrange {ferry} --key Em",
        "song arrange {ferry} --max-capo 20",
        "song arrange {ferry} -o other.toml",
        "song arrange {ferry} --melody --tier plain --nmae x",
        "song import",
        "song import none.musicxml",
        "song import {ferry}",
        "song import {leaf} --name Leaf!",
        "song import {leaf} -o leaf.toml",
    ],
)
def test_mistakes_are_one_sentence(run: Run, ferry: Path, leaf: Path, words: str) -> None:
    """One sentence on stderr, nothing on stdout, exit code 2, and the file is as it was."""
    code, out, err = run(*(word.format(ferry=ferry, leaf=leaf) for word in words.split()))
    assert (code, out) == (2, "")
    assert err.count("\n") == 1
    assert ferry.read_text("utf-8") == SONG


def test_an_empty_name_is_refused(run: Run, ferry: Path) -> None:
    """A name of blanks is none."""
    assert run("song", "arrange", str(ferry), "--name", "  ")[0] == 2

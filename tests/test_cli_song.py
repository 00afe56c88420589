"""The song commands as scripts and players call them."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.calls import Data, Run


def test_the_shipped_songs_are_listed(data: Data) -> None:
    """Our own with its two arrangements, and three traditional ones that name their source."""
    rows = {row["id"]: row for row in data("song")}
    assert rows["last-boat"]["arrangements"] == ["plain", "full"]
    assert len(rows) >= 4
    assert all(row["source"] and not row["own"] for row in rows.values())


def test_a_new_song_is_begun_checked_and_shown(run: Run, data: Data, coach_home: Path) -> None:
    """A bare name goes to the player's own songs; nothing is wrong with it; it is listed as own."""
    made = data("song", "new", "ferry", "--key", "D", "--meter", "3/4", "--tempo", "84")
    assert made == {"file": str(coach_home / "songs" / "ferry.song.toml"), "id": "ferry"}
    assert data("song", "check", "ferry") == {"ok": True, "problems": [], "notes": []}
    shown = data("song", "show", "ferry")
    assert (shown["title"], shown["key"], shown["meter"], shown["tempo"]) == ("Ferry", "D", "3/4", 84)
    assert [bar["chords"] for bar in shown["parts"][0]["bars"]] == [[{"beat": "0", "chord": "D"}]] * 4
    assert next(row["own"] for row in data("song") if row["id"] == "ferry")


def test_a_new_song_never_takes_the_place_of_a_file(run: Run, tmp_path: Path) -> None:
    """Exit code 1, and the file is as it was."""
    path = tmp_path / "ferry.song.toml"
    path.write_text("mine", "utf-8")
    code, out, err = run("song", "new", str(path))
    assert (code, out) == (1, "")
    assert "exists already" in err
    assert path.read_text("utf-8") == "mine"


def test_check_tells_every_problem_with_its_line(run: Run, tmp_path: Path) -> None:
    """The contract's document on stdout, one sentence on stderr, exit code 2."""
    path = tmp_path / "bad.song.toml"
    path.write_text(
        'title = "x"\nkey = "G"\nmeter = "4/4"\ntempo = 90\n[parts.A]\nbars = [\n  { chords = "H" },\n]\n'
        '[arrangements.plain]\npattern = "outside-inn"\n',
        "utf-8",
    )
    code, out, err = run("song", "check", str(path), "--json")
    assert code == 2
    assert err == "bad.song.toml: 2 problems; mend what is listed.\n"
    found = json.loads(out)
    assert found["ok"] is False
    assert [(p["line"], p["where"]) for p in found["problems"]] == [(7, "part A, bar 1"), (10, "arrangement plain")]
    assert found["problems"][1]["message"] == "there is no pattern 'outside-inn'; did you mean outside-in?"


def test_an_arrangement_is_shown_as_plucks_under_the_words(data: Data) -> None:
    """While words run only the thumb plays; where they stop everything does."""
    shown = data("song", "show", "last-boat", "--arrangement", "plain", "--sing")
    assert (shown["song"], shown["arrangement"], shown["key"], shown["capo"]) == ("last-boat", "plain", "G", 0)
    by_bar = {bar["bar"]: bar for bar in shown["bars"]}
    fingers = {number: {p["finger"] for p in shown["plucks"] if p["bar"] == number} for number in by_bar}
    for number, bar in by_bar.items():
        assert bar["layer"] == ("thumb" if bar["words"] else "full")
        assert (fingers[number] == {"p"}) == bool(bar["words"])
    assert shown["bars"][2]["part"] == "Verse"
    assert shown["bars"][2]["words"][0] == {"beat": "0", "text": "Lan-"}
    assert shown["bars"][2]["shape"] == "320003"


def test_the_tab_has_the_words_under_it(run: Run) -> None:
    """Six strings, the count, and below it the syllables."""
    code, out, _ = run("song", "show", "last-boat", "--arrangement", "full")
    assert code == 0
    assert "E |-" in out
    assert all(syllable in out for syllable in ("Lan-", "tern", "home."))


def test_show_tells_songs_from_patterns(run: Run, data: Data) -> None:
    """`coach show` with a song's id is its chart; with a pattern's id its plucks as ever."""
    assert data("show", "last-boat") == data("song", "show", "last-boat")
    assert data("show", "last-boat", "--sing")["arrangement"] == "plain"
    assert data("show", "outside-in", "--chords", "C")["pattern"] == "outside-in"
    code, out, _ = run("show", "water-of-tyne")
    assert code == 0
    assert out.startswith("The Water of Tyne\nin D major, 6/8, 50 bpm")


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("song shwo last-boat", "did you mean coach song show?"),
        ("song show last-bot", "did you mean last-boat?"),
        ("song check last-bot", "did you mean last-boat?"),
        ("song check {folder}/none.song.toml", "cannot be read"),
        ("song check {folder}", "this is a folder"),
        ("song show last-boat --arrangement ful", "did you mean full?"),
        ("song show last-boat --layer toes", "'toes' is not a layer"),
        ("song show", "needs FILE"),
        ("song new", "needs FILE"),
        ("song new {folder}/x.toml", "does not end in .song.toml"),
        ("song new {folder}/.song.toml", "does not end in .song.toml"),
        ("song new x --key H", "'H' is not a key"),
        ("song new x --meter 7/4", "'7/4' is not a meter"),
        ("song new x --tempo 9", "out of range"),
        ("show outside-in --sing", "is no song"),
        ("show outside-in --arrangement plain", "is no song"),
        ("show last-boat --loops 2", "--loops is for patterns"),
        ("show last-boat --why", "--why is for patterns"),
    ],
)
def test_a_slip_is_one_sentence(run: Run, tmp_path: Path, coach_home: Path, line: str, says: str) -> None:
    """Exit code 2, nothing on stdout, the nearest word where there is one; nothing is written."""
    code, out, err = run(*line.format(folder=tmp_path).split(" "))
    assert (code, out) == (2, "")
    assert err.count("\n") == 1
    assert says in err
    assert not coach_home.exists()


def test_a_broken_song_is_told_and_the_rest_is_listed(run: Run, coach_home: Path) -> None:
    """It stops nothing."""
    (coach_home / "songs").mkdir(parents=True)
    (coach_home / "songs" / "bad.song.toml").write_text("title = ", "utf-8")
    code, out, err = run("song")
    assert code == 0
    assert "last-boat" in out
    assert "bad.song.toml" in err


def test_what_is_neither_song_nor_pattern_gets_the_nearest_of_both(run: Run) -> None:
    """A slip of one letter in either is told by `coach show`."""
    for slip, meant in (("last-bot", "last-boat"), ("outside-inn", "outside-in")):
        code, _, err = run("show", slip)
        assert (code, f"did you mean {meant}?" in err) == (2, True)

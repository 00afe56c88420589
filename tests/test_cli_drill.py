"""`coach drill` of patterns and songs: what is meant, and one sentence where it is not to be had."""

from __future__ import annotations

import pytest

from tests.calls import Run

MISTAKES = {
    "last-boat --part Vers": "'last-boat' plays no part 'Vers'; did you mean Verse?",
    "last-boat --part Coda": "it plays Intro, Verse, Chorus, Second verse, Ending",
    "last-boat --arrangement plian": "'last-boat' has no arrangement 'plian'; did you mean plain?",
    "last-boat --chords C": "--chords is for patterns, and 'last-boat' is a song",
    "last-boat --tempo 900": "--tempo 900 is out of range",
    "last-boot": "there is no pattern and no song 'last-boot'; did you mean last-boat?",
    "outside-im": "there is no pattern and no song 'outside-im'; did you mean outside-in?",
    "outside-in --part Verse": "--part is for songs, and 'outside-in' is none",
    "outside-in --arrangement full": "--arrangement is for songs, and 'outside-in' is none",
    "outside-in --chords H": "'H' is not a chord",
    "nowhere.song.toml": "nowhere.song.toml: cannot be read",
    "last-boat/plain/part/Nix": "'last-boat' plays no part 'Nix'",
}


@pytest.mark.parametrize("words", MISTAKES)
def test_a_slip_is_told_in_one_sentence(run: Run, words: str) -> None:
    """What was not found is named, with what is near it; exit code 2, nothing on stdout."""
    code, out, err = run("drill", *words.split())
    assert (code, out) == (2, "")
    assert MISTAKES[words] in err
    assert err.count("\n") == 1


@pytest.mark.parametrize(
    "words",
    [
        "outside-in",
        "last-boat",
        "last-boat --sing",
        "last-boat --part Chorus --arrangement full --sing --tempo 60",
        "last-boat/plain/part/Verse/sing",
    ],
)
def test_without_a_terminal_the_stage_says_what_prints_it(run: Run, words: str) -> None:
    """A pattern, a song, its part and a drill by its whole id are found; only the terminal is missing: exit code 1."""
    code, out, err = run("drill", *words.split())
    assert (code, out) == (1, "")
    assert "the stage needs a terminal" in err
    assert "coach song show last-boat" in err or "coach show outside-in" in err

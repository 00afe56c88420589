"""Sentences of errors: one line, never a page, with place and remedy still to be read."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach.commands.answers import note
from coach.errors import MOST_LETTERS, BadInput, BadPattern, CoachError, shortened
from coach.picking.pattern_file import parse_pattern
from coach.song.files.song_file import check_text
from tests.calls import Run

TEXT = st.one_of(st.text(max_size=40), st.text(max_size=20).map(lambda t: t * 400), st.just("1, " * 20_000))


@given(TEXT, TEXT, TEXT, st.lists(TEXT, max_size=3))
def test_no_sentence_is_longer_than_three_hundred_letters(what: str, where: str, mend: str, more: list[str]) -> None:
    """Whatever stands in it and however many places are put before it."""
    error: CoachError = BadInput(what, where=where, mend=mend)
    for place in more:
        error = error.at(place)
    said = str(error)
    assert len(said) <= MOST_LETTERS
    assert len(said.splitlines()) <= 1


@given(st.integers(0, 60_000))
def test_what_was_written_gives_way_before_place_and_remedy(count: int) -> None:
    """Those stand whole while they are short."""
    said = str(BadInput(f"feel = [{'1, ' * count}] cannot be", where="a.toml: line 3", mend="write 0.5 to 0.75"))
    assert said.startswith("a.toml: line 3: feel = [")
    assert said.endswith("] cannot be; write 0.5 to 0.75.")


@given(st.text(), st.integers(3, 400))
def test_a_shortened_text_keeps_its_ends(text: str, most: int) -> None:
    """What is short enough stays as it is."""
    short = shortened(text, most)
    assert len(short) <= most
    assert short == text if len(text) <= most else "…" in short


GOOD = 'title = "A"\nmeter = "4/4"\nslots = 4\n{more}\n[[bars]]\np = "r . a ."\n'


@pytest.mark.parametrize(
    "more", [f"feel = [{'1, ' * 20_000}]", f"{'x' * 9000} = 1", f'chords = "{"Q " * 5000}"', f'tags = "{"a" * 9000}"']
)
def test_a_pattern_file_of_thousands_is_told_in_a_sentence(more: str) -> None:
    """A feel of 20,000 entries was answered with as many."""
    with pytest.raises(BadPattern) as caught:
        parse_pattern(GOOD.format(more=more), "a")
    said = str(caught.value.at("a.toml"))
    assert len(said) <= MOST_LETTERS
    assert said.startswith("a.toml: line 4: ")


def test_the_problems_of_a_song_are_short_each(run: Run, tmp_path: Path) -> None:
    """Every line that `coach song check` prints."""
    path = tmp_path / "a.song.toml"
    long = "Zz " * 4000
    path.write_text(
        f'title = "A"\nkey = "{long}"\nmeter = "{long}"\ntempo = [{"1, " * 5000}]\norder = ["V"]\n'
        f'[parts.V]\nbars = [{{ chords = "{long}" }}]\n[shapes]\nG = "{long}"\n[arrangements.a]\n'
        f'pattern = "{long}"\nsinging = "{long}"\nstand_in = {{ G = "{long}" }}\n'
    )
    assert len(check_text(path.read_text(), "a").problems) >= 4
    _, out, err = run("song", "check", str(path))
    assert max(len(line) for line in (out + err).splitlines()) <= MOST_LETTERS


def test_a_name_of_thousands_of_letters_is_told_shortly(run: Run) -> None:
    """What the system itself cannot open for its length is no longer in the sentence than any other."""
    code, _, err = run("log", "merge", "[" * 6000)
    assert code == 1
    assert len(err.strip()) <= MOST_LETTERS
    assert err.rstrip().endswith("nothing more could be done.")


def test_a_note_is_no_longer_than_a_sentence(capsys: pytest.CaptureFixture[str]) -> None:
    """With the word before it."""
    note("x " * 400)
    assert len(capsys.readouterr().err.strip()) <= MOST_LETTERS


def test_no_answer_steers_the_terminal(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    """A folder may be called so that a terminal would turn red: what is printed of it shows a question mark."""
    monkeypatch.setenv("COACH_HOME", "\x1b[31mred")
    code, out, _ = run("doctor")
    assert code == 0
    assert "?[31mred" in out
    assert "\x1b" not in out

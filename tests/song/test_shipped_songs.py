"""The songs we ship: whole, singable, and playable as arranged."""

from __future__ import annotations

import pytest

from coach import places, shelf
from coach.song.files.bar_text import where_sung
from coach.song.files.check_song import check_song
from coach.song.files.song_file import read_text
from coach.song.perform import perform

SONGS = shelf.songs()
IDS = sorted(SONGS.songs)


@pytest.mark.parametrize("name", IDS)
def test_nothing_is_wrong_and_nothing_is_odd(name: str) -> None:
    """`coach song check` has no problem and no note; words and tune agree syllable by syllable."""
    path = places.shipped("shared") / "songs" / f"{name}.song.toml"
    checked = check_song(read_text(path), name, shelf.library().patterns, shelf.shapes())
    assert (checked.problems, checked.notes) == ((), ())
    song = SONGS.songs[name]
    assert song.source
    for part in song.parts.values():
        for bar in part.bars:
            assert where_sung(bar.words, bar.tune) == ()


def test_every_syllable_of_our_own_song_has_one_note_and_the_tune_suits_a_voice() -> None:
    """As many syllables as notes in each sung bar; within an octave and a third (16 semitones)."""
    song = SONGS.songs["last-boat"]
    for part in song.parts.values():
        for bar in part.bars:
            assert [word.beat for word in bar.words] == [n.beat for n in bar.tune if not n.tied]
    pitches = [n.pitch.midi for part in song.parts.values() for bar in part.bars for n in bar.tune]
    assert max(pitches) - min(pitches) <= 16


def test_our_own_song_has_what_a_song_to_learn_on_needs() -> None:
    """24 bars or more, a verse, a chorus, a borrowed chord, bars with two chords, bars without words, a held end."""
    song = SONGS.songs["last-boat"]
    played = [bar for name in song.order for bar in song.parts[name].bars]
    assert len(played) >= 24
    assert {"Verse", "Chorus"} <= set(song.parts)
    assert any(str(chord) == "Cm" for bar in played for _, chord in bar.chords)
    assert any(len(bar.chords) == 2 for bar in played)
    assert any(not bar.words for bar in played[2:-1])
    assert played[-1].way == "hold"


def test_thinning_follows_the_words_exactly() -> None:
    """Bars 3 to 6 of the piece have words: the thumb alone; bar 7 has none: everything. `full` thins a bar early."""
    song = SONGS.songs["last-boat"]
    patterns, book = shelf.library().patterns, shelf.shapes()
    plain = perform(song, song.arrangements["plain"], patterns, book, sing="thumb")
    assert [bar.layer for bar in plain.bars[:8]] == ["full"] * 2 + ["thumb"] * 4 + ["full", "thumb"]
    full = perform(song, song.arrangements["full"], patterns, book, sing="thumb")
    assert [bar.layer for bar in full.bars[:8]] == ["full"] + ["thumb"] * 7
    assert {bar.slots for bar in plain.bars} == {8}
    assert {bar.slots for bar in full.bars} == {16}


@pytest.mark.parametrize("name", IDS)
def test_the_full_arrangement_plucks_more_than_the_plain_one(name: str) -> None:
    """Two tiers over one chart."""
    song = SONGS.songs[name]
    counts = {
        tier: sum(
            len(bar.plucks)
            for bar in perform(song, song.arrangements[tier], shelf.library().patterns, shelf.shapes()).bars
        )
        for tier in ("plain", "full")
    }
    assert counts["full"] > counts["plain"]


def test_every_song_says_where_it_is_from() -> None:
    """A print or ourselves, never a memory; words that no print was at hand for are left out."""
    for song in shelf.songs().songs.values():
        assert song.source
        assert "memory" not in song.source
        words = any(bar.words for part in song.parts.values() for bar in part.bars)
        assert words != ("without its words" in song.source)

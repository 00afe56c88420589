"""A finger that stays down through several chords."""

from __future__ import annotations

import pytest

from coach.guitar.grip import Hand
from coach.guitar.held_tone import HeldTone, find_held_tones
from coach.guitar.moves import touches
from coach.music.chords import Chord


def through(symbols: str, **more: object) -> tuple[HeldTone, ...]:
    """The fingers that can stay down through these chords."""
    return find_held_tones([Chord.parse(s) for s in symbols.split()], **more)  # type: ignore[arg-type]


@pytest.mark.parametrize("symbols", ["G C D Em", "C Am F", "D A Bm G", "Am F C G", "E"])
def test_the_finger_is_down_in_every_grip_and_sounds_its_note(symbols: str) -> None:
    """Same finger, string and fret throughout, alone on its string; the tone is one of each chord that then sounds."""
    tones = through(symbols)
    assert tones
    for tone in tones:
        assert len(tone.grips) == len(symbols.split())
        for grip in tone.grips:
            assert touches(grip)[tone.finger] == (tone.fret, tone.string, tone.string)
            assert (grip.shape.midi(tone.string) or 0) % 12 == tone.note.pitch_class
            assert tone.note.pitch_class in {t.pitch_class for t in grip.chord.tones}


def test_what_the_tone_makes_of_a_chord_is_said() -> None:
    """C under D is Cadd9; G, which has the D, stays G."""
    (tone,) = [t for t in through("G C D Em") if (t.finger, t.string) == ("3", 2)]
    assert tone.added == ("", "Cadd9 of C", "", "Em7 of Em")
    assert str(tone) == "finger 3 keeps D on string 2 at fret 3; it makes Cadd9 of C, Em7 of Em"


def test_a_tone_common_to_all_chords_changes_none() -> None:
    """C and Am have the C on string 2 in common: nothing is added to either."""
    assert through("C Am")[0].added == ("", "")
    assert (through("C Am")[0].string, through("C Am")[0].fret) == (2, 1)


def test_the_easiest_comes_first_and_roots_stay() -> None:
    """Costs rise; no chord changes its root or loses its minor third to a major one."""
    tones = through("Am F C G", limit=9)
    assert [t.cost for t in tones] == sorted(t.cost for t in tones)
    for tone in tones:
        assert [str(g.chord.root) for g in tone.grips] == ["A", "F", "C", "G"]
        assert tone.grips[0].chord.quality in ("m", "m7", "madd9", "sus2", "sus4")


def test_where_no_finger_can_stay_there_is_none() -> None:
    """F#dim7 and B have no common place within two frets' reach."""
    assert through("F#dim7 Bbaug Ddim7 Eaug", hand=Hand(span_mm=40)) == ()
    assert find_held_tones([]) == ()

"""What the drills of a song play: its shapes and capo, changes of two bars, corners of three, words over the thumb."""

from __future__ import annotations

import pytest

from coach.drills.drill_id import DrillId
from coach.drills.song_drills import make_song_drills
from coach.errors import BadInput
from coach.guitar.grip import Hand
from coach.session.conductor import Loop
from coach.session.song_loops import loop_of
from tests.screens.made_pages import BOOK
from tests.screens.made_songs import PATTERNS, lantern, performed


def loop(text: str) -> Loop:
    """The loop of a drill of the lantern song."""
    asked = DrillId.parse(text)
    return loop_of(asked, lantern(), PATTERNS, BOOK, Hand())


def test_every_drill_of_a_song_opens() -> None:
    """Each has bars, and none has more than the whole song."""
    whole = loop("lantern/plain").bars
    for drill in make_song_drills(lantern(), PATTERNS, BOOK):
        assert 1 <= loop(drill.id).bars <= max(whole, 8), drill.id


def test_a_change_is_two_chords_round_and_round_with_the_capo() -> None:
    """G and C, a bar each and twice round; the capo on 2 sounds: the open G string of G at fret 0 is A3, MIDI 57."""
    found = loop("lantern/plain/change/G-C")
    assert [bar.held.name for bar in found.piece.bars] == ["G", "C", "G", "C"]
    assert found.piece.capo == 2
    opened = {p.midi for bar in found.piece.bars for p in bar.plucks if p.string == 3 and p.fret == 0}
    assert opened == {57}


def test_a_pattern_goes_over_the_song_s_own_chords() -> None:
    """Outside-in over the whole bars of the verses and turns that lie over it; the half bars C D as they stand."""
    found = loop("lantern/plain/pattern/outside-in")
    names = {bar.held.name for bar in found.piece.bars}
    assert {"G", "Em", "C", "D"} <= names
    assert all(bar.slots == PATTERNS["outside-in"].slots for bar in found.piece.bars)


def test_a_corner_is_the_bar_with_those_beside_it() -> None:
    """Bar 3 of the verse (C D): with bars 2 and 4. Bar 2 of the song: after the pick-up. The last has none after."""
    piece = performed()
    for id_, bars in (("corner/Verse/3", (1, 4)), ("corner/2", (0, 3)), (f"corner/{len(piece.bars)}", (-2, None))):
        found = loop(f"lantern/plain/{id_}")
        wanted = piece.bars[bars[0] : bars[1]]
        assert [bar.held.name for bar in found.piece.bars] == [bar.held.name for bar in wanted]
        assert [len(bar.plucks) for bar in found.piece.bars] == [len(bar.plucks) for bar in wanted]
        assert found.piece.bars[0].start == 0
    with pytest.raises(BadInput, match="no bar 40"):
        loop("lantern/plain/corner/40")


def test_spoken_words_stand_on_the_thumb_and_it_stays_there() -> None:
    """Singing mode over the thumb, without the ladder; sung over all of it nothing is thinned."""
    spoken, over = loop("lantern/early/spoken/Verse"), loop("lantern/early/part/Verse/sing-full")
    assert (spoken.under, spoken.sung, spoken.climbs) == ("thumb", True, False)
    assert (over.under, over.sung) == ("full", True)
    sung = loop("lantern/early/part/Verse/sing")
    assert (sung.under, sung.sung, sung.climbs) == ("pinches", True, True)

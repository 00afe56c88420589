"""Spelling of a piece's notes and chords in the key that sounds: the hand's key moved up by the capo."""

from __future__ import annotations

from dataclasses import dataclass

from coach.music.chords import Chord
from coach.music.keys import Key
from coach.music.likely_key import likely_key
from coach.music.notes import Pitch, spell_pitch
from coach.music.rekey import plain_chord, rekey
from coach.paper.written_bars import key_behind_capo
from coach.picking.realise import Hold
from coach.song.piece import Piece


@dataclass(frozen=True)
class Spelling:
    """`hand` is the key the hand plays in, `sounding` the one that is heard with the capo on."""

    hand: Key
    sounding: Key

    def chord(self, chord: Chord | None) -> Chord | None:
        """A chord of the hand as it sounds, under the name players use."""
        if chord is None or self.hand == self.sounding:
            return chord
        (moved,) = rekey([chord], self.hand, self.sounding)
        return None if moved is None else plain_chord(moved)

    def pitch(self, midi: int, hold: Hold) -> Pitch:
        """A sounding note: as a tone of the chord that is held, else as the key writes it."""
        chord = self.chord(hold.chord)
        tones = (*chord.tones, chord.lowest) if chord else ()
        note = next((t for t in tones if t.pitch_class == midi % 12), None) or self.sounding.spell(midi)
        return spell_pitch(midi, note)


def spelling_of(piece: Piece) -> Spelling:
    """How `piece` is written; where it has no key of its own, in the one its chords are likeliest in."""
    hand = piece.key or likely_key([hold.chord for bar in piece.bars for hold in bar.held.holds])
    return Spelling(hand, key_behind_capo(hand, piece.capo))

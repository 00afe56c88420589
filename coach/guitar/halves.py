"""Half shapes: every way three neighbouring strings can sound in one hand position, for the search to pair up.

Strings 6 to 4 are the bass half, 3 to 1 the treble half. Tones of the chord are bits, so that whether two halves make
up the chord is one comparison.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from coach.guitar.cost import turn_points
from coach.guitar.fingering import MUTED, OPEN, FretPattern


class Half(NamedTuple):
    """Three strings, lowest first.

    pattern     MUTED, OPEN or frets above the lowest fret of the place
    tones       chord tones that sound, one bit each
    strings     which strings sound, bit 0 for string 6 to bit 5 for string 1
    wanted      which strings sound the wanted bass, and
    fifths      which the chord's fifth, in the same bits
    at_lowest   whether a string is held at the lowest fret
    first, last MIDI numbers of the lowest and the highest string that sound, 0 where none does
    least       the least MIDI number that sounds; in most halves it is `first`
    turns       what it costs that they do not rise in pitch
    """

    pattern: FretPattern = ()
    tones: int = 0
    strings: int = 0
    wanted: int = 0
    fifths: int = 0
    at_lowest: bool = False
    first: int = 0
    last: int = 0
    least: int = 0
    turns: float = 0.0

    @property
    def sounding(self) -> int:
        """How many strings sound."""
        return self.strings.bit_count()


class WantedSounds(NamedTuple):
    """What may sound: the bit of each pitch class of the chord, the bass and the fifth as pitch classes."""

    bits: Mapping[int, int]
    bass: int
    fifth: int


def find_halves(rows: range, open_midi: Sequence[int], places: range, sounds: WantedSounds) -> list[Half]:
    """Every way the strings `rows` (0 for string 6) sound only what is wanted, muted, open or at `places`.

    A bass that is none of the chord's tones sounds on the lowest sounding string of the bass half only.
    """
    built = [Half()]
    for row in rows:
        foreign = rows.start == 0
        options = []
        for number, fret in ((OPEN, 0), *enumerate(places)):
            pitch = open_midi[row] + fret
            bit = sounds.bits.get(pitch % 12, 0)
            if bit or (foreign and pitch % 12 == sounds.bass):
                options.append((number, pitch, bit))
        built = [longer for half in built for longer in _add_string(half, row, options, sounds)]
    return built


def _add_string(half: Half, row: int, options: Sequence[tuple[int, int, int]], sounds: WantedSounds) -> list[Half]:
    """The half with one string more, muted or in any of its ways to sound (number, pitch, bit)."""
    pattern, tones, strings, wanted, fifths, at_lowest, first, last, least, turns = half
    extended = [Half((*pattern, MUTED), tones, strings, wanted, fifths, at_lowest, first, last, least, turns)]
    here = 1 << row
    for number, pitch, bit in options:
        if strings and not bit:
            continue
        extended.append(
            Half(
                (*pattern, number),
                tones | bit,
                strings | here,
                wanted | here if pitch % 12 == sounds.bass else wanted,
                fifths | here if pitch % 12 == sounds.fifth else fifths,
                at_lowest or number == 0,
                first or pitch,
                pitch,
                pitch if not strings or pitch < least else least,
                turns + turn_points(last, pitch) if strings and pitch <= last else turns,
            )
        )
    return extended

"""What shapes are called, held to music21's reading of their pitches (a general library of music theory).

music21 is asked for pitch-class sets (their names by A. Forte, The Structure of Atonal Music, 1973), roots and common
names of spelled chords, never for chord symbols: its reader of those silently changes roots and drops alterations.
"""

from __future__ import annotations

import random

import pytest
from music21 import chord as m21

from coach.guitar.naming import ChordName, name_shape
from coach.guitar.shape import Shape
from coach.music.keys import KEYS
from tests.outside.chord_names import COMMON_NAMES

# Set name -> the chords it can be, each with the place of its root in the set's normal order.
# The sets are Forte's; which chord each is, is arithmetic: 3-11B is 0 4 7, a major triad on its first note.
SETS: dict[str, list[tuple[str, int]]] = {
    "3-11B": [("", 0)],
    "3-11A": [("m", 0)],
    "3-10": [("dim", 0)],
    "3-12": [("aug", 0), ("aug", 1), ("aug", 2)],
    "3-9": [("sus2", 0), ("sus4", 2)],
    "4-20": [("maj7", 1)],
    "4-27B": [("7", 3)],
    "4-27A": [("m7b5", 1), ("m6", 2)],
    "4-26": [("m7", 2), ("6", 3)],
    "4-28": [("dim7", 0), ("dim7", 1), ("dim7", 2), ("dim7", 3)],
    "4-19A": [("m(maj7)", 1)],
    "4-22A": [("add9", 0)],
    "4-14A": [("madd9", 0)],
    "4-23": [("7sus4", 3)],
    "4-25": [("7b5", 1), ("7b5", 3)],
    "4-24": [("7#5", 2)],
}


def _random_shape(chance: random.Random) -> Shape:
    """Any frets up to 4, or frets up to 9 that sound a few notes a third or a fourth apart."""
    if chance.random() < 0.25:
        frets = tuple(chance.choice([None, 0, 0, 1, 2, 2, 3, 3, 4]) for _ in range(6))
    else:
        classes = [chance.randrange(12)]
        for _ in range(chance.choice([2, 3])):
            classes.append((classes[-1] + chance.choice([3, 4, 3, 4, 5])) % 12)
        fitting = [[f for f in range(10) if (pitch + f) % 12 in classes] for pitch in (40, 45, 50, 55, 59, 64)]
        frets = tuple(chance.choice([None, *row]) if row else None for row in fitting)
    return Shape(frets) if sum(f is not None for f in frets) >= 3 else _random_shape(chance)


def _shapes() -> list[Shape]:
    chance = random.Random(20)
    return [_random_shape(chance) for _ in range(500)]


SHAPES = _shapes()


def _heard(shape: Shape) -> m21.Chord:
    return m21.Chord(sorted(shape.midi(s) or 0 for s in shape.sounding))


def _whole(found: tuple[ChordName, ...]) -> list[ChordName]:
    """The readings whose tones are all there, with nothing beside them."""
    return [r for r in found if not r.missing and not r.rings and len(r.chord.tones) == len({*map(_pc, r.notes)})]


def _pc(note: object) -> int:
    return int(note.pitch_class)  # type: ignore[attr-defined]


def test_500_random_shapes_are_read_as_their_pitch_class_sets() -> None:
    """Triads, sixths, sevenths and their like: exactly the roots and kinds that the set can be."""
    told = 0
    for shape in SHAPES:
        heard = _heard(shape)
        if len(heard.orderedPitchClasses) not in (3, 4):
            continue
        order = heard.normalOrder
        wanted = {(quality, order[place]) for quality, place in SETS.get(heard.forteClass, [])}
        found = {(r.chord.quality, r.chord.root.pitch_class) for r in _whole(name_shape(shape))}
        assert found == wanted, (str(shape), heard.forteClass)
        told += bool(wanted)
    assert told > 200


def test_500_random_shapes_sound_what_their_readings_say() -> None:
    """The spelled notes of every reading are the pitches heard, string by string, in every key."""
    for k, shape in enumerate(SHAPES):
        midi = sorted(shape.midi(s) or 0 for s in shape.sounding)
        for reading in name_shape(shape, key=KEYS[k % len(KEYS)]):
            assert [note.pitch_class for note in reading.notes] == [number % 12 for number in midi]


@pytest.mark.parametrize("key", [None, KEYS[0], KEYS[8], KEYS[20]], ids=str)
def test_the_spelled_chord_has_the_root_and_the_name_music21_gives_it(key: object) -> None:
    """Spelled from our root up, music21 finds the same root and calls the chord what we do."""
    seen = set()
    for shape in SHAPES:
        for reading in _whole(name_shape(shape, key=key)):  # type: ignore[arg-type]
            chord = reading.chord
            if chord.quality in COMMON_NAMES:
                spelled = m21.Chord([str(tone).replace("b", "-") for tone in chord.tones])
                assert spelled.root().name == str(chord.root).replace("b", "-")
                assert spelled.commonName == COMMON_NAMES[chord.quality]
                seen.add(chord.quality)
    assert seen == set(COMMON_NAMES)


def test_the_oracle_tells_a_wrong_reading() -> None:
    """The sets keep major from minor and sus2 from sus4: C E G is not what 3-11A means."""
    assert m21.Chord([48, 52, 55]).forteClass == "3-11B"
    assert m21.Chord([48, 51, 55]).forteClass == "3-11A"
    assert m21.Chord([48, 50, 55]).normalOrder == m21.Chord([43, 48, 50]).normalOrder == [0, 2, 7]

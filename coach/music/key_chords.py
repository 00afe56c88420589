"""The chords of a key: its triads and sevenths, its secondary dominants, and whether a chord is its own or borrowed."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache

from coach.music.chords import Chord
from coach.music.keys import Key, interval_between
from coach.music.notes import Note
from coach.music.qualities import FIFTH, QUALITIES

OWN, BORROWED, DOMINANT, OUTSIDE = "own", "borrowed", "dominant", "outside"

# The chords with a minor seventh that lead to the chord a fifth below, as a dominant does.
DOMINANT_SEVENTHS = ("7", "9", "11", "13", "7b9", "7#9", "7b5", "7#5")


def leading_note(key: Key) -> Note:
    """The note a semitone below the tonic; in a minor key that is the raised seventh."""
    return key.tonic.up(6, 11)


def _stack_thirds(key: Key, heights: Iterable[int]) -> tuple[Chord, ...]:
    """Thirds stacked on each note of the scale, up to these steps above it."""
    scale = key.scale
    return tuple(_chord_from([scale[(k + up) % 7] for up in heights]) for k in range(7))


def _chord_from(notes: list[Note]) -> Chord:
    """The chord that has just these notes, from the root up."""
    kind = tuple(interval_between(notes[0], note) for note in notes)
    return Chord(notes[0], next(name for name, row in QUALITIES.items() if row == kind))


@cache
def triads(key: Key) -> tuple[Chord, ...]:
    """The seven triads on the key's own scale (natural minor in a minor key)."""
    return _stack_thirds(key, (0, 2, 4))


@cache
def sevenths(key: Key) -> tuple[Chord, ...]:
    """The seven seventh chords on the key's own scale."""
    return _stack_thirds(key, (0, 2, 4, 6))


def raised_seventh_chords(key: Key) -> tuple[Chord, ...]:
    """The chords that the raised seventh of a minor key gives: V, V7, vii° and vii°7; none in a major key."""
    if not key.minor:
        return ()
    fifth, below = key.scale[4], leading_note(key)
    return (Chord(fifth), Chord(fifth, "7"), Chord(below, "dim"), Chord(below, "dim7"))


@cache
def dominant_targets(key: Key) -> tuple[Chord, ...]:
    """The chords of the key that can have a dominant of their own: its major and minor triads but the tonic.

    The fifth degree of a minor key counts as the major chord it mostly is.
    """
    own = (Chord(c.root) if key.minor and c.root == key.scale[4] else c for c in triads(key)[1:])
    return tuple(c for c in own if c.quality in ("", "m"))


def dominant_of(chord: Chord, quality: str = "7") -> Chord:
    """The dominant of `chord`: its root is a perfect fifth higher."""
    return Chord(chord.root.up(*FIFTH), quality)


def borrowed_chords(key: Key) -> tuple[Chord, ...]:
    """The triads of the parallel key that the key does not have itself, in the order of the parallel's degrees."""
    own = {*triads(key), *raised_seventh_chords(key)}
    return tuple(c for c in triads(key.parallel) if c not in own)


@cache
def _scales(key: Key) -> tuple[frozenset[Note], ...]:
    """The notes of a key: its scale; in a minor key also the scale with its seventh raised."""
    natural = key.scale
    plain = (frozenset(natural),)
    return (*plain, frozenset((*natural[:6], leading_note(key)))) if key.minor else plain


def role_in_key(chord: Chord, key: Key) -> str:
    """What a chord is in a key, by its tones as they are spelled; the bass does not count.

    OWN where the key has them all (in a minor key with the seventh raised or not), BORROWED where the parallel key has,
    DOMINANT where it is the dominant of another chord of the key, else OUTSIDE.
    """
    tones = set(chord.tones)
    if any(tones <= scale for scale in _scales(key)) or (chord.root == key.scale[4] and _acts_as_dominant(chord)):
        return OWN
    if any(tones <= scale for scale in _scales(key.parallel)):
        return BORROWED
    return DOMINANT if dominant_target(chord, key) else OUTSIDE


def _acts_as_dominant(chord: Chord) -> bool:
    return chord.quality == "" or chord.quality in DOMINANT_SEVENTHS


def dominant_target(chord: Chord, key: Key) -> Chord | None:
    """The chord of `key` that `chord` could be the dominant of by its root and kind, None where there is none."""
    if not _acts_as_dominant(chord):
        return None
    return next((t for t in dominant_targets(key) if dominant_of(t).root == chord.root), None)

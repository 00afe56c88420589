"""Names for a shape: every chord (root and quality) that explains what sounds, the likeliest first.

What counts as a name (common practice, no source):

- The root sounds. What sounds is the chord's tones, all of them, but for a perfect fifth (and in chords of six or more
  tones the ninth) that may be missing.
- The lowest sound is the root; or else another tone of the chord, or a bass that is none of its tones and sounds
  nowhere else: then it stands after the slash.
- Only where nothing plainer explains it: a complete chord may have one tone more that open strings above the bass
  sound. Fingers are put down on purpose, but a string may be left to ring.

A shape may have many names: a sus2 over its fifth is a sus4 of that fifth, a sixth chord is a minor seventh of
another root. Which comes first is a sum of small costs (ours): how rare the kind of chord is, what lies lowest, what
is missing or left to ring, and how the chord stands in the key, where one is given.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from coach.guitar.search import TONE_NAMES, may_miss
from coach.guitar.shape import Shape
from coach.guitar.tuning import STANDARD, STRINGS, Tuning
from coach.music.chords import QUALITIES, Chord
from coach.music.key_chords import BORROWED, DOMINANT, OUTSIDE, OWN, role_in_key
from coach.music.keys import Key
from coach.music.notes import Note
from coach.music.numerals import numeral

# How much rarer than a major triad a kind of chord is; what is not named is RARE.
_KINDS = {
    "": 0.0, "m": 0.1, "7": 0.5, "maj7": 0.5, "m7": 0.6, "5": 0.6, "sus4": 0.8, "sus2": 0.8, "dim7": 0.9, "add9": 1.0,
    "dim": 1.0, "aug": 1.0, "m7b5": 1.0, "7sus4": 1.0, "6": 1.1, "9": 1.1, "madd9": 1.2, "m6": 1.2, "m9": 1.2,
    "maj9": 1.2, "6/9": 1.4, "9sus4": 1.4, "m(maj7)": 1.5, "7b9": 1.5, "7#9": 1.5, "7#5": 1.6, "m6/9": 1.7, "7b5": 1.7,
    "13": 1.8, "m11": 1.8,
}  # fmt: skip
_RARE = 2.0

_THIRD_LOWEST, _FIFTH_LOWEST, _OTHER_LOWEST, _FOREIGN_LOWEST = 0.7, 0.6, 1.1, 1.6
_MISSING, _TRIAD_WITHOUT_FIFTH = 0.9, 1.5
_RINGS, _RINGS_AGAINST = 2.5, 1.5
_STANDINGS = {OWN: 0.0, DOMINANT: 0.4, BORROWED: 0.5, OUTSIDE: 1.0}
_WAITING_DOMINANT = -1.2  # a sus4 on the fifth degree is the dominant that still waits

# (letter steps, semitones) up from the root of a tone that is none of the chord's own.
_PLAIN_STEPS = ((0, 0), (1, 1), (1, 2), (2, 3), (2, 4), (3, 5), (3, 6), (4, 7), (5, 8), (5, 9), (6, 10), (6, 11))
_TONES = {
    (0, 0): "root", (1, 1): "flat second", (1, 2): "second", (2, 3): "minor third", (2, 4): "major third",
    (3, 5): "fourth", (3, 6): "raised fourth", (4, 6): "flat fifth", (4, 7): "fifth", (4, 8): "sharp fifth",
    (5, 8): "minor sixth", (5, 9): "sixth", (6, 9): "diminished seventh", (6, 10): "minor seventh",
    (6, 11): "major seventh", (8, 13): "flat ninth", (8, 14): "ninth", (8, 15): "sharp ninth", (10, 17): "eleventh",
    (12, 21): "thirteenth",
}  # fmt: skip

# Roots by pitch class where no key says how to spell them; of two the one whose chord has fewer accidentals.
_ROOTS: tuple[tuple[str, ...], ...] = (
    ("C",), ("Db", "C#"), ("D",), ("Eb", "D#"), ("E",), ("F",), ("F#", "Gb"), ("G",), ("Ab", "G#"), ("A",),
    ("Bb", "A#"), ("B",),
)  # fmt: skip


@dataclass(frozen=True)
class ChordName:
    """One chord that a shape can be.

    notes     what each sounding string plays, lowest first, spelled for this chord (and key)
    why       the reasons in plain words
    score     how unlikely, 0 for the plainest: lower is likelier
    missing   chord tones that do not sound, as in `Grip.missing`
    rings     whether an open string sounds a tone that is not in the chord
    """

    chord: Chord
    notes: tuple[Note, ...]
    why: str
    score: float
    missing: tuple[str, ...] = ()
    rings: bool = False


@dataclass(frozen=True)
class _Sound:
    """What a shape sounds: pitch classes lowest first, their strings, and which of these are open."""

    classes: tuple[int, ...]
    strings: tuple[int, ...]
    opened: tuple[bool, ...]

    def only_open(self, pitch_class: int) -> bool:
        """Whether only open strings above the lowest sound it."""
        places = [k for k, sounds in enumerate(self.classes) if sounds == pitch_class]
        return all(self.opened[k] for k in places) and 0 not in places


def name_shape(shape: Shape, tuning: Tuning = STANDARD, key: Key | None = None) -> tuple[ChordName, ...]:
    """Every name of `shape`, likeliest first; none where no chord known here explains it."""
    strings = [s for s in STRINGS if shape.fret(s) is not None]
    # In a tuning of the player's own a lower string may sound higher.
    strings.sort(key=lambda s: (shape.midi(s, tuning) or 0, -s))
    sound = _Sound(
        tuple((shape.midi(s, tuning) or 0) % 12 for s in strings),
        tuple(strings),
        tuple(shape.fret(s) == 0 for s in strings),
    )
    names = [
        name
        for root in sorted(set(sound.classes))
        for quality in QUALITIES
        for name in _names_with_root(sound, root, quality, key)
    ]
    plain = [name for name in names if not name.rings]
    return tuple(sorted(plain or names, key=lambda r: (r.score, str(r.chord))))


def _names_with_root(sound: _Sound, root: int, quality: str, key: Key | None) -> Iterator[ChordName]:
    """The name with this root and quality, if it explains what sounds."""
    intervals = QUALITIES[quality]
    tones = {(root + semitones) % 12: (steps, semitones) for steps, semitones in intervals}
    sounding, lowest = set(sound.classes), sound.classes[0]
    extra = sounding - tones.keys()
    missing = tones.keys() - sounding
    if any(not (may_miss(tones[m], len(intervals)) or tones[m] == (4, 7)) for m in missing):
        return
    foreign = lowest in extra and sound.classes.count(lowest) == 1
    ringing = extra - {lowest} if foreign else extra
    if len(ringing) > 1 or (ringing and (missing or foreign)) or any(not sound.only_open(r) for r in ringing):
        return
    if (foreign or ringing) and len(sounding) - len(extra) < 3:
        return  # two tones under something else are too little to call it a chord over a bass
    note = _spell_root(root, quality, key)
    intervals_of = {**{other: _PLAIN_STEPS[(other - root) % 12] for other in extra}, **tones}
    names = {pitch_class: _simplify_note(note.up(*interval)) for pitch_class, interval in intervals_of.items()}
    if key is not None:
        names |= {other: key.spell(other) for other in extra}
    chord = Chord(note, quality, None if lowest == root else names[lowest])
    absent = tuple(TONE_NAMES[tones[m][0]] for m in sorted(missing, key=lambda m: tones[m]))
    rings = next(iter(ringing), None)
    score = _KINDS.get(quality, _RARE) + _bass_cost(lowest, root, tones)
    score += len(missing) * (_MISSING if len(intervals) > 3 else _TRIAD_WITHOUT_FIFTH)
    if rings is not None:
        score += _RINGS + (_RINGS_AGAINST if _clashes(rings, root, intervals) else 0.0)
    if key is not None:
        score += _key_cost(chord, key)
    words = [
        _tones_in_words(names, tones, sounding),
        _lowest_in_words(names[lowest], lowest, root, tones),
        " and ".join(f"no {tone}" for tone in absent),
        _ringing_in_words(sound, rings, root, names, intervals),
        "" if key is None else _key_in_words(chord, key),
    ]
    why = "; ".join(filter(None, words))
    notes = tuple(names[c] for c in sound.classes)
    yield ChordName(chord, notes, why, round(score, 6), absent, rings is not None)


def _spell_root(root: int, quality: str, key: Key | None) -> Note:
    """How the root is spelled: so that the chord stands nearest to the key, else with the fewest accidentals."""
    spellings = [Note.parse(name) for name in _ROOTS[root]]
    if key is not None:
        own = key.spell(root)
        spellings = [own, *(note for note in spellings if note != own)]
        # A diminished chord mostly leads to the note of the key a semitone above its root: C#dim, not Dbdim, in C.
        leads = quality in ("dim", "dim7", "m7b5")
        led = {note for note in spellings if leads and note.up(1, 1) in key.scale}
        return min(spellings, key=lambda note: (_STANDINGS[role_in_key(Chord(note, quality), key)], note not in led))
    return min(spellings, key=lambda note: sum(abs(tone.alter) for tone in Chord(note, quality).tones))


def _simplify_note(note: Note) -> Note:
    """A note with two accidentals as players write it: Bbb is A."""
    return note if abs(note.alter) < 2 else Note.parse(_ROOTS[note.pitch_class][0])


def _bass_cost(lowest: int, root: int, tones: dict[int, tuple[int, int]]) -> float:
    if lowest == root:
        return 0.0
    if lowest not in tones:
        return _FOREIGN_LOWEST
    return {2: _THIRD_LOWEST, 4: _FIFTH_LOWEST}.get(tones[lowest][0], _OTHER_LOWEST)


def _clashes(pitch_class: int, root: int, intervals: Sequence[tuple[int, int]]) -> bool:
    """Whether a tone left ringing contradicts the chord: a third where it has none, another third, fifth or seventh."""
    letter = _PLAIN_STEPS[(pitch_class - root) % 12][0]
    letters = {steps for steps, _ in intervals}
    return letter == 2 or (letter in (4, 6) and letter in letters)


def _key_cost(chord: Chord, key: Key) -> float:
    cost = _STANDINGS[role_in_key(chord, key)]
    if chord.root == key.scale[4] and "sus4" in chord.quality:
        cost += _WAITING_DOMINANT
    return cost


def _tones_in_words(names: dict[int, Note], tones: dict[int, tuple[int, int]], sounding: set[int]) -> str:
    return ", ".join(f"{names[c]} {_TONES[interval]}" for c, interval in tones.items() if c in sounding)


def _lowest_in_words(name: Note, lowest: int, root: int, tones: dict[int, tuple[int, int]]) -> str:
    if lowest == root:
        return ""
    if lowest in tones:
        return f"its {_TONES[tones[lowest]]} {name} lies lowest"
    return f"over the bass {name}, which is none of its tones"


def _ringing_in_words(
    sound: _Sound, rings: int | None, root: int, names: dict[int, Note], intervals: Sequence[tuple[int, int]]
) -> str:
    if rings is None:
        return ""
    strings = [str(s) for s, c in zip(sound.strings, sound.classes, strict=True) if c == rings]
    where = f"the open string {strings[0]}" if len(strings) == 1 else f"the open strings {' and '.join(strings)}"
    tone = _TONES[_PLAIN_STEPS[(rings - root) % 12]]
    how = "against it" if _clashes(rings, root, intervals) else "along"
    return f"{where} rings {how}: {names[rings]}, its {tone}"


def _key_in_words(chord: Chord, key: Key) -> str:
    place = f"{numeral(chord, key)} in {key.title}"
    how = {OWN: "", DOMINANT: "", BORROWED: f", borrowed from {key.parallel.title}", OUTSIDE: ", from outside the key"}
    return place + how[role_in_key(chord, key)]

"""The kinds of chord: their tones by interval above the root, and the many ways they are written.

A quality is a row of (letter steps, semitones) above the root, so tones come out properly spelled:
the third of D is F#, the third of Ab is C, the third of Abm is Cb.
"""

from __future__ import annotations

import re

Interval = tuple[int, int]
ROOT: Interval = (0, 0)
SECOND = (1, 2)
MINOR_THIRD, MAJOR_THIRD = (2, 3), (2, 4)
FOURTH = (3, 5)
FLAT_FIFTH, FIFTH, SHARP_FIFTH = (4, 6), (4, 7), (4, 8)
SIXTH = (5, 9)
DIM_SEVENTH, MINOR_SEVENTH, MAJOR_SEVENTH = (6, 9), (6, 10), (6, 11)
FLAT_NINTH, NINTH, SHARP_NINTH = (8, 13), (8, 14), (8, 15)
ELEVENTH, THIRTEENTH = (10, 17), (12, 21)

# The usual spellings first; the tones of each by interval (any harmony handbook; common practice).
# A thirteenth chord goes without its eleventh, which would grate against the third (common practice, no source).
QUALITIES: dict[str, tuple[Interval, ...]] = {
    "": (ROOT, MAJOR_THIRD, FIFTH),
    "m": (ROOT, MINOR_THIRD, FIFTH),
    "5": (ROOT, FIFTH),
    "dim": (ROOT, MINOR_THIRD, FLAT_FIFTH),
    "aug": (ROOT, MAJOR_THIRD, SHARP_FIFTH),
    "sus2": (ROOT, SECOND, FIFTH),
    "sus4": (ROOT, FOURTH, FIFTH),
    "6": (ROOT, MAJOR_THIRD, FIFTH, SIXTH),
    "m6": (ROOT, MINOR_THIRD, FIFTH, SIXTH),
    "7": (ROOT, MAJOR_THIRD, FIFTH, MINOR_SEVENTH),
    "maj7": (ROOT, MAJOR_THIRD, FIFTH, MAJOR_SEVENTH),
    "m7": (ROOT, MINOR_THIRD, FIFTH, MINOR_SEVENTH),
    "m(maj7)": (ROOT, MINOR_THIRD, FIFTH, MAJOR_SEVENTH),
    "m7b5": (ROOT, MINOR_THIRD, FLAT_FIFTH, MINOR_SEVENTH),
    "dim7": (ROOT, MINOR_THIRD, FLAT_FIFTH, DIM_SEVENTH),
    "7sus4": (ROOT, FOURTH, FIFTH, MINOR_SEVENTH),
    "add9": (ROOT, MAJOR_THIRD, FIFTH, NINTH),
    "madd9": (ROOT, MINOR_THIRD, FIFTH, NINTH),
    "6/9": (ROOT, MAJOR_THIRD, FIFTH, SIXTH, NINTH),
    "m6/9": (ROOT, MINOR_THIRD, FIFTH, SIXTH, NINTH),
    "9": (ROOT, MAJOR_THIRD, FIFTH, MINOR_SEVENTH, NINTH),
    "m9": (ROOT, MINOR_THIRD, FIFTH, MINOR_SEVENTH, NINTH),
    "maj9": (ROOT, MAJOR_THIRD, FIFTH, MAJOR_SEVENTH, NINTH),
    "9sus4": (ROOT, FOURTH, FIFTH, MINOR_SEVENTH, NINTH),
    "7b9": (ROOT, MAJOR_THIRD, FIFTH, MINOR_SEVENTH, FLAT_NINTH),
    "7#9": (ROOT, MAJOR_THIRD, FIFTH, MINOR_SEVENTH, SHARP_NINTH),
    "7b5": (ROOT, MAJOR_THIRD, FLAT_FIFTH, MINOR_SEVENTH),
    "7#5": (ROOT, MAJOR_THIRD, SHARP_FIFTH, MINOR_SEVENTH),
    "11": (ROOT, MAJOR_THIRD, FIFTH, MINOR_SEVENTH, NINTH, ELEVENTH),
    "m11": (ROOT, MINOR_THIRD, FIFTH, MINOR_SEVENTH, NINTH, ELEVENTH),
    "13": (ROOT, MAJOR_THIRD, FIFTH, MINOR_SEVENTH, NINTH, THIRTEENTH),
}

# The words a symbol is put together from, each with its other spellings; the longest is tried first.
_WORDS = {
    "maj": ("major", "Major", "Maj", "MAJ", "maj", "Ma", "ma", "M", "Δ", "△", "j"),
    "m": ("minor", "Minor", "Min", "MIN", "min", "Mi", "mi", "m", "-", "−", "–"),
    "dim": ("diminished", "Dim", "DIM", "dim", "°", "º", "o"),
    "aug": ("augmented", "Aug", "AUG", "aug", "+"),
    "hdim": ("ø", "Ø"),
    "add": ("Add", "ADD", "add"),
    "sus": ("Sus", "SUS", "sus"),
}
_WORD_OF = {spelling: word for word, spellings in _WORDS.items() for spelling in spellings}
# (The m of madd9 is no beginning of `ma`.)
_WORD = re.compile("m(?=add)|" + "|".join(sorted(map(re.escape, _WORD_OF), key=len, reverse=True)))

# What is put together so, where it is not a key of QUALITIES already.
_PUT_TOGETHER = {
    "maj": "",
    "majadd9": "add9",
    "hdim": "m7b5",
    "hdim7": "m7b5",
    "dim7b5": "m7b5",
    "mb5": "dim",
    "#5": "aug",
    "mmaj7": "m(maj7)",
    "mmaj": "m(maj7)",
    "sus": "sus4",
    "add2": "add9",
    "madd2": "madd9",
    "add6": "6",
    "madd6": "m6",
    "maj6": "6",
    "6add9": "6/9",
    "m6add9": "m6/9",
    "69": "6/9",
    "m69": "m6/9",
    "maj6/9": "6/9",
    "7sus": "7sus4",
    "sus47": "7sus4",
    "sus7": "7sus4",
    "sus4add9": "9sus4",
    "9sus": "9sus4",
    "sus9": "9sus4",
    "aug7": "7#5",
    "7aug": "7#5",
    "7addb9": "7b9",
    "7add#9": "7#9",
    "maj7add9": "maj9",
    "7add9": "9",
    "m7add9": "m9",
    "5no3": "5",
    "no3": "5",
}


def read_quality(text: str) -> str | None:
    """The key of QUALITIES that `text` (what follows the root in a symbol) stands for, None where it is unknown.

    A triangle alone is a major seventh, `sus` alone a suspended fourth, `o` and `ø` are diminished and half
    diminished; after a figure `-` and `+` are flat and sharp (common practice, no source).
    """
    if text in QUALITIES:
        return text
    plain = text.replace("♯", "#").replace("♭", "b")
    plain = re.sub(r"[(), ]", "", plain)
    if plain in QUALITIES:
        return plain
    plain = re.sub(r"(?<=\d)[-−–](?=[59])", "b", plain)
    plain = re.sub(r"(?<=\d)\+(?=[59])", "#", plain)
    plain = re.sub(r"[Δ△]7?(?!\d)", "Δ7", plain)
    plain = _WORD.sub(lambda match: _WORD_OF[match.group()], plain)
    plain = _PUT_TOGETHER.get(plain, plain)
    return plain if plain in QUALITIES else None

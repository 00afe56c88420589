"""The chord symbols of a MusicXML score: root, kind, degrees and bass, read from the elements themselves.

MusicXML 4.0 has 33 kinds of chord and, beside them, degrees that are added, altered or left out. Those with a quality
of ours get it; the others get the nearest one, and the change is told.
"""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from coach.errors import BadMusic
from coach.music.chords import Chord
from coach.music.notes import LETTERS, Note
from coach.music.qualities import QUALITIES

# kind -> quality (W3C MusicXML 4.0, kind-value). The last seven have no name of their own here.
KINDS = {
    "major": "",
    "minor": "m",
    "augmented": "aug",
    "diminished": "dim",
    "dominant": "7",
    "major-seventh": "maj7",
    "minor-seventh": "m7",
    "diminished-seventh": "dim7",
    "augmented-seventh": "7#5",
    "half-diminished": "m7b5",
    "major-minor": "m(maj7)",
    "major-sixth": "6",
    "minor-sixth": "m6",
    "dominant-ninth": "9",
    "major-ninth": "maj9",
    "minor-ninth": "m9",
    "dominant-11th": "11",
    "minor-11th": "m11",
    "dominant-13th": "13",
    "suspended-second": "sus2",
    "suspended-fourth": "sus4",
    "power": "5",
    "Neapolitan": "",
    "Tristan": "m7b5",
    "major-11th": "maj9",
    "major-13th": "maj9",
    "minor-13th": "m11",
    "Italian": "7",
    "French": "7b5",
    "German": "7",
    "pedal": "5",
}  # fmt: skip
NEAREST = ("major-11th", "major-13th", "minor-13th", "Italian", "French", "German", "pedal")
SILENT = "none"
OTHER = "other"

# An added degree counts from a dominant chord: major and perfect intervals, but a minor seventh (MusicXML 4.0,
# degree-alter).
_DEGREES = {1: 0, 2: 2, 3: 4, 4: 5, 5: 7, 6: 9, 7: 10, 9: 14, 11: 17, 13: 21}


@dataclass(frozen=True)
class Harmony:
    """A chord symbol: `at` quarter notes from the bar line. None is no chord; `note` tells what was changed."""

    at: Fraction
    chord: Chord | None
    note: str = ""


def harmonies(measure: ET.Element, divisions: Fraction) -> tuple[list[Harmony], Fraction]:
    """The chord symbols of one measure in order, and the divisions of a quarter note that hold after it."""
    at = Fraction(0)
    found: dict[Fraction, Harmony] = {}
    for element in measure:
        if element.tag == "attributes":
            divisions = number_of(element.findtext("divisions")) or divisions
        elif element.tag in ("note", "forward", "backup"):
            length = number_of(element.findtext("duration")) / divisions
            if element.tag == "backup":
                at = max(at - length, Fraction(0))
            elif element.find("grace") is None and element.find("chord") is None:
                at += length
        elif element.tag == "harmony":
            where = max(at + number_of(element.findtext("offset")) / divisions, Fraction(0))
            for harmony in _read(element, where):
                found.setdefault(where, harmony)
    return [found[where] for where in sorted(found)], divisions


def number_of(text: str | None) -> Fraction:
    """A number as MusicXML writes it, 0 where it is none or far too large."""
    try:
        value = Fraction((text or "0").strip()[:12])
    except (ValueError, ZeroDivisionError):
        return Fraction(0)
    return value if abs(value) < 1_000_000 else Fraction(0)


def _read(element: ET.Element, at: Fraction) -> Iterator[Harmony]:
    kind = element.find("kind")
    name = (kind.text or "").strip() if kind is not None else ""
    written = (kind.get("text") or "")[:20] if kind is not None else ""
    if name == SILENT:
        yield Harmony(at, None)
        return
    root = _note(element, "root")
    if root is None:
        yield Harmony(at, None, "a chord is given as a numeral or without a root and was left out")
        return
    chord, changed = _chord(root, name, written, element)
    bass = _note(element, "bass")
    turn = int(number_of(element.findtext("inversion")))
    if bass is None and 0 < turn < len(chord.tones):
        bass = chord.tones[turn]
    chord = Chord(chord.root, chord.quality, bass if bass != chord.root else None)
    yield Harmony(at, chord, f"{changed} is read as {chord}" if changed else "")


def _note(element: ET.Element, what: str) -> Note | None:
    step = (element.findtext(f"{what}/{what}-step") or "").strip()
    alter = int(number_of(element.findtext(f"{what}/{what}-alter")))
    return Note(LETTERS.index(step), alter) if step and step in LETTERS and abs(alter) <= 2 else None


def _chord(root: Note, kind: str, written: str, element: ET.Element) -> tuple[Chord, str]:
    """The chord without its bass, and what it was called if it is not quite that."""
    if kind not in KINDS:
        try:
            return Chord.parse(f"{root}{written}"), ""
        except BadMusic:
            return Chord(root), f"the chord {root}{written or ' of another kind'}"
    quality = KINDS[kind]
    degrees = element.findall("degree")
    if degrees:
        found = _with_degrees(quality, degrees)
        if found is None:
            return Chord(root, quality), f"the chord {root}{quality} with other degrees"
        return Chord(root, found), ""
    return Chord(root, quality), f"the {kind} chord on {root}" if kind in NEAREST else ""


def _with_degrees(quality: str, degrees: list[ET.Element]) -> str | None:
    """The quality whose tones are those of `quality` with the degrees changed, None where there is none."""
    tones = dict(QUALITIES[quality])
    for degree in degrees:
        value = int(number_of(degree.findtext("degree-value")))
        alter = int(number_of(degree.findtext("degree-alter")))
        kind = (degree.findtext("degree-type") or "").strip()
        steps = value - 1
        if kind == "subtract":
            tones.pop(steps, None)
        elif kind == "alter" and steps in tones:
            tones[steps] += alter
        elif value in _DEGREES:
            # Many programs count an added seventh from the major one: flat is then the plain minor seventh.
            plain = value == 7 and alter == -1 and quality != "dim"
            tones[steps] = _DEGREES[value] + (0 if plain else alter)
    wanted = {semitones % 12 for semitones in tones.values()}
    same = (name for name, row in QUALITIES.items() if {semitones % 12 for _, semitones in row} == wanted)
    return next(same, None)

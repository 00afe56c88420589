"""Chord symbols and shape diagrams as MusicXML: root, kind with degrees, bass, and the frame beside them.

An added degree counts from a dominant chord (major and perfect intervals, but a minor seventh), an altered one from
the kind itself (MusicXML 4.0, degree-alter).
"""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Iterator

from coach.guitar.shape import Shape
from coach.guitar.tuning import STRINGS
from coach.music.chords import Chord
from coach.music.notes import LETTERS, Note

Degree = tuple[int, int, str]  # value, alter in semitones, add or alter

# quality -> kind (MusicXML 4.0, kind-value: 33 of them) and what must be added to it or altered.
KINDS: dict[str, tuple[str, tuple[Degree, ...]]] = {
    "": ("major", ()),
    "m": ("minor", ()),
    "5": ("power", ()),
    "dim": ("diminished", ()),
    "aug": ("augmented", ()),
    "sus2": ("suspended-second", ()),
    "sus4": ("suspended-fourth", ()),
    "6": ("major-sixth", ()),
    "m6": ("minor-sixth", ()),
    "7": ("dominant", ()),
    "maj7": ("major-seventh", ()),
    "m7": ("minor-seventh", ()),
    "m(maj7)": ("major-minor", ()),
    "m7b5": ("half-diminished", ()),
    "dim7": ("diminished-seventh", ()),
    "7sus4": ("suspended-fourth", ((7, 0, "add"),)),
    "add9": ("major", ((9, 0, "add"),)),
    "madd9": ("minor", ((9, 0, "add"),)),
    "6/9": ("major-sixth", ((9, 0, "add"),)),
    "m6/9": ("minor-sixth", ((9, 0, "add"),)),
    "9": ("dominant-ninth", ()),
    "m9": ("minor-ninth", ()),
    "maj9": ("major-ninth", ()),
    "9sus4": ("suspended-fourth", ((7, 0, "add"), (9, 0, "add"))),
    "7b9": ("dominant", ((9, -1, "add"),)),
    "7#9": ("dominant", ((9, 1, "add"),)),
    "7b5": ("dominant", ((5, -1, "alter"),)),
    "7#5": ("augmented-seventh", ()),
    "11": ("dominant-11th", ()),
    "m11": ("minor-11th", ()),
    "13": ("dominant-13th", ()),
}
_FRETS_SHOWN = 4


def add(parent: ET.Element, tag: str, content: object = None, /, **attributes: str) -> ET.Element:
    """A new child of `parent` with `content` as its text; `_` in an attribute's name stands for `-`."""
    child = ET.SubElement(parent, tag, {name.replace("_", "-"): value for name, value in attributes.items()})
    if content is not None:
        child.text = str(content)
    return child


def make_harmony(chord: Chord | None, shape: Shape | None) -> ET.Element:
    """The harmony element of a chord (None: no chord) with the frame of its shape, without offset and staff."""
    element = ET.Element("harmony", {"placement": "above", "print-frame": "yes" if chord and shape else "no"})
    if chord is None:
        _add_note(element, "root", Note(0))  # the standard wants a root even where there is no chord
        add(element, "kind", "none", text="N")
        return element
    _add_note(element, "root", chord.root)
    kind, degrees = KINDS[chord.quality]
    add(element, "kind", kind, text=chord.quality)
    if chord.bass is not None:
        _add_note(element, "bass", chord.bass)
    for value, alter, way in degrees:
        # It stands in the kind's text already.
        degree = add(element, "degree", print_object="no")
        add(degree, "degree-value", value)
        add(degree, "degree-alter", alter)
        add(degree, "degree-type", way)
    if shape is not None:
        element.append(make_frame(shape))
    return element


def _add_note(parent: ET.Element, what: str, note: Note) -> None:
    element = add(parent, what)
    add(element, f"{what}-step", LETTERS[note.step])
    if note.alter:
        add(element, f"{what}-alter", note.alter)


def make_frame(shape: Shape) -> ET.Element:
    """The shape's diagram: string 1 is the highest, frets count from the nut (or the capo), muted strings have none."""
    held = [f for f in shape.frets if f]
    first = min(held) if held and max(held) > _FRETS_SHOWN else 1
    element = ET.Element("frame")
    add(element, "frame-strings", len(STRINGS))
    add(element, "frame-frets", max(_FRETS_SHOWN, max(held, default=0) - first + 1))
    if first > 1:
        add(element, "first-fret", first)
    barres = dict(_barres(shape))
    for string, fret, finger in zip(STRINGS, shape.frets, shape.fingers, strict=True):
        if fret is None:
            continue
        note = add(element, "frame-note")
        add(note, "string", string)
        add(note, "fret", fret)
        if fret and finger != ".":
            add(note, "fingering", finger)
        if string in barres:
            add(note, "barre", type=barres[string])
    return element


def _barres(shape: Shape) -> Iterator[tuple[int, str]]:
    """(string, start or stop) for each finger that holds several strings at one fret, the lowest string first."""
    for finger in sorted(set(shape.fingers) - {"."}):
        strings = [s for s, f in zip(STRINGS, shape.fingers, strict=True) if f == finger and shape.fret(s)]
        if len(strings) > 1:
            yield strings[0], "start"
            yield strings[-1], "stop"

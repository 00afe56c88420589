"""A MusicXML score read back by its own elements, knowing nothing of how ours are made."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections import defaultdict
from dataclasses import dataclass
from fractions import Fraction

SEMITONES = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}


@dataclass(frozen=True)
class Heard:
    """One note that is struck: `quarter` notes from the bar line; string and fret are 0 off the tab staff."""

    measure: int
    quarter: Fraction
    staff: int
    midi: int
    string: int
    fret: int
    pluck: str


def score(data: bytes) -> ET.Element:
    """The tree of a file."""
    return ET.fromstring(data)


def part(tree: ET.Element, name: str) -> ET.Element:
    """The part with this name in the part list."""
    part_id = next(p.get("id") for p in tree.iter("score-part") if p.findtext("part-name") == name)
    return next(p for p in tree.findall("part") if p.get("id") == part_id)


def midi(note: ET.Element) -> int:
    """MIDI number of a note's pitch: 12 (octave + 1) + step + alter."""
    pitch = note.find("pitch")
    assert pitch is not None
    return 12 * (int(pitch.findtext("octave", "")) + 1) + step(pitch, "step", "alter")


def step(element: ET.Element, name: str, alter: str) -> int:
    """Semitones above C of a step and its alter."""
    return SEMITONES[element.findtext(name, "")] + int(element.findtext(alter, "0"))


def heard(guitar: ET.Element) -> list[Heard]:
    """Every struck note of a part with its place; a note tied to the one before is not struck."""
    notes, divisions = [], 1
    for number, measure in enumerate(guitar.findall("measure")):
        at = start = Fraction(0)
        for element in measure:
            divisions = int(element.findtext("divisions", str(divisions)))
            length = Fraction(int(element.findtext("duration", "0")), divisions)
            if element.tag == "backup":
                at -= length
            elif element.tag == "forward":
                at += length
            elif element.tag == "note":
                if element.find("chord") is None:
                    start, at = at, at + length
                if element.find("pitch") is not None and "stop" not in [t.get("type") for t in element.findall("tie")]:
                    technical = element.find("notations/technical")
                    string, fret, finger = (
                        (technical.findtext(tag, default) if technical is not None else default)
                        for tag, default in (("string", "0"), ("fret", "0"), ("pluck", ""))
                    )
                    staff = int(element.findtext("staff", "1"))
                    notes.append(Heard(number, start, staff, midi(element), int(string), int(fret), finger))
    return notes


def lengths(part: ET.Element) -> list[dict[tuple[str, str], Fraction]]:
    """Bar by bar the sum of each (staff, voice) in quarter notes, chords counted once."""
    bars, divisions = [], 1
    for measure in part.findall("measure"):
        sums: dict[tuple[str, str], Fraction] = defaultdict(Fraction)
        for element in measure:
            divisions = int(element.findtext("divisions", str(divisions)))
            if element.tag == "note" and element.find("chord") is None:
                voice = element.findtext("staff", "1"), element.findtext("voice", "")
                sums[voice] += Fraction(int(element.findtext("duration", "0")), divisions)
        bars.append(dict(sums))
    return bars


def values_told(part: ET.Element) -> list[tuple[Fraction, Fraction]]:
    """(what type, dots and tuplet come to, duration) of each note in quarter notes; both must be one."""
    names = ["whole", "half", "quarter", "eighth", "16th", "32nd", "64th", "128th", "256th"]
    values, divisions = [], 1
    for element in part.iter():
        if element.tag == "divisions":
            divisions = int(element.text or "")
        elif element.tag == "note" and element.find("type") is not None:
            value = Fraction(4, 2 ** names.index(element.findtext("type", "")))
            value *= Fraction(3, 2) ** len(element.findall("dot"))
            changed = element.find("time-modification")
            if changed is not None:
                value *= Fraction(int(changed.findtext("normal-notes", "")), int(changed.findtext("actual-notes", "")))
            values.append((value, Fraction(int(element.findtext("duration", "")), divisions)))
    return values

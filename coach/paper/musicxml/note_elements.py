"""Written notes, chords and rests of one voice as MusicXML note elements, in the order the standard wants."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from coach.music.notes import LETTERS, Note, Pitch
from coach.paper.durations import WrittenNote
from coach.paper.midi_file import VELOCITY
from coach.paper.musicxml.chord_symbols_out import add
from coach.picking.plucks import ACCENT, SOFT, Pluck

# MIDI velocities in per cent of the standard's forte, 90 (MusicXML 4.0, note@dynamics).
_DYNAMICS = {stress: f"{velocity / 90 * 100:.4g}" for stress, velocity in VELOCITY.items()}
_SIGNS = {-2: "flat-flat", -1: "flat", 0: "natural", 1: "sharp", 2: "double-sharp"}


@dataclass(frozen=True)
class NoteHead:
    """One note head: its pitch (None: spoken, without one), an accidental to print, and the pluck it comes from.

    On a tab staff `fret` is shown; `finger` is the fretting hand's, "" where unknown.
    """

    pitch: Pitch | None
    sign: str = ""
    pluck: Pluck | None = None
    tab: bool = False
    finger: str = ""


@dataclass(frozen=True)
class StaffVoice:
    """A voice on a staff: numbers as MusicXML gives them, "" for a part of one staff; `stem` is up, down or ""."""

    voice: int
    staff: str = ""
    stem: str = ""


@dataclass(frozen=True)
class Lyric:
    """A lyric: `syllabic` is single, begin, middle or end."""

    text: str
    syllabic: str


def note_elements(
    written: WrittenNote,
    heads: tuple[NoteHead, ...],
    line: StaffVoice,
    divisions: int,
    *,
    lyric: Lyric | None = None,
    breath: bool = False,
    fermata: bool = False,
) -> Iterator[ET.Element]:
    """The elements of one chord or note, its lowest head first; of a rest when there is no head."""
    if not heads:
        yield _make_note(written, None, line, divisions, chord=False)
    for k, head in enumerate(heads):
        element = _make_note(written, head, line, divisions, chord=k > 0)
        if k == 0 and breath:
            add(_find_or_add(_notations(element), "articulations"), "breath-mark")
        if k == 0 and fermata:
            add(_notations(element), "fermata", type="inverted" if line.stem == "down" else "upright")
        if k == 0 and lyric is not None:
            lyric_element = add(element, "lyric", number="1")
            add(lyric_element, "syllabic", lyric.syllabic)
            add(lyric_element, "text", lyric.text)
        yield element


def _make_note(
    written: WrittenNote, head: NoteHead | None, line: StaffVoice, divisions: int, *, chord: bool
) -> ET.Element:
    note = ET.Element("note")
    pluck = head.pluck if head else None
    if pluck is not None:
        note.set("dynamics", _DYNAMICS[pluck.stress])
    if chord:
        add(note, "chord")
    _add_pitch(note, written, head)
    add(note, "duration", whole_number(written.length * divisions))
    if head is not None:
        for way in _ties(written):
            add(note, "tie", type=way)
    add(note, "voice", line.voice)
    if not written.bar_rest:
        _add_value(note, written, head.sign if head else "")
        if line.stem and head is not None:
            add(note, "stem", line.stem)
        if pluck is not None and pluck.stress == SOFT:
            add(note, "notehead", "normal", parentheses="yes")
        if head is not None and head.pitch is None:
            add(note, "notehead", "slash")
    if line.staff:
        add(note, "staff", line.staff)
    if not chord:
        for number, beam in enumerate(written.beams[:8], start=1):
            add(note, "beam", beam, number=str(number))
    _add_marks(note, written, head, chord=chord)
    return note


def _add_pitch(note: ET.Element, written: WrittenNote, head: NoteHead | None) -> None:
    if head is None:
        rest = add(note, "rest")
        if written.bar_rest:
            rest.set("measure", "yes")
    elif head.pitch is None:
        spoken = add(note, "unpitched")
        add(spoken, "display-step", "B")
        add(spoken, "display-octave", 4)
    else:
        pitch = add(note, "pitch")
        add(pitch, "step", LETTERS[head.pitch.note.step])
        if head.pitch.note.alter:
            add(pitch, "alter", head.pitch.note.alter)
        add(pitch, "octave", head.pitch.octave)


def _add_value(note: ET.Element, written: WrittenNote, sign: str) -> None:
    add(note, "type", written.type)
    for _ in range(written.dots):
        add(note, "dot")
    if sign:
        add(note, "accidental", sign)
    if written.tuplet is not None:
        changed = add(note, "time-modification")
        add(changed, "actual-notes", written.tuplet.parts)
        add(changed, "normal-notes", written.tuplet.normal)
        add(changed, "normal-type", written.tuplet.unit)


def _ties(written: WrittenNote) -> Iterator[str]:
    if written.tied_stop:
        yield "stop"
    if written.tied_start:
        yield "start"


def _notations(note: ET.Element) -> ET.Element:
    return _find_or_add(note, "notations")


def _find_or_add(parent: ET.Element, tag: str) -> ET.Element:
    child = parent.find(tag)
    return add(parent, tag) if child is None else child


def _add_marks(note: ET.Element, written: WrittenNote, head: NoteHead | None, *, chord: bool) -> None:
    """Ties, tuplets, strings and fingers, accents."""
    if head is not None:
        for way in _ties(written):
            add(_notations(note), "tied", type=way)
    if written.edge and written.tuplet is not None and not chord:
        tuplet = add(_notations(note), "tuplet", type=written.edge, number="1", bracket="yes")
        if written.edge == "start":
            for what, count in (("tuplet-actual", written.tuplet.parts), ("tuplet-normal", written.tuplet.normal)):
                side = add(tuplet, what)
                add(side, "tuplet-number", count)
                add(side, "tuplet-type", written.tuplet.unit)
    pluck = head.pluck if head else None
    if head is None or pluck is None:
        return
    if head.tab:
        technical = _find_or_add(_notations(note), "technical")
        add(technical, "string", pluck.string)
        add(technical, "fret", pluck.fret)
        if head.finger:
            add(technical, "fingering", head.finger)
    if not written.tied_stop:  # what rings on is not plucked again
        add(_find_or_add(_notations(note), "technical"), "pluck", pluck.finger)
        if pluck.stress == ACCENT and not head.tab:
            add(add(_notations(note), "articulations"), "accent")


def whole_number(value: Fraction) -> int:
    """`value` in divisions; they are chosen so that every length is a whole number of them."""
    assert value.denominator == 1, value
    return value.numerator


class Accidentals:
    """Which accidentals must be printed in a bar: those that neither the key nor an earlier note there has set."""

    def __init__(self, scale: tuple[Note, ...]) -> None:
        self._key = {note.step: note.alter for note in scale}
        self._printed: dict[tuple[int, int], int] = {}

    def sign(self, pitch: Pitch) -> str:
        """The name of the accidental that `pitch` needs here, "" for none; notes must come in order of time."""
        place = pitch.note.step, pitch.octave
        alter = pitch.note.alter
        if self._printed.get(place, self._key[place[0]]) == alter:
            return ""
        self._printed[place] = alter
        return _SIGNS.get(alter, "")

"""Our MusicXML against the standard and against a reader nobody here made.

The schema is W3C's for MusicXML 4.0 (Community Group Final Report, 2021), as the `musicxml` package carries it; its
two imports come with `xmlschema`. The reader is music21. What a schema cannot see (a pitch that is not that of its
string and fret, a bar that is not full, strings and lines that do not exist) is checked here by itself.
"""

from __future__ import annotations

import hashlib
import re
import warnings
import xml.etree.ElementTree as ET
from collections.abc import Sequence
from fractions import Fraction
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest

from coach import shelf
from coach.guitar.shape import Shape
from coach.guitar.tuning import Tuning
from coach.music.chords import Chord
from coach.music.qualities import QUALITIES
from coach.paper.musicxml.chord_symbols_out import make_frame, make_harmony
from coach.paper.musicxml.score import make_musicxml
from coach.song.perform import perform
from coach.song.piece import Piece
from tests.paper.made import bar_of, over, piece_of, sung
from tests.paper.scores import heard, lengths, midi, part, score, step, values_told
from tests.picking.shipped import PATTERNS

XSD_SHA256 = "88a9784e81442e652a51f3c200011a6c36483ad909e97fbe257daaac6475873a"
# The tuning of the W3C tablature tutorial, line 1 to 6: E2 A2 D3 G3 B3 E4.
STANDARD_MIDI = (40, 45, 50, 55, 59, 64)


@cache
def schema() -> Any:
    """The schema, built once; nothing is fetched."""
    import xmlschema

    path = Path(str(files("musicxml") / "generate_classes" / "musicxml_4_0.xsd"))
    assert hashlib.sha256(path.read_bytes()).hexdigest() == XSD_SHA256
    own = Path(xmlschema.__file__).parent / "schemas"
    places = {
        "http://www.w3.org/XML/1998/namespace": str(own / "XML" / "xml.xsd"),
        "http://www.w3.org/1999/xlink": str(own / "XLINK" / "xlink.xsd"),
    }
    return xmlschema.XMLSchema(str(path), locations=places, allow="local")


def songs() -> list[Piece]:
    """Every arrangement of every shipped song, with the layer it has under words."""
    patterns, book = shelf.library().patterns, shelf.shapes()
    return [
        perform(song, arrangement, patterns, book, sing=arrangement.singing)
        for song in shelf.songs().songs.values()
        for arrangement in song.arrangements.values()
    ]


def faults(piece: Piece, data: bytes) -> list[str]:
    """What is wrong with the score of a piece: by the schema, and by what a schema cannot see."""
    found = [str(error.reason) for error in schema().iter_errors(data.decode())]
    if found:
        return found
    tree = score(data)
    guitar = part(tree, "Guitar")
    tuning = {7 - int(t.get("line", "")): t for t in guitar.iter("staff-tuning")}
    if sorted(tuning) != [1, 2, 3, 4, 5, 6]:
        return ["strings are not the lines 1 to 6"]
    capo = int(guitar.findtext("measure/attributes/staff-details/capo", "0"))
    open_midi = {
        string: 12 * (int(t.findtext("tuning-octave", "")) + 1) + step(t, "tuning-step", "tuning-alter")
        for string, t in tuning.items()
    }
    for note in guitar.iter("note"):
        string, fret = note.findtext("notations/technical/string"), note.findtext("notations/technical/fret")
        on_tab = note.findtext("staff") == "2" and note.find("rest") is None
        if on_tab != (string is not None) or on_tab != (fret is not None):
            found.append("string and fret belong to the notes of the tab staff, and to all of them")
        elif on_tab and midi(note) != open_midi[int(string or "")] + capo + int(fret or ""):
            found.append(f"string {string}, fret {fret} does not sound MIDI {midi(note)}")
    full = [bar.beats * bar.meter.quarters_per_beat for bar in piece.bars]
    for one in tree.findall("part"):
        for number, (sums, length) in enumerate(zip(lengths(one), full, strict=True), start=1):
            found += [f"bar {number}: voice {v} has {s}, not {length}" for v, s in sums.items() if s != length]
        found += [f"a value of {told} lasts {lasts}" for told, lasts in values_told(one) if told != lasts]
    if any(n.pluck not in tuple("pima") for n in heard(guitar)):
        found.append("a note is plucked by no finger")
    return found


def meant(piece: Piece) -> list[tuple[int, Fraction, int, int, int, str]]:
    """(bar, quarter, midi, string, fret, finger) of every pluck that sounds."""
    return sorted(
        (bar.number, p.beat * bar.meter.quarters_per_beat, p.midi, p.string, p.fret, p.finger)
        for bar in piece.bars
        for p in bar.sounding
    )


@pytest.mark.parametrize("at", range(8))
def test_every_pattern_on_five_chords_is_a_valid_score(at: int) -> None:
    """Each pattern on C, Am, F, G7 and D/F#: no fault, and on both staves just the plucks at their beats."""
    assert len(PATTERNS) >= 74
    for number, pattern in enumerate(PATTERNS[at::8]):
        piece = over(pattern, capo=number % 3)
        data = make_musicxml(piece, over_bars=number % 2 == 1)
        assert faults(piece, data) == [], pattern.id
        notes = heard(part(score(data), "Guitar"))
        tab = sorted((n.measure, n.quarter, n.midi, n.string, n.fret, n.pluck) for n in notes if n.staff == 2)
        assert tab == meant(piece), pattern.id
        staff = sorted((n.measure, n.quarter, n.midi) for n in notes if n.staff == 1)
        assert staff == [row[:3] for row in sorted(meant(piece), key=lambda r: r[:3])], pattern.id


def test_every_shipped_song_is_a_valid_score() -> None:
    """All arrangements as they are sung, and a made-up verse: no fault, and the tab has just the plucks that sound."""
    for piece in (sung(), *songs()):
        data = make_musicxml(piece, source="made up for this test")
        assert faults(piece, data) == [], piece.title
        notes = heard(part(score(data), "Guitar"))
        tab = sorted((n.measure, n.quarter, n.midi, n.string, n.fret, n.pluck) for n in notes if n.staff == 2)
        assert tab == meant(piece), piece.title


def test_grids_off_the_beat_are_valid_scores() -> None:
    """Three, five, six, seven, nine and eleven equal slots in bars of every kind, pick-ups and empty bars."""
    for meter, beats in (("4/4", 4), ("3/4", 3), ("6/8", 2), ("12/8", 4), ("5/4", 5)):
        bars = [bar_of(meter, thumb=[0], beats=Fraction(beats) - 1)]
        for slots in (3, 5, 6, 7, 9, 11):
            every = [Fraction(k * beats, slots) for k in range(slots)]
            bars += [bar_of(meter, every[1:], every[::2], slots=slots), bar_of(meter, every[::3], slots=slots)]
        piece = piece_of(*bars, bar_of(meter))
        assert faults(piece, make_musicxml(piece)) == [], meter


@pytest.mark.parametrize(
    ("old", "new", "fault"),
    [
        ("<fret>3</fret>", "<fret>99</fret>", "string 5, fret 99 does not sound MIDI 48"),
        ("<string>5</string>", "<string>4</string>", "string 4, fret 3 does not sound MIDI 48"),
        ("<pluck>p</pluck>", "<pluck>c</pluck>", "a note is plucked by no finger"),
        ("<duration>2</duration>", "<duration>3</duration>", "has 9/2, not 4"),
        ("<dot />", "", "a value of 1 lasts 3/2"),
        ('<kind text="">major</kind>', "<kind>sus4</kind>", "value must be one of"),
        ('line="3"', 'line="7"', "strings are not the lines 1 to 6"),
        ("<step>C</step>", "<step>H</step>", "value must be one of"),
    ],
)
def test_the_checks_themselves_find_a_spoilt_score(old: str, new: str, fault: str) -> None:
    """Each kind of check fails on a score that was spoilt by hand."""
    piece = over("pinch-on-one", "C")
    data = re.sub("<frame>.*?</frame>", "", make_musicxml(piece).decode(), flags=re.DOTALL)
    assert faults(piece, data.encode()) == []
    assert old in data
    tree = data.replace(old, new)
    assert any(fault in found for found in faults(piece, tree.encode()))


# music21 as the other reader


@cache
def music21() -> Any:
    """The library, which warns of things of its own while it is imported."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import music21

    return music21


def read_back(data: bytes, staff: int) -> list[tuple[int, Fraction, int]]:
    """(bar, quarter, midi) of every struck note of a guitar staff as music21 reads it."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        parts = music21().converter.parseData(data.decode(), format="musicxml").parts
    chosen = [p for p in parts if p.partName == "Guitar"][staff - 1].toSoundingPitch()
    found = []
    for number, measure in enumerate(chosen.getElementsByClass("Measure")):
        for note in measure.recurse().notes:
            if "ChordSymbol" in note.classes or "NoChord" in note.classes:
                continue
            for one in note.notes if note.isChord else (note,):
                if one.tie is None or one.tie.type == "start":
                    place = Fraction(note.getOffsetInHierarchy(measure)).limit_denominator(5040)
                    found.append((number, place, one.pitch.midi))
    return sorted(found)


@pytest.mark.parametrize("at", range(4))
def test_music21_reads_back_the_plucks(at: int) -> None:
    """Every pattern on two chords, both staves: the same pitches on the same beats, nothing more."""
    for pattern in PATTERNS[at::4]:
        piece = over(pattern, "C | Am")
        data, wanted = make_musicxml(piece), [row[:3] for row in sorted(meant(piece), key=lambda r: r[:3])]
        for staff in (1, 2):
            assert read_back(data, staff) == wanted, (pattern.id, staff)


def test_music21_reads_back_a_capo_and_triplets() -> None:
    """Behind a capo it reads what sounds; three over two beats fall on thirds."""
    triplets = piece_of(bar_of("4/4", ["0", "2/3", "4/3", 2], [0, 2], slots=6))
    for piece in (over("outside-in", "C | F", capo=3), triplets):
        wanted = [row[:3] for row in sorted(meant(piece), key=lambda r: r[:3])]
        assert read_back(make_musicxml(piece), 1) == wanted


# Chord symbols and frames

# MusicXML 4.0, kind-value: intervals above the root as the schema's documentation lists them, in semitones.
KIND_TONES = {
    "major": (0, 4, 7), "minor": (0, 3, 7), "augmented": (0, 4, 8), "diminished": (0, 3, 6),
    "dominant": (0, 4, 7, 10), "major-seventh": (0, 4, 7, 11), "minor-seventh": (0, 3, 7, 10),
    "diminished-seventh": (0, 3, 6, 9), "augmented-seventh": (0, 4, 8, 10), "half-diminished": (0, 3, 6, 10),
    "major-minor": (0, 3, 7, 11), "major-sixth": (0, 4, 7, 9), "minor-sixth": (0, 3, 7, 9),
    "dominant-ninth": (0, 4, 7, 10, 14), "major-ninth": (0, 4, 7, 11, 14), "minor-ninth": (0, 3, 7, 10, 14),
    "dominant-11th": (0, 4, 7, 10, 14, 17), "minor-11th": (0, 3, 7, 10, 14, 17),
    "dominant-13th": (0, 4, 7, 10, 14, 17, 21), "suspended-second": (0, 2, 7), "suspended-fourth": (0, 5, 7),
    "power": (0, 7),
}  # fmt: skip
# MusicXML 4.0, degree-alter: an added degree counts from a dominant chord, so 7 is the minor seventh.
DOMINANT_DEGREES = {5: 7, 7: 10, 9: 14, 11: 17, 13: 21}


@pytest.mark.parametrize("quality", QUALITIES)
def test_kind_and_degrees_come_to_the_chord_s_tones(quality: str) -> None:
    """Each quality as the standard reads it; a thirteenth is written with the eleventh that players leave out."""
    element = make_harmony(Chord.parse(f"D{quality}" if quality else "D"), None)
    tones = dict.fromkeys(KIND_TONES[element.findtext("kind", "")])
    for degree in element.findall("degree"):
        value, alter = int(degree.findtext("degree-value", "")), int(degree.findtext("degree-alter", ""))
        if degree.findtext("degree-type") == "alter":
            tones.pop(DOMINANT_DEGREES[value])
        tones[DOMINANT_DEGREES[value] + alter] = None
    meant = {semitones for _, semitones in QUALITIES[quality]}
    assert set(tones) == meant | ({17} if quality == "13" else set())


def sounded(strings_and_frets: Sequence[tuple[int, int]]) -> list[int]:
    """MIDI numbers on the tutorial's tuning: string = 7 - line."""
    return [STANDARD_MIDI[6 - string] + fret for string, fret in strings_and_frets]


def test_string_and_fret_sound_as_in_the_published_tutorials() -> None:
    """W3C tablature: string 3, frets 5 7 8 7 5 is C4 D4 Eb4 D4 C4. W3C chord symbols: frames of G6/D and A(add9)."""
    tuning = Tuning.of("E2 A2 D3 G3 B3 E4")
    assert [tuning.open_midi(3) + fret for fret in (5, 7, 8, 7, 5)] == [60, 62, 63, 62, 60]
    for shape, pitches in (("x55430", (50, 55, 59, 62, 64)), ("x77600", (52, 57, 61, 59, 64))):
        written = make_frame(Shape.parse(shape))
        notes = [(int(n.findtext("string", "")), int(n.findtext("fret", ""))) for n in written.findall("frame-note")]
        assert sounded(notes) == list(pitches)


def test_a_frame_counts_frets_from_the_nut_and_strings_from_the_top() -> None:
    """x(10)(12)(12)(11)(10): the frame begins at fret 10, a barre runs from string 5 (start) to string 1 (stop)."""
    written = make_frame(Shape.parse("x(10)(12)(12)(11)(10)", ".13421"))
    assert written.findtext("first-fret") == "10"
    barres = {n.findtext("string"): b.get("type") for n in written.findall("frame-note") for b in n.findall("barre")}
    assert barres == {"5": "start", "1": "stop"}


def test_guitar_is_written_an_octave_above_its_sound_and_tab_is_not() -> None:
    """W3C, clef-octave-change: -1 on the staff of notes alone; its pitches are the sounding ones."""
    guitar = part(score(make_musicxml(over("outside-in", "C"))), "Guitar")
    changes = {c.get("number"): c.findtext("clef-octave-change") for c in guitar.iter("clef")}
    assert changes == {"1": "-1", "2": None}
    assert guitar.find(".//transpose") is None


def test_tempo_is_in_quarter_notes() -> None:
    """MusicXML 4.0, sound@tempo: 6/8 at a dotted quarter of 60 is 90 quarter notes a minute; programs count from 1."""
    tree = score(make_musicxml(over("six-eight-arpeggio", "C", bpm=60)))
    sound = tree.find(".//sound[@tempo]")
    assert sound is not None
    assert sound.get("tempo") == "90"
    assert tree.findtext(".//midi-program") == "26"  # General MIDI: acoustic guitar (steel)
    assert tree.find(".//metronome/beat-unit-dot") is not None


def test_swing_is_told_as_the_standard_does() -> None:
    """MusicXML 4.0, swing: a share of 3/5 is 3 to 2, of two thirds 2 to 1, on eighth notes."""
    for pattern, told in (("swing-easy", ("3", "2")), ("swing-one-finger", ("2", "1"))):
        swing = score(make_musicxml(over(pattern, "C"))).find(".//sound/swing")
        assert swing is not None
        assert (swing.findtext("first"), swing.findtext("second")) == told
        assert swing.findtext("swing-type") == "eighth"


def test_the_file_says_what_it_is() -> None:
    """UTF-8, score-partwise, version 4.0 (MusicXML 4.0, score-partwise)."""
    data = make_musicxml(sung())
    assert data.startswith(b'<?xml version="1.0" encoding="UTF-8"?>')
    assert (ET.fromstring(data).tag, ET.fromstring(data).get("version")) == ("score-partwise", "4.0")

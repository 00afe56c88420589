"""The shipped shapes, and closed forms slid up the neck."""

from __future__ import annotations

import pytest

from coach import places
from coach.errors import BadInput, BadShape
from coach.guitar.bass import bass_of
from coach.guitar.open_shapes import read_pinned_shapes, read_shape_book, read_tunings
from coach.guitar.shape import Shape
from coach.music.chords import QUALITIES, Chord
from coach.music.notes import Note
from tests.sentences import is_one_sentence

BOOK = read_shape_book(places.shipped("shared") / "shapes.toml")
TUNINGS = read_tunings(places.shipped("shared") / "tunings.toml")
OPEN = [(name, shape) for name, shapes in BOOK.open.items() for shape in shapes]
SLID = [
    (f"{root}{quality}", shape)
    for root in ["C", "C#", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B"]
    for quality in QUALITIES
    if BOOK.slides[quality]
    for shape in BOOK.shapes(Chord.parse(root + quality))
    if shape not in BOOK.open.get(root + quality, ())
]
FIRST = [(name, shapes[0]) for name, shapes in BOOK.open.items()]


def _classes(shape: Shape) -> set[int]:
    return {(shape.midi(s) or 0) % 12 for s in shape.sounding}


@pytest.mark.parametrize(("name", "shape"), OPEN + SLID, ids=lambda v: str(v))
def test_a_shape_sounds_its_chord(name: str, shape: Shape) -> None:
    """Only tones of the chord sound, and all of them but perhaps the perfect fifth."""
    chord = Chord.parse(name)
    allowed = {t.pitch_class for t in chord.tones} | {chord.lowest.pitch_class}
    spared = {chord.root.up(4, 7).pitch_class} if len(chord.tones) > 3 else set()
    assert _classes(shape) <= allowed
    assert _classes(shape) >= {t.pitch_class for t in chord.tones} - spared


@pytest.mark.parametrize(("name", "shape"), OPEN + SLID, ids=lambda v: str(v))
def test_the_thumb_finds_the_bass_note(name: str, shape: Shape) -> None:
    """The root string sounds the root, or the note after the slash."""
    chord = Chord.parse(name)
    assert (shape.midi(bass_of(shape, chord).r) or 0) % 12 == chord.lowest.pitch_class


@pytest.mark.parametrize(("name", "shape"), FIRST + SLID, ids=lambda v: str(v))
def test_the_usual_shape_has_its_bass_note_lowest(name: str, shape: Shape) -> None:
    """The lowest string of a chord's first shape, and of every slid form, sounds its bass note."""
    assert (shape.midi(shape.sounding[0]) or 0) % 12 == Chord.parse(name).lowest.pitch_class


@pytest.mark.parametrize(("name", "shape"), OPEN, ids=lambda v: str(v))
def test_written_fingers_press_the_written_frets(name: str, shape: Shape) -> None:
    """A fretted string has a finger, an open or muted one has none, and one finger stays at one fret."""
    for fret, finger in zip(shape.frets, shape.fingers, strict=True):
        assert (finger != ".") == bool(fret)
    held = {(finger, fret) for fret, finger in zip(shape.frets, shape.fingers, strict=True) if finger != "."}
    assert len(held) == len({finger for finger, _ in held})


# common practice, no source: the full barre under an open form.
@pytest.mark.parametrize(
    ("chord", "shape"),
    [("F#m", "244222"), ("Bm", "x24432"), ("Bb", "x13331"), ("G#m", "466444"), ("F#", "244322"), ("C#m", "x46654")],
)
def test_closed_forms_slide(chord: str, shape: str) -> None:
    """F#m is the Em form at fret 2, Bm the Am form at fret 2: the lowest on the neck comes first."""
    assert str(BOOK.shapes(Chord.parse(chord))[0]) == shape


def test_other_spelling_other_name_same_shape() -> None:
    """A#m is played as Bbm is."""
    assert BOOK.shapes(Chord.parse("A#m"))[0] == BOOK.shapes(Chord.parse("Bbm"))[0]


def test_the_chords_of_the_style_are_all_there() -> None:
    """The open chords a singer-guitarist meets first have an open shape each."""
    wanted = [
        "C",
        "A",
        "G",
        "E",
        "D",
        "Am",
        "Em",
        "Dm",
        "F",
        "B7",
        "A7",
        "D7",
        "E7",
        "G7",
        "C7",
        "Cadd9",
        "Dsus4",
        "Asus2",
        "G/B",
        "C/G",
        "D/F#",
    ]
    assert [name for name in wanted if name not in BOOK.open] == []
    assert {str(s) for s in BOOK.open["F"]} >= {"xx3211", "133211"}


def test_half_a_step_down_keeps_the_shapes() -> None:
    """A guitar tuned half a step down is played with the same shapes."""
    g = Chord.parse("G")
    assert BOOK.shapes(g, TUNINGS["half-step-down"]) == BOOK.shapes(g)


@pytest.mark.parametrize(("chord", "tuning"), [("Cdim7", "standard"), ("C/F#", "standard"), ("G", "dadgad")])
def test_a_chord_without_a_shape_is_refused(chord: str, tuning: str) -> None:
    """No shape known for this chord or tuning: one sentence that asks for one."""
    with pytest.raises(BadShape) as caught:
        BOOK.shapes(Chord.parse(chord), TUNINGS[tuning])
    assert is_one_sentence(caught.value)


def test_shapes_are_pinned() -> None:
    """`C=x32010, F=xx3211` pins two shapes, blanks allowed."""
    pins = read_pinned_shapes("C=x32010, F=xx3211,")
    assert {name: str(shape) for name, shape in pins.items()} == {"C": "x32010", "F": "xx3211"}


@pytest.mark.parametrize("text", ["C", "C=", "=x32010", "C=x3201", "H=x32010"])
def test_bad_pins_are_refused(text: str) -> None:
    """A pin without a chord or a shape is refused in one sentence."""
    with pytest.raises(BadInput) as caught:
        read_pinned_shapes(text)
    assert is_one_sentence(caught.value)


def test_a_root_may_be_any_note() -> None:
    """Every major and minor chord on every root, sharps and flats, has at least one shape."""
    for step in range(7):
        for alter in (-1, 0, 1):
            for quality in ("", "m", "7", "m7"):
                assert BOOK.shapes(Chord(Note(step, alter), quality))


@pytest.mark.parametrize(
    ("chord", "shape"),
    [("Emaj7", "021100"), ("F#maj7", "2x332x"), ("F#m7b5", "xx4555"), ("E7sus4", "020200"), ("G7sus4", "353533")],
)
def test_sevenths_are_held_where_players_hold_them(chord: str, shape: str) -> None:
    """Low on the neck, and not high up by a form of another string (common practice, no source)."""
    assert str(BOOK.shapes(Chord.parse(chord))[0]) == shape

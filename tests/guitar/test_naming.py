"""What a shape is called."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach import places
from coach.guitar.naming import name_shape
from coach.guitar.open_shapes import read_shape_book, read_tunings
from coach.guitar.search import find_grips
from coach.guitar.shape import Shape
from coach.guitar.tuning import STANDARD
from coach.music.chords import Chord
from coach.music.keys import KEYS, Key
from tests.guitar.test_shape import SHAPES

BOOK = read_shape_book(places.shipped("shared") / "shapes.toml")
TUNINGS = read_tunings(places.shipped("shared") / "tunings.toml")
OPEN = [(name, shape) for name, shapes in BOOK.open.items() for shape in shapes]


def _names(shape: str, key: str = "", tuning: str = "standard") -> list[str]:
    names = name_shape(Shape.parse(shape), TUNINGS[tuning], Key.parse(key) if key else None)
    return [str(r.chord) for r in names]


# common practice, no source: what players call these.
@pytest.mark.parametrize(
    ("shape", "names"),
    [
        ("xx3211", ["F"]),
        ("133211", ["F"]),
        ("x33211", ["F/C"]),
        ("x33011", ["Csus4", "Fsus2/C"]),
        ("xx0230", ["Dsus2", "Asus4/D"]),
        ("x02010", ["Am7"]),
        ("x32210", ["Am/C"]),
        ("320001", ["G7"]),
        ("x32310", ["C7"]),
        ("022030", ["Em7"]),
        ("xx0222", ["Dmaj7"]),
        ("302210", ["Am/G"]),
        ("200232", ["D/F#"]),
        ("x46654", ["C#m"]),
        ("x1333x", ["Bb"]),
        ("x7675x", ["E7"]),
        ("022xxx", ["E5"]),
    ],
)
def test_common_shapes_have_their_common_names(shape: str, names: list[str]) -> None:
    """The name every player gives comes first, and the second where two are known."""
    assert _names(shape)[: len(names)] == names


@pytest.mark.parametrize(("name", "shape"), OPEN, ids=lambda v: str(v))
def test_every_open_shape_is_named_as_the_trade_names_it(name: str, shape: Shape) -> None:
    """The chord it stands under comes first; with the fifth under its root it gets that fifth as its bass."""
    chord = Chord.parse(name)
    first = name_shape(shape)[0].chord
    lowest = (shape.midi(shape.sounding[0]) or 0) % 12
    if lowest != chord.lowest.pitch_class:
        assert lowest == chord.fifth.pitch_class
        chord = Chord(chord.root, chord.quality, chord.fifth)
    assert str(first) == str(chord)


def test_f_is_meant_in_c() -> None:
    """x33010 in C: first the sus2 of F over its fifth, E ringing on top, then the sus4 of C that E rings against."""
    first, second = name_shape(Shape.parse("x33010"), key=Key.parse("C"))
    assert [str(r.chord) for r in (first, second)] == ["Fsus2/C", "Csus4"]
    assert [str(n) for n in first.notes] == ["C", "F", "G", "C", "E"]
    assert "its fifth C lies lowest" in first.why
    assert "rings along: E, its major seventh" in first.why
    assert "IV" in first.why
    assert "rings against it: E, its major third" in second.why


def test_a_sus4_on_the_fifth_degree_is_the_waiting_dominant() -> None:
    """The same shape in F: C is the dominant there, so Csus4 comes first."""
    assert _names("x33010", "F") == ["Csus4", "Fsus2/C"]


@pytest.mark.parametrize(("sus2", "sus4"), [("Dsus2", "Asus4"), ("Fsus2", "Csus4"), ("Bbsus2", "Fsus4")])
def test_a_sus2_over_its_fifth_is_a_sus4(sus2: str, sus4: str) -> None:
    """The three notes are the same: both readings are told of every shape that sounds one of them."""
    for grip in find_grips(Chord.parse(sus2), limit=20):
        roots = {(str(r.chord.root), r.chord.quality) for r in name_shape(grip.shape)}
        assert {(sus2[:-4], "sus2"), (sus4[:-4], "sus4")} <= roots


def test_a_sixth_chord_is_a_minor_seventh_of_another_root() -> None:
    """C E G A is C6 and Am7, whichever lies lowest; Am7 comes first on its own root."""
    assert _names("x02213")[0] == "Am7"
    for shape, first in (("x32213", "Am7/C"), ("x02213", "Am7")):
        assert {name.split("/")[0] for name in _names(shape)} >= {"C6", "Am7"}
        assert first in _names(shape)


@given(st.sampled_from(OPEN), st.sampled_from(KEYS))
def test_the_key_changes_spelling_and_order_but_not_what_is_heard(named: tuple[str, Shape], key: Key) -> None:
    """The same readings by their pitches, whatever the key."""
    plain, keyed = name_shape(named[1]), name_shape(named[1], key=key)
    assert {(r.chord.root.pitch_class, r.chord.quality) for r in plain} == {
        (r.chord.root.pitch_class, r.chord.quality) for r in keyed
    }


@pytest.mark.parametrize(
    ("shape", "key", "name"),
    [
        ("244322", "Db", "Gb"),
        ("244322", "B", "F#"),
        ("x46664", "Ab", "Db"),
        ("x46664", "E", "C#"),
        ("466544", "C", "Ab"),
        ("200232", "C", "D/F#"),
        ("x12023", "C", "C#dim/Bb"),
        ("x12023", "C", "Em6/Bb"),
    ],
)
def test_names_are_spelled_in_the_key(shape: str, key: str, name: str) -> None:
    """Fret 2's barre is Gb in Db and F# in B; a dominant keeps its leading note."""
    assert name in _names(shape, key)


def test_a_chord_of_the_key_comes_before_one_from_outside() -> None:
    """B D F G# has four roots: in C it is told as vii of C first, in D as the one on C#."""
    shape = Shape.parse("xx0101")
    plain, in_a = _names("xx0101"), _names("xx0101", "Am")
    assert in_a[0] == "G#dim7/D"
    assert plain[0] == "Ddim7"
    assert name_shape(shape, key=Key.parse("Am"))[0].chord.root.pitch_class == 8


def test_a_strange_bass_sounds_in_the_bass_alone() -> None:
    """Bb over an open low E is Bb/E; with another E on top it is no plain chord over a bass any more."""
    assert "Bb/E" in _names("01333x")
    assert _names("013330") == []


def test_a_string_left_ringing_is_the_last_way_out() -> None:
    """x02010 is Am7, so nobody says Am with a G ringing; x33010 has nothing plainer."""
    assert not any(r.rings for r in name_shape(Shape.parse("x02010")))
    assert "Am" not in _names("x02010")
    assert all(r.rings for r in name_shape(Shape.parse("x33010")))


def test_what_is_missing_is_told() -> None:
    """C7 x32310 has no G, and says so; a chord of three tones without its fifth comes last."""
    c7 = name_shape(Shape.parse("x32310"))[0]
    assert (str(c7.chord), c7.missing) == ("C7", ("fifth",))
    assert "no fifth" in c7.why


def test_the_tuning_counts() -> None:
    """All strings open are G in open G, and D A D G A D is a Dsus4."""
    assert _names("000000", tuning="open-g")[0] == "G/D"
    assert _names("000000", tuning="dadgad")[0] == "Dsus4"


def test_half_a_step_down_is_half_a_step_down() -> None:
    """x32010 on strings half a step lower sounds B."""
    assert _names("x32010", tuning="half-step-down")[0] == "B"


def test_what_nobody_names_has_no_reading() -> None:
    """Four semitones side by side are no chord; a lone fifth is one."""
    assert _names("xx01xx") == []
    assert _names("x02xxx")[0] == "A5"


@given(SHAPES)
def test_every_reading_explains_every_string(shape: Shape) -> None:
    """One spelled note for each sounding string, at the pitch it sounds; the score rises; nothing is told twice."""
    names = name_shape(shape)
    heard = sorted(shape.midi(s, STANDARD) or 0 for s in shape.sounding)
    assert [r.score for r in names] == sorted(r.score for r in names)
    assert len({str(r.chord) for r in names}) == len(names)
    for r in names:
        assert [note.pitch_class for note in r.notes] == [midi % 12 for midi in heard]
        assert Chord.parse(str(r.chord)) == r.chord
        assert r.chord.lowest.pitch_class == heard[0] % 12


@pytest.mark.parametrize("symbol", ["C", "Am", "G7", "Fmaj7", "Bm7b5", "Dsus4", "E9", "D/F#", "Cadd9"])
def test_what_the_search_finds_is_read_back(symbol: str) -> None:
    """Every shape of a chord has that chord among its readings, the fifth as its bass where it lies lowest."""
    chord = Chord.parse(symbol)
    for grip in find_grips(chord, max_fret=7):
        names = [(r.chord.root, r.chord.quality) for r in name_shape(grip.shape)]
        assert (chord.root, chord.quality) in names, grip.shape

"""Songs made up at random, for laws that must hold for every song."""

from __future__ import annotations

from fractions import Fraction

from hypothesis import strategies as st

from coach.guitar.shape import Shape
from coach.music.chords import Chord
from coach.music.keys import Key
from coach.music.meter import METERS, Meter
from coach.music.notes import Pitch
from coach.song.arrangement import Arrangement, BarWay, PartWay
from coach.song.chart import HOLD, SILENT, SOUND, ChartBar, Part, Song, TuneNote, Word

HALF = Fraction(1, 2)
CHORDS = ("G", "Em", "C", "D", "D7", "Am", "Bm", "Cm", "F", "G/B", "B7", "Cadd9", "A7sus4", "Bbmaj7", "F#m7b5")
SHAPES = {"G": "320003", "Em": "022000", "C": "x32010", "D": "xx0232", "F": "xx3211", "Am": "x02210"}
PITCHES = tuple(Pitch.parse(p) for p in ("D4", "E4", "F#4", "G4", "A4", "Bb4", "B4", "C5", "D5", "E5"))
NAMES = ("Verse", "Chorus", "Second verse", "Zwischenspiel", "part.with.dots", 'the "last"')
# A pattern that fits for each meter, and another one.
FITTING = {
    "4/4": ("outside-in", "half-bar-sixteenths"),
    "3/4": ("waltz-alternating", "waltz-bass-and-chord"),
    "6/8": ("six-eight-arpeggio", "six-eight-thumb"),
}

_words = st.sampled_from(["salt", "on", "the", "win-", "dow,", "Fähre", "o'er", '"quoted"', "#tag", "[x]", "a\u00a0b"])
chords = st.sampled_from(CHORDS).map(Chord.parse)


@st.composite
def tunes(draw: st.DrawFn, beats: Fraction) -> tuple[TuneNote, ...]:
    """Notes and rests of half a beat and more that fill a bar, some tied to the one before."""
    notes: list[TuneNote] = []
    at = Fraction(0)
    while at < beats:
        length = min(draw(st.sampled_from([HALF, Fraction(1), Fraction(3, 2), Fraction(2)])), beats - at)
        if draw(st.integers(0, 4)):
            before = notes[-1] if notes and notes[-1].beat + notes[-1].length == at else None
            tied = before is not None and draw(st.integers(0, 4)) == 0
            pitch = before.pitch if before and tied else draw(st.sampled_from(PITCHES))
            notes.append(TuneNote(at, length, pitch, tied))
        at += length
    return tuple(notes)


@st.composite
def bars(draw: st.DrawFn, meter: Meter, *, short: bool = False) -> ChartBar:
    """A bar with one to three chords, words at notes or on beats, perhaps a tune; `short` for a pick-up."""
    beats = draw(st.sampled_from([HALF, Fraction(1)])) if short else Fraction(meter.beats)
    number = draw(st.integers(1, 3))
    placed = tuple((beats * k / number, draw(chords | st.none())) for k in range(number))
    tune = draw(st.just(()) | tunes(beats))
    places = [n.beat for n in tune if not n.tied] or [Fraction(k) for k in range(-(-beats // 1)) if not tune]
    said = sorted(draw(st.sets(st.sampled_from(places)))) if places else []
    words = tuple(Word(at, draw(_words)) for at in said)
    ends = [n.beat + n.length for n in tune] or [beats]
    breaths = tuple(sorted(draw(st.sets(st.sampled_from(ends), max_size=1))))
    way = draw(st.sampled_from([SOUND, SOUND, SOUND, HOLD, SILENT]))
    return ChartBar(placed, words, tune, beats if short else None, way, breaths)


@st.composite
def songs(draw: st.DrawFn) -> Song:
    """A song of one to three parts with two arrangements that fit it."""
    names = draw(st.lists(st.sampled_from(NAMES), min_size=1, max_size=3, unique=True))
    meter = METERS[draw(st.sampled_from(sorted(FITTING)))]
    parts = {}
    for name in names:
        first = [draw(bars(meter, short=True))] if draw(st.booleans()) else []
        rest = draw(st.lists(bars(meter), min_size=1, max_size=5))
        tempo = draw(st.none() | st.sampled_from([Fraction(60), Fraction(97, 2)]))
        parts[name] = Part(name, (*first, *rest), None, tempo)
    usual, other = FITTING[str(meter)]
    arrangements = {name: draw(ways(name, parts, usual, other)) for name in ("plain", "my own")}
    order = tuple(draw(st.lists(st.sampled_from(names), min_size=1, max_size=5)))
    pinned = draw(st.sets(st.sampled_from(sorted(SHAPES)), max_size=2))
    low, high = Pitch.parse("A2"), Pitch.parse("D4")
    return Song(
        id="made-up",
        title=draw(st.sampled_from(["Made up", 'The "ferry"', "Über # dem = Fluss"])),
        key=Key.parse(draw(st.sampled_from(["G", "C", "Bb", "F#"]))),
        meter=meter,
        tempo=draw(st.sampled_from([Fraction(92), Fraction(185, 2), Fraction(184, 3)])),
        parts=parts,
        order=order,
        voice=(low, high),
        shapes={chord: Shape.parse(SHAPES[chord]) for chord in sorted(pinned)},
        arrangements=arrangements,
        source=draw(st.sampled_from(["", "made up"])),
    )


@st.composite
def ways(draw: st.DrawFn, name: str, parts: dict[str, Part], usual: str, other: str) -> Arrangement:
    """An arrangement with patterns for chords, shapes, a stand-in, and bars of their own."""
    pins = st.dictionaries(st.sampled_from(sorted(SHAPES)), st.none(), max_size=2).map(
        lambda chords_used: {chord: Shape.parse(SHAPES[chord]) for chord in sorted(chords_used)}
    )
    some = st.dictionaries(st.sampled_from(["C", "D"]), st.sampled_from([usual, other]), max_size=1)
    stand_in = st.sampled_from([{}, {"F": "G:1@1"}, {"F": "Fmaj7"}])
    part_ways = {
        part.name: PartWay(
            pattern=draw(st.sampled_from(["", usual, other])),
            by_chord=draw(some),
            shapes=draw(pins),
            stand_in=draw(stand_in),
            bars=draw(
                st.dictionaries(
                    st.integers(0, len(part.bars) - 1),
                    st.sampled_from(
                        [
                            BarWay(pattern=other, why="so"),
                            BarWay(lanes=(("p", "r . a ."), ("i", ". 3 . 3")), slots=4),
                            BarWay(shapes={"G": Shape.parse("320033")}),
                            BarWay(
                                lanes=(("p", "r . r ."), ("m", ". 2! . 2")), slots=4,
                                shapes={"N": Shape.parse("000000")},
                            ),
                        ]
                    ),
                    max_size=2,
                )
            ),
        )
        for part in draw(st.lists(st.sampled_from(list(parts.values())), unique_by=id, max_size=2))
    }
    return Arrangement(
        name=name,
        way=PartWay(pattern=usual, by_chord=draw(some), shapes=draw(pins), stand_in=draw(stand_in)),
        parts=part_ways,
        key=draw(st.none() | st.sampled_from(["C", "G", "E", "Ab"]).map(Key.parse)),
        capo=draw(st.integers(0, 5)),
        singing=draw(st.sampled_from(["thumb", "pinches"])),
        early=draw(st.booleans()),
        tempo=draw(st.none() | st.just(Fraction(70))),
        why=draw(st.sampled_from([(), ("easy", "low")])),
    )

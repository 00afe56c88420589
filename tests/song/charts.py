"""Random charts for the arranger: any meter, pick-ups, chords on odd beats, silence, and a tune if wanted."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

from hypothesis import strategies as st

from coach.music.chords import Chord
from coach.music.keys import Key
from coach.music.meter import METERS, Meter
from coach.music.notes import pitch_of
from coach.song.chart import HOLD, SILENT, SOUND, ChartBar, Part, Song, TuneNote, Word

SYMBOLS = ("C", "Dm", "Em", "F", "G", "Am", "G7", "D/F#", "Bb", "Fm", "Cmaj7", "Dsus4", "E7", "F#m7b5", "Abm")
CHORDS = [None, *map(Chord.parse, SYMBOLS)]


@st.composite
def chart_bars(draw: st.DrawFn, meter: Meter, *, tune: bool, length: Fraction | None = None) -> ChartBar:
    """One bar; its chords change on any third or quarter of a beat."""
    beats = Fraction(meter.beats) if length is None else length
    grid = draw(st.sampled_from([1, 2, 3, 4]))
    places = [Fraction(k, grid) for k in range(1, int(beats * grid)) if Fraction(k, grid) < beats]
    at = draw(st.lists(st.sampled_from(places), max_size=2, unique=True)) if places else []
    chords = tuple((beat, draw(st.sampled_from(CHORDS))) for beat in [Fraction(0), *sorted(at)])
    notes: list[TuneNote] = []
    if tune:
        steps = [Fraction(k, grid) for k in range(int(beats * grid) + 1)]
        edges = sorted(set(draw(st.lists(st.sampled_from(steps), min_size=2, max_size=6))))
        for start, end in pairwise(edges):
            notes.append(TuneNote(start, end - start, pitch_of(draw(st.integers(60, 76)))))
    words = (Word(Fraction(0), "la"),) if draw(st.booleans()) else ()
    way = draw(st.sampled_from([SOUND, SOUND, SOUND, SOUND, HOLD, SILENT]))
    return ChartBar(chords, words, tuple(notes), length, way)


@st.composite
def charts(draw: st.DrawFn, *, tune: bool = False) -> Song:
    """A song of one to three parts with at least one chord."""
    meters = list(METERS.values())
    base = draw(st.sampled_from(meters))
    parts: dict[str, Part] = {}
    for name in "ABC"[: draw(st.integers(1, 3))]:
        meter = draw(st.sampled_from([base, base, *meters]))
        bars = draw(st.lists(chart_bars(meter, tune=tune), min_size=1, max_size=4))
        if draw(st.booleans()):
            length = draw(st.sampled_from([Fraction(1, 2), Fraction(1), Fraction(3, 2)]))
            bars = [draw(chart_bars(meter, tune=tune, length=length)), *bars]
        bars.append(ChartBar(((Fraction(0), draw(st.sampled_from(CHORDS[1:]))),)))
        parts[name] = Part(name, tuple(bars), None if meter == base else meter)
    order = draw(st.lists(st.sampled_from(sorted(parts)), min_size=1, max_size=5))
    return Song("made-up", "Made up", Key.parse("C"), base, Fraction(90), parts, tuple(order))

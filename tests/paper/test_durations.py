"""A bar's plucks become written notes: two voices, each exactly as long as the bar."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coach.music.meter import METERS
from coach.music.notes import Pitch
from coach.paper.durations import TYPES, WrittenNote, write_tune, write_voices, write_word_rhythm
from coach.song.chart import TuneNote, Word
from coach.song.piece import PieceBar
from tests.paper.made import bar_of, over
from tests.picking.shipped import PATTERNS

SHORT = {"whole": "1", "half": "2", "quarter": "4", "eighth": "8", "16th": "16", "32nd": "32"}


def as_text(line: tuple[WrittenNote, ...]) -> str:
    """A voice on one line: 4 a quarter, 8. a dotted eighth, r8 a rest, 8~ tied on, 8/3 in a tuplet of three."""
    return " ".join(
        ("r" if w.rest else "") + SHORT[w.type] + "." * w.dots + (f"/{w.tuplet.parts}" if w.tuplet else "")
        + ("~" if w.tied_start else "")
        for w in line
    )  # fmt: skip


@pytest.mark.parametrize(
    ("meter", "beats", "written"),
    [
        ("4/4", ["0", "1", "2", "3"], "4 4 4 4"),
        ("4/4", ["0"], "1"),
        ("4/4", ["1", "3"], "r4 2 4"),
        ("4/4", ["0", "3/2"], "4. 8~ 2"),
        ("4/4", ["1/2", "3/2", "5/2"], "r8 4 8~ 8 8~ 4"),
        ("4/4", ["0", "3/4", "3/2", "9/4"], "8. 16~ 8 8~ 16 8.~ 4"),
        ("3/4", ["1/2"], "r8 8~ 2"),
        ("2/4", ["1/2", "3/2"], "r8 4 8"),
        ("5/4", ["0", "3"], "2. 2"),
        ("5/4", ["0"], "2.~ 2"),
        ("6/8", ["0", "1"], "4. 4."),
        ("6/8", ["1/3", "2/3", "4/3"], "r8 8 8~ 8 4"),
        ("6/8", ["0", "1/2"], "8. 8.~ 4."),
        ("12/8", ["0", "2"], "2. 2."),
        ("4/4", ["0", "1/3", "2/3", "1"], "8/3 8/3 8/3 2."),
        ("4/4", ["0", "2/3", "4/3", "2"], "4/3 4/3 4/3 2"),
        ("4/4", ["0", "4/5", "8/5", "12/5", "16/5"], "4/5 4/5 4/5 4/5 4/5"),
        ("4/4", ["0", "1/6", "1/3", "1/2"], "16/6 16/6 16/6 8./6~ 2."),
        ("3/4", ["0", "3/5", "6/5", "9/5", "12/5"], "4/5 4/5 4/5 4/5 4/5"),
    ],
)
def test_notes_ring_to_the_next_one_and_the_beats_can_be_seen(meter: str, beats: list[str], written: str) -> None:
    """Each note lasts until the next; what crosses the middle of four beats, or hides a beat, is tied."""
    _, fingers = write_voices(bar_of(meter, beats))
    assert as_text(fingers) == written


def test_the_thumb_is_a_voice_of_its_own() -> None:
    """Half notes of the thumb under eighths of a finger; a pinch is one instant in both voices."""
    thumb, fingers = write_voices(bar_of("4/4", ["0", "1/2"], ["0", "2"]))
    assert (as_text(thumb), as_text(fingers)) == ("2 2", "8 8~ 2.")
    assert [p.string for p in thumb[0].plucks] == [5]


def test_an_empty_bar_is_one_rest_and_an_empty_voice_is_nothing() -> None:
    """A whole rest stands for any bar; a voice without plucks is not written."""
    thumb, fingers = write_voices(bar_of("3/4"))
    assert (thumb, [(w.bar_rest, w.length) for w in fingers]) == ((), [(True, Fraction(3))])
    assert write_voices(bar_of("3/4", thumb=["0"]))[1] == ()


def test_a_pick_up_is_the_end_of_its_bar() -> None:
    """One and a half beats before a 4/4 bar begin in the middle of beat three, so the tie shows beat four."""
    _, fingers = write_voices(bar_of("4/4", ["0", "1/2"], beats="3/2"))
    assert as_text(fingers) == "8 4"
    _, fingers = write_voices(bar_of("4/4", ["0"], beats="3/2"))
    assert as_text(fingers) == "8~ 4"


def test_only_the_layer_that_sounds_is_written() -> None:
    """The thumb alone under words."""
    bar = replace(bar_of("4/4", ["1/2"], ["0", "1", "2", "3"]), layer="thumb")
    assert [as_text(line) for line in write_voices(bar)] == ["4 4 4 4", ""]


def test_notes_are_tied_over_the_bar_line_only_if_asked() -> None:
    """A finger that begins the next bar late rings into it while the hand holds the same fret, and not otherwise."""
    first, second = bar_of("4/4", ["0", "7/2"]), replace(bar_of("4/4", ["1"]), number=1)
    assert not write_voices(first)[1][-1].tied_start
    assert write_voices(second)[1][0].rest
    assert write_voices(first, after=second)[1][-1].tied_start
    tied = write_voices(second, before=first)[1][0]
    assert (tied.tied_stop, [p.midi for p in tied.plucks], tied.length) == (True, [64], 1)
    again = replace(second, plucks=(replace(second.plucks[0], beat=Fraction(0), finger="p", role="a"), *second.plucks))
    assert write_voices(again, before=first)[1][0].rest  # the thumb has plucked that string meanwhile
    moved = replace(second, held=over("outside-in", "F").bars[0].held)
    assert write_voices(moved, before=first)[1][0].rest


def test_beams_join_the_notes_of_a_beat() -> None:
    """Eighth, two sixteenths: one beam over all three, a second over the last two; a lone sixteenth has a hook."""
    _, fingers = write_voices(bar_of("4/4", ["0", "1/2", "3/4", "1", "7/4", "2"]))
    beams = [w.beams for w in fingers]
    assert beams[:3] == [("begin",), ("continue", "begin"), ("end", "end")]
    assert beams[3:6] == [("begin",), ("end", "backward hook"), ()]


def test_shipped_patterns_are_written_without_tuplets_in_sixteenths_or_longer() -> None:
    """Every shipped pattern is on a plain grid, so nothing of it needs a tuplet or a third flag."""
    for pattern in PATTERNS:
        for bar in over(pattern, "C | G").bars:
            for line in write_voices(bar):
                assert all(w.tuplet is None and TYPES[w.type] >= Fraction(1, 4) for w in line), pattern.id


def _checked(line: tuple[WrittenNote, ...], bar: PieceBar) -> None:
    """Without gap or overlap, values that come to their lengths, tuplets opened and closed."""
    at, edges = Fraction(0), []
    for w in line:
        assert w.beat == at
        at += w.length / bar.meter.quarters_per_beat
        value = TYPES[w.type] * (Fraction(3, 2) if w.dots else 1)
        assert w.bar_rest or w.length == value * (Fraction(w.tuplet.normal, w.tuplet.parts) if w.tuplet else 1)
        edges += [w.edge] if w.edge else []
    assert at == bar.beats
    assert edges == ["start", "stop"] * (len(edges) // 2)


@settings(deadline=None, max_examples=40)
@given(st.sampled_from(sorted(METERS)), st.integers(1, 64), st.data())
def test_any_grid_fills_the_bar_exactly(meter: str, slots: int, data: st.DataObject) -> None:
    """Any plucks on any grid of up to 64 slots: struck where they are plucked, and the sum is the bar."""
    taken = data.draw(st.sets(st.integers(0, slots - 1), max_size=12))
    beats = sorted(Fraction(k * METERS[meter].beats, slots) for k in taken)
    bar = bar_of(meter, beats, slots=slots)
    _, fingers = write_voices(bar)
    _checked(fingers, bar)
    assert [w.beat for w in fingers if not w.rest and not w.tied_stop] == beats


@settings(deadline=None, max_examples=40)
@given(st.lists(st.tuples(st.fractions(0, 4), st.fractions(Fraction(1, 1000), 2)), max_size=5))
def test_a_tune_at_any_places_can_be_written(notes: list[tuple[Fraction, Fraction]]) -> None:
    """Places that no sheet could hold are moved a little; the bar stays full."""
    tune = tuple(TuneNote(beat, length, Pitch.parse("A3")) for beat, length in notes)
    bar = replace(bar_of("4/4"), tune=tune, words=tuple(Word(n.beat, "la") for n in tune))
    _checked(write_tune(bar), bar)
    _checked(write_word_rhythm(bar), bar)


def test_a_tune_has_rests_between_and_ties_where_it_says_so() -> None:
    """A quarter, a rest, and a half whose last half is a note tied to it; the last may go on over the bar line."""
    rows = [("0", "1", False), ("2", "1", False), ("3", "1", True)]
    tune = tuple(TuneNote(Fraction(b), Fraction(n), Pitch.parse("A3"), tied) for b, n, tied in rows)
    bar = replace(bar_of("4/4"), tune=tune)
    assert as_text(write_tune(bar)) == "4 r4 4~ 4"
    assert as_text(write_tune(bar, goes_on=True)) == "4 r4 4~ 4~"

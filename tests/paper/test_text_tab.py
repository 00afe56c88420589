"""Text tab: what is drawn is what is plucked, under its count and over its words, within the width."""

from __future__ import annotations

import re
from collections import defaultdict
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coach import shelf
from coach.commands.picking import held_bars
from coach.guitar.tuning import Tuning
from coach.music.keys import Key
from coach.music.meter import Meter, count_syllables
from coach.paper.text_tab import write_text_tab
from coach.paper.written_bars import key_behind_capo, written_parts
from coach.picking.layers import LAYERS
from coach.song.chart import HOLD, Word
from coach.song.piece import Piece, PieceBar, pattern_piece

PATTERNS = shelf.library().patterns
CHORDS = "C | F#m7 Bbmaj7 | N | G7/B"
_STRING = re.compile(r"[A-G][b#]? [-|(\d]")


def piece_of(name: str = "outside-in", chords: str = CHORDS, loops: int = 1) -> Piece:
    """A shipped pattern over chords at 84 bpm."""
    pattern = PATTERNS[name]
    return pattern_piece(pattern, held_bars(chords, pattern.meter), Fraction(84), loops=loops)


def worded(piece: Piece, *words: tuple[Word, ...]) -> Piece:
    """The piece with words in its first bars."""
    bars = [replace(bar, words=said) for bar, said in zip(piece.bars, words, strict=False)]
    return replace(piece, bars=(*bars, *piece.bars[len(bars) :]))


def six_lines(text: str) -> list[str]:
    """The six string lines from the first system to the last, joined."""
    joined = [""] * 6
    rows = [line for line in text.splitlines() if _STRING.match(line)]
    assert len(rows) % 6 == 0
    for k, line in enumerate(rows):
        joined[k % 6] += line.split(" ", 1)[1]
    return joined


def notes_in(text: str) -> list[list[list[tuple[int, int]]]]:
    """For each bar the (string, fret) pairs, those at one place together, from left to right, lowest string first."""
    lines = six_lines(text)
    assert len({len(line) for line in lines}) == 1
    walls = [k for k, sign in enumerate(lines[0]) if sign == "|"]
    assert all([k for k, sign in enumerate(line) if sign == "|"] == walls for line in lines)
    bars = []
    for left, right in pairwise(walls):
        if right == left + 1:  # the end of one line and the beginning of the next
            continue
        places: dict[int, list[tuple[int, int]]] = defaultdict(list)
        for string in range(6, 0, -1):
            for match in re.finditer(r"\(?(\d+)\)?", lines[string - 1][left + 1 : right]):
                places[match.start(1)].append((string, int(match[1])))
        bars.append([places[at] for at in sorted(places)])
    return bars


def meant(bar: PieceBar) -> list[list[tuple[int, int]]]:
    """What a bar's sounding plucks should look like, read the same way."""
    places: dict[int, list[tuple[int, int]]] = defaultdict(list)
    for pluck in bar.sounding:
        places[int(pluck.beat / bar.slot_beats)].append((pluck.string, pluck.fret))
    return [sorted(places[at], reverse=True) for at in sorted(places)]


def test_a_bar_by_hand() -> None:
    """Outside in over C, as a person would write it out."""
    assert write_text_tab(piece_of(chords="C")) == """\
Outside in
Tuning Standard E2 A2 D3 G3 B3 E4; meter 4/4; 84 bpm

    C
    a m   i a m   i
E |-0-------0------|
B |---1-------1----|
G |-------0-------0|
D |-----2-------2--|
A |-3-------3------|
E |----------------|
    p   p   p   p
    1 & 2 & 3 & 4 &

Fingers i m a stand above the strings, the thumb p below; string 1 is on top.
"""


@pytest.mark.parametrize("name", PATTERNS)
def test_what_is_drawn_is_what_is_plucked(name: str) -> None:
    """Every pattern over four bars, read back from the text: the same strings and frets, bar by bar, in order."""
    piece = piece_of(name)
    assert notes_in(write_text_tab(piece)) == [meant(bar) for bar in piece.bars]


@pytest.mark.parametrize("layer", LAYERS)
def test_a_thinned_piece_is_drawn_as_it_sounds(layer: str) -> None:
    """Each layer of a pattern, read back."""
    piece = piece_of().layered([layer] * 4)
    assert notes_in(write_text_tab(piece)) == [meant(bar) for bar in piece.bars]


WORDS = st.lists(
    st.tuples(st.integers(0, 7), st.text("abcdefghijklmnopqrstuvwxyz -'", min_size=1, max_size=14)),
    max_size=6,
    unique_by=lambda word: word[0],
)


@settings(max_examples=60, deadline=None)
@given(
    name=st.sampled_from(sorted(PATTERNS)),
    width=st.integers(10, 130),
    words=st.lists(WORDS, max_size=4),
    capo=st.integers(0, 7),
)
def test_whatever_the_width_and_the_words(
    name: str, width: int, words: list[list[tuple[int, str]]], capo: int
) -> None:
    """No line is wider than asked, every sign is plain, no pluck is lost or moved, letters are as many as plucks."""
    piece = replace(piece_of(name), capo=capo, key=Key.parse("C"))
    said = [tuple(Word(k * piece.bars[0].slot_beats, text) for k, text in sorted(bar)) for bar in words]
    piece = worded(piece, *[tuple(w for w in bar if w.beat < piece.bars[0].beats) for bar in said])
    text = write_text_tab(piece, width)
    assert max(map(len, text.splitlines())) <= max(width, 24)
    assert text.isascii()
    assert notes_in(text) == [meant(bar) for bar in piece.bars]


def test_a_bar_is_not_cut_where_it_fits() -> None:
    """Every line of strings begins and ends with a bar line as long as the widest bar fits."""
    piece = piece_of()
    widest = 4 + max(len(line) for line in write_text_tab(piece, 1).split("\n") if line.startswith("E |"))
    for width in range(max(widest, 60), 120, 7):
        for line in write_text_tab(piece, width).splitlines():
            if _STRING.match(line):
                assert line[2] == line[-1] == "|"


def test_a_bar_that_is_too_wide_is_cut_at_a_beat() -> None:
    """Sixteen slots of four cells on lines of 40: the second line begins on a beat, without a bar line."""
    name = next(p.id for p in PATTERNS.values() if p.slots == 16 and str(p.meter) == "4/4")
    piece = piece_of(name, "F#m7")
    text = write_text_tab(worded(piece, (Word(Fraction(0), "far"), Word(Fraction(1, 4), "out"))), 40)
    rows = [line for line in text.splitlines() if _STRING.match(line)]
    assert len(rows) > 6
    assert rows[0].startswith("E |")
    assert not rows[0].endswith("|")
    assert rows[6].startswith("E -")
    counts = [line for line in text.splitlines() if re.fullmatch(r"[ 1-4&ea.]+", line)]
    assert all(line.split()[0] in set("1234") for line in counts)


def columns(text: str, words: list[str]) -> list[int]:
    """Where the words stand in the line that has all of them."""
    line = next(line for line in text.splitlines() if all(word in line for word in words))
    return [line.index(word) for word in words]


def test_words_stand_under_the_slots_of_their_beats() -> None:
    """Syllables on 1, 2 and the half of 3 begin exactly under these counts."""
    said = (Word(Fraction(0), "Riv-"), Word(Fraction(1), "er"), Word(Fraction(5, 2), "landing"))
    text = write_text_tab(worded(piece_of(chords="C"), said))
    count = next(line for line in text.splitlines() if line.strip().startswith("1"))
    ands = [k for k, sign in enumerate(count) if sign == "&"]
    assert columns(text, ["Riv-", "er", "landing"]) == [count.index("1"), count.index("2"), ands[2]]


def test_breaths_stand_between_the_words() -> None:
    """One before the word on 3, one after the last word of the bar; the legend says what the sign is."""
    said = (Word(Fraction(0), "rope"), Word(Fraction(2), "wet"))
    piece = worded(piece_of(chords="C"), said)
    breathing = replace(piece.bars[0], breaths=(Fraction(2), Fraction(4)))
    text = write_text_tab(replace(piece, bars=(breathing,)))
    assert ["rope", "/", "wet", "/"] in [line.split() for line in text.splitlines()]
    assert "/ is a breath" in " ".join(text.split())
    assert "breath" not in write_text_tab(piece)


def test_chord_names_stand_over_their_beats() -> None:
    """The second chord of the bar over three, and both in full."""
    text = write_text_tab(piece_of(chords="F#m7b5 Bbmaj7"))
    count = next(line for line in text.splitlines() if line.strip().startswith("1"))
    assert columns(text, ["F#m7b5", "Bbmaj7"]) == [count.index("1"), count.index("3")]


def test_a_chord_that_goes_on_is_named_once_a_line() -> None:
    """C for three bars, F, C: wide enough it reads C F C; on lines of two bars each line begins with its chord."""

    def named(width: int) -> list[list[str]]:
        lines = write_text_tab(piece_of(chords="C | C | C | F | C"), width).splitlines()
        return [line.split() for line in lines if set(line) <= set(" CF") and line.strip()]

    assert named(120) == [["C", "F", "C"]]
    assert named(40) == [["C"], ["C", "F"], ["C"]]


def test_strings_are_named_by_the_tuning() -> None:
    """D A D G A D has D on both ends."""
    text = write_text_tab(replace(piece_of(chords="C"), tuning=Tuning.of("D2 A2 D3 G3 A3 D4", "Low D")))
    assert [line[0] for line in text.splitlines() if _STRING.match(line)] == list("DAGDAD")


def test_key_and_capo_are_told_with_what_sounds() -> None:
    """G shapes behind a capo on fret 2 sound in A."""
    text = write_text_tab(replace(piece_of(chords="G"), key=Key.parse("G"), capo=2))
    assert "Key G major; capo 2 (sounds in A major)" in text
    assert "frets count from the capo" in " ".join(text.split())


SOUNDING = [("C", 1, "Db"), ("G", 2, "A"), ("Em", 3, "Gm"), ("A", 11, "Ab"), ("Bb", 1, "B"), ("C", 6, "F#")]


@pytest.mark.parametrize(("key", "capo", "sounds"), SOUNDING)
def test_the_sounding_key_has_the_fewest_accidentals(key: str, capo: int, sounds: str) -> None:
    """Semitones up, spelled as players read it: F# before Gb (six each)."""
    assert str(key_behind_capo(Key.parse(key), capo)) == sounds


# Songs: parts, meters, pick-ups -----------------------------------------------------------------


def song(*parts: tuple[str, PieceBar]) -> Piece:
    """Bars of parts in the order given, each part of one bar, counted and placed anew."""
    bars: list[PieceBar] = []
    start, times = Fraction(0), dict.fromkeys((name for name, _ in parts), -1)
    for name, bar in parts:
        times[name] += 1
        plucks = tuple(replace(p, bar=len(bars)) for p in bar.plucks)
        bars.append(
            replace(bar, number=len(bars), part=name, part_bar=0, time=times[name], start=start, plucks=plucks)
        )
        start += bar.beats
    order = tuple(name for name, _ in parts)
    return Piece("made", "Made for a test", tuple(bars), "plain", Key.parse("C"), order=order)


C_BAR, F_BAR = piece_of(chords="C | F").bars


def test_a_part_that_comes_again_is_written_once() -> None:
    """Verse, Chorus, Verse: two parts are drawn, and the order says how they go."""
    text = write_text_tab(song(("Verse", C_BAR), ("Chorus", F_BAR), ("Verse", C_BAR)))
    assert "Order: Verse, Chorus, Verse" in text
    assert text.count("\nVerse") == text.count("\nChorus") == 1
    assert len(notes_in(text)) == 2


def test_a_part_that_is_played_in_two_ways_is_written_twice() -> None:
    """The second time thinner: both are there, and which time each is."""
    text = write_text_tab(song(("Verse", C_BAR), ("Verse", replace(C_BAR, layer="thumb")), ("Verse", C_BAR)))
    assert "Verse, time 1 and 3" in text
    assert "Verse, time 2; layer thumb" in text
    assert len(notes_in(text)) == 2


def test_loops_of_a_pattern_are_told_not_repeated() -> None:
    """Three times round two bars."""
    piece = piece_of(chords="C | F", loops=3)
    text = write_text_tab(piece)
    assert "\n3 times round\n" in text
    assert len(notes_in(text)) == 2
    assert [part.times for part in written_parts(piece)] == [(1, 2, 3)]


def test_another_meter_and_tempo_are_told_where_they_begin() -> None:
    """A chorus in 3/4 at 70, and back."""
    three = PATTERNS[next(p.id for p in PATTERNS.values() if p.meter == Meter(3, 4))]
    waltz = pattern_piece(three, held_bars("G", three.meter), Fraction(70)).bars[0]
    text = write_text_tab(song(("Verse", C_BAR), ("Chorus", waltz), ("End", F_BAR)))
    assert "Chorus; 3/4; 70 bpm" in text
    assert "End; 4/4; 84 bpm" in text


def test_a_change_of_meter_inside_a_part_begins_a_line() -> None:
    """The line before it says 3/4."""
    three = PATTERNS[next(p.id for p in PATTERNS.values() if p.meter == Meter(3, 4))]
    waltz = pattern_piece(three, held_bars("G", three.meter), Fraction(84)).bars[0]
    bars = (replace(C_BAR, part="Verse"), replace(waltz, part="Verse", number=1, part_bar=1))
    lines = write_text_tab(replace(song(("Verse", C_BAR)), bars=bars)).splitlines()
    assert "3/4" in lines
    assert lines.index("3/4") > lines.index(next(line for line in lines if _STRING.match(line)))


def test_a_pick_up_is_counted_as_the_end_of_a_bar() -> None:
    """Two beats before the first bar: 3 & 4 &."""
    short = replace(C_BAR, beats=Fraction(2), plucks=tuple(p for p in C_BAR.plucks if p.beat < 2))
    text = write_text_tab(song(("Lead-in", short)))
    assert "    3 & 4 &" in text.splitlines()
    assert notes_in(text) == [meant(short)]


def test_a_silent_bar_says_so() -> None:
    """Empty strings, the word, and the count."""
    text = write_text_tab(song(("Stop", replace(C_BAR, plucks=()))))
    assert "    silent" in text.splitlines()
    assert notes_in(text) == [[]]


@pytest.mark.parametrize("name", PATTERNS)
def test_the_count_is_that_of_the_meter(name: str) -> None:
    """Every syllable of one bar, in order, with a point where nothing is said."""
    piece = piece_of(name, "C")
    bar = piece.bars[0]
    text = write_text_tab(replace(piece, bars=(bar,)), 130)
    rows = text.split("\nFingers")[0].strip().splitlines()
    said = [word for word in count_syllables(bar.meter, bar.slots) if word != "·"]
    assert [word for word in rows[-1].split() if word != "."] == said


def held_at(*numbers: int) -> Piece:
    """Outside in over C and F with these bars held, as a song's chart would have them."""
    piece = piece_of(chords="C | F")
    bars = [
        replace(bar, way=HOLD, plucks=tuple(p for p in bar.plucks if not p.beat)) if bar.number in numbers else bar
        for bar in piece.bars
    ]
    return replace(piece, bars=tuple(bars))


def test_a_chord_that_rings_on_says_so() -> None:
    """Inside the piece `let ring`, for the beat goes on; the last chord of all has a fermata (common practice)."""
    text = write_text_tab(held_at(0, 1))
    assert re.search(r"C +F\n +let ring +fermata\n +a +a\n", text)
    assert "fermata" not in write_text_tab(held_at(0))
    assert "let ring" not in write_text_tab(held_at(1))


def test_accents_stand_over_the_letters() -> None:
    """The sign of written music, and the legend tells it; a piece without one says nothing of it."""
    text = write_text_tab(piece_of("push-into-one-and-three", "C"))
    over, letters = text.splitlines()[4:6]
    assert [letters[k] for k, sign in enumerate(over) if sign == ">"] == ["a", "a"]
    assert "> is an accent" in text
    assert ">" not in write_text_tab(piece_of())


def test_where_a_song_comes_from_stands_under_its_title() -> None:
    """As on the printed sheet, wrapped to the width."""
    lines = write_text_tab(piece_of(), 40, source="Traditional; as sung at the landing on many evenings.").splitlines()
    assert lines[1] == "Traditional; as sung at the landing on"

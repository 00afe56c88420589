"""Engraved tab as values: what stands where, what a bar says of itself; and the checker of collisions itself."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

import pytest

from coach.errors import BadInput
from coach.guitar.shape import Shape
from coach.music.chords import read_bars
from coach.music.meter import METERS
from coach.paper.pdf.column_spacing import Cell, break_lines, column_positions, spread_columns
from coach.paper.pdf.diagrams import draw_diagram, find_barres
from coach.paper.pdf.document import ladder_pages, layers_pages, sheet_pages
from coach.paper.pdf.endings import find_sections
from coach.paper.pdf.engraved_bars import EngravedBar
from coach.paper.pdf.engraved_marks import tempo_mark
from coach.paper.pdf.engraving import engrave
from coach.paper.pdf.glyphs import REGULAR, width
from coach.paper.pdf.layout import PAPERS, Item, LayoutBlock, Text, make_text, text_width, wrap_text
from coach.paper.pdf.page_flow import Document, flow_blocks
from coach.picking.pattern import Pattern, make_pattern_bar
from coach.picking.realise import hold_bars
from coach.song.chart import HOLD, Word
from coach.song.piece import Piece, PieceBar, pattern_piece
from tests.paper.pdf.pdf_faults import faults
from tests.paper.pdf.pdf_made import made_song
from tests.picking.shipped import BOOK, LIBRARY


def piece_of(chords: str, meter: str = "4/4", slots: int = 8, **lanes: str) -> Piece:
    """A pattern of one bar written out in its lanes, over chords, at 80."""
    picked = make_pattern_bar(list(lanes.items()), slots)
    pattern = Pattern("made-up", "Made up", "", METERS[meter], slots, (picked,))
    return pattern_piece(pattern, hold_bars(read_bars(chords), pattern.meter, BOOK), Fraction(80))


def sung(piece: Piece, *words: tuple[str, str]) -> PieceBar:
    """Its first bar with (beat, syllable)."""
    return replace(piece.bars[0], words=tuple(Word(Fraction(beat), text) for beat, text in words))


def line(*bars: PieceBar | EngravedBar, room: float = 500) -> LayoutBlock:
    """These bars as one line."""
    drawn = [b if isinstance(b, EngravedBar) else EngravedBar(b) for b in bars]
    (block,) = engrave(drawn, room, "line")
    return block


def kinds(items: tuple[Item, ...], kind: str) -> list[Item]:
    """The items of a kind from left to right."""
    return sorted((i for i in items if i.kind == kind), key=lambda i: i.box.left)


def texts(items: tuple[Item, ...], kind: str) -> list[str]:
    """Their texts from left to right."""
    return [i.text for i in kinds(items, kind) if isinstance(i, Text)]


def middle(item: Item) -> float:
    """x of its middle."""
    return (item.box.left + item.box.right) / 2


PLAIN = {"p": "r . a . r . a .", "i": ". . . 3 . . . 3"}


def test_thumb_letters_stand_below_and_finger_letters_above() -> None:
    """As stems do: fingers up, thumb down; each letter under or over its figure."""
    items = line(piece_of("C", **PLAIN).bars[0]).items
    staff = kinds(items, "staffline")
    top, bottom = min(s.box.top for s in staff), max(s.box.bottom for s in staff)
    letters = kinds(items, "letter")
    assert texts(items, "letter") == ["p", "p", "i", "p", "p", "i"]
    for letter in letters:
        assert isinstance(letter, Text)
        assert letter.box.top > bottom if letter.text == "p" else letter.box.bottom < top
    for figure, letter in zip(kinds(items, "fret"), letters, strict=True):
        assert middle(figure) == pytest.approx(middle(letter), abs=0.1)


def test_two_eighths_of_a_beat_are_beamed_and_sixteenths_twice() -> None:
    """A beat of two eighths has one beam, a beat of four sixteenths two; no flags."""
    eighths = line(piece_of("C", slots=8, i="3 2 3 2 3 2 3 2").bars[0]).items
    assert (len(kinds(eighths, "beam")), len(kinds(eighths, "flag"))) == (4, 0)
    sixteenths = line(piece_of("C", slots=16, i="3 2 3 2 3 2 3 2 3 2 3 2 3 2 3 2").bars[0]).items
    assert (len(kinds(sixteenths, "beam")), len(kinds(sixteenths, "flag"))) == (8, 0)


def test_a_lone_eighth_has_a_flag_after_a_rest() -> None:
    """On the `and` of three alone: the beat before it rests, and the note itself is flagged."""
    items = line(piece_of("C", i=". . . . . 3 . .").bars[0]).items
    (figure,) = kinds(items, "fret")
    (flag,) = kinds(items, "flag")
    assert flag.box.left == pytest.approx(middle(figure), abs=0.6)
    assert kinds(items, "rest")


def test_a_half_note_has_a_shorter_stem_than_a_quarter() -> None:
    """Thumb on one and three, against thumb on every beat."""
    half = kinds(line(piece_of("C", slots=4, p="r . a .").bars[0]).items, "stem")
    quarter = kinds(line(piece_of("C", slots=4, p="r a r a").bars[0]).items, "stem")
    assert (len(half), len(quarter)) == (2, 4)
    tall = [item.box.bottom - item.box.top for item in (half[0], quarter[0])]
    assert tall[0] < 0.7 * tall[1]


def test_the_beat_of_six_eight_is_dotted() -> None:
    """Two dotted quarters of the thumb; the tempo's note is dotted too, a quarter's in 4/4 is not."""
    items = line(piece_of("C", meter="6/8", slots=6, p="r . . a . .").bars[0]).items
    assert len(kinds(items, "dot")) == 2
    with_dot, without = (tempo_mark(Fraction(60), METERS[m], "t", 0, 0, 9) for m in ("6/8", "4/4"))
    assert len(with_dot) == len(without) + 1


def test_three_in_a_beat_are_told_by_a_number() -> None:
    """Triplets over every beat of 4/4."""
    items = line(piece_of("C", slots=12, i="3 2 1 3 2 1 3 2 1 3 2 1").bars[0]).items
    assert texts(items, "tuplet") == ["3", "3", "3", "3"]


def test_ties_only_where_asked() -> None:
    """A note on `and` that rings over the next beat: a light rest, or a tie when asked."""
    bar = piece_of("C", i=". 3 . . . 2 . .").bars[0]
    plain, tied = line(bar).items, line(EngravedBar(bar, ties=True)).items
    assert not kinds(plain, "tie")
    assert kinds(tied, "tie")
    assert len(kinds(plain, "rest")) > len(kinds(tied, "rest"))


def test_ghosts_stand_in_brackets_and_accents_have_a_wedge() -> None:
    """(3) soft, 2! loud."""
    items = line(piece_of("Am", i="(3) . 2! . (3) . 2! .").bars[0]).items
    assert texts(items, "fret") == ["(2)", "1", "(2)", "1"]
    assert len(kinds(items, "accent")) == 2


def test_a_held_last_chord_has_a_fermata_above_all_its_letters() -> None:
    """In the piece before it only the words let ring are told; the bar is no repeat of the one before."""
    piece = piece_of("C | C", p="r . . . . . . .", m="2 . . . . . . .")
    held = replace(piece, bars=tuple(replace(bar, way=HOLD) for bar in piece.bars))
    items = tuple(item for page in sheet_pages([held]).pages for item in page.items)
    (sign,) = kinds(items, "fermata")
    assert sign.box.bottom <= min(item.box.top for item in kinds(items, "letter"))
    assert texts(items, "note") == ["let ring"]
    assert not kinds(items, "like")


def test_no_line_runs_through_a_figure() -> None:
    """The staff's lines are cut around every figure, clef and meter."""
    items = line(EngravedBar(piece_of("C", **PLAIN).bars[0], meter=True)).items
    for stroke in kinds(items, "staffline"):
        for other in (i for i in items if i.kind in ("fret", "clef", "meter")):
            assert not stroke.box.meets(other.box)


def test_words_begin_at_the_figures_of_their_beats() -> None:
    """Each syllable's left edge stands under the column of its beat; a hyphen between syllables."""
    piece = piece_of("C", slots=4, p="r a r a")
    items = line(sung(piece, ("0", "Lan-"), ("1", "tern"), ("2", "on"), ("3", "the"))).items
    assert texts(items, "words") == ["Lan", "tern", "on", "the"]
    for word, figure in zip(kinds(items, "words"), kinds(items, "fret"), strict=True):
        assert word.box.left == pytest.approx(middle(figure) - 3, abs=0.1)
    (hyphen,) = kinds(items, "hyphen")
    first, second = kinds(items, "words")[:2]
    assert first.box.right < hyphen.box.left < hyphen.box.right < second.box.left


def test_long_words_push_beats_apart_and_never_touch() -> None:
    """Eight long syllables on eight slots."""
    piece = piece_of("C", **PLAIN)
    syllables = [(f"{k}/2", "landingplaces") for k in range(8)]
    (block,) = engrave([EngravedBar(sung(piece, *syllables))], 500, "line")
    placed = kinds(block.items, "words")
    assert len(placed) == 8
    assert all(a.box.right < b.box.left for a, b in pairwise(placed))
    assert max(i.box.right for i in block.items) <= 500.6


def test_times_are_even_where_nothing_pushes() -> None:
    """Eight equal slots without words: eight equal steps."""
    counts = kinds(line(piece_of("C", **PLAIN).bars[0]).items, "count")
    steps = [middle(b) - middle(a) for a, b in pairwise(counts)]
    assert max(steps) - min(steps) < 0.01


def test_a_full_line_ends_at_both_margins() -> None:
    """Eight bars break into two lines of four, both as wide as the page."""
    bars = [EngravedBar(b) for b in piece_of("C | Am | F | G | C | Am | F | G", **PLAIN).bars]
    blocks = engrave(bars, text_width("a4"), "song")
    assert [block.bars for block in blocks] == [4, 4]
    for block in blocks:
        right = max(i.box.right for i in kinds(block.items, "barline"))
        assert right == pytest.approx(text_width("a4"), abs=0.5)


def test_a_bar_that_returns_is_a_sign_only_inside_a_line() -> None:
    """C C C C: figures once a line; but where the words differ they are all there."""
    bar = sung(piece_of("C", slots=4, p="r a r a"), ("0", "Oh"))
    block = line(*[replace(bar, number=k) for k in range(4)])
    assert len(kinds(block.items, "like")) == 3
    assert texts(block.items, "words") == ["Oh"] * 4
    assert len(kinds(block.items, "fret")) == 4


def test_a_shape_is_drawn_where_it_comes_first() -> None:
    """C G C G: one diagram each, over its name."""
    leaves = sheet_pages([piece_of("C | G | C | G", **PLAIN)])
    groups = {i.group for i in leaves.pages[0].items if i.kind == "diagram"}
    assert len(groups) == 2
    assert texts(leaves.pages[0].items, "chord") == ["C", "G", "C", "G"]


def test_a_song_s_shapes_stand_together_at_its_head() -> None:
    """Each once beside its name, and none over the staves; where a chord is held in two ways both stand over theirs."""
    piece = replace(piece_of("C G | C F"), order=("",))
    page = sheet_pages([piece]).pages[0]
    top = min(item.box.top for item in kinds(page.items, "staffline"))
    drawn = kinds(page.items, "diagram")
    assert len({item.group for item in drawn}) == 3
    assert max(item.box.bottom for item in drawn) < top
    named = [text.text for text in kinds(page.items, "chord") if text.box.top < min(item.box.top for item in drawn)]
    assert sorted(named) == ["C", "F", "G"]
    first, second = piece.bars
    other = replace(second.held.holds[0], shape=Shape.parse("x32013"))
    twice = replace(piece, bars=(first, replace(second, held=replace(second.held, holds=(other,)))))
    page = sheet_pages([twice]).pages[0]
    names = {item.group.split("-shape")[0] for item in kinds(page.items, "diagram")}
    assert not any("shapes" in name for name in names)


def test_a_barre_is_one_finger_over_its_strings() -> None:
    """F as 133211: finger 1 over all six at fret 1; C as x32010 has none."""
    assert find_barres(Shape.parse("133211", "134211")) == ((1, 0, 5),)
    assert find_barres(Shape.parse("x32010", ".32.1.")) == ()


def test_a_shape_up_the_neck_names_its_fret() -> None:
    """x68876 begins at fret 6; an open shape names none and has a nut."""
    high = draw_diagram(Shape.parse("x68876", ".13421"), "d")
    assert texts(high, "diagramfret") == ["fr 6"]
    assert texts(draw_diagram(Shape.parse("x32010", ".32.1."), "d"), "diagramfret") == []
    assert len(kinds(high, "muted")) == 2  # two strokes of one cross
    assert texts(high, "diagramfinger") == ["1", "3", "4", "2", "1"]


def test_a_song_writes_each_part_once_with_its_order() -> None:
    """However often a part is played alike, its heading stands once."""
    piece = made_song(0)
    leaves = sheet_pages([piece])
    headings = [i.text for page in leaves.pages for i in page.items if isinstance(i, Text) and i.kind == "heading"]
    assert len(headings) == len(set(headings))
    assert set(piece.order) <= {h.split(", time")[0] for h in headings}
    info = " ".join(i.text for i in leaves.pages[0].items if isinstance(i, Text) and i.kind == "info")
    assert f"Order: {piece.order[0]}" in info


def test_a_page_with_room_left_spreads_its_lines_and_the_last_does_not() -> None:
    """Lines of 100 points on A4: seven to a page, 8 points further apart at most; what stays together does."""
    block = LayoutBlock((make_text("info", "g", 0, 80, "x", 8),), 100)
    leaves = flow_blocks([replace(block, keep=True), *[block] * 9], "a4", "Lines")
    first, last = ([i.box.top for i in page.items if i.kind == "info"] for page in leaves.pages)
    steps = [b - a for a, b in pairwise(first)]
    assert len(first) == 7
    assert steps[0] == pytest.approx(100)
    assert all(100 < step <= 108 for step in steps[1:])
    assert [b - a for a, b in pairwise(last)] == pytest.approx([100, 100])


def test_a_heading_never_stands_alone_at_the_foot() -> None:
    """On no page is a heading the last thing above the foot."""
    for seed in range(8):
        for page in sheet_pages([made_song(seed)]).pages:
            lowest = max(page.items, key=lambda i: i.box.bottom if i.kind not in ("page", "foot", "caution") else 0)
            assert lowest.kind not in ("heading", "title", "info")


def test_a_pattern_played_twice_has_repeat_signs() -> None:
    """Two loops are written once between repeat signs, with how often."""
    pattern = LIBRARY.patterns["outside-in"]
    held = hold_bars(read_bars("C | G"), pattern.meter, BOOK)
    leaves = sheet_pages([pattern_piece(pattern, held, Fraction(80), loops=2)])
    assert leaves.bars == 2
    assert len(kinds(leaves.pages[0].items, "repeatdot")) == 4
    assert "2 times round" in texts(leaves.pages[0].items, "note")


def test_a_part_that_ends_otherwise_has_endings() -> None:
    """Four bars twice, the last one full and then on the thumb alone: five bars, a bracket for each time."""
    four = piece_of("C | Am | F | G", **PLAIN)
    twice = [replace(b, part="Verse", time=t, number=b.number + 4 * t) for t in (0, 1) for b in four.bars]
    twice[-1] = replace(twice[-1], layer="thumb")
    piece = replace(four, bars=tuple(twice), order=("Verse", "Verse"))
    (stretch,) = find_sections(piece)
    assert stretch.endings == ("", "", "", "time 1", "time 2")
    leaves = sheet_pages([piece])
    items = leaves.pages[0].items
    assert texts(items, "ending") == ["time 1", "time 2"]
    assert texts(items, "heading") == ["Verse"]
    assert (leaves.bars, faults(leaves)) == (5, ())
    other = replace(piece, bars=(*piece.bars[:4], *(replace(b, layer="thumb") for b in piece.bars[4:])))
    assert [s.heading for s in find_sections(other)] == ["Verse, time 1", "Verse, time 2"]


def test_the_singing_layer_is_what_is_printed() -> None:
    """Sung over the thumb: no finger's letter on the sheet, and the heading of a wordless part stays silent on it."""
    piece = piece_of("C | G", **PLAIN).layered(["thumb", "thumb"])
    assert set(texts(sheet_pages([piece]).pages[0].items, "letter")) == {"p"}


def test_short_patterns_of_a_ladder_stand_side_by_side() -> None:
    """Eight patterns on one chord fit a page in two columns; with four chords they go one under the other."""
    names = [name for name, p in LIBRARY.patterns.items() if p.slots <= 8 and len(p.bars) == 1][:8]
    short = [_over(name, "C") for name in names]
    leaves = ladder_pages(short, title="A ladder", abouts=["One line."] * 8)
    assert len(leaves.pages) == 1
    assert len({round(i.box.left) for i in leaves.pages[0].items if i.kind == "heading"}) == 2
    long = ladder_pages([_over(name, "C | Am | F | G") for name in names], title="A ladder")
    assert {round(i.box.left) for page in long.pages for i in page.items if i.kind == "heading"} == {42}
    assert faults(leaves) == faults(long) == ()


def _over(name: str, chords: str) -> Piece:
    pattern = LIBRARY.patterns[name]
    return pattern_piece(pattern, hold_bars(read_bars(chords), pattern.meter, BOOK), Fraction(70))


def test_every_shipped_pattern_in_all_its_layers_without_a_collision() -> None:
    """A page or two each, over E minor."""
    for name in LIBRARY.patterns:
        assert faults(layers_pages(_over(name, "Em"), about="About it.")) == ()


def test_overlaps_and_margins_are_found() -> None:
    """Two texts on one spot, and one that leaves the page, are named; touching things of one group are no fault."""
    landing = make_text("words", "a", 100, 100, "landing", 11)
    page = flow_blocks([], "a4", "Title").pages[0]
    there = replace(page, items=(*page.items, landing, landing.moved(5, 2)))
    assert faults(Document("a4", (there,), "t")) == ()  # one group
    clash = replace(page, items=(*page.items, landing, replace(landing, group="b").moved(5, 2)))
    assert len(faults(Document("a4", (clash,), "t"))) == 1
    outside = replace(page, items=(*page.items, landing.moved(460, 0)))
    assert ["margins" in fault for fault in faults(Document("a4", (outside,), "t"))] == [True]


def test_columns_stand_apart_by_time_and_by_need() -> None:
    """Three columns ten apart; a wide cell in one track pushes the next cell of that track only."""
    steps = [(0.0, 0.0), (0.0, 10.0), (0.0, 10.0)]
    assert column_positions(steps, []) == (0, 10, 20)
    cells = [Cell("l", 0, (), ("a",), 0, 25, 2), Cell("l", 1, (), ("b",), 0, 1, 2), Cell("l", 2, (), ("a",), -1, 0, 2)]
    assert column_positions(steps, cells) == (0, 10, 28)


def test_room_goes_to_time_and_evens_it_out() -> None:
    """A step that a word pushed to 30 beside one of 10: over 60 points they are 30 and 30, over 80 40 and 40."""
    steps = [(0.0, 0.0), (0.0, 10.0), (0.0, 10.0)]
    word = [Cell("w", 0, (), ("w",), 0, 28, 0), Cell("w", 1, (), ("w",), 0, 5, 2)]
    assert column_positions(steps, word) == (0, 30, 40)
    assert spread_columns(steps, word, 60) == pytest.approx((0, 30, 60), abs=0.001)
    assert spread_columns(steps, word, 80) == pytest.approx((0, 40, 80), abs=0.001)


def test_lines_are_broken_evenly() -> None:
    """Five bars of 100 in 320 points: three and two, not three and then whatever is left over of four."""
    naturals = [[100.0 * (k + 1) for k in range(min(4, 5 - start))] for start in range(5)]
    assert break_lines(naturals, 320) == [0, 3] or break_lines(naturals, 320) == [0, 2]
    assert break_lines([[400.0], [100.0]], 320) == [0, 1]


def test_text_is_cut_or_wrapped_to_its_room() -> None:
    """No line is wider than its room, whatever the words."""
    for room in (60.0, 130.0, 300.0):
        lines = wrap_text(
            "info", "g", "Order: Intro, a-very-long-name-indeed-without-a-blank, Verse, Chorus", 9.5, room
        )
        assert all(item.box.right - item.box.left <= room + 0.01 for item in lines)
    assert width("mm", REGULAR, 10) == pytest.approx(2 * width("m", REGULAR, 10))


def test_paper_sizes_are_those_of_the_standards() -> None:
    """ISO 216: A4 is 210 x 297 mm; Letter is 8.5 x 11 inches. 72 points are an inch."""
    assert PAPERS["a4"] == pytest.approx((210 / 25.4 * 72, 297 / 25.4 * 72), abs=0.01)
    assert PAPERS["letter"] == (8.5 * 72, 11 * 72)
    with pytest.raises(BadInput, match="a4, letter"):
        sheet_pages([made_song(1)], paper="foolscap")

"""The blocks of a handout: its head, its parts with their headings, a pattern's layers, a ladder of patterns."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import groupby

from coach.guitar.shape import Shape
from coach.guitar.tuning import STANDARD
from coach.paper.pdf.diagrams import shape_rows
from coach.paper.pdf.endings import PrintedSection, find_sections
from coach.paper.pdf.engraved_bars import EngravedBar
from coach.paper.pdf.engraved_marks import tempo_mark
from coach.paper.pdf.engraving import engrave, fits_one_line
from coach.paper.pdf.glyphs import BOLD, ITALIC, REGULAR, width
from coach.paper.pdf.layout import Item, LayoutBlock, fit_text, make_text, text_width, wrap_text
from coach.paper.written_bars import FERMATA, LET_RING, held_mark, key_behind_capo, swing_changes, swing_ratio
from coach.picking.layers import FULL, LAYERS, THUMB
from coach.song.piece import Piece, PieceBar

_TITLE, _HEADING, _INFO = 21.0, 13.0, 9.5
_GUTTER = 26.0
_MOST_SHAPES = 16  # two rows


def make_piece_blocks(piece: Piece, paper: str, group: str, source: str = "", ties: bool = False) -> list[LayoutBlock]:
    """A piece from its title to its last bar, on pages of its own."""
    blocks = list(_head_blocks(piece, paper, group, source))
    room = text_width(paper)
    gathered = _shapes_by_chord(piece)
    blocks += shape_rows(list(gathered.items()), room, f"{group}-shapes")
    shown = {(name, str(shape)) for name, shape in gathered.items()}
    parts = find_sections(piece)
    tempos, meters = len({b.bpm for b in piece.bars}) > 1, len({b.meter for b in piece.bars}) > 1
    for k, stretch in enumerate(parts):
        layers = {bar.layer for bar in stretch.bars if bar.plucks}
        before, last = parts[k - 1] if k else None, k + 1 == len(parts)
        bars = _bars_to_engrave(stretch, before, shown, layers, last=last, tempos=tempos and k > 0, meters=meters)
        lines = engrave([_mark_ringing(bar, piece, ties) for bar in bars], room, f"{group}-{k}")
        if stretch.heading:
            said = _layer_words(layers)
            blocks.append(_heading_block(stretch.heading, said, room, f"{group}-head{k}", _total_height(lines)))
        blocks += lines
    return blocks


def _shapes_by_chord(piece: Piece) -> dict[str, Shape]:
    """The shapes of a song by chord, to stand at its head; none where a chord is held in two ways, or they are many.

    Then, as over a pattern, each stands where it first comes.
    """
    if not piece.order:
        return {}
    holds = [hold for bar in piece.bars for hold in bar.held.holds]
    pairs = dict.fromkeys((str(hold.chord), hold.shape) for hold in holds if hold.shape is not None)
    by_name = {name: shape for name, shape in pairs if shape is not None}
    return by_name if len(by_name) == len(pairs) <= _MOST_SHAPES else {}


def make_layer_blocks(piece: Piece, about: str, paper: str) -> list[LayoutBlock]:
    """A pattern's piece once for every layer, each step saying what it adds."""
    blocks = list(_head_blocks(piece, paper, "piece", about))
    for k, layer in enumerate(piece.layers):
        step = piece.layered([layer] * len(piece.bars))
        shown: set[tuple[str, str]] = set()
        stretch = _join_rounds(step)
        bars = _bars_to_engrave(stretch, None, shown, {layer}, last=True, plain=k > 0)
        lines = engrave(bars, text_width(paper), f"layer{k}")
        want = _total_height(lines)
        said = f"all of it: {LAYERS[FULL]}" if layer == FULL and k else LAYERS[layer]
        blocks.append(_heading_block(layer, said, text_width(paper), f"layer{k}-head", want))
        blocks += lines
    return blocks


def make_ladder_blocks(pieces: Sequence[Piece], title: str, abouts: Sequence[str], paper: str) -> list[LayoutBlock]:
    """Patterns one under the other, neighbours that are short side by side; a shape is drawn where it comes first."""
    room = text_width(paper)
    half = (room - _GUTTER) / 2
    head, high = _title_items(title, room, "title")
    blocks = [LayoutBlock(tuple(head), high, keep=True, marks=((0, title),))]
    shown: set[tuple[str, str]] = set()
    drawn = [_bars_to_engrave(_join_rounds(piece), None, shown, set(), last=True) for piece in pieces]
    short = [fits_one_line(bars, half) for bars in drawn]

    def rung(k: int, wide: float) -> list[LayoutBlock]:
        lines = engrave(drawn[k], wide, f"pattern{k}")
        first = pieces[k].bars[0]
        swing = _swing_words(pieces[k].bars)
        about = " ".join(filter(None, (abouts[k] if k < len(abouts) else "", swing and f"{swing}.")))
        return [_heading_block(pieces[k].title, about, wide, f"pattern{k}-head", _total_height(lines), first), *lines]

    k = 0
    while k < len(pieces):
        if short[k] and k + 1 < len(pieces) and short[k + 1]:
            pairs = zip(rung(k, half), rung(k + 1, half), strict=True)
            blocks += [_put_side_by_side(left, right, half + _GUTTER) for left, right in pairs]
            k += 2
        else:
            blocks += rung(k, half if short[k] else room)
            k += 1
    return blocks


def _put_side_by_side(left: LayoutBlock, right: LayoutBlock, dx: float) -> LayoutBlock:
    """Two blocks as one: headings level at the top, staves at the foot."""
    high = max(left.height, right.height)
    down = [0.0 if block.keep else high - block.height for block in (left, right)]
    items = (*(i.moved(0, down[0]) for i in left.items), *(i.moved(dx, down[1]) for i in right.items))
    marks, bars, want = left.marks + right.marks, left.bars + right.bars, max(left.want, right.want)
    return replace(left, items=items, height=high, marks=marks, bars=bars, want=want, apart=left.apart - 3)


def _total_height(lines: Sequence[LayoutBlock]) -> float:
    """Their height with all between them and the heading above."""
    return sum(line.height + line.apart for line in lines) + _HEADING + 8


# Bars -----------------------------------------------------------------------------------------


def _join_rounds(piece: Piece) -> PrintedSection:
    """A pattern's bars, all its rounds where they differ."""
    parts = find_sections(piece)
    bars = tuple(bar for part in parts for bar in part.bars)
    return parts[0] if len(parts) == 1 else PrintedSection("", "", bars, ("",) * len(bars), 1)


def _bars_to_engrave(
    stretch: PrintedSection,
    before: PrintedSection | None,
    shown: set[tuple[str, str]],
    layers: set[str],
    *,
    last: bool,
    plain: bool = False,
    tempos: bool = False,
    meters: bool = False,
) -> list[EngravedBar]:
    """The bars with their marks; shapes not yet in `shown` get a diagram, and are then. `plain` draws none.

    With `tempos` and `meters` a part shows its own even where the one written above has the same.
    """
    drawn = []
    earlier = before.bars[-1] if before is not None else None
    layer = ""
    repeats = not stretch.name and stretch.rounds > 1
    opening = f"{stretch.rounds} times round" if repeats else ""
    for k, (bar, ending) in enumerate(zip(stretch.bars, stretch.endings, strict=True)):
        fresh = []
        for number, hold in enumerate(bar.held.holds):
            known = (str(hold.chord), str(hold.shape))
            if hold.chord and hold.shape and known not in shown and not plain:
                fresh.append(number)
                shown.add(known)
        # In a part that goes through several layers each change is marked.
        opening = opening if k == 0 else ""
        turn = bar.layer if len(layers) > 1 and bar.plucks and bar.layer != layer else ""
        layer = bar.layer if bar.plucks else layer
        end = k + 1 == len(stretch.bars)
        ends = end or bool(ending and ending != stretch.endings[k + 1])
        drawn.append(
            EngravedBar(
                bar,
                diagrams=frozenset(fresh),
                meter=(meters and k == 0) or earlier is None or bar.meter != earlier.meter,
                tempo=(tempos and k == 0) or (earlier is not None and bar.bpm != earlier.bpm),
                note="; ".join(filter(None, (opening, _layer_change_words(turn)))),
                opens=repeats and k == 0,
                closes=repeats and end,
                ends="" if not ends else "piece" if last and end else "part",
                ending=ending,
            )
        )
        earlier = bar
    return drawn


def _mark_ringing(bar: EngravedBar, piece: Piece, ties: bool) -> EngravedBar:
    """The bar, tied if asked, with the mark of chords that ring on."""
    mark = held_mark(bar.bar, piece)
    note = "; ".join(filter(None, (bar.note, LET_RING if mark == LET_RING else "")))
    return replace(bar, ties=ties, note=note, waits=mark == FERMATA)


def _swing_words(bars: Sequence[PieceBar]) -> str:
    """The swing of the first bars that have one, "" where all are straight."""
    for share in swing_changes(bars).values():
        return "Swing {}:{}, the first half of a beat takes {:.0%} of it".format(*swing_ratio(share), float(share))
    return ""


def _layer_change_words(layer: str) -> str:
    return {"": "", FULL: "all fingers", THUMB: "thumb alone"}.get(layer, f"layer: {layer}")


def _layer_words(layers: set[str]) -> str:
    """What a part's heading says of its one layer, nothing of the full pattern."""
    if len(layers) != 1 or layers == {FULL}:
        return ""
    (layer,) = layers
    return "thumb alone under the voice" if layer == THUMB else f"layer: {layer}"


# Heads ----------------------------------------------------------------------------------------


def _heading_block(
    title: str, about: str, room: float, group: str, want: float, first: PieceBar | None = None
) -> LayoutBlock:
    """A heading that goes along with what follows it, with the tempo of its `first` bar at the right, if that is given.

    want   the height of all that follows under it
    """
    whole = room
    items: list[Item] = []
    if first is not None:
        mark = tempo_mark(first.bpm, first.meter, f"{group}-tempo", 0, _HEADING, 9)
        room -= max(i.box.right for i in mark) + 8
        items += [i.moved(room + 8, 0) for i in mark]
    head = fit_text("heading", group, 0, _HEADING, title, _HEADING, room, BOLD)
    if head.box.top < 0:  # an accent on a capital
        head = head.moved(0, -head.box.top)
    items.append(head)
    high = _HEADING + 4
    x = head.box.right + 8
    if about and x + width(about, ITALIC, 9) <= room:
        items.append(make_text("about", f"{group}-about", x, _HEADING, about, 9, ITALIC))
    elif about:
        lines = wrap_text("about", f"{group}-about", about, 8.5, whole, ITALIC)
        items += [line.moved(0, high) for line in lines]
        high = lines[-1].box.bottom + high + 1
    return LayoutBlock(tuple(items), high, keep=True, apart=13, marks=((1, title),), want=want)


def _head_blocks(piece: Piece, paper: str, group: str, about: str = "") -> Iterator[LayoutBlock]:
    """Title, what the piece asks for, and the order of its parts."""
    room = text_width(paper)
    name = piece.arrangement
    aside = width(name, ITALIC, 12) + 14 if name else 0.0
    aside = min(aside, room * 0.4)
    items, high = _title_items(piece.title, room - aside, f"{group}-title")
    if name:
        items.append(fit_text("arrangement", f"{group}-name", room, 0.8 * _TITLE, name, 12, aside - 13, ITALIC, 1.0))
    mark = f"{piece.title} ({name})" if name else piece.title
    yield LayoutBlock(tuple(items), high, keep=True, fresh=True, marks=((0, mark),))
    if about:
        yield _text_block(about, room, f"{group}-about", ITALIC)
    yield _facts_block(piece, room, group)
    if piece.order:
        yield _text_block(f"Order: {_order_words(piece.order)}", room, f"{group}-order")


def _title_items(title: str, room: float, group: str) -> tuple[list[Item], float]:
    """A title, on two lines or more and smaller where it is long; and its height."""
    long = width(title, BOLD, _TITLE) > room
    lines = wrap_text("title", group, title, _TITLE * 0.8 if long else _TITLE, room, BOLD)
    top = min((line.box.top for line in lines), default=0.0)
    return [line.moved(0, -top) for line in lines], max((i.box.bottom for i in lines), default=0.0) - top + 5


def _text_block(text: str, room: float, group: str, font: str = REGULAR) -> LayoutBlock:
    lines = wrap_text("info", group, text, _INFO, room, font)
    return LayoutBlock(lines, lines[-1].box.bottom + 3 if lines else 0, keep=True)


def _order_words(names: Sequence[str]) -> str:
    """`Intro, Verse 2×, Chorus`."""
    runs = [(name, len(list(group))) for name, group in groupby(names)]
    return ", ".join(name if count == 1 else f"{name} {count}×" for name, count in runs)


def _facts_block(piece: Piece, room: float, group: str) -> LayoutBlock:
    """Tempo, meter, key, capo and tuning on a line, or on more where they do not fit."""
    items: list[Item] = []
    x, y = 0.0, _INFO + 1
    if piece.bars:
        first = piece.bars[0]
        items += tempo_mark(first.bpm, first.meter, f"{group}-tempo", 0, y, 10.5)
        x = items[-1].box.right + 18
    for k, text in enumerate(_facts(piece)):
        item = make_text("info", f"{group}-asked{k}", x, y, text, _INFO)
        if item.box.right > room:
            x, y = 0.0, y + _INFO * 1.35
            item = fit_text("info", f"{group}-asked{k}", x, y, text, _INFO, room)
        items.append(item)
        x = item.box.right + 18
    return LayoutBlock(tuple(items), y + 5, keep=True)


def _facts(piece: Piece) -> Iterator[str]:
    if piece.bars:
        first = piece.bars[0]
        yield str(first.meter)
        if swing := _swing_words(piece.bars):
            yield swing
    if piece.capo:
        key = f", sounds in {key_behind_capo(piece.key, piece.capo).title}" if piece.key else ""
        yield f"Capo at fret {piece.capo}{key}"
    if piece.key:
        yield f"Shapes in {piece.key.title}" if piece.capo else f"Key of {piece.key.title}"
    names = " ".join(str(p.note) for p in piece.tuning.pitches)
    yield f"Tuning {names} (standard)" if piece.tuning == STANDARD else f"Tuning {names}"

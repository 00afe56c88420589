"""What a handout is made of: its head, its parts with their headings, its layers, its ladder; all as blocks."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import groupby

from coach.guitar.shape import Shape
from coach.guitar.tuning import STANDARD
from coach.paper.pdf.diagrams import shape_rows
from coach.paper.pdf.endings import Stretch, stretches
from coach.paper.pdf.engraved_bars import Drawn
from coach.paper.pdf.engraving import engraved, fits
from coach.paper.pdf.glyphs import BOLD, ITALIC, REGULAR, width
from coach.paper.pdf.layout import Block, Item, fitted, text_width, words, wrapped
from coach.paper.pdf.tempo_mark import tempo_mark
from coach.paper.swing import ratio, swing_changes
from coach.paper.written_bars import FERMATA, LET_RING, held_mark, sounding_key
from coach.picking.layers import FULL, LAYERS, THUMB
from coach.song.piece import Piece, PieceBar

_TITLE, _HEADING, _INFO = 21.0, 13.0, 9.5
_GUTTER = 26.0
_MOST_SHAPES = 16  # two rows


def piece_blocks(piece: Piece, paper: str, group: str, source: str = "", ties: bool = False) -> list[Block]:
    """A piece from its title to its last bar, on pages of its own."""
    blocks = list(_head(piece, paper, group, source))
    room = text_width(paper)
    gathered = _gathered(piece)
    blocks += shape_rows(list(gathered.items()), room, f"{group}-shapes")
    shown = {(name, str(shape)) for name, shape in gathered.items()}
    parts = stretches(piece)
    tempos, meters = len({b.bpm for b in piece.bars}) > 1, len({b.meter for b in piece.bars}) > 1
    for k, stretch in enumerate(parts):
        layers = {bar.layer for bar in stretch.bars if bar.plucks}
        before, last = parts[k - 1] if k else None, k + 1 == len(parts)
        bars = _drawn(stretch, before, shown, layers, last=last, tempos=tempos and k > 0, meters=meters)
        lines = engraved([_held(bar, piece, ties) for bar in bars], room, f"{group}-{k}")
        if stretch.heading:
            said = _layer_said(layers)
            blocks.append(_headed(stretch.heading, said, room, f"{group}-head{k}", _tall(lines)))
        blocks += lines
    return blocks


def _gathered(piece: Piece) -> dict[str, Shape]:
    """The shapes of a song by chord, to stand at its head; none where a chord is held in two ways, or they are many.

    Then, as over a pattern, each stands where it first comes.
    """
    if not piece.order:
        return {}
    holds = [hold for bar in piece.bars for hold in bar.held.holds]
    found = dict.fromkeys((str(hold.chord), hold.shape) for hold in holds if hold.shape is not None)
    by_name = {name: shape for name, shape in found if shape is not None}
    return by_name if len(by_name) == len(found) <= _MOST_SHAPES else {}


def layer_blocks(piece: Piece, about: str, paper: str) -> list[Block]:
    """A pattern's piece once for every layer, each step saying what it adds."""
    blocks = list(_head(piece, paper, "piece", about))
    for k, layer in enumerate(piece.layers):
        step = piece.layered([layer] * len(piece.bars))
        shown: set[tuple[str, str]] = set()
        stretch = _rounds(step)
        bars = _drawn(stretch, None, shown, {layer}, last=True, plain=k > 0)
        lines = engraved(bars, text_width(paper), f"layer{k}")
        want = _tall(lines)
        said = f"all of it: {LAYERS[FULL]}" if layer == FULL and k else LAYERS[layer]
        blocks.append(_headed(layer, said, text_width(paper), f"layer{k}-head", want))
        blocks += lines
    return blocks


def ladder_blocks(pieces: Sequence[Piece], title: str, abouts: Sequence[str], paper: str) -> list[Block]:
    """Patterns one under the other, neighbours that are short side by side; a shape is drawn where it comes first."""
    room = text_width(paper)
    half = (room - _GUTTER) / 2
    head, high = _titled(title, room, "title")
    blocks = [Block(tuple(head), high, keep=True, marks=((0, title),))]
    shown: set[tuple[str, str]] = set()
    drawn = [_drawn(_rounds(piece), None, shown, set(), last=True) for piece in pieces]
    short = [fits(bars, half) for bars in drawn]

    def rung(k: int, wide: float) -> list[Block]:
        lines = engraved(drawn[k], wide, f"pattern{k}")
        first = pieces[k].bars[0]
        swing = _swing_said(pieces[k].bars)
        about = " ".join(filter(None, (abouts[k] if k < len(abouts) else "", swing and f"{swing}.")))
        return [_headed(pieces[k].title, about, wide, f"pattern{k}-head", _tall(lines), first), *lines]

    k = 0
    while k < len(pieces):
        if short[k] and k + 1 < len(pieces) and short[k + 1]:
            pairs = zip(rung(k, half), rung(k + 1, half), strict=True)
            blocks += [_beside(left, right, half + _GUTTER) for left, right in pairs]
            k += 2
        else:
            blocks += rung(k, half if short[k] else room)
            k += 1
    return blocks


def _beside(left: Block, right: Block, dx: float) -> Block:
    """Two blocks as one: headings level at the top, staves at the foot."""
    high = max(left.height, right.height)
    down = [0.0 if block.keep else high - block.height for block in (left, right)]
    items = (*(i.moved(0, down[0]) for i in left.items), *(i.moved(dx, down[1]) for i in right.items))
    marks, bars, want = left.marks + right.marks, left.bars + right.bars, max(left.want, right.want)
    return replace(left, items=items, height=high, marks=marks, bars=bars, want=want, apart=left.apart - 3)


def _tall(lines: Sequence[Block]) -> float:
    """Their height with all between them and the heading above."""
    return sum(line.height + line.apart for line in lines) + _HEADING + 8


# Bars -----------------------------------------------------------------------------------------


def _rounds(piece: Piece) -> Stretch:
    """A pattern's bars, all its rounds where they differ."""
    parts = stretches(piece)
    bars = tuple(bar for part in parts for bar in part.bars)
    return parts[0] if len(parts) == 1 else Stretch("", "", bars, ("",) * len(bars), 1)


def _drawn(
    stretch: Stretch,
    before: Stretch | None,
    shown: set[tuple[str, str]],
    layers: set[str],
    *,
    last: bool,
    plain: bool = False,
    tempos: bool = False,
    meters: bool = False,
) -> list[Drawn]:
    """The bars with what is told at them; shapes not yet in `shown` get a diagram, and are then. `plain` draws none.

    With `tempos` and `meters` a part tells its own even where the one written above has the same.
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
        # In a part that goes through several layers each change is told.
        opening = opening if k == 0 else ""
        turn = bar.layer if len(layers) > 1 and bar.plucks and bar.layer != layer else ""
        layer = bar.layer if bar.plucks else layer
        end = k + 1 == len(stretch.bars)
        ends = end or bool(ending and ending != stretch.endings[k + 1])
        drawn.append(
            Drawn(
                bar,
                diagrams=frozenset(fresh),
                meter=(meters and k == 0) or earlier is None or bar.meter != earlier.meter,
                tempo=(tempos and k == 0) or (earlier is not None and bar.bpm != earlier.bpm),
                note="; ".join(filter(None, (opening, _turn_said(turn)))),
                opens=repeats and k == 0,
                closes=repeats and end,
                ends="" if not ends else "piece" if last and end else "part",
                ending=ending,
            )
        )
        earlier = bar
    return drawn


def _held(bar: Drawn, piece: Piece, ties: bool) -> Drawn:
    """The bar, tied if asked, with what is told of chords that ring on."""
    mark = held_mark(bar.bar, piece)
    note = "; ".join(filter(None, (bar.note, LET_RING if mark == LET_RING else "")))
    return replace(bar, ties=ties, note=note, waits=mark == FERMATA)


def _swing_said(bars: Sequence[PieceBar]) -> str:
    """The swing of the first bars that have one, "" where all are straight."""
    for share in swing_changes(bars).values():
        return "Swing {}:{}, the first half of a beat takes {:.0%} of it".format(*ratio(share), float(share))
    return ""


def _turn_said(layer: str) -> str:
    return {"": "", FULL: "all fingers", THUMB: "thumb alone"}.get(layer, f"layer: {layer}")


def _layer_said(layers: set[str]) -> str:
    """What a part's heading says of its one layer, nothing of the full pattern."""
    if len(layers) != 1 or layers == {FULL}:
        return ""
    (layer,) = layers
    return "thumb alone under the voice" if layer == THUMB else f"layer: {layer}"


# Heads ----------------------------------------------------------------------------------------


def _headed(title: str, about: str, room: float, group: str, want: float, first: PieceBar | None = None) -> Block:
    """A heading that goes along with what follows it, with the tempo of its `first` bar at the right, if that is given.

    want   the height of all that follows under it
    """
    whole = room
    items: list[Item] = []
    if first is not None:
        mark = tempo_mark(first.bpm, first.meter, f"{group}-tempo", 0, _HEADING, 9)
        room -= max(i.box.right for i in mark) + 8
        items += [i.moved(room + 8, 0) for i in mark]
    head = fitted("heading", group, 0, _HEADING, title, _HEADING, room, BOLD)
    if head.box.top < 0:  # an accent on a capital
        head = head.moved(0, -head.box.top)
    items.append(head)
    high = _HEADING + 4
    x = head.box.right + 8
    if about and x + width(about, ITALIC, 9) <= room:
        items.append(words("about", f"{group}-about", x, _HEADING, about, 9, ITALIC))
    elif about:
        lines = wrapped("about", f"{group}-about", about, 8.5, whole, ITALIC)
        items += [line.moved(0, high) for line in lines]
        high = lines[-1].box.bottom + high + 1
    return Block(tuple(items), high, keep=True, apart=13, marks=((1, title),), want=want)


def _head(piece: Piece, paper: str, group: str, about: str = "") -> Iterator[Block]:
    """Title, what the piece asks for, and the order of its parts."""
    room = text_width(paper)
    name = piece.arrangement
    aside = width(name, ITALIC, 12) + 14 if name else 0.0
    aside = min(aside, room * 0.4)
    items, high = _titled(piece.title, room - aside, f"{group}-title")
    if name:
        items.append(fitted("arrangement", f"{group}-name", room, 0.8 * _TITLE, name, 12, aside - 13, ITALIC, 1.0))
    mark = f"{piece.title} ({name})" if name else piece.title
    yield Block(tuple(items), high, keep=True, fresh=True, marks=((0, mark),))
    if about:
        yield _lines(about, room, f"{group}-about", ITALIC)
    yield _asked(piece, room, group)
    if piece.order:
        yield _lines(f"Order: {_order(piece.order)}", room, f"{group}-order")


def _titled(title: str, room: float, group: str) -> tuple[list[Item], float]:
    """A title, on two lines or more and smaller where it is long; and its height."""
    long = width(title, BOLD, _TITLE) > room
    lines = wrapped("title", group, title, _TITLE * 0.8 if long else _TITLE, room, BOLD)
    top = min((line.box.top for line in lines), default=0.0)
    return [line.moved(0, -top) for line in lines], max((i.box.bottom for i in lines), default=0.0) - top + 5


def _lines(text: str, room: float, group: str, font: str = REGULAR) -> Block:
    lines = wrapped("info", group, text, _INFO, room, font)
    return Block(lines, lines[-1].box.bottom + 3 if lines else 0, keep=True)


def _order(names: Sequence[str]) -> str:
    """`Intro, Verse 2×, Chorus`."""
    runs = [(name, len(list(group))) for name, group in groupby(names)]
    return ", ".join(name if count == 1 else f"{name} {count}×" for name, count in runs)


def _asked(piece: Piece, room: float, group: str) -> Block:
    """Tempo, meter, key, capo and tuning on a line, or on more where they do not fit."""
    items: list[Item] = []
    x, y = 0.0, _INFO + 1
    if piece.bars:
        first = piece.bars[0]
        items += tempo_mark(first.bpm, first.meter, f"{group}-tempo", 0, y, 10.5)
        x = items[-1].box.right + 18
    for k, text in enumerate(_asked_words(piece)):
        item = words("info", f"{group}-asked{k}", x, y, text, _INFO)
        if item.box.right > room:
            x, y = 0.0, y + _INFO * 1.35
            item = fitted("info", f"{group}-asked{k}", x, y, text, _INFO, room)
        items.append(item)
        x = item.box.right + 18
    return Block(tuple(items), y + 5, keep=True)


def _asked_words(piece: Piece) -> Iterator[str]:
    if piece.bars:
        first = piece.bars[0]
        yield str(first.meter)
        if swing := _swing_said(piece.bars):
            yield swing
    if piece.capo:
        key = f", sounds in {sounding_key(piece.key, piece.capo).title}" if piece.key else ""
        yield f"Capo at fret {piece.capo}{key}"
    if piece.key:
        yield f"Shapes in {piece.key.title}" if piece.capo else f"Key of {piece.key.title}"
    names = " ".join(str(p.note) for p in piece.tuning.pitches)
    yield f"Tuning {names} (standard)" if piece.tuning == STANDARD else f"Tuning {names}"

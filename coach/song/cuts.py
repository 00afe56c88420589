"""Parts cut out of a piece, to be played round and round: a verse, a change, a corner that goes wrong."""

from __future__ import annotations

import difflib
from dataclasses import replace
from fractions import Fraction

from coach.errors import BadInput
from coach.picking.realise import HeldBar
from coach.song.piece import Piece, PieceBar


def cut_bars(piece: Piece, first: int, last: int) -> Piece:
    """Bars `first` to `last` of the piece, both included, numbered anew from 0 and from beat 0.

    A bar keeps its part, its place in it and its layer. Raises BadInput when there are no such bars.
    """
    if not 0 <= first <= last < len(piece.bars):
        raise BadInput(
            f"'{piece.id}' has no bars {first + 1} to {last + 1}", mend=f"it is played in {len(piece.bars)} bars"
        )
    begin = piece.bars[first].start
    bars = tuple(_renumber(bar, bar.number - first, begin) for bar in piece.bars[first : last + 1])
    order: list[str] = []
    for before, bar in zip((None, *bars), bars, strict=False):
        if bar.part and (before is None or (before.part, before.time) != (bar.part, bar.time)):
            order.append(bar.part)
    return replace(piece, bars=bars, order=tuple(order))


def _renumber(bar: PieceBar, number: int, begin: Fraction) -> PieceBar:
    plucks = tuple(replace(pluck, bar=number) for pluck in bar.plucks)
    return replace(bar, number=number, start=bar.start - begin, plucks=plucks)


def part_span(piece: Piece, name: str) -> tuple[int, int]:
    """The (first, last) bar of a part the first time it is played, or the time named: `Verse`, `Verse 2`.

    Raises BadInput that names the nearest part.
    """
    spans = part_spans(piece)
    names = dict.fromkeys(part for part, _ in spans)
    if name in names:
        return spans[name, 0]
    part, _, time = name.rpartition(" ")
    if part in names and time.isdecimal() and (part, int(time) - 1) in spans:
        return spans[part, int(time) - 1]
    near = difflib.get_close_matches(name, names, n=1)
    hint = f"did you mean {near[0]}?" if near else "its parts are " + ", ".join(names)
    raise BadInput(f"'{piece.id}' has no part '{name}'", mend=hint)


def corner_span(piece: Piece, part: str, bar: int) -> tuple[int, int]:
    """The (first, last) bar of the piece around bar `bar` (from 0) of a part, of the piece for "": it, the one before
    and the one after. At the piece's ends there is none before or after. Raises BadInput where there is no such bar.
    """
    first, last = part_span(piece, part) if part else (0, len(piece.bars) - 1)
    at = first + bar
    if not first <= at <= last:
        raise BadInput(f"'{piece.id}' has no bar {bar + 1} {part}".strip(), mend=f"it has {last - first + 1}")
    return max(at - 1, 0), min(at + 1, len(piece.bars) - 1)


def hand_in_bar(piece: Piece, part: str, bar: int, place: int | None = None) -> HeldBar:
    """What the hand holds in a bar of a part, from 0; with `place` only the chord that stands there, for a whole bar.

    Raises BadInput where there is no such bar or chord.
    """
    first, last = part_span(piece, part)
    held = piece.bars[first + bar].held if 0 <= bar <= last - first else None
    if held is None or (place is not None and not 0 <= place < len(held.holds)):
        raise BadInput(f"'{piece.id}' has no such chord in {part}, bar {bar + 1}", mend="look at its chart")
    return held if place is None else HeldBar((replace(held.holds[place], beat=Fraction(0)),))


def part_spans(piece: Piece) -> dict[tuple[str, int], tuple[int, int]]:
    """(part, which time round from 0) -> its (first, last) bar, in the order they are played."""
    spans: dict[tuple[str, int], tuple[int, int]] = {}
    for bar in piece.bars:
        first, _ = spans.get((bar.part, bar.time), (bar.number, bar.number))
        spans[bar.part, bar.time] = (first, bar.number)
    return spans

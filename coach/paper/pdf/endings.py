"""Sections of a handout: a part written once for all its times, with endings where only its last bars differ."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from coach.paper.pdf.engraved_lines import plucks_without_bar
from coach.paper.written_bars import WrittenPart, written_parts
from coach.song.piece import Piece, PieceBar

_LONGEST = 2  # bars of an ending
_SHARED = 2  # bars that must be the same before it


@dataclass(frozen=True)
class PrintedSection:
    """Bars under one heading.

    heading   "" for none
    name      of the part, "" in a pattern's piece
    bars      in the order they are written
    endings   for each bar the times round it is played, "" where it is played each time
    rounds    how many times round all of it is played
    """

    heading: str
    name: str
    bars: tuple[PieceBar, ...]
    endings: tuple[str, ...]
    rounds: int


def find_sections(piece: Piece) -> tuple[PrintedSection, ...]:
    """A piece's parts as they are written, in the order they first come."""
    parts = written_parts(piece)
    names = dict.fromkeys(part.name for part in parts)
    by_name = {name: [part for part in parts if part.name == name] for name in names}
    joined = {name: _join_endings(ways) for name, ways in by_name.items()}
    return tuple(_order_sections(parts, joined))


def _order_sections(parts: Sequence[WrittenPart], joined: dict[str, PrintedSection | None]) -> Iterator[PrintedSection]:
    done = set()
    for part in parts:
        whole = joined[part.name]
        if whole is None:
            heading = part.heading if part.name or len(part.times) < part.of else ""
            yield PrintedSection(heading, part.name, part.bars, ("",) * len(part.bars), len(part.times))
        elif part.name not in done:
            done.add(part.name)
            yield whole


def _join_endings(ways: Sequence[WrittenPart]) -> PrintedSection | None:
    """The ways to play a part as one with endings, None where they differ in more than their last bars."""
    first = ways[0]
    if len(ways) == 1 or not first.name or any(len(way.bars) != len(first.bars) for way in ways):
        return None
    shared = min(_count_shared(first.bars, way.bars) for way in ways[1:])
    if shared < _SHARED or len(first.bars) - shared > _LONGEST:
        return None
    bars, endings = list(first.bars[:shared]), [""] * shared
    for way in ways:
        said = "time " + " and ".join(map(str, way.times))
        bars += way.bars[shared:]
        endings += [said] * (len(way.bars) - shared)
    return PrintedSection(first.name, first.name, tuple(bars), tuple(endings), 1)


def _count_shared(a: Sequence[PieceBar], b: Sequence[PieceBar]) -> int:
    """How many bars from the first on are played alike."""
    for k, (left, right) in enumerate(zip(a, b, strict=True)):
        if _as_played(left) != _as_played(right):
            return k
    return len(a)


def _as_played(bar: PieceBar) -> object:
    return plucks_without_bar(bar), replace(bar, number=0, time=0, start=Fraction(0), plucks=())

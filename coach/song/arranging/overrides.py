"""The player's own say over an arrangement: a pattern, a shape, a stand-in for a bar, a chord, a part or all of it.

What is said by hand is marked as such: a bar by its `why`, what holds throughout by a line among the arrangement's
reasons; whatever stands in a part was said by hand, for a proposal says nothing there but the pattern of another meter.
So a new proposal can be made that leaves all of it standing.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import TypeVar

from coach.errors import BadShape
from coach.guitar.choices import add_fingers
from coach.guitar.grip import Grip
from coach.guitar.shape import Shape
from coach.music.chords import Chord
from coach.music.keys import Key
from coach.music.rekey import plain_chord, rekey
from coach.song.arrangement import NO_CHORD, Arrangement, BarWay, PartWay

BAR, CHORD, PART, ALL = "this bar", "this chord in the part", "the part", "the whole song"
SCOPES = (BAR, CHORD, PART, ALL)
YOURS = "by your choice"
_NONE = PartWay()
Value = TypeVar("Value")


def can_be_written(shape: Shape) -> bool:
    """Whether a song file can hold it: its frets alone must tell how it is held, and so four fingers must do."""
    try:
        add_fingers(Shape(shape.frets))
    except BadShape:
        return False
    return True


def as_written(arrangement: Arrangement) -> Arrangement:
    """The same with shapes as a song file holds them: their frets, from which the fingers are told again."""

    def bare(shapes: Mapping[str, Shape]) -> dict[str, Shape]:
        return {chord: Shape(shape.frets) for chord, shape in shapes.items()}

    def of_part(way: PartWay) -> PartWay:
        bars = {number: replace(own, shapes=bare(own.shapes)) for number, own in way.bars.items()}
        return replace(way, shapes=bare(way.shapes), bars=bars)

    parts = {name: of_part(way) for name, way in arrangement.parts.items()}
    return replace(arrangement, way=of_part(arrangement.way), parts=parts)


def with_pattern(arrangement: Arrangement, scope: str, part: str, bar: int, chord: str, pattern: str) -> Arrangement:
    """Another pattern where `scope` says; chords' own ones inside it give way, bars keep theirs."""
    way = arrangement.parts.get(part, _NONE)
    if scope == BAR:
        own = way.bars.get(bar, BarWay())
        # All strings were left open for the tune where there is no chord: a pattern would pick them.
        shapes = _without(own.shapes, NO_CHORD) if own.lanes else own.shapes
        return _bar(arrangement, part, bar, BarWay(pattern, shapes=shapes, why=YOURS))
    if scope == CHORD:
        return _part(arrangement, part, replace(way, by_chord={**way.by_chord, chord: pattern}))
    if scope == PART:
        return _part(arrangement, part, replace(way, pattern=pattern, by_chord={}))
    # A bar of its own kind (half bars, woven lanes) keeps it, whatever the rest plays.
    marked = _mark(arrangement, f"the pattern {YOURS}", on=True)
    parts = {name: replace(own, pattern="", by_chord={}) for name, own in arrangement.parts.items()}
    return replace(marked, way=replace(marked.way, pattern=pattern, by_chord={}), parts=parts)


def with_shape(arrangement: Arrangement, scope: str, part: str, bar: int, chord: str, shape: Shape) -> Arrangement:
    """Another shape for a chord where `scope` says (for CHORD as for PART)."""
    way = arrangement.parts.get(part, _NONE)
    if scope == BAR:
        own = way.bars.get(bar, BarWay())
        return _bar(arrangement, part, bar, replace(own, shapes={**own.shapes, chord: shape}, why=YOURS))
    if scope in (CHORD, PART):
        own_way = replace(
            way,
            shapes={**way.shapes, chord: shape},
            stand_in=_without(way.stand_in, chord),
            bars=_bars_free(way.bars, chord),
        )
        return _part(arrangement, part, own_way)
    marked = _everywhere(arrangement, chord)
    whole = marked.way
    return replace(
        marked,
        way=replace(whole, shapes={**whole.shapes, chord: shape}, stand_in=_without(whole.stand_in, chord)),
    )


def with_stand_in(
    arrangement: Arrangement, scope: str, part: str, chord: str, grip: Grip, recipe: str = ""
) -> Arrangement:
    """Something easier for a chord: the `grip` of it or of another chord, or a `recipe` like `G:1@1`.

    It holds for the part, with ALL for the whole song: a bar alone can be given a shape, but no other chord.
    """
    name = str(grip.chord)
    if not recipe and name == chord:
        return with_shape(arrangement, PART if scope == BAR else scope, part, 0, chord, grip.shape)
    wide = scope == ALL
    marked = _everywhere(arrangement, chord) if wide else arrangement
    way = marked.way if wide else marked.parts.get(part, _NONE)
    shapes = dict(way.shapes) if recipe else {**way.shapes, name: grip.shape}
    way = replace(way, stand_in={**way.stand_in, chord: recipe or name}, shapes=_without(shapes, chord))
    way = way if wide else replace(way, bars=_bars_free(way.bars, chord))
    return replace(marked, way=way) if wide else _part(marked, part, way)


def freed(arrangement: Arrangement, scope: str, part: str, bar: int, chord: str) -> Arrangement:
    """Nothing said of pattern and shape in `scope`; for CHORD and ALL of this chord alone. All keeps its pattern."""
    way = arrangement.parts.get(part, _NONE)
    if scope == BAR:
        return _part(arrangement, part, replace(way, bars={k: v for k, v in way.bars.items() if k != bar}))
    if scope == PART:
        return _part(arrangement, part, PartWay())
    if scope == CHORD:
        return _part(arrangement, part, _chord_free(way, chord))
    marked = _mark(arrangement, _chord_line(chord), on=False)
    parts = {name: _chord_free(own, chord) for name, own in marked.parts.items()}
    return replace(marked, way=_chord_free(marked.way, chord), parts=parts)


def said_by_hand(arrangement: Arrangement, part: str, bar: int, chord: str) -> str:
    """The narrowest scope in which the player has said something of this chord here; "" for none."""
    way = arrangement.parts.get(part, _NONE)
    if bar in way.bars and way.bars[bar].why in (YOURS, ""):
        return BAR
    if chord in way.by_chord or chord in way.shapes or chord in way.stand_in:
        return CHORD
    if way.pattern:
        return PART
    return ALL if _chord_line(chord) in arrangement.why else ""


def carried(old: Arrangement, new: Arrangement, chart: Key) -> Arrangement:
    """The proposal `new` with all that was said by hand in `old` kept; `chart` is the key of the song's chart.

    Where the key the hand plays in has changed, chords are named anew, and shapes, which belonged to the old ones, and
    stand-ins fall.
    """
    there, here = old.key or chart, new.key or chart
    same = there == here
    parts: dict[str, PartWay] = {}
    for name in dict.fromkeys([*new.parts, *old.parts]):
        mine, theirs = old.parts.get(name, _NONE), new.parts.get(name, _NONE)
        kept = {
            bar: way if same else replace(way, shapes={})
            for bar, way in mine.bars.items()
            if way.why in (YOURS, "")
        }
        parts[name] = PartWay(
            mine.pattern or theirs.pattern,
            {**theirs.by_chord, **_named(mine.by_chord, there, here)},
            {**theirs.shapes, **(mine.shapes if same else {})},
            {**theirs.stand_in, **(mine.stand_in if same else {})},
            {**theirs.bars, **{bar: way for bar, way in kept.items() if way != BarWay(why=way.why)}},
        )
    made = replace(new, parts={name: way for name, way in parts.items() if way != _NONE or name in new.parts})
    made = replace(made, singing=old.singing, early=old.early, tempo=old.tempo)
    if f"the pattern {YOURS}" in old.why:
        made = _mark(replace(made, way=replace(made.way, pattern=old.way.pattern)), f"the pattern {YOURS}", on=True)
    for chord in {*old.way.shapes, *old.way.stand_in} if same else ():
        if _chord_line(chord) not in old.why:
            continue
        made = _everywhere(made, chord)
        whole, mine = made.way, old.way
        shapes, stand_in = _without(whole.shapes, chord), _without(whole.stand_in, chord)
        if chord in mine.shapes:
            shapes = {**shapes, chord: mine.shapes[chord]}
        if chord in mine.stand_in:
            other = mine.stand_in[chord]
            stand_in = {**stand_in, chord: other}
            shapes |= {other: mine.shapes[other]} if other in mine.shapes else {}
        made = replace(made, way=replace(whole, shapes=shapes, stand_in=stand_in))
    return made


def _named(table: Mapping[str, str], old: Key, new: Key) -> dict[str, str]:
    """The same by the names its chords have in another key."""
    if old == new:
        return dict(table)
    chords = rekey([Chord.parse(name) for name in table], old, new)
    return {str(plain_chord(c)): value for c, value in zip(chords, table.values(), strict=True) if c is not None}


def _chord_free(way: PartWay, chord: str) -> PartWay:
    return replace(
        way,
        by_chord=_without(way.by_chord, chord),
        shapes=_without(way.shapes, chord),
        stand_in=_without(way.stand_in, chord),
    )


def _everywhere(arrangement: Arrangement, chord: str) -> Arrangement:
    """What is said by hand of a chord in the whole song: what parts and bars said of its shape gives way."""
    marked = _mark(arrangement, _chord_line(chord), on=True)
    parts = {}
    for name, way in marked.parts.items():
        parts[name] = replace(
            way,
            shapes=_without(way.shapes, chord),
            stand_in=_without(way.stand_in, chord),
            bars=_bars_free(way.bars, chord),
        )
    return replace(marked, parts=parts)


def _bars_free(bars: Mapping[int, BarWay], chord: str) -> dict[int, BarWay]:
    """The ways of bars without a shape for this chord; a bar that then says nothing goes."""
    found = {bar: replace(own, shapes=_without(own.shapes, chord)) for bar, own in bars.items()}
    return {bar: own for bar, own in found.items() if own == bars[bar] or own != BarWay(why=own.why)}


def _chord_line(chord: str) -> str:
    return f"{chord} {YOURS}"


def _mark(arrangement: Arrangement, line: str, *, on: bool) -> Arrangement:
    why = tuple(one for one in arrangement.why if one != line)
    return replace(arrangement, why=(*why, line) if on else why)


def _part(arrangement: Arrangement, part: str, way: PartWay) -> Arrangement:
    return replace(arrangement, parts={**arrangement.parts, part: way})


def _bar(arrangement: Arrangement, part: str, bar: int, own: BarWay) -> Arrangement:
    way = arrangement.parts.get(part, _NONE)
    return _part(arrangement, part, replace(way, bars={**way.bars, bar: own}))


def _without(table: Mapping[str, Value], key: str) -> dict[str, Value]:
    return {name: value for name, value in table.items() if name != key}

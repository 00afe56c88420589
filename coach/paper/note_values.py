"""Note values: which plain and dotted values fill a stretch of a bar so that its beats can be seen, and its tuplets.

Places are felt beats from where the meter's full bar begins. What may stand where is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from itertools import pairwise
from math import ceil, floor, lcm

from coach.music.meter import Meter

# Names of MusicXML 4.0 (note-type-value) with their lengths in quarter notes; the shortest bar grid is 64 slots.
_NAMES = ("whole", "half", "quarter", "eighth", "16th", "32nd", "64th", "128th", "256th", "512th", "1024th")
TYPES = {name: Fraction(4, 2**k) for k, name in enumerate(_NAMES)}
VALUES = {length: (name, 0) for name, length in TYPES.items()} | {
    length * 3 / 2: (name, 1) for name, length in TYPES.items()
}


@dataclass(frozen=True)
class Tuplet:
    """`parts` notes of a `unit` in the time of `normal` of them: 3 eighths in the time of 2."""

    parts: int
    normal: int
    unit: str


Span = tuple[Fraction, Fraction]  # from, to
Group = tuple[Fraction, Fraction, Tuplet]


def _is_plain_division(beat: Fraction, meter: Meter) -> bool:
    """Whether a place is reached by halving: of the beat, or of the three eighths of a compound beat."""
    denominator = (beat * 3 if meter.compound else beat).denominator
    return denominator & (denominator - 1) == 0


def find_tuplets(events: Sequence[Span], meter: Meter) -> tuple[Group, ...]:
    """The stretches that need a tuplet, as (start, end, tuplet) in beats.

    One beat each; two beats or the whole bar where the notes divide those into equal parts of an odd number, so
    that fewer of them are tied (three over two beats, five over a bar).
    """
    places = sorted({place for event in events for place in event})
    if all(_is_plain_division(p, meter) for p in places):
        return ()
    best: tuple[int, tuple[Group, ...]] | None = None
    for beats in sorted({1, 2 if meter.beats % 2 == 0 else 1, meter.beats}):
        groups = _group_beats(places, meter, beats)
        if beats > 1 and any(g[2].parts % 2 == 0 for g in groups):
            continue
        cuts = sum(len(cut_at_tuplets(*event, groups)) for event in events)
        if best is None or cuts < best[0]:
            best = cuts, groups
    assert best is not None  # one beat each always serves
    return best[1]


def _group_beats(places: Sequence[Fraction], meter: Meter, beats: int) -> tuple[Group, ...]:
    groups = []
    for start in range(floor(places[0] / beats) * beats, ceil(places[-1]), beats):
        inside = [p for p in places if start < p < start + beats]
        if all(_is_plain_division(p, meter) for p in inside):
            continue
        parts = lcm(*((Fraction(p - start) / beats).denominator for p in inside))
        groups.append((Fraction(start), Fraction(start + beats), _make_tuplet(parts, beats * meter.quarters_per_beat)))
    return tuple(groups)


def _make_tuplet(parts: int, quarters: Fraction) -> Tuplet:
    """`parts` in the time of as many plain values as fit into `quarters`, at most `parts` where they can be."""
    normal = quarters.numerator
    while normal % 2 == 0:
        normal //= 2
    while normal * 2 <= parts:
        normal *= 2
    unit = quarters / normal
    return Tuplet(parts, normal, next(name for name, length in TYPES.items() if length == unit))


def cut_at_tuplets(
    start: Fraction, end: Fraction, groups: Sequence[Group]
) -> list[tuple[Fraction, Fraction, Tuplet | None]]:
    """A stretch cut where a tuplet begins or ends inside it; a tuplet it covers whole is none to it."""
    inner = [g for g in groups if g[0] < end and g[1] > start and not (start <= g[0] and g[1] <= end)]
    edges = {start, end} | {p for g in inner for p in g[:2] if start < p < end}
    return [
        (a, b, next((tuplet for low, high, tuplet in inner if low <= a and b <= high), None))
        for a, b in pairwise(sorted(edges))
    ]


@lru_cache(maxsize=4096)
def split_into_values(
    start: Fraction, end: Fraction, meter: Meter, tuplet: Tuplet | None, rest: bool
) -> tuple[tuple[Fraction, Fraction], ...]:
    """The fewest values that fill start..end and let the beats be seen, as (start, end)."""
    scale = meter.quarters_per_beat * (1 if tuplet is None else Fraction(tuplet.parts, tuplet.normal))
    # The finest step at which a value could begin or end; whole beats are among the steps.
    fine = lcm((start * scale).denominator, (end * scale).denominator, scale.denominator)
    first, last = int(start * scale * fine), int(end * scale * fine)
    best: dict[int, tuple[tuple[int, int, int], tuple[tuple[Fraction, Fraction], ...]]] = {first: ((0, 0, 0), ())}
    for at in range(first + 1, last + 1):
        for before in range(first, at):
            if before not in best or Fraction(at - before, fine) not in VALUES:
                continue
            s, e = Fraction(before) / scale / fine, Fraction(at) / scale / fine
            if not _may_stand(s, e, meter, tuplet, rest):
                continue
            (count, off, longest), so_far = best[before]
            # Of two ways with as many values: cuts on beats first, then the longer value later.
            cost = count + 1, off + (s.denominator > 1 and before > first), longest + (last - at) * (at - before)
            if at not in best or cost < best[at][0]:
                best[at] = cost, (*so_far, (s, e))
    return best[last][1]


def _may_stand(start: Fraction, end: Fraction, meter: Meter, tuplet: Tuplet | None, rest: bool) -> bool:
    """Whether one value may fill start..end (beats) and the eye still sees the beats (common practice, no source)."""
    length = (end - start) * meter.quarters_per_beat
    if tuplet is not None:
        _, dots = VALUES[length * tuplet.parts / tuplet.normal]
        return not (rest and dots)
    _, dots = VALUES[length]
    plain = length * 2 / 3 if dots else length
    if end <= floor(start) + 1:  # inside one beat
        within = (start - floor(start)) * meter.quarters_per_beat
        if meter.compound and length == meter.quarters_per_beat:
            return True
        return within % plain == 0 and not dots if rest else within % (plain / 2) == 0
    on_beat, to_beat = start.denominator == 1, end.denominator == 1
    middle = _middle_beat(meter)
    crosses_middle = middle is not None and start < middle < end
    if on_beat and to_beat:
        if rest:
            return (end - start).numerator % 2 == 0 and start % (end - start) == 0 and meter.beats % 2 == 0
        return not crosses_middle or meter.beats % 2 == 0
    if rest or meter.compound or crosses_middle:
        return False
    # A dotted quarter from a beat on, or a beat's length from half to half: two figures everyone reads.
    return end - start == (Fraction(3, 2) if on_beat else 1) and (on_beat or start.denominator == 2)


def _middle_beat(meter: Meter) -> int | None:
    """The beat that must be seen: the third of four; in five the fourth (3 + 2)."""
    return {4: 2, 5: 3}.get(meter.beats)

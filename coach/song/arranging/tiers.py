"""Which patterns make the two tiers of an arrangement: plain in eighths, full in sixteenths, a family where possible.

A pattern is of a tier by the slots of its beat (two or four; three or six where the beat is a dotted quarter). Only
those that any chord can be played with count: one bar, straight, thumb on every beat, no thumb-only or one-finger
steps, no walks and cross rhythms. A family is a full pattern that grows from the plain one, or shares its figure.
Where the library has none for a meter or for chords that change at odd places, lanes are woven by rule.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from coach.errors import BadInput
from coach.music.meter import Meter
from coach.picking.pattern import LANES, STRAIGHT, Aim, Pattern, PatternBar, difficulty
from coach.song.arrangement import FULL, PLAIN

TIERS = (PLAIN, FULL)
HALF_BAR = "half-bar"
# Families that ask for their own place in a song; a proposal does not reach for them.
_SPECIAL = {"thumb", "finger", "walk", "swing", "ghost", "push", "three-over-four", HALF_BAR}
# Tags that say how dense a pattern is or in which meter, not which figure it has.
_NO_FIGURE = {"plain", "sixteenths", "pinch", "waltz", "compound", "two-four", "five-four"}

_STEP = 1.0  # each step of growth between the two
_FIGURE = 1.5  # a shared figure, where neither grows from the other
_STRANGERS = 6.0
_NOT_PLAIN = 1.0

STRING_OF = {"i": 3, "m": 2, "a": 1}
_ROLES = "rafa"


@dataclass(frozen=True)
class Family:
    """The patterns of one tier in one meter: the usual one and, where there is one, one for two chords a bar.

    usual, half  ids, "" where the library has none
    steps        how many steps of growth lie between the plain and the full one, None where they are strangers
    """

    usual: str = ""
    half: str = ""
    steps: int | None = None


def per_beat(meter: Meter, tier: str) -> int:
    """Slots of a beat in this tier: eighths or sixteenths."""
    return (3 if meter.compound else 2) * (2 if tier == FULL else 1)


def check_tier(tier: str) -> str:
    """`tier` if it is one. Raises BadInput."""
    if tier not in TIERS:
        near = difflib.get_close_matches(tier, TIERS, n=1)
        raise BadInput(
            f"'{tier}' is no tier", mend=f"did you mean {near[0]}?" if near else f"use one of {', '.join(TIERS)}"
        )
    return tier


def patterns_of_tier(patterns: Iterable[Pattern], meter: Meter, tier: str, *, half: bool = False) -> list[Pattern]:
    """The patterns that can serve a whole song in this meter and tier, easiest first; with `half` those for half bars.

    Half-bar patterns tell the root on one and in the middle of the bar.
    """
    fitting = [
        p for p in patterns
        if p.meter == meter and p.slots_per_beat == per_beat(meter, tier) and len(p.bars) == 1 and p.share == STRAIGHT
        and _can_serve(p, half)
    ]  # fmt: skip
    return sorted(fitting, key=lambda p: (difficulty(p), p.id))


def _can_serve(pattern: Pattern, half: bool) -> bool:
    tags, aims = set(pattern.tags), pattern.bars[0].aims
    thumb = {pattern.meter.slot_beat(a.slot, pattern.slots): a.role for a in aims if a.finger == "p"}
    if any(a.fret is not None for a in aims) or {a.finger for a in aims} == {"p"}:
        return False
    if half:
        middle = Fraction(pattern.meter.beats, 2)
        return HALF_BAR in tags and thumb.get(Fraction(0)) == thumb.get(middle) == "r"
    return not tags & _SPECIAL and thumb.get(Fraction(0)) == "r"


def find_families(patterns: Mapping[str, Pattern], meter: Meter) -> dict[str, Family]:
    """The pair of tiers in this meter: the full pattern grows from the plain one in as few steps as can be."""
    plain, full = (patterns_of_tier(patterns.values(), meter, tier) for tier in TIERS)
    pairs = [(p, f) for p in plain for f in full]
    if not pairs:
        return {
            PLAIN: Family(plain[0].id if plain else "", _half_bar_pattern(patterns, meter, PLAIN)),
            FULL: Family(full[0].id if full else "", _half_bar_pattern(patterns, meter, FULL)),
        }
    plain_pattern, full_pattern = min(
        pairs, key=lambda pair: (_pair_cost(pair[0], pair[1], patterns), pair[0].id, pair[1].id)
    )
    steps = growth(full_pattern, plain_pattern, patterns)
    return {
        PLAIN: Family(plain_pattern.id, _half_bar_pattern(patterns, meter, PLAIN), steps),
        FULL: Family(full_pattern.id, _half_bar_pattern(patterns, meter, FULL), steps),
    }


def _pair_cost(plain: Pattern, full: Pattern, patterns: Mapping[str, Pattern]) -> float:
    """How far a pair is from being a family, and how much it asks."""
    steps = growth(full, plain, patterns)
    figure = (set(plain.tags) & set(full.tags)) - _NO_FIGURE
    kinship = _STEP * steps if steps is not None else _FIGURE if figure else _STRANGERS
    return kinship + (difficulty(plain) + difficulty(full)) / 8 + (_NOT_PLAIN if "plain" not in plain.tags else 0.0)


def growth(pattern: Pattern, root: Pattern, patterns: Mapping[str, Pattern]) -> int | None:
    """In how many steps `pattern` grows from `root`, None where it does not."""
    seen: list[str] = []
    while pattern.id != root.id:
        if pattern.id in seen or pattern.grows_from not in patterns:
            return None
        seen.append(pattern.id)
        pattern = patterns[pattern.grows_from]
    return len(seen)


def _half_bar_pattern(patterns: Mapping[str, Pattern], meter: Meter, tier: str) -> str:
    patterns_for_half = patterns_of_tier(patterns.values(), meter, tier, half=True)
    return patterns_for_half[0].id if patterns_for_half else ""


# Woven lanes.

Lanes = tuple[tuple[str, str], ...]


def weave_lanes(meter: Meter, tier: str, changes: Sequence[Fraction] = (), begins: Fraction = Fraction(0)) -> Lanes:
    """Lanes for a bar of this meter: thumb on every beat and on every change of chord, fingers in between.

    changes  beats on which a new chord begins, each on a slot of `grid_for`
    begins   where the bar really begins, for a pick-up that is only the end of one
    The full tier is the plain one with the empty slots filled. Common practice, no source.
    """
    slots = grid_for(meter, tier, changes)
    aims = plain_aims(meter, changes, begins)
    per = Fraction(slots, meter.beats)
    bar = PatternBar(tuple(Aim(int(beat * per), finger, role, string) for beat, finger, role, string in aims))
    if tier == FULL:
        bar = fill_with_fingers(
            bar, slots, step=slots // (meter.beats * per_beat(meter, FULL)), begins=int(begins * per)
        )
    return lanes_of(bar, slots)


def grid_for(meter: Meter, tier: str, beats: Iterable[Fraction] = ()) -> int:
    """The coarsest grid of this tier that has all these beats on its slots."""
    per = per_beat(meter, tier)
    for beat in beats:
        while (beat * per).denominator != 1:
            per *= (beat * per).denominator
    return per * meter.beats


def plain_aims(
    meter: Meter, changes: Sequence[Fraction], begins: Fraction = Fraction(0)
) -> list[tuple[Fraction, str, str, int]]:
    """(beat, finger, role, string) of the plain weave."""
    strong = sorted({Fraction(b) for b in range(meter.beats)} | set(changes))
    aims: list[tuple[Fraction, str, str, int]] = []
    count = 0
    for beat in strong:
        count = 0 if beat in changes or beat == begins else count
        if beat >= begins:
            aims.append((beat, "p", _ROLES[count % 4], 0))
            count += 1
    taken = set(strong)
    thirds = [(Fraction(1, 3), "i"), (Fraction(2, 3), "m")]
    for number in range(meter.beats):
        halves = [(Fraction(1, 2), "i" if number % 2 == 0 else "m")]
        for part, finger in thirds if meter.compound else halves:
            if number + part >= begins and number + part not in taken:
                aims.append((number + part, finger, "", STRING_OF[finger]))
    return sorted(aims)


def fill_with_fingers(bar: PatternBar, slots: int, *, step: int = 1, begins: int = 0) -> PatternBar:
    """The bar with a finger on every empty slot (of every `step` slots): all it had, and more.

    No finger plucks twice within two of them, so that none is hurried.
    """
    by_slot: dict[int, list[Aim]] = {}
    for aim in bar.aims:
        by_slot.setdefault(aim.slot, []).append(aim)
    aims = list(bar.aims)

    def busy(slot: int) -> set[str]:
        return {a.finger for a in aims if a.slot % slots == slot % slots}

    order = "mai"
    for slot in range(begins, slots, step):
        if slot in by_slot:
            continue
        beside = busy(slot - step) | busy(slot + step)
        free = [f for f in order if f not in beside]
        if free:
            aims.append(Aim(slot, free[0], "", STRING_OF[free[0]]))
            order = order.replace(free[0], "") + free[0]
    return PatternBar(tuple(sorted(aims, key=lambda a: (a.slot, LANES.index(a.finger)))))


def lanes_of(bar: PatternBar, slots: int) -> Lanes:
    """The lanes of a bar that have a pluck in them."""
    return tuple((finger, bar.lane(finger, slots)) for finger in LANES if any(a.finger == finger for a in bar.aims))

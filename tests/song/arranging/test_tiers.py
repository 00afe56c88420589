"""Tiers of patterns, and lanes woven where the library has none."""

from __future__ import annotations

from fractions import Fraction
from itertools import pairwise

import pytest

from coach import shelf
from coach.errors import BadInput
from coach.music.meter import METERS, Meter
from coach.picking.pattern import PatternBar, make_pattern_bar
from coach.song.arrangement import FULL, PLAIN
from coach.song.arranging.tiers import (
    TIERS,
    check_tier,
    find_families,
    grid_for,
    growth,
    patterns_of_tier,
    per_beat,
    weave_lanes,
)
from tests.sentences import is_one_sentence

PATTERNS = shelf.library().patterns
each_meter = pytest.mark.parametrize("meter", METERS.values(), ids=str)


def bar(meter: Meter, tier: str, *changes: Fraction) -> PatternBar:
    """A woven bar."""
    return make_pattern_bar(weave_lanes(meter, tier, changes), grid_for(meter, tier, changes))


@each_meter
def test_the_full_pattern_grows_from_the_plain_one(meter: Meter) -> None:
    """In every meter the library has both tiers, one step of growth apart."""
    families = find_families(PATTERNS, meter)
    assert growth(PATTERNS[families[FULL].usual], PATTERNS[families[PLAIN].usual], PATTERNS) == 1


@pytest.mark.parametrize("tier", TIERS)
def test_a_tier_is_told_by_the_slots_of_a_beat(tier: str) -> None:
    """Eighths or sixteenths in 4/4, root on one, straight, one bar: nothing that asks for its own place in a song."""
    for pattern in patterns_of_tier(PATTERNS.values(), METERS["4/4"], tier):
        assert pattern.slots == 4 * per_beat(METERS["4/4"], tier)
        assert len(pattern.bars) == 1
        assert pattern.feel == "straight"
        assert not {"walk", "thumb", "ghost", "half-bar"} & set(pattern.tags)


@each_meter
def test_woven_lanes_have_a_bass_on_each_beat_and_grow(meter: Meter) -> None:
    """The thumb on every felt beat, root first; the full weave has all the plain one has, and more."""
    plain, full = bar(meter, PLAIN), bar(meter, FULL)
    beats = [meter.slot_beat(a.slot, grid_for(meter, PLAIN)) for a in plain.aims if a.finger == "p"]
    assert beats == list(range(meter.beats))
    assert plain.aims[0].role == "r"
    doubled = {(2 * a.slot, a.finger, a.role, a.string) for a in plain.aims}
    assert doubled < {(a.slot, a.finger, a.role, a.string) for a in full.aims}


@each_meter
@pytest.mark.parametrize("tier", TIERS)
def test_no_finger_is_hurried_in_a_weave(meter: Meter, tier: str) -> None:
    """Each slot of the full weave is plucked, and no finger twice in a row."""
    aims = bar(meter, tier).aims
    for aim, other in pairwise(aims):
        assert (aim.slot + 1 < other.slot) or aim.finger != other.finger
    if tier == FULL:
        assert {a.slot for a in aims} == set(range(grid_for(meter, FULL)))


def test_a_weave_tells_the_root_on_each_change() -> None:
    """Chords that change on the second half of two and on four: roots there, and nowhere else but on one."""
    changes = (Fraction(3, 2), Fraction(3))
    roots = [METERS["4/4"].slot_beat(a.slot, 8) for a in bar(METERS["4/4"], PLAIN, *changes).aims if a.role == "r"]
    assert roots == [0, Fraction(3, 2), 3]


def test_the_grid_is_as_fine_as_the_beats_ask() -> None:
    """Thirds of a beat beside eighths ask for six slots a beat."""
    assert grid_for(METERS["4/4"], PLAIN, [Fraction(1, 3)]) == 24
    assert grid_for(METERS["4/4"], PLAIN) == 8


def test_a_library_without_a_meter_has_no_family() -> None:
    """With no pattern at all there is none to name."""
    families = find_families({}, METERS["3/4"])
    assert (families[PLAIN].usual, families[FULL].usual) == ("", "")


def test_an_unknown_tier_names_the_nearest() -> None:
    """`ful` asks for full."""
    with pytest.raises(BadInput, match="did you mean full") as caught:
        check_tier("ful")
    assert is_one_sentence(caught.value)

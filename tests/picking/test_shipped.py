"""What every shipped pattern must be, and that the families of the style are there."""

from __future__ import annotations

import re
from fractions import Fraction
from itertools import pairwise

import pytest

from coach.music.chords import read_bars
from coach.music.meter import FOUR_FOUR
from coach.picking.pattern import Pattern, difficulty
from coach.picking.pattern_file import parse_pattern, pattern_text
from coach.picking.plucks import ACCENT
from tests.picking.shipped import BOOK, FOLDER, LIBRARY, PATTERNS, over

TAGS = {
    *("thumb", "finger", "plain", "pinch", "inside-out", "outside-in", "sixteenths", "three-over-four", "roll"),
    *("half-bar", "waltz", "compound", "two-four", "five-four", "swing", "push", "ghost", "walk"),
}
each = pytest.mark.parametrize("pattern", PATTERNS, ids=lambda p: p.id)


def tagged(tag: str) -> list[Pattern]:
    """The shipped patterns with this tag."""
    return [p for p in PATTERNS if tag in p.tags]


def test_there_are_plenty_and_none_is_broken() -> None:
    """Every shipped file can be read, and there are more than enough to work through."""
    assert LIBRARY.broken == ()
    assert len(PATTERNS) == len(list(FOLDER.iterdir())) >= 36


@each
def test_it_is_named_and_explained(pattern: Pattern) -> None:
    """A readable id, a short title, one line on what it is good for, and tags of the closed set."""
    assert re.fullmatch(r"[a-z]+(-[a-z]+)*", pattern.id)
    assert 0 < len(pattern.title) <= 40
    assert 20 <= len(pattern.about) <= 110
    assert pattern.about.endswith(".")
    assert pattern.tags
    assert set(pattern.tags) <= TAGS


def test_titles_differ() -> None:
    """No two patterns share a title, or are the same plucks under two names."""
    assert len({p.title for p in PATTERNS}) == len(PATTERNS)
    assert len({(p.meter, p.slots, p.bars, p.share) for p in PATTERNS}) == len(PATTERNS)


@each
def test_it_reads_back_as_written(pattern: Pattern) -> None:
    """Saved by the workbench, it is still the same pattern."""
    assert parse_pattern(pattern_text(pattern), pattern.id) == pattern


@each
def test_it_grows_from_something_no_harder(pattern: Pattern) -> None:
    """Its parent is shipped and asks no more of the hand; the step is one a player can take."""
    if pattern.grows_from:
        parent = LIBRARY.patterns[pattern.grows_from]
        assert 0 <= difficulty(pattern) - difficulty(parent) <= 3.2


@each
def test_every_ladder_stands_on_the_thumb(pattern: Pattern) -> None:
    """Going down from any pattern one comes to the first rung, never round in a ring."""
    seen = [pattern.id]
    while parent := LIBRARY.patterns[seen[-1]].grows_from:
        assert parent not in seen
        seen.append(parent)
    assert seen[-1] == "thumb-on-the-beat"


def test_the_list_begins_with_the_thumb() -> None:
    """In ladder order the first is the first rung, and each comes after what it grows from."""
    ids = list(LIBRARY.patterns)
    assert ids[0] == "thumb-on-the-beat"
    assert all(ids.index(p.grows_from) < ids.index(p.id) for p in PATTERNS if p.grows_from)


@pytest.mark.parametrize("tag", sorted(TAGS))
def test_every_family_is_there(tag: str) -> None:
    """Each family of the style has at least one pattern."""
    assert tagged(tag)


@pytest.mark.parametrize("meter", ["2/4", "3/4", "4/4", "5/4", "6/8", "12/8"])
def test_every_meter_is_there(meter: str) -> None:
    """Each of the meters the style uses has a pattern."""
    assert any(str(p.meter) == meter for p in PATTERNS)


@each
def test_the_hand_keeps_its_place(pattern: Pattern) -> None:
    """Index, middle and ring pluck strings 3, 2 and 1; only the thumb leaves the shape, in walks."""
    for bar in pattern.bars:
        for aim in bar.aims:
            assert aim.finger == "p" or (aim.string, aim.fret) == ({"i": 3, "m": 2, "a": 1}[aim.finger], None)
            assert aim.fret is None or "walk" in pattern.tags


@each
def test_no_finger_and_no_string_is_hurried(pattern: Pattern) -> None:
    """A finger, and a string plucked by the fingers, has two sixteenths at least before its next pluck."""
    times: dict[str | int, list[Fraction]] = {}
    length = pattern.meter.beats * pattern.meter.quarters_per_beat
    for number, bar in enumerate(pattern.bars):
        for aim in bar.aims:
            beat = pattern.meter.slot_beat(aim.slot, pattern.slots)
            quarter = number * length + beat * pattern.meter.quarters_per_beat
            for what in (aim.finger, aim.string) if aim.string else (aim.finger,):
                times.setdefault(what, []).append(quarter)
    for moments in times.values():
        around = [*moments, moments[0] + length * len(pattern.bars)]
        assert min(b - a for a, b in pairwise(around)) >= Fraction(1, 2)


@pytest.mark.parametrize(
    ("ident", "step"), [("three-over-four", Fraction(3, 2)), ("three-over-four-sixteenths", Fraction(3, 4))]
)
def test_the_melody_goes_in_threes(ident: str, step: Fraction) -> None:
    """A melody note every three eighths (or sixteenths) all the way round, against a thumb on every beat."""
    pattern = LIBRARY.patterns[ident]
    assert pattern.meter == FOUR_FOUR
    melody: list[Fraction] = []
    thumb: list[Fraction] = []
    for number, bar in enumerate(pattern.bars):
        for aim in bar.aims:
            beat = 4 * number + FOUR_FOUR.slot_beat(aim.slot, pattern.slots)
            (melody if aim.stress == ACCENT else thumb).append(beat)
    length = 4 * len(pattern.bars)
    assert melody == [k * step for k in range(int(length / step))]
    assert length % step == 0
    assert thumb == list(range(length))


def test_walks_say_for_which_chords() -> None:
    """A walk names two chords, has a bar for each, and uses frets only in the bass."""
    for pattern in tagged("walk"):
        assert re.match(r"For [A-G]m? to [A-G]m? and back, a bar each", pattern.about)
        assert len(pattern.bars) == 2


# common practice, no source: each walk steps into the next chord's root.
@pytest.mark.parametrize(
    ("ident", "chords"),
    [("walk-g-and-c", "G | C"), ("walk-c-and-am", "C | Am"), ("walk-am-and-g", "Am | G"), ("walk-g-and-em", "G | Em")],
)
def test_walks_lead_into_the_next_root(ident: str, chords: str) -> None:
    """The last bass note of each bar lies a half or whole step (from E to A a fourth) from the root that follows."""
    there, back = (
        [p.midi for p in over(LIBRARY.patterns[ident], chords) if p.bar == bar and p.finger == "p"] for bar in (0, 1)
    )
    assert abs(there[-1] - back[0]) in (1, 2)
    assert abs(back[-1] - there[0]) in (1, 2) or (back[-1], there[0]) == (40, 45)


def test_pushes_come_early() -> None:
    """A pushed note is accented off the beat, and no finger repeats it on the beat it belongs to."""
    for pattern in tagged("push"):
        if "pinch" in pattern.tags:
            continue
        slots = pattern.slots * len(pattern.bars)
        aims = [(n * pattern.slots + aim.slot, aim) for n, bar in enumerate(pattern.bars) for aim in bar.aims]
        fingers = {slot for slot, aim in aims if aim.finger != "p"}
        meant_for = [slot + 1 for slot, aim in aims if aim.stress == ACCENT]
        assert meant_for
        assert all(slot * 4 % pattern.slots == 0 and slot % slots not in fingers for slot in meant_for), pattern.id


@pytest.mark.parametrize(("tag", "fingers"), [("outside-in", "ami"), ("inside-out", "ima")])
def test_inside_and_outside_are_what_they_say(tag: str, fingers: str) -> None:
    """Outside in goes ring, middle, index over and over; inside out goes index, middle, ring."""
    for pattern in tagged(tag):
        for bar in pattern.bars:
            played = "".join(aim.finger for aim in bar.aims if aim.finger != "p")
            assert played == fingers * (len(played) // 3), pattern.id


@pytest.mark.parametrize("pattern", [p for p in PATTERNS if p.chords], ids=lambda p: p.id)
def test_its_own_chords_fit_its_bars(pattern: Pattern) -> None:
    """Chords that a pattern is made for fill whole rounds of its bars, and each has an open shape."""
    bars = read_bars(pattern.chords)
    assert len(bars) % len(pattern.bars) == 0
    assert all(chord is not None and BOOK.shapes(chord) for bar in bars for chord in bar)


def test_half_bars_serve_two_chords() -> None:
    """The thumb asks for the root on one and on three."""
    for pattern in tagged("half-bar"):
        for bar in pattern.bars:
            roots = {pattern.meter.slot_beat(a.slot, pattern.slots) for a in bar.aims if a.role == "r"}
            assert roots == {0, 2}


def test_swing_and_ghosts_are_what_they_say() -> None:
    """Swung patterns lie between 0.6 and 0.67 of the beat; ghost patterns have soft plucks; no others do."""
    for pattern in PATTERNS:
        assert (Fraction(3, 5) <= pattern.share <= Fraction(2, 3)) == ("swing" in pattern.tags)
        soft = any(a.stress == "soft" for bar in pattern.bars for a in bar.aims)
        assert soft == ("ghost" in pattern.tags)

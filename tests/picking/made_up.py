"""Random patterns for property tests: any meter, any slots, never two fingers on one string at once."""

from __future__ import annotations

from fractions import Fraction

from hypothesis import strategies as st

from coach.music.meter import METERS
from coach.picking.pattern import LANES, Aim, Pattern, PatternBar
from coach.picking.plucks import ACCENT, PLAIN, SOFT

WORDS = st.text(max_size=30).map(lambda text: " ".join(text.split()))
STRESSES = st.sampled_from([SOFT, PLAIN, ACCENT])
FRETS = st.one_of(st.none(), st.integers(0, 24))


@st.composite
def bars(draw: st.DrawFn, slots: int) -> PatternBar:
    """One bar with at least one pluck."""
    aims: dict[tuple[int, str], Aim] = {}
    taken: set[tuple[int, int]] = set()
    for _ in range(draw(st.integers(1, 2 * slots))):
        slot, finger = draw(st.integers(0, slots - 1)), draw(st.sampled_from(LANES))
        if (slot, finger) in aims:
            continue
        role = draw(st.sampled_from(["r", "a", "f", ""])) if finger == "p" else ""
        if role:
            aims[slot, finger] = Aim(slot, finger, role=role, stress=draw(STRESSES))
            continue
        string = draw(st.integers(4, 6) if finger == "p" else st.integers(1, 6))
        if (slot, string) not in taken:
            taken.add((slot, string))
            aims[slot, finger] = Aim(slot, finger, string=string, fret=draw(FRETS), stress=draw(STRESSES))
    return PatternBar(tuple(sorted(aims.values(), key=lambda a: (a.slot, LANES.index(a.finger)))))


@st.composite
def patterns(draw: st.DrawFn) -> Pattern:
    """A pattern of one to three bars."""
    slots = draw(st.integers(1, 16))
    return Pattern(
        id="made-up",
        title=draw(WORDS),
        about=draw(WORDS),
        meter=draw(st.sampled_from(list(METERS.values()))),
        slots=slots,
        bars=tuple(draw(st.lists(bars(slots), min_size=1, max_size=3))),
        share=draw(st.integers(500, 750).map(lambda n: Fraction(n, 1000))),
        tags=tuple(draw(st.lists(st.text(max_size=8), max_size=3))),
        grows_from=draw(WORDS),
        chords=draw(st.sampled_from(["", "G | C", "C G | Am", "F#m7 | N"])),
    )

"""The pattern grid: what the picking hand does in a bar, before any chord is known.

    slots   1   &   2   &   3   &   4   &
    p       r       a       f       a          thumb: bass roles, or string 4 5 6
    i               .   3               3      fingers: string numbers
    m           2               2
    a       1               1                  p and a in one slot: a pinch

A token is `.` (silence; strings ring on) or a target with marks: `2@3` string 2 at fret 3, `(2)` a soft
ghost pluck, `2!` an accent.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from coach.errors import BadPattern
from coach.guitar.shape import HIGHEST_FRET
from coach.music.meter import Meter
from coach.picking.plucks import ACCENT, PLAIN, SOFT

LANES = "pima"
ROLES = "raf"
STRAIGHT = Fraction(1, 2)
MOST_SLOTS = 64

_TOKEN = re.compile(r"(?P<open>\()?(?P<target>[raf1-6])(?:@(?P<fret>[0-9]{1,4}))?(?P<loud>!)?(?P<close>\))?")


@dataclass(frozen=True)
class Aim:
    """One written pluck: in `slot`, `finger` aims at a bass `role`, or at `string` where `role` is "" (else 0)."""

    slot: int
    finger: str
    role: str = ""
    string: int = 0
    fret: int | None = None
    stress: str = PLAIN


@dataclass(frozen=True)
class PatternBar:
    """The aims of one bar in order of slot, thumb first within a slot."""

    aims: tuple[Aim, ...]

    def lane(self, finger: str, slots: int) -> str:
        """The lane of `finger` as tokens, the way a file holds it."""
        cells = ["."] * slots
        for aim in self.aims:
            if aim.finger == finger:
                cells[aim.slot] = aim_token(aim)
        return " ".join(cells)


@dataclass(frozen=True)
class Pattern:
    """A picking pattern; see the module's picture.

    id, title, about   the file's stem, a name, one line on what it is good for
    meter, slots       `slots` equal slots in a bar of `meter`
    share              the first half of a beat's share of it: 1/2 is straight, 2/3 a 2:1 swing
    bars               one or more bars, repeated in turn
    grows_from         id of the easier pattern it grows from, "" for a first rung
    chords             bars of chords it is made for (`"G | C"`), "" when any will do
    own                made by the player and not shipped
    """

    id: str
    title: str
    about: str
    meter: Meter
    slots: int
    bars: tuple[PatternBar, ...]
    share: Fraction = STRAIGHT
    tags: tuple[str, ...] = ()
    grows_from: str = ""
    chords: str = ""
    own: bool = False

    @property
    def slots_per_beat(self) -> Fraction:
        """Slots in one felt beat."""
        return Fraction(self.slots, self.meter.beats)

    @property
    def feel(self) -> str | float:
        """`"straight"` or the swing share as files hold it."""
        return "straight" if self.share == STRAIGHT else float(self.share)


def read_lane(finger: str, text: str, slots: int) -> Iterator[Aim]:
    """The aims of one lane. Raises BadPattern on a wrong count or an unknown token."""
    tokens = text.split()
    if len(tokens) != slots:
        raise BadPattern(
            f"lane {finger} has {len(tokens)} tokens, not {slots}", mend="give each slot one token, `.` for silence"
        )
    for slot, token in enumerate(tokens):
        if token != ".":
            yield _read_aim(finger, slot, token)


def _read_aim(finger: str, slot: int, token: str) -> Aim:
    match = _TOKEN.fullmatch(token)
    if match is None or bool(match["open"]) != bool(match["close"]) or (match["open"] and match["loud"]):
        raise BadPattern(_unknown_token(finger, slot, token), mend=_allowed_tokens(finger))
    target, fret = match["target"], match["fret"]
    stress = SOFT if match["open"] else ACCENT if match["loud"] else PLAIN
    at = None if fret is None else int(fret)
    if at is not None and at > HIGHEST_FRET:
        what = f"lane {finger} has '{token}' in slot {slot + 1}, past the end of the neck"
        raise BadPattern(what, mend=f"use frets 0 to {HIGHEST_FRET}")
    if finger == "p":
        if target in ROLES and at is None:
            return Aim(slot, finger, role=target, stress=stress)
        if target in "456":
            return Aim(slot, finger, string=int(target), fret=at, stress=stress)
    elif target.isdigit():
        return Aim(slot, finger, string=int(target), fret=at, stress=stress)
    raise BadPattern(_unknown_token(finger, slot, token), mend=_allowed_tokens(finger))


def _unknown_token(finger: str, slot: int, token: str) -> str:
    return f"lane {finger} has '{token}' in slot {slot + 1}, which means nothing there"


def _allowed_tokens(finger: str) -> str:
    what = "r, a, f or a string 4 5 6" if finger == "p" else "a string 1 to 6"
    return f"use `.` or {what}, with @fret, ! or ( ) as marks"


def aim_token(aim: Aim) -> str:
    """The token of an aim: inverse of reading it."""
    body = (aim.role or str(aim.string)) + ("" if aim.fret is None else f"@{aim.fret}")
    return f"({body})" if aim.stress == SOFT else body + ("!" if aim.stress == ACCENT else "")


def make_pattern_bar(lanes: Sequence[tuple[str, str]], slots: int) -> PatternBar:
    """A bar from (finger, lane text) pairs. Raises BadPattern, also when two fingers want one string at once."""
    aims = [aim for finger, text in lanes for aim in read_lane(finger, text, slots)]
    taken: dict[tuple[int, int], str] = {}
    for aim in aims:
        if aim.string:
            other = taken.setdefault((aim.slot, aim.string), aim.finger)
            if other != aim.finger:
                raise BadPattern(
                    f"{other} and {aim.finger} both want string {aim.string} in slot {aim.slot + 1}",
                    mend="move one of them to another string",
                )
    return PatternBar(tuple(sorted(aims, key=lambda a: (a.slot, LANES.index(a.finger)))))


# What difficulty() adds for each thing that makes a pattern harder; the weights are ours, set so that every
# shipped ladder climbs the way a teacher would order it.
_SPACING, _LANE, _BASS_NOTE, _SYNCOPATION = 0.4, 0.45, 0.1, 1.5
_PINCH, _OFF_PINCH, _OFF_ACCENT, _FRETTED, _BAR, _SHADE = 0.2, 0.4, 0.25, 0.6, 0.4, 0.4


def difficulty(pattern: Pattern) -> float:
    """How much a pattern asks of the hand at one and the same tempo, for ordering only (no unit).

    Grows with plucks a beat, the closest spacing that really occurs (not the grid it is written on), lanes in
    use, different bass notes, the share of fingers off the beat, pinches (more when off the beat), accents
    off the beat, frets the other hand must reach, bars that differ, and swing or ghost plucks.
    A pattern with no plucks has 0.
    """
    aims = [(number, aim) for number, bar in enumerate(pattern.bars) for aim in bar.aims]
    if not aims:
        return 0.0
    bars = len(pattern.bars)
    off_beat = [pattern.meter.slot_beat(aim.slot, pattern.slots).denominator != 1 for _, aim in aims]
    thumb = {(number, aim.slot) for number, aim in aims if aim.finger == "p"}
    off = pinches = off_pinches = off_accents = 0
    for (number, aim), is_off in zip(aims, off_beat, strict=True):
        if aim.finger != "p":
            pinched = (number, aim.slot) in thumb
            off += is_off
            pinches += pinched
            off_pinches += pinched and is_off
            off_accents += is_off and aim.stress == ACCENT
    bass = {(aim.role, aim.string, aim.fret) for _, aim in aims if aim.finger == "p"}
    shades = int(pattern.share != STRAIGHT) + int(any(aim.stress == SOFT for _, aim in aims))
    asked = (
        len(aims) / (pattern.meter.beats * bars)
        + _SPACING / float(_closest_spacing(pattern))
        + _LANE * (len({aim.finger for _, aim in aims}) - 1)
        + _BASS_NOTE * max(len(bass) - 1, 0)
        + _SYNCOPATION * off / len(aims)
        + (_PINCH * pinches + _OFF_PINCH * off_pinches + _OFF_ACCENT * off_accents) / bars
        + _FRETTED * sum(1 for _, aim in aims if aim.fret is not None) / bars
        + _BAR * (len(set(pattern.bars)) - 1)
        + _SHADE * shades
    )
    return round(asked, 3)


def _closest_spacing(pattern: Pattern) -> Fraction:
    """The shortest time between two pluck moments, in beats, round the loop's end too."""
    slots = sorted({n * pattern.slots + aim.slot for n, bar in enumerate(pattern.bars) for aim in bar.aims})
    around = [*slots, slots[0] + pattern.slots * len(pattern.bars)]
    return pattern.meter.slot_beat(min(b - a for a, b in pairwise(around)), pattern.slots)

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

from coach.errors import BadPattern
from coach.music.meter import Meter
from coach.picking.plucks import ACCENT, PLAIN, SOFT

LANES = "pima"
ROLES = "raf"
STRAIGHT = Fraction(1, 2)
MOST_SLOTS = 64

_TOKEN = re.compile(r"(?P<open>\()?(?P<target>[raf1-6])(?:@(?P<fret>\d{1,2}))?(?P<loud>!)?(?P<close>\))?")


@dataclass(frozen=True)
class Aim:
    """One written pluck: `finger` aims in `slot` at a bass `role`, or at `string` where `role` is "" (string 0: by role)."""

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
                cells[aim.slot] = written(aim)
        return " ".join(cells)


@dataclass(frozen=True)
class Pattern:
    """A picking pattern; see the module's picture.

    id, title, about   the file's stem, a name, one line on what it is good for
    meter, slots       `slots` equal slots in a bar of `meter`
    share              the first half of a beat's share of it: 1/2 is straight, 2/3 a 2:1 swing
    bars               one or more bars, repeated in turn
    grows_from         id of the easier pattern it grows from, "" for a first rung
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
            yield _aim(finger, slot, token)


def _aim(finger: str, slot: int, token: str) -> Aim:
    match = _TOKEN.fullmatch(token)
    if match is None or bool(match["open"]) != bool(match["close"]) or (match["open"] and match["loud"]):
        raise BadPattern(_unknown(finger, slot, token), mend=_allowed(finger))
    target, fret = match["target"], match["fret"]
    stress = SOFT if match["open"] else ACCENT if match["loud"] else PLAIN
    at = None if fret is None else int(fret)
    if finger == "p":
        if target in ROLES and at is None:
            return Aim(slot, finger, role=target, stress=stress)
        if target in "456":
            return Aim(slot, finger, string=int(target), fret=at, stress=stress)
    elif target.isdigit():
        return Aim(slot, finger, string=int(target), fret=at, stress=stress)
    raise BadPattern(_unknown(finger, slot, token), mend=_allowed(finger))


def _unknown(finger: str, slot: int, token: str) -> str:
    return f"lane {finger} has '{token}' in slot {slot + 1}, which means nothing there"


def _allowed(finger: str) -> str:
    what = "r, a, f or a string 4 5 6" if finger == "p" else "a string 1 to 6"
    return f"use `.` or {what}, with @fret, ! or ( ) as marks"


def written(aim: Aim) -> str:
    """The token of an aim: inverse of reading it."""
    body = (aim.role or str(aim.string)) + ("" if aim.fret is None else f"@{aim.fret}")
    return f"({body})" if aim.stress == SOFT else body + ("!" if aim.stress == ACCENT else "")


def bar_of(lanes: Sequence[tuple[str, str]], slots: int) -> PatternBar:
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


def difficulty(pattern: Pattern) -> float:
    """How much a pattern asks of the hand, for ordering only (no unit).

    Grows with plucks a beat, slots a beat, the number of fingers in play, fingers off the beat, pinches
    off the beat, and bars that differ. The weights are ours.
    """
    aims = [(bar, aim) for bar in pattern.bars for aim in bar.aims]
    if not aims:
        return 0.0
    beats = pattern.meter.beats * len(pattern.bars)
    fingers = {aim.finger for _, aim in aims}
    off = sum(1 for _, a in aims if a.finger != "p" and pattern.meter.slot_beat(a.slot, pattern.slots).denominator != 1)
    thumbs = {(id(bar), a.slot) for bar, a in aims if a.finger == "p"}
    odd_pinches = sum(
        1
        for bar, a in aims
        if a.finger != "p"
        and (id(bar), a.slot) in thumbs
        and pattern.meter.slot_beat(a.slot, pattern.slots).denominator != 1
    )
    return round(
        len(aims) / beats
        + 0.4 * float(pattern.slots_per_beat)
        + 0.6 * (len(fingers) - 1)
        + 1.5 * off / len(aims)
        + 0.5 * odd_pinches
        + 0.5 * (len(set(pattern.bars)) - 1),
        3,
    )

"""Learners by published curves, who know nothing of the coach's own assumptions.

What each learner follows, and where it is from
- the shortest beat T of a drill falls exponentially with practice towards an end of its own, T = A + B·exp(-a·n)
  (Heathcote, Brown & Mewhort 2000, Psychon. Bull. Rev. 7:185-207); for the power-law learners T = A + B·(1 + n/E)^-b
  (Newell & Rosenbloom 1981). n counts passes by worth: a stumbled one is worth less (Duke, Simmons & Cash 2009:
  what stayed went with the share of correct trials), so is one far from the tempo that is steady now;
- half of a day's worth shows at once, half only after a night (Simmons 2012); a near-alike new thing begun later on the
  same evening halves what the night brings to the one before (Allen 2013);
- passes of one drill on one day are worth less and less: spreading over days helps (Donovan & Radosevich 1999);
- accuracy grows and fades beside speed; half of what was gained is lost after 6.5 months in accuracy, after 13 in speed
  (Tatel & Ackerman, Psychol. Bull., doi 10.1037/bul0000481); the median learner's, everybody's are their own;
- practice of one drill brings its near kin some of the way (up to a part, for no kin is the thing itself).

Sizes no source gives (rates, spreads, worth of a stumbled pass, transfer) are ours and differ from learner to learner.
"""

from __future__ import annotations

import math
import random
from collections.abc import Sequence
from dataclasses import dataclass

from tests.bench.learners.player import SLOPE, Player

HALF_SPEED_DAYS, HALF_ACCURACY_DAYS = 395.0, 195.0
_AT_FIRST = 0.4  # accuracy of a thing never played, 1 when nothing is amiss
_MOST_SLIPS = 0.25  # share of passes lost to an accuracy of 0
_TRANSFER_UPTO = 0.5


@dataclass(frozen=True)
class Thing:
    """What is to be learned: a drill as the learner sees it, tempos in bpm."""

    id: str
    family: str
    below: str | None
    start_bpm: float
    target_bpm: float


@dataclass(frozen=True)
class Kind:
    """A kind of learner; each learner differs around it.

    rate     share of the way left that one pass of full worth goes (median)
    law      "exponential" or "power"
    night    share of a day's worth that only shows after a night
    massed   passes of a drill on one day after which another is worth 1/e; infinite: never less
    fades    how many times as fast as published it is forgotten
    kin      transfer to the rung above and below; the rest of the family gets 0.4 of it
    out_of_reach share of things whose end lies below their target
    word     "fair", or "noise" for a player whose word for a take is any of the four
    """

    name: str
    rate: float = 0.009
    law: str = "exponential"
    night: float = 0.5
    massed: float = 30.0
    fades: float = 1.0
    kin: float = 0.25
    out_of_reach: float = 0.1
    word: str = "fair"


KINDS = (
    Kind("as published"),
    Kind("power law", law="power"),
    Kind("no transfer", kin=0.0),
    Kind("strong transfer", kin=0.6),
    Kind("forgets five times as fast", fades=5.0),
    Kind("slow", rate=0.004),
    Kind("quick", rate=0.02),
    Kind("word is noise", word="noise"),
    Kind("no massing, no nights", massed=math.inf, night=0.0),
    Kind("a third out of reach", out_of_reach=0.33),
)


class Skill:
    """One thing in one learner's hands."""

    def __init__(self, thing: Thing, kind: Kind, chance: random.Random, own_rate: float, own_half: float) -> None:
        reach = chance.uniform(0.85, 1.0) if chance.random() < kind.out_of_reach else chance.uniform(1.12, 1.35)
        self.end_s = 60 / (thing.target_bpm * reach)
        first_s = 60 / (thing.start_bpm * chance.uniform(0.9, 1.15))
        self.first_s = self.left_s = max(first_s - self.end_s, 0.05 * self.end_s)
        self.rate = own_rate * math.exp(chance.gauss(0, 0.3))
        self.power = kind.law == "power"
        self.accuracy = _AT_FIRST
        self.worth = self.pending = 0.0
        self.today = self.passes = 0
        self.hindered = False
        self.keep_speed = 0.5 ** (kind.fades / (HALF_SPEED_DAYS * own_half))
        self.keep_accuracy = 0.5 ** (kind.fades / (HALF_ACCURACY_DAYS * own_half))

    @property
    def shown_bpm(self) -> float:
        """The tempo at which its speed alone would give 8 clean passes in 10."""
        return 60 / (self.end_s + self.left_s)

    def learn(self, worth: float) -> None:
        """So much more practice, in passes of full worth."""
        if self.power:  # b = 1.2; E such that it begins as fast as the exponential would
            e = 1.2 / self.rate
            self.left_s *= ((e + self.worth + worth) / (e + self.worth)) ** -1.2
        else:
            self.left_s *= math.exp(-self.rate * worth)
        self.worth += worth

    def fade(self) -> None:
        """A day goes by."""
        self.left_s += (self.first_s - self.left_s) * (1 - self.keep_speed)
        self.accuracy += (_AT_FIRST - self.accuracy) * (1 - self.keep_accuracy)


class Learner:
    """A learner drawn by chance: plays passes, sleeps, lets days go by."""

    def __init__(self, kind: Kind, things: Sequence[Thing], seed: int) -> None:
        chance = self.chance = random.Random(seed)
        self.kind = kind
        self.things = {t.id: t for t in things}
        own_rate = kind.rate * math.exp(chance.gauss(0, 0.4))
        own_half = math.exp(chance.gauss(0, 0.3))
        self.ways = Player(100.0, SLOPE * math.exp(chance.gauss(0, 0.4)), chance.uniform(0, 0.04))
        self.skills = {t.id: Skill(t, kind, chance, own_rate, own_half) for t in things}
        self.kin = {
            t.id: [
                (self.skills[o.id], kind.kin * (1.0 if t.id == o.below or o.id == t.below else 0.4))
                for o in things
                if o.id != t.id and o.family == t.family and kind.kin
            ]
            for t in things
        }
        self._new_today: list[str] = []

    def clean_chance(self, id_: str, bpm: float) -> float:
        """The chance that a pass at a tempo in bpm is clean."""
        skill = self.skills[id_]
        ways = self.ways.chance(bpm / skill.shown_bpm * self.ways.steady_bpm)
        return ways * (1 - _MOST_SLIPS * (1 - skill.accuracy))

    def steady_bpm(self, id_: str) -> float:
        """The tempo at which 8 passes in 10 are clean."""
        low, high = 10.0, 400.0
        for _ in range(26):
            middle = math.sqrt(low * high)
            low, high = (middle, high) if self.clean_chance(id_, middle) > 0.8 else (low, middle)
        return low

    def plays(self, id_: str, bpm: float, whole: bool = True) -> bool:
        """One pass, of the whole or of the thumb alone: clean or not; and what is learned by it."""
        skill = self.skills[id_]
        clean = self.chance.random() < self.clean_chance(id_, bpm if whole else bpm / 1.2)
        if skill.passes == 0:
            family = self.things[id_].family
            for other in self._new_today:
                if self.things[other].family == family:
                    self.skills[other].hindered = True
            self._new_today.append(id_)
        off = math.log(bpm / skill.shown_bpm) / 0.25
        worth = (1.0 if clean else 0.4) * (1.0 if whole else 0.3)
        worth *= math.exp(-off * off - skill.today / self.kind.massed)
        skill.passes += 1
        skill.today += 1
        skill.learn(worth * (1 - self.kind.night))
        skill.pending += worth * self.kind.night
        if clean and whole:
            skill.accuracy += 0.02 * (1 - skill.accuracy)
        for other, share in self.kin[id_]:
            if other.left_s > _TRANSFER_UPTO * other.first_s:
                other.learn(worth * share)
        return clean

    def sleeps(self) -> None:
        """A night: what was pending shows, and a day of forgetting."""
        for skill in self.skills.values():
            if skill.pending:
                skill.learn(skill.pending * (0.5 if skill.hindered else 1.0))
                skill.pending, skill.hindered, skill.today = 0.0, False, 0
            skill.today = 0
            skill.fade()
        self._new_today.clear()

    def word(self, share: float) -> str:
        """The player's own word for a take with such a share of clean passes."""
        if self.kind.word == "noise":
            return self.chance.choice(("lost", "shaky", "held", "flowing"))
        return "flowing" if share >= 0.9 else "held" if share >= 0.7 else "shaky" if share >= 0.4 else "lost"

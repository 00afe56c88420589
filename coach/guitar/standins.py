"""Stand-ins: easier grips in place of a hard chord, each with what is lost and what is gained.

kind      what it does (common practice, no source)
smaller   the chord on four strings: the middle four, or the top four
thumb     the thumb over the neck takes string 6, so that the first finger need not lie flat
relative  another chord that shares the telling tones of this one: its third, its seventh or root
keep      the shape before stays, and one finger adds a telling tone of this chord
held      the chord, or a relative, in which a finger of the shape before stays on a top string
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from coach.guitar.bass import bass_of
from coach.guitar.choices import reachable_fingerings
from coach.guitar.cost import place_parts
from coach.guitar.fingering import Fingering
from coach.guitar.grip import Grip, Hand
from coach.guitar.moves import touches
from coach.guitar.neck import Neck
from coach.guitar.search import find_grips
from coach.guitar.shape import Shape
from coach.guitar.tuning import STANDARD, STRINGS, Tuning
from coach.music.chords import Chord
from coach.music.notes import Note
from coach.music.qualities import QUALITIES

KINDS = ("smaller", "thumb", "relative", "keep", "held")

ALTERED = ((4, 6), (4, 8))
Frets = tuple[int | None, ...]
Words = Sequence[str]

# The parts of a grip's cost that the fretting hand bears; the rest is the picking hand's.
HOLDING = (
    "fingers down", "fingers off their usual places", "full barre", "small barre",
    "barre with another finger than the first", "thumb over the neck", "stretch", "place on the neck", "pinned",
)  # fmt: skip

EASIER = 0.5  # a stand-in saves the fretting hand at least half a finger
MOST_LOST = 2.5  # what the picking hand may lose for it
MOST_OF_A_KIND = 4
SMALL_SETS = ((5, 4, 3, 2), (4, 3, 2, 1))

# Relatives are looked for among the everyday chords; a root lies one of these (steps, semitones) above the chord's own.
EVERYDAY = ("", "m", "7", "maj7", "m7", "6", "m6", "sus2", "sus4", "add9", "madd9", "m7b5", "dim", "7sus4")
_ROOTS = (
    (0, 0), (1, 1), (1, 2), (2, 3), (2, 4), (3, 5), (4, 6), (4, 7), (5, 8), (5, 9), (6, 10), (6, 11),
)  # fmt: skip
_STEP_NAMES = ("root", "ninth", "third", "fourth", "fifth", "sixth", "seventh")


@dataclass(frozen=True)
class StandIn:
    """Something easier in place of a hard grip.

    grip    what to hold; its chord is the one that then sounds
    recipe  for `keep`: the chord whose shape stays and the added note, like `G:1@1` (string 1 at fret 1); else empty
    saves   how much less it costs the fretting hand than the grip it stands in for
    """

    kind: str
    grip: Grip
    lost: tuple[str, ...]
    gained: tuple[str, ...]
    saves: float
    recipe: str = ""


def find_standins(
    chord: Chord,
    hand: Hand | None = None,
    tuning: Tuning = STANDARD,
    *,
    capo: int = 0,
    max_fret: int = 12,
    instead_of: Grip | None = None,
    before: Grip | None = None,
    scale: Sequence[Note] = (),
) -> tuple[StandIn, ...]:
    """Easier things for `chord`, by kind, the best of each kind first.

    instead_of  the grip that is too hard; without it the easiest full one, without open strings
    before      the grip held before, for the kinds `keep` and `held`
    scale       the notes of the key, so that relatives which stay in it come first
    """
    hand = hand or Hand()
    search = _StandInSearch(chord, hand, tuning, capo, max_fret)
    hard = instead_of or search.full_grip(chord)
    if hard is None:
        return ()
    chosen: list[StandIn] = []
    for kind in (search.find_smaller, search.find_thumb, search.find_relatives, search.find_keep, search.find_held):
        ranked = sorted(kind(hard, before, frozenset(n.pitch_class for n in scale)), key=lambda pair: pair[0])
        chosen += [standin for _, standin in ranked[:MOST_OF_A_KIND]]
    return tuple(chosen)


def telling_tones(chord: Chord) -> tuple[Note, ...]:
    """The tones by which a chord is known: its third (or what stands for it), its seventh, or without one its root.

    An altered fifth tells a diminished or augmented chord.
    """
    tones = dict(zip(QUALITIES[chord.quality], chord.tones, strict=True))
    steps = {interval[0]: tone for interval, tone in tones.items()}
    third = steps.get(2) or steps.get(3) or steps.get(1) or steps.get(4) or chord.root
    altered = [tones[interval] for interval in ALTERED if interval in tones]
    return tuple(dict.fromkeys((third, steps.get(6) or chord.root, *altered)))


Ranked = tuple[tuple[float, ...], StandIn]


@dataclass(frozen=True)
class _StandInSearch:
    chord: Chord
    hand: Hand
    tuning: Tuning
    capo: int
    max_fret: int

    def grips(self, chord: Chord, hand: Hand | None = None) -> tuple[Grip, ...]:
        return find_grips(chord, hand or self.hand, self.tuning, capo=self.capo, max_fret=self.max_fret)

    def full_grip(self, chord: Chord) -> Grip | None:
        """The easiest grip on five strings or six without an open one, as it is slid up the neck; else the easiest."""
        every = self.grips(chord)
        full = (g for g in every if len(g.shape.sounding) >= 5 and 0 not in g.shape.frets)
        return next(full, every[0] if every else None)

    def is_easier(self, grip: Grip, hard: Grip) -> bool:
        """Easier on the fretting hand, and with what the picking hand loses not much harder on the whole."""
        return holding_cost(grip) <= holding_cost(hard) - EASIER and grip.cost <= hard.cost + MOST_LOST

    def make_standin(self, kind: str, grip: Grip, hard: Grip, lost: Words = (), gained: Words = ()) -> StandIn:
        less, more = compare_grips(hard, grip)
        return StandIn(kind, grip, (*lost, *less), (*gained, *more), holding_cost(hard) - holding_cost(grip))

    def find_smaller(self, hard: Grip, before: Grip | None, scale: frozenset[int]) -> Iterator[Ranked]:
        if len(hard.shape.sounding) <= 4:
            return
        seen: dict[tuple[int, ...], int] = {}
        for grip in self.grips(self.chord):
            strings = grip.shape.sounding
            if strings in SMALL_SETS and self.is_easier(grip, hard):
                # The best of each set of strings before the second of any: they are different things to the ear.
                seen[strings] = seen.get(strings, -1) + 1
                yield (seen[strings], grip.cost), self.make_standin("smaller", grip, hard)

    def find_thumb(self, hard: Grip, before: Grip | None, scale: frozenset[int]) -> Iterator[Ranked]:
        for grip in self.grips(self.chord, replace(self.hand, thumb=True)):
            if "T" in grip.shape.fingers and "T" not in hard.shape.fingers and self.is_easier(grip, hard):
                lost = () if self.hand.thumb else ("the thumb must reach over the neck",)
                yield (grip.cost,), self.make_standin("thumb", grip, hard, lost)

    def find_relatives(self, hard: Grip, before: Grip | None, scale: frozenset[int]) -> Iterator[Ranked]:
        for other in related_chords(self.chord):
            every = self.grips(other)
            if every and self.is_easier(every[0], hard):
                missed, added = _tones_between(self.chord, other)
                out = sum(bool(scale) and n.pitch_class not in scale for n in added)
                lost = [f"no {n} ({_degree(self.chord, n)})" for n in missed]
                lost += [f"{n} is outside the key" for n in added if scale and n.pitch_class not in scale]
                if other.lowest.pitch_class != self.chord.lowest.pitch_class:
                    lost.append(f"the bass is {other.lowest}, not {self.chord.lowest}")
                gained = [f"adds {n} ({_degree(self.chord, n)})" for n in added]
                rank = (out, len(missed) + len(added), every[0].cost)
                yield rank, self.make_standin("relative", every[0], hard, lost, gained)

    def find_keep(self, hard: Grip, before: Grip | None, scale: frozenset[int]) -> Iterator[Ranked]:
        if before is None or before.chord == self.chord:
            return
        tones = {n.pitch_class for n in self.chord.tones}
        for tone in telling_tones(self.chord):
            for grip, string in self._change_one_string(before, tone):
                if not self.is_easier(grip, hard):
                    continue
                sounding = [grip.shape.midi(s, self.tuning) or 0 for s in grip.shape.sounding]
                fret = grip.shape.fret(string) or 0
                lost = [f"tones of {before.chord} go on under it: a hint of {self.chord}, not the whole"]
                if sounding[0] % 12 != self.chord.lowest.pitch_class:
                    lost.append(f"the bass stays on {before.chord}")
                if any(a != b for a, b in zip(before.shape.fingers, grip.shape.fingers, strict=True) if a != "." != b):
                    lost.append(f"{before.chord} must be held with fingers {grip.shape.fingers} from the start")
                action = f"one finger adds {tone}" if fret else f"lifting one finger lets {tone} sound"
                degree = _degree(self.chord, tone)
                gained = [f"the hand stays on {before.chord} and {action} ({degree}) on string {string}"]
                make_standin = self.make_standin("keep", grip, hard, lost, gained)
                foreign = sum(m % 12 not in tones for m in sounding)
                yield (foreign, grip.cost), replace(make_standin, recipe=f"{before.chord}:{string}@{fret}")

    def _change_one_string(self, before: Grip, tone: Note) -> Iterator[tuple[Grip, int]]:
        """The grip before with one of strings 4 to 1 changed so that it sounds `tone`, no other finger moved."""
        for string in (1, 2, 3, 4):
            for fret in range(min(self.max_fret, 5) + 1):
                pitch_class = (self.tuning.open_midi(string) + fret) % 12
                if pitch_class != tone.pitch_class or before.shape.fret(string) == fret:
                    continue
                frets = tuple(fret if 6 - k == string else f for k, f in enumerate(before.shape.frets))
                fingering = hold_like(frets, before.shape, string, self.hand, self.capo)
                if fingering is not None:
                    yield self._make_grip(frets, fingering, before), string

    def _make_grip(self, frets: tuple[int | None, ...], hold: Fingering, before: Grip) -> Grip:
        shape = Shape(frets, hold.fingers)
        neck, down = Neck(self.hand.scale_mm, self.capo), [f for f in frets if f]
        span = neck.stretch_mm(min(down), max(down)) if down else 0.0
        lowest = min(down, default=0)
        sounding = {m % 12 for s in shape.sounding if (m := shape.midi(s, self.tuning)) is not None}
        missing = tuple(_degree(self.chord, n) for n in self.chord.tones if n.pitch_class not in sounding)
        parts = (*hold.parts, *place_parts(span, self.hand.span_mm, lowest))
        parts = (*parts, *(part for part in before.parts if part[0] not in HOLDING))
        barre = (hold.barre[0] + lowest, *hold.barre[1:]) if hold.barre else None
        bass = bass_of(shape, before.chord, self.tuning)
        return Grip(self.chord, shape, barre, bass, missing, span, sum(p for _, p in parts), parts)

    def find_held(self, hard: Grip, before: Grip | None, scale: frozenset[int]) -> Iterator[Ranked]:
        if before is None:
            return
        anchors = {(f, t) for f, t in touches(before).items() if t.low == t.high <= 3}
        for other in (self.chord, *related_chords(self.chord)):
            missed, added = _tones_between(self.chord, other)
            out = sum(bool(scale) and n.pitch_class not in scale for n in added)
            for grip in self.grips(other):
                kept = sorted(anchors & set(touches(grip).items()), key=lambda pair: -pair[1].low)
                if not kept or not self.is_easier(grip, hard):
                    continue
                names = [f"finger {f} on string {t.low}" for f, t in kept]
                gained = [f"{' and '.join(names)} {'stays' if len(names) == 1 else 'stay'} down from {before.chord}"]
                gained += [f"adds {n} ({_degree(self.chord, n)})" for n in added]
                lost = [f"no {n} ({_degree(self.chord, n)})" for n in missed]
                rank = (out, len(missed) + len(added) - len(kept), grip.cost)
                yield rank, self.make_standin("held", grip, hard, lost, gained)
                break


def holding_cost(grip: Grip) -> float:
    """What the grip costs the fretting hand alone."""
    return sum(points for why, points in grip.parts if why in HOLDING)


def related_chords(chord: Chord) -> Iterator[Chord]:
    """Everyday chords that have all the telling tones of `chord`, spelled around its root."""
    wanted = {n.pitch_class for n in telling_tones(chord)}
    own = {n.pitch_class for n in chord.tones}
    for steps, semitones in _ROOTS:
        root = chord.root.up(steps, semitones)
        if abs(root.alter) > 1:
            continue
        for quality in EVERYDAY:
            other = Chord(root, quality)
            tones = {n.pitch_class for n in other.tones}
            if wanted <= tones and tones != own and len(tones - own) <= 1:
                yield other


def _tones_between(chord: Chord, other: Chord) -> tuple[list[Note], list[Note]]:
    """(tones of `chord` that `other` lacks, tones it has besides)."""
    own, new = {n.pitch_class for n in chord.tones}, {n.pitch_class for n in other.tones}
    return [n for n in chord.tones if n.pitch_class not in new], [n for n in other.tones if n.pitch_class not in own]


def _degree(chord: Chord, note: Note) -> str:
    """What the note is in the chord: `third`, `seventh`."""
    return _STEP_NAMES[(note.step - chord.root.step) % 7]


def hold_like(frets: Frets, before: Shape, but: int, hand: Hand, capo: int) -> Fingering | None:
    """A way to hold `frets` in which no finger of the shape before has to move, string `but` aside; None without one.

    The fingers of `before` as they are come first; else the shape before must have another fingering that allows it.
    """
    kept = [6 - s for s in STRINGS if s != but and before.fret(s)]
    usual = tuple(before.fingers[k] for k in kept)
    others = {tuple(hold.fingers[k] for k in kept) for hold in reachable_fingerings(before.frets, hand, capo)}
    fitting = [
        h for h in reachable_fingerings(frets, hand, capo) if tuple(h.fingers[k] for k in kept) in {usual, *others}
    ]
    return min(fitting, key=lambda h: (tuple(h.fingers[k] for k in kept) != usual, h.cost), default=None)


def compare_grips(hard: Grip, easy: Grip) -> tuple[list[str], list[str]]:
    """What one loses and gains by holding `easy` in place of `hard`, in the hand and for the thumb."""
    lost, gained = [], []
    lost += [f"no {tone}" for tone in easy.missing if tone not in hard.missing]
    silent = [s for s in hard.shape.sounding if s not in easy.shape.sounding]
    if silent:
        lost.append(f"string{'s' if len(silent) > 1 else ''} {' and '.join(map(str, silent))} must stay silent")
    if easy.bass.a == easy.bass.r and hard.bass.a != hard.bass.r:
        lost.append("the thumb has nothing to alternate with")
    flat, was_flat = (0 if g.barre is None else g.barre[1] - g.barre[2] + 1 for g in (easy, hard))
    if was_flat > 3 and not flat:
        gained.append("no barre")
    elif was_flat > flat:
        gained.append(f"a barre over {flat} strings, not {was_flat}" if flat else "no small barre")
    fewer, more = len(touches(easy)), len(touches(hard))
    if fewer < more:
        gained.append(f"{fewer or 'no'} finger{'s' if fewer != 1 else ''} down, not {more}")
    if easy.span_mm < hard.span_mm - 10:
        near = f"a stretch of {easy.span_mm:.0f} mm" if easy.span_mm else "no stretch"
        gained.append(f"{near}, not {hard.span_mm:.0f} mm")
    return lost, gained

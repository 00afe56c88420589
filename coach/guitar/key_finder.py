"""Which key to play a progression in and where to put the capo: every pair of shape key and capo, with its cost.

The sounding key is the shape key plus the capo's frets. It is fixed (to play along with others), or free to move with
the singer. What counts, in points of about one finger down, less being better (the weights are ours):

    ease        what the easiest shape of each chord costs to hold and to pick over, by the time spent on it;
                with a capo the neck is shorter and so is every stretch
    closed bass the share of time in which the thumb's root is no open string
    capo        each fret of it: less neck is left
    voice       each semitone by which the melody leaves the comfortable range, and a little for sitting off its middle

No key has a bonus of its own: the keys that players favour come first where the costs put them.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

from coach.errors import BadInput, BadMusic
from coach.guitar.cost import SMALL, STRETCH
from coach.guitar.grip import Grip, Hand
from coach.guitar.search import find_grips
from coach.guitar.tuning import STANDARD, Tuning
from coach.music.chords import Chord
from coach.music.key_chords import BORROWED, role_in_key
from coach.music.keys import Key
from coach.music.notes import Pitch
from coach.music.numerals import numeral
from coach.music.rekey import plain_chord, rekey

CLOSED_BASS = 0.8
CAPO = 0.15
OUT_OF_RANGE = 2.0
OFF_MIDDLE = 0.05
NO_SHAPE = 15.0

HIGHEST_CAPO = 11
USUAL_MAX_CAPO = 7
SCORE_HALF = 10.0  # points at which the score is 50

Range = tuple[Pitch, Pitch]
Bars = Sequence[Sequence[Chord | None]]


@dataclass(frozen=True)
class KeyChoice:
    """One way to play the song.

    bars         its chords in the shape key, under the names players use
    grips        the easiest grip of each chord, in the order in which the chords first come
    points       what it costs, by `parts`; 0 would be open strings throughout
    score        the same from 100 down, so that more is better: 100 / (1 + points / 10)
    voice_shift  semitones from the key given to the sounding key, as the singer sings it
    why          the reasons in plain words
    """

    shape_key: Key
    capo: int
    sounding_key: Key
    bars: tuple[tuple[Chord | None, ...], ...]
    grips: tuple[Grip, ...]
    points: float
    parts: tuple[tuple[str, float], ...]
    voice_shift: int
    why: tuple[str, ...]

    @property
    def score(self) -> float:
        """From 100 down; more is better."""
        return 100 / (1 + self.points / SCORE_HALF)


def find_keys(
    bars: Bars,
    key: Key,
    hand: Hand | None = None,
    tuning: Tuning = STANDARD,
    *,
    melody: Range | None = None,
    voice: Range | None = None,
    fixed: bool = False,
    max_capo: int = USUAL_MAX_CAPO,
) -> tuple[KeyChoice, ...]:
    """Every shape key and capo for `bars`, which stand in `key`; best first.

    melody, voice  the lowest and highest pitch of the tune in `key`, and of what the singer finds comfortable
    fixed          the song must sound in `key`
    Raises BadMusic for a range that is upside down or alone and for a song without a chord, BadInput for a capo that
    cannot be.
    """
    _check_ranges(melody, voice, max_capo)
    shares = _chord_shares(bars)
    choices = []
    for shape_key in _keys_of_mode(key):
        song = _SongInKey(bars, shares, key, shape_key, hand or Hand(), tuning)
        for capo in range(max_capo + 1):
            up = (shape_key.tonic.pitch_class + capo - key.tonic.pitch_class) % 12
            if up and fixed:
                continue
            shift = _voice_shift(up, melody, voice)
            choices.append(song.make_choice(capo, _key_above(key, up), shift, melody, voice, fixed))
    return tuple(sorted(choices, key=lambda c: (round(c.points, 6), c.capo, abs(c.voice_shift))))


def _check_ranges(melody: Range | None, voice: Range | None, max_capo: int) -> None:
    if not 0 <= max_capo <= HIGHEST_CAPO:
        raise BadInput(f"a capo at fret {max_capo} cannot be", mend=f"give a fret from 0 to {HIGHEST_CAPO}")
    for name, reach in (("melody", melody), ("voice", voice)):
        if reach is not None and reach[0].midi > reach[1].midi:
            low, high = reach
            raise BadMusic(f"the {name} goes from {low} down to {high}", mend=f"write the lower first: {high}-{low}")
    if (melody is None) != (voice is None):
        alone, other = ("melody", "voice") if voice is None else ("voice", "melody")
        raise BadMusic(f"the {alone}'s range alone tells nothing", mend=f"give the {other}'s as well, like A2-D4")


def _chord_shares(bars: Bars) -> dict[Chord, Fraction]:
    """Each chord's share of the time in which there is a chord, in the order in which they first come."""
    shares: dict[Chord, Fraction] = {}
    for bar in bars:
        for chord in bar:
            if chord is not None:
                shares[chord] = shares.get(chord, Fraction(0)) + Fraction(1, len(bar))
    if not shares:
        raise BadMusic("there is no chord to play", mend='give chords, like "C | Am | F | G"')
    whole = sum(shares.values())
    return {chord: share / whole for chord, share in shares.items()}


def _keys_of_mode(key: Key) -> Iterator[Key]:
    """`key`, and one key of the same mode on each other pitch, with the fewest accidentals (F#, not Gb)."""
    for pitch_class in range(12):
        up = (pitch_class - key.tonic.pitch_class) % 12
        yield _key_above(key, up)


def _key_above(key: Key, up: int) -> Key:
    """The key `up` semitones above."""
    if up == 0:
        return key
    # Gb and F# have six each: guitarists read sharps more easily (common practice, no source).
    return min(
        (Key(key.tonic.up(steps, up), key.minor) for steps in range(7)),
        key=lambda k: (abs(k.signature), k.signature < 0),
    )


def _voice_shift(up: int, melody: Range | None, voice: Range | None) -> int:
    """By how many semitones the singer sings it higher: `up` in the octave that suits best."""
    octaves = [up + 12 * k for k in range(-5, 5)]
    if melody is None or voice is None:
        return min(octaves, key=lambda s: (abs(s), s))
    return min(
        octaves, key=lambda s: (semitones_outside(melody, voice, s), abs(_middle_offset(melody, voice, s)), abs(s))
    )


def semitones_outside(melody: Range, voice: Range, shift: int) -> int:
    """By how many semitones, below and above together, the shifted melody leaves the voice's range."""
    below, above = _semitones_beyond(melody, voice, shift)
    return below + above


def _semitones_beyond(melody: Range, voice: Range, shift: int) -> tuple[int, int]:
    below = max(voice[0].midi - melody[0].midi - shift, 0)
    above = max(melody[1].midi + shift - voice[1].midi, 0)
    return below, above


def _middle_offset(melody: Range, voice: Range, shift: int) -> float:
    return (melody[0].midi + melody[1].midi - voice[0].midi - voice[1].midi) / 2 + shift


class _SongInKey:
    """The song in one shape key: what its shapes are, whatever the capo."""

    def __init__(
        self, bars: Bars, shares: dict[Chord, Fraction], key: Key, shape_key: Key, hand: Hand, tuning: Tuning
    ) -> None:
        self.key, self.shape_key, self.hand = key, shape_key, hand
        self.bars = tuple(tuple(c and plain_chord(c) for c in rekey(bar, key, shape_key)) for bar in bars)
        self.chords = [plain_chord(c) for c in rekey(list(shares), key, shape_key) if c]
        self.shares = [float(share) for share in shares.values()]
        self.meant = list(shares)  # the chords as they stand in the key given
        # A few of each: with the neck shortened by a capo another one may be the easiest.
        self.candidates = [find_grips(chord, hand, tuning, limit=6) for chord in self.chords]

    def make_choice(
        self, capo: int, sounding: Key, shift: int, melody: Range | None, voice: Range | None, fixed: bool
    ) -> KeyChoice:
        held = [min(few, key=lambda g: _cost_with_capo(g, self.hand, capo), default=None) for few in self.candidates]
        costs = [NO_SHAPE if g is None else _cost_with_capo(g, self.hand, capo) for g in held]
        ease = sum(share * cost for share, cost in zip(self.shares, costs, strict=True))
        closed = sum(share for share, g in zip(self.shares, held, strict=True) if g is None or g.shape.fret(g.bass.r))
        parts = [("ease", ease), ("closed bass", CLOSED_BASS * closed), ("capo", CAPO * capo)]
        if melody is not None and voice is not None:
            off = OUT_OF_RANGE * semitones_outside(melody, voice, shift) + OFF_MIDDLE * abs(
                _middle_offset(melody, voice, shift)
            )
            parts.append(("voice", off))
        why = [*self._key_reasons(capo, sounding, shift, fixed), *self._shape_reasons(held)]
        if melody is not None and voice is not None:
            why.append(_voice_reason(melody, voice, shift))
        points = sum(value for _, value in parts)
        used = tuple(g for g in held if g)
        return KeyChoice(self.shape_key, capo, sounding, self.bars, used, points, tuple(parts), shift, tuple(why))

    def _key_reasons(self, capo: int, sounding: Key, shift: int, fixed: bool) -> Iterator[str]:
        if capo:
            yield f"{self.shape_key.title} shapes with the capo on {capo} sound in {sounding.title}"
        else:
            yield f"{self.shape_key.title} shapes without a capo"
        if shift:
            yield f"that is {_semitones(shift)} {'higher' if shift > 0 else 'lower'} than it stands"

    def _shape_reasons(self, held: Sequence[Grip | None]) -> Iterator[str]:
        """What the shapes ask of the hand."""
        rows = list(zip(self.chords, self.shares, held, self.meant, strict=True))
        plain = [str(c) for c, _, g, _ in rows if g and not g.barre and 0 in g.shape.frets]
        if len(plain) == len(rows):
            yield "every chord has an open shape"
        elif plain:
            yield f"open shapes for {_join_words(plain)}"
        for words, full in (("a full barre", True), ("a small barre", False)):
            flat = [(c, s) for c, s, g, _ in rows if g and g.barre and (g.barre[1] - g.barre[2] >= SMALL) == full]
            if flat:
                time = sum(s for _, s in flat)
                verb = "takes" if len(flat) == 1 else "take"
                yield f"{_join_words([str(c) for c, _ in flat])} {verb} {words} ({time:.0%} of the time)"
        none = [str(c) for c, _, g, _ in rows if g is None]
        if none:
            yield f"no shape for {_join_words(none)} is within this hand's reach"
        bass = sum(s for _, s, g, _ in rows if g and not g.shape.fret(g.bass.r))
        yield f"the thumb's root is an open string {bass:.0%} of the time" if bass else "no root lies on an open string"
        for chord, _, g, meant in rows:
            if role_in_key(meant, self.key) == BORROWED:
                what = "has no shape" if g is None else "takes a barre" if g.barre else "has one without a barre"
                yield f"the borrowed {numeral(meant, self.key)} becomes {chord}, which {what}"


def _cost_with_capo(grip: Grip, hand: Hand, capo: int) -> float:
    """The grip's cost where a capo makes every stretch 2^(-capo/12) as long."""
    shorter = STRETCH * (grip.span_mm / hand.span_mm) ** 2 * float(1 - 4 ** (-capo / 12))
    return grip.cost - shorter


def _voice_reason(melody: Range, voice: Range, shift: int) -> str:
    below, above = _semitones_beyond(melody, voice, shift)
    if not below and not above:
        room = min(melody[0].midi + shift - voice[0].midi, voice[1].midi - melody[1].midi - shift)
        return "the melody lies within the voice" + (f", {_semitones(room)} clear at each end or more" if room else "")
    said = [f"{_semitones(by)} too {way}" for by, way in ((below, "low"), (above, "high")) if by]
    return f"the melody goes {_join_words(said)} for the voice"


def _semitones(count: int) -> str:
    """The size of an interval in words."""
    if abs(count) == 12:
        return "an octave"
    return f"{abs(count)} semitone{'s' if abs(count) != 1 else ''}"


def _join_words(words: Sequence[str]) -> str:
    return " and ".join(filter(None, (", ".join(words[:-1]), words[-1])))

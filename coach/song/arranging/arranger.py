"""Proposing a whole arrangement from a chart: key and capo, shapes, patterns, stand-ins, and why each was chosen.

What comes out is a plain `Arrangement`: every line of it can be written over, bar by bar.

- Key and capo are the key finder's first choice. Without a voice the song stays in its own key, unless even the best
  shapes for that are hard; with one it moves to where the tune lies best.
- Shapes are the cheapest route through each part. One shape for each chord of a part, unless the route saves more
  than it costs to learn another.
- A chord whose shape asks more of the fretting hand than TOO_HARD gets a stand-in, if one brings it below.
- Patterns are a family of the two tiers (`coach.song.arranging.tiers`). Where chords change inside a bar its pattern
  tells the new root on the change: the usual one if its thumb does that already, else one for half bars, else
  woven lanes.
- With `melody` the tune is put on the top strings (`coach.song.arranging.tune_placing`).
- The last chord of the song is plucked once and rings.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from coach.errors import BadInput, BadMusic
from coach.guitar.grip import Grip, Hand
from coach.guitar.key_finder import USUAL_MAX_CAPO, KeyChoice, Range, find_keys
from coach.guitar.open_shapes import ShapeBook
from coach.guitar.tuning import STANDARD, Tuning
from coach.music.keys import Key
from coach.music.meter import Meter, beat_text
from coach.music.notes import Pitch
from coach.picking.pattern import MOST_SLOTS, Pattern
from coach.picking.realise import HeldBar, Hold, realise
from coach.song.arrangement import FULL, PLAIN, Arrangement, BarWay, PartWay
from coach.song.arranging.shape_choice import ShapeChoice
from coach.song.arranging.tiers import Family, check_tier, find_families, grid_for, patterns_of_tier, weave_lanes
from coach.song.arranging.tune_placing import Placing, SungNote, TuneBar, place_tune
from coach.song.chart import SOUND, ChartBar, Part, Song
from coach.song.perform import chords_in_key

# A whole song is hard in its own key from this many points on the average (as the key finder counts).
HARD_KEY = 6.0


@dataclass(frozen=True)
class _KeyPlan:
    """What is settled before the bars: key, capo, the tune's move, and the families of patterns by meter."""

    choice: KeyChoice
    shift: int
    families: Mapping[Meter, Mapping[str, Family]]
    why: tuple[str, ...] = ()


def propose(
    song: Song,
    patterns: Mapping[str, Pattern],
    book: ShapeBook,
    hand: Hand = Hand(),  # noqa: B008  (a frozen value)
    *,
    tier: str = PLAIN,
    name: str = "",
    voice: Range | None = None,
    max_capo: int = USUAL_MAX_CAPO,
    key: Key | None = None,
    place: KeyChoice | None = None,
    melody: bool = False,
    early: bool = False,
    tuning: Tuning = STANDARD,
) -> Arrangement:
    """An arrangement of this tier, called `name` or after the tier.

    voice   lowest and highest pitch that is sung in comfort: the key may move to suit it
    key     the key it must sound in
    place   the key and capo, one of those that the key finder gives for this song; the other three are not asked then
    melody  put the tune on the top strings
    early   under words the layer changes one bar before they begin
    Raises BadInput for an unknown tier, a capo that cannot be or a voice without a tune to fit it to, BadMusic for a
    song without chords or a key of the other mode, BadShape where this hand can hold no shape of a chord.
    """
    check_tier(tier)
    proposer = _Proposer(song, patterns, book, hand, tuning, tier, melody)
    plans = proposer.rank_plans(voice, max_capo, key) if place is None else [proposer.make_plan(place)]
    return proposer.propose(name or tier, plans, early)


def tune_range(song: Song) -> Range | None:
    """The lowest and highest pitch of the tune as charted: of its notes, else what the song says; None if unknown."""
    pitches = [n.pitch for part in song.parts.values() for bar in part.bars for n in bar.tune]
    if pitches:
        return min(pitches, key=_midi), max(pitches, key=_midi)
    return song.voice


def _midi(pitch: Pitch) -> int:
    return pitch.midi


class _Proposer:
    """One song and one player."""

    def __init__(
        self, song: Song, patterns: Mapping[str, Pattern], book: ShapeBook, hand: Hand, tuning: Tuning, tier: str,
        melody: bool,
    ) -> None:  # fmt: skip
        self.song, self.patterns, self.book, self.hand, self.tuning = song, patterns, book, hand, tuning
        self.tier, self.melody = tier, melody
        self.parts = {name: song.parts[name] for name in dict.fromkeys(song.order)}
        meters = {part.meter or song.meter for part in self.parts.values()} | {song.meter}
        self.families = {meter: find_families(patterns, meter) for meter in meters}
        if not patterns:
            raise BadInput("there is no pattern to arrange with", mend="`coach doctor` tells where they are")

    # The whole.

    def propose(self, name: str, plans: Sequence[_KeyPlan], early: bool) -> Arrangement:
        if not self.melody or not self.has_tune():
            return self.make_arrangement(name, plans[0], early, {})
        best: tuple[tuple[int, float], _KeyPlan, dict[str, Placing]] | None = None
        for plan in plans:
            for shift in self.tune_shifts(plan.choice):
                tried = replace(plan, shift=shift)
                placed = self.place_tunes(tried)
                lost = sum(len(p.missed) for p in placed.values())
                rank = (lost, sum(p.cost for p in placed.values()))
                if best is None or rank < best[0]:
                    best = (rank, tried, placed)
            if best is not None and best[0][0] == 0:
                break
        assert best is not None
        return self.make_arrangement(name, best[1], early, best[2])

    def has_tune(self) -> bool:
        return any(bar.tune for part in self.parts.values() for bar in part.bars)

    def make_arrangement(self, name: str, plan: _KeyPlan, early: bool, placed: Mapping[str, Placing]) -> Arrangement:
        """The arrangement by this plan."""
        shaped = self.choose_shapes(plan)
        usual = self.families[self.song.meter][self.tier].usual
        whole = PartWay(
            pattern=usual or next(iter(self.patterns)), shapes=shaped.shapes(), stand_in=shaped.recipes
        )
        ways: dict[str, PartWay] = {}
        for part in self.parts.values():
            way = self.make_part_way(part, plan, shaped, placed.get(part.name))
            if way != PartWay():
                ways[part.name] = way
        by_chord, reasons = self.patterns_by_chord(shaped)
        final = self.hold_last_chord(ways)
        why = (*plan.why, *self.pattern_reasons(), *shaped.notes, *reasons, *self.tune_reasons(plan, placed), *final)
        return Arrangement(
            name, replace(whole, by_chord=by_chord), ways, plan.choice.shape_key, plan.choice.capo, plan.shift,
            early=early, why=why,
        )  # fmt: skip

    # Key and capo.

    def rank_plans(self, voice: Range | None, max_capo: int, key: Key | None) -> list[_KeyPlan]:
        """The ways to place the song, best first; only with a tune to place are all but the first looked at."""
        melody = tune_range(self.song)
        if voice is not None and melody is None:
            raise BadInput(
                "where the tune lies is not known, so no key can be found for the voice",
                where=self.song.id, mend='write voice = { low = "A2", high = "D4" } in the song, or give it a tune',
            )  # fmt: skip
        bars = [[c for _, c in bar.chords] for name in self.song.order for bar in self.song.parts[name].bars]
        own = self.song.key

        def rank_keys(fixed: bool) -> list[KeyChoice]:
            try:
                return list(
                    find_keys(
                        bars, own, self.hand, self.tuning, fixed=fixed, max_capo=max_capo,
                        melody=None if voice is None else melody, voice=voice,
                    )
                )  # fmt: skip
            except BadMusic as error:
                raise error.at(self.song.id) from None

        if key is not None:
            if key.minor != own.minor:
                raise BadMusic(
                    f"{self.song.id} is in {own.title} and cannot sound in {key.title}",
                    mend=f"did you mean {Key(key.tonic, own.minor).neighbour}?",
                )
            choices = [c for c in rank_keys(fixed=False) if c.sounding_key.tonic.pitch_class == key.tonic.pitch_class]
            first = f"it sounds in {key.title}, as asked"
        elif voice is not None:
            choices = rank_keys(fixed=False)
            first = f"it sounds in {choices[0].sounding_key.title}, for a voice of {voice[0]} to {voice[1]}"
        else:
            choices, first = rank_keys(fixed=True), f"it sounds in {own.title}, as it is charted"
            if not choices or dict(choices[0].parts)["ease"] > HARD_KEY:
                choices = rank_keys(fixed=False)
                first = f"its own key asks more than {HARD_KEY:g} points a chord, so it moves"
            elif self.melody:
                choices += [c for c in rank_keys(fixed=False) if c.voice_shift]
        if not choices:
            raise BadInput(
                f"no shapes with a capo up to {max_capo} sound in {key.title if key else own.title}",
                mend="allow a higher capo",
            )
        plans = []
        seen: set[Key] = set()
        for choice in choices:
            # How the tune lies on the strings depends on the shapes' key alone: the best capo for each will do.
            if choice.shape_key in seen and self.melody:
                continue
            seen.add(choice.shape_key)
            there = choice.sounding_key
            sounding = first if there == choices[0].sounding_key else f"it sounds in {there.title}, where the tune fits"
            ease = dict(choice.parts)["ease"]
            points = f"its chords ask {ease:.1f} points on the average, score {choice.score:.0f} of 100"
            plans.append(_KeyPlan(choice, choice.voice_shift, self.families, (sounding, *choice.why, points)))
        return plans

    def make_plan(self, place: KeyChoice) -> _KeyPlan:
        """The plan for a key and capo that were chosen by hand."""
        where = "as it is charted" if place.sounding_key == self.song.key else "as chosen"
        return _KeyPlan(
            place, place.voice_shift, self.families, (f"it sounds in {place.sounding_key.title}, {where}", *place.why)
        )

    # Bars.

    def make_part_way(self, part: Part, plan: _KeyPlan, shaped: ShapeChoice, placed: Placing | None) -> PartWay:
        """What is said for this part alone."""
        meter = part.meter or self.song.meter
        family = self.families[meter][self.tier]
        bars: dict[int, BarWay] = {}
        for number, bar in enumerate(part.bars):
            way = placed.ways.get(number) if placed else None
            if way is None and bar.way == SOUND:
                way = self.make_bar_way(part, number, bar, meter, family, plan)
            other = shaped.others.get((part.name, number), {})
            if other and (way is None or not way.shapes):
                way = replace(way or BarWay(), shapes={s: g.shape for s, g in other.items()})
                named = _join_words([f"{g.shape} for {s}" for s, g in other.items()])
                way = replace(way, why="; ".join(filter(None, (way.why, f"{named} is easier to reach here"))))
            if way is not None:
                bars[number] = way
        return PartWay(pattern="" if meter == self.song.meter else family.usual, bars=bars)

    def choose_shapes(self, plan: _KeyPlan) -> ShapeChoice:
        """The shapes of all parts in this key."""
        return ShapeChoice(self.song, self.parts, self.hand, self.tuning, plan.choice.shape_key, plan.choice.capo)

    def make_bar_way(
        self, part: Part, number: int, bar: ChartBar, meter: Meter, family: Family, plan: _KeyPlan
    ) -> BarWay | None:
        """Another pattern, or lanes, where the usual pattern does not serve the bar; None where it does."""
        offset = pick_up_offset(part, number, meter)
        changes = [beat + offset for beat, _ in bar.chords[1:]]
        if not family.usual:
            return self.weave_bar(meter, changes, offset, f"there is no {self.tier} pattern in {meter}")
        thumb = thumb_beats(self.patterns[family.usual])
        if offset and offset not in thumb.get("r", ()):
            return self.weave_bar(meter, [offset, *changes], offset, "the pick-up begins on the root")
        if not changes:
            return None
        what_changes = "the chord changes on beat " + _join_words([beat_text(beat) for beat in changes])
        if family.half and not offset and changes == [Fraction(meter.beats, 2)]:
            return BarWay(pattern=family.half, why=f"{what_changes}: {family.half} tells its root there")
        if set(changes) <= {beat for beats in thumb.values() for beat in beats}:
            return None
        return self.weave_bar(meter, changes, offset, what_changes)

    def weave_bar(self, meter: Meter, changes: Sequence[Fraction], offset: Fraction, why: str) -> BarWay | None:
        """Woven lanes with the root on each of these beats; None where no grid is fine enough."""
        slots = grid_for(meter, self.tier, (*changes, offset))
        if slots > MOST_SLOTS:
            return None
        said = f"{why}: the thumb plays a root there" if changes and not offset else why
        return BarWay(lanes=weave_lanes(meter, self.tier, changes, offset), slots=slots, why=said)

    def hold_last_chord(self, ways: dict[str, PartWay]) -> list[str]:
        """Let the last chord ring; only where the song's last bar is played once. What was done, or why not."""
        last = self.song.order[-1]
        part = self.song.parts[last]
        bar = part.bars[-1]
        way = ways.get(last, PartWay())
        number = len(part.bars) - 1
        if bar.way != SOUND or not bar.chords[-1][1]:
            return []
        if self.song.order.count(last) > 1:
            return [f"the last chord is not held, for {last} is played more than once"]
        before = way.bars.get(number, BarWay())
        if before.lanes and bar.tune and any("!" in text for _, text in before.lanes):
            return []
        meter = part.meter or self.song.meter
        offset = pick_up_offset(part, number, meter)
        beats = [beat + offset for beat, _ in bar.chords]
        slots = grid_for(meter, PLAIN, beats)
        if slots > MOST_SLOTS:
            return []
        at = {int(beat * slots / meter.beats) for beat in beats}

        def lane(token: str) -> str:
            return " ".join(token if slot in at else "." for slot in range(slots))

        held = BarWay(
            lanes=(("p", lane("r")), ("i", lane("3")), ("m", lane("2")), ("a", lane("1"))), slots=slots,
            shapes=before.shapes, why="the last chord is plucked once and rings",
        )  # fmt: skip
        ways[last] = replace(way, bars={**way.bars, number: held})
        return [f"the last chord, in bar {number + 1} of {last}, is plucked once and rings"]

    # Patterns.

    def patterns_by_chord(self, shaped: ShapeChoice) -> tuple[dict[str, str], list[str]]:
        """Another pattern of the tier under chords on whose shape the usual one would lose plucks."""
        meter = self.song.meter
        usual = self.families[meter][self.tier].usual
        patterns: dict[str, str] = {}
        reasons: list[str] = []
        if not usual:
            return patterns, reasons
        for symbol, grip in shaped.chosen.items():
            lost = lost_plucks(self.patterns[usual], grip, self.tuning)
            if not lost:
                continue
            tier = patterns_of_tier(self.patterns.values(), meter, self.tier)
            others = [p for p in tier if not lost_plucks(p, grip, self.tuning)]
            if others:
                patterns[symbol] = others[0].id
                reasons.append(f"{symbol} {grip.shape} would lose {lost} plucks of {usual}: {others[0].id} fits it")
        return patterns, reasons

    def pattern_reasons(self) -> Iterator[str]:
        for meter, tiers in self.families.items():
            family = tiers[self.tier]
            grid = "eighths" if self.tier == PLAIN else "sixteenths"
            where = f" in {meter}" if len(self.families) > 1 else ""
            if not family.usual:
                yield f"{grid}{where}: the library has no such pattern, so lanes are written out bar by bar"
                continue
            other = tiers[FULL if self.tier == PLAIN else PLAIN].usual
            kin = ""
            if family.steps is not None and other:
                steps = f"{family.steps} step{'s' if family.steps != 1 else ''}"
                grown, root = (other, "it") if self.tier == PLAIN else ("it", other)
                kin = f"; {grown} grows from {root} in {steps}"
            yield f"{grid}{where}: {family.usual}{kin}"

    # The tune.

    def tune_shifts(self, choice: KeyChoice) -> list[int]:
        """By how many semitones the tune may sound away from the chart so that it lies on strings 3 to 1, low first."""
        reach = tune_range(self.song)
        assert reach is not None
        low, high = reach
        lowest = self.tuning.open_midi(3) + choice.capo
        highest = self.tuning.open_midi(1) + choice.capo + 12
        shifts = [choice.voice_shift + 12 * k for k in range(-4, 5)]

        def outside(shift: int) -> int:
            return max(lowest - low.midi - shift, 0) + max(high.midi + shift - highest, 0)

        fitting = [s for s in shifts if not outside(s)]
        return fitting or sorted(shifts, key=lambda s: (outside(s), abs(s)))[:1]

    def place_tunes(self, plan: _KeyPlan) -> dict[str, Placing]:
        """Each part's tune on the strings."""
        usual = self.choose_shapes(plan).plain()
        by = plan.shift - plan.choice.capo
        by_part = {}
        for part in self.parts.values():
            meter = part.meter or self.song.meter
            bars = []
            for number, bar in enumerate(part.bars):
                chords = chords_in_key(bar, self.song.key, plan.choice.shape_key)
                notes = tuple(SungNote(n.beat, n.length, n.pitch.midi + by, n.tied) for n in bar.tune)
                bars.append(
                    TuneBar(
                        meter, Fraction(meter.beats) if bar.beats is None else bar.beats,
                        pick_up_offset(part, number, meter), chords, notes if bar.way == SOUND else (),
                    )
                )  # fmt: skip
            by_part[part.name] = place_tune(bars, self.hand, self.tuning, plan.choice.capo, self.tier, usual)
        return by_part

    def tune_reasons(self, plan: _KeyPlan, placed: Mapping[str, Placing]) -> Iterator[str]:
        if self.melody and not placed:
            yield "the tune is not known, so none is on the top strings"
        if not placed:
            return
        asked, placed_count = sum(p.asked for p in placed.values()), sum(p.placed for p in placed.values())
        yield f"{placed_count} of the tune's {asked} notes lie on the top strings"
        away = plan.shift - plan.choice.voice_shift
        if away:
            count = abs(away) // 12
            octaves = "an octave" if count == 1 else f"{count} octaves"
            yield f"the tune is plucked {octaves} {'above' if away > 0 else 'below'} the voice"
        for name, placing in placed.items():
            for number, beat in placing.missed[:3]:
                yield f"{name}, bar {number + 1}: the note on beat {beat_text(beat)} is out of this hand's reach there"


def pick_up_offset(part: Part, number: int, meter: Meter) -> Fraction:
    """How much of the meter's bar lies before this bar: for a short first bar all that it lacks, else nothing."""
    bar = part.bars[number]
    if number or bar.beats is None or bar.beats >= meter.beats:
        return Fraction(0)
    return meter.beats - bar.beats


def thumb_beats(pattern: Pattern) -> dict[str, tuple[Fraction, ...]]:
    """The beats of the thumb in the pattern's first bar by role; a written string has the role ""."""
    by_role: dict[str, list[Fraction]] = {}
    for aim in pattern.bars[0].aims:
        if aim.finger == "p":
            by_role.setdefault(aim.role, []).append(pattern.meter.slot_beat(aim.slot, pattern.slots))
    return {role: tuple(beats) for role, beats in by_role.items()}


def lost_plucks(pattern: Pattern, grip: Grip, tuning: Tuning) -> int:
    """How many of the pattern's plucks have no string on this grip."""
    hold = Hold(Fraction(0), grip.chord, grip.shape, grip.bass)
    return len(pattern.bars[0].aims) - len(realise(pattern, [HeldBar((hold,))], tuning=tuning))


def _join_words(words: Sequence[str]) -> str:
    return " and ".join(filter(None, (", ".join(words[:-1]), words[-1])))

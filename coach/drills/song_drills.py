"""Drills from songs: everything an arrangement gives to practise. Their ids are told in drill_id.py.

They are made from the chart and the arrangement alone; nothing is realised before it is played.
"""

from __future__ import annotations

import difflib
import itertools
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from coach.drills.drill_id import DrillId, Kind, Voice
from coach.drills.pattern_drills import STEP_SHARE, Drill
from coach.errors import BadInput
from coach.guitar.open_shapes import ShapeBook
from coach.guitar.shape import Shape
from coach.music.chords import Chord
from coach.music.tempo import FASTEST_BPM, SLOWEST_BPM
from coach.picking.pattern import Pattern, difficulty
from coach.song.arrangement import Arrangement, PartWay, pattern_under
from coach.song.chart import SOUND, Song
from coach.song.files.song_shelf import SongShelf
from coach.song.perform import arrangement_of, chords_in_key

START_SHARE = Fraction(7, 10)
"""Where a song begins when nothing is known, as a share of its tempo (common practice, no source)."""

MOST_LOOP_CHORDS = 8
"""A pattern is drilled over so many of the song's bars; more are heard in its parts."""
UNKNOWN_SHAPE = 4
"""Fingers that a chord is thought to ask for whose shape is not known before it is searched."""


def find_song_drill(asked: DrillId, songs: SongShelf, patterns: Mapping[str, Pattern]) -> Drill:
    """The drill with this id. Raises BadInput that names the nearest song, arrangement, part, change or pattern."""
    song = songs.find(asked.song)
    return make_song_drill(song, arrangement_of(song, asked.arrangement), patterns, asked)


def make_song_drill(song: Song, arrangement: Arrangement, patterns: Mapping[str, Pattern], asked: DrillId) -> Drill:
    """The drill of a song that `asked` means. Raises BadInput when the song has no such thing."""
    return _Maker(song, arrangement, patterns).drill(asked)


def make_song_drills(song: Song, patterns: Mapping[str, Pattern], book: ShapeBook | None = None) -> tuple[Drill, ...]:
    """Everything the song's arrangements give to practise, each after what it grows from.

    The main pattern comes first, then part after part with the hardest of its changes before it, its words spoken, and
    sung; then the whole song, played and sung. Changes and patterns that no part waits for stand at the end: a change
    that asks little is learned in its part. A later arrangement grows from the one before: its patterns wait for that
    one's whole song. `book` tells how hard the shapes of changes are; without it they are all alike.
    """
    drills: list[Drill] = []
    before: str | None = None
    if not song.order:
        return ()
    ranked = sorted(song.arrangements.values(), key=lambda a: _hardness(a, patterns))
    for arrangement in ranked:
        if all(chord is None for part in song.parts.values() for bar in part.bars for _, chord in bar.chords):
            break
        made = list(_Maker(song, arrangement, patterns, book).all())
        for drill in made:
            is_first = drill.kind == Kind.PATTERN and drill.grows_from is None
            drills.append(replace(drill, grows_from=before) if is_first else drill)
        before = str(DrillId(song.id, arrangement.name))
    return tuple(drills)


def _hardness(arrangement: Arrangement, patterns: Mapping[str, Pattern]) -> float:
    pattern = patterns.get(arrangement.way.pattern)
    return difficulty(pattern) if pattern else 0.0


@dataclass(frozen=True)
class ChordAt:
    """A chord as the hand plays it.

    name     its symbol in the arrangement's key, `N` for none
    pattern  the id of the pattern under it, "" where none goes through the whole bar
    share    of its bar that it is one of so many chords in: 1, 1/2
    Then where it stands: the part, the bar of it, and which chord of the bar it is, from 0.
    """

    name: str
    pattern: str
    share: Fraction
    part: str
    bar: int
    place: int


class _Maker:
    """One arrangement of a song taken apart."""

    def __init__(
        self, song: Song, arrangement: Arrangement, patterns: Mapping[str, Pattern], book: ShapeBook | None = None
    ) -> None:
        self.song, self.arrangement, self.patterns, self.book = song, arrangement, patterns, book
        self.parts = tuple(dict.fromkeys(song.order))
        self.chords = tuple(chords_of(song, arrangement))

    # One drill

    def drill(self, asked: DrillId) -> Drill:
        """The drill that is asked for. Raises BadInput."""
        if not self.song.order:
            raise BadInput(f"'{self.song.id}' has no bars to play", mend="put its parts into `order`")
        if asked.kind in (Kind.PART, Kind.SPOKEN):
            part = self._known_part(asked.name)
            return self._made(asked, self._usual(part), self._loop((part,)), part)
        if asked.kind == Kind.CORNER:
            named = (self._known_part(asked.name),) if asked.name else self.song.order
            bars = sum(len(self.song.parts[name].bars) for name in named)
            if asked.bar > bars:
                raise BadInput(f"'{self.song.id}' has no bar {asked.bar} {asked.name}".strip(), mend=f"it has {bars}")
            whole = replace(asked, kind=Kind.PART, bar=0) if asked.name else replace(asked, kind=Kind.SONG, bar=0)
            return make_song_corner(self.drill(whole), asked.bar - 1)
        if asked.kind == Kind.CHANGE:
            changes = {_between(a.name, b.name): (a, b) for a, b in self.changes()}
            if asked.name not in changes:
                raise self._unknown("change", asked.name, changes)
            first, second = changes[asked.name]
            # The part's usual pattern, which goes through whole bars.
            return self._made(asked, self._usual(first.part), f"{first.name} | {second.name}", first.part)
        if asked.kind == Kind.PATTERN:
            used = self.used()
            if asked.name not in used:
                raise self._unknown("pattern", asked.name, used)
            return self._made(asked, asked.name, self._pattern_loop(asked.name), self._part_with(asked.name))
        return self._made(asked, self._usual(""), self._loop(self.song.order), self.song.order[0])

    def _known_part(self, asked: str) -> str:
        """The part meant by `Verse` or `Verse 2`."""
        named = next((name for name in (asked, asked.rpartition(" ")[0]) if name in self.parts), "")
        if not named:
            raise self._unknown("part", asked, self.parts)
        return named

    def _unknown(self, what: str, asked: str, known: Sequence[str] | Mapping[str, object]) -> BadInput:
        names = list(known)
        near = difflib.get_close_matches(asked, names, n=1)
        hint = f"did you mean {near[0]}?" if near else "it plays " + (", ".join(names) or "none")
        return BadInput(f"'{self.song.id}' plays no {what} '{asked}'", mend=hint)

    def _made(self, asked: DrillId, pattern_id: str, chords: str, part: str) -> Drill:
        pattern = self.patterns.get(pattern_id)
        bpm = self.song.parts[part].tempo or self.song.tempo
        if self.arrangement.tempo is not None:
            bpm = bpm * self.arrangement.tempo / self.song.tempo
        bpm = min(max(bpm, Fraction(SLOWEST_BPM)), Fraction(FASTEST_BPM))
        id_ = str(replace(asked, arrangement=self.arrangement.name))
        return Drill(
            id=id_,
            title=self._title(asked, pattern),
            kind=Kind.SING if asked.voice else asked.kind,
            pattern=pattern_id,
            chords=chords,
            target_bpm=round(bpm),
            start_bpm=max(round(bpm * START_SHARE), SLOWEST_BPM),
            step_share=STEP_SHARE,
            family=f"{self.song.id}/{self.arrangement.name}",
            grows_from=None,
            slots_per_beat=pattern.slots_per_beat if pattern else Fraction(2),
            difficulty=difficulty(pattern) if pattern else 0.0,
        )

    def _title(self, asked: DrillId, pattern: Pattern | None) -> str:
        """`Last Boat Over (full), Verse, sung`; the song's first arrangement goes without its name."""
        title = self.song.title
        if self.arrangement.name != next(iter(self.song.arrangements), ""):
            title += f" ({self.arrangement.name})"
        about = {
            Kind.SONG: "",
            Kind.PART: asked.name,
            Kind.SPOKEN: f"{asked.name} spoken over the thumb",
            Kind.CHANGE: asked.name.replace("-", " to "),
            Kind.PATTERN: f"its chords in '{pattern.title if pattern else asked.name}'",
        }[asked.kind]
        voice = {Voice.SING: "sung", Voice.SING_FULL: "sung over all of it"}.get(asked.voice, "")
        return ", ".join(filter(None, (title, about, voice)))

    # What there is in it

    def used(self) -> dict[str, Fraction]:
        """The patterns it uses and how many of its bars lie over each, the commonest first."""
        return self._counted("", Counter(self.song.order))

    def _counted(self, part: str, times: Mapping[str, int]) -> dict[str, Fraction]:
        bars: dict[str, Fraction] = {}
        for chord in self.chords:
            if chord.pattern in self.patterns and part in ("", chord.part):
                bars[chord.pattern] = bars.get(chord.pattern, Fraction(0)) + chord.share * times[chord.part]
        return dict(sorted(bars.items(), key=lambda pair: -pair[1]))

    def changes(self) -> tuple[tuple[ChordAt, ChordAt], ...]:
        """The pairs of chords that follow each other somewhere, each once: round and round both ways are played."""
        pairs: dict[frozenset[str], tuple[ChordAt, ChordAt]] = {}
        by_part: dict[str, list[ChordAt]] = {}
        for chord in self.chords:
            by_part.setdefault(chord.part, []).append(chord)
        played = [chord for name in self.song.order for chord in by_part.get(name, ())]
        for before, after in itertools.pairwise(played):
            if before.name != after.name and "N" not in (before.name, after.name):
                pairs.setdefault(frozenset((before.name, after.name)), (before, after))
        return tuple(pairs.values())

    def _inside(self, part: str) -> set[frozenset[str]]:
        """The pairs of chords that follow each other when a part goes round and round."""
        names = [chord.name for chord in self.chords if chord.part == part]
        return {frozenset(pair) for pair in zip(names, [*names[1:], *names[:1]], strict=True)}

    def _usual(self, part: str) -> str:
        """The pattern that most bars of a part lie over, of the whole song for ""."""
        return next(iter(self._counted(part, Counter(self.song.order))), self.arrangement.way.pattern)

    def _part_with(self, pattern: str) -> str:
        return next(c.part for c in self.chords if c.pattern == pattern)

    def _loop(self, parts: Sequence[str]) -> str:
        """The chords of these parts as a progression."""
        rows: dict[tuple[str, int], list[str]] = {}
        for chord in self.chords:
            rows.setdefault((chord.part, chord.bar), []).append(chord.name)
        return " | ".join(" ".join(row) for part in parts for (name, _), row in rows.items() if name == part)

    def _pattern_loop(self, pattern: str) -> str:
        return " | ".join(" ".join(c.name for c in bar) for bar in pattern_bars(self.chords, pattern))

    # All of it

    def all(self) -> Iterator[Drill]:
        """Every drill, each after what it grows from."""
        base = DrillId(self.song.id, self.arrangement.name)
        patterns = list(self.used())
        changes = sorted(self.changes(), key=lambda c: -self._fingers(*c))
        main = patterns[0] if patterns else ""
        made: set[DrillId] = set()

        def make(asked: DrillId, below: DrillId | None, more: float = 0.0) -> Drill:
            made.add(asked)
            drill = self.drill(asked)
            return replace(drill, grows_from=str(below) if below else None, difficulty=drill.difficulty + more)

        first: DrillId | None = None
        if main:
            first = replace(base, kind=Kind.PATTERN, name=main)
            yield make(first, None)
        worded, last = [], first
        for name in self.parts:
            below = first
            inside = self._inside(name)
            hardest = next((c for c in changes if frozenset((c[0].name, c[1].name)) in inside), None)
            if hardest is not None:
                below = replace(base, kind=Kind.CHANGE, name=_between(hardest[0].name, hardest[1].name))
                if below not in made:
                    yield make(below, first, 0.1 * self._fingers(*hardest))
            last = replace(base, kind=Kind.PART, name=name)
            yield make(last, below, 1.0)
            if any(bar.words for bar in self.song.parts[name].bars):
                worded.append(name)
                spoken = replace(base, kind=Kind.SPOKEN, name=name)
                yield make(spoken, last, 2.0)
                yield make(replace(last, voice=Voice.SING), spoken, 3.0)
        yield make(base, last, 4.0)
        if worded:
            yield make(replace(base, voice=Voice.SING), base, 5.0)
            for name in worded:
                sung = replace(base, kind=Kind.PART, name=name, voice=Voice.SING)
                yield make(replace(sung, voice=Voice.SING_FULL), sung, 6.0)
            yield make(replace(base, voice=Voice.SING_FULL), replace(base, voice=Voice.SING), 7.0)
        for pattern in patterns[1:]:
            yield make(replace(base, kind=Kind.PATTERN, name=pattern), first)
        for change in changes:
            asked = replace(base, kind=Kind.CHANGE, name=_between(change[0].name, change[1].name))
            if asked not in made:
                yield make(asked, first, 0.1 * self._fingers(*change))

    def _fingers(self, before: ChordAt, after: ChordAt) -> int:
        """How many places have to be pressed anew from one chord's shape to the other's, the harder way round."""
        from_places, to_places = (_pressed(self._shape(chord)) for chord in (before, after))
        if from_places is None or to_places is None:
            return UNKNOWN_SHAPE
        return max(len(from_places - to_places), len(to_places - from_places))

    def _shape(self, chord: ChordAt) -> Shape | None:
        """The shape said for it, else the book's; None where it would have to be searched."""
        way = self.arrangement.parts.get(chord.part, PartWay())
        own = way.bars.get(chord.bar)
        pins = (own.shapes if own else {}, way.shapes, self.arrangement.way.shapes, self.song.shapes)
        pinned = next((p[chord.name] for p in pins if chord.name in p), None)
        if pinned is not None or self.book is None:
            return pinned
        return next(iter(self.book.open.get(chord.name, ())), None)


def chords_of(song: Song, arrangement: Arrangement) -> Iterator[ChordAt]:
    """Every chord of the parts that are played, each part once, as the arrangement has it."""
    key = arrangement.key or song.key
    for name in dict.fromkeys(song.order):
        for number, bar in enumerate(song.parts[name].bars):
            share = Fraction(1, max(len(bar.chords), 1))
            goes_through = bar.way == SOUND and bar.beats is None
            for place, (_, chord) in enumerate(chords_in_key(bar, song.key, key)):
                symbol = _symbol(chord)
                pattern = pattern_under(arrangement, name, number, symbol) if goes_through else ""
                yield ChordAt(symbol, pattern, share, name, number, place)


def pattern_bars(chords: Sequence[ChordAt], pattern: str) -> list[tuple[ChordAt, ...]]:
    """The bars that lie over one pattern from end to end, each progression once, at most MOST_LOOP_CHORDS of them.

    Where no bar does, its single chords, each as a bar.
    """
    bars: dict[tuple[str, int], list[ChordAt]] = {}
    for chord in chords:
        bars.setdefault((chord.part, chord.bar), []).append(chord)
    whole: dict[tuple[str, ...], tuple[ChordAt, ...]] = {}
    alone: dict[tuple[str, ...], tuple[ChordAt, ...]] = {}
    for bar in bars.values():
        if all(chord.pattern == pattern for chord in bar):
            whole.setdefault(tuple(chord.name for chord in bar), tuple(bar))
        for chord in bar:
            if chord.pattern == pattern:
                alone.setdefault((chord.name,), (chord,))
    return list((whole or alone).values())[:MOST_LOOP_CHORDS]


def change_in(song: Song, arrangement: Arrangement, name: str) -> tuple[ChordAt, ChordAt] | None:
    """Where the change of this name (`C-F`) first is, as a drill of it takes it; None where there is none."""
    return next((c for c in _Maker(song, arrangement, {}).changes() if _between(c[0].name, c[1].name) == name), None)


def make_song_corner(drill: Drill, bar: int) -> Drill:
    """The corner around bar `bar` (from 0) of what a drill of a song plays: of its part, or of the whole song."""
    asked = drill.parsed_id
    bars = drill.chords.split("|")
    bar %= len(bars)
    name = asked.name if asked.kind in (Kind.PART, Kind.SPOKEN) else ""
    id_ = DrillId(asked.song, asked.arrangement, Kind.CORNER, name, bar + 1)
    near = bars[max(bar - 1, 0) : bar + 2]
    return replace(
        drill,
        id=str(id_),
        title=f"{drill.title}, bar {bar + 1}",
        kind=Kind.CORNER,
        chords=" | ".join(chords.strip() for chords in near),
        grows_from=None,
    )


def _between(before: str, after: str) -> str:
    return f"{before}-{after}"


def _symbol(chord: Chord | None) -> str:
    return "N" if chord is None else str(chord)


def _pressed(shape: Shape | None) -> set[tuple[int, int]] | None:
    if shape is None:
        return None
    return {(string, fret) for string, fret in enumerate(shape.frets) if fret}

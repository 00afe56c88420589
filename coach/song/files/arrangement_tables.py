"""The arrangements of a song file: how each is played, read from its tables.

    [arrangements.full]
    pattern = "outside-in"            needed
    key = "C"   capo = 5              the key the hand plays in; chords named below are those of this key
    shift = 0                         semitones from the tune as charted to the tune as it sounds (usual: the nearest)
    singing = "thumb"   early = true  the layer under words; whether it comes one bar before them
    tempo = 80   why = ["..."]
    by_chord = { C = "..." }          another pattern under one chord
    shapes = { C = "x32033" }   stand_in = { F = "G:1@1", Bm = "D" }
    [arrangements.full.parts.Chorus]  pattern, by_chord, shapes, stand_in of its own, and
    bars = [ { bar = 3, pattern = "..." }, { bar = 4, slots = 4, p = "r . a .", i = ". 3 . 3", why = "..." } ]

Bars are counted from 1 in the file. Among a bar's shapes `N` says what is held where it has no chord; without it
nothing is picked there. A stand-in is another chord, or a chord whose shape is kept with strings changed:
`G:1@1` is G with string 1 at fret 1.
"""

from __future__ import annotations

import difflib
from collections.abc import Collection, Iterable, Mapping
from functools import partial
from typing import Any

from coach.errors import BadInput, BadShape
from coach.files.toml_map import Path
from coach.guitar.choices import add_fingers
from coach.guitar.shape import HIGHEST_FRET, Shape
from coach.music.chords import Chord
from coach.music.keys import Key
from coach.picking.layers import THUMB, check_layer
from coach.picking.pattern import LANES, MOST_SLOTS, make_pattern_bar
from coach.song.arrangement import NO_CHORD, Arrangement, BarWay, PartWay, read_stand_in
from coach.song.files.song_reader import Reading

HIGHEST_CAPO = 11
FARTHEST_SHIFT = 24
PART_WAY_KEYS = ("pattern", "by_chord", "shapes", "stand_in")
ARRANGEMENT_KEYS = (*PART_WAY_KEYS, "key", "capo", "shift", "singing", "early", "tempo", "why", "parts")
BAR_WAY_KEYS = ("bar", "pattern", *LANES, "slots", "shapes", "why")


class WayReader:
    """Reads the arrangements; `parts` are the bars of each part, `patterns` the known ids (None: not looked at)."""

    def __init__(
        self, reading: Reading, key: Key | None, parts: Mapping[str, int], patterns: Collection[str] | None
    ) -> None:
        self.reading, self.key, self.parts, self.patterns = reading, key, parts, patterns
        self.capo = 0  # of the arrangement being read: frets are counted from it

    def arrangements(self, tables: Mapping[str, Any]) -> dict[str, Arrangement]:
        """Every arrangement that could be read, by name."""
        found = {}
        for name, value in tables.items():
            path: Path = ("arrangements", name)
            table = self.reading.table(path, value)
            if table or isinstance(value, dict):
                found[name] = self._arrangement(path, name, table)
        return found

    def _arrangement(self, path: Path, name: str, table: Mapping[str, Any]) -> Arrangement:
        r = self.reading
        r.keys(path, table, ARRANGEMENT_KEYS)
        if not table.get("pattern") and "pattern" not in table:
            r.problem(path, f"arrangement {name} has no pattern", 'add a line like pattern = "outside-in"')
        key = None
        if "key" in table:
            written = r.text((*path, "key"), table["key"])
            key = r.tried((*path, "key"), lambda: Key.parse(written)) if written else None
        if key and self.key and key.minor != self.key.minor:
            r.problem(
                (*path, "key"),
                f"the song is in {self.key.title}, so the arrangement cannot be in {key.title}",
                f"write {Key(key.tonic, self.key.minor).neighbour}",
            )
        self.capo = r.whole((*path, "capo"), table.get("capo"), 0, HIGHEST_CAPO) or 0
        shift = r.whole((*path, "shift"), table.get("shift"), -FARTHEST_SHIFT, FARTHEST_SHIFT)
        singing = r.text((*path, "singing"), table.get("singing")) or THUMB
        r.tried((*path, "singing"), lambda: check_layer(singing))
        return Arrangement(
            name=name,
            way=self._way(path, table),
            parts=self._part_ways(path, r.table((*path, "parts"), table.get("parts"))),
            key=key,
            capo=self.capo,
            shift=shift,
            singing=singing,
            early=r.truth((*path, "early"), table.get("early")),
            tempo=r.tempo((*path, "tempo"), table.get("tempo")),
            why=r.texts((*path, "why"), table.get("why")),
        )

    def _part_ways(self, path: Path, tables: Mapping[str, Any]) -> dict[str, PartWay]:
        found = {}
        for name, value in tables.items():
            here: Path = (*path, "parts", name)
            if name not in self.parts:
                near = difflib.get_close_matches(name, self.parts, n=1)
                hint = f"did you mean {near[0]}?" if near else "the song's parts are " + ", ".join(self.parts)
                self.reading.problem(here, f"the song has no part {name}", hint)
                continue
            table = self.reading.table(here, value)
            self.reading.keys(here, table, (*PART_WAY_KEYS, "bars"))
            found[name] = self._way(here, table, self.parts[name])
        return found

    def _way(self, path: Path, table: Mapping[str, Any], bars: int | None = None) -> PartWay:
        r = self.reading
        patterns = r.table((*path, "by_chord"), table.get("by_chord"))
        stand_ins = r.table((*path, "stand_in"), table.get("stand_in"))
        by_chord, stand_in = {}, {}
        for name, value in patterns.items():
            here: Path = (*path, "by_chord", name)
            chord, pattern = self.symbol(here, name), self._pattern(here, value)
            if chord and pattern:
                by_chord[chord] = pattern
        for name, value in stand_ins.items():
            here = (*path, "stand_in", name)
            chord, recipe = self.symbol(here, name), r.text(here, value)
            fits = r.tried(here, partial(self._stand_in, recipe))
            if chord and fits:
                stand_in[chord] = recipe
        return PartWay(
            pattern=self._pattern((*path, "pattern"), table["pattern"]) if "pattern" in table else "",
            by_chord=by_chord,
            shapes=self.shapes((*path, "shapes"), table.get("shapes")),
            stand_in=stand_in,
            bars={} if bars is None else self._bar_ways(path, table.get("bars"), bars),
        )

    def symbol(self, path: Path, name: str) -> str:
        """The chord's name as the coach writes it, "" when it is none."""
        chord = self.reading.tried(path, lambda: Chord.parse(name))
        return str(chord) if chord else ""

    def _pattern(self, path: Path, value: Any) -> str:
        name = self.reading.text(path, value)
        if isinstance(value, str) and not name:
            self.reading.problem(path, "the pattern has no name", 'write a pattern\'s id, like "outside-in"')
        if name and self.patterns is not None and name not in self.patterns:
            near = difflib.get_close_matches(name, self.patterns, n=1)
            hint = f"did you mean {near[0]}?" if near else "`coach patterns` lists them"
            self.reading.problem(path, f"there is no pattern '{name}'", hint)
        return name

    def shapes(self, path: Path, value: Any, *, bar: bool = False) -> dict[str, Shape]:
        """Pinned shapes by chord symbol; those of a bar may have one for no chord."""
        found = {}
        for name, written in self.reading.table(path, value).items():
            here: Path = (*path, name)
            chord = NO_CHORD if bar and name == NO_CHORD else self.symbol(here, name)
            text = self.reading.text(here, written)
            if not chord or not isinstance(written, str):
                continue
            shape = self.reading.tried(here, partial(self._holdable, text))
            if shape:
                found[chord] = shape
        return found

    def _bar_ways(self, path: Path, value: Any, bars: int) -> dict[int, BarWay]:
        r, here = self.reading, (*path, "bars")
        if value is None:
            return {}
        if not isinstance(value, list) or not all(isinstance(item, dict) for item in value):
            r.problem(here, "'bars' must be a list of tables", 'write bars = [ { bar = 3, pattern = "..." } ]')
            return {}
        found: dict[int, BarWay] = {}
        for index, table in enumerate(value):
            at: Path = (*here, index)
            r.keys(at, table, BAR_WAY_KEYS)
            if "bar" not in table:
                r.problem(at, "this entry does not say which bar it is for", "add bar = 1 for the part's first bar")
                continue
            number = r.whole((*at, "bar"), table["bar"], 1, bars)
            if number is None:
                continue
            if number - 1 in found:
                r.problem((*at, "bar"), f"bar {number} is written twice", "put both into one entry")
            found[number - 1] = self._bar_way(at, table)
        return found

    def _bar_way(self, path: Path, table: Mapping[str, Any]) -> BarWay:
        r = self.reading
        lanes = tuple((lane, r.text((*path, lane), table[lane])) for lane in LANES if lane in table)
        slots = r.whole((*path, "slots"), table.get("slots"), 1, MOST_SLOTS) or 0
        if lanes and "slots" not in table:
            r.problem(path, "a bar with lanes of its own needs its slots", "add slots = 8")
        elif lanes and slots:
            try:
                aims = make_pattern_bar(lanes, slots).aims
                if not aims:
                    r.problem(path, "these lanes are silent", "give one of them a pluck, or leave them out")
                self._check_frets("a lane", [aim.fret for aim in aims])
            except BadInput as error:
                r.problem(path, error.what, error.mend)
        return BarWay(
            pattern=self._pattern((*path, "pattern"), table["pattern"]) if "pattern" in table else "",
            lanes=lanes,
            slots=slots,
            shapes=self.shapes((*path, "shapes"), table.get("shapes"), bar=True),
            why=r.text((*path, "why"), table.get("why")),
        )

    def _stand_in(self, recipe: str) -> tuple[str, tuple[tuple[int, int], ...]]:
        found = read_stand_in(recipe)
        self._check_frets(f"'{recipe}'", [fret for _, fret in found[1]])
        return found

    def _holdable(self, text: str) -> Shape:
        """The shape that is written, if four fingers can hold it; they are told from it again when it is played."""
        shape = Shape.parse(text)
        self._check_frets(f"'{text}'", shape.frets)
        add_fingers(shape)
        return shape

    def _check_frets(self, what: str, frets: Iterable[int | None]) -> None:
        """Raises BadShape where the capo pushes a fret past the neck's end."""
        if max((fret for fret in frets if fret is not None), default=0) > HIGHEST_FRET - self.capo:
            raise BadShape(
                f"{what} with the capo at {self.capo} goes past the end of the neck",
                mend=f"use frets 0 to {HIGHEST_FRET - self.capo}",
            )

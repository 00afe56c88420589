"""Song files: TOML in, a Song out; every problem is told, each with its line.

    title = "..."   key = "G"   meter = "4/4"   tempo = 92       needed
    order = ["Verse", "Chorus"]       left out: the parts as they stand
    original = { key = "Bb", tempo = 100 }     voice = { low = "A2", high = "D4" }     source = "..."
    [parts.Verse]                     meter = "3/4" and tempo = 80 where they are its own
    bars = [ { chords = "C D", words = "salt on|the win-|dow", tune = "D4 E4 G4:2" }, ... ]
    [shapes]                          Em = "022000"
    [arrangements.plain]              coach/song/files/arrangement_tables.py tells its keys

Keys of a bar: `chords words tune` (coach/song/files/bar_text.py tells how they are written), `beats` for a bar shorter
than the meter's (a pick-up), `hold = true` (each chord is plucked once and rings), `silent = true` (nobody plays). A
bar without chords goes on with the chord before it.
"""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import partial
from pathlib import Path as FilePath
from typing import Any

from coach.errors import BadInput
from coach.files.toml_map import Path, map_toml
from coach.music.keys import Key
from coach.music.meter import FOUR_FOUR, Meter
from coach.music.notes import Pitch
from coach.song.chart import HOLD, SILENT, SOUND, ChartBar, Part, Song
from coach.song.files.arrangement_tables import WayReader
from coach.song.files.bar_text import read_beats, read_chords, read_tune, read_words
from coach.song.files.song_reader import Problem, Reading, too_long
from coach.song.perform import MOST_PLAYED_BARS, tune_shift

SUFFIX = ".song.toml"
LARGEST_FILE = 512 * 1024
MOST_PARTS, MOST_BARS, MOST_ARRANGEMENTS, MOST_NAME = 100, 2000, 50, 40
SONG_KEYS = (
    "title", "key", "meter", "tempo", "original", "voice", "order", "parts", "shapes", "arrangements", "source",
)  # fmt: skip
PART_KEYS = ("bars", "meter", "tempo")
BAR_KEYS = ("chords", "words", "tune", "beats", "hold", "silent")
_EXAMPLES = {"title": 'title = "Ferry song"', "key": 'key = "G"', "meter": 'meter = "4/4"', "tempo": "tempo = 92"}


@dataclass(frozen=True)
class Checked:
    """What came of reading a song's text: the song where nothing is wrong, the problems, and what is merely odd."""

    song: Song | None
    problems: tuple[Problem, ...]
    notes: tuple[Problem, ...] = ()


def song_id(path: FilePath) -> str:
    """The id of the song in this file: its name without `.song.toml` (or whatever ends it)."""
    return path.name.removesuffix(SUFFIX) if path.name.endswith(SUFFIX) else path.stem


def read_text(path: FilePath) -> str:
    """The text of a song file. Raises BadInput with the file's name."""
    mend = f"give the path of a {SUFFIX} file"
    try:
        if path.is_dir():
            raise BadInput("this is a folder, not a song file", where=path.name, mend=mend)
        if path.exists() and not path.is_file():  # a pipe or a device may have no end
            raise BadInput("this is not an ordinary file", where=path.name, mend=mend)
        with path.open("rb") as file:
            raw = file.read(LARGEST_FILE + 1)
        if len(raw) > LARGEST_FILE:
            raise BadInput(
                f"the file is larger than {LARGEST_FILE // 1024} KiB",
                where=path.name,
                mend="a song file is a few pages of text",
            )
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise BadInput("this is not a text file", where=path.name, mend="a song file is TOML in UTF-8") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise BadInput(f"cannot be read ({reason})", where=str(path), mend="check the path") from None


def read_song(path: FilePath, *, own: bool = False) -> Song:
    """Read one song file. Raises BadInput with file, line and place; the first problem and how many more there are."""
    try:
        return parse_song(read_text(path), song_id(path), own=own)
    except BadInput as error:
        raise (error if error.where.startswith((path.name, str(path))) else error.at(path.name)) from None


def parse_song(text: str, id_: str, *, own: bool = False) -> Song:
    """A Song from the text of its file. Raises BadInput: the first problem and how many more there are."""
    checked = check_text(text, id_, own=own)
    if checked.song is not None:
        return checked.song
    first, *more = checked.problems
    if not more:
        raise first.error()
    rest = f"{len(more)} more problem{'s' if len(more) > 1 else ''}: `coach song check` lists all"
    error = first.error()
    raise BadInput(error.what, where=error.where, mend=f"{error.mend.rstrip('?.')}; {rest}")


def check_text(text: str, id_: str, *, own: bool = False, patterns: Collection[str] | None = None) -> Checked:
    """Read a song's text and tell all that is wrong with it, in order of line.

    patterns  the ids there are; None when an unknown one is no problem yet
    """
    trouble = None
    try:
        data = tomllib.loads(text)
        reading = Reading(map_toml(text))
    except tomllib.TOMLDecodeError as error:
        trouble = _not_toml(str(error), text)
    except ValueError:  # tomllib lets the interpreter's own limit on digits through
        trouble = Problem(1, "", "a number in it is far too long", "write numbers of a few digits")
    except RecursionError:
        trouble = Problem(1, "", "brackets are nested too deep", "a song file has a few levels of tables")
    if trouble is not None:
        return Checked(None, (trouble,))
    song = _SongReader(reading, data, patterns).song(id_, own)
    problems = tuple(sorted(dict.fromkeys(reading.problems), key=lambda p: p.line))
    return Checked(None if problems else song, problems, tuple(sorted(reading.notes, key=lambda p: p.line)))


def _not_toml(message: str, text: str) -> Problem:
    match = re.search(r"at line (\d+)", message)
    reason = re.sub(r"\s*\(at .*", "", message).strip()
    line = int(match.group(1)) if match else text.count("\n") + 1
    return Problem(line, "", "this is not TOML", f"the reader says: {reason[:1].lower()}{reason[1:]}")


class _SongReader:
    def __init__(self, reading: Reading, data: Mapping[str, Any], patterns: Collection[str] | None) -> None:
        self.reading, self.data, self.patterns = reading, data, patterns

    def song(self, id_: str, own: bool) -> Song | None:
        r, data = self.reading, self.data
        r.keys((), data, SONG_KEYS)
        for needed, example in _EXAMPLES.items():
            if needed not in data:
                r.problem((), f"'{needed}' is missing", f"add a line like {example}")
        key = self.key(("key",), data.get("key"))
        meter = self.meter(("meter",), data.get("meter")) or FOUR_FOUR
        tempo = r.tempo(("tempo",), data.get("tempo")) or Fraction(90)
        parts = self.parts(meter)
        order = self.order(parts)
        ways = WayReader(r, key, {name: len(part.bars) for name, part in parts.items()}, self.patterns)
        tables = r.table(("arrangements",), data.get("arrangements"))
        if len(tables) > MOST_ARRANGEMENTS:
            r.problem(("arrangements",), f"{len(tables)} arrangements are too many", f"keep to {MOST_ARRANGEMENTS}")
            tables = {}
        arrangements = ways.arrangements(tables)
        original = r.table(("original",), data.get("original"))
        r.keys(("original",), original, ("key", "tempo"))
        song = Song(
            id=id_,
            title=r.text(("title",), data.get("title")),
            key=key or Key.parse("C"),
            meter=meter,
            tempo=tempo,
            parts=parts,
            order=order,
            original=(
                self.key(("original", "key"), original.get("key")),
                r.tempo(("original", "tempo"), original.get("tempo")),
            ),
            voice=self.voice(parts),
            shapes=ways.shapes(("shapes",), data.get("shapes")),
            arrangements=arrangements,
            source=r.text(("source",), data.get("source")),
            own=own,
        )
        if not r.problems:
            for name, arrangement in arrangements.items():
                r.tried(("arrangements", name, "shift"), partial(tune_shift, song, arrangement))
        return song

    def key(self, path: Path, value: Any) -> Key | None:
        text = self.reading.text(path, value)
        return self.reading.tried(path, lambda: Key.parse(text)) if isinstance(value, str) else None

    def meter(self, path: Path, value: Any) -> Meter | None:
        if value is None:
            return None
        text = self.reading.text(path, value)
        return self.reading.tried(path, lambda: Meter.parse(text)) if isinstance(value, str) else None

    def voice(self, parts: Mapping[str, Part]) -> tuple[Pitch, Pitch] | None:
        """The range that is given, else that of the tune."""
        r = self.reading
        table = r.table(("voice",), self.data.get("voice"))
        r.keys(("voice",), table, ("low", "high"))
        found = []
        for end in ("low", "high"):
            text = r.text(("voice", end), table.get(end))
            pitch = r.tried(("voice", end), partial(Pitch.parse, text)) if text else None
            if pitch:
                found.append(pitch)
        if len(found) == 2:
            if found[0].midi > found[1].midi:
                mend = f'write low = "{found[1]}", high = "{found[0]}"'
                r.problem(("voice",), "the voice's range is upside down", mend)
            return found[0], found[1]
        if table:
            r.problem(("voice",), "the voice needs a lowest and a highest pitch", 'write { low = "A2", high = "D4" }')
        pitches = [n.pitch for part in parts.values() for bar in part.bars for n in bar.tune]
        if not pitches:
            return None
        return min(pitches, key=lambda p: p.midi), max(pitches, key=lambda p: p.midi)

    def parts(self, meter: Meter) -> dict[str, Part]:
        r = self.reading
        tables = r.table(("parts",), self.data.get("parts"))
        if not tables:
            r.problem(("parts",), "there are no parts", 'add [parts.Verse] and below it bars = [ { chords = "G" } ]')
        if len(tables) > MOST_PARTS:
            r.problem(("parts",), f"{len(tables)} parts are too many", f"keep to {MOST_PARTS}")
            return {}
        found = {}
        for name, value in tables.items():
            path: Path = ("parts", name)
            if not name.strip() or len(name) > MOST_NAME or not name.isprintable():
                r.problem(path, "a part needs a short name", f"call it Verse or Chorus, {MOST_NAME} letters at most")
                continue
            table = r.table(path, value)
            if isinstance(value, dict):
                found[name] = self.part(path, name, table, meter)
        return found

    def part(self, path: Path, name: str, table: Mapping[str, Any], meter: Meter) -> Part:
        r = self.reading
        r.keys(path, table, PART_KEYS)
        own = self.meter((*path, "meter"), table.get("meter"))
        tempo = r.tempo((*path, "tempo"), table.get("tempo"))
        rows = table.get("bars")
        here: Path = (*path, "bars")
        if not isinstance(rows, list) or not rows or not all(isinstance(row, dict) for row in rows):
            r.problem(
                path if rows is None else here,
                f"part {name} has no bars" if not rows else "'bars' must be a list of bars",
                'write bars = [ { chords = "G" }, { chords = "C D" } ]',
            )
            return Part(name, (), own, tempo)
        if len(rows) > MOST_BARS:
            r.problem(here, f"{len(rows)} bars are too many for one part", f"keep to {MOST_BARS}")
            return Part(name, (), own, tempo)
        bars: list[ChartBar] = []
        for number, row in enumerate(rows):
            bar = self.bar((*here, number), row, own or meter, bars[-1] if bars else None)
            if bar is not None:
                bars.append(bar)
        if len(bars) < len(rows):  # one has a problem: what follows counts on every bar being there
            bars += [bars[-1] if bars else ChartBar(((Fraction(0), None),))] * (len(rows) - len(bars))
        return Part(name, tuple(bars), own, tempo)

    def bar(self, path: Path, row: Mapping[str, Any], meter: Meter, before: ChartBar | None) -> ChartBar | None:
        r = self.reading
        r.keys(path, row, BAR_KEYS)
        beats = self.beats((*path, "beats"), row.get("beats"), meter)
        full = Fraction(meter.beats) if beats is None else beats
        chords = None
        if "chords" in row:
            written = r.text((*path, "chords"), row["chords"])
            chords = r.tried((*path, "chords"), lambda: read_chords(written, full))
        elif before is not None:
            chords = ((Fraction(0), before.chords[-1][1]),)
        else:
            r.problem(path, "the first bar of a part needs its chords", 'write chords = "G", or "N" for none')
        sung = r.text((*path, "tune"), row.get("tune"))
        tune, breaths = r.tried((*path, "tune"), lambda: read_tune(sung, full)) or ((), ())
        said = row.get("words")
        if isinstance(said, str):  # the blank that does not part keeps words on one note together
            text = r.clean((*path, "words"), said).replace("\r", " ").replace("\n", " ")
        else:
            text = r.text((*path, "words"), said)
        words, more = r.tried((*path, "words"), lambda: read_words(text, full, tune)) or ((), ())
        hold = r.truth((*path, "hold"), row.get("hold"))
        silent = r.truth((*path, "silent"), row.get("silent"))
        if hold and silent:
            r.problem((*path, "silent"), "a bar cannot be held and silent", "leave one of them out")
        if before is not None:
            self.tied((*path, "tune"), tune, before)
        if chords is None:
            return None
        way = HOLD if hold else SILENT if silent else SOUND
        return ChartBar(chords, words, tune, beats, way, tuple(sorted({*breaths, *more})))

    def tied(self, path: Path, tune: Any, before: ChartBar) -> None:
        """A note that goes on from the bar before must be the one that ends it."""
        if tune and tune[0].tied and tune[0].beat == 0 and (not before.tune or before.tune[-1].pitch != tune[0].pitch):
            self.reading.problem(
                path,
                f"+{tune[0].pitch} goes on with a note that does not end the bar before",
                f"leave out the +, like {tune[0].pitch}",
            )

    def beats(self, path: Path, value: Any, meter: Meter) -> Fraction | None:
        """A bar's own length; None where it is the meter's."""
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int | float | str) or too_long(value):
            self.reading.problem(path, "'beats' must be a number", 'write beats = 1, or beats = "1/2"')
            return None
        beats = self.reading.tried(path, lambda: read_beats(str(value).strip()))
        if beats is not None and beats > meter.beats:
            self.reading.problem(
                path,
                f"this bar has {beats} beats and a bar of {meter} only {meter.beats}",
                "divide it into two bars, or give the part a meter of its own",
            )
            return None
        return None if beats == meter.beats else beats

    def order(self, parts: Mapping[str, Part]) -> tuple[str, ...]:
        r, value = self.reading, self.data.get("order")
        if value is None:
            return tuple(parts)
        told = len(r.problems)
        names = r.texts(("order",), value)
        if len(r.problems) > told:
            return ()
        if not names and isinstance(value, list) and not value:
            r.problem(("order",), "the order is empty", "name the parts in the order they are played")
        written = self.data.get("parts")
        unreadable = set(written).difference(parts) if isinstance(written, dict) else set()
        for number, name in enumerate(names):
            if name not in parts and name not in unreadable:  # what is wrong with those is told at them
                near = difflib.get_close_matches(name, parts, n=1)
                hint = f"did you mean {near[0]}?" if near else "the parts are " + (", ".join(parts) or "missing")
                r.problem(("order", number), f"the order names '{name}', which is no part", hint)
        for name in parts:
            if name not in names:
                r.odd(("parts", name), f"part {name} is never played", "name it in order")
        known = tuple(name for name in names if name in parts)
        if sum(len(parts[name].bars) for name in known) > MOST_PLAYED_BARS:
            r.problem(("order",), f"more than {MOST_PLAYED_BARS} bars are played", "name fewer parts")
        return known

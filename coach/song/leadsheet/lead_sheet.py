"""Bringing in a MusicXML lead sheet: tune, chords, words, key, meter, tempo, pick-up and repeats become a song.

music21 reads notes, words and repeats (the extra `scores`); chord symbols are read from their own elements. What a
chart of ours cannot hold is told in `notes`, never dropped in silence.

- The voice is the part with the most words, else the one with chord symbols, else the first; of a stack of notes the
  highest counts, and of several voices in a bar the first.
- The written bars are cut into parts where playing jumps (repeats, endings, da capo), where meter or tempo change, and
  at rehearsal marks. They are played in the order music21 unfolds. A part that comes again with other words is a part
  of its own; stanzas without a repeat sign are sung one after the other.
- A sheet without chord symbols gets simple ones by `coach.song.leadsheet.harmonising`.
"""

from __future__ import annotations

import re
import warnings
import xml.etree.ElementTree as ET
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from importlib import import_module
from pathlib import Path
from typing import Any

from coach.errors import BadInput, CoachError
from coach.music.chords import Chord
from coach.music.keys import KEYS, Key
from coach.music.likely_key import likely_key
from coach.music.meter import METERS, Meter
from coach.music.notes import LETTERS, Note, Pitch
from coach.music.tempo import FASTEST_BPM, SLOWEST_BPM
from coach.song.chart import Song, TuneNote, Word
from coach.song.files.bar_text import FINEST
from coach.song.leadsheet.chord_symbols_in import Harmony, harmonies, number_of
from coach.song.leadsheet.harmonising import harmonised
from coach.song.leadsheet.score_limits import check_lengths
from coach.song.leadsheet.score_pruning import prune
from coach.song.leadsheet.score_xml import add_missing_repeat_starts, sheet_tree
from coach.song.leadsheet.sheet_parts import Written, cut, divided, flat_order

USUAL_TEMPO = Fraction(90)
MOST_BARS = 1000
MOST_PLAYED = 4000
LONGEST_WORD = 60
LONGEST_NAME = 30

# Meters under another name: (upper, lower) -> the meter of ours and how many times as long its notes are.
_ALIKE: dict[tuple[int, int], tuple[str, Fraction | int]] = {
    (2, 2): ("4/4", 1), (4, 2): ("4/4", Fraction(1, 2)), (3, 2): ("3/4", Fraction(1, 2)), (3, 8): ("3/4", 2),
    (6, 4): ("6/8", Fraction(1, 2)), (4, 8): ("2/4", 1), (9, 4): ("9/8", Fraction(1, 2)), (5, 8): ("5/4", 2),
    (12, 4): ("12/8", Fraction(1, 2)), (12, 16): ("12/8", 2), (6, 16): ("6/8", 2), (8, 8): ("4/4", 1),
}  # fmt: skip
# The church modes whose third is minor, and the others.
_MODES = {"dorian": True, "phrygian": True, "aeolian": True, "lydian": False, "mixolydian": False, "ionian": False}

_JUMPS = frozenset({"Barline", "RepeatMark", "TextExpression"})  # what music21 takes the order from


@dataclass(frozen=True)
class LeadSheet:
    """A song as a sheet gives it, and what had to be changed or left out, a sentence each."""

    song: Song
    notes: tuple[str, ...] = ()


def read_leadsheet(path: Path, song_id: str = "") -> LeadSheet:
    """The sheet in `path` (`.musicxml`, `.xml` or `.mxl`) as a song called `song_id`, else after the file.

    Raises BadInput in one sentence for what is no lead sheet, CoachError when music21 is not installed.
    """
    root = sheet_tree(path)
    try:
        return _Reading(root, path, song_id or slug(path.stem)).sheet()
    except CoachError as error:
        raise error.at(path.name) from None


def slug(text: str) -> str:
    """A file's stem made of `text`: small letters, digits and hyphens."""
    return re.sub(r"[^a-z0-9]+", "-", text.lower()).strip("-") or "song"


def _music21() -> Any:
    try:
        return import_module("music21")
    except ImportError:
        raise CoachError(
            "lead sheets are read with music21, which is not installed", mend="pip install 'steady-thumb[scores]'"
        ) from None


class _Reading:
    """One sheet being read."""

    def __init__(self, root: ET.Element, path: Path, song_id: str) -> None:
        self.root, self.path, self.id = root, path, song_id
        self.notes: list[str] = []

    def note(self, text: str) -> None:
        if text not in self.notes:
            self.notes.append(text)

    def sheet(self) -> LeadSheet:
        voice = self.voice()
        measures = voice.findall("measure")
        if not measures:
            raise BadInput("there is no bar in it", mend="give a sheet with a melody, chords or both")
        if len(measures) > MOST_BARS:
            raise BadInput(f"{len(measures)} bars are too many", mend=f"a song has {MOST_BARS} written bars at most")
        check_lengths(measures)
        symbols = self.symbols(voice, len(measures))
        title, source, elsewhere = self.title(), self.source(), self.tempo_elsewhere()
        part = self.parsed(voice)
        streams = list(part.getElementsByClass("Measure"))
        groups = list(self.written(streams, symbols))
        written = [bar for group in groups for bar in group]
        if not any(bar.tune or any(c for _, c in bar.chords) for bar in written):
            raise BadInput("there is neither a tune nor a chord in it", mend="give a sheet with a melody or chords")
        key = self.key(part, written)
        order = flat_order(self.order(part, streams), [len(group) for group in groups])
        if not any(symbols):
            written = self.with_chords(written, key)
        parts, names, odd = cut(written, order)
        for text in odd:
            self.note(text)
        tempo = next((bar.bpm for bar in written if bar.bpm), None)
        if tempo is None and elsewhere:
            tempo = self.kept(elsewhere / written[0].meter.quarters_per_beat)
        if tempo is None:
            self.note(f"no tempo is given: {USUAL_TEMPO} bpm is put there")
        pitches = [n.pitch for bar in written for n in bar.tune]
        voice_range = (min(pitches, key=_midi), max(pitches, key=_midi)) if pitches else None
        song = Song(
            id=self.id, title=title, key=key, meter=written[0].meter, tempo=tempo or USUAL_TEMPO, parts=parts,
            order=names, voice=voice_range, source=source, own=True,
        )  # fmt: skip
        return LeadSheet(song, tuple(self.notes))

    def voice(self) -> ET.Element:
        """The part that is sung."""
        parts = self.root.findall("part")
        if not parts:
            raise BadInput("there is no part in it", mend="give a lead sheet exported as .musicxml")

        def weight(part: ET.Element) -> tuple[int, int]:
            return len(part.findall("measure/note/lyric")), len(part.findall("measure/harmony"))

        return max(parts, key=weight)

    def symbols(self, voice: ET.Element, count: int) -> list[list[Harmony]]:
        """The chord symbols of each bar: the voice's, else those of the first part that has any."""
        with_any = [p for p in (voice, *self.root.findall("part")) if p.find("measure/harmony") is not None]
        found: list[list[Harmony]] = []
        divisions = Fraction(1)
        for measure in (with_any[0] if with_any else voice).findall("measure")[:count]:
            here, divisions = harmonies(measure, divisions)
            found.append(here)
            for harmony in here:
                if harmony.note:
                    self.note(harmony.note)
        return found + [[] for _ in range(count - len(found))]

    def title(self) -> str:
        texts = [self.root.findtext("movement-title"), self.root.findtext("work/work-title")]
        return next((plain for text in texts if (plain := _plain(text))), self.path.stem)

    def source(self) -> str:
        made = []
        for creator in self.root.findall("identification/creator"):
            if _plain(creator.text):
                made.append(f"{_plain(creator.get('type')) or 'by'}: {_plain(creator.text)}")
        rights = _plain(self.root.findtext("identification/rights"))
        return "; ".join([f"from the sheet {self.path.name}", *made, *([f"rights: {rights}"] if rights else [])])

    def tempo_elsewhere(self) -> Fraction:
        """The first tempo that any part tells, in quarter notes a minute; 0 without one."""
        sounds = (s for s in self.root.iter("sound") if s.get("tempo"))
        return next((value for s in sounds if (value := number_of(s.get("tempo"))) > 0), Fraction(0))

    def parsed(self, voice: ET.Element) -> Any:
        """The voice as music21 reads it; all it does not need for that is taken out before."""
        _music21()
        for part in self.root.findall("part"):
            if part is not voice:
                self.root.remove(part)
        for row in self.root.findall("part-list/score-part"):
            if row.get("id") != voice.get("id"):
                for parts in self.root.findall("part-list"):
                    parts.remove(row)
        for tag in ("credit", "defaults"):
            for element in self.root.findall(tag):
                self.root.remove(element)
        for text in prune(voice.findall("measure")):
            self.note(text)
        if add_missing_repeat_starts(voice.findall("measure")):
            self.note("where a repeated section has no sign at its beginning it is taken to follow the one before")
        if voice.find("measure/attributes/transpose") is not None:
            self.note("the sheet is for a transposing instrument: notes and chords are read as written")
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                importer = import_module("music21.musicxml.xmlToM21").MusicXMLImporter()
                # Staves of one part go into the importer's own stream, whatever stream it is given.
                score = importer.stream = import_module("music21.stream").Score()
                importer.xmlRootToScore(self.root, score)
            part = score.parts[0]
        except Exception as error:  # whatever a broken score brings up in music21
            raise BadInput(
                f"music21 cannot read this score ({type(error).__name__})", mend="export the sheet once more"
            ) from None
        for number, measure in enumerate(part.getElementsByClass("Measure")):
            measure.number, measure.numberSuffix = number, None
        return part

    # Bars.

    def written(self, streams: Sequence[Any], symbols: Sequence[Sequence[Harmony]]) -> Iterator[list[Written]]:
        """Each bar of the sheet; one that is longer than its meter as several."""
        meter, longer = METERS["4/4"], Fraction(1)
        sounding: Chord | None = None
        for number, (stream, here) in enumerate(zip(streams, symbols, strict=True)):
            signs = list(stream.getElementsByClass("TimeSignature"))
            if signs:
                meter, longer = self.meter(signs[0], meter, longer)
            elif number == 0:
                self.note("no meter is given: it is read as 4/4")
            to_beats = longer / meter.quarters_per_beat
            length = _counted(Fraction(stream.highestTime) * to_beats)
            beats = length or Fraction(meter.beats)
            chords = self.chords(here, sounding, to_beats, beats)
            sounding = chords[-1][1]
            notes = self.tune_notes(stream)
            tune = tuple(self.tune(notes, to_beats, beats))
            bar = Written(
                meter, self.bpm(stream, meter, longer), tune, chords, self.words(notes, to_beats, beats),
                self.breaths(notes, to_beats, beats), beats, self.mark(stream),
            )  # fmt: skip
            if beats > meter.beats:
                self.note(f"bars longer than {meter} are divided")
            yield divided(bar)

    def meter(self, sign: Any, before: Meter, longer: Fraction) -> tuple[Meter, Fraction]:
        """(the meter of ours, how many times as long its notes are); those before go on where there is none."""
        named = (int(sign.numerator), int(sign.denominator))
        text = f"{named[0]}/{named[1]}"
        if text in METERS:
            return METERS[text], Fraction(1)
        if named in _ALIKE:
            alike, times = _ALIKE[named]
            self.note(f"{text} is written as {alike}" + (f", its notes {times} times as long" if times != 1 else ""))
            return METERS[alike], Fraction(times)
        self.note(f"{text} is not a meter known here: its bars are written as short or divided bars of {before}")
        return before, longer

    def chords(
        self, here: Sequence[Harmony], sounding: Chord | None, to_beats: Fraction, beats: Fraction
    ) -> tuple[tuple[Fraction, Chord | None], ...]:
        """The bar's chords, the one that sounds on from the bar before first where none stands on its beginning."""
        found: dict[Fraction, Chord | None] = {Fraction(0): sounding}
        for harmony in here:
            beat = _counted(harmony.at * to_beats)
            if beat < beats:
                found[beat] = harmony.chord
        rows = sorted(found.items())
        return tuple(row for k, row in enumerate(rows) if k == 0 or row[1] != rows[k - 1][1])

    def tune_notes(self, stream: Any) -> list[Any]:
        """The notes of the first voice, grace notes aside."""
        voices = list(stream.voices)
        if len(voices) > 1:
            self.note("where a bar has several voices the first is taken")
        source = next((v for v in voices if list(v.notes)), stream) if voices else stream
        notes = [n for n in source.notes if not _is_symbol(n)]
        return [n for n in notes if not n.duration.isGrace and n.quarterLength > 0]

    def tune(self, notes: Sequence[Any], to_beats: Fraction, beats: Fraction) -> Iterator[TuneNote]:
        free = Fraction(0)
        for n in notes:
            at, end = self.span(n, to_beats)
            pitches = getattr(n, "pitches", ())
            if not pitches or at < free or at >= beats or end <= at:
                continue
            high = max(pitches, key=lambda p: p.ps)
            pitch = _pitch(high)
            if pitch is None:
                self.note("notes with quarter tones are left out")
                continue
            tied = n.tie is not None and n.tie.type in ("stop", "continue")
            free = min(end, beats)
            yield TuneNote(at, free - at, pitch, tied)

    def span(self, n: Any, to_beats: Fraction) -> tuple[Fraction, Fraction]:
        """Where a note begins and ends, in beats, on the finest grid a chart has."""
        exact = [Fraction(n.offset) * to_beats, (Fraction(n.offset) + Fraction(n.quarterLength)) * to_beats]
        at, end = (_counted(beat) for beat in exact)
        if [at, end] != exact:
            self.note(f"notes that fall on no {FINEST}th of a beat are moved to the nearest")
        return at, end

    def words(self, notes: Sequence[Any], to_beats: Fraction, beats: Fraction) -> dict[int, tuple[Word, ...]]:
        found: dict[int, list[Word]] = {}
        for n in notes:
            at, _ = self.span(n, to_beats)
            if at >= beats:
                continue
            for lyric in n.lyrics:
                text = _plain(lyric.text).replace("|", "/")[:LONGEST_WORD]
                if text:
                    goes_on = lyric.syllabic in ("begin", "middle") and not text.endswith("-")
                    row = found.setdefault(int(lyric.number), [])
                    if not row or row[-1].beat != at:
                        row.append(Word(at, text + ("-" if goes_on else "")))
        return {number: tuple(row) for number, row in found.items()}

    def breaths(self, notes: Sequence[Any], to_beats: Fraction, beats: Fraction) -> tuple[Fraction, ...]:
        marked = (n for n in notes if any("BreathMark" in a.classes for a in n.articulations))
        ends = [self.span(n, to_beats)[1] for n in marked]
        return tuple(dict.fromkeys(min(end, beats) for end in ends))

    def mark(self, stream: Any) -> str:
        marks = list(stream.getElementsByClass("RehearsalMark"))
        return _plain(str(marks[0].content))[:LONGEST_NAME] if marks else ""

    def bpm(self, stream: Any, meter: Meter, longer: Fraction) -> Fraction | None:
        """The tempo that stands in the bar, in felt beats a minute."""
        for mark in stream.recurse().getElementsByClass("MetronomeMark"):
            quarters = mark.getQuarterBPM()
            if quarters and 0 < quarters < 10_000:
                return self.kept(Fraction(str(round(quarters, 3))) * longer / meter.quarters_per_beat)
        return None

    def kept(self, bpm: Fraction) -> Fraction:
        """The tempo to a hundredth, kept within what can be played."""
        kept = min(max(Fraction(round(bpm * 100), 100), Fraction(SLOWEST_BPM)), Fraction(FASTEST_BPM))
        if abs(kept - bpm) > 1:
            self.note(f"the tempo {float(bpm):g} is out of range: {kept} is put there")
        return kept

    # The whole.

    def key(self, part: Any, written: Sequence[Written]) -> Key:
        """The signature's key; where it gives no mode, or the chords speak clearly for another, the likely one."""
        chords = [chord for bar in written for _, chord in bar.chords if chord]
        likely = likely_key(chords) if chords else None
        every = list(part.recurse().getElementsByClass("KeySignature"))
        signs = [s for s in every if s.sharps is not None]
        if len(signs) < len(every):
            self.note("a key signature that is no major or minor key's is left out")
        if len({s.sharps for s in signs}) > 1:
            self.note("the sheet changes its key: the song is kept in the first, chords stand as they are")
        if not signs:
            return likely or _key_of_tune(written, 0)
        sharps = min(max(int(signs[0].sharps), -7), 7)
        mode = getattr(signs[0], "mode", None)
        if mode in ("major", "minor"):
            told = next(k for k in KEYS if k.signature == sharps and k.minor == (mode == "minor"))
        elif mode in _MODES and (modal := _modal(signs[0], _MODES[mode])):
            self.note(f"its tune is in the {mode} mode: it is kept as {modal.title}, with notes of its own")
            return modal
        elif likely is not None and likely.signature == sharps:
            told = likely
        else:
            told = _key_of_tune(written, sharps)
        if likely is not None and likely.signature != told.signature and _fits_better(likely, told, written):
            self.note(f"the signature says {told.title}, the chords and the tune are those of {likely.title}")
            return likely
        if likely is not None and likely == told.relative and not _ends_on(told, written):
            self.note(f"the signature says {told.title}, the chords and the end are those of {likely.title}")
            return likely
        return told

    def with_chords(self, written: list[Written], key: Key) -> list[Written]:
        """The bars with simple chords put to the tune."""
        self.note(
            f"the sheet has no chord symbols: one chord of {key.title} a bar was put to the tune by a simple rule; "
            "listen and change what does not suit"
        )
        chords = harmonised([(bar.tune, bar.beats) for bar in written], key)
        return [replace(bar, chords=((Fraction(0), chord),)) for bar, chord in zip(written, chords, strict=True)]

    def order(self, part: Any, streams: Sequence[Any]) -> list[int]:
        """The written bars in the order they are played; takes out of them all that does not say so."""
        straight = list(range(len(streams)))
        for measure in streams:  # copied for each time round: without what sounds, which is read already
            for element in [e for e in measure if not _JUMPS.intersection(e.classes)]:
                measure.remove(element)
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                expander = import_module("music21.repeat").Expander(part)
                played = [int(k) for k in expander.measureMap()] if expander.isExpandable() else straight
        except Exception:  # signs that contradict each other
            self.note("its repeat signs do not make sense: the bars are played as they stand")
            return straight
        if not played or len(played) > MOST_PLAYED or not all(0 <= k < len(streams) for k in played):
            self.note("its repeat signs do not make sense: the bars are played as they stand")
            return straight
        return played


def _midi(pitch: Pitch) -> int:
    return pitch.midi


def _plain(text: str | None) -> str:
    """The text on one line, without signs that no screen shows."""
    return " ".join("".join(c if c.isprintable() else " " for c in text or "").split())


def _is_symbol(element: Any) -> bool:
    return "Harmony" in element.classes or "NoChord" in element.classes


def _pitch(found: Any) -> Pitch | None:
    """A music21 pitch as one of ours, None where it has quarter tones or is spelled beyond a double accidental."""
    alter = Fraction(found.alter)
    if alter.denominator != 1 or abs(alter) > 2 or found.octave is None or not 0 <= found.octave <= 9:
        return None
    return Pitch(Note(LETTERS.index(found.step), int(alter)), int(found.octave))


def _modal(sign: Any, minor: bool) -> Key | None:
    """Our key on the final of a church mode, None where there is none."""
    note = Note(LETTERS.index(sign.tonic.step), int(sign.tonic.alter))
    return next((k for k in KEYS if k.tonic == note and k.minor == minor), None)


def _key_of_tune(written: Sequence[Written], sharps: int) -> Key:
    """The major or minor key of the signature: the one on whose tonic the tune ends."""
    major, minor = (next(k for k in KEYS if k.signature == sharps and k.minor == m) for m in (False, True))
    last = [n.pitch.note.pitch_class for bar in written for n in bar.tune][-1:]
    return minor if last == [minor.tonic.pitch_class] else major


def _fits_better(likely: Key, told: Key, written: Sequence[Written]) -> bool:
    """Whether more of what sounds lies in the likely key's scale than in the one that is told."""
    sounds = [n.pitch.note.pitch_class for bar in written for n in bar.tune]
    sounds += [tone.pitch_class for bar in written for _, chord in bar.chords if chord for tone in chord.tones]

    def inside(key: Key) -> int:
        scale = {note.pitch_class for note in key.scale}
        return sum(sound in scale for sound in sounds)

    return inside(likely) > inside(told)


def _ends_on(key: Key, written: Sequence[Written]) -> bool:
    """Whether the tune ends on the key's tonic, or the chords do where there is no tune."""
    last = [n.pitch.note for bar in written for n in bar.tune][-1:]
    last = last or [chord.root for bar in written for _, chord in bar.chords if chord][-1:]
    return bool(last) and last[0].pitch_class == key.tonic.pitch_class


def _counted(beat: Fraction) -> Fraction:
    """The beat on the finest grid that a chart has."""
    return Fraction(round(beat * FINEST), FINEST)

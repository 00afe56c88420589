"""A song as the text of its file: reading it back gives an equal one."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from fractions import Fraction
from typing import Any

from coach.files.toml_edit import key_text, literal
from coach.guitar.shape import Shape
from coach.music.meter import Meter
from coach.song.arrangement import Arrangement, BarWay, PartWay
from coach.song.chart import HOLD, SILENT, ChartBar, Song
from coach.song.files.bar_text import chords_text, tune_text, words_text


def song_text(song: Song) -> str:
    """The file of a song. Its id is not in it: that is the file's name."""
    head: dict[str, Any] = {
        "title": song.title,
        "key": str(song.key),
        "meter": str(song.meter),
        "tempo": number(song.tempo),
    }
    if song.source:
        head["source"] = song.source
    key, tempo = song.original
    if key or tempo:
        head["original"] = ({"key": str(key)} if key else {}) | ({"tempo": number(tempo)} if tempo else {})
    if song.voice:
        head["voice"] = {"low": str(song.voice[0]), "high": str(song.voice[1])}
    head["order"] = song.order
    lines = list(_lines(head))
    for part in song.parts.values():
        lines += ["", f"[parts.{key_text(part.name)}]"]
        own = {"meter": str(part.meter)} if part.meter else {}
        lines += _lines(own | ({"tempo": number(part.tempo)} if part.tempo else {}))
        lines += ["bars = [", *(f"  {literal(bar_row(bar, part.meter or song.meter))}," for bar in part.bars), "]"]
    if song.shapes:
        lines += ["", "[shapes]", *_lines(shape_rows(song.shapes))]
    text = "\n".join(lines) + "\n"
    return text + "".join("\n" + arrangement_text(arrangement) for arrangement in song.arrangements.values())


def bar_row(bar: ChartBar, meter: Meter) -> dict[str, Any]:
    """A bar as its keys in the file."""
    beats = Fraction(meter.beats) if bar.beats is None else bar.beats
    row: dict[str, Any] = {"chords": chords_text(bar.chords, beats)}
    if bar.beats is not None:
        row["beats"] = int(bar.beats) if bar.beats.denominator == 1 else str(bar.beats)
    words = words_text(bar.words, beats, bar.tune)
    # A breath within a long note can only be told under it.
    under = [b for b in bar.breaths if not bar.tune or any(n.beat < b < n.beat + n.length for n in bar.tune)]
    tune = tune_text(bar.tune, beats, [b for b in bar.breaths if b not in under])
    if under:
        words = _breathing(words, under, beats)
    if words:
        row["words"] = words
    if tune:
        row["tune"] = tune
    if bar.way == HOLD:
        row["hold"] = True
    elif bar.way == SILENT:
        row["silent"] = True
    return row


def _breathing(words: str, breaths: Sequence[Fraction], beats: Fraction) -> str:
    """The words with a lone comma at the end of each beat after which one breathes."""
    cells = words.split("|")
    for breath in breaths:
        if breath >= beats and len(cells) == 1:
            cells[0] += " ,"
            continue
        number_ = min(-(-breath // 1), -(-beats // 1)) - 1
        cells += [""] * (number_ + 1 - len(cells))
        cells[number_] += " ,"
    if len(cells) == 1 and 1 in breaths and beats > 1:
        cells.append("")
    return "|".join(cells).strip()


def arrangement_text(arrangement: Arrangement) -> str:
    """The sections of one arrangement."""
    head = f"arrangements.{key_text(arrangement.name)}"
    lines = [f"[{head}]", *_lines(arrangement_row(arrangement))]
    for name, way in arrangement.parts.items():
        lines += ["", f"[{head}.parts.{key_text(name)}]", *_lines(way_row(way))]
        for bar in sorted(way.bars):
            lines += [f"[[{head}.parts.{key_text(name)}.bars]]", *_lines(bar_way_row(bar, way.bars[bar]))]
    return "\n".join(lines) + "\n"


def arrangement_row(arrangement: Arrangement) -> dict[str, Any]:
    """The keys of an arrangement in the file, its parts left out."""
    row = way_row(arrangement.way)
    if arrangement.key:
        row["key"] = str(arrangement.key)
    if arrangement.capo:
        row["capo"] = arrangement.capo
    if arrangement.shift is not None:
        row["shift"] = arrangement.shift
    row["singing"] = arrangement.singing
    if arrangement.early:
        row["early"] = True
    if arrangement.tempo is not None:
        row["tempo"] = number(arrangement.tempo)
    if arrangement.why:
        row["why"] = list(arrangement.why)
    return row


def way_row(way: PartWay) -> dict[str, Any]:
    """The keys of a part's way in the file, its bars left out."""
    row: dict[str, Any] = {"pattern": way.pattern} if way.pattern else {}
    for key, table in (
        ("by_chord", dict(way.by_chord)), ("shapes", shape_rows(way.shapes)), ("stand_in", dict(way.stand_in)),
    ):  # fmt: skip
        if table:
            row[key] = table
    return row


def bar_way_row(bar: int, way: BarWay) -> dict[str, Any]:
    """The keys of the way of bar `bar` (from 0) in the file."""
    row: dict[str, Any] = {"bar": bar + 1}
    if way.pattern:
        row["pattern"] = way.pattern
    if way.lanes:
        row["slots"] = way.slots
        row |= dict(way.lanes)
    if way.shapes:
        row["shapes"] = shape_rows(way.shapes)
    if way.why:
        row["why"] = way.why
    return row


def shape_rows(shapes: Mapping[str, Shape]) -> dict[str, str]:
    """Shapes by chord symbol as text."""
    return {chord: str(shape) for chord, shape in shapes.items()}


def number(value: Fraction) -> int | float | str:
    """A tempo as the file holds it: a number, or a fraction in quotation marks where no short decimal says it."""
    if value.denominator == 1:
        return int(value)
    return float(value) if Fraction(str(float(value))) == value else str(value)


def _lines(table: Mapping[str, Any]) -> Iterator[str]:
    for key, value in table.items():
        yield f"{key_text(key)} = {literal(value)}"

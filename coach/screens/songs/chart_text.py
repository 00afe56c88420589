"""What the page of a chart shows and reads, as pure functions of the song's table as it stands in its file."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from rich.text import Text

from coach.errors import BadInput, CoachError
from coach.music.keys import Key
from coach.music.meter import Meter
from coach.music.tempo import bpm_value
from coach.song.files.bar_text import read_beats, read_chords, read_tune, read_words

HEAD, PART, BAR, ADD = "head", "part", "bar", "add"
HEAD_CELLS = ("title", "key", "meter", "tempo", "order", "source")
CELLS = {PART: ("name", "meter", "tempo"), BAR: ("chords", "words", "tune", "beats"), ADD: ("chords", "words")}
NEXT_BAR = "/"  # between the words of two bars, as | is between those of two beats
MOST_TIMES = 50

Sheet = Mapping[str, Any]


@dataclass(frozen=True)
class Place:
    """A line of the page: a key of the song (`part` is its name), a part, a bar of it from 0, or that of new bars."""

    kind: str
    part: str
    bar: int = -1

    @property
    def cells(self) -> tuple[str, ...]:
        """What can be typed in it."""
        return ("value",) if self.kind == HEAD else CELLS[self.kind]


@dataclass(frozen=True)
class Widths:
    """Cells of each column of a bar's line."""

    chords: int
    words: int
    tune: int


def places_of(sheet: Sheet) -> tuple[Place, ...]:
    """All lines, from the title to the last part."""
    found = [Place(HEAD, name) for name in HEAD_CELLS]
    for part, table in sheet.get("parts", {}).items():
        found.append(Place(PART, part))
        found += [Place(BAR, part, bar) for bar in range(len(table.get("bars", ())))]
        found.append(Place(ADD, part))
    return tuple(found)


def cell_text(sheet: Sheet, place: Place, cell: str) -> str:
    """What stands in a cell, as it is typed."""
    if place.kind == HEAD:
        value = sheet.get(place.part, "")
        if place.part == "order":
            return ", ".join(order_of(sheet))
        return str(value)
    if place.kind == PART:
        return place.part if cell == "name" else str(sheet["parts"][place.part].get(cell, ""))
    if place.kind == ADD:
        return ""
    bars = sheet["parts"][place.part]["bars"]
    return str(bars[place.bar].get(cell, "")) if place.bar < len(bars) else ""


def order_of(sheet: Sheet) -> list[str]:
    """The parts in the order they are played."""
    order = sheet.get("order")
    return [order] if isinstance(order, str) else list(sheet.get("parts", {}) if order is None else order)


def read_order(text: str, parts: Sequence[str]) -> list[str]:
    """Names parted by commas; `Chorus x2` is twice. Raises BadInput."""
    found: list[str] = []
    for piece in filter(None, (p.strip() for p in text.split(","))):
        times = re.fullmatch(r"(.*\S)\s*[x×]\s*(\d{1,2})", piece)
        name, count = (times[1], int(times[2])) if times and piece not in parts else (piece, 1)
        match = next((part for part in parts if part.casefold() == name.casefold()), None)
        if match is None:
            raise BadInput(f"there is no part {name}", mend="the parts are " + ", ".join(parts))
        if not 1 <= count <= MOST_TIMES:
            raise BadInput(f"{count} times cannot be", mend=f"write {name} x2, at most {MOST_TIMES}")
        found += [match] * count
    if not found:
        raise BadInput("the order is empty", mend="name the parts in the order they are played, parted by commas")
    return found


def bars_typed(text: str) -> list[str]:
    """The chords of each bar of a typed line: `C | F G | C` is three bars. Raises BadInput for a bar without any."""
    bars = [bar.strip() for bar in text.strip().strip("|").split("|")]
    if not all(bars):
        raise BadInput("there is a bar without a chord", mend="write N for no chord")
    return bars


def words_typed(text: str) -> list[str]:
    """The words of each bar of a typed line: a slash goes on to the next bar."""
    return [words.strip(" \t") for words in text.split(NEXT_BAR)]


def tempo_typed(text: str) -> int | float | None:
    """A tempo in bpm; None for none. Raises BadMusic."""
    if not text.strip():
        return None
    value = bpm_value(text.strip())
    return int(value) if value.denominator == 1 else float(value)


def problem_with(sheet: Sheet, place: Place, cell: str, text: str) -> str:
    """What is wrong with what is typed in a cell, as one sentence; "" where it can be read."""
    try:
        _read(sheet, place, cell, text)
    except CoachError as error:
        return str(error)
    return ""


def _read(sheet: Sheet, place: Place, cell: str, text: str) -> None:
    if place.kind == HEAD:
        _read_head(sheet, place.part, text)
        return
    if place.kind == PART:
        if cell == "name" and not text.strip():
            raise BadInput("a part needs a name", mend="call it Verse or Chorus")
        if cell == "meter" and text.strip():
            Meter.parse(text.strip())
        if cell == "tempo":
            tempo_typed(text)
        return
    if not text.strip():
        return
    meter = meter_of(sheet, place.part)
    row = row_at(sheet, place)
    beats = _beats(row.get("beats"), meter)
    if cell == "beats":
        if read_beats(text.strip()) > meter.beats:
            raise BadInput(f"a bar of {meter} has {meter.beats} beats", mend="write fewer, or divide the bar")
    elif cell == "chords":
        for number, chords in enumerate(bars_typed(text)):
            read_chords(chords, beats if number == 0 else Fraction(meter.beats))
    elif cell == "tune":
        read_tune(text, beats)
    elif cell == "words":
        for number, words in enumerate(words_typed(text)):
            here = row_at(sheet, Place(place.kind, place.part, place.bar + number))
            own = _beats(here.get("beats"), meter)
            notes, _ = read_tune(str(here.get("tune", "")), own)
            read_words(words, own, notes)


def _read_head(sheet: Sheet, name: str, text: str) -> None:
    if name == "title" and not text.strip():
        raise BadInput("a song needs a title", mend="type one")
    if name == "key":
        Key.parse(text.strip())
    if name == "meter":
        Meter.parse(text.strip())
    if name == "tempo" and tempo_typed(text) is None:
        raise BadInput("a song needs a tempo", mend="type beats a minute, like 92")
    if name == "order":
        read_order(text, list(sheet.get("parts", {})))


def meter_of(sheet: Sheet, part: str) -> Meter:
    """The meter of a part."""
    return Meter.parse(str(sheet["parts"].get(part, {}).get("meter") or sheet.get("meter", "4/4")))


def row_at(sheet: Sheet, place: Place) -> Mapping[str, Any]:
    """A bar's table; empty for one that is not there yet."""
    bars = sheet["parts"].get(place.part, {}).get("bars", ())
    row: Mapping[str, Any] = bars[place.bar] if place.kind == BAR and 0 <= place.bar < len(bars) else {}
    return row


def _beats(value: object, meter: Meter) -> Fraction:
    return Fraction(meter.beats) if value is None else read_beats(str(value))


# Drawing -----------------------------------------------------------------------------------------


def widths(width: int) -> Widths:
    """The columns that fit `width` cells; the tune has what is left, nothing on a narrow page."""
    chords = 14 if width < 100 else 18
    left = width - 5 - chords - 8
    words = left if width < 90 else max(left * 55 // 100, 30)
    return Widths(chords, max(words, 10), max(left - words, 0))


def head_of_bars(wide: Widths) -> Text:
    """The names of the columns of a bar."""
    text = " bar " + "chords".ljust(wide.chords) + "words".ljust(wide.words)
    return Text(text + ("tune".ljust(wide.tune) if wide.tune else "") + "beats", "dim", no_wrap=True)


def line_of(
    sheet: Sheet,
    place: Place,
    width: int,
    *,
    cell: str = "",
    typed: str | None = None,
    wrong: Mapping[str, str] | None = None,
) -> Text:
    """One line of the page.

    cell   the cell that is chosen, "" where it is another line
    typed  what is being typed in it
    wrong  cell -> text that could not be read and stands only here
    """
    wrong = wrong or {}
    wide = widths(width)
    text = Text(no_wrap=True)
    mark = "▸" if cell else " "

    def put(name: str, room: int, look: str = "", empty: str = "") -> None:
        said = typed if typed is not None and name == cell else wrong.get(name, cell_text(sheet, place, name))
        if name in wrong and not (typed is not None and name == cell):
            said, look = f"! {said}", "bold underline"
        shown = Text("").append(said or empty, look if said else "dim")
        shown.truncate(max(room - 1, 1), overflow="ellipsis", pad=True)
        shown.append(" ")
        if name == cell:
            shown.stylize("bold reverse", 0, max(room - 1, 1))
        text.append_text(shown)

    if place.kind == HEAD:
        text.append(f"{mark} {place.part:<8}", "bold" if cell else "dim")
        put("value", width - 10, empty="-")
    elif place.kind == PART:
        count = len(sheet["parts"][place.part].get("bars", ()))
        times = order_of(sheet).count(place.part)
        played = "never played" if not times else f"played {times} times" if times > 1 else "played once"
        text.append(mark + " ")
        put("name", 24, "bold underline")
        put("meter", 8, empty="meter")
        put("tempo", 8, empty="tempo")
        text.append(f"{count} bar{'s' if count != 1 else ''}, {played}", "dim")
    elif place.kind == ADD:
        text.append(f"{mark}  + ", "bold" if cell else "dim")
        put("chords", wide.chords, empty="new bars")
        put("words", wide.words, "italic")
    else:
        row = row_at(sheet, place)
        text.append(f"{mark}{place.bar + 1:>3} ", "bold" if cell else "dim")
        put("chords", wide.chords, "bold", empty="·")
        put("words", wide.words)
        if wide.tune:
            put("tune", wide.tune, "dim")
        elif cell == "tune":
            put("tune", 10, "dim")
        put("beats", 5)
        text.append("held" if row.get("hold") else "rest" if row.get("silent") else "", "italic")
    return text


def asks(place: Place, cell: str) -> str:
    """What is being typed, and how it is written."""
    if place.kind == HEAD:
        how = {
            "order": "parts parted by commas; Chorus x2 is twice",
            "key": "like G, Bb or E minor",
            "meter": "like 4/4, 3/4, 6/8",
            "tempo": "felt beats a minute",
            "source": "where words and tune come from",
        }
        return place.part + (f": {how[place.part]}" if place.part in how else "")
    if place.kind == PART:
        return f"{cell} of {place.part}" + ("" if cell == "name" else "; nothing for the song's own")
    bar = "new bars" if place.kind == ADD else f"bar {place.bar + 1}"
    how = {
        "chords": "C | F G | C is three bars; C:3 D is three beats and one",
        "words": "| goes on to the next beat, / to the next bar",
        "tune": "D4 E4:1/2 -:1/2 +G4:2; the lengths make up the bar",
        "beats": "of a pick-up or a cut bar; nothing for a whole one",
    }
    return f"{place.part}, {bar}, {cell}: {how[cell]}"

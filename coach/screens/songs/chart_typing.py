"""What was typed into a chart as changes of the song's file: text in, text out."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

from coach.errors import BadInput
from coach.files.toml_edit import Edit
from coach.music.keys import Key
from coach.screens.songs.chart_text import ADD, HEAD, Place, Sheet, bars_typed, read_order, tempo_typed, words_typed
from coach.song.files.edit_song import (
    Bar,
    add_part,
    delete_bar,
    insert_bar,
    new_song_text,
    rename_part,
    set_bar,
    set_head,
    set_order,
    set_part,
)
from coach.song.leadsheet.lead_sheet import slug

Change = Callable[[str], str]


def head_or_part(sheet: Sheet, place: Place, cell: str, text: str) -> tuple[Change, Place]:
    """The change that what was typed means, and where one is then: a part may have been renamed. Raises BadInput."""
    text = " ".join(text.split())
    if place.kind == HEAD:
        if place.part == "order":
            return partial(set_order, order=read_order(text, list(sheet.get("parts", {})))), place
        value: Any = tempo_typed(text) if place.part == "tempo" else text or None
        return partial(_head, key=place.part, value=value), place
    if cell == "name":
        return partial(rename_part, name=place.part, new=text), Place(place.kind, text)
    table = sheet["parts"][place.part]
    meter = text or None if cell == "meter" else table.get("meter")
    tempo = tempo_typed(text) if cell == "tempo" else table.get("tempo")
    return partial(set_part, name=place.part, meter=meter, tempo=tempo), place


def _head(text: str, *, key: str, value: Any) -> str:
    return set_head(text, **{key: value})


def bars_or_words(place: Place, cell: str, text: str) -> tuple[Change, int]:
    """The change, and how many bars it is about. Raises BadInput."""
    if cell == "chords" and text.strip():
        bars = bars_typed(text)
        return partial(_chords, place=place, bars=bars), len(bars)
    if cell == "words":
        words = words_typed(text)
        return partial(_words, place=place, words=words), len(words)
    return partial(_cell, place=place, cell=cell, value=" ".join(text.split())), 1


def _count(text: str, part: str) -> int:
    return len(Edit(text).get(("parts", part, "bars")) or ())


def _chords(text: str, *, place: Place, bars: list[str]) -> str:
    """The first in place of the bar, the others after it; on the line for new bars all at the end."""
    if place.kind == ADD:
        at = _count(text, place.part)
        for number, chords in enumerate(bars):
            text = insert_bar(text, place.part, at + number, chords=chords)
        return text
    for number, chords in enumerate(bars):
        if number == 0:
            text = set_bar(text, place.part, place.bar, chords=chords)
        else:
            text = insert_bar(text, place.part, place.bar + number, chords=chords)
    return text


def _words(text: str, *, place: Place, words: list[str]) -> str:
    """Under this bar and those after it; where there are none left, new ones that go on with the last chord."""
    count = _count(text, place.part)
    first = count if place.kind == ADD else place.bar
    for number, said in enumerate(words, first):
        if number < count:
            text = set_bar(text, place.part, number, words=said)
        else:
            text = insert_bar(text, place.part, number, words=said)
    return text


def _cell(text: str, *, place: Place, cell: str, value: str) -> str:
    if cell == "chords" and place.bar == 0:
        raise BadInput("the first bar of a part needs its chords", mend="write N for no chord")
    if cell == "beats" and value.isdecimal():
        return set_bar(text, place.part, place.bar, beats=int(value))
    return set_bar(text, place.part, place.bar, **{cell: value or None})


def with_part(text: str, *, name: str) -> str:
    """A new part of one bar with the song's own chord."""
    key = Key.parse(str(Edit(text).get(("key",))))
    return add_part(text, name, ({"chords": f"{key.tonic}{'m' if key.minor else ''}"},))


def copied(sheet: Sheet, part: str, name: str) -> Change:
    """A part of the same bars without the words, and of the same meter and tempo."""
    table = sheet["parts"][part]
    bars: list[Bar] = [{key: value for key, value in bar.items() if key != "words"} for bar in table["bars"]]

    return partial(add_part, name=name, bars=bars, meter=table.get("meter"), tempo=table.get("tempo"))


def new_song(title: str, key: str, meter: str, tempo: str) -> tuple[str, str]:
    """The text of a new song with one bar, and the stem of its file. Raises BadInput."""
    if not title.strip():
        raise BadInput("a song needs a title", mend="type one")
    bpm = tempo_typed(tempo)
    if bpm is None:
        raise BadInput("a song needs a tempo", mend="type beats a minute, like 84")
    text = set_head(new_song_text(title, key, meter), tempo=bpm)
    for _ in range(3):
        text = delete_bar(text, "Verse", 1)
    return text, slug(title)

"""Changing a song file: text in, text out, and nothing of what the player wrote is lost.

Each function makes one change. It raises BadInput when the song has problems or would then have one, or when what is to
be changed is not there; CoachError when the file is written in a way that cannot be changed in place. Bars are counted
from 0, as in the chart.
"""

from __future__ import annotations

import difflib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from functools import lru_cache
from typing import Any

from coach.errors import BadInput
from coach.files.toml_edit import Edit, key_text, literal
from coach.music.chords import Chord
from coach.music.keys import Key
from coach.music.meter import Meter
from coach.song.arrangement import PLAIN, Arrangement, BarWay, PartWay
from coach.song.chart import ChartBar, Part, Song
from coach.song.files.arrangement_tables import ARRANGEMENT_KEYS, BAR_WAY_KEYS, PART_WAY_KEYS
from coach.song.files.song_file import BAR_KEYS, check_text
from coach.song.files.song_reader import Problem
from coach.song.files.song_text import arrangement_row, arrangement_text, bar_way_row, song_text, way_row

Bar = Mapping[str, str | int | bool | None]

_USUAL_TEMPO = Fraction(90)
_HINT = "# One line is one bar. Chords share the bar equally; in the words | goes on to the next beat."


def new_song_text(
    title: str, key: str = "G", meter: str = "4/4", tempo: Fraction = _USUAL_TEMPO, pattern: str = ""
) -> str:
    """The file of a new song: one part of four bars; with a `pattern` an arrangement plain to begin with.

    Raises BadInput for a key or meter that cannot be.
    """
    tonic = Key.parse(key)
    part = Part("Verse", (ChartBar(((Fraction(0), Chord(tonic.tonic, "m" if tonic.minor else "")),)),) * 4)
    song = Song("new", " ".join(title.split()), tonic, Meter.parse(meter), tempo, {"Verse": part}, ("Verse",))
    if pattern:
        song = replace(song, arrangements={PLAIN: Arrangement(PLAIN, PartWay(pattern))})
    text = song_text(song).replace("\n[parts", f"\n{_HINT}\n[parts", 1)
    _raise_first(check_text(text, "new").problems)
    return text


# The chart --------------------------------------------------------------------------------------


def set_head(text: str, **keys: Any) -> str:
    """Set keys of the song itself (`title key meter tempo source voice original`); None takes one out."""
    edit = _begun(text)
    for key, value in keys.items():
        _set(edit, (key,), value)
    return _done(text, edit)


def set_bar(text: str, part: str, index: int, **keys: str | int | bool | None) -> str:
    """Set keys of a bar: `chords`, `words`, `tune`, `beats`, `hold`, `silent`; None, "" and False take one out."""
    edit = _begun(text)
    _bars(edit, part, index)
    for key, value in keys.items():
        if key not in BAR_KEYS:
            raise BadInput(f"'{key}' is not a key of a bar", mend="keys are " + ", ".join(BAR_KEYS))
        _set(edit, ("parts", part, "bars", index, key), value)
    return _done(text, edit)


def insert_bar(text: str, part: str, index: int, **keys: str | int | bool | None) -> str:
    """Put a new bar before the bar `index` (at the end for one past the last); what is said of later bars moves on."""
    edit = _begun(text)
    bars = _bars(edit, part, index, end=1)
    row = {key: value for key, value in keys.items() if value not in (None, "", False)}
    if "chords" not in row and index == 0 and bars:
        row["chords"] = str(bars[0].get("chords", "N")).split()[0].partition(":")[0]
    edit.insert(("parts", part, "bars"), index, row)
    _renumber(edit, part, lambda bar: bar + (bar > index))
    return _done(text, edit)


def delete_bar(text: str, part: str, index: int) -> str:
    """Take out a bar and what arrangements say of it. A part keeps its last bar."""
    edit = _begun(text)
    bars = _bars(edit, part, index)
    if len(bars) == 1:
        raise BadInput(f"part {part} has only this bar", mend="take out the part instead")
    if index + 1 < len(bars) and "chords" not in bars[index + 1] and "chords" in bars[index]:
        # The next bar went on with this one's chord.
        last = str(bars[index]["chords"]).split()[-1].partition(":")[0]
        edit.put(("parts", part, "bars", index + 1, "chords"), last)
    edit.drop(("parts", part, "bars", index))
    _renumber(edit, part, lambda bar: 0 if bar == index + 1 else bar - (bar > index + 1))
    return _done(text, edit)


def add_part(
    text: str,
    name: str,
    bars: Sequence[Bar] = ({"chords": "N"},),
    *,
    played: bool = True,
    meter: str | None = None,
    tempo: float | str | None = None,
) -> str:
    """A new part with these bars, after the last one in the order if it is `played`; meter and tempo of its own."""
    edit = _begun(text)
    if edit.get(("parts", name)) is not None:
        raise BadInput(f"there is a part {name} already", mend="give it another name")
    rows = [{key: value for key, value in bar.items() if value not in (None, "", False)} for bar in bars]
    own = {key: value for key, value in (("meter", meter), ("tempo", tempo)) if value is not None}
    if edit.bracketed(("parts", name)):
        edit.put(("parts", name), {**own, "bars": rows})
    else:
        head = "".join(f"{key} = {literal(value)}\n" for key, value in own.items())
        lines = "".join(f"  {literal(row)},\n" for row in rows)
        edit.append(f"[parts.{key_text(name)}]\n{head}bars = [\n{lines}]\n")
    if played and edit.get(("order",)) is not None:
        edit.put(("order",), [*_order(edit), name])
    return _done(text, edit)


def rename_part(text: str, name: str, new: str) -> str:
    """Another name for a part, in the order and in the arrangements too."""
    edit = _begun(text)
    _part(edit, name)
    if new == name:
        return text
    if edit.get(("parts", new)) is not None:
        raise BadInput(f"there is a part {new} already", mend="give it another name")
    edit.rename(("parts", name), new)
    if edit.get(("order",)) is not None:
        edit.put(("order",), [new if part == name else part for part in _order(edit)])
    for arrangement in list(edit.get(("arrangements",)) or {}):
        if edit.get(("arrangements", arrangement, "parts", name)) is not None:
            edit.rename(("arrangements", arrangement, "parts", name), new)
    return _done(text, edit)


def delete_part(text: str, name: str) -> str:
    """Take out a part, its places in the order and what arrangements say of it. A song keeps its last part."""
    edit = _begun(text)
    _part(edit, name)
    if len(edit.get(("parts",))) == 1:
        raise BadInput(f"the song has only the part {name}", mend="add another one first")
    edit.drop(("parts", name))
    if edit.get(("order",)) is not None:
        left = [part for part in _order(edit) if part != name]
        _set(edit, ("order",), left or None)
    for arrangement in list(edit.get(("arrangements",)) or {}):
        edit.drop(("arrangements", arrangement, "parts", name))
    return _done(text, edit)


def set_part(text: str, name: str, *, meter: str | None = None, tempo: float | str | None = None) -> str:
    """The meter and tempo of a part; None for the song's."""
    edit = _begun(text)
    _part(edit, name)
    _set(edit, ("parts", name, "meter"), meter)
    _set(edit, ("parts", name, "tempo"), tempo)
    return _done(text, edit)


def set_order(text: str, order: Sequence[str]) -> str:
    """The order in which parts are played."""
    edit = _begun(text)
    edit.put(("order",), list(order))
    return _done(text, edit)


# Arrangements -----------------------------------------------------------------------------------


def set_arrangement(text: str, arrangement: Arrangement) -> str:
    """Write an arrangement, new or in place of the one of that name; keys of it that the coach does not know stay."""
    edit = _begun(text)
    path = ("arrangements", arrangement.name)
    old = edit.get(path)
    if old is None and not edit.bracketed(path):
        edit.append(arrangement_text(arrangement))
        return _done(text, edit)
    row = arrangement_row(arrangement)
    for key in ARRANGEMENT_KEYS:
        if key != "parts":
            _set(edit, (*path, key), row.get(key))
    for name in [n for n in edit.get((*path, "parts")) or {} if n not in arrangement.parts]:
        edit.drop((*path, "parts", name))
    for name, way in arrangement.parts.items():
        here = (*path, "parts", name)
        part_row = way_row(way)
        for key in PART_WAY_KEYS:
            _set(edit, (*here, key), part_row.get(key))
        for number in sorted(_override_bars(edit, arrangement.name, name) - {bar + 1 for bar in way.bars}):
            _override(edit, arrangement.name, name, number - 1, None)
        for bar, own in sorted(way.bars.items()):
            _override(edit, arrangement.name, name, bar, own)
        if edit.get(here) is None:  # a part that is played like the rest may still be named
            edit.put(here, {})
    return _done(text, edit)


def _override(edit: Edit, arrangement: str, part: str, bar: int, way: BarWay | None) -> None:
    path = ("arrangements", arrangement, "parts", part, "bars")
    rows = edit.get(path)
    at = next((k for k, row in enumerate(rows or ()) if row.get("bar") == bar + 1), None)
    if way is None:
        if at is not None:
            edit.drop((*path, at))
        if rows == []:
            edit.drop(path)
        return
    row = bar_way_row(bar, way)
    if at is not None:
        for key in BAR_WAY_KEYS:
            _set(edit, (*path, at, key), row.get(key))
    elif not rows:
        _set(edit, path, None)
        edit.put(path, [row])
    else:
        later = (k for k, other in enumerate(rows) if isinstance(other.get("bar"), int) and other["bar"] > bar + 1)
        edit.insert(path, next(later, len(rows)), row)


def _override_bars(edit: Edit, arrangement: str, part: str) -> set[int]:
    rows = edit.get(("arrangements", arrangement, "parts", part, "bars")) or ()
    return {row["bar"] for row in rows if isinstance(row.get("bar"), int)}


def _renumber(edit: Edit, part: str, moved: Callable[[int], int]) -> None:
    """Bars of a part have moved: what arrangements say of a bar goes with it; 0 is a bar that is gone."""
    for name in list(edit.get(("arrangements",)) or {}):
        path = ("arrangements", name, "parts", part, "bars")
        rows = edit.get(path) or []
        for k in reversed(range(len(rows))):
            bar = rows[k]["bar"]
            new = moved(bar)
            if new == 0:
                edit.drop((*path, k))
            elif new != bar:
                edit.put((*path, k, "bar"), new)
        if edit.get(path) == []:
            edit.drop(path)


# What all of them do ----------------------------------------------------------------------------


def _set(edit: Edit, path: tuple[str | int, ...], value: Any) -> None:
    """Put a value; nothing (None, "", False, an empty table) takes the key out."""
    if value is None or value is False or value == "" or value == {}:
        edit.drop(path)
    else:
        edit.put(path, value)


@lru_cache(maxsize=16)
def _problems(text: str) -> tuple[Problem, ...]:
    """What is wrong with a text; one change's outcome is the next one's beginning, so it is kept."""
    return check_text(text, "song").problems


def _begun(text: str) -> Edit:
    """An edit of a song that can be read. Raises BadInput."""
    _raise_first(_problems(text))
    return Edit(text)


def _done(before: str, edit: Edit) -> str:
    """The new text, if it is a song without problems. Raises BadInput, CoachError."""
    after = edit.done()
    if after != before:
        _raise_first(_problems(after))
    return after


def _raise_first(problems: Sequence[Problem]) -> None:
    if problems:
        first = problems[0]
        raise BadInput(first.what, where=first.where, mend=first.mend)


def _order(edit: Edit) -> list[str]:
    order = edit.get(("order",))
    return [order] if isinstance(order, str) else list(order)


def _part(edit: Edit, name: str) -> None:
    _named(edit.get(("parts",)) or {}, name, "part")


def _named(table: Mapping[str, Any], name: str, what: str) -> None:
    if name not in table:
        near = difflib.get_close_matches(name, table, n=1)
        hint = f"did you mean {near[0]}?" if near else "there is " + (", ".join(table) or "none yet")
        raise BadInput(f"there is no {what} {name}", mend=hint)


def _bars(edit: Edit, part: str, index: int, *, end: int = 0) -> list[dict[str, Any]]:
    """The bars of a part. Raises BadInput when there is no bar `index`."""
    _part(edit, part)
    bars = edit.get(("parts", part, "bars"))
    if not isinstance(bars, list) or not 0 <= index < len(bars) + end:
        raise BadInput(f"part {part} has no bar {index + 1}", mend="name one of its bars")
    return bars



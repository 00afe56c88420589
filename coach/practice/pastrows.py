"""A past as the bytes of a row: thousands of them are read for a day's plan (keptpasts.py).

Whole numbers come first, 8 bytes each: how many of them there are, what else is counted, days (of the calendar since
its year 1), moments (microseconds since 1970), verdicts by their place; then as many 8-byte floats as are left. Nothing
kept can be 0, so 0 stands for None.
"""

from __future__ import annotations

import sys
from array import array
from datetime import date

from coach.practice.days import from_microseconds, microseconds
from coach.practice.memory import LONGEST_INTERVAL_DAYS, Memory
from coach.practice.past import OnLayer, Past
from coach.practice.takes import VERDICTS

_WORDS = (None, *VERDICTS)
_day = date.fromordinal
_HEAD, _FLOATS = 17, 8


def row_of(past: Past) -> bytes:
    """The past as bytes; `past_in` is its inverse."""
    memory, full, thumb = past.memory, past.full, past.thumb
    whole = [len(past.latest), len(past.curve), len(full.kept), len(thumb.kept)]
    whole += [past.first_day.toordinal(), past.last_day.toordinal(), microseconds(past.last_at), _number(past.held_day)]
    whole += [_WORDS.index(full.standing), _WORDS.index(thumb.standing)]
    parts: list[float] = [part or 0.0 for one in (full, thumb) for part in (one.slowest, one.told, one.held)]
    if memory is None:
        whole += [0] * 6
        parts += [0.0] * 2
    else:
        whole += [memory.first_day.toordinal(), memory.last_day.toordinal(), memory.days, memory.due.toordinal()]
        whole += [_WORDS.index(memory.standing), _number(memory.first_held)]
        parts += [memory.stability, memory.difficulty]
    whole += [day.toordinal() for day, _ in past.curve]
    whole += [at for one in (full, thumb) for at, _ in one.kept]
    whole += past.returns
    parts += [part for pair in past.latest for part in pair]
    parts += [bpm for bpms in (past.curve, full.kept, thumb.kept) for _, bpm in bpms]
    return array("q", [len(whole) + 1, *whole]).tobytes() + array("d", parts).tobytes()


def past_in(drill: str, row: bytes, wait: int = LONGEST_INTERVAL_DAYS) -> Past:
    """The past of a drill whose row this is, its memory due after `wait` days at the latest."""
    split = 8 * int.from_bytes(row[:8], sys.byteorder)
    whole, parts = array("q", row[:split]).tolist(), array("d", row[split:]).tolist()
    _, latest, curve, full, thumb, first, last, at, held_day, full_word, thumb_word, *_ = whole[:_HEAD]
    begun, graded, days, due, stands, first_held = whole[11:_HEAD]
    slowest, told, held, thumb_slowest, thumb_told, thumb_held, stability, difficulty = parts[:_FLOATS]
    curve_at = _FLOATS + 2 * latest
    full_at = curve_at + curve
    moments = _HEAD + curve
    kept = tuple(zip(whole[moments:], parts[full_at:], strict=False))
    memory = None
    if begun:
        known = _day(first_held) if first_held else None
        due = min(due, graded + wait)
        memory = Memory(
            drill, _day(begun), _day(graded), days, stability, difficulty, _day(due), VERDICTS[stands - 1], known
        )
    return Past(
        _day(first),
        _day(last),
        from_microseconds(at),
        _day(held_day) if held_day else None,
        tuple(zip(parts[_FLOATS:curve_at:2], parts[_FLOATS + 1 : curve_at : 2], strict=True)),
        OnLayer(_WORDS[full_word], slowest or None, told or None, held or None, kept[:full]),
        OnLayer(_WORDS[thumb_word], thumb_slowest or None, thumb_told or None, thumb_held or None, kept[full:]),
        tuple(zip(map(_day, whole[_HEAD:moments]), parts[curve_at:full_at], strict=True)),
        memory,
        tuple(whole[moments + full + thumb :]),
    )


def _number(day: date | None) -> int:
    return 0 if day is None else day.toordinal()

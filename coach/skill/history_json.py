"""A past as plain lists and numbers, and back: how it is kept as JSON beside the ledger (estimates.py)."""

from __future__ import annotations

from datetime import date
from typing import Any

from coach.log.local_days import from_microseconds, microseconds
from coach.skill.history import OnLayer, Past
from coach.skill.memory import Memory

_day = date.fromordinal


def past_to_json(past: Past) -> list[Any]:
    """The past as lists and numbers; days count from the calendar's year 1."""
    first, last, at, held, latest, full, thumb, curve, memory, returns = past
    return [
        first.toordinal(),
        last.toordinal(),
        microseconds(at),
        _number(held),
        latest,
        full,
        thumb,
        [(day.toordinal(), bpm) for day, bpm in curve],
        None if memory is None else [_number(one) if isinstance(one, date) else one for one in memory],
        returns,
    ]


def past_from_json(told: list[Any]) -> Past:
    """Inverse of `told_past`. Raises ValueError, TypeError or the like for what is no such past."""
    first, last, at, held, latest, full, thumb, curve, memory, returns = told
    return Past(
        _day(first),
        _day(last),
        from_microseconds(at),
        None if held is None else _day(held),
        tuple([(clean, weight) for clean, weight in latest]),
        _on_layer(*full),
        _on_layer(*thumb),
        tuple([(_day(day), bpm) for day, bpm in curve]),
        None if memory is None else _memory(*memory),
        tuple(returns),
    )


def _on_layer(standing: str | None, slowest: float, told: float, held: float, kept: list[list[Any]]) -> OnLayer:
    return OnLayer(standing, slowest, told, held, tuple([(at, bpm) for at, bpm in kept]))


def _memory(
    drill: str, first: int, last: int, days: int, stability: float, hard: float, due: int, standing: str, held: int
) -> Memory:
    known = None if held is None else _day(held)
    return Memory(drill, _day(first), _day(last), days, stability, hard, _day(due), standing, known)


def _number(day: date | None) -> int | None:
    return None if day is None else day.toordinal()

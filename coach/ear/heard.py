"""What was heard of a take, as values."""

from __future__ import annotations

from dataclasses import dataclass

from coach.ear.meant import Meant

HIT, MISSED, WRONG, UNSURE = "hit", "missed", "wrong", "unsure"


@dataclass(frozen=True)
class HeardPluck:
    """What was heard of a meant pluck.

    status  hit; missed; wrong: another string (or pitch) sounded in its place; unsure: something sounded there and it
            cannot be told what
    string  the string that sounded, None where nothing did or it cannot be told
    time_s  when, in seconds of the recording
    off_ms  by how much late (early is negative) once the constant latency is out; after a pause that the player did not
            make up for, measured from where the pause has put the beat
    """

    meant: Meant
    status: str
    string: int | None
    time_s: float | None
    off_ms: float | None


@dataclass(frozen=True)
class Extra:
    """A sound that nothing was meant for; `string` None where no string is likely."""

    time_s: float
    string: int | None


@dataclass(frozen=True)
class Heard:
    """A take as it was heard.

    latency_ms  constant lateness against `offset_s` as it was given; 0 where the ear found the first beat by itself
    plucks      one for each meant pluck, in their order
    extra       in order of time
    offset_s    where the first beat falls in the recording, latency included; None where nothing was heard
    """

    latency_ms: float
    plucks: tuple[HeardPluck, ...]
    extra: tuple[Extra, ...]
    offset_s: float | None = None

"""What a take has shown, in a few lines, for the page on which its verdict is given."""

from __future__ import annotations

from coach.skill.remedies import Finding
from coach.skill.steady_tempo import SteadyTempo


def describe_take(before: SteadyTempo | None, now: SteadyTempo | None, found: Finding | None) -> tuple[str, ...]:
    """The steady tempo as it is now known and what it was before the take; where stumbles gather, what is done or may
    be done about it, and how that has gone. Nothing where nothing can be told.
    """
    lines = [_steady(before, now)] if now is not None else []
    if found is not None:
        lines += [line for line in found.lines if found.curve is None or line != found.curve.words]
    return tuple(lines)


def _steady(before: SteadyTempo | None, now: SteadyTempo) -> str:
    told = f"steady at {now.bpm:.0f} bpm ({now.low:.0f} to {now.high:.0f})"
    if before is None:
        return f"{told}, known from now on"
    moved = f"was {before.bpm:.0f}" if round(before.bpm) != round(now.bpm) else "as before"
    return f"{told}, {moved}"

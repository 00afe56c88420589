"""Everything being practised, one row a drill: what `coach drills` lists."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any

from coach.drills.pattern_drills import Drill
from coach.log.local_days import local_day
from coach.log.takes import Take
from coach.plan.need import views_of
from coach.skill.history import Past, pasts_of
from coach.skill.kin import steadies_of
from coach.skill.steady_tempo import SteadyTempo


def drill_rows(
    drills: Sequence[Drill],
    takes: Iterable[Take],
    now: datetime,
    steady: Mapping[str, SteadyTempo] | None = None,
    pasts: Mapping[str, Past] | None = None,
) -> list[dict[str, Any]]:
    """A row for each drill, in the order given. Tempos in bpm, `due` a local day, `recall` 0 to 1.

    `steady_bpm` is the tempo held 8 times in 10 and lies between `low` and `high` 8 times in 10; all three, `due` and
    `recall` are None until known. `steady` and `pasts` give what is known already; else it comes from the takes.
    Raises BadInput for a `now` without offset.
    """
    today = local_day(now)
    if steady is None or pasts is None:
        own: dict[str, list[Take]] = {}
        for take in takes:
            own.setdefault(take.drill, []).append(take)
        steady = steadies_of(drills, own, today) if steady is None else steady
        pasts = pasts_of(take for played in own.values() for take in played) if pasts is None else pasts
    views = views_of(drills, pasts, today)
    rows = []
    for view in views:
        known = steady.get(view.drill.id)
        rows.append(
            {
                "drill": view.drill.id,
                "title": view.drill.title,
                "kind": view.drill.kind,
                "steady_bpm": round(known.bpm, 1) if known else None,
                "low": round(known.low, 1) if known else None,
                "high": round(known.high, 1) if known else None,
                "target": view.drill.target_bpm,
                "due": view.memory.due.isoformat() if view.memory else None,
                "recall": round(view.recall, 3) if view.recall is not None else None,
                "state": view.state,
            }
        )
    return rows

"""Borrowed strength: what is known of a drill's kin says where its own steady tempo is likely to lie.

The nearest kind of kin that has something to lend gives the prior: the same pattern on other chords, then what the
drill grows from and what grows from it, then whatever moves at as many slots per beat. Kin lend what their own passes
say, never what they borrowed, so it does not matter in which order drills are looked at.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from datetime import date

from coach.practice.drills import Drill
from coach.practice.steady import Evidence, Prior, Steady, belief_moments, evidence_of, known, own_prior
from coach.practice.takes import Take
from coach.practice.trials import days_of

# Standard deviation in ln tempo of one drill around the middle of its kin, and how much slower a rung of the ladder is
# than the one below (ours, no source; wide enough for a few passes of its own to have the last word).
_SAME_PATTERN, _LADDER, _SAME_PACE = 0.07, 0.12, 0.2
_A_RUNG = 0.05

Group = tuple[str, object]


def steadies(
    drills: Sequence[Drill], evidence: Mapping[str, Evidence | None], today: date | None = None
) -> dict[str, Steady]:
    """The steady tempo of every drill that has one, from each one's own evidence and what its kin lend."""
    kin = Kin(drills, evidence)
    found = ((drill.id, known(evidence.get(drill.id), kin.prior(drill), today)) for drill in drills)
    return {id_: one for id_, one in found if one is not None}


def steadies_of(
    drills: Sequence[Drill], takes: Mapping[str, Sequence[Take]], today: date | None = None
) -> dict[str, Steady]:
    """The steady tempo of every drill that has one, from the takes of each."""
    return steadies(drills, {d.id: evidence_of(days_of(takes.get(d.id, ()))) for d in drills}, today)


class Kin:
    """Who can lend to whom among drills: those whose own passes make their steady tempo known."""

    def __init__(self, drills: Sequence[Drill], evidence: Mapping[str, Evidence | None]) -> None:
        self._lent: dict[str, tuple[float, float]] = {}  # ln tempo, variance
        self._groups: dict[Group, list[Drill]] = {}
        for drill in drills:
            own = evidence.get(drill.id)
            if own is None or known(own, own_prior(drill)) is None:
                continue
            self._lent[drill.id] = belief_moments(own, own_prior(drill))
            for group in (("is", drill.id), ("pattern", drill.pattern), ("pace", drill.slots_per_beat)):
                self._groups.setdefault(group, []).append(drill)
            if drill.grows_from is not None:
                self._groups.setdefault(("grows from", drill.grows_from), []).append(drill)
        self._sums: dict[Group, tuple[float, float, int]] = {}

    def prior(self, drill: Drill) -> Prior:
        """The prior of a drill: from the kind of kin that says most closely where it lies, else the wide one."""
        above = [(("is", drill.grows_from), -_A_RUNG)] if drill.grows_from else []
        found = [
            self._of_kind(drill, [(("pattern", drill.pattern), 0.0)], _SAME_PATTERN),
            self._of_kind(drill, [*above, (("grows from", drill.id), _A_RUNG)], _LADDER),
            self._of_kind(drill, [(("pace", drill.slots_per_beat), 0.0)], _SAME_PACE),
        ]
        return min([own_prior(drill), *(p for p in found if p is not None)], key=lambda p: p.sd)

    def _of_kind(
        self, drill: Drill, groups: Sequence[tuple[Group, float]], around: float
    ) -> Prior | None:
        """What one kind lends: its members lie around a middle of their own, `drill` around it as they do."""
        total = variance = 0.0
        members = 0
        for group, shift in groups:
            sum_, spread, n = self._sum(group)
            total, variance, members = total + sum_ + n * shift, variance + spread, members + n
            if group[0] in ("pattern", "pace") and drill.id in self._lent:  # not to itself
                mean, own = self._lent[drill.id]
                total, variance, members = total - mean - shift, variance - own, members - 1
        if members < 1:
            return None
        sd = math.sqrt(around**2 * (1 + 1 / members) + variance / members**2)
        return Prior(round(total / members, 2), round(sd, 2))  # to 1 %: many drills then share one prior

    def _sum(self, group: Group) -> tuple[float, float, int]:
        if group not in self._sums:
            lent = [self._lent[d.id] for d in self._groups.get(group, ())]
            self._sums[group] = (math.fsum(m for m, _ in lent), math.fsum(v for _, v in lent), len(lent))
        return self._sums[group]

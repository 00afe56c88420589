"""Where a drill's steady tempo is likely to lie before much is known of it: a prior from the drills that are like it.

The nearest kind of kin that has something to lend gives the prior: the same pattern on other chords, then what the
drill grows from and what grows from it, then whatever moves at as many slots per beat. Kin lend what their own passes
say, never what they borrowed, so it does not matter in which order drills are looked at.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import date

from coach.drills.pattern_drills import Drill
from coach.log.takes import Take
from coach.skill.pass_counts import days_of
from coach.skill.steady_tempo import Evidence, Prior, SteadyTempo, belief_moments, evidence_of, known, own_prior

# Standard deviation in ln tempo of one drill around the middle of its kin, and how much slower a rung of the ladder is
# than the one below (ours, no source; wide enough for a few passes of its own to have the last word).
_SAME_PATTERN, _LADDER, _SAME_PACE = 0.07, 0.12, 0.2
_A_RUNG = 0.05

Group = tuple[str, object]
Lent = tuple[float, float]
"""What one drill lends: mean ln tempo and variance of the belief by its own passes."""


def steadies(
    drills: Sequence[Drill], evidence: Mapping[str, Evidence | None], today: date | None = None
) -> dict[str, SteadyTempo]:
    """The steady tempo of every drill that has one, from each one's own evidence and what its kin lend."""
    kin = Kin(drills, {d.id: lends(evidence.get(d.id), own_prior(d)) for d in drills})
    found = ((drill.id, known(evidence.get(drill.id), kin.prior(drill), today)) for drill in drills)
    return {id_: one for id_, one in found if one is not None}


def steadies_of(
    drills: Sequence[Drill], takes: Mapping[str, Sequence[Take]], today: date | None = None
) -> dict[str, SteadyTempo]:
    """The steady tempo of every drill that has one, from the takes of each."""
    return steadies(drills, {d.id: evidence_of(days_of(takes.get(d.id, ()))) for d in drills}, today)


def lends(evidence: Evidence | None, own: Prior) -> Lent | None:
    """What a drill lends to its kin; None unless its own passes make its steady tempo known."""
    if evidence is None or known(evidence, own) is None:
        return None
    return belief_moments(evidence, own)


class Kin:
    """Who can lend to whom among drills, from what each one `lends`."""

    def __init__(self, drills: Sequence[Drill], lent: Mapping[str, Lent | None]) -> None:
        self._lent: dict[str, Lent] = {}
        groups: dict[Group, list[Lent]] = defaultdict(list)
        for drill in drills:
            own = lent.get(drill.id)
            if own is None:
                continue
            self._lent[drill.id] = own
            for group in (("is", drill.id), ("pattern", drill.pattern), ("pace", drill.slots_per_beat)):
                groups[group].append(own)
            if drill.grows_from is not None:
                groups["grows from", drill.grows_from].append(own)
        self._sums = {
            group: (math.fsum(m for m, _ in members), math.fsum(v for _, v in members), len(members))
            for group, members in groups.items()
        }

    def prior(self, drill: Drill) -> Prior:
        """The prior of a drill: from the kind of kin that says most closely where it lies, else the wide one."""
        best = own_prior(drill)
        above: list[tuple[Group, float]] = [(("is", drill.grows_from), -_A_RUNG)] if drill.grows_from else []
        for around, groups in (
            (_SAME_PATTERN, [(("pattern", drill.pattern), 0.0)]),
            (_LADDER, [*above, (("grows from", drill.id), _A_RUNG)]),
            (_SAME_PACE, [(("pace", drill.slots_per_beat), 0.0)]),
        ):
            if best.sd <= around:  # no kind says it more closely than its members lie around their middle
                break
            found = self._of_kind(drill, groups, around)
            if found is not None and found.sd < best.sd:
                best = found
        return best

    def _of_kind(
        self, drill: Drill, groups: Sequence[tuple[Group, float]], around: float
    ) -> Prior | None:
        """What one kind lends: its members lie around a middle of their own, `drill` around it as they do."""
        total = variance = 0.0
        members = 0
        for group, shift in groups:
            sum_, spread, n = self._sums.get(group, (0.0, 0.0, 0))
            total, variance, members = total + sum_ + n * shift, variance + spread, members + n
            if group[0] in ("pattern", "pace") and drill.id in self._lent:  # not to itself
                mean, own = self._lent[drill.id]
                total, variance, members = total - mean - shift, variance - own, members - 1
        if members < 1:
            return None
        sd = math.sqrt(around**2 * (1 + 1 / members) + variance / members**2)
        return Prior(round(total / members, 2), round(sd, 2))  # to 1 %: many drills then share one prior

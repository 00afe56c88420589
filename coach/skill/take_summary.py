"""A take in short: what the laws of evidence look at, made from a Take or straight from the ledger's rows."""

from __future__ import annotations

from datetime import datetime
from typing import NamedTuple

from coach.drills.drill_id import DrillId
from coach.drills.sung_drills import find_counted_layer
from coach.log.takes import Take


class TakeSummary(NamedTuple):
    """One take. Its passes lie side by side in order: `tempos` in bpm, of which `tempo` is the fastest, `cleans` (1 or
    0 each), and the `layers` they were on, None where all were on the layer the take began on. The other fields are
    those of a Take."""

    at: datetime
    layer: str
    verdict: str | None
    tempo: float
    bars: int
    stumbles: int
    tempos: tuple[float, ...] = ()
    cleans: bytes = b""
    layers: tuple[str, ...] | None = None

    def on(self, layer: str) -> tuple[list[float], list[float]]:
        """The tempos in bpm of the clean and of the stumbled passes on one layer, in order."""
        clean: list[float] = []
        stumbled: list[float] = []
        layers = self.layers or (self.layer,) * len(self.tempos)
        for tempo, good, where in zip(self.tempos, self.cleans, layers, strict=True):
            if where == layer:
                (clean if good else stumbled).append(tempo)
        return clean, stumbled


def summarize(take: Take) -> TakeSummary:
    """A take in short, on the layers it is told with."""
    passes = take.passes
    same = all(p.layer == take.layer for p in passes)
    return TakeSummary(
        take.at,
        take.layer,
        take.verdict,
        take.tempo,
        take.bars,
        take.stumbles,
        tuple([p.tempo for p in passes]),
        bytes([p.clean for p in passes]),
        None if same else tuple([p.layer for p in passes]),
    )


def count_layers(drill: str, mode: str, take: TakeSummary) -> TakeSummary:
    """A take of a drill, played in `mode`, with its layers as they count for that drill (sung_drills.py)."""
    if not DrillId.parse(drill).has_voice:
        return take
    layer = find_counted_layer(drill, mode, take.layer)[1]
    played = take.layers or (take.layer,) * len(take.tempos)
    layers = tuple([find_counted_layer(drill, mode, where)[1] for where in played])
    return take._replace(layer=layer, layers=None if all(where == layer for where in layers) else layers)


def summarize_counted(take: Take) -> TakeSummary:
    """A take in short with its layers as they count for its drill."""
    return count_layers(take.drill, take.mode, summarize(take))

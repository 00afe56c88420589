"""Layers: how much of a pattern sounds, from the thumb alone (for singing over it) to all of it.

Plucks are ranked by how much they would be missed; a layer keeps every pluck up to its rank, so layers nest.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from enum import StrEnum

from coach.errors import BadInput
from coach.picking.plucks import ACCENT, Pluck


class Layer(StrEnum):
    """The layers there are, from the fewest plucks to all."""

    THUMB = "thumb"
    TUNE = "tune"
    PINCHES = "pinches"
    BEATS = "beats"
    FULL = "full"


LAYERS: Mapping[str, str] = {
    Layer.THUMB: "the bass notes alone",
    Layer.TUNE: "and the accented finger notes, which carry the melody",
    Layer.PINCHES: "and the fingers that sound together with the thumb",
    Layer.BEATS: "and the fingers on the beat",
    Layer.FULL: "and the fingers off the beat",
}
"""What each layer adds to the one before it."""

THUMB, FULL = Layer.THUMB, Layer.FULL
_NAMES = tuple(Layer)


def check_layer(name: str) -> Layer:
    """The layer of this name. Raises BadInput."""
    try:
        return Layer(name)
    except ValueError:
        raise BadInput(f"'{name}' is not a layer", mend="use one of " + ", ".join(Layer)) from None


def layer_ranks(plucks: Iterable[Pluck]) -> list[int]:
    """The index of the lowest layer that holds each pluck."""
    plucks = list(plucks)
    with_thumb = {(p.bar, p.beat) for p in plucks if p.bass}
    return [_layer_rank(p, (p.bar, p.beat) in with_thumb) for p in plucks]


def _layer_rank(pluck: Pluck, with_thumb: bool) -> int:
    if pluck.bass:
        return 0
    if pluck.stress == ACCENT:
        return 1
    if with_thumb:
        return 2
    return 3 if pluck.beat.denominator == 1 else 4


def plucks_in_layer(plucks: Sequence[Pluck], layer: str) -> tuple[Pluck, ...]:
    """The plucks that sound in `layer`, in their order. Raises BadInput for an unknown layer."""
    highest = _NAMES.index(check_layer(layer))
    return tuple(p for p, rank in zip(plucks, layer_ranks(plucks), strict=True) if rank <= highest)


def distinct_layers(plucks: Sequence[Pluck]) -> tuple[str, ...]:
    """The layers that differ for these plucks, from `thumb` to `full`; each is a strict superset of the one before.

    A pattern for the thumb alone has `full` beside `thumb` all the same: they are its two names.
    """
    used = set(layer_ranks(plucks))
    between = [name for k, name in enumerate(_NAMES[1:-1], start=1) if k in used]
    # Where nothing is left for `full` to add, the last step between is the full pattern.
    if between and len(_NAMES) - 1 not in used:
        between.pop()
    return (THUMB, *between, FULL)


def next_layer(layers: Sequence[str], layer: str, by: int) -> str:
    """The layer `by` steps up (or down, negative) the ladder, staying on it."""
    return layers[min(max(layers.index(layer) + by, 0), len(layers) - 1)] if layer in layers else layers[-1]

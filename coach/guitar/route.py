"""The route: which grip for each chord of a progression, so that the whole is as easy as it can be, exactly.

Dynamic programming over the candidate grips of each chord (Viterbi, as Sayegh 1989 uses it for fingering): the
cheapest way to each grip of a chord is known from the cheapest ways to the grips of the chord before. With `minimax`
the hardest single change comes first (Hori & Sagayama 2016): the least hardness that still lets a way through is
found, and among the ways that stay within it the cheapest is taken. Both are optimal, not near it.

    cost of a route = the shapes' own costs + the changes' costs
    hardness of a change = its cost + the cost of the shape that it leads to
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import inf

from coach.errors import BadInput
from coach.guitar.choices import CANDIDATES, Pins, Tops, choose
from coach.guitar.grip import Grip, Hand
from coach.guitar.moves import USUAL, Change, Moves, Poise, Weights
from coach.guitar.tuning import STANDARD, Tuning
from coach.music.chords import Chord


@dataclass(frozen=True)
class Route:
    """The grips in order (None where no chord sounds) and the changes between neighbours.

    With a loop the last change leads from the last grip back to the first.
    cost     sum over shapes and changes
    hardest  the hardest single change: its cost and that of the shape it leads to; 0 where there is none
    """

    grips: tuple[Grip | None, ...]
    cost: float
    changes: tuple[Change, ...]
    hardest: float


def route(
    chords: Sequence[Chord | None],
    hand: Hand | None = None,
    tuning: Tuning = STANDARD,
    *,
    capo: int = 0,
    pins: Pins | None = None,
    tops: Tops | None = None,
    minimax: bool = False,
    loop: bool = False,
    weights: Weights = USUAL,
    max_fret: int = 12,
    candidates: int = CANDIDATES,
) -> Route:
    """The easiest route through `chords` (None: no chord) for this hand.

    pins  a shape that must be used, by chord symbol ("C") or by position in `chords` (from 0), which stands first
    tops  the note or pitch that must sound on top, the same way; without the capo, as the player names it
    Raises BadShape when a chord has no grip within the hand's limits, or none with the wanted top note.
    """
    from coach.guitar.search import grips

    hand = hand or Hand()

    def find(chord: Chord) -> Sequence[Grip]:
        return grips(chord, hand, tuning, capo=capo, max_fret=max_fret)

    choices = choose(chords, find, tuning, pins=pins or {}, tops=tops or {}, candidates=candidates)
    return best_route(choices, Moves(hand, tuning, capo, weights), minimax=minimax, loop=loop)


def best_route(
    choices: Sequence[Sequence[Grip | None]], moves: Moves, *, minimax: bool = False, loop: bool = False
) -> Route:
    """The cheapest way through one grip of each row; with `loop` the way from the last back to the first counts too.

    Raises BadInput when there is no row or a row is empty.
    """
    if not choices or not all(choices):
        raise BadInput("there is no chord to find a shape for", mend='give chords, like "C | Am | F | G"')
    graph = _Graph(choices, moves)
    limit = graph.least_limit(loop=loop) if minimax else inf
    ways = [graph.cheapest(start, limit, loop=loop) for start in graph.starts(loop=loop)]
    cost, way = min(ways, key=lambda pair: pair[0])
    return graph.told(way, cost, loop=loop)


class _Graph:
    """Rows of grips with the costs between neighbouring rows; a way is one index for each row."""

    def __init__(self, choices: Sequence[Sequence[Grip | None]], moves: Moves) -> None:
        self.moves = moves
        known: dict[int, Poise] = {}
        for grip in {id(g): g for row in choices for g in row if g is not None}.values():
            known[id(grip)] = moves.poise(grip)
        self.rows = [[None if g is None else known[id(g)] for g in row] for row in choices]
        shape = moves.weights.shape
        self.own = [[0.0 if g is None else g.cost * shape for g in row] for row in choices]

    def starts(self, *, loop: bool) -> list[list[int]]:
        """The sets of first grips to search from: all at once, or one at a time where the way must come back to it."""
        first = range(len(self.rows[0]))
        return [[k] for k in first] if loop else [list(first)]

    def cheapest(self, start: Sequence[int], limit: float, *, loop: bool) -> tuple[float, list[int]]:
        """(cost, way) of the cheapest way from one of `start` with no change harder than `limit`; inf without one."""
        reach = {k: self.own[0][k] for k in start}
        back: list[dict[int, int]] = []
        for row in range(1, len(self.rows)):
            reach, came = self._step(row, reach, limit)
            back.append(came)
        if loop:
            reach = self._closed(reach, start[0], limit)
        if not reach:
            return inf, []
        at = min(reach, key=lambda k: reach[k])
        way = [at]
        for came in reversed(back):
            way.append(came[way[-1]])
        return reach[at], way[::-1]

    def _step(self, row: int, reach: Mapping[int, float], limit: float) -> tuple[dict[int, float], dict[int, int]]:
        """The cheapest way to each grip of `row`, and from which grip of the row before it comes."""
        before, cost = self.rows[row - 1], self.moves.cost
        order = sorted(reach.items(), key=lambda pair: pair[1])
        best: dict[int, float] = {}
        came: dict[int, int] = {}
        for k, poise in enumerate(self.rows[row]):
            own = self.own[row][k]
            least, via = inf, -1
            for j, so_far in order:
                if so_far >= least:
                    break  # a change never costs less than nothing, so no later one can do better
                change = cost(before[j], poise)
                if so_far + change < least and change + own <= limit:
                    least, via = so_far + change, j
            if via >= 0:
                best[k], came[k] = least + own, via
        return best, came

    def _closed(self, reach: Mapping[int, float], start: int, limit: float) -> dict[int, float]:
        home, own = self.rows[0][start], self.own[0][start]
        ends = ((k, so_far, self.moves.cost(self.rows[-1][k], home)) for k, so_far in reach.items())
        return {k: so_far + change for k, so_far, change in ends if change + own <= limit}

    def least_limit(self, *, loop: bool) -> float:
        """The hardness of the hardest change on the way whose hardest change is easiest."""
        least = inf
        for start in self.starts(loop=loop):
            reach = dict.fromkeys(start, 0.0)
            for row in range(1, len(self.rows)):
                reach = {k: self._hardest(row, reach, k) for k in range(len(self.rows[row]))}
            if loop:
                home, own = self.rows[0][start[0]], self.own[0][start[0]]
                reach = {k: max(h, self.moves.cost(self.rows[-1][k], home) + own) for k, h in reach.items()}
            least = min(least, *reach.values()) if len(reach) > 1 else min(least, next(iter(reach.values())))
        return least

    def _hardest(self, row: int, reach: Mapping[int, float], k: int) -> float:
        poise, own, before, least = self.rows[row][k], self.own[row][k], self.rows[row - 1], inf
        for j, so_far in reach.items():
            if so_far < least:
                least = min(least, max(so_far, self.moves.cost(before[j], poise) + own))
        return least

    def told(self, way: Sequence[int], cost: float, *, loop: bool) -> Route:
        """The way as a Route."""
        poises = [self.rows[row][k] for row, k in enumerate(way)]
        owns = [self.own[row][k] for row, k in enumerate(way)]
        ends = [*poises[1:], poises[0]] if loop else poises[1:]
        changes = tuple(self.moves.change(a, b) for a, b in zip(poises, ends, strict=False))
        arrived = [*owns[1:], owns[0]] if loop else owns[1:]
        hardest = max((c.cost + own for c, own in zip(changes, arrived, strict=True)), default=0.0)
        return Route(tuple(p and p.grip for p in poises), cost, changes, hardest)

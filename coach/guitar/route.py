"""Routes: which grip for each chord of a progression, so that the whole is as easy as it can be, exactly.

Dynamic programming over the candidate grips of each chord (Viterbi, as Sayegh 1989 uses it for fingering): the
cheapest way to each grip of a chord is known from the cheapest ways to the grips of the chord before. With `minimax`
the hardest single change comes first (Hori & Sagayama 2016): the least hardness that still lets a way through is
sought, and among the ways that stay within it the cheapest is taken. Both are optimal, not near it.

    cost of a route = the shapes' own costs + the changes' costs
    hardness of a change = its cost + the cost of the shape that it leads to
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf

from coach.errors import BadInput
from coach.guitar.choices import CANDIDATES, Pins, Tops, choose_candidates
from coach.guitar.grip import Grip, Hand
from coach.guitar.moves import USUAL, Change, Moves, PreparedGrip, Weights
from coach.guitar.search import USUAL_MAX_FRET, find_grips
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


def find_route(
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
    max_fret: int = USUAL_MAX_FRET,
    candidates: int = CANDIDATES,
) -> Route:
    """The easiest route through `chords` (None: no chord) for this hand.

    pins  a shape that must be used, by chord symbol ("C") or by position in `chords` (from 0), which stands first
    tops  the note or pitch that must sound on top, the same way; without the capo, as the player names it
    Raises BadShape when a chord has no grip within the hand's limits, or none with the wanted top note.
    """
    hand = hand or Hand()

    # What is asked for may stand far down among the grips.
    few = None if pins or tops else candidates

    def find(chord: Chord) -> Sequence[Grip]:
        return find_grips(chord, hand, tuning, capo=capo, max_fret=max_fret, limit=few)

    choices = choose_candidates(chords, find, tuning, pins=pins or {}, tops=tops or {}, candidates=candidates)
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
    cost, way = graph.cheapest_loop(limit) if loop else graph.cheapest_way(limit)
    return graph.make_route(way, cost, loop=loop)


Edges = list[list[float | None]]


class _Graph:
    """Rows of grips with the costs between neighbouring rows; a way is one index for each row.

    Everything is worked out from the last row to the first: the cheapest way from a grip to the end is known from
    those of the row after it.
    """

    def __init__(self, choices: Sequence[Sequence[Grip | None]], moves: Moves) -> None:
        self.moves = moves
        known: dict[int, PreparedGrip] = {}
        for grip in {id(g): g for row in choices for g in row if g is not None}.values():
            known[id(grip)] = moves.prepare(grip)
        self.rows = [tuple(None if g is None else known[id(g)] for g in row) for row in choices]
        shape = moves.weights.shape
        self.own = [[0.0 if g is None else g.cost * shape for g in row] for row in choices]
        # Where two chords follow each other again their changes are known already.
        tables: dict[tuple[tuple[int, ...], tuple[int, ...]], Edges] = {}
        names = [tuple(map(id, row)) for row in self.rows]
        self.edges = [
            tables.setdefault((here, following), [[None] * len(following) for _ in here])
            for here, following in zip(names, [*names[1:], names[0]], strict=True)
        ]

    def edge(self, row: int, j: int, k: int) -> float:
        """The cost of the change from grip `j` of `row` to grip `k` of the next row; after the last comes the first."""
        known = self.edges[row][j][k]
        if known is None:
            after = self.rows[(row + 1) % len(self.rows)]
            known = self.edges[row][j][k] = self.moves.cost(self.rows[row][j], after[k])
        return known

    def cheapest_way(self, limit: float) -> tuple[float, list[int]]:
        """(cost, way) of the cheapest way with no change harder than `limit`."""
        onward, via = self._cheapest_onward(dict(enumerate(self.own[-1])), limit)
        start = min(onward, key=lambda k: onward[k])
        return onward[start], _follow(start, via)

    def cheapest_loop(self, limit: float) -> tuple[float, list[int]]:
        """The same for the way that comes back to its first grip; each that could still be best is tried as first."""
        once, _ = self._cheapest_onward(dict(enumerate(self.own[-1])), limit)
        best, way = inf, list[int]()
        # Without the change back a way costs no more than with it.
        for start, least in sorted(once.items(), key=lambda pair: pair[1]):
            if least >= best:
                break
            onward, via = self._cheapest_onward(self._last_row(start, limit), limit)
            if onward.get(start, inf) < best:
                best, way = onward[start], _follow(start, via)
        return best, way

    def _last_row(self, start: int, limit: float) -> dict[int, float]:
        """The grips of the last row from which the change back to `start` is within the limit."""
        last, home = len(self.rows) - 1, self.own[0][start]
        ends = ((k, own, self.edge(last, k, start)) for k, own in enumerate(self.own[-1]))
        return {k: own + change for k, own, change in ends if change + home <= limit}

    def _cheapest_onward(self, last: dict[int, float], limit: float) -> tuple[dict[int, float], list[dict[int, int]]]:
        """The cheapest way from each grip of the first row to the end, and for each row which grip comes next on it."""
        onward, via = last, list[dict[int, int]]()
        for row in range(len(self.rows) - 2, -1, -1):
            order = sorted(onward.items(), key=lambda pair: pair[1])
            own, following = self.own[row], self.own[row + 1]
            onward, nexts = {}, {}
            for j, edges in enumerate(self.edges[row]):
                least, to = inf, -1
                for k, rest in order:
                    if rest >= least:
                        break  # a change never costs less than nothing, so no later one can do better
                    change = edges[k]
                    if change is None:
                        change = self.edge(row, j, k)
                    if rest + change < least and change + following[k] <= limit:
                        least, to = rest + change, k
                if to >= 0:
                    onward[j], nexts[j] = least + own[j], to
            via.append(nexts)
        return onward, via[::-1]

    def least_limit(self, *, loop: bool) -> float:
        """The hardness of the hardest change on the way whose hardest change is easiest."""
        last = len(self.rows) - 1
        if not loop:
            return min(self._hardest_onward([0.0] * len(self.rows[-1])))
        least = inf
        for start, home in enumerate(self.own[0]):
            ends = [self.edge(last, k, start) + home for k in range(len(self.rows[-1]))]
            least = min(least, self._hardest_onward(ends)[start])
        return least

    def _hardest_onward(self, hardest: list[float]) -> list[float]:
        """From each grip of the first row: the hardest change on the way to the end whose hardest change is easiest."""
        for row in range(len(self.rows) - 2, -1, -1):
            order = sorted(enumerate(hardest), key=lambda pair: pair[1])
            following, now = self.own[row + 1], []
            for j in range(len(self.rows[row])):
                least = inf
                for k, rest in order:
                    if rest >= least:
                        break
                    if following[k] < least:
                        least = min(least, max(rest, self.edge(row, j, k) + following[k]))
                now.append(least)
            hardest = now
        return hardest

    def make_route(self, way: Sequence[int], cost: float, *, loop: bool) -> Route:
        """The way as a Route."""
        poises = [self.rows[row][k] for row, k in enumerate(way)]
        owns = [self.own[row][k] for row, k in enumerate(way)]
        ends = [*poises[1:], poises[0]] if loop else poises[1:]
        changes = tuple(self.moves.change(a, b) for a, b in zip(poises, ends, strict=False))
        arrived = [*owns[1:], owns[0]] if loop else owns[1:]
        hardest = max((c.cost + own for c, own in zip(changes, arrived, strict=True)), default=0.0)
        return Route(tuple(p and p.grip for p in poises), cost, changes, hardest)


def _follow(start: int, via: Sequence[dict[int, int]]) -> list[int]:
    way = [start]
    for nexts in via:
        way.append(nexts[way[-1]])
    return way

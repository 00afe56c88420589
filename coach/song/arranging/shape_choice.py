"""The shapes of a proposal: the easiest route through each part, and stand-ins for what is too hard for this hand."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence

from coach.guitar.grip import Grip, Hand
from coach.guitar.route import find_route
from coach.guitar.search import find_grips
from coach.guitar.shape import Shape
from coach.guitar.standins import StandIn, find_standins, holding_cost
from coach.guitar.tuning import Tuning
from coach.music.chords import Chord
from coach.music.keys import Key
from coach.song.arranging.tune_placing import can_be_saved
from coach.song.chart import Part, Song
from coach.song.perform import chords_in_key

# What the fretting hand may be asked for one chord, in points of about a finger (as `holding` counts); the F of the
# first fret on four strings has 5.8, the B flat of five strings 6.7. Ours, no source.
TOO_HARD = 6.0
# What another shape of the same chord in one bar must save to be worth learning.
WORTH_A_SHAPE = 2.0

_KINDS = ("smaller", "thumb", "relative", "held", "keep")
PartBar = tuple[str, int]


class ShapeChoice:
    """The shapes of all parts.

    chosen   chord symbol -> the grip it has in most bars (of its stand-in, where it has one)
    recipes  chord symbol -> what stands in for it, as an arrangement says it
    others   (part, bar) -> symbol -> another grip that the route has there
    told     what was done about hard chords, and why
    """

    def __init__(
        self, song: Song, parts: Mapping[str, Part], hand: Hand, tuning: Tuning, key: Key, capo: int
    ) -> None:
        self.song, self.hand, self.tuning, self.key, self.capo = song, hand, tuning, key, capo
        # Pins are written for the chart's own key.
        self.pins: dict[int | str, Shape] = {}
        if key == song.key:
            self.pins.update(song.shapes)
        rows = [
            (part.name, number, chord)
            for part in parts.values()
            for number, bar in enumerate(part.bars)
            for _, chord in chords_in_key(bar, song.key, key)
            if chord
        ]
        self.chosen, self.others = self.choose_grips(parts, rows)
        self.recipes: dict[str, str] = {}
        self.extra: dict[str, Grip] = {}
        self.notes: list[str] = []
        self.find_stand_ins([(part, chord) for part, _, chord in rows])

    def shapes(self) -> dict[str, Shape]:
        """The shape of each chord as an arrangement says it; what the song pins itself is left to it."""
        own = {s: g.shape for s, g in self.chosen.items() if s not in self.recipes and s not in self.pins}
        return {**{s: g.shape for s, g in self.extra.items()}, **own}

    def plain(self) -> dict[str, Grip]:
        """The grips that sound the chord itself, by its symbol."""
        return {s: g for s, g in self.chosen.items() if s not in self.recipes}

    def choose_grips(
        self, parts: Iterable[str], rows: Sequence[tuple[str, int, Chord]]
    ) -> tuple[dict[str, Grip], dict[PartBar, dict[str, Grip]]]:
        """(the grip of each chord, the bars in which another one is worth it)."""
        votes: dict[str, Counter[Grip]] = {}
        free: dict[PartBar, dict[str, Grip]] = {}
        for name in parts:
            mine = [(number, chord) for part, number, chord in rows if part == name]
            if not mine:
                continue
            route = find_route([chord for _, chord in mine], self.hand, self.tuning, capo=self.capo, pins=self.pins)
            for (number, chord), grip in zip(mine, route.grips, strict=True):
                if grip is not None:
                    votes.setdefault(str(chord), Counter())[grip] += 1
                    free.setdefault((name, number), {})[str(chord)] = grip
        chosen = {
            symbol: self.find_savable(max(count, key=lambda g: (count[g], -g.cost))) for symbol, count in votes.items()
        }
        others: dict[PartBar, dict[str, Grip]] = {}
        for place, here in free.items():
            better = {
                s: g for s, g in here.items() if chosen[s].cost - g.cost > WORTH_A_SHAPE and can_be_saved(g.shape)
            }
            if better:
                others[place] = better
        return chosen, others

    def find_savable(self, grip: Grip) -> Grip:
        """The grip, or the easiest of its chord that a song file can hold."""
        if can_be_saved(grip.shape):
            return grip
        others = find_grips(grip.chord, self.hand, self.tuning, capo=self.capo)
        return next((g for g in others if can_be_saved(g.shape)), grip)

    def find_stand_ins(self, rows: Sequence[tuple[str, Chord]]) -> None:
        """Find stand-ins for what is too hard."""
        before: dict[str, Grip] = {}
        last: dict[str, str] = {}
        for part, chord in rows:
            symbol = str(chord)
            if last.get(part, symbol) != symbol:
                before.setdefault(symbol, self.chosen[last[part]])
            last[part] = symbol
        for symbol, grip in list(self.chosen.items()):
            if symbol in self.pins or holding_cost(grip) <= TOO_HARD:
                continue
            asks = f"{symbol} {grip.shape} asks {holding_cost(grip):.1f} points of the hand, more than {TOO_HARD:g}"
            standins = find_standins(
                grip.chord, self.hand, self.tuning,
                capo=self.capo, instead_of=grip, before=before.get(symbol), scale=self.key.scale,
            )  # fmt: skip
            easy = min(
                (s for s in standins if holding_cost(s.grip) <= TOO_HARD and self.can_be_said(s, grip.chord)),
                key=lambda s: _rank(s, grip.chord),
                default=None,
            )
            if easy is None:
                self.notes.append(f"{asks}; nothing easier was found that tells it")
                continue
            self.chosen[symbol] = easy.grip
            what = f"{easy.grip.chord} {easy.grip.shape}"
            if easy.recipe:
                self.recipes[symbol] = what = easy.recipe
            elif easy.grip.chord != grip.chord:
                self.recipes[symbol] = str(easy.grip.chord)
                self.extra.setdefault(str(easy.grip.chord), easy.grip)
            lost = f"; {'; '.join(easy.lost)}" if easy.lost else ""
            self.notes.append(f"{asks}: {what} stands in for it with {holding_cost(easy.grip):.1f}{lost}")

    def can_be_said(self, standin: StandIn, chord: Chord) -> bool:
        """Whether an arrangement can say it: another shape, another chord, or a kept shape that is in the song."""
        if (standin.kind == "thumb" and not self.hand.thumb) or not can_be_saved(standin.grip.shape):
            return False
        if standin.recipe:
            kept = standin.recipe.partition(":")[0]
            return kept in self.chosen and kept not in self.recipes and holding_cost(self.chosen[kept]) <= TOO_HARD
        symbol = str(standin.grip.chord)
        # Two shapes of one name would be told apart by nobody.
        same = self.chosen.get(symbol) or self.extra.get(symbol)
        return standin.grip.chord == chord or same is None or same.shape == standin.grip.shape


def _rank(standin: StandIn, chord: Chord) -> tuple[bool, bool, int, float]:
    """What keeps the chord's own tones stands first, then what keeps its root, then what stays in the key."""
    other = standin.grip.chord
    outside = any("outside the key" in lost for lost in standin.lost)
    return (outside, other.root != chord.root or bool(standin.recipe), _KINDS.index(standin.kind), -standin.saves)

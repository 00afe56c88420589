"""Today: what to practise, in which order, for how long and why.

Laws the plan keeps, each with its ground
- no drill twice in a row while there is another, in turns of about three minutes (turns.py);
- something easy first, and a warm-up where the plan is longer than a quarter of an hour; hard things and the new
  one in the middle; something playable last; a rest of five minutes in each half hour (BAPAM, "Ten top health tips"),
  in which what was just played counts; no more playing than the day allows with what was played today (load.py);
- at most one new thing a day, more only where a song's day is near (deadlines.py), and only when what it grows from was
  held on an earlier day (Simmons 2012: accuracy rose over a day, not over hours); never two new near-alike ones at the
  end (Allen 2013: the second hinders the first);
- what is new, or comes back after long, is heard before the hands try it (listening.py).

The same ledger, moment and minutes give the same plan. The ladder's first rungs and the ledger are all it knows;
what presses from elsewhere (a song's date, a remedy) comes in as `pressing` reasons.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from functools import partial
from typing import Any

from coach.drills.pattern_drills import Drill
from coach.errors import BadInput, CoachError
from coach.log.local_days import local_day, told_minutes
from coach.log.playing_time import Playing, playing_of
from coach.log.takes import Take
from coach.music.ramps import IN_TURNS
from coach.picking.layers import FULL, THUMB
from coach.plan.block_tempo import span
from coach.plan.cautions import REST, STOP, WARM_UP
from coach.plan.deadlines import not_ready, to_begin
from coach.plan.listening import LISTEN_FROM, LISTEN_MINUTES, to_hear
from coach.plan.load import allowed
from coach.plan.need import Reason, View, by_date, ease, reasons, views_of
from coach.plan.overview import drill_rows
from coach.plan.turn_order import Pressing, easiest_first, turn_order
from coach.plan.turns import LONGEST_RUN, checked_minutes, cut, even, room_left, runs, turn_minutes
from coach.plan.wishes import Wishes
from coach.skill.history import Past, pasts_of
from coach.skill.kin import steadies_of
from coach.skill.steady_tempo import SteadyOf, SteadyTempo, own_prior, steady

__all__ = ["Block", "Plan", "PlanSettings", "Reason", "drill_rows", "plan"]

PLAY, REST_KIND, WARM_UP_KIND, LISTEN_KIND = "play", "rest", "warm-up", "listen"
_WARM_UP_FROM = 16  # plans of at least so many minutes open with a warm-up
_NEW_FROM = 8  # a shorter plan is for what is known
_SING_EASE = 0.7  # how playable a drill must be before one sings over it (ours, no source)
_PLAYABLE = 0.5  # how playable the last thing must be to be called so (ours, no source)
_MOST_REASONS = 4
_HEAR_IT = "listen to it once before the first take"
MINUTES_EACH = 3
"""Minutes a day for each thing on its way to a target: a turn every day."""


@dataclass(frozen=True)
class PlanSettings:
    """What the player may set. Minutes are whole; runs of playing are never longer than half an hour.

    `learning_at_once` is the most that is on its way to a target at once, however many minutes there are; `gently`
    keeps a day's minutes near those of the days before (load.py). `listening`: new things are heard first.
    """

    new_a_day: int = 1
    starters: int = 4
    learning_at_once: int = 6
    turn_minutes: int = 3
    run_minutes: int = 25
    rest_minutes: int = 5
    gently: bool = True
    listening: bool = True

    def __post_init__(self) -> None:
        if not 5 <= self.run_minutes <= LONGEST_RUN or self.rest_minutes < 5:
            raise BadInput("rests are at least 5 minutes, and no run of playing is over 30", mend="keep 25 and 5")
        if self.new_a_day < 0 or self.starters < 1 or self.learning_at_once < 1 or self.turn_minutes < 1:
            raise BadInput("a setting of the plan is below what it can be", mend="leave the settings out")


@dataclass(frozen=True)
class Block:
    """One turn or rest: `kind` play, warm-up, listen or rest; tempos in whole bpm (None in a rest); `why` in plain
    words. What is listened to is heard at `tempo_from` first where there is time, then at `tempo_to`. `ramp` is how the
    tempo moves where the turn itself asks for it (ramps.py), None where that is as the player likes it."""

    kind: str
    drill: str | None
    title: str
    minutes: int
    tempo_from: int | None = None
    tempo_to: int | None = None
    layer: str | None = None
    why: tuple[str, ...] = ()
    step_share: float | None = None
    ramp: str | None = None

    def tempos(self, to: str = "to") -> str:
        """`72 to 84 bpm` with another sign for `to` where that is asked for; `72 and 84 bpm in turns`; "" in a rest."""
        if self.tempo_from is None or self.tempo_to is None:
            return ""
        if self.ramp == IN_TURNS:
            return f"{self.tempo_from} and {self.tempo_to} bpm in turns"
        return f"{self.tempo_from} {to} {self.tempo_to} bpm"

    @property
    def played(self) -> bool:
        """True where the hands play."""
        return self.kind in (PLAY, WARM_UP_KIND)

    @property
    def listened(self) -> bool:
        """True where the hands lie still and the guide is heard."""
        return self.kind == LISTEN_KIND

    def as_row(self) -> dict[str, Any]:
        """The block as `coach today --json` gives it."""
        return {
            "drill": self.drill,
            "title": self.title,
            "minutes": self.minutes,
            "tempo_from": self.tempo_from,
            "tempo_to": self.tempo_to,
            "layer": self.layer,
            "why": list(self.why),
            "kind": self.kind,
            "step_share": self.step_share,
            "ramp": self.ramp,
        }


@dataclass(frozen=True)
class Plan:
    """Today's blocks, `minutes` in all with the rests, and `notes` that go with them; `stopped` on a day of pain.

    Without blocks there is nothing to play now, and the notes say why.
    """

    minutes: int
    blocks: tuple[Block, ...]
    notes: tuple[str, ...]
    stopped: bool = False

    def length(self) -> str:
        """How long it is, in words."""
        if self.minutes:
            return told_minutes(self.minutes)
        return "no more playing" if self.stopped else "enough for now"

    def as_json(self) -> dict[str, Any]:
        """The plan as `coach today --json` gives it."""
        return {"minutes": self.minutes, "blocks": [b.as_row() for b in self.blocks], "notes": list(self.notes)}


def plan(
    drills: Sequence[Drill],
    takes: Iterable[Take],
    now: datetime,
    minutes: int = 20,
    settings: PlanSettings | None = None,
    pressing: Mapping[str, Sequence[Reason]] | None = None,
    *,
    pasts: Mapping[str, Past] | None = None,
    playing: Playing | None = None,
    steady_of: SteadyOf | None = None,
    wishes: Wishes | None = None,
    heard: Collection[str] = (),
) -> Plan:
    """The plan for `minutes` (rests included) at `now`, whose own clock gives the local day.

    `drills` in ladder order. `pasts`, `playing` and `steady_of` give what is known of the takes already (shelf.py);
    without them all of it comes from the takes. What was played today and just now counts: the plan may begin with a
    rest, be shorter than asked for, or have no block at all, and says why. `wishes` are obeyed: what is pinned
    comes, what is skipped does not, a swap puts the second in the place of the first; what was `heard` today (ids of
    drills) is not listened to again. Raises BadInput for minutes outside 1 to 240 or a `now` without offset, CoachError
    when no drill is left to plan.
    """
    use, wish, press = settings or PlanSettings(), wishes or Wishes(), pressing or {}
    asked = checked_minutes(minutes if wish.minutes is None else wish.minutes)
    today = local_day(now)
    if pasts is None:
        takes = list(takes)
        pasts = pasts_of(takes)
        if playing is None:
            playing = playing_of(takes, now)
        if steady_of is None:
            steady_of = _from_takes(drills, takes, today)
    before = 0.0 if playing is None else playing.run()
    wanted, notes = _before_the_rest(asked, use, before)
    if wanted and use.gently:
        hands = partial(_hands, use=use, before=before)
        wanted, told_why = allowed(wanted, {} if playing is None else playing.by_day(), today, hands)
        notes += told_why
    if not wanted:
        return Plan(0, (), (*notes, STOP))
    called = called_for(wish)
    views = [
        v
        for v in views_of(drills, pasts, today, steady_of)
        if v.drill.id not in wish.skipped and (not v.drill.resting or v.drill.id in called)
    ]
    if not views:
        raise CoachError("there is no drill to plan", mend="add a pattern to your patterns folder, or skip fewer")
    first_day = not any(v.past is not None and v.past.first_day < today for v in views)
    at_once = max(2, min(use.learning_at_once, round(wanted / MINUTES_EACH)))
    if first_day:
        known, new, new_words = _starters(views, use, wish)
    else:
        known, new, new_words = _known_and_new(views, wanted, use, at_once, press, wish)
    lengths = _lengths(wanted, use, before, odd=len(known) + len(new) == 2)
    rests_first = sum(map(sum, lengths)) + (len(lengths) - 1) * use.rest_minutes < wanted
    if wanted >= _WARM_UP_FROM:  # the shortest turn of the first run is to warm up
        lengths[0] = (lengths[0][-1], *lengths[0][:-1])
    order = turn_order(known, new, sum(len(run) for run in lengths), first_day, press, at_once, wish)
    sung = set() if first_day else _sung(order, wanted >= _WARM_UP_FROM)
    listens: dict[int, tuple[str, ...]] = {}
    if use.listening and not first_day and wanted >= LISTEN_FROM:
        listens = to_hear(order, [length for run in lengths for length in run], heard)
    blocks: list[Block] = []
    met: set[str] = set(heard)
    place = 0
    for run in lengths:
        if blocks or rests_first:
            why = (REST,) if blocks else (f"you have just played for {before:.0f} minutes", REST)
            blocks.append(Block(REST_KIND, None, "Rest", use.rest_minutes, why=why))
        for length in run:
            view, ends = order[place], (place == 0, place == len(order) - 1)
            sing = place in sung
            block = _block(view, length, ends, sing, first_day, wanted, press, wish)
            if place in listens or view.drill.id in met:
                block = replace(block, why=tuple(reason for reason in block.why if reason != _HEAR_IT))
            if place in listens:
                block = replace(block, minutes=length - LISTEN_MINUTES)
                blocks.append(_listening(block, view, listens[place]))
            met.add(view.drill.id)
            blocks.append(block)
            place += 1
    return Plan(wanted, tuple(blocks), (*notes, *new_words, *not_ready(views, today), *_cautions(wanted, before)))


def _from_takes(drills: Sequence[Drill], takes: Sequence[Take], today: date) -> SteadyOf:
    """The steady tempos the takes themselves give, kin lending strength to the full layer."""
    own: dict[str, list[Take]] = {}
    for take in takes:
        own.setdefault(take.drill, []).append(take)
    full = steadies_of(drills, own, today)

    def found(drill: Drill, layer: str) -> SteadyTempo | None:
        if layer == FULL:
            return full.get(drill.id)
        return steady(own.get(drill.id, ()), layer, today, own_prior(drill))

    return found


def called_for(wish: Wishes) -> set[str]:
    """The drills the player wants in the plan."""
    return {*wish.pinned, *(into for _, into in wish.swapped)}


def _starters(
    views: Sequence[View], use: PlanSettings, wish: Wishes
) -> tuple[list[View], list[View], tuple[str, ...]]:
    """The first day of all. The lowest rungs of the first ladder count as known, not as new.

    With nothing in the ledger there must still be something to play, and one drill for twenty minutes would be the
    very blocked practice that turns are there to avoid. The lowest rungs of one ladder, in one meter, add little from
    each to the next, so they are about as much to take in as one new thing. They stay known until the day is over,
    also when the plan is asked for again after the first take.
    """
    first = [v for v in views if v.drill.family == views[0].drill.family]
    lowest = [*first, *(v for v in views if v not in first)][: use.starters]
    known = [v for v in views if v in lowest or v.known or v.drill.id in called_for(wish)]
    return known, [], (f"A first day: {len(known)} easy things in turn. Find the tempo at which each is comfortable.",)


def _known_and_new(
    views: Sequence[View], wanted: int, use: PlanSettings, at_once: int, press: Pressing, wish: Wishes
) -> tuple[list[View], list[View], tuple[str, ...]]:
    """What has been played before, what may be begun today, and why nothing more may.

    No more is begun than the days can carry to its target: a few things at a time get there, many at once do not.
    What was pinned, what presses from outside and what must be begun now for its day (deadlines.py) does not wait.
    """
    known = [v for v in views if v.known]
    wanted_now = called_for(wish)
    called = [v for v in views if not v.known and v.drill.id in wanted_now]
    untouched = [v for v in views if not v.known and v not in called]
    dated = to_begin(untouched, views[0].today)
    left = max(use.new_a_day, dated.a_day) - sum(v.begun_today for v in known) - len(called)
    on_the_way = sum(not v.finished and not v.stuck for v in known) + len(called)
    if not untouched or wanted < _NEW_FROM or use.new_a_day == 0:
        return known, called, ()
    if left <= 0:
        titles = ", ".join(f"'{v.drill.title}'" for v in known if v.begun_today)
        begun = (f"Nothing more that is new today: {titles} was begun, and a night should pass.",) if titles else ()
        return known, called, begun
    held = {v.drill.id for v in views if v.held_before}
    ready = [v for v in untouched if v.drill.grows_from is None or v.drill.grows_from in held]
    weight = {v.drill.id: math.fsum(r.points for r in (*press.get(v.drill.id, ()), *by_date(v))) for v in ready}
    ready.sort(key=lambda v: (v.drill.id not in dated.urgent, -weight[v.drill.id], v.rung))
    if dated.urgent or on_the_way >= at_once:  # before a day that is near, what does not lead there waits
        ready = [v for v in ready if v.drill.id in dated.urgent or press.get(v.drill.id)]
        if not ready and on_the_way >= at_once:
            return known, called, (f"Nothing new today: {on_the_way} things are still on the way to their targets.",)
    return known, [*called, *ready[:left]], dated.words


def _before_the_rest(asked: int, use: PlanSettings, before: float) -> tuple[int, list[str]]:
    """The minutes asked for, or, where the next rest would leave nothing of them to play, those before it, and why."""
    if runs(asked, use.run_minutes, use.rest_minutes, before):
        return asked, []
    left = room_left(use.run_minutes, use.rest_minutes, before)
    played = f"You have just played for {before:.0f} minutes"
    if left:
        return left, [f"{played}: {told_minutes(left)} more, then rest your hands for five."]
    return 0, [f"{played}. Rest your hands for five minutes first; then there is more."]


def _hands(minutes: int, use: PlanSettings, before: float) -> int:
    """Minutes of playing in a plan of so many."""
    return sum(runs(minutes, use.run_minutes, use.rest_minutes, before))


def _lengths(wanted: int, use: PlanSettings, before: float, odd: bool) -> list[tuple[int, ...]]:
    """Minutes of every turn, run by run. With two drills only, an odd number of turns lets the easier one close."""
    turn = turn_minutes(wanted, use.turn_minutes)
    turns_of_runs = [cut(run, turn) for run in runs(wanted, use.run_minutes, use.rest_minutes, before) if run]
    count = sum(len(run) for run in turns_of_runs)
    if count == 2 and sum(turns_of_runs[-1]) > 1:  # easy, hard, easy; the rest between two runs stays
        return [*turns_of_runs[:-1], even(sum(turns_of_runs[-1]), 4 - len(turns_of_runs))]
    if odd and count > 2 and count % 2 == 0 and len(turns_of_runs[-1]) > 1:
        turns_of_runs[-1] = even(sum(turns_of_runs[-1]), len(turns_of_runs[-1]) - 1)
    return turns_of_runs


def _sung(order: Sequence[View], warm: bool) -> set[int]:
    """Which turns are for singing over the thumb, of drills that are well held, at most a quarter of them.

    The warm-up first, which is slow whatever is played (a sung turn does not make the hands faster: on made-up learners
    it costs a fifth of the targets elsewhere and a tenth there, tests/bench/bench_plan.py); then the last turn of a
    drill that has another; where none has, the turn that closes. What is due and comes once is played in full.
    """
    places: dict[str, list[int]] = {}
    for place, view in enumerate(order):
        places.setdefault(view.drill.id, []).append(place)
    once = {v.drill.id: v for v in order if v.drill.kind.traits.may_be_sung}.values()
    fit = [v for v in easiest_first(once) if v.held_before and v.gap == 0 and ease(v) >= _SING_EASE]
    fit = [v for v in fit if v.finished] or fit
    last = [places[v.drill.id][-1] for v in fit if len(places[v.drill.id]) > 1]
    if not last and len(order) > 2:
        last = [len(order) - 1 for v in fit if v is order[-1]]
    first = order[0]
    if warm and first in fit and (len(places[first.drill.id]) > 1 or not first.due):
        last = [0, *(place for place in last if order[place] is not first)]
    return set(last[: max(1, len(order) // 4)])


def _block(
    view: View,
    minutes: int,
    ends: tuple[bool, bool],
    sing: bool,
    first_day: bool,
    wanted: int,
    pressing: Pressing,
    wish: Wishes,
) -> Block:
    opens, closes = ends
    drill = view.drill
    warm = opens and wanted >= _WARM_UP_FROM
    layer = THUMB if sing else FULL
    # The thumb alone has a steady tempo of its own.
    known = view.steady if not sing else view.steady_of(drill, THUMB) if view.steady_of is not None else None
    tempo = span(drill, view.past, layer, warm, known)
    why: list[str] = []
    if drill.id in wish.pinned:
        why.append("you asked for it")
    why += [f"you took it in place of '{out}'" for out, into in wish.swapped if into == drill.id]
    if opens and (warm or not closes):
        why.append("something easy to begin with")
    if sing:
        why.append("the full layer was held on an earlier day: sing over the thumb alone")
    why += _reason_words(view, first_day, pressing.get(drill.id, ()))
    if closes and not opens and view.known and ease(view) >= _PLAYABLE:
        why.append("something playable to close with")
    return Block(
        kind=WARM_UP_KIND if warm else PLAY,
        drill=drill.id,
        title=drill.title,
        minutes=minutes,
        tempo_from=tempo.low,
        tempo_to=tempo.high,
        layer=layer,
        why=(*why, tempo.why),
        step_share=drill.step_share,
    )


def _listening(block: Block, view: View, why: tuple[str, ...]) -> Block:
    """What is heard before a turn: at the tempo it will be begun at, then at its target."""
    return replace(
        block,
        kind=LISTEN_KIND,
        minutes=LISTEN_MINUTES,
        tempo_to=max(view.drill.target_bpm, block.tempo_from or 0),
        layer=FULL,
        why=why,
    )


def _reason_words(view: View, first_day: bool, extra: Sequence[Reason]) -> list[str]:
    if view.known:
        words = [r.text for r in reasons(view, extra) if abs(r.points) >= 0.01]
        if len(words) > _MOST_REASONS:
            words = [*words[: _MOST_REASONS - 1], words[-1]] if view.stuck else words[:_MOST_REASONS]
        return words or ["clean and at its target: kept up"]
    words = [r.text for r in (*extra, *by_date(view))]
    if first_day:
        return [*words, "one of the lowest rungs, for a first day"]
    below = view.below
    ground = f"what it grows from ('{below}') was held on an earlier day" if below else "the first rung of its ladder"
    return [*words, f"new today: {ground}", _HEAR_IT]


def _cautions(wanted: int, before: float) -> tuple[str, ...]:
    cautions = [WARM_UP] if wanted >= _WARM_UP_FROM else []
    if wanted + before > LONGEST_RUN:
        cautions.append(REST)
    return (*cautions, STOP)

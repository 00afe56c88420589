"""Everything the stage says beside the tab, as pure functions of one moment: widget id -> text."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import chain

from coach.music.clicks import CLICK_MODES, ClickWay
from coach.music.meter import count_syllables
from coach.music.ramps import tempo_text
from coach.picking.layers import next_layer
from coach.screens.shared.actions import STAGE, hints
from coach.screens.shared.figures import figure
from coach.screens.shared.shape_view import shape_rows
from coach.session.conductor import GUIDES, Loop
from coach.session.run import COUNT, MODEL, PLAY, BarOrder, PassDone, Run
from coach.settings import Settings

READY, OPENING, RUNNING, STOPPED, OVER = "ready", "opening", "running", "stopped", "over"
SHOWN_PASSES = 12


@dataclass(frozen=True)
class Moment:
    """What the stage knows when it is drawn. `beat` is -1 before the bar's first; `room` cells hold the count."""

    phase: str
    run: Run
    loop: Loop
    order: BarOrder | None
    beat: int
    title: str
    place: str
    passes: Sequence[PassDone]
    click: ClickWay
    guide: str
    humming: bool
    settings: Settings
    keys: Mapping[str, str]
    width: int
    room: int


def stage_words(now: Moment) -> dict[str, str]:
    """Every text of the stage by its widget's id."""
    return {**_tempo(now), **_place(now), **_shapes(now), **_below(now), "head": _head(now)}


def _tempo(now: Moment) -> dict[str, str]:
    run = now.run
    bpm = now.order.bpm_from if now.order else run.ramp.tempo(0, [])[0] + run.nudge
    exact = "" if bpm == round(bpm) else f" ({tempo_text(bpm)})"
    return {
        "bpm": figure(str(round(bpm))),
        "unit": f"{tempo_text(bpm)} bpm · held" if run.held else f"beats a minute{exact}",
        "ramp": f"{run.ramp.name}: {run.ahead()}",
    }


_AT_REST = "hands at rest"


def _place(now: Moment) -> dict[str, str]:
    order = now.order
    if order is None:
        waiting = {OPENING: "one moment", STOPPED: "stopped"}.get(now.phase, "ready")
        part = _part(now, 0)
        return {"where": figure("1.1"), "pass": f"{part}\n{waiting}" if part else waiting, "spoken": ""}
    beat = max(now.beat, 0) + 1
    said = {COUNT: "count-in", MODEL: "listen"}.get(order.kind, f"pass {order.pass_no + 1}")
    if now.phase == STOPPED:
        said = "stopped"
    if order.kind == COUNT:
        part, words, where = _part(now, 0), said, f"{beat}"
    else:
        bar = now.loop.bar(order.loop_bar)
        part, number = _part(now, order.loop_bar), bar.part_bar if bar.part else order.loop_bar
        words = said if now.phase == STOPPED else f"{said} · bar {order.loop_bar + 1} of {now.loop.bars}"
        if now.run.listens and now.phase != STOPPED:  # that one listens is written large
            said = _AT_REST
            words = f"bar {order.loop_bar + 1} of {now.loop.bars} · {said}"
        where = f"{number + 1}.{beat + int(bar.offset)}"
    if part:
        following = _next_part(now, 0 if order.kind == COUNT else order.loop_bar)
        both = f"{said} · then {following}"
        second = said if not following else both if len(both) < now.room else f"then {following}"
        words = f"{part}\n{second}"
    return {"where": figure(where), "pass": words, "spoken": _spoken(now, order)}


def _part(now: Moment, loop_bar: int) -> str:
    """`Verse 2, bar 3 of 8`; "" where there are no parts."""
    bar = now.loop.bar(loop_bar)
    if not bar.part:
        return ""
    return f"{now.loop.part_name(loop_bar)}, bar {bar.part_bar + 1} of {now.loop.part_bars(loop_bar)}"


def _next_part(now: Moment, loop_bar: int) -> str:
    """The part that comes next in this pass, "" in the last one."""
    bars = now.loop.piece.bars
    here = bars[loop_bar]
    after = next((b.number for b in bars[loop_bar:] if (b.part, b.time) != (here.part, here.time)), None)
    return now.loop.part_name(after) if after is not None else ""


def _spoken(now: Moment, order: BarOrder) -> str:
    """The count of a count-in, up to where it is; in a pass its stumbles."""
    stumbles = now.run.stumbles
    if order.kind == PLAY and stumbles:
        return f"{stumbles} stumble{'s' if stumbles > 1 else ''}"
    if order.kind != COUNT:
        return ""
    first = now.loop.bar(0)
    counted = count_syllables(first.meter, first.slots)
    reached = min(Fraction(max(now.beat + 1, 1)), order.beats) / first.slot_beats
    # In sixteenths the whole bar is too long for its place: what was said last stays.
    said = "  ".join(word for word in counted[: int(reached)] if word != "·")
    return said if len(said) <= now.room else said[-now.room :].lstrip()


def _shapes(now: Moment) -> dict[str, str]:
    """The shape of now and the next one that differs."""
    order, bars = now.order, now.loop.piece.bars
    number = order.loop_bar if order and order.kind != COUNT else 0
    held = bars[number].held
    here = held.at(Fraction(max(now.beat, 0)))
    later = chain(
        (hold for hold in held.holds if hold.beat > here.beat),
        (hold for bar in chain(bars[number + 1 :], bars) for hold in bar.held.holds),
    )
    words = {"now": "\n".join(shape_rows(str(here.chord or "N"), here.shape, here.bass)), "following": ""}
    after = next((hold for hold in later if (hold.chord, hold.shape) != (here.chord, here.shape)), None)
    if after is not None:
        words["following"] = "\n".join(shape_rows(f"then {after.chord or 'N'}", after.shape, after.bass))
    return words


def _below(now: Moment) -> dict[str, str]:
    run, click, settings = now.run, now.click, now.settings
    layers = run.layers
    # Where there is no room for the ladder and what is said of it, the ladder has its blanks taken out.
    gap = " " if now.width >= 90 or not run.singing else ""
    ladder = f"{gap} ".join(f"▐{name}▌" if name == run.layer else f"{gap}{name}{gap}" for name in layers)
    way = CLICK_MODES[click.mode] + (f" {click.bars_on} on {click.bars_off} off" if click.mode == "gaps" else "")
    last = now.passes[-SHOWN_PASSES:]
    told = "  ".join(f"{tempo_text(p.bpm)} {'✓' if p.clean else '×' * min(p.stumbles, 3)}" for p in last)
    hummed = "   tune hummed" if now.humming else ""
    early = "   thins a bar early" if run.singing and run.early else ""
    click_words = f"click {way} {volume_bar(settings.click_volume)}"
    return {
        "ladder": f"{'under the voice' if run.singing else 'layer'} {ladder}{_sung(run)}",
        "modes": f"{click_words}   guide {GUIDES[now.guide]} {volume_bar(settings.guide_volume)}{hummed}{early}",
        "history": f"passes {told}" if told else "",
        "keys": hints(_LISTENING if run.listens else STAGE, now.keys, max(now.width - 2, 20)),
    }


_LISTENING = tuple(one for one in STAGE if one.id in ("start", "next", "slower", "still", "end"))
"""What there is to do while one listens."""


def _sung(run: Run) -> str:
    """What singing does to the layers, in words."""
    if not run.singing:
        alone = not run.worded and run.layer == run.layers[0] and len(run.layers) > 1
        return "   you sing, the thumb holds" if alone else ""
    if run.layer == run.layers[-1]:
        return "   all of it, and you sing"
    if run.held or not run.climbs:
        return "   held there"
    return f"   a clean pass brings {next_layer(run.layers, run.layer, 1)}"


def _head(now: Moment) -> str:
    piece = now.loop.piece
    # The title may name the arrangement already.
    facts = [piece.arrangement] if f"({piece.arrangement})" not in now.title else []
    facts += [f"key {piece.key}"] if piece.key else []
    facts += [f"capo {piece.capo}"] if piece.capo else []
    facts += [" ".join(now.loop.chords)] if not piece.order else []
    told = "".join(f" · {fact}" for fact in facts if fact)
    left = max((now.run.play_limit or 0.0) - (now.order.play_s if now.order else 0.0), 0.0)
    time = f"{int(left) // 60}:{int(left) % 60:02d} left"
    right = f"{now.place} · {time}" if now.place else time
    room = max(now.width - 2 - len(right) - 1, 8)
    # What the hands need to know stays; a long title gives way.
    title = now.title[: max(room - len(told), room // 2)]
    return f"{f'{title}{told}'[:room]:<{room}} {right}"


def rest_words(minutes: float, key: str) -> str:
    """What proposes a rest after so many minutes without one."""
    long = "Half an hour" if round(minutes) == 30 else f"{minutes:.0f} minutes"
    return f"{long} without a rest: {key} gives your hands five minutes, or just play on."


REST_COMES = "rest after this pass; enter stops now"


def volume_bar(volume: float) -> str:
    """A volume (0 to 1) as one small bar."""
    return "▁▂▃▄▅▆▇█"[min(round(volume * 7), 7)] if volume > 0 else "·"

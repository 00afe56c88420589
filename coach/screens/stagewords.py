"""Everything the stage says beside the tab, as pure functions of one moment: widget id -> text."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from coach.music.clicks import CLICK_MODES, ClickWay
from coach.music.meter import count_syllables
from coach.practice.ramps import shown
from coach.practice.run import COUNT, MODEL, PLAY, BarOrder, PassDone, Run
from coach.screens.actions import STAGE, hints
from coach.screens.conductor import GUIDES, Loop
from coach.screens.figures import figure
from coach.screens.shapeview import shape_rows
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
    exact = "" if bpm == round(bpm) else f" ({shown(bpm)})"
    return {
        "bpm": figure(str(round(bpm))),
        "unit": f"{shown(bpm)} bpm · held" if run.held else f"beats a minute{exact}",
        "ramp": f"{run.ramp.name}: {run.ahead()}",
    }


def _place(now: Moment) -> dict[str, str]:
    order, bars = now.order, now.loop.bars
    if order is None:
        waiting = {OPENING: "one moment", STOPPED: "stopped"}.get(now.phase, "ready")
        return {"where": figure("1.1"), "pass": waiting, "spoken": ""}
    beat = max(now.beat, 0) + 1
    if order.kind == COUNT:
        words = "count-in"
    elif order.kind == MODEL:
        words = f"listen · bar {order.loop_bar + 1} of {bars}"
    else:
        words = f"pass {order.pass_no + 1} · bar {order.loop_bar + 1} of {bars}"
    return {
        "where": figure(f"{beat}" if order.kind == COUNT else f"{order.loop_bar + 1}.{beat}"),
        "pass": "stopped" if now.phase == STOPPED else words,
        "spoken": _spoken(now, order),
    }


def _spoken(now: Moment, order: BarOrder) -> str:
    """The count of a count-in, up to where it is; in a pass its stumbles."""
    stumbles = now.run.stumbles
    if order.kind == PLAY and stumbles:
        return f"{stumbles} stumble{'s' if stumbles > 1 else ''}"
    if order.kind != COUNT:
        return ""
    pattern = now.loop.pattern
    words = [w for w in count_syllables(pattern.meter, pattern.slots) if w != "·"]
    reached = Fraction(len(words), now.run.beats) * max(now.beat + 1, 1)
    # In sixteenths the whole bar is too long for its place: what was said last stays.
    said = "  ".join(words[: int(reached)])
    return said if len(said) <= now.room else said[-now.room :].lstrip()


def _shapes(now: Moment) -> dict[str, str]:
    """The shape of now and the next one that differs."""
    held, order = now.loop.held, now.order
    bar = order.loop_bar if order and order.kind != COUNT else 0
    here = held[bar].at(Fraction(max(now.beat, 0)))
    later = [h for h in held[bar].holds if h.beat > here.beat] + [h for b in (*held[bar + 1 :], *held) for h in b.holds]
    words = {"now": "\n".join(shape_rows(str(here.chord or "N"), here.shape, here.bass))}
    after = next((h for h in later if h.chord != here.chord), None)
    if after is not None:
        words["following"] = "\n".join(shape_rows(f"then {after.chord or 'N'}", after.shape, after.bass))
    return words


def _below(now: Moment) -> dict[str, str]:
    run, click, settings = now.run, now.click, now.settings
    ladder = "  ".join(f"▐{name}▌" if name == run.layer else f" {name} " for name in run.layers)
    sung = "   you sing, the thumb holds" if run.layer == run.layers[0] and len(run.layers) > 1 else ""
    way = CLICK_MODES[click.mode] + (f" {click.bars_on} on {click.bars_off} off" if click.mode == "gaps" else "")
    last = now.passes[-SHOWN_PASSES:]
    told = "  ".join(f"{shown(p.bpm)} {'✓' if p.clean else '×' * min(p.stumbles, 3)}" for p in last)
    click_words = f"click {way} {volume_bar(settings.click_volume)}"
    return {
        "ladder": f"layer {ladder}{sung}",
        "modes": f"{click_words}   guide {GUIDES[now.guide]} {volume_bar(settings.guide_volume)}",
        "history": f"passes {told}" if told else "",
        "keys": hints(STAGE, now.keys, max(now.width - 2, 20)),
    }


def _head(now: Moment) -> str:
    chords = " ".join(dict.fromkeys(bar.name for bar in now.loop.held))
    left = max((now.run.play_limit or 0.0) - (now.order.play_s if now.order else 0.0), 0.0)
    time = f"{int(left) // 60}:{int(left) % 60:02d} left"
    right = f"{now.place} · {time}" if now.place else time
    room = max(now.width - 2 - len(right) - 1, 8)
    return f"{f'{now.title} · {chords}'[:room]:<{room}} {right}"


def volume_bar(volume: float) -> str:
    """A volume (0 to 1) as one small bar."""
    return "▁▂▃▄▅▆▇█"[min(round(volume * 7), 7)] if volume > 0 else "·"

"""The sound of a page: an engine opened away from the screen, MIDI beside it, both closed without waiting."""

from __future__ import annotations

import gc
from collections.abc import Callable
from threading import Thread
from typing import TYPE_CHECKING

from coach.session.context import World

if TYPE_CHECKING:
    from coach.sound.engine import Engine
    from coach.sound.midi_out import MidiOut
    from coach.sound.score import BarScore


def open_engine(world: World, on_end: Callable[[], None], on_trouble: Callable[[str], None]) -> Engine:
    """An engine on the player's device. Takes its time (a sound server may sleep), so it is called on a thread.

    `on_end` and `on_trouble` are called on the engine's own thread. Raises CoachError.
    """
    from coach.sound.engine import Engine

    settings = world.settings
    engine = Engine(
        world.speaker(settings.buffer_ms),
        click_volume=settings.click_volume,
        guide_volume=settings.guide_volume,
        on_end=on_end,
        on_trouble=on_trouble,
        offset_s=settings.offset_ms / 1000,
        clock=world.clock,
    )
    # A full collection while playing would hold up the callback: what lives now is left out of it.
    gc.unfreeze()
    gc.collect()
    gc.freeze()
    return engine


def let_go(engine: Engine) -> None:
    """Give back the device of an engine that was opened too late; away from the screen, for it may take its time."""
    Thread(target=engine.speaker.close, name="coach-let-go", daemon=True).start()


class Band:
    """What plays: the engine, and the MIDI port when one was chosen."""

    def __init__(self, world: World, engine: Engine, on_trouble: Callable[[str], None]) -> None:
        self.engine = engine
        self._midi: MidiOut | None = None
        self._port = world.settings.midi_out
        self._on_trouble = on_trouble

    def start(self, source: Callable[[int], BarScore | None]) -> None:
        """Play the bars of `source`."""
        self.engine.start(source)
        if self._port:
            from coach.sound.midi_out import MidiOut

            self._midi = MidiOut(self._port, on_trouble=self._on_trouble)
            self._midi.start(self.engine)

    def stop(self, *, wait: bool = False) -> None:
        """Fade out; does not wait for the device unless told."""
        if self._midi is not None:
            self._midi.stop(wait=wait)
            self._midi = None
        self.engine.stop(wait=wait)

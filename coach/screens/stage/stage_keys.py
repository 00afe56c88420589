"""What keys of the stage change while it runs: tempo, layers, ramp, click, guide and look."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from typing import TYPE_CHECKING, TypeVar

from coach.music.clicks import CLICK_MODES, ClickWay
from coach.plan.planner import Block
from coach.screens.shared.tab_view import TabView
from coach.session.conductor import GUIDES, Conductor, Loop
from coach.session.context import World
from coach.session.run import BarOrder, Run
from coach.session.run_setup import after, next_ramp

if TYPE_CHECKING:
    from coach.sound.engine import Engine

T = TypeVar("T")
VOLUME_STEP = 0.1


class StageKeys:
    """The deeds of these keys; the stage brings what they are done to."""

    world: World
    block: Block
    loop: Loop
    run_state: Run
    conductor: Conductor
    click_way: ClickWay
    ceiling: Fraction | None
    engine: Engine | None
    tab: TabView
    _order: BarOrder | None

    def _put(self, name: str, text: str) -> None:
        raise NotImplementedError

    def _figures(self) -> None:
        raise NotImplementedError

    def _changed(self) -> None:
        raise NotImplementedError

    def _wish(self, deed: Callable[[Run], T]) -> T:
        """Tell the run; it takes effect at the next bar line."""
        with self.conductor.lock:
            answer = deed(self.run_state)
        self._changed()
        return answer

    def action_tempo(self, by: int) -> None:
        """Faster or slower from the next bar line."""
        self._wish(lambda run: run.faster(by))

    def action_sing(self) -> None:
        """Thumb alone, or back; over words the chosen layer under them."""
        self._wish(lambda run: run.sing())

    def action_ladder(self) -> None:
        """Passes bring the next layer under the voice, or it is held."""
        climbs = self._wish(Run.climb)
        if self.loop.climbs:  # words spoken over the thumb begin without it, whatever is usual
            self.world.change(ladder=climbs)
        self._put("say", "a clean pass brings the next layer" if climbs else "the layer under the voice is held")

    def action_early(self) -> None:
        """The layer changes one bar before the words, or with them."""
        early = self._wish(Run.change_early)
        self.world.change(thinning="arranged" if early == self.loop.early else "early" if early else "words")
        self._put("say", "the picking thins one bar before the words" if early else "the picking thins with the words")

    def action_hum(self) -> None:
        """The tune is hummed, or not."""
        if not any(self.loop.tune):
            self._put("say", "no tune is written for this")
            return
        self.conductor.humming = not self.conductor.humming
        self.world.change(humming=self.conductor.humming)
        self._changed()

    def action_layer(self, by: int) -> None:
        """Up or down the ladder of layers."""
        self._wish(lambda run: run.step_layer(by))

    def action_repeat(self) -> None:
        """The pass again from its first bar."""
        self._wish(lambda run: run.again())

    def action_hold(self) -> None:
        """Hold the ramp or let it go on."""
        self._wish(lambda run: run.hold())

    def action_ramp(self) -> None:
        """The next kind of ramp, from the tempo of now."""
        if self.block.listened:
            self._put("say", "only listening: the tempos are set")
            return
        ramp = next_ramp(self.run_state, self.block, self.loop.bars, self._order, self.ceiling)
        self._wish(lambda run: run.change_ramp(ramp))
        if self.block.ramp is None:  # else it was not the player's own way that was changed
            self.world.change(ramp=ramp.name)
        self._figures()

    def action_click(self) -> None:
        """The next way to click."""
        mode = after(CLICK_MODES, self.conductor.click.mode)
        self.conductor.click = ClickWay(mode, self.click_way.bars_on, self.click_way.bars_off)
        self.world.change(click_mode=mode)
        self._changed()

    def action_guide(self) -> None:
        """The next choice of guide notes."""
        self.conductor.guide = after(GUIDES, self.conductor.guide)
        self.world.change(guide=self.conductor.guide)
        self._changed()

    def action_volume(self, which: str, by: int) -> None:
        """Click or guide, softer or louder."""
        name = f"{which}_volume"
        volume = round(min(max(getattr(self.world.settings, name) + by * VOLUME_STEP, 0.0), 1.0), 2)
        self.world.change(**{name: volume})
        if self.engine is not None:
            settings = self.world.settings
            self.engine.set_volumes(click=settings.click_volume, guide=settings.guide_volume)
        self._figures()

    def action_still(self) -> None:
        """Glide, or a still page."""
        self.tab.still = not self.tab.still
        self.world.change(still_tab=self.tab.still)
        self.tab.renew()

    def action_bell(self) -> None:
        """The terminal bell in the place of a click."""
        on = not self.world.settings.bell
        self.world.change(bell=on)
        self._put("say", "the terminal bell rings when there is no sound" if on else "the terminal bell is off")

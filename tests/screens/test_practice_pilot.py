"""A whole practice, driven from the keys: what is pressed is heard at the next bar line and stands in the ledger."""

from __future__ import annotations

import threading
from fractions import Fraction
from pathlib import Path

import pytest

from coach.screens import app as app_module
from coach.screens.stage import verdict as verdict_module
from coach.screens.stage.stage_page import RUNNING, STOPPED
from coach.screens.today_page import Today
from coach.session.run import COUNT, MODEL, PLAY
from coach.sound.device import SilentSpeaker
from coach.sound.engine import Engine
from tests.screens.house import House, house


async def begin(here: House, key: str = "enter") -> None:
    """Begin today's practice as soon as the plan is there."""
    await here.until(lambda: isinstance(here.app.screen, Today) and here.app.screen.plan is not None, "the plan")
    await here.press(key)


def click_frames(engine: Engine) -> list[int]:
    """Where every click of the bars begun or mixed must lie: round(t · rate), from the bar's own tempo segment."""
    frames = []
    for bar in engine.timeline:
        for stroke in bar.score.strokes:
            exact = bar.segment.seconds(bar.start_beat + stroke.beat) * engine.rate
            frames.append(round(exact))
    return frames


async def test_from_today_to_the_ledger_and_on(tmp_path: Path) -> None:
    """Enter, listen, count-in, two passes, stumbles, sing, faster, end, held, rest, on, leave, quit: all is kept."""
    async with house(tmp_path, minutes=5) as here:
        await begin(here)
        stage = await here.running()
        title = stage.block.title
        assert stage._order is not None
        assert stage._order.kind == MODEL
        assert "listen · bar 1 of" in here.page_text()
        bars = stage.loop.bars
        await here.to_bar(bars)
        assert stage._order.kind == COUNT
        await here.to_bar(bars + 1)
        assert stage._order.kind == PLAY
        assert f"pass 1 · bar 1 of {bars}" in here.page_text()
        await here.to_bar(bars + 2, 2.6)  # the last half of the third beat
        await here.press("space")
        assert "1 stumble" in here.page_text()
        await here.to_bar(2 * bars + 1)
        assert "pass 2" in here.page_text()
        await here.press("pageup")  # the pedal marks one too
        await here.press("s", "right", "up")
        await here.to_bar(3 * bars)
        assert "you sing, the thumb holds" in here.page_text()
        await here.press("e")
        await here.to(here.clock.seconds + 20)
        await here.on("Verdict")
        assert "2 passes, 0 clean" in here.page_text()
        await here.press("h")
        await here.on("Rest")
        await here.press("enter")
        other = await here.running()
        assert other is not stage
        assert other.block.title != title
        await here.press("escape")
        await here.on("Today")
        await here.press("q")
    with here.ledger() as ledger:
        (take,) = ledger.takes()
        first, second = sorted(ledger.stumbles(), key=lambda stumble: stumble.pass_no)
    drill = next(d for d in here.app.world.drills if d.id == take.drill)
    assert drill.title == title
    assert (take.verdict, take.mode, take.layer, take.stumbles) == ("held", "play", "full", 2)
    assert [(p.number, p.bars, p.stumbles, p.clean) for p in take.passes] == [(1, 4, 1, False), (2, 4, 1, False)]
    slots = 1 / stage.loop.bar(0).slot_beats
    assert (first.bar, Fraction(first.beat), first.pass_no) == (1, Fraction(int(Fraction("2.6") * slots)) / slots, 1)
    assert (second.bar, second.beat, second.pass_no) == (0, "0", 2)
    started = stage.block.tempo_from
    assert started is not None
    assert take.passes[0].tempo == started == first.tempo
    earned = float(round(started / Fraction("1.03") ** 4 * 10)) / 10
    assert take.passes[1].tempo == pytest.approx(earned + 5)
    assert take.passes[1].layer == "thumb"


async def test_a_block_begun_on_the_thumb_is_a_singing_take(tmp_path: Path) -> None:
    """`--sing`: the take is written down as sung, on the thumb layer."""
    async with house(tmp_path, drill="outside-in", sing=True) as here:
        await here.running()
        await here.to_bar(9)
    with here.ledger() as ledger:
        (take,) = ledger.takes()
    assert (take.mode, take.layer, [p.layer for p in take.passes]) == ("sing", "thumb", ["thumb"])


async def test_leaving_in_the_middle_keeps_every_finished_pass(tmp_path: Path) -> None:
    """The app is ended in the second bar of the third pass: two passes are there, and the take has no verdict."""
    async with house(tmp_path, drill="outside-in") as here:
        await here.running()
        await here.to_bar(5 + 2 * 4 + 1)
        here.app.exit()
    with here.ledger() as ledger:
        (take,) = ledger.takes()
    assert ([p.number for p in take.passes], take.verdict) == ([1, 2], None)


# Changes while it runs ----------------------------------------------------------------------


async def test_changes_come_with_the_next_bar_line_and_on_the_sample(tmp_path: Path) -> None:
    """Faster and thumb alone, pressed in a bar: that bar stays, the next has both; clicks are at round(t · rate)."""
    async with house(tmp_path, drill="outside-in", ramp="steady") as here:
        await here.running()
        await here.to_bar(6, 1.5)
        sounding = next(bar for bar in here.engine.timeline if bar.number == 6)
        await here.press("up", "s")

        def both() -> bool:
            # While it is mixed anew, bar 7 is not in the timeline at all; each key has it mixed once.
            mixed = [bar.score for bar in here.engine.timeline[7:8]]
            return [(m.bpm_from, {p.finger for p in m.plucks}) for m in mixed] == [(124, {"p"})]

        await here.until(both, "the new tempo and the thumb alone")
        now, following = here.engine.timeline[6:8]
        assert now == sounding
        assert now.score.bpm_from == 120
        assert {p.finger for p in now.score.plucks} > {"p"}
        assert {p.finger for p in following.score.plucks} == {"p"}
        assert following.start_frame == now.end_frame
        await here.to_bar(8)
        # Count-in and model included: at 120 bpm a beat is half a second, 24000 frames; from bar 7 on at 124.
        beat = Fraction(60 * 48000, 124)
        line = 7 * 4 * 24000
        by_hand = [k * 24000 for k in range(28)] + [round(line + k * beat) for k in range(8)]
        assert click_frames(here.engine)[:36] == by_hand
        assert [bar.start_frame for bar in here.engine.timeline][:9] == by_hand[::4]


async def test_every_wish_is_seen_at_once(tmp_path: Path) -> None:
    """Click, guide, hold, ramp and layer: one key, and the page says so."""
    wishes = {"c": "two and four", "g": "guide thumb only", "t": "▐pinches▌", "m": "climb", "h": "held"}
    async with house(tmp_path, drill="outside-in") as here:
        await here.running()
        await here.to_bar(6)
        for key, shows in wishes.items():
            assert shows not in here.page_text()
            await here.press(key)
            assert shows in here.page_text()


async def test_a_stumble_just_after_the_bar_line_is_in_the_new_bar(tmp_path: Path) -> None:
    """Marked in the first hundredth of a bar, before the screen has drawn it: written there, on its first beat."""
    async with house(tmp_path, drill="outside-in") as here:
        stage = await here.running()
        await here.to_bar(6, 3.9)
        here.clock.seconds = here.bar_at(7) + 0.01
        stage.action_stumble()  # no tick between
        await here.settle()
    with here.ledger() as ledger:
        (stumble,) = ledger.stumbles()
    assert (stumble.bar, stumble.beat, stumble.pass_no) == (2, "0", 1)


async def test_again_starts_the_pass_anew(tmp_path: Path) -> None:
    """Pressed in the third bar of the first pass: the loop's first bar follows, still pass 1."""
    async with house(tmp_path, drill="outside-in") as here:
        stage = await here.running()
        await here.to_bar(7, 1.0)
        await here.press("r")
        await here.to_bar(8)
        assert stage._order is not None
        assert (stage._order.loop_bar, stage._order.pass_no) == (0, 0)
        await here.to_bar(12)
        assert [p.number for p in stage.take.passes] == [0]


async def test_stop_and_go_on_in_one_take(tmp_path: Path) -> None:
    """Enter stops in the second pass, enter goes on after a count-in; one take with two whole passes comes of it."""
    async with house(tmp_path, drill="outside-in") as here:
        stage = await here.running()
        await here.to_bar(10)
        await here.press("enter")
        assert stage.phase == STOPPED
        assert "stopped" in here.page_text()
        await here.press("enter")
        await here.running()
        assert stage._order is not None
        assert stage._order.kind == COUNT
        await here.to_bar(5)
        assert [p.number for p in stage.take.passes] == [0, 1]
    with here.ledger() as ledger:
        (take,) = ledger.takes()
    assert [p.number for p in take.passes] == [1, 2]


async def test_volumes_change_without_moving_a_click(tmp_path: Path) -> None:
    """Click softer, guide louder: the settings follow, and no frame moves."""
    async with house(tmp_path, drill="outside-in", click_volume=0.8, guide_volume=0.6) as here:
        await here.running()
        await here.to_bar(2)
        before = click_frames(here.engine)
        await here.press("7", "0", "0")
        await here.settle()
        assert here.app.world.settings.click_volume == 0.7
        assert here.app.world.settings.guide_volume == 0.8
        assert click_frames(here.engine)[: len(before)] == before


# One pedal, or none -------------------------------------------------------------------------


async def test_one_pedal_is_enough_for_two_blocks(tmp_path: Path) -> None:
    """Page down alone: begin, play, end, take the verdict that is marked, rest over, play, end, verdict."""
    async with house(tmp_path, minutes=5) as here:
        await begin(here, "pagedown")
        for block in range(2):
            stage = await here.running()
            await here.to_bar(2 * stage.loop.bars + 1)
            await here.press("pagedown")  # end
            await here.to(here.clock.seconds + 20)
            await here.on("Verdict")
            await here.press("pagedown")  # the marked verdict
            if block == 0:
                await here.on("Rest")
                await here.press("pagedown")  # on
    with here.ledger() as ledger:
        takes = ledger.takes()
    assert [t.verdict for t in takes] == ["held", "held"]
    assert len({t.drill for t in takes}) == 2


async def test_a_pedal_goes_on_after_a_stop(tmp_path: Path) -> None:
    """The stumble pedal starts when nothing runs; a stopped block goes on with either pedal."""
    async with house(tmp_path, drill="outside-in") as here:
        stage = await here.running()
        await here.press("enter")
        for pedal in ("pageup", "pagedown"):
            assert stage.phase == STOPPED
            await here.press(pedal)
            await here.running()
            await here.press("enter")


async def test_with_no_key_at_all_practice_goes_on(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The time is over with a pass, the verdict page closes without a word, the rest ends, the next block starts."""
    monkeypatch.setattr(verdict_module, "GO_ON_AFTER_S", 1)
    monkeypatch.setattr(app_module, "SHORT_REST_S", 0.2)
    async with house(tmp_path, minutes=5) as here:
        await begin(here)
        stage = await here.running()
        stage.run_state.play_limit = 20.0
        drill = stage.block.drill
        await here.to(120)
        other = await here.another_stage(stage)
        assert other.block.drill != drill
        assert other.phase == RUNNING
    with here.ledger() as ledger:
        (take,) = ledger.takes()
    assert take.verdict is None
    assert len(take.passes) >= 1


async def test_another_go_plays_the_same_block_as_a_new_take(tmp_path: Path) -> None:
    """`r` on the verdict page: the same drill again, not heard first this time, and a second take."""
    async with house(tmp_path, drill="outside-in") as here:
        stage = await here.running()
        await here.to_bar(9)
        await here.press("e")
        await here.to(here.clock.seconds + 10)
        await here.on("Verdict")
        await here.press("r")
        other = await here.another_stage(stage)
        assert other.block == stage.block
        assert other._order is not None
        assert other._order.kind == COUNT
        await here.to_bar(5)
    with here.ledger() as ledger:
        assert [len(t.passes) for t in ledger.takes()] == [1, 1]


async def test_left_while_the_sound_is_still_opening(tmp_path: Path) -> None:
    """A sound server takes its time and the player leaves: nothing starts, and the device is let go when it comes."""
    may_open, let_go = threading.Event(), threading.Event()

    class SlowSpeaker(SilentSpeaker):
        def close(self) -> None:
            let_go.set()

    def slow(buffer_ms: int) -> SilentSpeaker:
        may_open.wait(10)
        return SlowSpeaker()

    async with house(tmp_path, minutes=5) as here:
        here.app.world.speaker = slow
        await begin(here)
        await here.on("Stage")
        stage = here.stage
        assert "one moment" in here.page_text()
        await here.press("escape")
        await here.on("Today")
        may_open.set()
        await here.until(let_go.is_set, "the device to be let go")
        assert stage.engine is None


# Other pages on top -------------------------------------------------------------------------


async def test_the_block_may_end_while_help_is_open(tmp_path: Path) -> None:
    """Help lies on the stage when the last bar has sounded: the verdict is asked, then all goes on as ever."""
    async with house(tmp_path, drill="outside-in") as here:
        stage = await here.running()
        await here.to_bar(8)
        await here.press("e")
        await here.press("question_mark")
        await here.on("Help")
        await here.to(here.clock.seconds + 10)
        await here.on("Verdict")
        await here.press("f")
        await here.until(lambda: not here.app.is_running or stage not in here.app.screen_stack, "the stage to leave")
    with here.ledger() as ledger:
        assert [t.verdict for t in ledger.takes()] == ["flowing"]


async def test_a_block_without_a_pass_may_end_while_help_is_open(tmp_path: Path) -> None:
    """Ended in its first bar with help open: there is nothing to ask, and stage and help make room for the rest."""
    async with house(tmp_path, minutes=5) as here:
        await begin(here)
        stage = await here.running()
        await here.press("e")
        await here.press("question_mark")
        await here.on("Help")
        await here.to(here.clock.seconds + 10)
        await here.on("Rest")
        assert stage not in here.app.screen_stack
        assert [type(screen).__name__ for screen in here.app.screen_stack][1:] == ["Today", "Rest"]


async def test_help_does_not_stop_the_run(tmp_path: Path) -> None:
    """With help open the bars go on and passes are written; closed again, the stage shows where it is."""
    async with house(tmp_path, drill="outside-in") as here:
        stage = await here.running()
        await here.press("question_mark")
        await here.on("Help")
        await here.to_bar(9)
        assert len(stage.take.passes) == 1
        await here.press("escape")
        assert "pass 2 · bar 1 of 4" in here.page_text()


async def test_pain_stops_everything_and_is_written_down(tmp_path: Path) -> None:
    """One key: the sound ends, the session is over, the caution names a clinician, a note with the title stands."""
    async with house(tmp_path, minutes=5, size=(100, 30)) as here:
        await begin(here)
        stage = await here.running()
        engine = here.engine
        await here.to_bar(2)
        await here.press("o")
        await here.on("Today")
        await here.until(lambda: not engine.running, "silence")
        assert [type(screen).__name__ for screen in here.app.screen_stack][1:] == ["Today"]
        await here.until(lambda: "clinician" in " ".join(here.page_text().split()), "the caution")
    with here.ledger() as ledger:
        (note,) = ledger.notes("pain reported")
    assert note.text == stage.block.title


async def test_a_stage_left_while_it_is_being_made_draws_nothing(tmp_path: Path) -> None:
    """A signal in the first moments: the innermost parts have gone, the page has not, and it is told to start."""
    async with house(tmp_path, minutes=5) as here:
        await begin(here)
        stage = await here.running()
        await here.press("enter")
        await stage.query("#spoken").remove()
        stage.action_start_stop()
        stage._figures()
        assert here.app.is_running

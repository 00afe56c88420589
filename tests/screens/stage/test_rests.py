"""Rests on the stage: proposed once after half an hour of playing without one, never cutting the music, one key takes
it. Five minutes in each half hour: BAPAM, "Ten top health tips for musicians"."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest

from coach.log.ledger import Ledger
from coach.log.notes import NoteKind
from coach.screens.progress.progress_page import Record
from coach.screens.stage import rest as rest_module
from coach.screens.stage.rest import FULL_S, Rest
from coach.screens.stage.stage_page import RUNNING, STOPPED, Stage
from coach.screens.today_page import Today
from coach.session.run import COUNT, PLAY
from tests.screens.house import House, house
from tests.screens.pictures import MOMENT, world

OFFER = "without a rest: p gives your hands five minutes, or just play on"
MINUTE = timedelta(minutes=1)


def just_played(home: Path, minutes: int, ago: int = 0) -> None:
    """A take of passes of a minute (20 bars of 4/4 at 80) that ended so many minutes ago."""
    home.mkdir(parents=True, exist_ok=True)
    begun = MOMENT - (minutes + ago) * MINUTE
    with Ledger(home / "ledger.sqlite3") as ledger:
        id_ = ledger.begin_take("outside-in", 80, at=begun)
        for n in range(minutes):
            ledger.add_pass(id_, n + 1, 80, 20, at=begun + (n + 1) * MINUTE)


async def counted(here: House, minutes: float) -> None:
    """Wait until the stage knows what was played before."""
    await here.until(lambda: here.app.world.rest_watch.before == pytest.approx(minutes), "what was played before")


async def test_a_rest_is_proposed_with_the_end_of_a_pass_and_not_at_each(tmp_path: Path) -> None:
    """After half an hour in an earlier session, on one drill alone: with the first pass, while the music goes on; the
    next pass says nothing again, and no key was needed."""
    just_played(tmp_path, 30)
    async with house(tmp_path, drill="outside-in", tempo=120) as here:
        stage = await here.running()
        await counted(here, 30)
        await here.to_bar(4)  # a bar is counted in, then come four
        assert OFFER not in here.page_text()
        await here.to_bar(5)
        assert f"Half an hour {OFFER}" in here.page_text()
        assert stage.phase == RUNNING
        await here.press("right")
        stage.say("")
        await here.to_bar(9)
        assert OFFER not in here.page_text()
        assert (stage._order.kind, stage._order.pass_no) == (PLAY, 2)


async def test_nothing_is_said_before_half_an_hour_or_after_a_rest(tmp_path: Path) -> None:
    """Twenty minutes just now, or forty that ended five minutes ago: no word."""
    for home, minutes, ago, before in ((tmp_path / "a", 20, 0, 20), (tmp_path / "b", 40, 5, 0)):
        just_played(home, minutes, ago)
        async with house(home, drill="outside-in") as here:
            stage = await here.running()
            await counted(here, before)
            await here.to_bar(5)
            assert len(stage.take.passes) == 1
            assert OFFER not in here.page_text()


async def test_the_key_lets_the_pass_end_then_rests_then_goes_on(tmp_path: Path) -> None:
    """p in the middle of a pass: its last bar still sounds and it counts; five minutes on the page; enter goes on with
    a count-in, the next pass and the tempo that was earned."""
    just_played(tmp_path, 30)
    async with house(tmp_path, drill="outside-in", ramp="earned") as here:
        stage = await here.running()
        await here.to_bar(2)
        await here.press("p")
        assert "rest after this pass" in here.page_text()
        await here.to_bar(4, 3.5)
        assert stage.phase == RUNNING
        await here.to(here.clock.seconds + 2)
        await here.on("Rest")
        assert stage.phase == STOPPED
        assert [p.number for p in stage.take.passes] == [0]
        assert here.app.screen.seconds == FULL_S
        assert stage.run_state.played_s == pytest.approx(8.0)  # 4 bars of 4 at 120
        await here.press("enter")
        await here.until(lambda: stage.phase == RUNNING and stage._order is not None, "the count-in")
        assert stage._order.kind == COUNT
        await here.to_bar(1)
        assert (stage._order.kind, stage._order.pass_no, stage._order.ramp_bar) == (PLAY, 1, 4)
        await here.press("p", "p")  # and back
        await here.to_bar(5)
        assert (stage.phase, stage._order.pass_no) == (RUNNING, 2)


async def test_enough_on_the_rest_page_leaves_the_stage(tmp_path: Path) -> None:
    """Stopped, p rests at once; escape there is enough for now: back on today, and the pass is in the ledger."""
    async with house(tmp_path, minutes=5) as here:
        await here.until(lambda: isinstance(here.app.screen, Today) and here.app.screen.plan is not None, "the plan")
        await here.press("enter")
        stage = await here.running()
        await here.to_bar(2 * stage.loop.bars + 1)
        await here.press("enter", "p")
        await here.on("Rest")
        await here.press("escape")
        await here.on("Today")
    with here.ledger() as ledger:
        (take,) = ledger.takes()
    assert len(take.passes) == 1


async def test_a_rest_asked_for_in_the_last_pass_comes_before_the_verdict(tmp_path: Path) -> None:
    """The time of the block is over with the pass: rest first, then how it was."""
    async with house(tmp_path, drill="outside-in") as here:
        stage = await here.running()
        stage.run_state.play_limit = 4.0
        await here.to_bar(6)
        await here.press("p")
        await here.to(here.clock.seconds + 8)
        await here.on("Rest")
        await here.press("enter")
        await here.on("Verdict")
        assert len(stage.take.passes) == 1


async def test_between_blocks_the_short_rest_can_be_made_long(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """After half an hour the breath between two blocks proposes five minutes: one key makes it so, without one it goes
    on by itself."""
    just_played(tmp_path, 30)
    async with house(tmp_path) as here:
        app = here.app
        app.push_screen(Rest(10, "Two lamps", {}, f"Half an hour {OFFER}."))
        await here.on("Rest")
        page = app.screen
        assert isinstance(page, Rest)
        offer = f"Half an hour {OFFER}."
        await here.until(lambda: offer in " ".join(here.page_text().split()), "the proposal")
        assert page.seconds == rest_module.OFFER_S
        begun = page.until
        await here.press("p")
        assert page.seconds == FULL_S
        assert page.until >= begun + FULL_S - rest_module.OFFER_S
        await here.until(lambda: "Put the guitar down" in here.page_text(), "the words of a long rest")
        until = page.until
        await here.press("p")
        assert page.until == until


async def test_the_end_of_a_block_proposes_where_no_pass_did(tmp_path: Path) -> None:
    """The only pass ends the block: the rest that comes before the next block proposes five minutes."""
    just_played(tmp_path, 30, ago=1)
    async with house(tmp_path, minutes=20) as here:
        await here.until(lambda: isinstance(here.app.screen, Today) and here.app.screen.plan is not None, "the plan")
        assert here.app.screen.plan.blocks[0].kind == "rest"
        await here.press("down", "enter")  # the player skips the rest
        stage = await here.running()
        await counted(here, 30)
        await here.to_bar(stage.loop.bars + 1)
        stage.run_state.play_limit = 1.0
        await here.to(here.clock.seconds + 4 * 60 / 40 * stage.loop.bars)
        await here.on("Verdict")
        await here.press("h")
        await here.on("Rest")
        offer = "without a rest: p gives your hands five minutes"
        await here.until(lambda: offer in " ".join(here.page_text().split()), "the proposal")


async def test_what_was_broken_off_is_written_down(tmp_path: Path) -> None:
    """A pass of 8 seconds and 2 bars of the next, then the app is left: the ledger knows of 4 seconds more, or of what
    there is from five seconds on."""
    async with house(tmp_path, drill="outside-in", ramp="steady", tempo=60) as here:
        stage = await here.running()
        await here.to_bar(9 + 2)
        assert isinstance(stage, Stage)
        here.app.exit()
    with here.ledger() as ledger:
        (take,) = ledger.takes()
        (note,) = ledger.notes(NoteKind.SECONDS_BESIDE)
    assert len(take.passes) == 1
    assert note.take == take.id
    assert float(note.text) == pytest.approx(8.0, abs=0.1)  # two bars of four beats at 60


def lately(home: Path, minutes: int) -> None:
    """So many minutes on each of the three days before."""
    for days in (3, 2, 1):
        just_played(home, minutes, ago=days * 24 * 60)


async def test_enough_for_today_is_said_kindly_and_undo_touches_no_pain(tmp_path: Path) -> None:
    """Twenty minutes a day lately allow thirty (BAPAM: ten more a day): after 31 today has no block, says why, begins
    nothing; u, which takes back a slip of the pain key on a day of pain, writes nothing."""
    lately(tmp_path, 20)
    just_played(tmp_path, 31, ago=10)
    async with house(tmp_path, (100, 30)) as here:
        await here.until(lambda: isinstance(here.app.screen, Today) and here.app.screen.plan is not None, "the plan")
        await here.until(lambda: "enough for now" in here.page_text(), "the page")
        page = " ".join(here.page_text().split())
        assert "31 minutes played today, and that is a good day: let the hands rest, and go on tomorrow." in page
        assert "pain key" not in page
        await here.press("u", "enter")
        await here.quiet()
        assert isinstance(here.app.screen, Today)
    with here.ledger() as ledger:
        assert ledger.notes() == []


def test_plan_and_progress_page_know_the_same_minutes(tmp_path: Path) -> None:
    """Eight takes of 100 seconds with pauses between them, half an hour's worth on the clock: both say 13 minutes."""
    lately(tmp_path, 20)
    with Ledger(tmp_path / "ledger.sqlite3") as ledger:
        for n in range(8):
            begun = MOMENT - timedelta(minutes=40 - 4 * n)
            id_ = ledger.begin_take("outside-in", 96, at=begun)
            ledger.add_pass(id_, 1, 96, 40, at=begun + timedelta(seconds=100))  # 160 beats at 96
    here = world(tmp_path)
    assert Record(here).minutes[-1] == (MOMENT.date(), pytest.approx(8 * 100 / 60))
    assert "you have played 13 today already" in " ".join(here.plan(60).notes)

"""A listening block on the stage: the guide plays, the hands rest, nothing counts, and it is remembered for the day."""

from dataclasses import replace
from pathlib import Path

import pytest

from coach.log.notes import NoteKind
from coach.plan.listening import heard_today
from coach.plan.planner import LISTEN_KIND, Block
from coach.screens.shared.figures import figure_rows
from coach.screens.stage.large_letters import large
from coach.session.run import COUNT, MODEL
from tests.screens.house import House, house
from tests.screens.made_songs import lantern
from tests.screens.pictures import MOMENT
from tests.screens.test_pages import SIZES, check_lines

TURN = Block("play", "outside-in", "Outside in", 3, 60, 66, "full", ("new today",), 0.03)
HEAR = replace(TURN, kind=LISTEN_KIND, minutes=1, tempo_to=120)


async def listening(here: House) -> None:
    """On the stage with a listening block and the turn it stands before."""
    await here.on("Today")
    here.app.practise((HEAR, TURN))
    await here.running()


async def test_it_is_heard_slowly_then_at_the_target_and_the_turn_follows(tmp_path: Path) -> None:
    """A minute: once round at 60, then at 120; by itself it goes on to the turn, which is counted in at once."""
    async with house(tmp_path) as here:
        await listening(here)
        stage = here.stage
        assert stage._order is not None
        assert (stage._order.kind, stage._order.bpm_from) == (MODEL, 60)
        assert "bar 1 of 4 · hands at rest" in here.page_text()
        assert "listen: then at 120" in here.page_text()
        assert "stumble" not in here.page_text()
        await here.press("space")  # nothing is played, so nothing stumbles
        await here.press("m")  # nor is there a tempo to earn
        assert stage._order.bpm_from == 60
        await here.to_bar(4)
        assert (stage._order.kind, stage._order.bpm_from) == (MODEL, 120)
        await here.to(70)
        turn = await here.another_stage(stage)
        assert turn.block == TURN
        assert turn._order is not None
        assert turn._order.kind == COUNT
        await here.press("escape")
        await here.on("Today")
    with here.ledger() as ledger:
        assert ledger.takes() == []
        assert ledger.stumbles() == []
        assert heard_today(ledger.notes(NoteKind.LISTENED), MOMENT.date()) == {"outside-in"}


@pytest.mark.parametrize("size", [*SIZES, (60, 24), (80, 40), (104, 36)])
@pytest.mark.parametrize("drill", ["outside-in", "lantern/plain/part/Verse"])
async def test_it_is_read_from_two_metres(tmp_path: Path, size: tuple[int, int], drill: str) -> None:
    """In every size: tempo and bar as figures, LISTEN in large letters, the tab from string to string, the keys;
    nothing of layers, of which there is nothing to choose."""
    async with house(tmp_path, size, songs=(lantern(),)) as here:
        await here.on("Today")
        here.app.practise((replace(HEAR, drill=drill), TURN))
        stage = await here.running()
        await here.to_bar(1, 1.1)
        check_lines(here, size)
        page = here.page_text()
        for row in (*large("LISTEN"), *figure_rows("60"), *figure_rows("2.2")):
            assert row.rstrip() in page
        assert "layer" not in page
        if size[1] > 22 or "/" not in drill:
            assert f"bar 2 of {stage.loop.bars}" in page
        assert sum("╂" in line or "┃" in line for line in here.lines()) >= 8
        assert here.lines()[-1].strip().endswith("? all keys")
        assert not stage.show_vertical_scrollbar
        assert stage.max_scroll_y == 0


async def test_one_key_goes_on_and_it_is_not_played_again_today(tmp_path: Path) -> None:
    """`e`, or the pedal, ends it at the bar line; begun anew later, the turn needs no model either."""
    async with house(tmp_path) as here:
        await listening(here)
        stage = here.stage
        await here.press("e")
        await here.to(10)
        turn = await here.another_stage(stage)
        assert turn._order is not None
        assert turn._order.kind == COUNT
        await here.press("escape")
        await here.on("Today")
        here.app.scribe.wait()
        here.app.practise((TURN,))
        again = await here.another_stage(turn)
        assert again._order is not None
        assert again._order.kind == COUNT

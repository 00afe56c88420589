"""A listening block on the stage: the guide plays, the hands rest, nothing counts, and it is remembered for the day."""

from dataclasses import replace
from pathlib import Path

from coach.practice.listening import HEARD, heard_today
from coach.practice.planner import LISTEN_KIND, Block
from coach.practice.run import COUNT, MODEL
from tests.screens.house import House, house
from tests.screens.pictures import MOMENT

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
        assert "listen · bar 1 of 4" in here.page_text()
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
        assert heard_today(ledger.notes(HEARD), MOMENT.date()) == {"outside-in"}


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

"""Today's plan as the player wants it: kept, left out, swapped, ended earlier, taken back; and no more after pain."""

from __future__ import annotations

from pathlib import Path

import pytest

from coach.log.ledger import Ledger
from coach.log.notes import NoteKind
from coach.plan.planner import Block, Plan
from coach.screens.today_page import Blocks, Today
from tests.screens.evenings import practise
from tests.screens.house import House, house
from tests.screens.pictures import MOMENT
from tests.screens.test_pages import planned, words


@pytest.fixture
def played(tmp_path: Path) -> Path:
    """A home with forty days of invented evenings."""
    practise(tmp_path / "ledger.sqlite3", MOMENT)
    return tmp_path


def plan(here: House) -> Plan:
    """The plan on the page."""
    assert isinstance(here.app.screen, Today)
    assert here.app.screen.plan is not None
    return here.app.screen.plan


def drills(here: House) -> list[str]:
    """The drills of the plan's blocks."""
    return [block.drill for block in plan(here).blocks if block.drill]


def chosen(here: House) -> str:
    """The drill of the chosen block."""
    at = here.app.screen.query_one("#blocks", Blocks).highlighted
    assert at is not None
    return plan(here).blocks[at].drill or ""


async def test_left_out_is_left_out_until_taken_back(played: Path) -> None:
    """x on a block: its drill is in no block any more and the page says so; u brings the old plan back."""
    async with house(played, (160, 45)) as here:
        await planned(here)
        before = plan(here)
        await here.press("down")
        gone = chosen(here)
        await here.press("x")
        await here.until(lambda: gone not in drills(here), "a plan without it")
        assert "Left out today, as you asked: " in words(here)
        await here.press("u")
        await here.until(lambda: plan(here).blocks == before.blocks, "the plan before")
        await here.press("u")
        await here.until(lambda: "Nothing was wished today." in words(here), "the word")
    with Ledger(played / "ledger.sqlite3") as ledger:
        assert len(ledger.notes(NoteKind.WISH)) == 2


async def test_a_kept_drill_says_why(played: Path) -> None:
    """k on a block: the drill comes whatever else does, and its reasons say who wished it."""
    async with house(played, (160, 45)) as here:
        await planned(here)
        kept = chosen(here)
        await here.press("k")
        await here.until(lambda: here.app.world.wishes.pinned == (kept,), "the wish")
        assert kept in drills(here)
        why = next(block.why for block in plan(here).blocks if block.drill == kept)
        assert any("you " in reason for reason in why)


async def test_another_drill_in_its_place(played: Path) -> None:
    """w, then enter on the first of those offered: it comes, the old one does not; escape changes nothing."""
    async with house(played, (160, 45)) as here:
        await planned(here)
        await here.press("down")
        gone = chosen(here)
        await here.press("w")
        await here.on("Choice")
        await here.press("escape")
        await here.on("Today")
        assert here.app.world.wishes.swapped == ()
        await here.press("w")
        await here.on("Choice")
        await here.press("down", "enter")
        await here.on("Today")
        await here.until(lambda: here.app.world.wishes.swapped != (), "the swap")
        ((out, into),) = here.app.world.wishes.swapped
        assert out == gone
        assert into in drills(here)
        assert gone not in drills(here)


async def test_today_ends_with_the_chosen_block(played: Path) -> None:
    """e on the third block: the day has the minutes of the three; the setting stays; arrows then change today."""
    async with house(played, (160, 45), minutes=20) as here:
        await planned(here)
        await here.press("down", "down")
        minutes = sum(block.minutes for block in plan(here).blocks[:3])
        await here.press("e")
        await here.until(lambda: plan(here).minutes == minutes, "the shorter day")
        assert f"{minutes} minutes today, as you asked." in words(here)
        await here.press("right")
        await here.until(lambda: plan(here).minutes == minutes + 5, "five minutes more")
        assert here.app.world.settings.minutes == 20


async def test_wishes_hold_when_the_coach_is_opened_again(played: Path) -> None:
    """Left out in the morning, left out at noon."""
    async with house(played, (160, 45)) as here:
        await planned(here)
        await here.press("down")
        gone = chosen(here)
        await here.press("x")
        await here.until(lambda: gone not in drills(here), "a plan without it")
    async with house(played, (160, 45)) as here:
        await planned(here)
        assert gone not in drills(here)


async def test_after_pain_there_is_nothing_to_begin(played: Path) -> None:
    """o on the stage: Today has no block left, says why and sends to a clinician; enter begins nothing."""
    async with house(played, (80, 24)) as here:
        await planned(here)
        await here.press("enter")
        await here.running()
        await here.press("o")
        await here.on("Today")
        await here.until(lambda: not plan(here).blocks, "no more playing")
        page = words(here)
        assert "no more playing" in page
        assert "Stopped for today. Stop at once on pain, numbness or tingling" in page
        assert "see a doctor or a performing-arts clinician" in page
        await here.press("enter")
        await here.quiet()
        assert isinstance(here.app.screen, Today)
        # A slip of the key is taken back; both stay in the ledger.
        await here.press("u")
        await here.until(lambda: bool(plan(here).blocks), "the plan again")
    with Ledger(played / "ledger.sqlite3") as ledger:
        assert len(ledger.notes(NoteKind.PAIN)) == len(ledger.notes(NoteKind.PAIN_BY_MISTAKE)) == 1


async def test_the_day_after_pain_is_short(played: Path) -> None:
    """Pain was noted the evening before: five minutes, and why."""
    from datetime import timedelta

    with Ledger(played / "ledger.sqlite3") as ledger:
        ledger.add_note(NoteKind.PAIN, "Outside in", None, MOMENT - timedelta(hours=11))
    async with house(played, (160, 45), minutes=30) as here:
        await planned(here)
        assert plan(here).minutes == 5
        assert "Pain was noted yesterday: 5 minutes at a time, then 60 minutes of rest" in words(here)


async def test_only_the_chosen_block_tells_all_its_reasons_on_a_low_window(tmp_path: Path) -> None:
    """In 24 lines the chosen block is told whole and the others in a line; walking on opens the next and closes it."""
    async with house(tmp_path, (80, 24), minutes=20) as here:
        await planned(here)
        blocks = plan(here).blocks
        assert len("; ".join(blocks[0].why)) > 80  # more than a line

        def told(block: Block) -> bool:
            return "; ".join(block.why) in " ".join(here.page_text().split())

        await here.until(lambda: told(blocks[0]), "all reasons of the first")
        await here.press("down")
        await here.until(lambda: not told(blocks[0]) and told(blocks[1]), "the second in its place")

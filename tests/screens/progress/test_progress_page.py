"""Progress, driven as a player would: what it shows, what it plays, and the remedy it writes down."""

from __future__ import annotations

from pathlib import Path

import pytest

from coach.log.notes import NoteKind
from coach.screens.progress.progress_page import ProgressPage
from coach.screens.stage.stage_page import Stage
from tests.screens.evenings import practise
from tests.screens.house import House, house
from tests.screens.pictures import MOMENT
from tests.screens.test_pages import check_lines, planned, words

SIZES = [(60, 22), (80, 24), (160, 45)]


@pytest.fixture
def played(tmp_path: Path) -> Path:
    """A home with forty days of invented evenings."""
    practise(tmp_path / "ledger.sqlite3", MOMENT)
    return tmp_path


async def opened(here: House, drill: str = "Outside in") -> ProgressPage:
    """Progress, from Today, with the sheet of a drill."""
    await planned(here)
    await here.press("g")
    await here.on("ProgressPage")
    page = here.app.screen
    assert isinstance(page, ProgressPage)
    await here.until(lambda: page.record is not None, "the ledger")
    assert page.record is not None
    titles = [one.drill.title for one in page.record.standings]
    await here.press(*["down"] * titles.index(drill))
    await here.until(lambda: page.chosen is not None and page.chosen.drill.id in page.sheets, "the sheet")
    await here.quiet()
    return page


@pytest.mark.parametrize("size", SIZES)
async def test_progress_fits(played: Path, size: tuple[int, int]) -> None:
    """Each drill on one line, the figure's words, the target, the plot and the trouble, in every size."""
    async with house(played, size) as here:
        await opened(here)
        check_lines(here, size)
        page = words(here)
        assert "4 drills played" in page
        assert ("bpm, 8 in 10 clean" if size[0] == 60 else "bpm, clean 8 times in 10") in page
        assert "target 104" in page
        assert "Steady tempo by day" in page
        assert "Stumbles gather at bar 3, beat 2" in page.replace("  ", " ")
        assert "esc back" in here.lines()[-1]


async def test_the_sides_of_a_drill_where_not_all_fit(played: Path) -> None:
    """Right leads from tempo to places, days and what fades, and round again."""
    async with house(played, (80, 24)) as here:
        await opened(here)
        for heading in ("Where the stumbles lie: ", "Minutes by day", "What is kept up and what fades", "Steady tempo"):
            await here.press("right")
            assert heading in words(here)
        await here.press("left")
        assert "in a week if it is not played" in words(here)


async def test_a_tall_page_has_all_of_a_drill(played: Path) -> None:
    """At 160 by 45 tempo, places, clean passes and minutes stand together, and the mark under the gathered beat."""
    async with house(played, (160, 45)) as here:
        await opened(here)
        page = words(here)
        for heading in ("Steady tempo by day", "Where the stumbles lie", "Clean passes", "Minutes by day"):
            assert heading in page
        row = next(n for n, line in enumerate(here.lines()) if "▲" in line)
        at = here.lines()[row].index("▲")
        assert here.lines()[row - 1][at - 1 : at + 2].strip("· │").isdigit()


async def test_without_colour_the_line_stays_apart_from_its_band(
    played: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With NO_COLOR the line is solid, the band light, the target dashed and named."""
    monkeypatch.setenv("NO_COLOR", "1")
    async with house(played, (160, 45)) as here:
        await opened(here)
        plot = "\n".join(here.lines())
        assert all(sign in plot for sign in ("▀", "▄", "░", "╌", " target"))


async def test_nothing_played_yet_says_so(tmp_path: Path) -> None:
    """A new player is led back to Today; enter, remedy and drop do no harm, and no ledger is made."""
    async with house(tmp_path) as here:
        await planned(here)
        await here.press("g")
        await here.on("ProgressPage")
        await here.until(lambda: "Nothing was played yet" in words(here), "the sentence")
        await here.press("enter", "r", "x", "right")
        assert isinstance(here.app.screen, ProgressPage)
        await here.press("escape")
        await here.on("Today")
    assert not (tmp_path / "ledger.sqlite3").exists()


async def test_a_drill_with_few_takes_claims_nothing(tmp_path: Path) -> None:
    """One take of two clean passes: no steady tempo, no trouble, and why."""
    from coach.log.ledger import Ledger

    with Ledger(tmp_path / "ledger.sqlite3") as ledger:
        take = ledger.begin_take("outside-in", 80, at=MOMENT)
        for number in (1, 2):
            ledger.add_pass(take, number, 80, 4)
    async with house(tmp_path) as here:
        await opened(here)
        page = words(here)
        assert "no steady tempo yet: it takes six" in page
        assert "No trouble that the counts would show" in page


async def test_enter_plays_the_drill_near_its_steady_tempo(played: Path) -> None:
    """From the list straight to the stage, from a little below the steady tempo to a little above."""
    async with house(played) as here:
        page = await opened(here)
        assert page.chosen is not None
        known = page.chosen.steady
        assert known is not None
        await here.press("enter")
        stage = await here.running()
        assert stage.block.drill == "outside-in"
        assert stage.block.tempo_from is not None
        assert stage.block.tempo_to is not None
        assert stage.block.tempo_from < known.bpm < stage.block.tempo_to
        await here.press("escape")
        await here.on("ProgressPage")


async def test_the_remedy_is_written_down_and_its_corner_played(played: Path) -> None:
    """r: a note in the ledger, and the stage with bars 2 and 3 alone, slower; then the page says it is under way."""
    async with house(played) as here:
        await opened(here)
        assert "Try: that corner alone" in words(here)
        await here.press("r")
        stage = await here.running()
        assert stage.block.drill == "outside-in/corner/3"
        assert stage.loop.chords[:2] == ("Am", "Dm")
        await here.press("escape")
        await here.on("ProgressPage")
        await here.until(lambda: "Under way: that corner alone" in words(here), "the remedy under way")
        assert "cannot tell yet" in words(here)
        await here.press("r")  # gone on with, not written twice
        await here.another_stage(stage)
        await here.press("escape")
        await here.on("ProgressPage")
        await here.press("x")
        await here.until(lambda: "Try: that corner alone" in words(here), "the remedy dropped")
        with here.ledger() as ledger:
            assert len(ledger.notes(NoteKind.REMEDY_CHOSEN)) == 1
            assert len(ledger.notes(NoteKind.REMEDY_DROPPED)) == 1


async def test_alternating_tempos_are_for_this_block_only(played: Path) -> None:
    """The plateau's remedy plays one pass slow, the next fast; other turns keep the player's own ramp."""
    async with house(played) as here:
        page = await opened(here, "Forward roll")
        assert page.chosen is not None
        sheet = page.sheets[page.chosen.drill.id]
        if sheet.finding.remedy != "alternate":
            pytest.fail(f"the invented evenings no longer give a plateau: {sheet.finding.lines}")
        own = here.app.world.settings.ramp
        await here.press("r")
        stage = await here.running()
        assert isinstance(stage, Stage)
        slow, fast = stage.block.tempo_from, stage.block.tempo_to
        assert slow is not None
        assert fast is not None
        assert slow < 0.9 * fast
        assert f"alternate: then {fast}" in here.page_text()
        for bpm in (slow, fast, slow):
            number = 1 + stage.loop.bars * len(stage.take.passes)
            await here.to_bar(number)
            assert stage._order is not None
            assert (stage._order.loop_bar, stage._order.bpm_from) == (0, bpm)
            await here.to_bar(number + stage.loop.bars)
        await here.press("m")  # another way for this turn
        assert stage.run_state.ramp.name == "steady"
        assert here.app.world.settings.ramp == own == "earned"
        await here.press("escape")
        await here.on("ProgressPage")


async def test_a_ledger_that_cannot_be_read_is_one_sentence(tmp_path: Path) -> None:
    """The page says why it shows nothing."""
    (tmp_path / "ledger.sqlite3").write_text("no ledger " * 200)
    async with house(tmp_path) as here:
        await planned(here)
        await here.press("g")
        await here.on("ProgressPage")
        await here.until(lambda: "is not a practice ledger" in words(here), "the sentence")

"""Every page in every size a person may have, and what is said when something is amiss."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest

from coach.picking.pattern_file import read_pattern
from coach.places import shipped
from coach.screens.settings_page import ROWS
from coach.screens.stage.rest import Rest
from coach.screens.stage.stage_page import RUNNING
from coach.screens.stage.verdict import Verdict
from coach.screens.today_page import Today
from coach.session.run import PassDone
from coach.settings import read_settings
from tests.screens.evenings import practise
from tests.screens.house import House, house
from tests.screens.pictures import MOMENT

SIZES = [(60, 22), (80, 24), (160, 45)]
LONG = "busy-thumb-outside-in"


async def planned(here: House) -> None:
    """Wait for today's plan on the page."""
    await here.until(lambda: isinstance(here.app.screen, Today) and here.app.screen.plan is not None, "the plan")
    await here.quiet()


def words(here: House) -> str:
    """The page's words with single blanks, however they are wrapped."""
    return " ".join(here.page_text().split())


def check_lines(here: House, size: tuple[int, int]) -> None:
    """The page is exactly as large as the window."""
    lines = here.lines()
    assert len(lines) == size[1]
    assert {len(line) for line in lines} == {size[0]}


# Sizes --------------------------------------------------------------------------------------


@pytest.mark.parametrize("size", SIZES)
async def test_today_fits(tmp_path: Path, size: tuple[int, int]) -> None:
    """The day, the first block with its tempos, minutes and whole reasons, the caution, and the keys."""
    async with house(tmp_path, size, minutes=5) as here:
        await planned(here)
        check_lines(here, size)
        page = words(here)
        assert "Saturday 9 May · 5 minutes" in page
        assert isinstance(here.app.screen, Today)
        assert here.app.screen.plan is not None
        for block in here.app.screen.plan.blocks:
            assert block.title in page
            assert f"{block.tempo_from} → {block.tempo_to} bpm" in page
            assert "; ".join(block.why) in page
        assert "Stop at once on pain, numbness or tingling; do not play through it." in page
        assert here.lines()[-1].strip().startswith("⏎ begin")
        assert here.lines()[-1].strip().endswith("? all keys")


@pytest.mark.parametrize("size", [*SIZES, (80, 40)])
async def test_the_stage_fits(tmp_path: Path, size: tuple[int, int]) -> None:
    """Head, pass and bar, stumbles, ramp, tab from chord to count, layer, click, guide and keys: nothing is cut."""
    async with house(tmp_path, size, drill=LONG, tempo=104) as here:
        stage = await here.running()
        await here.to_bar(stage.loop.bars + 2, 1.2)
        await here.press("right", "space", "space")
        check_lines(here, size)
        page = words(here)
        assert stage.block.title in page
        assert "left" in here.lines()[0]
        assert f"pass 1 · bar 2 of {stage.loop.bars}" in page
        assert "2 stumbles" in page
        assert "beats a minute" in page
        assert f"{stage.run_state.ramp.name}: " in page
        assert "layer thumb" in page
        assert "▐full▌" in page
        assert "click every beat" in page
        assert "guide thumb and fingers" in page
        assert here.lines()[-1].strip().endswith("? all keys")
        assert sum("╂" in line or "┃" in line for line in here.lines()) >= 6
        # The left hand's shape stands whole beside the figures: nut, four frets, and the thumb's strings.
        assert sum(line.count("╒═╤═╤═╤═╤═╕") for line in here.lines()) == (1 if size[0] == 60 else 2)
        # No scrollbar: all of it is seen at once.
        assert not stage.show_vertical_scrollbar
        assert stage.max_scroll_y == 0


@pytest.mark.parametrize("size", SIZES)
async def test_what_there_is_to_say_is_seen_whole(tmp_path: Path, size: tuple[int, int]) -> None:
    """The longest sentence that the sound may send: all its words are on the page."""
    said = "The sound device has stopped answering; going on silently and trying it again."
    async with house(tmp_path, size, drill=LONG) as here:
        stage = await here.running()
        stage._tell_trouble(said)
        await here.until(lambda: said in words(here), "the sentence")
        await here.press("c")
        assert "click two and four" in words(here)


@pytest.mark.parametrize("size", SIZES)
async def test_model_and_count_in_fit(tmp_path: Path, size: tuple[int, int]) -> None:
    """Listening: `listen · bar 1 of 4`; counting in: the beat as a figure and the count up to it."""
    async with house(tmp_path, size, drill="roll-forward-sixteenths") as here:
        stage = await here.running()
        assert f"listen · bar 1 of {stage.loop.bars}" in words(here)
        await here.to_bar(stage.loop.bars, 2.1)
        assert "count-in" in words(here)
        assert "3 e & a" in words(here)


@pytest.mark.parametrize("size", SIZES)
async def test_patterns_fit(tmp_path: Path, size: tuple[int, int]) -> None:
    """The chosen pattern: its about line whole, and six lines of tab that do not wrap."""
    async with house(tmp_path, size) as here:
        await planned(here)
        await here.press("p")
        await here.on("Patterns")
        await here.press("down", "down")
        check_lines(here, size)
        pattern = list(here.app.world.library.patterns.values())[2]
        page = words_right_of_list(here, size)
        assert pattern.title in page
        assert pattern.about in page
        strings = [line for line in here.lines() if "─│" in line or "│─" in line]
        assert len(strings) >= 6
        assert here.lines()[-1].strip().endswith("? all keys")


def words_right_of_list(here: House, size: tuple[int, int]) -> str:
    """The words of the right half of the patterns page."""
    left = 22 if size[0] < 76 else 38
    return " ".join(" ".join(line[left:] for line in here.lines()[1:-1]).split())


@pytest.mark.parametrize("size", SIZES)
async def test_settings_fit(tmp_path: Path, size: tuple[int, int]) -> None:
    """A line for each setting, on low windows as one walks down, and the whole meaning of the chosen one below."""
    async with house(tmp_path, size) as here:
        await planned(here)
        await here.press("o")
        await here.on("SettingsPage")
        check_lines(here, size)
        lines = list(here.lines())
        for _ in ROWS:
            await here.press("down")
            lines += here.lines()
        for row in ROWS:
            assert any(line.strip(" ▸").startswith(row.name.replace("_", " ")) for line in lines), row.name
        await here.press("up")
        check_lines(here, size)
        assert "▸ scale mm" in words(here)
        assert "scale mm: length of your guitar's open strings, in mm" in words(here)


@pytest.mark.parametrize("size", SIZES)
async def test_verdict_and_rest_fit(tmp_path: Path, size: tuple[int, int]) -> None:
    """Four words with their keys and meaning; then the rest with what comes next."""
    async with house(tmp_path, size, minutes=5) as here:
        await planned(here)
        here.app.push_screen(Verdict([PassDone(0, Fraction(84), 4, 0, "full")], "held", {}))
        await here.on("Verdict")
        check_lines(here, size)
        for line in ("1 pass, 1 clean", "l lost: it fell apart", "f flowing: the hand ran by itself", "r another go"):
            assert line in words(here)
        await here.press("enter")
        for seconds, told in ((10, "Let go. Shake the hands out."), (300, "a doctor or a performing-arts clinician")):
            here.app.push_screen(Rest(seconds, "Thumb across three strings"))
            await here.on("Rest")
            check_lines(here, size)
            assert told in words(here)
            assert "next: Thumb across three strings" in words(here)
            assert "esc is enough for now" in words(here)
            await here.press("escape")


TOLD = (
    "steady at 104 bpm (100 to 108), known from now on",
    "stumbles gather at the change from Am7 to F#m7b5: 12 of 29, evenly spread it would be about 4",
    "under way: that corner alone, round and round, with what stands beside it",
    "corner since 28 September: 9 of 20 clean before, 17 of 20 since at like tempos: no sign that it helped",
)
"""All that a take may show, in its longest words but for titles."""


@pytest.mark.parametrize(("size", "told"), [*((size, TOLD) for size in SIZES), ((60, 22), TOLD * 3)])
async def test_the_verdict_page_shows_all_it_has_to_say(
    tmp_path: Path, size: tuple[int, int], told: tuple[str, ...]
) -> None:
    """All that was found, the four words, and what goes on by itself, inside the frame; from 80 columns on the last is
    one line. Three times as much to tell: that gives way, and nothing of what is asked."""
    async with house(tmp_path, size, minutes=5) as here:
        await planned(here)
        passes = [PassDone(k, Fraction(84 + k), 4, k % 2, "full") for k in range(12)]
        page = Verdict(passes, "held", here.app.world.keys, lambda: told)
        here.app.push_screen(page)
        await here.on("Verdict")
        await here.until(lambda: page.told, "what the take has shown")
        await here.quiet()
        lines = [line.partition("│")[2].rpartition("│")[0].rstrip(" ▁▂▃▄▅▆▇█") for line in here.lines()]
        inside = " ".join(" ".join(lines).split())
        assert any("╰" in line for line in here.lines())  # the frame is closed
        asked = ("How was it?", "l lost:", "s shaky:", "▸ h held:", "f flowing:", "another go", "goes on by itself in")
        assert [fact for fact in ("12 passes, 6 clean, 84 to 95 bpm", *TOLD, *asked) if fact not in inside] == []
        assert (" …" in inside) == (told != TOLD)
        if size[0] >= 80:
            assert any("another go · goes on by itself in" in line for line in lines)


@pytest.mark.parametrize("size", SIZES)
async def test_the_verdict_page_says_what_the_take_has_shown(tmp_path: Path, size: tuple[int, int]) -> None:
    """After a take of a drill whose stumbles gather: its steady tempo before and now, the place, and what to try."""
    practise(tmp_path / "ledger.sqlite3", MOMENT)
    async with house(tmp_path, size, drill="outside-in", tempo=90) as here:
        await here.running()
        await here.to_bar(5)
        await here.press("e")
        await here.to(here.clock.seconds + 10)
        await here.on("Verdict")
        await here.until(lambda: "steady at" in words(here), "what the take has shown")
        told = " ".join(words(here).replace("│", " ").split())
        assert "steady at" in told
        assert "stumbles gather at bar 3, beat 2" in told
        assert "How was it?" in told
        check_lines(here, size)


async def test_a_take_on_other_chords_is_marked(tmp_path: Path) -> None:
    """`coach drill outside-in --chords "G | D"`: the take has a note with the chords, one begun without has none."""
    for chords, notes in (("G | D", ["G | D"]), (None, [])):
        home = tmp_path / str(bool(chords))
        async with house(home, drill="outside-in", tempo=120, chords=chords) as here:
            await here.running()
            await here.to_bar(6)
            assert here.stage.take.chords == (chords or "")
        with here.ledger() as ledger:
            assert [n.text for n in ledger.notes("other chords")] == notes


@pytest.mark.parametrize("size", SIZES)
async def test_help_fits(tmp_path: Path, size: tuple[int, int]) -> None:
    """The keys of the page one comes from stand first; the cautions are at the end of the scroll."""
    async with house(tmp_path, size) as here:
        await planned(here)
        await here.press("question_mark")
        await here.on("Help")
        check_lines(here, size)
        assert "begin at the chosen block" in words(here)
        here.app.screen.query_one("#page").scroll_end(animate=False)
        await here.until(lambda: "not medical advice" in words(here), "the cautions")


# Too small ----------------------------------------------------------------------------------


async def test_a_small_window_says_what_it_needs(tmp_path: Path) -> None:
    """40 by 12: one sentence with the columns and lines it takes; made larger, today is there."""
    async with house(tmp_path, (40, 12), minutes=5) as here:
        await here.on("TooSmall")
        assert "60 columns and 22 lines" in words(here)
        await here.resize(80, 24)
        await here.on("Today")
        await planned(here)
        assert "⏎ begin" in words(here)


async def test_resizing_never_stops_the_run(tmp_path: Path) -> None:
    """While it plays the window goes to 40 by 12 and back: bars go on, passes are written, nothing starts anew."""
    async with house(tmp_path, drill="outside-in") as here:
        stage = await here.running()
        await here.to_bar(6)
        engine = here.engine
        await here.resize(40, 12)
        await here.on("TooSmall")
        await here.to_bar(9)
        assert len(stage.take.passes) == 1
        await here.resize(160, 45)
        await here.on("Stage")
        await here.to_bar(11)
        assert here.engine is engine
        assert stage.phase == RUNNING
        assert "pass 2 · bar 3 of 4" in words(here)
        assert "passes 120 ✓" in words(here)


async def test_a_block_may_end_in_a_small_window(tmp_path: Path) -> None:
    """Too small when the last bar has sounded: the sentence stays on top; made larger, the verdict is asked."""
    async with house(tmp_path, minutes=5) as here:
        await planned(here)
        await here.press("enter")
        stage = await here.running()
        await here.to_bar(2 * stage.loop.bars)
        await here.press("e")
        await here.resize(40, 12)
        await here.on("TooSmall")
        await here.to(here.clock.seconds + 20)
        await here.until(lambda: stage.phase == "over", "the end")
        await here.until(lambda: "60 columns and 22 lines" in words(here), "the sentence on top")
        await here.resize(80, 24)
        await here.on("Verdict")
        await here.press("h")
        await here.on("Rest")
        assert [type(screen).__name__ for screen in here.app.screen_stack][1:] == ["Today", "Rest"]


async def test_without_colour_everything_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """NO_COLOR=1: nothing but shades of grey, and the cursor and the layer are still seen."""
    monkeypatch.setenv("NO_COLOR", "1")
    async with house(tmp_path, drill="outside-in") as here:
        stage = await here.running()
        await here.to_bar(6, 1.2)
        page = here.page_text()
        assert "▐full▌" in page
        assert "╂" in page
        colours = set()
        for strip in here.app.screen._compositor.render_strips():
            for segment in strip.apply_filter(here.app._filters[0], here.app.screen.background_colors[1])._segments:
                if segment.style is not None and segment.style.color is not None:
                    triplet = segment.style.color.get_truecolor()
                    colours.add((triplet.red, triplet.green, triplet.blue))
        assert colours
        assert all(max(c) - min(c) <= 1 for c in colours)
        assert stage.phase == RUNNING


# Keys moved ---------------------------------------------------------------------------------


async def test_a_moved_key_works_and_is_shown(tmp_path: Path) -> None:
    """Stumble on x: x marks one, space marks none, hint and help say x."""
    async with house(tmp_path, (160, 45), drill="outside-in", keys={"stumble": "x"}) as here:
        stage = await here.running()
        await here.to_bar(6)
        await here.press("space")
        assert stage.run_state.stumbles == 0
        await here.press("x")
        assert stage.run_state.stumbles == 1
        assert "x stumble" in here.lines()[-1]
        await here.press("question_mark")
        await here.on("Help")
        line = next(line for line in here.lines() if "mark a stumble" in line)
        assert line.split("│")[1].split()[0] == "x"


async def test_moved_keys_are_named_on_every_page(coach_home: Path) -> None:
    """Begin on y, go on with g, another go on z, patterns on j: the sentences on the pages name those keys."""
    moved = {"begin": "y", "go-on": "g", "another-go": "z", "take-suggested": "t", "patterns": "j"}
    (coach_home / "patterns").mkdir(parents=True)
    (coach_home / "patterns" / "empty.toml").write_text("", encoding="utf-8")
    async with house(coach_home, (100, 30), minutes=5, keys=moved, cautions_seen=False) as here:
        await planned(here)
        assert "Guitar on the knee, y, and play" in words(here)
        here.app.world.change(cautions_seen=True)
        await here.press("r")
        await here.until(lambda: "1 pattern file cannot be read: j shows why." in words(here), "the sentence")
        here.app.push_screen(Verdict([PassDone(0, Fraction(84), 4, 0, "full")], "held", here.app.world.keys))
        await here.on("Verdict")
        assert "t or the pedal takes ▸ · z another go" in words(here)
        await here.press("escape")
        here.app.push_screen(Rest(10, "", here.app.world.keys))
        await here.on("Rest")
        assert "g or the pedal goes on" in words(here)


async def test_a_key_that_is_taken_is_told_at_the_start(tmp_path: Path) -> None:
    """Sing on h, where hold is: one sentence at the start; s still sings and h still holds."""
    async with house(tmp_path, (160, 45), drill="outside-in", keys={"sing": "h", "no-such": "x"}) as here:
        await here.until(lambda: "h is taken" in words(here), "the sentence")
        assert "this is no action" in words(here)
        stage = await here.running()
        await here.press("h")
        assert stage.run_state.held
        await here.press("s")
        assert stage.run_state.layer == "thumb"
        assert here.app.world.settings.keys == {"sing": "h", "no-such": "x"}  # the player's lines are not thrown away


# Files that are amiss -----------------------------------------------------------------------


async def test_a_broken_pattern_is_listed_with_its_reason(tmp_path: Path) -> None:
    """A file of four slots with five tokens: today says that one cannot be read, the list says why, the rest plays."""
    folder = tmp_path / "patterns"
    folder.mkdir()
    (folder / "ferry-bell.toml").write_text(
        'title = "Ferry bell"\nmeter = "4/4"\nslots = 4\n[[bars]]\np = "r . a . a"\n', encoding="utf-8"
    )
    good = (shipped("patterns") / "outside-in.toml").read_text("utf-8").replace("Outside in", "Out to the buoy")
    (folder / "out-to-the-buoy.toml").write_text(good, encoding="utf-8")
    async with house(tmp_path, (100, 30)) as here:
        await planned(here)
        assert "1 pattern file cannot be read: p shows why." in words(here)
        await here.press("p")
        await here.on("Patterns")
        await here.press("end")
        page = words_right_of_list(here, (100, 30))
        assert "ferry-bell.toml" in here.page_text()
        assert "lane p has 5 tokens, not 4" in page
        assert read_pattern(folder / "out-to-the-buoy.toml").title == "Out to the buoy"
        await here.press("up")
        await here.press("enter")
        await here.running()


async def test_a_ledger_that_is_none_stops_nobody(tmp_path: Path) -> None:
    """A text file where the ledger should be: today says so and has a plan, the stage plays, the file stays."""
    text = b"Tides at the landing, by hand\n" * 50
    (tmp_path / "ledger.sqlite3").write_bytes(text)
    async with house(tmp_path, (100, 30), minutes=5) as here:
        await planned(here)
        assert "this file is not a practice ledger" in words(here)
        await here.press("enter")
        stage = await here.running()
        await here.to_bar(stage.loop.bars * 2 + 2)
        assert len(stage.take.passes) == 1
        await here.until(lambda: "not a practice ledger" in words(here), "the sentence on the stage")
        await here.press("e")
        await here.to(here.clock.seconds + 10)
        await here.on("Verdict")
        await here.press("h")
        await here.on("Rest")
        left = here.app.scribe.close()
    # The take, its one whole pass, the verdict.
    assert left == f"4 entries could not be written to {tmp_path / 'ledger.sqlite3'}."
    assert (tmp_path / "ledger.sqlite3").read_bytes() == text


# Settings -----------------------------------------------------------------------------------


async def test_settings_change_and_are_written_down(tmp_path: Path) -> None:
    """Five minutes more, one new pattern less, back: the file holds both, and today plans for 25 minutes."""
    async with house(tmp_path, minutes=20, new_a_day=1) as here:
        await planned(here)
        await here.press("o")
        await here.on("SettingsPage")
        await here.press("right", "down", "left", "left")
        page = here.page_text()
        assert "minutes        25" in page
        assert "▸ new a day      0" in page
        await here.press("escape")
        await here.on("Today")
        await here.until(lambda: "25 minutes" in here.lines()[0], "today to follow")
    found = read_settings(tmp_path / "settings.toml")
    assert (found.settings.minutes, found.settings.new_a_day, found.problems) == (25, 0, ())


async def test_arrows_on_today_change_its_minutes(tmp_path: Path) -> None:
    """Right and left: five minutes more and less; the plan is made anew."""
    async with house(tmp_path, minutes=20) as here:
        await planned(here)
        await here.press("right")
        assert isinstance(here.app.screen, Today)
        today = here.app.screen
        await here.until(lambda: today.plan is not None and today.plan.minutes == 25, "the new plan")
        assert "25 minutes" in here.lines()[0]
        assert here.app.world.settings.minutes == 25


# No sound -----------------------------------------------------------------------------------


async def test_no_sound_device_is_said_once_and_the_bell_offered(tmp_path: Path) -> None:
    """On the first start one sentence that offers the bell; after a stop it is not said again; b rings on the beats."""
    async with house(tmp_path, drill="outside-in") as here:
        stage = await here.running()
        assert "no sound device: watch the cursor; b rings the bell" in words(here)
        rung: list[int] = []
        here.app.bell = lambda: rung.append(1)  # type: ignore[method-assign]
        await here.press("b")
        assert "the terminal bell rings when there is no sound" in words(here)
        await here.to_bar(4)
        rung.clear()
        await here.to_bar(5)
        assert 1 <= len(rung) <= 4
        await here.press("enter", "enter")
        await here.until(lambda: stage.phase == RUNNING and stage._order is not None, "the start")
        assert "no sound device" not in words(here)


async def test_the_first_start_shows_the_cautions(tmp_path: Path) -> None:
    """Welcome, and hands and ears; once begun they are not shown again."""
    async with house(tmp_path, (100, 30), minutes=5, cautions_seen=False) as here:
        await planned(here)
        assert "Welcome." in words(here)
        assert "performing-arts clinician" in words(here)
        await here.press("enter")
        await here.running()
        assert here.app.world.settings.cautions_seen


@pytest.mark.parametrize("ends_all", [True, False])
async def test_leaving_gives_up_the_reading_of_a_long_ledger(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, ends_all: bool
) -> None:
    """Where the process ends with the app: elsewhere the next one would find that nothing is read any more."""
    told: list[str] = []
    monkeypatch.setattr("coach.skill.estimates.give_up", lambda: told.append("given up"))
    async with house(tmp_path, (80, 24), minutes=5) as here:
        await planned(here)
        here.app.ends_all = ends_all
        here.app.action_quit_now()
    assert told == ["given up"] * ends_all

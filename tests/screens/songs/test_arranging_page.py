"""The page of arrangements: what is chosen there is shown, heard, written into the song's file and taken back."""

from __future__ import annotations

import difflib
from pathlib import Path

import pytest

from coach import places
from coach.screens.shared.finder import Finder, matching
from coach.screens.shared.row_view import RowView
from coach.screens.songs.arranging_page import ArrangingPage
from coach.screens.songs.arranging_text import charted, columns, picking_of, reasons, row_line, rows_of
from coach.screens.stage.stage_page import Stage
from coach.song.arrangement import pattern_under
from coach.song.chart import Song
from coach.song.files.song_file import parse_song, read_song
from coach.song.files.song_shelf import read_songs
from tests.screens.house import House, house
from tests.screens.made_songs import LANTERN, PATTERNS, lantern, performed

WIDE = (160, 45)


async def opened(here: House, text: str = LANTERN, name: str = "lantern") -> ArrangingPage:
    """The page of a song of the player's own, all worked out."""
    folder = places.songs()
    folder.mkdir(parents=True, exist_ok=True)
    (folder / f"{name}.song.toml").write_text(text, encoding="utf-8")
    return await page_of(here, name)


async def page_of(here: House, name: str) -> ArrangingPage:
    """The page of a song that lies in the folders."""
    here.app.world.songs = read_songs(places.shipped("shared") / "songs", places.songs())
    here.app.open_arranging(name)
    await here.on("ArrangingPage")
    page = here.app.screen
    assert isinstance(page, ArrangingPage)
    await settled(here, page)
    return page


async def settled(here: House, page: ArrangingPage) -> None:
    """Everything is worked out and written."""

    def done() -> bool:
        known = all(page.pieces.get(n, (None,))[0] == way for n, way in page.song.arrangements.items())
        return bool(page.song.arrangements) and known and not page.draft.busy

    await here.until(done, "everything to be worked out")
    await here.quiet()


def written(name: str = "lantern") -> Song:
    """The song as its file says it."""
    return read_song(places.songs() / f"{name}.song.toml", own=True)


# The lines, as values -----------------------------------------------------------------------------


def test_a_line_tells_chords_words_shapes_and_picking() -> None:
    """Bar 3 of the verse: C and D, their shapes, the words, and the pattern's title."""
    song = lantern()
    way = song.arrangements["plain"]
    played = {(bar.part, bar.part_bar): bar for bar in performed(song).bars if bar.time == 0}
    row = next(row for row in rows_of(song) if row.place == ("Verse", 2))
    titles = {p.id: p.title for p in PATTERNS.values()}
    cols = columns(100, 1)
    text = row_line(song, row, [(way, played)], titles, cols, in_hand="plain").plain
    assert text.split()[:4] == ["3", "C", "D", "ing"]
    assert "x32010 xx0232" in text
    assert titles["outside-in"] in text


def test_a_held_bar_is_told_as_held() -> None:
    """The last bar of the chorus is plucked once, whatever pattern lies there."""
    song = lantern()
    assert picking_of(song, song.arrangements["plain"], ("Chorus", 3), {}) == "plucked once, rings"


def test_chords_are_named_in_the_key_of_the_hand() -> None:
    """A song in G played with C shapes: the verse's C and D are F and G."""
    song = parse_song(LANTERN.replace('pattern = "outside-in"\ncapo = 2', 'pattern = "outside-in"\nkey = "C"'), "x")
    assert charted(song, song.arrangements["plain"], ("Verse", 2)) == ("F", "G")


def test_reasons_go_from_the_bar_to_the_whole() -> None:
    """Why this bar, then why this chord, then what holds throughout."""
    song = read_songs(places.shipped("shared") / "songs", Path("/none")).find("last-boat")
    row = next(row for row in rows_of(song) if row.place == ("Chorus", 6))
    lines = list(reasons(song.arrangements["plain"], row, "Cm", PATTERNS, 60))
    assert lines[0] == "- this bar: Cm and G share the bar"
    assert lines.index("plain, throughout") > next(k for k, line in enumerate(lines) if "Cm on four strings" in line)


def test_both_tiers_stand_side_by_side_where_there_is_room() -> None:
    """Two on a wide page, one on a narrow one; the columns fit the page."""
    assert [columns(width, 2).shown for width in (80, 100, 115, 160)] == [1, 1, 2, 2]
    for width in range(76, 200):
        for count in (1, 2, 5):
            cols = columns(width, count)
            assert 5 + cols.chords + cols.words + cols.shown * (cols.shapes + cols.picking + 2) <= width


def test_a_search_leaves_what_has_every_word() -> None:
    """Words are looked for in ids and titles, whatever their case, in any order."""
    options = [("a-roll", "Forward roll"), ("pinch", "Pinch on One"), ("roll-two", "Backward roll")]
    assert matching("ROLL for", options) == [("a-roll", "Forward roll")]
    assert [id_ for id_, _ in matching("", options)] == ["a-roll", "pinch", "roll-two"]
    assert matching("one two", options) == []


# The page -----------------------------------------------------------------------------------------


async def test_a_pattern_for_this_bar_is_looked_for_taken_and_written(tmp_path: Path) -> None:
    """Enter, a few letters, enter: bar 2 has another pattern, on the page and in the file; undo takes it back."""
    async with house(tmp_path, WIDE) as here:
        page = await opened(here)
        await here.press("down", "enter")
        assert isinstance(here.app.screen, Finder)
        await here.press(*"pinch on one", "enter")
        await settled(here, page)
        chosen = pattern_under(page.song.arrangements["plain"], "Verse", 1, "G")
        assert chosen.startswith("pinch-on-one")
        assert pattern_under(written().arrangements["plain"], "Verse", 1, "G") == chosen
        assert pattern_under(written().arrangements["plain"], "Verse", 2, "C") == "outside-in"
        assert "2*" in here.page_text()
        await here.press("u")
        await here.until(lambda: pattern_under(page.song.arrangements["plain"], "Verse", 1, "G") == "outside-in")
        await settled(here, page)
        assert written().arrangements == lantern().arrangements
        await here.press("z")
        await here.until(lambda: pattern_under(page.song.arrangements["plain"], "Verse", 1, "G") == chosen)


async def test_comments_and_order_of_the_file_stay(tmp_path: Path) -> None:
    """A change on the page adds its own lines to the file; every other line stays in its place."""
    text = LANTERN.replace("[parts.Turn]", "# lamps down here\n[parts.Turn]")
    async with house(tmp_path, WIDE) as here:
        page = await opened(here, text)
        await here.press("a")
        await settled(here, page)
        after = (places.songs() / "lantern.song.toml").read_text(encoding="utf-8")
        added = [line[2:] for line in difflib.ndiff(text.splitlines(), after.splitlines()) if line[0] in "+-"]
        assert sorted(added) == ["early = true", 'singing = "thumb"']


async def test_shapes_are_walked_and_held_throughout_when_asked(tmp_path: Path) -> None:
    """`where` on the whole song, then the next shape: every C of the song has it."""
    async with house(tmp_path, WIDE) as here:
        page = await opened(here)
        await here.press("down", "down", "v", "v", "v", "d")
        await settled(here, page)
        shape = page.song.arrangements["plain"].way.shapes["C"]
        assert str(shape) != "x32010"
        assert written().arrangements["plain"].way.shapes == {"C": shape}
        piece = page.pieces["plain"][1]
        held = {h.shape.frets for bar in piece.bars for h in bar.held.holds if str(h.chord) == "C" and h.shape}
        assert held == {shape.frets}
        await here.press("c")
        await settled(here, page)
        assert not written().arrangements["plain"].way.shapes


async def test_stand_ins_go_round_and_back(tmp_path: Path) -> None:
    """Each press tries another easier thing for C, with what it loses; after the last it is C again."""
    async with house(tmp_path, WIDE) as here:
        page = await opened(here)
        before = page.song.arrangements["plain"]
        await here.press("down", "down", "s")
        await settled(here, page)
        assert page.stand_ins is not None
        assert "lost" in here.page_text()
        assert page.song.arrangements["plain"] != before
        for _ in range(len(page.stand_ins[1])):
            await here.press("s")
            await settled(here, page)
        assert page.song.arrangements["plain"] == before


async def test_a_shipped_song_is_copied_before_it_is_changed(tmp_path: Path) -> None:
    """The shipped file stays; the player's own copy has the change, all the rest and the same comments."""
    shipped = places.shipped("shared") / "songs" / "last-boat.song.toml"
    before = shipped.read_bytes()
    async with house(tmp_path, WIDE) as here:
        page = await page_of(here, "last-boat")
        await here.press("f")
        await settled(here, page)
        assert shipped.read_bytes() == before
        own = (places.songs() / "last-boat.song.toml").read_text(encoding="utf-8")
        assert "# Cm is borrowed from G minor." in own
        assert written("last-boat").arrangements["plain"].singing != "thumb"
        assert "written to" in here.page_text()
        assert here.app.world.songs.find("last-boat").own


async def test_a_song_without_arrangements_gets_two(tmp_path: Path) -> None:
    """They are proposed when the page opens, stand side by side, and are in the file with their reasons."""
    text = LANTERN[: LANTERN.index("[arrangements.plain]")]
    async with house(tmp_path, WIDE) as here:
        await opened(here, text)
        assert list(written().arrangements) == ["plain", "full"]
        assert all(way.why for way in written().arrangements.values())
        assert {"▸plain", "full"} <= set(here.lines()[2].split())


async def test_proposing_anew_keeps_what_was_chosen_unless_asked(tmp_path: Path) -> None:
    """`r` keeps the pattern chosen for bar 2, `x` lets it go."""
    text = LANTERN[: LANTERN.index("[arrangements.plain]")]
    async with house(tmp_path, WIDE) as here:
        page = await opened(here, text)
        proposed = page.song.arrangements["plain"]
        await here.press("down", "n")
        await settled(here, page)
        mine = page.song.arrangements["plain"]
        assert mine != proposed
        await here.press("r")
        await here.until(lambda: "proposed: plain" in here.page_text())
        await settled(here, page)
        assert page.song.arrangements["plain"] == mine
        await here.press("x")
        await here.until(lambda: page.song.arrangements["plain"] == proposed)


async def test_a_key_is_chosen_from_the_ranked_ones(tmp_path: Path) -> None:
    """The list begins with what sounds as charted: shapes and capo move, and the song still sounds in G."""
    async with house(tmp_path, WIDE) as here:
        page = await opened(here)
        await here.press("k")
        await here.until(lambda: isinstance(here.app.screen, Finder), "the list")
        await here.press("home", *"sounds in G", "down", "enter")
        await here.until(lambda: "proposed" in here.page_text(), "the proposals")
        await settled(here, page)
        way = written().arrangements["plain"]
        assert way.key is not None
        assert (way.key.tonic.pitch_class + way.capo) % 12 == 7


async def test_the_voice_moves_both_tiers(tmp_path: Path) -> None:
    """With a range to sing in, both are proposed in one key in which the tune lies within it."""
    async with house(tmp_path, WIDE) as here:
        page = await opened(here)
        await here.press("y", "enter")
        await here.until(lambda: "proposed" in here.page_text(), "the proposals")
        await settled(here, page)
        one, two = written().arrangements.values()
        assert (one.key, one.capo, one.shift) == (two.key, two.capo, two.shift)
        assert any("A2 to D4" in line for line in one.why)


async def test_it_is_heard_as_it_is_changed_and_goes_to_the_stage(tmp_path: Path) -> None:
    """Space plays the part; a pattern chosen meanwhile sounds from the next bar line; g opens the stage on the part."""
    async with house(tmp_path, WIDE) as here:
        page = await opened(here)
        await here.press("pagedown", "space")
        await here.until(lambda: page.conductor is not None and page.engine is not None, "the sound")
        assert page.loop is not None
        assert {bar.part for bar in page.loop.piece.bars} == {"Turn"}
        before = page.loop
        await here.press("n")
        await here.until(lambda: page.loop is not None and page.loop != before, "the change")
        await settled(here, page)
        await here.press("g")
        await here.until(lambda: any(isinstance(screen, Stage) for screen in here.app.screen_stack), "the stage")
        assert page.engine is None
        assert here.stage.block.drill == "lantern/plain/part/Turn"


async def test_a_changed_chart_is_arranged_as_it_is_now(tmp_path: Path) -> None:
    """h opens the chart; a chord typed there is held and heard in the arrangement on coming back."""
    async with house(tmp_path, WIDE) as here:
        page = await opened(here)
        await here.press("h")
        await here.on("ChartPage")
        await here.press("down", "enter", *"Em Am", "escape", "g")
        await here.on("ArrangingPage")
        await settled(here, page)
        assert charted(page.song, page.arrangement, ("Verse", 1)) == ("Em", "Am")
        assert [str(hold.chord) for hold in page.played["Verse", 1].held.holds] == ["Em", "Am"]


async def test_proposals_can_be_taken_back_and_made_again(tmp_path: Path) -> None:
    """u on a song that had no arrangement takes both out of the file; r brings two again."""
    text = LANTERN[: LANTERN.index("[arrangements.plain]")]
    async with house(tmp_path, WIDE) as here:
        page = await opened(here, text)
        await here.press("u")
        await here.until(lambda: not page.song.arrangements, "none")
        assert not written().arrangements
        await here.press("space", "d", "s", "enter", "k", "t", "o", "g")  # none of them has anything to do
        if isinstance(here.app.screen, Finder):
            await here.press("escape")
        await here.press("r")
        await settled(here, page)
        assert list(written().arrangements) == ["plain", "full"]


async def test_a_mistake_in_the_song_is_said_and_opens_nothing(tmp_path: Path) -> None:
    """A song there is not: one sentence, and today stays."""
    async with house(tmp_path) as here:
        here.app.open_arranging("no-such-song")
        await here.quiet()
        assert type(here.app.screen).__name__ == "Today"


@pytest.mark.parametrize("size", [(80, 24), (100, 36), WIDE])
async def test_only_what_is_in_sight_is_drawn(tmp_path: Path, size: tuple[int, int]) -> None:
    """Four hundred bars: one step down draws no more rows than the page has lines."""
    bars = "\n".join(f'  {{ chords = "{chord}", words = "row on" }},' for chord in ["G", "C D", "Em", "C"] * 100)
    text = LANTERN.replace('bars = [ { chords = "C" }, { chords = "D" } ]', f"bars = [\n{bars}\n]")
    async with house(tmp_path, size) as here:
        page = await opened(here, text)
        view = page.query_one("#bars", RowView)
        assert view.rows > 400
        await here.press("pagedown")
        drawn = view.drawn
        await here.press("down")
        assert 0 < view.drawn - drawn <= 3 * size[1]
        assert len(here.lines()) == size[1]

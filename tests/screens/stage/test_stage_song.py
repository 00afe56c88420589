"""A song on the stage: thinned where the words are, on the tab and in the sound; words, parts, count-in, the ladder."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coach import places
from coach.errors import BadInput
from coach.music.clicks import ClickWay
from coach.music.ramps import Alternate, Earned, Steady
from coach.picking.tab import string_row
from coach.plan.planner import Block
from coach.screens.shared.tab_view import WORD_ROW, piece_bar, wide_enough, word_runs
from coach.screens.stage.words_view import WordView
from coach.session.conductor import Conductor, Loop, on_ladder, song_loop
from coach.session.run import COUNT, MODEL, PLAY, Run
from coach.session.run_setup import run_of
from coach.settings import Settings
from coach.song.cuts import cut_bars, part_span
from coach.song.files.song_file import read_song
from coach.sound.score import BEAT, DOWN, Stroke
from tests.screens.house import House, house
from tests.screens.made_pages import Player, loop_of
from tests.screens.made_songs import lantern, lantern_loop, performed

# The bars of the lantern song that have words: pick-up, two bars, one bar of each verse; two of the chorus.
WORDED = {0, 1, 2, 3, 8, 9, 10, 11, 14, 15}


def conductor_of(loop: Loop, *, singing: bool = True, **more: object) -> Conductor:
    """A conductor over a song at 90, singing with the thumb unless told."""
    more.setdefault("layer", loop.under if singing else "full")
    run = Run(loop.piece.bars, Steady(Fraction(90)), loop.layers, singing=singing, **more)  # type: ignore[arg-type]
    return Conductor(run, loop, ClickWay(), "on")


def played(one: Conductor, bars: int) -> list[tuple[int, str, str, int]]:
    """(loop bar, kind, layer, plucks heard) of so many bars as they sound."""
    player, found = Player(one), []
    for _ in range(bars):
        order, score = one.order(player.number), one.source(player.number + 1)
        assert order is not None
        found.append((order.loop_bar, order.kind, order.layer, len(one.score(order).plucks)))
        assert score is None or score.number == player.number + 1
        player.bar()
    return found


# Thinning -----------------------------------------------------------------------------------


def test_the_sound_is_thinned_in_just_the_bars_with_words() -> None:
    """In bars with words every pluck heard is the thumb's, in the others all are heard, bar by bar, beat by beat."""
    loop = lantern_loop()
    one = conductor_of(loop, climbs=False)
    heard = [(bar, layer) for bar, kind, layer, _ in played(one, 2 + loop.bars) if kind == PLAY]
    assert {bar for bar, layer in heard if layer == "thumb"} == WORDED
    assert {bar for bar, layer in heard if layer == "full"} == set(range(loop.bars)) - WORDED
    for number, bar in enumerate(loop.piece.bars):
        thumb = [p.beat for p in bar.plucks if p.bass]
        sounding = [p.beat for p in loop.sounding(number, "thumb" if number in WORDED else "full")]
        assert sounding == (thumb if number in WORDED else [p.beat for p in bar.plucks])


def test_the_tab_shows_as_thinned_what_is_thinned() -> None:
    """On every string row, slot by slot: a fret where a pluck sounds, a dot where it is left out, nothing elsewhere."""
    piece = performed().sung("thumb")
    for bar in piece.bars:
        rows = piece_bar(bar, bar.layer, 4)
        slots = int(bar.beats / bar.slot_beats)
        sounding = {(p.string, p.beat / bar.slot_beats): str(p.fret) for p in bar.sounding}
        written = {(p.string, p.beat / bar.slot_beats) for p in bar.plucks}
        for string in range(1, 7):
            line = "".join(text for text, _ in rows[string_row(string)])
            for slot in range(slots):
                here = (string, Fraction(slot))
                wanted = sounding.get(here, "·" if here in written else "─")
                assert line[2 + 4 * slot] == wanted, (bar.number, string, slot)


@pytest.mark.parametrize("arrangement", ["plain", "full"])
def test_our_own_song_is_thinned_by_bar_and_beat(arrangement: str) -> None:
    """Last Boat Over, sung: the Intro, bars 5 and 10 of the verses, 9 and 10 of the choruses and the last bar are
    open, all else is the thumb's; the full arrangement thins one bar before words. Tab, sound and piece agree.
    """
    song = read_song(places.shipped("shared") / "songs" / "last-boat.song.toml")
    piece = performed(song, arrangement)
    early = song.arrangements[arrangement].early
    wordless = {"Intro": {0, 1}, "Verse": {4, 9}, "Second verse": {4, 9}, "Chorus": {8, 9}, "Ending": {2}}
    is_open = [bar.part_bar in wordless[bar.part] for bar in piece.bars]
    if early:
        is_open = [here and (after or n == len(is_open) - 1) for n, (here, after) in
                   enumerate(zip(is_open, [*is_open[1:], False], strict=True))]  # fmt: skip
    loop = song_loop(piece, under="thumb", early=early, sung=True)
    one = conductor_of(loop, early=early, climbs=False)
    for number, (bar, opened) in enumerate(zip(piece.bars, is_open, strict=True)):
        for ahead in range(2):
            one.source(number + ahead)
        order, score = one.order(number + 1), one.source(number + 1)
        assert order is not None
        assert score is not None
        wanted = bar.plucks if opened else tuple(p for p in bar.plucks if p.finger == "p")
        assert order.loop_bar == number
        assert [(p.sounds_at, p.string) for p in score.plucks] == [(p.sounds_at, p.string) for p in wanted]
        rows = piece_bar(bar, order.layer, 3)
        shown = [
            (Fraction(at - 2, 3) * bar.slot_beats, string)
            for string in range(1, 7)
            for at, char in enumerate("".join(text for text, _ in rows[string_row(string)]))
            if char.isdigit()
        ]
        assert sorted(shown) == sorted((p.beat, p.string) for p in wanted)


def test_early_thins_one_bar_before_the_words() -> None:
    """The arrangement says early: the bar before each worded stretch is thinned too, also over the loop's end."""
    loop = lantern_loop("early", under="pinches", early=True)
    one = conductor_of(loop, early=True, climbs=False)
    heard = [(bar, layer) for bar, kind, layer, _ in played(one, 2 + loop.bars) if kind == PLAY]
    assert {bar for bar, layer in heard if layer == "pinches"} == WORDED | {7, 13, 17}


def test_singing_begun_in_a_bar_is_heard_from_the_next_bar_line() -> None:
    """Pressed in the pick-up: it stays as it is, the next bar, which has words, is the thumb's."""
    one = conductor_of(lantern_loop(), singing=False)
    player = Player(one)
    player.bar()
    player.bar()
    player.change(Run.sing)
    layers = [shown[1] for number in range(2, 9) if (shown := one.shown(number))]
    assert layers == ["full", "thumb", "thumb", "thumb", "full", "full", "full"]


# Time ---------------------------------------------------------------------------------------


def test_a_pick_up_is_counted_in_so_that_it_falls_on_its_beat() -> None:
    """One beat of four: one two three four, one two three, and the pick-up is four."""
    one = conductor_of(lantern_loop())
    first, second, pickup, bar = (one.source(n) for n in range(4))
    assert first is not None and second is not None and pickup is not None and bar is not None  # noqa: PT018
    assert [(s.beat, s.kind) for s in first.strokes] == [(0, DOWN), (1, BEAT), (2, BEAT), (3, BEAT)]
    assert (second.beats, [s.kind for s in second.strokes]) == (3, [DOWN, BEAT, BEAT])
    assert (pickup.beats, pickup.strokes) == (1, (Stroke(Fraction(0), BEAT),))
    assert bar.strokes[0] == Stroke(Fraction(0), DOWN)
    one.click = ClickWay("one")
    assert one.source(2) == one.score(one.order(2)) and one.score(one.order(2)).strokes == ()  # noqa: PT018


def test_parts_keep_their_own_meter_and_their_share_of_the_tempo() -> None:
    """At 60 for a verse meant at 90, the chorus in three meant at 120 goes at 80, with three clicks a bar."""
    loop = lantern_loop()
    run = Run(loop.piece.bars, Steady(Fraction(60)), loop.layers)
    one = Conductor(run, loop, ClickWay(), "on")
    scores = [one.source(n) for n in range(2 + loop.bars)]
    chorus = scores[2 + 14]
    assert chorus is not None
    assert (chorus.bpm_from, chorus.beats, len(chorus.strokes)) == (80, 3, 3)
    assert [s.beats for s in scores if s] == [4, 3, *(bar.beats for bar in loop.piece.bars)]


def test_a_pass_over_a_change_of_tempo_is_told_at_the_ramp_s_own() -> None:
    """The last bar sounds at 120, the ramp stands at 90: the pass is one at 90."""
    player = Player(conductor_of(lantern_loop(), climbs=False))
    for _ in range(2 + 18):
        player.bar()
    assert [(p.bpm, p.bars, p.layer) for p in player.told] == [(Fraction(90), 18, "thumb")]


def test_a_part_is_cut_out_and_counted_from_its_own_beginning() -> None:
    """The chorus: four bars from beat 0, its plucks in bars 0 to 3, its tempo the loop's own."""
    piece = performed()
    assert part_span(piece, "Verse") == (0, 5)
    assert part_span(piece, "Verse 2") == (8, 13)
    first, last = part_span(piece, "Chorus")
    chorus = cut_bars(piece, first, last)
    assert [bar.number for bar in chorus.bars] == [0, 1, 2, 3]
    assert [bar.start for bar in chorus.bars] == [0, 3, 6, 9]
    assert {p.bar for bar in chorus.bars for p in bar.plucks} == {0, 1, 2, 3}
    assert (chorus.order, chorus.beats) == (("Chorus",), 12)
    with pytest.raises(BadInput, match="did you mean Chorus"):
        part_span(piece, "Chorsu")


# The ladder under the voice -----------------------------------------------------------------


def passes(one: Conductor, stumbles: list[int]) -> list[str]:
    """The layer of each pass under the voice when passes have so many stumbles."""
    player, layers = Player(one), []
    while one.order(player.number) is not None and one.order(player.number).kind == COUNT:  # type: ignore[union-attr]
        player.bar()
    for count in stumbles:
        order = one.order(player.number)
        assert order is not None
        layers.append(order.chosen)
        for _ in range(count):
            player.change(Run.stumble)
        for _ in range(one.loop.bars):
            player.bar()
    return layers


def verse(**more: object) -> Conductor:
    """The first verse, sung."""
    return conductor_of(song_loop(performed(), 0, 5), **more)


def test_a_held_pass_brings_the_next_layer_under_the_voice() -> None:
    """Thumb, pinches, full (nothing of this verse's picking is between them), and full it stays."""
    assert passes(verse(), [0] * 5) == ["thumb", "pinches", "full", "full", "full"]


def test_one_stumble_keeps_the_layer_and_more_take_it_back() -> None:
    """Clean, one stumble, clean, three stumbles, clean: up, stay, up, down, up."""
    assert passes(verse(), [0, 1, 0, 3, 0]) == ["thumb", "pinches", "pinches", "full", "pinches"]


def test_the_ladder_can_be_held_and_stepped_by_hand() -> None:
    """With the ladder held clean passes change nothing; a step by hand does, and counts from the pass after it."""
    one = verse()
    with one.lock:
        one.run.climb()
    assert passes(one, [0, 0, 0]) == ["thumb"] * 3
    other = verse()
    player = Player(other)
    for _ in range(4):
        player.bar()
    player.change(lambda run: run.step_layer(1))
    for _ in range(5):
        player.bar()
    # The pass was begun on the thumb and ended on the next layer: it earns none.
    assert other.run.layer == other.loop.layers[1]


def test_the_ramp_waits_until_all_of_it_sounds_under_the_voice() -> None:
    """One thing at a time: the tempo stays while the layers come back, and goes on from the pass after the last one."""
    loop = song_loop(performed(), 0, 5)
    run = Run(loop.piece.bars, Earned(Fraction(60), Fraction(90)), loop.layers, layer="thumb", singing=True)
    one = Conductor(run, loop, ClickWay(), "on")
    player = Player(one)
    for _ in range(2 + loop.bars * (len(loop.layers) + 2)):
        player.bar()
    told = [(float(p.bpm), p.layer) for p in player.told]
    steps = len(loop.layers)
    assert [bpm for bpm, _ in told[:steps]] == [60.0] * steps
    assert told[steps][0] == pytest.approx(61.8)


def test_a_layer_that_differs_in_nothing_falls_to_the_one_below() -> None:
    """The singing layer an arrangement names may be missing on a pattern's ladder."""
    assert on_ladder(("thumb", "pinches", "full"), "tune") == "thumb"
    assert on_ladder(("thumb", "pinches", "full"), "beats") == "pinches"
    assert on_ladder(("thumb", "full"), "full") == "full"


DEEDS = {
    "stumble": Run.stumble,
    "sing": Run.sing,
    "hold the ladder": Run.climb,
    "early": Run.change_early,
    "thinner": lambda run: run.step_layer(-1),
    "fuller": lambda run: run.step_layer(1),
    "again": Run.again,
    "hold": Run.hold,
    "faster": lambda run: run.faster(5),
}


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 9), st.sampled_from(sorted(DEEDS)), st.integers(0, 1)), max_size=12))
def test_whatever_is_pressed_the_words_are_kept_free(wishes: list[tuple[int, str, int]]) -> None:
    """In a sung bar with words the chosen layer sounds, in one without all of it (or the chosen one, a bar early);
    every bar has its own length, and every pass is of whole bars, numbered without a gap.
    """
    loop = song_loop(performed(), 8, 17)
    one = conductor_of(loop, layer="thumb")
    player = Player(one)
    for bars, wish, taken in wishes:
        for _ in range(bars):
            player.bar()
            order = one.order(player.number)
            assert order is not None
            bar = loop.bar(order.loop_bar)
            if order.kind == PLAY:
                assert order.beats == bar.beats
                assert order.layer == (order.chosen if not order.sung or bar.words else order.layer)
                assert order.layer in {order.chosen, "full"}
                assert order.chosen in loop.layers
        player.change(DEEDS[wish], taken)
    assert [p.number for p in player.told] == list(range(len(player.told)))
    assert {p.bars for p in player.told} <= {loop.bars}


# The tune -----------------------------------------------------------------------------------


def test_the_tune_is_hummed_when_asked_and_in_what_is_only_listened_to() -> None:
    """The tied note over the bar line is one of three beats; the next bar begins none. Off: nothing is hummed."""
    loop = song_loop(performed(), 0, 5)
    assert [(t.beat, t.length) for t in loop.tune[3]][-1] == (3, 3)
    assert loop.tune[4] == ()
    one = conductor_of(loop, model=True)
    assert [one.source(n) is not None for n in range(2)] == [True, True]
    model = one.order(1)
    assert model is not None
    assert model.kind == MODEL
    assert one.score(model).tune == loop.tune[1] != ()
    player = Player(one)
    for _ in range(loop.bars + 3):
        player.bar()
    order = one.order(player.number)
    assert order is not None
    assert order.kind == PLAY
    assert one.score(order).tune == ()
    one.humming = True
    assert one.score(order).tune == loop.tune[order.loop_bar]


# On the screen ------------------------------------------------------------------------------


@asynccontextmanager
async def landing(home: Path, drill: str, size: tuple[int, int] = (80, 24)) -> AsyncIterator[House]:
    """The lantern song among the player's own, on the stage at once, at 90."""
    async with house(home, size, drill=drill, tempo=90, songs=(lantern(),)) as here:
        yield here


async def test_a_sung_part_from_the_count_in_to_the_ledger(tmp_path: Path) -> None:
    """The verse sung: counted in, thinned on the tab, words marked, a pass of six bars written down as sung."""
    async with landing(tmp_path, "lantern/plain/part/Verse/sing") as here:
        stage = await here.running()
        assert stage.run_state.singing
        await here.to_bar(6, 0.1)  # listened to, then the count-in
        await here.to_bar(8, 0.1)
        assert stage._order is not None
        assert (stage._order.kind, stage._order.loop_bar) == (PLAY, 0)
        assert "▸The lan-tern's on the land-ing" in here.page_text()
        await here.press("c")  # what was said about the sound gives way
        await here.to_bar(9, 2.6)
        page = here.page_text()
        assert "on▸the land-ing" in page
        assert "Verse, bar 2 of 6" in page
        assert "capo 2" in page
        assert "under the voice" in page
        await here.to_bar(14, 0.1)
        assert [(p.layer, p.bars) for p in stage.take.passes] == [("thumb", 6)]
        assert "▐pinches▌" in here.page_text()
    with here.ledger() as ledger:
        (take,) = ledger.takes()
    assert (take.drill, take.mode, take.layer) == ("lantern/plain/part/Verse/sing", "sing", "thumb")
    assert [(p.bars, p.layer, p.tempo) for p in take.passes] == [(6, "thumb", 90.0)]


async def test_a_whole_song_says_where_it_is_and_what_comes(tmp_path: Path) -> None:
    """Not listened to from end to end; in bar 2 of the first verse the turn is named as what comes next."""
    async with landing(tmp_path, "lantern/plain") as here:
        stage = await here.running()
        assert stage._order is not None
        assert stage._order.kind == COUNT
        await here.to_bar(4, 0.1)
        page = here.page_text()
        assert "Verse 1, bar 3 of 6" in page
        assert "then Turn" in page
        await here.press("s")
        assert "under the voice ▐thumb▌" in here.page_text()
        await here.press("l")
        assert stage.run_state.climbs is False
        await here.press("v")
        await here.settle()
        assert stage.conductor.humming
        await here.press("a")
        assert stage.run_state.early
        await here.to_bar(17, 0.1)
        assert "Chorus, bar 2 of 4" in here.page_text()
        assert stage._order.share == Fraction(120, 90)


@pytest.mark.parametrize("size", [(60, 22), (80, 24), (100, 36), (160, 45)])
async def test_tab_and_words_are_there_in_every_window(tmp_path: Path, size: tuple[int, int]) -> None:
    """Six strings, the count, the words and the keys are on the page, from the smallest window on."""
    async with landing(tmp_path, "lantern/plain/sing", size) as here:
        stage = await here.running()
        await here.press("t")  # what was said about the sound gives way
        await here.to_bar(3, 1.1)
        lines = here.lines()
        assert sum("─" in line and "│" in line for line in lines) >= 6
        view = stage.query_one("#words", WordView)
        assert view.size.height == (1 if size[1] < 24 else 2 if size[1] < 30 else 5 if size[1] < 42 else 8)
        assert any("under the voice" in line for line in lines)
        assert "all keys" in lines[-1]
        shown = "\n".join("".join(text for text, _ in row) for row in view.rows())
        if view.big:
            assert "▀▀▀" in shown
        else:
            assert "▸tern's" in shown
        stage.tab.renew()
        assert all(strip.cell_length == size[0] for strip in map(stage.tab.render_line, range(10)))


@pytest.mark.parametrize("still", [False, True], ids=["glide", "still"])
async def test_the_cursor_is_on_the_syllable_that_is_sung(tmp_path: Path, still: bool) -> None:
    """Over pick-up, four and three: on every worded beat the cursor's column is that of the syllable under the tab."""
    async with landing(tmp_path, "lantern/plain", (120, 40)) as here:
        stage = await here.running()
        tab = stage.tab
        tab.still = still
        tab.look = lambda number: (number, "full", PLAY) if 0 <= number < 18 else None
        for bar in stage.loop.piece.bars:
            for word in bar.words:
                tab.move(bar.number, float(word.beat))
                line = tab.render_line(tab._plan.index(WORD_ROW)).text
                shown = line[tab.cursor_column : tab.cursor_column + len(word.text)]
                assert shown[1:] == word.text[1:] or word.beat.denominator != 1, (bar.number, word)


def test_words_that_lack_room_are_pushed_on_and_cut_at_the_bar_line() -> None:
    """A long syllable moves the next one on by a blank; nothing stands over the bar line."""
    bar = performed().bars[1]
    row = "".join(text for text, _ in word_runs(bar, 2, 17))
    assert row == "  lan-tern's on the land-"[:17]


def test_a_bar_is_as_wide_as_its_words_need() -> None:
    """lan-tern's on the land-: with slots of three the end would stand a cell over the bar line, with four it fits."""
    bar = performed().bars[1]
    assert [wide_enough(bar, least) for least in (2, 3, 4)] == [4, 4, 4]
    assert wide_enough(performed().bars[5], 2) == 2


def test_what_is_no_song_s_stays_as_it_was() -> None:
    """A pattern's loop has no words, no tune and one meter; singing it thins every bar."""
    loop = loop_of()
    assert not loop.worded
    assert loop.tune == ((),) * loop.bars
    run = Run(loop.piece.bars, Steady(Fraction(80)), loop.layers)
    run.sing()
    order = run.next_order(run.next_order(None))
    assert order is not None
    assert (order.layer, order.sung, run.singing) == ("thumb", True, False)


async def test_what_is_switched_for_singing_is_kept(tmp_path: Path) -> None:
    """Hummed along, thinned a bar early, the layer held: three keys, and the next block begins so."""
    async with landing(tmp_path, "lantern/plain/part/Verse/sing") as here:
        stage = await here.running()
        assert (stage.run_state.early, stage.run_state.climbs, stage.conductor.humming) == (False, True, False)
        await here.press("v", "a", "l")
        kept = here.app.world.settings
        assert (kept.humming, kept.thinning, kept.ladder) == (True, "early", False)
    again = run_of(stage.block, stage.loop, kept, ceiling=None, model=False)
    assert (again.early, again.climbs) == (True, False)


def test_in_a_turn_about_its_tempos_the_layer_stays() -> None:
    """Slow and fast in turns while one sings: the layer under the voice waits, so the tempo need not."""
    block, loop = Block("play", None, "Lantern", 2, 66, 82, "full"), lantern_loop()
    plain, turns = (
        run_of(replace(block, ramp=ramp), loop, Settings(ramp="earned"), ceiling=None, model=False)
        for ramp in (None, "alternate")
    )
    assert (plain.ramp.name, plain.climbs) == ("earned", True)
    assert (turns.ramp, turns.climbs) == (Alternate(Fraction(66), Fraction(82)), False)


def test_an_arrangement_says_when_it_thins_unless_the_player_does() -> None:
    """An arrangement that thins early: as arranged it does, `words` has it thin with the words."""
    block, loop = Block("play", None, "Lantern", 2), lantern_loop(early=True)
    early = [
        run_of(block, loop, Settings(thinning=way), ceiling=None, model=False).early
        for way in ("arranged", "early", "words")
    ]
    assert early == [True, True, False]

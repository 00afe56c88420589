"""The desk: what it knows as values, and what its keys do."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from textual.widgets import Input

from coach.errors import BadInput
from coach.guitar.grip import Hand
from coach.guitar.shape import Shape
from coach.music.meter import FOUR_FOUR
from coach.screens.desk.desk_model import consider, looked_at, moved, read_wish, with_chord, with_minimax, with_pin
from coach.screens.desk.desk_page import DeskPage
from coach.screens.desk.desk_text import change_words, places_text, shapes_text, sum_words
from tests.screens.house import House, house
from tests.sentences import is_one_sentence

HAND = Hand()
SONG = "C | Am | F G | C"


def sounding(bars: object, capo: int) -> list[frozenset[int]]:
    """The pitch classes of every chord as they sound with a capo."""
    chords = [chord for bar in bars for chord in bar]  # type: ignore[attr-defined]
    return [frozenset((tone.pitch_class + capo) % 12 for tone in chord.tones) for chord in chords]


def test_a_progression_is_thought_through() -> None:
    """C, Am, F, G, C is I vi IV V I of C; each has a grip, and the keys to play along in all sound in C."""
    desk = consider(SONG, "", HAND)
    assert desk.numerals == ("I", "vi", "IV", "V", "I")
    assert (desk.key.title, desk.guessed) == ("C major", True)
    assert all(grip is not None for grip in desk.route.grips)
    assert {str(place.sounding_key) for place in desk.places} == {"C"}


def test_with_a_voice_the_key_is_free() -> None:
    """A melody from C4 to A4 for a voice from A2 to D4 goes down: the best place lies lower than C and within reach."""
    desk = consider(SONG, "C melody C4-A4 voice A2-D4", HAND)
    assert desk.places[0].voice_shift < 0
    assert len({str(place.sounding_key) for place in desk.places}) == 12


@pytest.mark.parametrize(
    ("song", "wish"),
    [
        ("", ""),
        ("N | N", ""),
        ("C | H", ""),
        ("C || G", ""),
        ("C", "Q"),
        ("C", "voice"),
        ("C", "voice A2"),
        ("C", "voice D4-A2 melody C4-A4"),
        ("C", "voice A2-D4"),
        (" | ".join(["C"] * 65), ""),
    ],
)
def test_what_cannot_be_read_is_one_sentence(song: str, wish: str) -> None:
    """A wrong chord, key or range is told in one sentence."""
    with pytest.raises(BadInput) as caught:
        consider(song, wish, HAND)
    assert is_one_sentence(caught.value)


def test_the_second_line() -> None:
    """Key, melody and voice in any order; minor keys by one word or two."""
    wish = read_wish("melody C4-A4 Am voice A2-D4")
    assert (wish.key, str(wish.voice and wish.voice[0]), str(wish.melody and wish.melody[1])) == ("Am", "A2", "A4")
    assert read_wish("A minor").key == "Am"
    assert read_wish("").key == ""


@given(at=st.integers(0, 4), take=st.integers(0, 30))
@settings(max_examples=25, deadline=None)
def test_a_chosen_shape_is_kept_and_the_rest_fitted(at: int, take: int) -> None:
    """Whatever shape is pinned stands on the route; freeing it gives the first route back, cost and all."""
    desk = looked_at(consider(SONG, "", HAND), at)
    shape = desk.options[take % len(desk.options)].shape
    pinned = with_pin(desk, shape)
    held = pinned.route.grips[at]
    assert held is not None
    assert str(held.shape) == str(shape)
    assert pinned.route.cost >= desk.route.cost - 1e-9
    assert with_pin(pinned, None).route == desk.route


def test_the_hardest_change_is_never_harder_when_it_is_eased() -> None:
    """Easing the hardest change may cost more in all, but never makes the hardest harder (Hori & Sagayama 2016)."""
    desk = consider("C | F | Bm | G | B7 | Em", "", HAND)
    eased = with_minimax(desk, True)
    assert eased.route.hardest <= desk.route.hardest + 1e-9
    assert eased.route.cost >= desk.route.cost - 1e-9


def test_another_key_sounds_the_same() -> None:
    """Every place to play along in sounds the very chords that were typed: shape plus capo."""
    desk = consider(SONG, "", HAND)
    for place in desk.places:
        there = moved(desk, place)
        assert sounding(there.bars, there.capo) == sounding(desk.bars, 0)
        assert there.numerals == desk.numerals


def test_half_bars_reach_the_pattern() -> None:
    """Two chords of a bar are held half a bar each."""
    bars = consider(SONG, "", HAND).held(FOUR_FOUR)
    assert [[(str(h.chord), h.beat) for h in bar.holds] for bar in bars][2] == [("F", 0), ("G", 2)]
    one = looked_at(consider(SONG, "", HAND), 3).held(FOUR_FOUR, only=True)
    assert [str(h.chord) for bar in one for h in bar.holds] == ["G"]


def test_a_stand_in_takes_the_place() -> None:
    """A stand-in stands where the hard chord stood, with its own shape; the other chords stay."""
    desk = looked_at(consider("C | F | G", "", HAND), 1)
    found = desk.standins()
    assert found
    there = with_chord(desk, found[0].grip.chord, found[0].grip.shape)
    assert [str(c) for c in there.chords] == ["C", str(found[0].grip.chord), "G"]
    grip = there.route.grips[1]
    assert grip is not None
    assert grip.shape.frets == found[0].grip.shape.frets


@pytest.mark.parametrize("width", [30, 45, 80, 120])
def test_what_is_shown_fits(width: int) -> None:
    """Shapes, keys and words keep to their width, and the chord looked at is always among them."""
    desk = consider(" | ".join(["C", "Am", "F", "G"] * 4), "", HAND)
    for at in range(16):
        here = looked_at(desk, at)
        text = shapes_text(here, width).plain
        assert all(len(line) <= width for line in text.splitlines())
        assert text.count("▸") == 1
        assert all(len(line) <= width for line in change_words(here, width).splitlines())
    assert all(len(line) <= 38 for line in places_text(desk, 0, 12, 38).splitlines())
    assert "C major" in sum_words(desk)


async def at(here: House, page: DeskPage, bar: int, seconds: float) -> None:
    """Let the clock go on to `seconds` (80 bpm: three a bar), where `bar` sounds."""
    here.clock.seconds = seconds

    def there() -> bool:
        position = page.engine.position() if page.engine else None
        return position is not None and position.number == bar

    await here.until(there, f"bar {bar}")


async def the_desk(here: House) -> DeskPage:
    """Today's page left for the desk, once it has thought its first song through."""
    await here.press("d")
    await here.until(lambda: isinstance(here.app.screen, DeskPage) and here.app.screen.desk is not None)
    page = here.app.screen
    assert isinstance(page, DeskPage)
    return page


async def type_song(here: House, page: DeskPage, song: str) -> None:
    """Type a progression and wait until it is taken."""
    page.query_one("#song", Input).value = song
    await here.press("enter")
    await here.until(lambda: page.desk is not None and page.focused is None)


async def test_the_keys_of_the_desk(tmp_path: Path) -> None:
    """Typed, thought through, walked with arrows and heard: another shape sounds from the next bar line on."""
    async with house(tmp_path) as here:
        page = await the_desk(here)
        await type_song(here, page, "C | Am | F | G")
        await here.press("right", "space")
        await here.until(lambda: page.engine is not None and page.engine.position() is not None)
        await at(here, page, 1, 3.9)
        await here.press("down", "down", "down")
        assert page.desk is not None
        assert page.desk.at == 1
        shape = page.desk.route.grips[1]
        assert shape is not None
        assert isinstance(page.desk.pins[1], Shape)
        engine = page.engine
        assert engine is not None

        def as_held() -> bool:
            heard = {(p.string, p.fret) for bar in engine.timeline if bar.number == 2 for p in bar.score.plucks}
            return bool(heard) and all(shape.shape.fret(string) == fret for string, fret in heard)

        await here.until(as_held, "the next bar in the other shape")
        await at(here, page, 2, 6.4)
        assert as_held()
        await here.press("space")
        assert page.engine is None
        await here.press("escape")
        await here.until(lambda: not isinstance(here.app.screen, DeskPage))


async def test_a_mistake_is_said_on_the_page(tmp_path: Path) -> None:
    """A chord that is none is told below, and what was there before stays."""
    async with house(tmp_path) as here:
        page = await the_desk(here)
        before = page.desk
        page.query_one("#song", Input).value = "C | Xq"
        await here.press("enter")
        await here.until(lambda: "is not a chord" in here.page_text())
        assert page.desk is before


async def test_what_ends_all_sound_ends_the_desks_too(tmp_path: Path) -> None:
    """A visit to the shell, or a screen that hangs: the app asks every page to stop, and the desk's loop is silent."""
    async with house(tmp_path) as here:
        page = await the_desk(here)
        await type_song(here, page, "C | Am")
        await here.press("space")
        await here.until(lambda: page.engine is not None and page.engine.position() is not None)
        here.app._sound_stopped("The screen did not answer.")
        assert page.engine is None

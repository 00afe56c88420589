"""The conductor: orders of the run become what is heard, and what was heard becomes passes, each told once."""

from __future__ import annotations

import threading
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coach.music.clicks import ClickWay
from coach.music.ramps import Climb, Smooth, Steady
from coach.session.conductor import GUIDES, SHORTEST_PASS_BARS, make_loop
from coach.session.run import COUNT, MODEL, PLAY, PassDone, Run
from coach.sound.score import BEAT, DOWN, BarScore
from tests.screens.made_pages import Player, conductor, landing, loop_of

EIGHTY = Steady(Fraction(80))


def clicks(score: BarScore | None) -> list[int]:
    """The beats that click, from 0."""
    assert score is not None
    return [int(s.beat) for s in score.strokes]


# What is heard ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("mode", "bars"),
    [
        ("beats", [[0, 1, 2, 3]] * 5),
        ("backbeat", [[1, 3]] * 5),
        ("one", [[0]] * 5),
        ("none", [[]] * 5),
        ("gaps", [[], [], [0, 1, 2, 3], [], []]),
    ],
)
def test_every_way_to_click(mode: str, bars: list[list[int]]) -> None:
    """Every beat, two and four, one only, none, or one bar with clicks and two without (bars 3, 6.. of the run)."""
    one = conductor(ramp=EIGHTY, click=ClickWay(mode, 1, 2))
    one.source(0)
    assert [clicks(one.source(n)) for n in range(1, 6)] == bars


@pytest.mark.parametrize("mode", ["beats", "backbeat", "one", "gaps", "none"])
def test_count_in_and_model_click_on_every_beat(mode: str) -> None:
    """However the player likes the click, one is counted in and listens with all of it."""
    one = conductor(ramp=EIGHTY, click=ClickWay(mode, 1, 8), model=True)
    assert [clicks(one.source(n)) for n in range(5)] == [[0, 1, 2, 3]] * 5


def test_one_is_told_from_the_other_beats() -> None:
    """The first beat of a bar has its own click; on two and four there is no first."""
    one = conductor(ramp=EIGHTY)
    score = one.source(0)
    assert score is not None
    assert [s.kind for s in score.strokes] == [DOWN, BEAT, BEAT, BEAT]
    one.click = ClickWay("backbeat")
    after = one.source(1)
    assert after is not None
    assert [s.kind for s in after.strokes] == [BEAT, BEAT]


@pytest.mark.parametrize(
    ("guide", "fingers"), [("on", {"p", "i", "m", "a"}), ("thumb", {"p"}), ("fingers", {"i", "m", "a"}), ("off", set())]
)
def test_every_guide(guide: str, fingers: set[str]) -> None:
    """The guide guitar plays all, the thumb, the fingers or nothing of the bar."""
    one = conductor(ramp=EIGHTY, guide=guide)
    one.source(0)
    score = one.source(1)
    assert score is not None
    assert {p.finger for p in score.plucks} == fingers
    assert set(GUIDES) == {"on", "thumb", "fingers", "off"}


def test_the_guide_keeps_to_the_layer() -> None:
    """On the thumb layer the guide plays the four bass notes of the bar; one layer up the pinches come in."""
    one = conductor(ramp=EIGHTY, layer="thumb")
    one.source(0)
    counts = []
    for layer in one.loop.layers:
        one.run.layer = layer
        score = one.source(1)
        assert score is not None
        counts.append(len(score.plucks))
    assert one.loop.layers == ("thumb", "tune", "pinches", "full")
    assert counts == [4, 5, 6, 10]


def test_the_count_in_has_no_guitar_and_the_model_all_of_it() -> None:
    """Guide off and thumb layer: the model is still heard in full, the count-in only counted."""
    one = conductor(ramp=EIGHTY, guide="off", layer="thumb", model=True)
    model = [one.source(n) for n in range(4)]
    count = one.source(4)
    assert all(score is not None and len(score.plucks) == 10 for score in model)
    assert count is not None
    assert count.plucks == ()


def test_a_smooth_bar_says_both_its_tempos() -> None:
    """From 80 to 84 over two bars: 80 to 82, then 82 to 84; the count-in stands at 80."""
    one = conductor(ramp=Smooth(Fraction(80), Fraction(84), 2))
    scores = [one.source(n) for n in range(3)]
    assert [(int(s.bpm_from), int(s.bpm_to)) for s in scores if s] == [(80, 80), (80, 82), (82, 84)]


@pytest.mark.parametrize(("chords", "bars"), [("C", 4), ("C | G", 4), ("C | F | G", 6), ("C | F | G | C | C", 5)])
def test_a_pass_is_whole_rounds_and_four_bars_at_least(chords: str, bars: int) -> None:
    """One chord goes round four times, two twice, three twice; five bars are enough as they are."""
    assert loop_of(chords=chords).bars == bars >= SHORTEST_PASS_BARS


def test_two_bar_patterns_end_where_the_chords_end() -> None:
    """A pattern of two bars over three chords needs six bars until both begin anew together."""
    pattern = landing()
    two = type(pattern)(**{**vars(pattern), "bars": pattern.bars * 2})
    one = loop_of(chords="C | F | G")
    assert make_loop(two, [one.bar(k).held for k in range(3)]).bars == 6


# What the screen shows ahead ----------------------------------------------------------------


@pytest.mark.parametrize("model", [True, False])
def test_bars_shown_ahead_are_the_bars_that_come(model: bool) -> None:
    """From every bar of a model, count-in and two passes, the next four bars shown are those then played."""
    one = conductor(ramp=EIGHTY, model=model)
    player = Player(one)
    guesses: dict[int, set[tuple[int, str, str] | None]] = {}
    for _ in range(14):
        for number in range(player.number, player.number + 5):
            guesses.setdefault(number, set()).add(one.shown(number))
        player.bar()
    played = {}
    second = Player(conductor(ramp=EIGHTY, model=model))
    for number in range(14):
        order = second.conductor.order(number)
        assert order is not None
        played[number] = (order.loop_bar, order.layer, order.kind)
        second.bar()
    assert {n: guesses[n] for n in played} == {n: {shown} for n, shown in played.items()}


def test_nothing_is_shown_before_the_first_bar_and_after_the_last() -> None:
    """Left of the first bar is empty; after `finish` in bar 2 so is bar 3."""
    one = conductor(ramp=EIGHTY)
    player = Player(one)
    player.bar()
    player.bar()
    assert one.shown(-1) is None
    player.change(Run.finish)
    assert one.shown(2) is not None
    assert [one.shown(n) for n in (3, 4, 9)] == [None, None, None]


def test_a_new_layer_shows_from_the_next_bar_line_on() -> None:
    """Sing in bar 2: bar 2 stays as it is drawn, bars 3, 4 and 5 show the thumb alone."""
    one = conductor(ramp=EIGHTY)
    player = Player(one)
    player.bar()
    player.bar()
    player.change(Run.sing)
    assert [shown[1] for n in range(2, 6) if (shown := one.shown(n))] == ["full", "thumb", "thumb", "thumb"]


def test_bars_behind_the_cursor_stay_known() -> None:
    """Four bars back can still be drawn; a run of an hour keeps no more than those."""
    one = conductor(ramp=EIGHTY)
    player = Player(one)
    for _ in range(300):
        player.bar()
    assert all(one.shown(player.number - k) is not None for k in range(5))
    assert len(one._orders) < 10


# Passes -------------------------------------------------------------------------------------


def test_a_pass_is_told_at_its_last_bar_line() -> None:
    """Count-in and four bars: nothing yet; the bar line after them tells the pass."""
    player = Player(conductor())
    for _ in range(4):
        player.bar()
    assert player.told == []
    player.bar()
    assert player.told == [PassDone(0, Fraction(100), 4, 0, "full")]


def test_a_screen_that_slept_is_told_all_passes() -> None:
    """The screen hangs for two passes while the engine mixes bar after bar; both passes are told, in order."""
    one = conductor(ramp=EIGHTY)
    for number in range(11):
        one.source(number)
    told = one.reach(9)
    assert [p.number for p in told] == [0, 1]


def test_the_last_pass_is_told_at_the_end() -> None:
    """A block that is over in its second pass: both passes are there, none twice."""
    player = Player(conductor(ramp=EIGHTY, play_limit=13.0))
    while player.bar():
        pass
    assert [p.number for p in player.told] == [0, 1]
    assert player.conductor.finish() == []


def test_stop_forgets_the_broken_pass_and_goes_on_with_the_next_number() -> None:
    """One pass, two bars, stop: after the new count-in the next whole pass is the second."""
    one = conductor(ramp=EIGHTY)
    player = Player(one)
    for _ in range(7):
        player.bar()
    one.stop()
    again = Player(one)
    for _ in range(5):
        again.bar()
    assert [p.number for p in (*player.told, *again.told)] == [0, 1]


DEEDS = {
    "stumble": Run.stumble,
    "sing": Run.sing,
    "faster": lambda run: run.faster(3),
    "again": Run.again,
    "hold": Run.hold,
    "thinner": lambda run: run.step_layer(-1),
    "climb": lambda run: run.change_ramp(Climb(Fraction(90), Fraction(120), Fraction(3), 2)),
    "end": Run.finish,
}
WISHES = st.lists(
    st.tuples(st.integers(0, 6), st.sampled_from(sorted(DEEDS)), st.integers(0, 1)), min_size=1, max_size=12
)


@settings(max_examples=150, deadline=None)
@given(WISHES, st.integers(1, 2), st.booleans())
def test_every_pass_is_told_exactly_once(wishes: list[tuple[int, str, int]], ahead: int, model: bool) -> None:
    """Whatever is pressed in whatever bar, with bars mixed one or two ahead, early or too late for the next bar:
    the passes told are numbered 0, 1, 2.. and are just those of which all four bars sounded, one after the other.
    """
    one = conductor(model=model, play_limit=60.0)
    player = Player(one, ahead)
    heard: list[tuple[int, int, str]] = []

    def listen() -> None:
        order = one.order(player.number)
        assert order is not None
        if not heard or heard[-1][0] != player.number:
            heard.append((player.number, order.loop_bar, order.kind))

    listen()
    going = True
    for bars, wish, taken in wishes:
        for _ in range(bars):
            going = going and player.bar()
            if going:
                listen()
        if going:
            player.told += one.reach(player.number)
            player.change(DEEDS[wish], taken)
    for _ in range(60):
        if not going:
            break
        going = player.bar()
        if going:
            listen()
    assert not going, "the time limit ends every run"
    played = [bar for _, bar, kind in heard if kind == PLAY]
    starts = [k for k, bar in enumerate(played) if bar == 0]
    whole = sum(played[k : k + 4] == [0, 1, 2, 3] for k in starts)
    again_at_the_very_end = sum(wish == "again" for _, wish, _ in wishes)
    assert [p.number for p in player.told] == list(range(len(player.told)))
    # A pass dropped by `again` in its last bar has sounded whole and is not told: that was the player's wish.
    assert whole - again_at_the_very_end <= len(player.told) <= whole
    assert one.run.passes == player.told
    assert {kind for _, _, kind in heard} <= {MODEL, COUNT, PLAY}


def test_engine_and_screen_may_ask_at_the_same_time() -> None:
    """One thread asks for bars, again and again, while another changes everything: no error, and no order astray."""
    one = conductor(ramp=EIGHTY)
    errors: list[BaseException] = []
    done = threading.Event()
    asked = [0]

    def engine() -> None:
        try:
            while not done.is_set():
                number = one.run.current.number if one.run.current else 0
                for ahead in range(number, number + 3):
                    score = one.source(ahead) if ahead > number or not one.run.current else None
                    assert score is None or score.number == ahead
                asked[0] += 1
        except BaseException as error:
            errors.append(error)

    thread = threading.Thread(target=engine)
    thread.start()
    told: list[PassDone] = []
    try:
        for number in range(200):
            for _ in range(1000):
                if one.order(number) is not None:
                    break
                done.wait(0.001)
            assert one.order(number) is not None
            told += one.reach(number)
            with one.lock:
                one.run.faster(1 if number % 2 else -1)
                one.run.sing()
            for ahead in range(number - 6, number + 6):
                shown = one.shown(ahead)
                assert shown is None or 0 <= shown[0] < 4
            one.click = ClickWay("backbeat" if number % 2 else "beats")
    finally:
        done.set()
        thread.join(5)
    assert errors == []
    assert asked[0] > 0
    assert [p.number for p in told] == list(range(len(told)))
    assert len(told) == 49

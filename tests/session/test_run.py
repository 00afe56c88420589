"""The run: what each next bar is, and what the player's wishes do to it."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coach.music.meter import Meter
from coach.music.ramps import Alternate, Climb, Earned, Ramp, SlowThenTarget, Smooth, Steady
from coach.music.tempo import smooth_tempo as smooth_plan
from coach.picking.realise import HeldBar
from coach.session.run import COUNT, MODEL, PLAY, BarOrder, PassDone, Run, bar_seconds
from coach.song.piece import PieceBar

LAYERS = ("thumb", "pinches", "full")
BARS = 4


def bar_of(number: int, beats: int | Fraction = 4, **more: object) -> PieceBar:
    """A bar of nothing but time."""
    whole = more.pop("meter", None) or Meter(int(beats), 4)
    bare = PieceBar(
        number, "", number, 0, Fraction(0), whole, Fraction(beats), 8, Fraction(60), HeldBar(()), ()  # type: ignore[arg-type]
    )
    return replace(bare, **more)  # type: ignore[arg-type]


def bars(count: int, beats: int = 4) -> tuple[PieceBar, ...]:
    """So many bars of one meter."""
    return tuple(bar_of(number, beats) for number in range(count))


def run_of(ramp: Ramp | None = None, **more: object) -> Run:
    """A run over four bars of 4/4, steady at 80 unless told."""
    return Run(bars(BARS), ramp or Steady(Fraction(80)), LAYERS, **more)  # type: ignore[arg-type]


def play(run: Run, bars: int) -> list[PassDone]:
    """So many bars more, one asked for as the one before it sounds; the passes that ended on the way."""
    done = []
    for _ in range(bars):
        order = run.next_order(run.current)
        assert order is not None
        ended = run.begin(order)
        if ended:
            done.append(ended)
    return done


def asked(run: Run) -> BarOrder:
    """The next bar as things stand."""
    order = run.next_order(run.current)
    assert order is not None
    return order


def words(run: Run, bars: int) -> str:
    """The next bars as kind and bar of the loop: `c0 p0 p1`."""
    said = []
    for _ in range(bars):
        play(run, 1)
        assert run.current is not None
        said.append(f"{run.current.kind[0]}{run.current.loop_bar}")
    return " ".join(said)


# The order of things ------------------------------------------------------------------------


def test_a_block_is_counted_in_and_goes_round() -> None:
    """One bar of count-in, then the four bars of the loop round and round."""
    assert words(run_of(), 10) == "c0 p0 p1 p2 p3 p0 p1 p2 p3 p0"


def test_a_new_thing_is_heard_first() -> None:
    """The model comes before the count-in: all four bars, in full whatever the layer, at the first tempo."""
    run = run_of(Earned(Fraction(70), Fraction(90)), model=True, layer="thumb")
    first = [asked(run)]
    play(run, 1)
    for _ in range(3):
        first.append(asked(run))
        play(run, 1)
    assert [(o.kind, o.loop_bar, o.layer) for o in first] == [(MODEL, k, "full") for k in range(4)]
    assert all(o.bpm_from == 70 for o in first)
    assert words(run, 2) == "c0 p0"
    assert run.current is not None
    assert run.current.layer == "thumb"


def test_a_listening_run_goes_round_and_ends_by_itself() -> None:
    """Four bars at 60 take 16 s, then at 120 8 s: a minute of it is over with the round that crosses the minute. No
    bar is counted in or played, and all of it sounds in full."""
    run = run_of(SlowThenTarget(Fraction(60), Fraction(120), BARS), layer="thumb", listens=True, play_limit=60.0)
    heard = []
    while (order := run.next_order(run.current)) is not None:
        assert run.begin(order) is None
        heard.append(order)
    assert {(o.kind, o.layer) for o in heard} == {(MODEL, "full")}
    assert [o.loop_bar for o in heard] == [k % BARS for k in range(len(heard))]
    assert [o.bpm_from for o in heard] == [60] * BARS + [120] * (len(heard) - BARS)
    assert heard[-1].start_s + bar_seconds(heard[-1]) == pytest.approx(16 + 6 * 8)  # 16, 24 ... 56, 64
    assert run.end() is None
    assert run.passes == []


def test_a_long_loop_is_not_listened_to_from_end_to_end() -> None:
    """Two hundred bars at 60 and a minute of time: it ends at the bar line after two minutes."""
    run = Run(bars(200), Steady(Fraction(60)), LAYERS, listens=True, play_limit=60.0)
    while (order := run.next_order(run.current)) is not None:
        run.begin(order)
    assert run.current is not None
    assert run.current.loop_bar == 29


def test_a_pass_is_done_when_the_next_one_begins() -> None:
    """Four bars played: the pass ends at the next bar line, with its tempo, its bars and no stumble."""
    run = run_of()
    assert play(run, 5) == []
    assert play(run, 1) == [PassDone(0, Fraction(80), 4, 0, "full")]
    assert run.passes[0].clean


def test_bars_follow_each_other_in_time() -> None:
    """At 80 bpm a bar of four lasts three seconds; the count-in is not playing time."""
    run = run_of()
    orders = []
    for _ in range(4):
        orders.append(asked(run))
        play(run, 1)
    assert [o.start_s for o in orders] == [0.0, 3.0, 6.0, 9.0]
    assert [o.play_s for o in orders] == [0.0, 0.0, 3.0, 6.0]


@settings(max_examples=50)
@given(st.integers(30, 200), st.integers(30, 200), st.integers(1, 16), st.integers(2, 6))
def test_smooth_bars_last_what_the_closed_form_says(start: int, target: int, over: int, beats: int) -> None:
    """Each bar line of a smooth ramp falls where coach.music.tempo's logarithm puts it, to a millionth of a second."""
    run = Run(bars(BARS, beats), Smooth(Fraction(start), Fraction(target), over), LAYERS)
    plan = smooth_plan(Fraction(start), Fraction(target), Fraction(over * beats))
    play(run, 2)
    for bar in range(over + 2):
        order = run.current
        assert order is not None
        assert order.play_s == pytest.approx(plan.seconds(Fraction(bar * beats)), abs=1e-6)
        after = plan.seconds(Fraction((bar + 1) * beats)) - plan.seconds(Fraction(bar * beats))
        assert bar_seconds(order) == pytest.approx(after, abs=1e-6)
        play(run, 1)


# Ramps as they are played -------------------------------------------------------------------


def test_earned_goes_up_a_step_after_a_clean_pass() -> None:
    """100 bpm, a clean pass, 103; another, 106.1 (3 % each time)."""
    run = run_of(Earned(Fraction(100), Fraction(150)))
    play(run, 6)
    assert run.current is not None
    assert run.current.bpm_from == 103
    play(run, 4)
    assert run.current.bpm_from == Fraction("106.1")


def test_earned_goes_down_four_steps_after_a_stumbled_pass() -> None:
    """One stumble in the pass at 100: the next begins at 88.8, which is 100 / 1.03^4 (Kaernbach 1991)."""
    run = run_of(Earned(Fraction(100), Fraction(150)))
    play(run, 3)
    run.stumble()
    done = play(run, 3)
    assert [(p.stumbles, p.clean) for p in done] == [(1, False)]
    assert run.current is not None
    assert run.current.bpm_from == Fraction("88.8")
    assert run.stumbles == 0


def test_a_stumble_in_the_last_bar_changes_the_bar_already_asked_for() -> None:
    """The first bar of the next pass was mixed at 103; a stumble before its bar line has it asked again, at 88.8."""
    run = run_of(Earned(Fraction(100), Fraction(150)))
    play(run, 5)
    assert asked(run).bpm_from == 103
    run.stumble()
    assert asked(run).bpm_from == Fraction("88.8")
    done = play(run, 1)
    assert done[0].stumbles == 1
    assert asked(run).bpm_from == Fraction("88.8")


def test_bars_can_be_asked_two_ahead() -> None:
    """From the third bar of a pass: the last bar, then the next pass a step up; a stumble changes the far one alone."""
    run = run_of(Earned(Fraction(100), Fraction(150)))
    play(run, 4)
    near = asked(run)
    far = run.next_order(near)
    assert far is not None
    assert (near.loop_bar, far.loop_bar, far.pass_no) == (3, 0, 1)
    assert [near.bpm_from, far.bpm_from] == [100, 103]
    run.stumble()
    assert asked(run) == near
    again = run.next_order(near)
    assert again is not None
    assert (again.loop_bar, again.pass_no, again.bpm_from) == (0, 1, Fraction("88.8"))


def test_alternate_takes_turns_pass_by_pass() -> None:
    """60, 84, 60, 84, whatever goes wrong."""
    run = run_of(Alternate(Fraction(60), Fraction(84)))
    play(run, 2)
    tempos = []
    for _ in range(4):
        assert run.current is not None
        tempos.append(run.current.bpm_from)
        run.stumble()
        play(run, 4)
    assert tempos == [60, 84, 60, 84]


def test_a_climb_counts_the_bars_played_and_not_the_count_in() -> None:
    """Up 2 bpm every second bar: count-in at 80, then 80 80 82 82."""
    run = run_of(Climb(Fraction(80), Fraction(90), Fraction(2), 2))
    tempos = []
    for _ in range(5):
        play(run, 1)
        assert run.current is not None
        tempos.append(run.current.bpm_from)
    assert tempos == [80, 80, 80, 82, 82]


# What the player does -----------------------------------------------------------------------


def test_faster_is_heard_from_the_next_bar_line() -> None:
    """Pressed in the second bar, four bpm more come with the third; the bar that sounds is as it was."""
    run = run_of()
    play(run, 3)
    run.faster(4)
    assert run.current is not None
    assert run.current.bpm_from == 80
    assert asked(run).bpm_from == 84


@given(st.lists(st.sampled_from([-4, -1, 1, 4]), max_size=200))
def test_no_number_of_presses_leaves_the_clicks_range(presses: list[int]) -> None:
    """However often faster or slower is pressed, a bar is between 20 and 400 bpm."""
    run = run_of()
    play(run, 2)
    for by in presses:
        run.faster(by)
    assert 20 <= asked(run).bpm_from <= 400


def test_past_the_edge_one_press_back_is_heard() -> None:
    """At 400 bpm a hundred presses more change nothing, and the first press down is heard."""
    run = run_of(Steady(Fraction(398)))
    play(run, 2)
    for _ in range(100):
        run.faster(4)
        assert asked(run).bpm_from == 400
    run.faster(-4)
    assert asked(run).bpm_from == 396


def test_hold_keeps_the_tempo_and_lets_it_go_on() -> None:
    """A climb of 2 bpm a bar, held at 84 for three bars, goes on to 86."""
    run = run_of(Climb(Fraction(80), Fraction(100), Fraction(2), 1))
    play(run, 4)
    assert run.hold()
    tempos = []
    for _ in range(3):
        play(run, 1)
        assert run.current is not None
        tempos.append(run.current.bpm_from)
    assert run.ahead() == "held here"
    assert not run.hold()
    tempos.append(asked(run).bpm_from)
    assert tempos == [84, 84, 84, 86]


def test_held_smooth_stands_where_the_bar_ended_and_goes_on_from_there() -> None:
    """Held in the bar from 80 to 82: the next bars stand at 82, and let go it rises from 82 to 84. No jump."""
    run = run_of(Smooth(Fraction(80), Fraction(100), 10))
    play(run, 2)
    run.hold()
    tempos = []
    for bar in range(3):
        if bar == 2:
            run.hold()
        play(run, 1)
        assert run.current is not None
        tempos += [run.current.bpm_from, run.current.bpm_to]
    assert tempos == [82, 82, 82, 82, 82, 84]


def test_the_count_in_after_a_stop_under_hold_has_the_held_tempo() -> None:
    """Held at 84 on a climb, stopped and gone on with: counted in at 84 and played at 84."""
    run = run_of(Climb(Fraction(80), Fraction(100), Fraction(2), 1))
    play(run, 4)
    run.hold()
    play(run, 1)
    run.stop()
    tempos = []
    for _ in range(2):
        play(run, 1)
        assert run.current is not None
        tempos.append(run.current.bpm_from)
    assert tempos == [84, 84]


def test_a_pass_under_hold_is_counted_and_earns_nothing() -> None:
    """Held: the pass is written down as any other, and the tempo stays, clean or stumbled."""
    run = run_of(Earned(Fraction(100), Fraction(150)))
    play(run, 2)
    run.hold()
    assert len(play(run, 4)) == 1
    run.stumble()
    assert len(play(run, 4)) == 1
    assert run.current is not None
    assert run.current.bpm_from == 100


def test_again_begins_the_pass_anew_at_the_next_bar_line() -> None:
    """Pressed in the second bar: the loop's first bar comes next, the broken pass is not counted, nor its stumble."""
    run = run_of()
    play(run, 3)
    run.stumble()
    run.again()
    assert words(run, 5) == "p0 p1 p2 p3 p0"
    assert run.passes == [PassDone(0, Fraction(80), 4, 0, "full")]


def test_again_counts_also_when_the_next_bar_can_no_longer_be_changed() -> None:
    """Pressed too late for the next bar, which is on its way to the ear: the one after it begins the pass anew."""
    run = run_of()
    play(run, 3)
    taken = asked(run)
    run.again()
    after = run.next_order(taken)
    assert after is not None
    assert (after.loop_bar, after.pass_no) == (0, 0)
    assert run.begin(taken) is None
    assert run.begin(after) is None
    assert words(run, 3) == "p1 p2 p3"


def test_again_is_done_once() -> None:
    """With bars asked two and three ahead, only one of them begins anew."""
    run = run_of()
    play(run, 3)
    run.again()
    orders, last = [], run.current
    for _ in range(3):
        last = run.next_order(last)
        assert last is not None
        orders.append(last)
    assert [o.loop_bar for o in orders] == [0, 1, 2]


def test_again_too_late_in_the_last_bar_leaves_the_finished_pass_alone() -> None:
    """The next pass is on its way to the ear: the finished one counts, and the new one is not begun twice."""
    run = run_of()
    play(run, 5)
    taken = asked(run)
    run.again()
    done = run.begin(taken)
    assert done is not None
    assert words(run, 3) == "p1 p2 p3"


def test_again_in_the_count_in_changes_nothing() -> None:
    """There is no pass to begin anew: after the count-in it goes round as ever."""
    run = run_of()
    play(run, 1)
    run.again()
    assert words(run, 5) == "p0 p1 p2 p3 p0"


def test_sing_goes_to_the_thumb_and_back() -> None:
    """From the layer `pinches` to the thumb alone, and back to `pinches`."""
    run = run_of(layer="pinches")
    play(run, 2)
    assert run.sing()
    assert asked(run).layer == "thumb"
    assert not run.sing()
    assert asked(run).layer == "pinches"


def test_a_singing_block_opens_up_to_the_full_layer() -> None:
    """Begun on the thumb alone, the key brings all of it, and takes it away again."""
    run = run_of(layer="thumb")
    assert not run.sing()
    assert run.layer == "full"
    assert run.sing()


def test_layers_are_a_ladder_with_two_ends() -> None:
    """Three rungs down from the top is the thumb and stays there; three up is full."""
    run = run_of()
    seen = []
    for by in (-1, -1, -1, 1, 1, 1):
        run.step_layer(by)
        seen.append(run.layer)
    assert seen == ["pinches", "thumb", "thumb", "pinches", "full", "full"]


def test_another_ramp_goes_on_from_the_tempo_of_now() -> None:
    """At 90 bpm, six of them nudged: a steady ramp of 90 stays at 90 and forgets the nudge."""
    run = run_of(Climb(Fraction(80), Fraction(100), Fraction(4), 4))
    play(run, 6)
    run.faster(6)
    play(run, 1)
    assert run.current is not None
    assert run.current.bpm_from == 90
    run.change_ramp(Steady(Fraction(90)))
    assert asked(run).bpm_from == 90
    run.change_ramp(Earned(Fraction(90), Fraction(120)))
    play(run, 1)
    assert run.current.bpm_from == 90
    play(run, 3)
    assert run.current.bpm_from == Fraction("92.7")


def test_stop_and_go_on() -> None:
    """Stopped in the third bar at 84: that pass is not counted; after a count-in the loop begins again at 84."""
    run = run_of(Climb(Fraction(80), Fraction(100), Fraction(2), 1), model=True)
    play(run, 4 + 1 + 3)
    run.stumble()
    run.stop()
    assert (run.passes, run.stumbles, run.current) == ([], 0, None)
    assert words(run, 3) == "c0 p0 p1"
    assert run.current is not None
    assert run.current.bpm_from == 86
    assert run.current.start_s == pytest.approx(240 / 84 * 2)


def test_stopped_while_listening_one_hears_it_again() -> None:
    """A model that was broken off is played from its beginning."""
    run = run_of(model=True)
    play(run, 2)
    run.stop()
    assert words(run, 2) == "m0 m1"


def test_the_time_limit_waits_for_the_end_of_the_pass() -> None:
    """Thirteen seconds at three a bar are over in the fifth bar played; the run ends after the eighth."""
    run = run_of(play_limit=13.0)
    assert words(run, 9) == "c0 p0 p1 p2 p3 p0 p1 p2 p3"
    assert run.next_order(run.current) is None
    assert run.end() == PassDone(1, Fraction(80), 4, 0, "full")


def test_finish_ends_with_the_bar_that_sounds() -> None:
    """In the middle of a pass: nothing follows, and the broken pass is not counted."""
    run = run_of()
    play(run, 3)
    run.finish()
    assert run.next_order(run.current) is None
    assert run.end() is None
    assert run.passes == []


def test_finish_in_the_last_bar_keeps_the_pass() -> None:
    """All four bars were played: the pass is there."""
    run = run_of()
    play(run, 5)
    run.finish()
    assert run.end() == PassDone(0, Fraction(80), 4, 0, "full")


def test_a_number_of_passes_can_be_the_limit() -> None:
    """Two passes and no more."""
    run = run_of(pass_limit=2)
    assert words(run, 9).endswith("p3")
    assert run.next_order(run.current) is None


WISHES = st.lists(
    st.tuples(st.integers(1, 9), st.sampled_from(["stumble", "sing", "faster", "again", "hold", "thinner", "stop"])),
    max_size=12,
)


@given(WISHES, st.booleans())
def test_whatever_is_pressed_passes_are_whole_and_numbered(wishes: list[tuple[int, str]], model: bool) -> None:
    """Every pass told has four bars played in order; numbers run 0, 1, 2 without a gap; only whole bars are skipped."""
    run = run_of(Earned(Fraction(90), Fraction(120)), model=model)
    deeds = {
        "stumble": run.stumble,
        "sing": run.sing,
        "faster": lambda: run.faster(3),
        "again": run.again,
        "hold": run.hold,
        "thinner": lambda: run.step_layer(-1),
        "stop": run.stop,
    }
    told: list[PassDone] = []
    heard: list[int] = []
    whole = 0
    for bars, wish in wishes:
        for _ in range(bars):
            done = play(run, 1)
            told += done
            assert run.current is not None
            whole += heard[-BARS:] == list(range(BARS)) and bool(done)
            if run.current.kind == PLAY:
                heard = [*heard, run.current.loop_bar]
            else:
                heard = []
                assert run.current.kind in (COUNT, MODEL)
        deeds[wish]()
    assert [p.number for p in told] == list(range(len(told)))
    assert whole == len(told)
    assert told == run.passes

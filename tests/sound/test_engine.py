"""The engine, pumped by hand: exact clicks, changes at the bar line without a gap, going on when the device is lost."""

from __future__ import annotations

import sys
import threading
import time
from collections.abc import Callable, Iterator
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from types import FrameType

import numpy as np
import pytest

from coach.errors import CoachError
from coach.music.tempo import constant_tempo, smooth_tempo, stepped_tempo
from coach.sound.clock import FakeClock
from coach.sound.device import SilentSpeaker
from coach.sound.engine import Engine
from coach.sound.feed import BYTES_PER_FRAME, Block, Feed
from coach.sound.mixer import Mixer, render
from coach.sound.premix import Premix
from coach.sound.score import BarScore
from tests.sound.hands import RATE, HandSpeaker, bar, onsets, picked_bar, until


class Rig:
    """An engine on a hand speaker, with what it said."""

    def __init__(self, **more: object) -> None:
        self.speaker = HandSpeaker()
        self.begun: list[int] = []
        self.troubles: list[str] = []
        self.ended = threading.Event()
        self.engine = Engine(
            self.speaker,
            RATE,
            on_bar=self.begun.append,
            on_end=self.ended.set,
            on_trouble=self.troubles.append,
            now=self.speaker.now,
            **more,
        )

    def start(self, source: Callable[[int], BarScore | None]) -> None:
        """Start and wait for the device to be opened."""
        self.engine.start(source)
        assert self.speaker.opened.wait(5)

    def pump(self, frames: int) -> None:
        """Play on, never faster than the engine mixes (a real device would not be either)."""
        for _ in range(-(-frames // self.speaker.period)):
            at = len(self.speaker.heard) * self.speaker.period
            assert until(lambda at=at: self.engine.mixed_to >= at + 2 * self.speaker.period)
            self.speaker.pump(1)


@pytest.fixture
def rig() -> Iterator[Rig]:
    """A rig that is stopped afterwards."""
    rig = Rig(guide_volume=1.0)
    yield rig
    rig.engine.stop()


def ending(count: int, make: Callable[[int], BarScore]) -> Callable[[int], BarScore | None]:
    """A source of `count` bars."""
    return lambda n: make(n) if n < count else None


PLANS = {
    "137 bpm": constant_tempo(Fraction(137)),
    "steps": stepped_tempo(Fraction(80), Fraction(137), Fraction(3), Fraction(16)),
    "smooth": smooth_tempo(Fraction(61), Fraction(137), Fraction(640)),
}


@pytest.mark.parametrize(("name", "bars"), [("137 bpm", 200), ("steps", 80), ("smooth", 80)])
def test_clicks_through_the_engine_are_exact(name: str, bars: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Handed over in blocks, steady, in steps and rising smoothly: every click at round(t · rate) of the plan."""
    plan = PLANS[name]
    # These bars go by faster than they would sound, so the engine looks after them as much more often.
    monkeypatch.setattr("coach.sound.engine._TICK_S", 0.001)

    def source(n: int) -> BarScore | None:
        slope = plan._segment(Fraction(4 * n)).slope
        start = plan.bpm_at(Fraction(4 * n))
        return bar(n, start, start + 4 * slope) if n < bars else None

    rig = Rig()
    rig.speaker.period = 3000
    rig.start(source)
    end = plan.frame(Fraction(4 * bars), RATE)
    while len(rig.speaker.heard) * 3000 < end:
        at = len(rig.speaker.heard) * 3000
        assert until(lambda at=at: rig.engine.mixed_to >= min(at + 3000, end))
        rig.speaker.pump(1)
    rig.engine.stop()
    meant = [round(plan.exact_seconds(Fraction(beat)) * RATE) for beat in range(4 * bars)]
    assert onsets(rig.speaker.samples[:end, 0]) == meant


def test_the_engine_plays_what_render_renders(rig: Rig) -> None:
    """Picking and click, ten bars of a rising tempo and the ringing out: sample for sample the offline rendering."""
    make = lambda n: bar(n, 90 + 2 * n, 92 + 2 * n, plucks=picked_bar())  # noqa: E731
    rig.start(ending(10, make))
    whole = render([make(n) for n in range(10)], RATE)
    while len(rig.speaker.heard) * 1024 < len(whole):
        rig.speaker.pump(1)
        at = len(rig.speaker.heard) * 1024
        assert until(lambda at=at: rig.engine.mixed_to >= min(at + 2048, len(whole)))
    assert np.array_equal(rig.speaker.samples[: len(whole)], whole)


def test_refresh_changes_at_the_next_bar_line() -> None:
    """Tempo 100 becomes 130 in bar 2: bar 3 is faster, bar 2 untouched, every click exact, and not a sample of gap."""
    rig = Rig(guide_volume=1.0)
    tempo = {"bpm": 100}
    rig.start(lambda n: bar(n, tempo["bpm"], plucks=picked_bar()))
    line = round(Fraction(2 * 4 * 60, 100) * RATE)
    rig.pump(line + RATE // 2)
    tempo["bpm"] = 130
    rig.engine.refresh()
    assert until(lambda: rig.engine.timeline[-1].score.bpm_from == 130)
    rig.pump(8 * RATE)
    rig.engine.stop()
    sound = rig.speaker.samples[:, 0]
    bars = {b.number: b for b in rig.engine.timeline}
    assert [int(bars[n].score.bpm_from) for n in range(5)] == [100, 100, 100, 130, 130]
    turn_s = Fraction(3 * 4 * 60, 100)
    assert bars[3].start_frame == round(turn_s * RATE)
    meant = [round(Fraction(beat * 60, 100) * RATE) for beat in range(12)]
    meant += [round((turn_s + Fraction(beat * 60, 130)) * RATE) for beat in range(12)]
    assert all(abs(sound[at] - sound[at - 1]) > 0.06 for at in meant)
    silence = np.flatnonzero(np.convolve(sound[: meant[-1]] == 0, np.ones(24), "valid") == 24)
    assert len(silence) == 0
    offline = render([bar(n, 100 if n < 3 else 130, plucks=picked_bar()) for n in range(7)], RATE, guide_gain=1.0)
    assert np.array_equal(sound[: meant[-1]], offline[: meant[-1], 0])


def test_refresh_close_to_the_line_waits_a_bar(rig: Rig) -> None:
    """Asked 40 ms before bar 1, the change comes at bar 2; bar 1 is as it was and nothing is skipped."""
    tempo = {"bpm": 120}
    rig.start(lambda n: bar(n, tempo["bpm"]))
    rig.pump(2 * RATE - 1920 - 1024)
    tempo["bpm"] = 90
    rig.engine.refresh()
    assert until(lambda: not rig.engine._again)
    rig.pump(6 * RATE)
    assert [int(b.score.bpm_from) for b in rig.engine.timeline[:3]] == [120, 120, 90]
    starts = onsets(rig.speaker.samples[:, 0])
    assert starts[:10] == [*(24000 * beat for beat in range(9)), 8 * 24000 + 32000]


def test_refresh_from_another_thread_at_any_moment_never_breaks_the_chain() -> None:
    """Refreshed without pause while a thread reads: bars stay end to end, the clicks are those of the bars played."""
    count = {"n": 0}
    lock = threading.Lock()

    def source(n: int) -> BarScore:
        with lock:
            return bar(n, 240 + count["n"] % 7, beats=2)

    premix = Premix(source, Mixer(RATE))
    premix.ahead()
    feed = premix.feed
    assert feed is not None
    heard: list[bytes] = []
    halt = threading.Event()

    def reading() -> None:
        while not halt.is_set():
            if premix.mixed_to - feed.frame > 4096:
                heard.append(bytes(feed.fill(512)))
            time.sleep(0.0002)

    thread = threading.Thread(target=reading)
    thread.start()
    try:
        end = time.perf_counter() + 20
        while feed.frame < 12 * RATE and time.perf_counter() < end:
            with lock:
                count["n"] += 1
            premix.renew()
            premix.ahead()
    finally:
        halt.set()
        thread.join(5)
    sound = np.frombuffer(b"".join(heard), dtype=np.float32).reshape(-1, 2)[:, 0]
    assert feed.starved == 0
    bars = [b for b in premix.bars if b.end_frame <= feed.frame]
    assert [b.number for b in bars] == list(range(len(bars)))
    assert all(a.end_frame == b.start_frame for a, b in pairwise(bars))
    meant = [round(b.segment.seconds(b.start_beat + beat) * RATE) for b in bars for beat in (Fraction(0), Fraction(1))]
    assert len(meant) > 20
    assert onsets(sound)[: len(meant)] == meant


def test_a_block_taken_while_its_successor_is_mixed_again_stays() -> None:
    """The device crosses the bar line in the middle of a refresh: the old bar plays on whole, the next changes."""
    tempo = {"bpm": 100, "cross": False}
    premix = Premix(lambda n: source(n), Mixer(RATE))

    def source(n: int) -> BarScore:
        if tempo["cross"] and n == 1:
            tempo["cross"] = False
            feed.fill(feed.block.end - feed.frame + 512)  # the device asks while bar 1 is being mixed anew
        return bar(n, tempo["bpm"])

    premix.ahead()
    assert premix.feed is not None
    feed = premix.feed
    feed.fill(RATE)
    tempo.update(bpm=130, cross=True)
    old = feed.block.next
    premix.ahead()
    assert not premix.renew()  # bar 1 is sounding, and bar 2 had not been pulled yet
    premix.ahead()
    assert feed.block is old
    assert [int(b.score.bpm_from) for b in premix.bars] == [100, 100, 130]
    assert premix.bars[2].start_frame == premix.bars[1].end_frame == round(Fraction(8 * 60, 100) * RATE)


def test_position_tells_bar_beat_and_tempo(rig: Rig) -> None:
    """At 60 bpm, 5.5 s after the first frame is heard, it is bar 1, beat 1.5; before that there is no position."""
    rig.start(lambda n: bar(n, 60))
    assert rig.engine.position() is None
    rig.pump(round(0.05 * RATE))
    assert rig.engine.position() is None  # handed over, not yet heard
    rig.pump(round((5.5 + rig.speaker.latency_s) * RATE) - len(rig.speaker.heard) * 1024)
    position = rig.engine.position()
    assert position is not None
    assert (position.number, position.bpm) == (1, 60)
    assert position.beat == pytest.approx(1.5, abs=2 * rig.speaker.period_s)


def test_position_in_a_smooth_ramp() -> None:
    """From 60 to 120 bpm over one bar of four beats: beat 2 falls at 4·ln(3/2) s (60/a · ln(1 + a·x/b0)), at 90 bpm."""
    clock = FakeClock()
    engine = Engine(SilentSpeaker(), RATE, clock=clock)
    engine.start(lambda n: bar(n, 60, 120) if n == 0 else bar(n, 120))
    assert until(lambda: clock.running)
    clock.advance(4 * float(np.log(1.5)))
    position = engine.position()
    engine.stop()
    assert position is not None
    assert (position.number, position.beat, position.bpm) == (0, pytest.approx(2.0), pytest.approx(90.0))


def test_bars_are_announced_as_they_sound() -> None:
    """By the clock: two seconds into 4/4 at 120 bpm bar 1 begins, and nothing is said of bar 2 before its time."""
    clock, begun = FakeClock(), []
    engine = Engine(SilentSpeaker(), RATE, clock=clock, on_bar=begun.append)
    engine.start(lambda n: bar(n, 120))
    assert until(lambda: begun == [0])
    clock.seconds = 1.99
    time.sleep(0.06)
    assert begun == [0]
    clock.seconds = 2.001
    assert until(lambda: begun == [0, 1])
    clock.seconds = 21.0
    assert until(lambda: begun == list(range(11)))
    engine.stop()


def test_the_end_rings_out_and_is_announced() -> None:
    """After the last bar the strings ring on 1.5 s, fading; then the end is announced and the engine stands."""
    rig = Rig()
    rig.start(ending(2, lambda n: bar(n, 120, plucks=picked_bar())))
    rig.pump(4 * RATE)
    assert not rig.ended.is_set()
    for _ in range(80):
        rig.speaker.pump(1024)
    assert rig.ended.wait(3)
    sound = rig.speaker.samples
    assert np.max(np.abs(sound[4 * RATE : 4 * RATE + 4800])) > 0.02
    assert np.max(np.abs(sound[round(5.5 * RATE) :])) == 0
    assert np.max(np.abs(np.diff(sound[4 * RATE :, 0]))) < 0.02
    assert not rig.engine.running
    assert rig.engine.position() is None
    assert rig.begun == [0, 1]


def test_stop_fades_without_a_knock() -> None:
    """Stopped in full sound: within 20 ms it is silent, and no sample jumps more than the strings do by themselves."""
    rig = Rig(click_volume=0.0, guide_volume=1.0)
    rig.start(lambda n: bar(n, 100, plucks=picked_bar()))
    rig.pump(round(2.0 * RATE))
    before = len(rig.speaker.samples)
    usual = np.max(np.abs(np.diff(rig.speaker.samples[-9600:, 0])))
    rig.engine.stop(wait=False)
    assert until(lambda: rig.engine._premix is not None and rig.engine._premix.feed.final is not None)  # type: ignore[union-attr]
    rig.speaker.pump(6 * 1024)
    rig.engine.stop()
    after = rig.speaker.samples[before:, 0]
    assert np.max(np.abs(after[:1024])) > 0.02
    assert np.max(np.abs(after[1024 + 960 :])) == 0
    assert np.max(np.abs(np.diff(rig.speaker.samples[before - 1 :, 0]))) <= usual
    assert rig.speaker.closed == 1


def test_stop_may_be_called_twice_or_before_anything() -> None:
    """Stopping what does not play does nothing, however often."""
    engine = Engine(SilentSpeaker(), RATE)
    engine.stop()
    engine.start(lambda n: bar(n, 90))
    engine.stop()
    engine.stop()
    assert not engine.running


def test_stop_from_within_a_callback_does_not_lock() -> None:
    """A screen that stops the run when bar 1 begins gets what it asked for."""
    clock = FakeClock()
    engine = Engine(SilentSpeaker(), RATE, clock=clock, on_bar=lambda n: engine.stop() if n == 1 else None)
    engine.start(lambda n: bar(n, 120))
    assert until(lambda: clock.running)
    clock.seconds = 2.1
    assert engine.wait_quiet(3)


def test_a_second_run_starts_from_nothing(rig: Rig) -> None:
    """Started again, bar 0 comes first, at frame 0, with the new source."""
    rig.start(lambda n: bar(n, 100))
    rig.pump(3 * RATE)
    rig.engine.stop()
    rig.speaker.heard.clear()
    rig.speaker.opened.clear()
    rig.start(lambda n: bar(n, 150))
    rig.pump(RATE)
    assert onsets(rig.speaker.samples[:, 0])[:3] == [0, 19200, 38400]


def test_volume_changes_within_the_bar(rig: Rig) -> None:
    """The click turned down to a half within a long bar: the beats still to come are half as loud, in place."""
    rig.start(lambda n: bar(n, 60))
    rig.pump(round(1.5 * RATE))
    rig.engine.set_volumes(click=0.5)
    block = rig.engine._premix.feed.block  # type: ignore[union-attr]
    was = block.data
    assert until(lambda: block.data is not was)
    rig.pump(round(2.4 * RATE))
    sound = rig.speaker.samples[:, 0]
    peaks = [float(np.max(np.abs(sound[b * RATE : b * RATE + 2000]))) for b in range(4)]
    assert peaks[2] == pytest.approx(peaks[1] / 2, rel=1e-5)
    assert onsets(sound, step=0.03)[:4] == [0, RATE, 2 * RATE, 3 * RATE]


def test_the_callback_calls_no_mixer_and_no_numpy(rig: Rig) -> None:
    """While the callback runs nothing is mixed, no note is made, and nothing of numpy is called on its thread."""
    rig.start(lambda n: bar(n, 240, plucks=picked_bar()))
    assert until(lambda: rig.engine.mixed_to > 2 * RATE - 1)
    called: list[str] = []

    def trace(frame: FrameType, event: str, arg: object) -> None:
        """Called for everything that is called on this very thread."""
        if event == "c_call" and "numpy" in f"{getattr(arg, '__module__', '')}{type(getattr(arg, '__self__', None))}":
            called.append(str(arg))
        if event == "call":
            called.append(Path(frame.f_code.co_filename).name)

    fill = rig.speaker.fill
    assert fill is not None
    sys.setprofile(trace)
    try:
        for _ in range(20):
            fill(1024)
    finally:
        sys.setprofile(None)
    assert set(called) == {"engine.py", "feed.py", "clock.py", "hands.py"}  # hands.py: the timer of this test


def test_a_lost_device_is_told_and_the_position_goes_on() -> None:
    """No callback for more than half a second: one sentence, and the run goes on silently at the same place."""
    rig = Rig()
    rig.start(lambda n: bar(n, 120))
    rig.pump(3 * RATE)
    there = rig.engine.position()
    assert there is not None
    rig.speaker.seconds += 0.6
    assert until(lambda: len(rig.troubles) == 1)
    assert "stopped answering" in rig.troubles[0]
    assert until(lambda: not rig.engine.sounding)
    after = rig.engine.position()
    assert after is not None
    assert after.frame - there.frame == pytest.approx(0.6 * RATE, abs=2100)
    assert rig.engine.running
    rig.speaker.seconds += 1.5
    assert until(lambda: 2 in rig.begun)
    later = rig.engine.position()
    assert later is not None
    assert later.frame - after.frame == pytest.approx(1.5 * RATE, abs=10)
    rig.engine.stop()


def test_a_device_that_returns_is_taken_back_in_time() -> None:
    """Three seconds after the loss the device is tried again; its first frame is the one due now, and it is said."""
    rig = Rig()
    rig.start(lambda n: bar(n, 120))
    rig.pump(2 * RATE)
    rig.speaker.opened.clear()
    rig.speaker.seconds += 0.6
    assert until(lambda: len(rig.troubles) == 1)
    lost = rig.speaker.fill
    rig.speaker.seconds += 3.1
    assert rig.speaker.opened.wait(5)
    assert rig.speaker.fill is not lost
    expected = rig.engine.position()
    assert expected is not None
    rig.speaker.pump(1)
    assert until(lambda: rig.engine.sounding)
    assert rig.troubles[1] == "The sound is back."
    back = rig.engine.position()
    assert back is not None
    assert back.frame == pytest.approx(expected.frame + 1024, abs=1100)
    assert lost is not None
    assert lost(64) == bytes(64 * BYTES_PER_FRAME)  # the dead one, should it ask again, gets silence
    rig.engine.stop()


def test_no_device_at_the_start_goes_on_silently() -> None:
    """A speaker that cannot be opened is one sentence, not an error: bars begin all the same."""
    rig = Rig()
    rig.speaker.refuse = CoachError("no sound can be played here", mend="check the sound server")
    rig.engine.start(lambda n: bar(n, 120))
    assert until(lambda: rig.begun == [0])
    assert rig.troubles == ["no sound can be played here; check the sound server."]
    rig.engine.stop()


def test_a_source_that_fails_is_told() -> None:
    """An error in the source of bars ends the run with a sentence and leaves no thread behind."""
    troubles: list[str] = []

    def source(n: int) -> BarScore:
        raise RuntimeError("no bar")

    engine = Engine(SilentSpeaker(), RATE, on_trouble=troubles.append)
    engine.start(source)
    assert engine.wait_quiet(3)
    assert troubles == ["The sound had to stop: RuntimeError: no bar."]


def test_a_late_block_is_taken_up_in_time() -> None:
    """Should a block come too late, silence is handed over and the block is taken up where it would be by then."""
    first, second = Block(0, 4, b"\x01" * 32), Block(4, 12, b"\x02" * 64)
    feed = Feed(first)
    assert feed.fill(6) == b"\x01" * 32 + bytes(16)
    assert feed.starved == 2
    first.next = second
    assert feed.fill(4) == b"\x02" * 32
    assert feed.block is second


def test_always_a_bar_and_a_while_ahead() -> None:
    """However short the bars, what lies ready is a whole bar and at least 0.7 s."""
    premix = Premix(lambda n: bar(n, 400, beats=1), Mixer(RATE))
    premix.ahead()
    feed = premix.feed
    assert feed is not None
    for _ in range(100):
        feed.fill(1024)
        premix.ahead()
        assert premix.mixed_to - feed.frame >= 0.7 * RATE
    slow = Premix(lambda n: bar(n, 20), Mixer(RATE))
    slow.ahead()
    assert [b.number for b in slow.bars] == [0, 1]


def test_long_runs_do_not_fill_the_memory() -> None:
    """After a thousand bars only a handful of mixed blocks are kept; the timeline still knows all bars."""
    premix = Premix(lambda n: bar(n, 300, beats=2), Mixer(RATE))
    premix.ahead()
    feed = premix.feed
    assert feed is not None
    for _ in range(1000):
        feed.advance(feed.block.end)
        premix.ahead()
    assert len(premix._laid) < 10
    assert len(premix.bars) > 1000

"""The clock: the least of the last two seconds is the truth, because a callback may be late and never early."""

from __future__ import annotations

import random

import pytest

from coach.sound.clock import AudioClock, FakeClock, SilentClock

RATE, PERIOD = 48000, 1920


class Hand:
    """A timer set by hand."""

    def __init__(self, seconds: float = 50.0) -> None:
        self.seconds = seconds

    def __call__(self) -> float:
        """The time that was set."""
        return self.seconds


def played(
    clock: AudioClock, hand: Hand, callbacks: int, late: list[float], start_s: float = 50.0, first: int = 0
) -> None:
    """Callbacks of one period each, each as late as the list says (in turn)."""
    for k in range(callbacks):
        n = first + k
        hand.seconds = start_s + n * PERIOD / RATE + late[k % len(late)]
        clock.note(hand.seconds, n * PERIOD)


def test_late_callbacks_do_not_move_the_clock() -> None:
    """With callbacks up to 20 ms late the position is within 1 ms of the truth, as long as one in 2 s is punctual."""
    hand, luck = Hand(), random.Random(4)
    clock = AudioClock(now=hand)
    clock.start(RATE)
    played(clock, hand, 50, [0.0005 if n == 20 else luck.uniform(0.003, 0.020) for n in range(50)])
    hand.seconds = 52.3
    assert clock.position() / RATE == pytest.approx(2.3, abs=0.001)


def test_latency_is_taken_out() -> None:
    """What sounds now was handed over one latency ago; before the first frame is heard the position is negative."""
    hand = Hand()
    clock = AudioClock(0.120, now=hand)
    clock.start(RATE)
    assert clock.position() < 0
    assert not clock.running
    played(clock, hand, 1, [0.0])
    assert clock.running
    assert clock.position() == pytest.approx(-0.120 * RATE)
    hand.seconds = 50.2
    assert clock.position() == pytest.approx(0.080 * RATE)


def test_old_callbacks_are_forgotten_after_two_seconds() -> None:
    """A sound card whose crystal is 0.1 % slow is followed: after 60 s the clock is within 2 ms of what it plays."""
    hand = Hand()
    clock = AudioClock(now=hand)
    clock.start(RATE)
    real = RATE * 0.999
    for n in range(1500):
        hand.seconds = 50.0 + n * PERIOD / real
        clock.note(hand.seconds, n * PERIOD)
    assert clock.position() == pytest.approx(1499 * PERIOD, abs=0.002 * RATE)


def test_an_under_run_resets_the_window() -> None:
    """When the card ran dry for 0.3 s everything sounds 0.3 s later, and the clock says so at once."""
    hand = Hand()
    clock = AudioClock(now=hand, period_s=PERIOD / RATE)
    clock.start(RATE)
    played(clock, hand, 40, [0.0])
    played(clock, hand, 1, [0.0], start_s=50.3, first=40)
    assert clock.position() == pytest.approx(40 * PERIOD, abs=1)


def test_wall_time_and_frame_invert() -> None:
    """Asking when a frame sounds, and which frame sounds then, leads back to the frame, for each clock."""
    hand = Hand()
    audio, silent, fake = AudioClock(0.1, now=hand), SilentClock(now=hand), FakeClock()
    for clock in (audio, silent, fake):
        clock.start(RATE)
    played(audio, hand, 30, [0.001, 0.007])
    for clock in (audio, silent, fake):
        assert clock.frame_at(clock.wall_at(123456)) == pytest.approx(123456, abs=1e-4)


def test_silent_clock_counts_the_seconds() -> None:
    """Silence has no latency: 1.5 s after the start frame 72000 of 48 kHz is due; stopped, it stands."""
    hand = Hand()
    clock = SilentClock(now=hand)
    assert clock.position() < 0
    clock.start(RATE)
    hand.seconds += 1.5
    assert clock.position() == pytest.approx(72000)
    clock.stop()
    hand.seconds += 5
    assert clock.position() == pytest.approx(72000)
    assert not clock.running


def test_silent_clock_takes_up_where_another_stopped() -> None:
    """Begun at frame 96000, it counts on from there."""
    hand = Hand()
    clock = SilentClock(now=hand)
    clock.start_at(RATE, 96000)
    hand.seconds += 0.5
    assert clock.position() == pytest.approx(120000)


def test_stopped_audio_clock_stands_still() -> None:
    """After stop the position does not move, and a new start begins before frame 0."""
    hand = Hand()
    clock = AudioClock(now=hand)
    clock.start(RATE)
    played(clock, hand, 10, [0.0])
    clock.stop()
    stood = clock.position()
    hand.seconds += 3
    assert clock.position() == stood
    clock.start(RATE)
    assert clock.position() < 0

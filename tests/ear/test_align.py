"""The way through: what was meant against what was found, on bare times."""

from __future__ import annotations

import numpy as np

from coach.ear.align import NONE, align

KINDS = 4


def way(meant: list[float], found: list[tuple[float, int | None]], offset: float | None = None) -> list[int]:
    """Meant instants are of kinds 0 1 2 3 0 1 …; each onset has one, or none."""
    fits = np.array([[2.5 if kind == i % KINDS else -1.0 for _, kind in found] for i in range(len(meant))])
    cost = np.array([0.1 if kind is None else 1.0 for _, kind in found])
    return list(align(meant, [t for t, _ in found], fits, cost, offset).found)


MEANT = [0.25 * k for k in range(16)]


def played(shift: float = 0.0) -> list[tuple[float, int | None]]:
    """Exactly what is meant, from `shift` on."""
    return [(shift + t, k % KINDS) for k, t in enumerate(MEANT)]


def test_each_finds_its_own() -> None:
    """However late it begins."""
    for shift in (0.0, 3.7, 29.0):
        assert way(MEANT, played(shift)) == list(range(16))


def test_noise_before_and_after_is_left_alone() -> None:
    """Ten knocks before, and a chord after the end."""
    before: list[tuple[float, int | None]] = [(0.31 * k, None) for k in range(10)]
    found = [*before, *played(5.0), (9.4, None), (10.0, 0)]
    assert way(MEANT, found) == list(range(10, 26))


def test_after_a_pause_all_goes_on() -> None:
    """Half a second, and three seconds, in the middle."""
    for pause in (0.5, 3.0):
        found = [(t + pause * (k >= 7), kind) for k, (t, kind) in enumerate(played(1.0))]
        assert way(MEANT, found) == list(range(16))


def test_what_is_left_out_is_missing_and_the_rest_in_place() -> None:
    """One pluck, then four in a row."""
    assert way(MEANT, [f for k, f in enumerate(played(1.0)) if k != 5]) == [*range(5), NONE, *range(5, 15)]
    found = [f for k, f in enumerate(played(1.0)) if not 5 <= k < 9]
    assert way(MEANT, found) == [*range(5), *[NONE] * 4, *range(5, 12)]


def test_one_too_many_is_left_out() -> None:
    """Between two plucks, of a kind that is meant elsewhere."""
    found = sorted([*played(1.0), (2.12, 3)], key=lambda f: f[0])
    assert way(MEANT, found) == [k for k in range(17) if found[k][0] != 2.12]


def test_a_player_may_be_a_tenth_off_tempo() -> None:
    """Slower and faster throughout."""
    for pace in (0.9, 1.1):
        assert way(MEANT, [(1 + t * pace, kind) for t, kind in played()]) == list(range(16))


def test_of_two_times_round_the_first_is_taken_where_more_was_played() -> None:
    """The take has another time round than was meant; with the place told, the other can be had."""
    found = played(1.0) + played(5.0)
    assert way(MEANT, found) == list(range(16))
    assert way(MEANT, found, 5.0) == list(range(16, 32))


def test_of_eight_times_round_the_first_are_taken_where_two_were_played() -> None:
    """Not the last two, which would put the first beat before the recording began."""
    meant = [0.25 * k for k in range(8 * 16)]
    found = [(1.0 + 0.25 * k, k % KINDS) for k in range(32)]
    assert way(meant, found) == [*range(32), *[NONE] * 96]


def test_nothing_found_is_nothing_matched() -> None:
    """No onset at all; nothing meant at all."""
    assert way(MEANT, []) == [NONE] * 16
    assert way([], played()) == []

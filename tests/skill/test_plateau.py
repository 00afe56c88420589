"""Whether a drill still gets faster is told by evidence, from players whose law is known."""

import math
import random
from collections import Counter
from collections.abc import Callable
from datetime import UTC, datetime, timedelta

from coach.log.takes import Pass, Take
from coach.skill.pass_counts import days_of
from coach.skill.plateau import FLATTENING, LEVEL, RISING, Curve, curve, days_alone
from tests.made_takes import sung_up

BEGIN = datetime(2026, 1, 1, 18, tzinfo=UTC)


def practised(beat_s: Callable[[int], float], days: int, seed: int, passes: int = 10) -> list[Take]:
    """Days of passes by a player whose shortest beat held, in seconds, depends on the passes played.

    The chance of a clean pass is logistic in ln tempo (the coach assumes another law), 8 in 10 at the steady tempo; the
    next tempo goes up a little after a clean pass and down four times as much after a stumble.
    """
    chance, found, played = random.Random(seed), [], 0
    ask = -math.log(beat_s(0) / 60)
    for day in range(days):
        own = []
        for number in range(passes):
            steady = -math.log(beat_s(played) / 60)
            clean = chance.random() < 0.97 / (1 + math.exp((ask - steady) / 0.036 - math.log(0.8 / 0.17)))
            own.append(Pass(number + 1, math.exp(ask), 4, int(not clean), clean, "full"))
            ask += 0.01 if clean else -0.04
            played += 1
        at = BEGIN + timedelta(day)
        found.append(Take(f"t{day}", at, at.date(), "two-lamps", own[-1].tempo, 40, 0, None, passes=tuple(own)))
    return found


def kinds(beat_s: Callable[[int], float], days: int, seeds: range) -> Counter[str | None]:
    """What is told of several such players."""
    told = (curve(practised(beat_s, days, seed)) for seed in seeds)
    return Counter(one.kind if one else None for one in told)


def test_a_steady_climb_is_never_called_flat() -> None:
    """From 71 to 103 bpm along a straight line of seconds: rising, for every player."""
    assert kinds(lambda n: 0.85 - 0.0009 * n, 30, range(12)) == {RISING: 12}


def test_a_player_who_stands_still_is_never_called_rising() -> None:
    """At 85 bpm for thirty days: level, or nothing is said."""
    found = kinds(lambda n: 60 / 85, 30, range(12))
    assert found[LEVEL] >= 4
    assert not found[RISING]


def test_an_exponential_that_has_run_its_course_is_called_flat() -> None:
    """From 71 towards 100 bpm, half of the way in 23 passes, three hundred passes: most are told, near 100 bpm."""
    told = [curve(practised(lambda n: 0.6 + 0.25 * math.exp(-0.03 * n), 30, seed)) for seed in range(12)]
    flat = [one for one in told if one is not None and one.flat]
    assert len(flat) >= 6
    assert FLATTENING in {one.kind for one in flat}
    assert all(abs(one.bpm / 100 - 1) < 0.05 for one in flat)


def test_few_days_or_passes_support_nothing() -> None:
    """Five days, or three passes a day for a week, are not enough to tell."""
    assert curve(practised(lambda n: 0.7, 5, 1)) is None
    assert curve(practised(lambda n: 0.7, 7, 1, passes=3)) is None
    assert curve([]) is None


def test_only_clean_passes_support_nothing() -> None:
    """A player who never stumbles shows no limit, so none is claimed."""
    takes = practised(lambda n: 0.1, 20, 2)
    assert all(p.clean or p.tempo > 200 for t in takes for p in t.passes)
    tempo = [Take(t.id, t.at, t.local_day, t.drill, 80, 40, 0, None, passes=_clean(10)) for t in takes]
    assert curve(tempo) is None


def _clean(count: int) -> tuple[Pass, ...]:
    return tuple(Pass(n + 1, 80.0, 4, 0, True, "full") for n in range(count))


def test_words_say_how_long_and_how_far() -> None:
    """Each kind has one clause."""
    assert Curve(LEVEL, 84, 0, None, 3, 12, 100).words == "level at about 84 bpm for 12 days of practice"
    flat = Curve(FLATTENING, 99.6, 0.4, 0.01, 3, 30, 300)
    assert flat.words == "flattening out at about 100 bpm after 40% gained"
    assert not Curve(RISING, 84, 0.1, None, 3, 12, 100).flat


def test_passes_count_one_by_one_as_for_the_steady_tempo() -> None:
    """Sung over all of it, begun on the thumb alone, full from the third pass on: the full passes count, and no others.

    Ours: the counts behind the steady tempo (pass_counts.py) are the other side of the comparison.
    """
    begun = sung_up("ferry/plain/part/Verse/sing-full")
    counted = [sum(map(sum, day.values())) for day in days_of([begun]).values()]
    days, passes = days_alone([begun])
    assert (len(days), passes) == (1, 4)
    assert counted == [4]
    assert days_alone([sung_up("ferry/plain/part/Verse/sing")])[1] == 6  # under the voice every pass is whole
    assert days_alone([sung_up("ferry/plain/part/Verse")]) == ([], 0)  # singing over a plain part says nothing of it

"""When a rest is proposed on the stage: once in half an hour, again after ten minutes more, never at each pass."""

from datetime import timedelta
from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from coach.session.rest_watch import RestWatch
from tests.made_takes import NOW

FIVE = timedelta(minutes=5)


def asked(watch: RestWatch, seconds: range) -> list[int]:
    """At which of these seconds a rest is proposed."""
    return [s for s in seconds if watch.proposed(s) is not None]


def test_once_at_half_an_hour_then_every_ten_minutes() -> None:
    """Passes of twenty seconds for an hour: at 30, 40, 50 and 60 minutes (BAPAM: five minutes in each half hour)."""
    assert asked(RestWatch(), range(0, 3601, 20)) == [1800, 2400, 3000, 3600]


def test_what_was_played_before_the_block_counts() -> None:
    """25 minutes before: five minutes later, and then told with all of them."""
    watch = RestWatch()
    watch.begin_block()
    watch.add_before(25)
    assert watch.proposed(299) is None
    assert watch.proposed(300) == 30


def test_the_next_block_does_not_say_it_again_at_once() -> None:
    """Told at 31 minutes; the next block begins with 34 and says it at 41."""
    watch = RestWatch()
    watch.add_before(31)
    assert watch.proposed(0) == 31
    watch.begin_block()
    watch.add_before(34)
    assert asked(watch, range(0, 601, 60)) == [420]


def test_after_a_rest_the_half_hour_begins_anew() -> None:
    """A stop of five minutes in the middle of a block, or between two; one of four is none."""
    watch = RestWatch()
    watch.add_before(30)
    assert watch.proposed(60) == 31
    watch.stop(NOW)
    watch.go_on(NOW + FIVE - timedelta(seconds=1), 60)
    assert watch.proposed(600) is None
    assert watch.proposed(660) == 41
    watch.stop(NOW)
    watch.go_on(NOW + FIVE, 660)
    assert asked(watch, range(660, 660 + 1801, 60)) == [660 + 1800]
    watch.begin_block()
    watch.add_before(0)
    assert asked(watch, range(0, 1801, 60)) == [1800]


@given(st.lists(st.integers(1, 600), max_size=60))
def test_never_twice_within_ten_minutes_of_playing(passes: list[int]) -> None:
    """However long the passes, and as soon as one ends after each half hour."""
    watch, played, said = RestWatch(), 0, []
    for seconds in passes:
        played += seconds
        if watch.proposed(played) is not None:
            said.append(played)
    assert all(b - a >= 600 for a, b in pairwise(said))
    assert bool(said) == (played >= 1800)

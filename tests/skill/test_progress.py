"""How practice has gone, worked out from takes: figures, clean passes, minutes, what moved and what fades."""

from collections import Counter
from dataclasses import replace
from datetime import timedelta
from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from coach.log.takes import Stumble, Take
from coach.skill.kin import steadies_of
from coach.skill.progress import by_drill, clean_days, figures, moved, sheet, standings, thinned_out, week_words
from coach.skill.remedies import Finding
from coach.skill.steady_tempo import own_prior, steady
from tests.made_takes import NOW, TODAY, day, ladder, take
from tests.skill.test_diagnosis import landing

DRILLS = ladder()
BY_ID = {d.id: d for d in DRILLS}


def four(drill: str) -> int:
    """Four beats in a bar, whatever the drill."""
    return 4


def evening(drill: str, days_ago: int, bpm: float) -> list[Take]:
    """Passes up to clean at `bpm` and stumbled above it: enough to know a steady tempo near it."""
    return [
        take(drill, days_ago, clean=6, tempo=bpm, minute=1, number=1),
        take(drill, days_ago, clean=1, stumbled=5, tempo=bpm * 1.15, minute=2, number=2),
    ]


def test_a_day_has_the_figure_known_at_its_end() -> None:
    """Each point is the steady tempo of the drill's own takes up to that day, no later ones."""
    drill = BY_ID["two-lamps"]
    played = [t for ago, bpm in ((9, 76), (6, 80), (2, 88)) for t in evening(drill.id, ago, bpm)]
    found = dict(figures(drill, played))
    assert list(found) == [day(9), day(6), day(2)]
    for until in found:
        up_to = [t for t in played if t.local_day <= until]
        assert found[until] == steady(up_to, prior=own_prior(drill))


def test_a_day_that_supports_no_figure_has_none() -> None:
    """Only clean passes on the first day: the curve begins with the second."""
    drill = BY_ID["two-lamps"]
    found = figures(drill, [take(drill.id, 5, clean=10), *evening(drill.id, 4, 80)])
    assert [when for when, _ in found] == [day(4)]


@given(st.integers(1, 400), st.integers(2, 60))
def test_thinning_out_keeps_the_ends_and_the_order(count: int, most: int) -> None:
    """However many days, at most so many are looked at: the first and the last always, none twice."""
    days = [TODAY + timedelta(n) for n in range(count)]
    found = thinned_out(days, most)
    assert len(found) == min(count, most)
    assert (found[0], found[-1]) == (days[0], days[-1])
    assert found == sorted(set(found))


def test_clean_passes_by_day() -> None:
    """Two takes of one day add up; a take logged by hand counts as one, by most of its bars."""
    by_hand = replace(take("two-lamps", 1), passes=(), bars=32, stumbles=1)
    two = [take("two-lamps", 3, clean=4, stumbled=2), take("two-lamps", 3, clean=3, stumbled=1, number=2)]
    assert clean_days([*two, by_hand]) == ((day(3), 7, 10), (day(1), 1, 1))


def test_the_list_has_what_was_played_the_latest_first() -> None:
    """A drill never played is not in it; recall in a week is no higher than now."""
    played = [*evening("two-lamps", 9, 80), take("slow-tide", 2)]
    takes = by_drill(played)
    found = standings(DRILLS, takes, steadies_of(DRILLS, takes, TODAY), TODAY)
    assert [one.drill.id for one in found] == ["slow-tide", "two-lamps"]
    assert found[0].steady is None
    assert found[1].steady is not None
    for one in found:
        assert one.now is not None
        assert one.later is not None
        assert one.later < one.now


def test_the_sheet_counts_stumbles_and_passes_of_four_weeks() -> None:
    """A stumble of six weeks ago is in the figures of then, not on the map of now."""
    old, new = take("two-lamps", 42, clean=3), take("two-lamps", 1, clean=3, stumbled=1)
    takes = by_drill([old, new])
    (one,) = standings(DRILLS, takes, {}, TODAY)
    marks = [Stumble(old.id, NOW, 0, "1", 80, 1), Stumble(new.id, NOW, 2, "3/2", 80, 4)]
    found = sheet(one, takes["two-lamps"], marks, landing(), Finding("two-lamps"), TODAY)
    assert found.counts == Counter({(2, 1): 1})
    assert Fraction(marks[1].beat) == Fraction(3, 2)
    assert found.passes == 4


def test_the_week_in_words() -> None:
    """Minutes, days and takes of the seven days up to today."""
    played = [take("two-lamps", 0, clean=10), take("slow-tide", 3, clean=5), take("slow-tide", 7)]
    minutes = {day(0): 2.0, day(3): 1.0, day(7): 30.0}
    assert week_words(played, minutes, TODAY) == "This week: 3 minutes on 2 days, 2 takes."
    assert week_words([take("slow-tide", 0)], {day(0): 1.2}, TODAY) == "This week: 1 minute on 1 day, 1 take."
    assert week_words([take("slow-tide", 9)], {}, TODAY) == "This week: nothing was played."


def test_what_moved_lies_outside_the_range_of_a_week_ago() -> None:
    """From about 76 to about 96 bpm in a week moved; a few takes at the old tempo did not."""
    before = [t for ago in (12, 10, 8) for t in evening("two-lamps", ago, 76)]
    after = [t for ago in (5, 3, 2, 1, 0) for t in evening("two-lamps", ago, 96)]
    ((drill, then, now),) = moved(DRILLS, by_drill([*before, *after]), TODAY)
    assert drill.id == "two-lamps"
    assert then < 85 < 90 < now
    same = [t for ago in (5, 1) for t in evening("two-lamps", ago, 76)]
    assert moved(DRILLS, by_drill([*before, *same]), TODAY) == []

"""What is remembered follows what was played clean, day by day."""

import random
import subprocess
import sys
from datetime import UTC, date, timedelta
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coach.log.takes import VERDICTS, Take
from coach.skill.evidence import counted, held_tempo, standing
from coach.skill.history import memories
from coach.skill.memory import LONGEST_INTERVAL_DAYS, after, is_due, recall, state_word
from coach.skill.take_summary import summarize
from tests.made_takes import TODAY, day, take

some_takes = st.lists(
    st.builds(
        take,
        st.sampled_from(["landing-walk", "two-lamps"]),
        st.integers(0, 60),
        clean=st.integers(0, 10),
        stumbled=st.integers(0, 10),
        verdict=st.sampled_from([None, *VERDICTS]),
        layer=st.sampled_from(["full", "thumb"]),
        minute=st.integers(0, 100),
        number=st.integers(0, 10**6),
    ),
    max_size=12,
    unique_by=lambda t: t.id,
)


# Evidence


@pytest.mark.parametrize(
    ("word", "clean", "stumbled", "stands"),
    [
        ("flowing", 10, 0, "flowing"),
        ("flowing", 8, 2, "held"),  # a fifth of the passes stumbled: not flowing, whatever it felt like
        ("held", 5, 5, "shaky"),
        ("flowing", 2, 8, "lost"),
        ("shaky", 10, 0, "shaky"),  # the word may be worse than the count
        ("lost", 10, 0, "lost"),
        ("flowing", 2, 0, "held"),  # two passes are too few
        (None, 10, 0, "held"),  # cut off: the passes speak, but no one said it flowed
        (None, 0, 4, "lost"),
        ("flowing", 0, 0, "held"),  # a word alone, nothing counted
        ("shaky", 0, 0, "shaky"),
        (None, 0, 0, None),
    ],
)
def test_evidence_comes_first_and_the_word_second(
    word: str | None, clean: int, stumbled: int, stands: str | None
) -> None:
    """The word can lower what the clean passes say, never raise it."""
    assert standing([take("two-lamps", 0, clean=clean, stumbled=stumbled, verdict=word)]) == stands


def test_clean_share_is_over_all_passes() -> None:
    """Nine of ten and one of ten make half."""
    takes = [take("a", 0, clean=9, stumbled=1), take("a", 0, clean=1, stumbled=9)]
    assert counted([summarize(t) for t in takes]) == (10, 20)
    assert counted([summarize(take("a", 0, clean=0, stumbled=0))]) == (0, 0)


def test_a_take_logged_by_hand_counts_by_its_bars() -> None:
    """Two stumbles in sixteen bars leave 14 of 16 bars clean."""
    by_hand = Take("x", take("a", 0).at, TODAY, "a", 90.0, 16, 2, "held")
    assert counted([summarize(by_hand)]) == (14 / 16, 1)
    assert standing([by_hand]) == "held"
    assert held_tempo(summarize(by_hand), "full") == 90.0


def test_the_held_tempo_is_the_fastest_clean_pass() -> None:
    """A stumbled pass at a faster tempo does not count as held."""
    mixed = take("a", 0, clean=9, stumbled=1, tempo=80)
    assert held_tempo(summarize(mixed), "full") == 80
    assert held_tempo(summarize(mixed), "thumb") is None
    assert held_tempo(summarize(take("a", 0, clean=2, stumbled=8)), "full") is None


# Memory


@given(some_takes, st.randoms(use_true_random=False))
@settings(max_examples=60, deadline=None)
def test_memory_is_rebuilt_the_same_in_any_order(takes: list[Take], chance: random.Random) -> None:
    """Memory is a function of the takes alone: shuffled takes, the same memory; twice, the same again."""
    shuffled = list(takes)
    chance.shuffle(shuffled)
    assert memories(takes) == memories(shuffled) == memories(takes)


def test_only_the_first_takes_of_a_day_are_graded() -> None:
    """What goes well at the end of the evening does not mend how it began (Stambaugh 2011)."""
    first = take("a", 3, clean=2, stumbled=8, verdict="shaky")
    later = [take("a", 3, clean=10, verdict="flowing", minute=m) for m in (10, 20)]
    assert memories([first, *later])["a"].standing == "lost"
    assert memories([first, *later]) == memories([first])


def test_one_grade_a_drill_a_day() -> None:
    """Five takes on each of two days are two graded days."""
    takes = [take("a", d, minute=m) for d in (4, 2) for m in range(5)]
    assert memories(takes)["a"].days == 2


def test_a_day_is_a_night_apart_not_twenty_four_hours() -> None:
    """Monday 22:00 and Tuesday 18:00 are two days: by the package's own whole days they would be one."""
    monday = take("a", 1, minute=4 * 60)
    tuesday = take("a", 0)
    assert (tuesday.at - monday.at) < timedelta(hours=24)
    assert memories([monday, tuesday])["a"].days == 2
    assert memories([monday, tuesday])["a"].stability > memories([monday])["a"].stability * 2


def test_recall_is_whole_on_the_day_and_falls_after() -> None:
    """1 on the day itself, 0.9 when as many days have passed as the memory is stable for, less each day."""
    memory = after(None, "a", TODAY, "held")
    assert recall(memory, TODAY) == 1.0
    fading = [recall(memory, TODAY + timedelta(days=n)) for n in range(40)]
    assert all(b < a for a, b in pairwise(fading))
    assert recall(memory, TODAY + timedelta(days=2)) == pytest.approx(0.909493, abs=1e-6)  # FSRS-6 by hand: R(2|2.3065)
    assert recall(None, TODAY) is None


def test_recall_before_its_last_day_is_whole() -> None:
    """A clock set back does not make a memory fade."""
    assert recall(after(None, "a", TODAY, "held"), TODAY - timedelta(days=9)) == 1.0


@given(some_takes)
@settings(max_examples=60, deadline=None)
def test_nothing_comes_back_later_than_in_three_weeks(takes: list[Take]) -> None:
    """However well it goes, a drill is due one to 21 days after it was last graded."""
    for memory in memories(takes).values():
        assert 1 <= (memory.due - memory.last_day).days <= LONGEST_INTERVAL_DAYS
        assert is_due(memory, memory.due)
        assert not is_due(memory, memory.due - timedelta(days=1))


def test_feeling_easy_alone_never_lengthens_the_interval() -> None:
    """With the clean share fallen, a better word about ease moves nothing (Abushanab & Bishara 2013)."""
    before = [take("a", 9, clean=10), take("a", 6, clean=10)]
    well = memories([*before, take("a", 0, clean=10, verdict="held")])["a"]
    held, flowing = (
        memories([*before, take("a", 0, clean=5, stumbled=5, verdict=word)])["a"] for word in ("held", "flowing")
    )
    assert held == flowing
    assert flowing.due < well.due


def test_what_is_lost_comes_back_tomorrow_and_what_is_unsure_within_three_days() -> None:
    """A long-kept drill that goes wrong does not wait for weeks; nor does a first good day (ours, no source)."""
    kept = [take("a", d) for d in (40, 30, 15)]
    assert memories(kept)["a"].due - day(15) == timedelta(days=21)
    lost = memories([*kept, take("a", 0, clean=1, stumbled=9)])["a"]
    shaky = memories([*kept, take("a", 0, clean=5, stumbled=5)])["a"]
    first = memories([take("a", 0, verdict="flowing")])["a"]
    assert [(m.due - TODAY).days for m in (lost, shaky, first)] == [1, 3, 3]


@given(st.integers(0, 10), st.integers(0, 10), st.sampled_from(VERDICTS))
@settings(deadline=None)
def test_more_stumbles_never_bring_a_drill_back_later(clean: int, stumbled: int, word: str) -> None:
    """The same passes with one clean one stumbled instead come back as soon or sooner."""
    if clean == 0:
        return
    before = [take("a", 9), take("a", 6)]
    better = memories([*before, take("a", 0, clean=clean, stumbled=stumbled, verdict=word)])["a"]
    worse = memories([*before, take("a", 0, clean=clean - 1, stumbled=stumbled + 1, verdict=word)])["a"]
    assert worse.due <= better.due
    assert worse.stability <= better.stability


def test_more_minutes_with_the_same_share_raise_nothing() -> None:
    """Thirty passes at nine in ten teach the memory what ten do (Duke, Simmons & Cash 2009: share, not minutes)."""
    short = take("a", 0, clean=9, stumbled=1, verdict="flowing")
    long = take("a", 0, clean=27, stumbled=3, verdict="flowing")
    assert memories([short]) == memories([long])


def test_nothing_learned_today_is_kept_up_today() -> None:
    """A first day gives `being learned`; held again after a night it is `kept up` (Simmons 2012)."""
    assert state_word(None, TODAY) == "new"
    first = memories([take("a", 0, verdict="flowing", minute=m) for m in range(6)])["a"]
    assert state_word(first, TODAY) == "being learned"
    assert state_word(first, TODAY + timedelta(days=1)) == "being learned"  # a night passed, but not yet shown
    again = memories([take("a", 1), take("a", 0)])["a"]
    assert state_word(again, TODAY) == "kept up"
    lost = memories([take("a", 2), take("a", 1), take("a", 0, clean=1, stumbled=9)])["a"]
    assert state_word(lost, TODAY) == "being learned"


@given(some_takes)
@settings(max_examples=100, deadline=None)
def test_kept_up_needs_an_earlier_day(takes: list[Take]) -> None:
    """No drill whose takes are all of one local day is kept up on that day."""
    for drill, memory in memories(takes).items():
        if len({t.local_day for t in takes if t.drill == drill}) == 1:
            assert state_word(memory, memory.last_day) != "kept up"


def test_the_thumb_alone_does_not_show_the_whole() -> None:
    """Days of the thumb layer only leave a drill being learned; for one once held in full they change nothing."""
    thin = memories([take("a", d, layer="thumb", verdict="flowing") for d in (3, 2, 1, 0)])["a"]
    assert (thin.standing, state_word(thin, TODAY)) == ("shaky", "being learned")
    full = [take("a", 3), take("a", 2)]
    assert memories([*full, take("a", 1, layer="thumb", clean=1, stumbled=9)]) == memories(full)


def test_flying_west_does_not_grade_a_date_twice() -> None:
    """A date that comes again, or one before it, leaves the memory as it was."""
    memory = after(after(None, "a", day(3), "held"), "a", day(1), "held")
    assert after(memory, "a", day(1), "lost") is memory
    assert after(memory, "a", day(2), "lost") is memory


def test_utc_and_local_day_may_differ() -> None:
    """The local day is what counts, not the date in UTC."""
    at = take("a", 0).at.astimezone(UTC)
    abroad = Take("x", at, at.date() + timedelta(days=1), "a", 80.0, 40, 0, "held", passes=take("a", 0).passes)
    assert memories([take("a", 0, minute=-60), abroad])["a"].last_day == date(2026, 3, 11)


def test_what_is_remembered_loads_no_large_package() -> None:
    """A plan need not wait for the scheduler's package, which only proves the arithmetic, nor for arrays or screens."""
    code = (
        "import sys, coach.log.ledger, coach.log.exchange, coach.plan.planner;"
        "from coach.skill.memory import first_graded, graded; graded(*first_graded(3), 3, 2);"
        "assert not {'fsrs', 'numpy', 'textual', 'rich', 'mido', 'miniaudio'} & set(sys.modules), sys.modules.keys()"
    )
    subprocess.run([sys.executable, "-c", code], check=True, timeout=60)

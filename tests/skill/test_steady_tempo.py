"""Steady tempo: where 8 passes in 10 are clean, how sure that is, and nothing until it is known."""

import math
from datetime import timedelta
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coach.drills.pattern_drills import Material, make_drills
from coach.log.takes import Take
from coach.skill.kin import steadies_of
from coach.skill.pass_counts import days_of
from coach.skill.steady_tempo import LEAST_PASSES, WIDEST, Prior, SteadyTempo, likely, steady
from coach.skill.steady_tempo import evidence_of as evidence
from tests.made_takes import TODAY, ladder, take

law = settings(max_examples=40, deadline=None)


def at(tempo: float, clean: int, stumbled: int, days_ago: int = 1, **more) -> Take:
    """A take at one tempo."""
    return take("a", days_ago, tempo=tempo, clean=clean, stumbled=stumbled, **more)


def by_hand(tempo: float, bars: int, stumbles: int, layer: str = "full") -> Take:
    """A take logged by hand: only the sums are known."""
    one = at(tempo, 0, 0, layer=layer)
    return Take(one.id, one.at, one.local_day, "a", tempo, bars, stumbles, "held", layer)


def sure(takes: list[Take], **more) -> SteadyTempo:
    """The steady tempo, which must be known."""
    known = steady(takes, **more)
    assert known is not None
    return known


def test_eight_clean_in_ten_at_one_tempo_is_that_tempo() -> None:
    """Twenty clean and five stumbled at 80 bpm: steady at 80, within 1 %."""
    assert sure([at(80, 20, 5)]).bpm == pytest.approx(80, rel=0.01)


def test_it_lies_between_a_tempo_that_goes_and_one_that_does_not() -> None:
    """All ten clean at 80 and six in ten at 100: between the two, with a range on either side."""
    known = sure([at(80, 10, 0), at(100, 6, 4)])
    assert 85 < known.low < known.bpm < known.high < 105


def test_the_reason_says_it_with_numbers() -> None:
    """In words: the tempo, and from where to where it is likely to lie."""
    assert SteadyTempo(84.2, 79.6, 88.4, 30, 85).words == "held 8 times in 10 up to 84 bpm (80 to 88)"


@pytest.mark.parametrize(
    "takes",
    [
        [],
        [at(80, 3, 2)],  # five passes
        [at(80, 12, 0)],  # never stumbled: how far it goes was not found
        [at(80, 0, 12)],  # never clean
        [at(80, 19, 1)],  # one stumble in twenty may be a slip at any tempo
        [at(80, 5, 5), at(100, 1, 9)],  # even the slowest was clean less than 8 in 10, and well so
        [at(80, 20, 5, layer="thumb")],  # the thumb alone says nothing of the whole
        [at(60, 3, 2), at(120, 2, 3)],  # neither here nor there
    ],
)
def test_nothing_is_claimed_before_it_is_known(takes) -> None:
    """Too few passes, one kind of pass only, an edge not found, or too wide a range: no figure."""
    assert steady(takes) is None


tried = st.lists(st.tuples(st.integers(40, 160), st.integers(0, 6), st.integers(0, 6), st.integers(0, 9)), max_size=6)


@law
@given(tried)
def test_a_figure_keeps_its_own_rule(takes) -> None:
    """What is shown has six passes or more, lies in its range and near the tempos tried, and is not too wide."""
    played = [at(t, c, s, d) for t, c, s, d in takes]
    known = steady(played)
    if known is not None:
        tempos = [p.tempo for t in played for p in t.passes]
        assert known.low < known.bpm < known.high <= known.low * WIDEST
        assert known.bpm <= known.ask <= known.high
        assert min(tempos) * 0.93 < known.bpm < max(tempos) * 1.07
        assert known.passes >= LEAST_PASSES


@law
@given(tried, st.randoms(use_true_random=False))
def test_the_order_of_passes_plays_no_part(takes, chance) -> None:
    """The same passes of the same days in any order give the very same figure, to the last bit."""
    played = [at(t, c, s, d, minute=n) for n, (t, c, s, d) in enumerate(takes)]
    shuffled = list(played)
    chance.shuffle(shuffled)
    assert evidence(days_of(played)) == evidence(days_of(shuffled))


def test_one_more_stumble_never_makes_it_faster() -> None:
    """Turning clean passes at the fastest tempo into stumbled ones, one by one, lowers the figure each time."""
    figures = [sure([at(80, 10, 0), at(100, 10 - n, n)]).bpm for n in range(4, 10)]
    assert all(b < a for a, b in pairwise(figures))


def test_more_passes_make_it_surer() -> None:
    """Four times as many passes with the same shares: a range about half as wide."""
    few, many = (sure([at(76, 9 * n, n), at(88, 5 * n, 5 * n)]) for n in (1, 4))
    assert 0.35 < math.log(many.high / many.low) / math.log(few.high / few.low) < 0.65


def test_a_longer_pass_weighs_more() -> None:
    """Eight bars without a stumble tell as much as four bars twice, and so are clean at a slower tempo as often."""
    fours = [at(80, 16, 4), at(90, 5, 5)]
    clean_eights = take("a", 1, tempo=90, clean=3, minute=5)
    longer = tuple(type(p)(p.number, p.tempo, 8, 0, True, p.layer) for p in clean_eights.passes)
    eights = Take("b", clean_eights.at, clean_eights.local_day, "a", 90, 24, 0, "held", passes=longer)
    assert sure([*fours, eights]).bpm == pytest.approx(sure([*fours, at(90, 6, 0, minute=5)]).bpm)
    assert sure([*fours, eights]).bpm > sure([*fours, at(90, 3, 0, minute=5)]).bpm


def test_what_is_logged_by_hand_counts_bar_by_bar() -> None:
    """Of 160 bars at 80 eight stumbled: one bar is clean 19 times in 20, four are 0.95^4 = 0.81: steady at about 80."""
    assert sure([by_hand(80, 160, 8)]).bpm == pytest.approx(80, rel=0.02)
    assert steady([by_hand(80, 0, 0)]) is None  # a word alone


def test_passes_and_hand_logged_bars_speak_of_the_same_tempo() -> None:
    """To passes at 80 a log by hand at the same share adds certainty and moves the figure by less than 1 %."""
    alone, both = sure([at(80, 16, 4)]), sure([at(80, 16, 4), by_hand(80, 80, 4)])
    assert both.bpm == pytest.approx(alone.bpm, rel=0.01)
    assert both.high / both.low < alone.high / alone.low


def test_each_layer_is_a_thing_of_its_own() -> None:
    """Thumb passes at 120 leave the full figure at 80, and have one of their own."""
    takes = [at(80, 16, 4), at(120, 16, 4, layer="thumb", minute=3)]
    assert sure(takes).bpm == pytest.approx(80, rel=0.02)
    assert sure(takes, layer="thumb").bpm == pytest.approx(120, rel=0.03)


def test_singing_does_not_speak_of_playing() -> None:
    """Passes stumbled while singing do not lower what is played without (a second task costs)."""
    sung = at(70, 1, 9, minute=5)
    sung = Take(sung.id, sung.at, sung.local_day, "a", 70, sung.bars, 9, "lost", "full", "sing", sung.passes)
    assert steady([at(80, 16, 4), sung]) == steady([at(80, 16, 4)])


def test_idle_days_widen_the_range_and_leave_the_figure() -> None:
    """A month idle: the same figure, a wider range; a year idle: no longer claimed."""
    takes = [at(80, 16, 4), at(88, 5, 5)]
    fresh, later = sure(takes, today=TODAY), sure(takes, today=TODAY + timedelta(30))
    assert later.bpm == fresh.bpm
    assert later.low < fresh.low < fresh.high < later.high
    assert steady(takes, today=TODAY + timedelta(365)) is None


def test_what_was_played_lately_counts_more() -> None:
    """Steady at 80 for a week and at 96 for the next: the figure is within 4 % of 96, not half-way at 88."""
    then = [p for n in range(14, 7, -1) for p in (at(76, 9, 1, n), at(84, 7, 3, n))]
    now = [p for n in range(7, 0, -1) for p in (at(91, 9, 1, n), at(101, 7, 3, n))]
    assert sure(then).bpm == pytest.approx(80, rel=0.04)
    assert sure(then + now).bpm == pytest.approx(96, rel=0.04)


# Kin


def test_kin_lend_a_drill_that_is_played_little() -> None:
    """Six passes of a new rung say little alone; what it grows from, steady at 80, makes it known, and slower."""
    drills = {d.id: d for d in ladder()}
    few = [take("rope-and-bell", 1, tempo=70, clean=4), take("rope-and-bell", 1, tempo=78, clean=1, stumbled=1)]
    below = [take("two-lamps", n, tempo=80, clean=16, stumbled=4) for n in (4, 3, 2)]
    alone = steadies_of(list(drills.values()), {"rope-and-bell": few})
    helped = steadies_of(list(drills.values()), {"rope-and-bell": few, "two-lamps": below})
    assert "rope-and-bell" not in alone
    assert 72 < helped["rope-and-bell"].bpm < helped["two-lamps"].bpm


def test_kin_lend_no_figure_to_what_was_never_played() -> None:
    """A rung without a pass has no steady tempo, whoever its kin are."""
    below = [take("two-lamps", n, tempo=80, clean=16, stumbled=4) for n in (4, 3, 2)]
    assert set(steadies_of(ladder(), {"two-lamps": below})) == {"two-lamps"}


def test_its_own_passes_have_the_last_word() -> None:
    """Kin at 80 move a drill that has forty passes of its own around 110 by less than 3 %."""
    own = [take("rope-and-bell", n, tempo=t, clean=c, stumbled=10 - c) for n in (2, 1) for t, c in ((104, 9), (116, 7))]
    below = [take("two-lamps", n, tempo=80, clean=16, stumbled=4) for n in (4, 3, 2)]
    takes = ({"rope-and-bell": own}, {"rope-and-bell": own, "two-lamps": below})
    alone, helped = (steadies_of(ladder(), each)["rope-and-bell"].bpm for each in takes)
    assert alone * 0.97 < helped < alone


def test_the_same_pattern_on_other_chords_lends_most() -> None:
    """Of two that could lend, the same pattern at 100 on other chords outweighs same-paced patterns at 70."""
    first, second, other = make_drills(
        Material(id_, id_, "4/4", 8, 4, chords=loop) for id_, loop in (("a", "C | F"), ("b", "G | D"), ("c", "C | G"))
    )
    same = type(second)(**{**{f: getattr(second, f) for f in second.__dataclass_fields__}, "pattern": "a"})
    takes = {
        "a": [take("a", n, tempo=100, clean=16, stumbled=4) for n in (3, 2, 1)],
        "c": [take("c", n, tempo=70, clean=16, stumbled=4) for n in (3, 2, 1)],
        "b": [take("b", 1, tempo=84, clean=3, stumbled=1), take("b", 1, tempo=95, clean=2, stumbled=2, minute=2)],
    }
    as_kin = steadies_of([first, same, other], takes)["b"].bpm
    as_stranger = steadies_of([first, second, other], takes).get("b")
    assert 86 < as_kin < 100
    assert as_stranger is None or as_stranger.bpm < as_kin


def test_the_belief_may_be_asked_for_before_it_is_shown() -> None:
    """With nothing played the likely range is the prior's own: 80 % of a normal law, 1.28 sd to either side."""
    low, middle, high = likely(None, Prior(math.log(90), 0.2))
    assert (low, middle, high) == pytest.approx([90 * math.exp(0.2 * z) for z in (-1.2816, 0, 1.2816)], rel=0.002)

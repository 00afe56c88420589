"""One remedy at a time, remembered in the ledger and judged by clean passes at like tempos."""

from collections import Counter
from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path

import pytest

from coach.log.ledger import Ledger
from coach.log.notes import NoteKind
from coach.log.takes import Take
from coach.plan.checkup import taken_courses
from coach.skill.diagnosis import gathered
from coach.skill.plateau import FLATTENING, LEVEL, RISING, Curve
from coach.skill.remedies import (
    ENOUGH,
    PLATEAU,
    REST,
    WORDS,
    Course,
    Finding,
    as_clean_by_chance,
    finding,
    fitting,
    judged,
    note_text,
    resting,
)
from tests.made_takes import NOW, TODAY, day, sung_up, take
from tests.skill.test_diagnosis import landing

TROUBLE = gathered(Counter({(2, 0): 7, (0, 1): 1, (1, 3): 1}), landing())
FLAT = Curve(LEVEL, 84.0, 0.0, None, 5.0, 12, 100)
DRILL = "two-lamps"


def course(remedy: str, days_ago: int, what_for: str | None = None) -> Course:
    """A remedy taken up so many days ago at noon."""
    assert TROUBLE is not None
    at = NOW.replace(hour=12) - timedelta(days_ago)
    return Course(DRILL, remedy, TROUBLE.spot.name if what_for is None else what_for, at, at.date())


def found(taken: list[Course], takes: list[Take], curve: Curve | None = None, spot: bool = True) -> Finding:
    """The finding with the trouble above, or with a curve alone."""
    return finding(DRILL, TROUBLE if spot else None, curve, taken, takes, 100, TODAY)


def test_the_corner_alone_comes_first_and_one_remedy_is_proposed() -> None:
    """A beat that fails is first taken by itself."""
    one = found([], [])
    assert one.remedy == "corner"
    assert one.lines[1] == f"try: {WORDS['corner']}"
    assert not one.under_way


def test_what_is_under_way_is_gone_on_with_while_it_cannot_be_told() -> None:
    """Five passes since are too few: the remedy stays and the words say so."""
    one = found([course("corner", 2)], [take(DRILL, 5, clean=2, stumbled=8), take(DRILL, 1, clean=3, stumbled=2)])
    assert one.under_way
    assert one.outcome is not None
    assert one.outcome.worked is None
    assert one.lines[-1].endswith("2 of 10 clean before, 3 of 5 since at like tempos: cannot tell yet")


def test_better_since_is_said_when_chance_would_hardly_give_it() -> None:
    """From 4 clean in 20 to 17 in 20 at the same tempo."""
    one = judged(course("corner", 3), [take(DRILL, 5, clean=4, stumbled=16), take(DRILL, 1, clean=17, stumbled=3)])
    assert one.worked is True
    assert one.words == "4 of 20 clean before, 17 of 20 since at like tempos: better since then"


def test_cleaner_because_slower_is_no_success() -> None:
    """Passes 20 % slower than before are not compared with them at all."""
    slow = take(DRILL, 1, clean=30, tempo=64)
    one = judged(course("slower", 3), [take(DRILL, 5, clean=4, stumbled=16), slow])
    assert one.worked is None
    assert one.words == "no passes since at tempos like before: cannot tell yet"


def test_a_thinner_layer_or_singing_is_no_success_either() -> None:
    """Only the full layer without singing is compared: the rest is another thing."""
    before, thin = take(DRILL, 5, clean=4, stumbled=16), take(DRILL, 1, clean=30, layer="thumb")
    sung = replace(take(DRILL, 1, clean=30), mode="sing")
    assert judged(course("thinner", 3), [before, thin, sung]).since == (0, 0)


def test_what_is_sung_over_all_of_it_is_compared_pass_by_pass() -> None:
    """Begun on the thumb alone and brought up to full: the four full passes before and since, one clean and all."""
    id_ = "ferry/plain/part/Verse/sing-full"
    one = judged(course("slower", 3), [sung_up(id_, 5, clean=1), sung_up(id_, 1)])
    assert (one.before, one.since) == ((1, 4), (4, 4))


def test_what_had_its_go_without_help_makes_room_for_the_next() -> None:
    """As many stumbles after twenty passes as before: the corner did not help, slower comes next."""
    one = found([course("corner", 9)], [take(DRILL, 12, clean=10, stumbled=10), take(DRILL, 4, clean=10, stumbled=10)])
    assert one.outcome is not None
    assert one.outcome.worked is False
    assert one.remedy == "slower"


def test_when_all_was_tried_in_vain_no_remedy_is_made_up() -> None:
    """A trouble that outlasted every remedy is told without one; a drill that is flat as well is good enough."""
    tried = [course(r, 20 - n) for n, r in enumerate(fitting(TROUBLE))]
    takes = [take(DRILL, 25, clean=10, stumbled=10), take(DRILL, 4, clean=10, stumbled=10)]
    assert found(tried, takes).remedy_words is None
    assert found(tried, takes, FLAT).remedy_words == ENOUGH


def test_a_plateau_leads_to_alternating_tempos() -> None:
    """A flat curve well below the target has remedies of its own."""
    one = found([], [], FLAT, spot=False)
    assert (one.remedy, one.what_for) == ("alternate", PLATEAU)
    assert one.trouble_words == "level at about 84 bpm for 12 days of practice"


def test_a_plateau_near_the_target_is_good_enough() -> None:
    """Within 5 % of where it was meant to go the honest word is: enough."""
    near = replace(FLAT, kind=FLATTENING, bpm=97.0, gained=0.2, left=0.01)
    assert found([], [], near, spot=False).remedy_words == ENOUGH


@pytest.mark.parametrize("curve", [None, replace(FLAT, kind=RISING, gained=0.1), replace(FLAT, bpm=101.0)])
def test_what_rises_or_is_there_needs_nothing(curve: Curve | None) -> None:
    """No remedy for a drill that gets faster, stands at its target, or cannot be told of."""
    one = found([], [], curve, spot=False)
    assert one.remedy is None
    assert not one.good_enough
    assert one.trouble_words is None
    assert one.lines == ((curve.words,) if curve else ())


def test_a_rest_lasts_three_days() -> None:
    """Rested on Monday it is out of the plan until Thursday."""
    rested = {DRILL: [course(REST, 0)]}
    assert [bool(resting(rested, TODAY + timedelta(n))) for n in range(5)] == [True, True, True, False, False]
    assert found([course(REST, 1)], []).under_way
    assert not found([course(REST, 3)], []).under_way


def test_the_ledger_remembers_what_was_taken_up_and_dropped(tmp_path: Path) -> None:
    """A remedy is a note; a note nobody can read harms nothing; dropping the latest takes it out."""
    with Ledger(tmp_path / "ledger.sqlite3") as ledger:
        ledger.add_note(NoteKind.REMEDY_CHOSEN, note_text(DRILL, "corner", "at bar 3"), None, NOW)
        ledger.add_note(NoteKind.REMEDY_CHOSEN, "{", None, NOW)
        ledger.add_note(NoteKind.REMEDY_CHOSEN, '["drill"]', None, NOW)
        assert taken_courses(ledger) == {DRILL: [Course(DRILL, "corner", "at bar 3", NOW, date(2026, 3, 10))]}
        ledger.add_note(NoteKind.REMEDY_DROPPED, note_text(DRILL, "corner", "at bar 3"), None, NOW + timedelta(hours=1))
        assert taken_courses(ledger) == {DRILL: []}


def test_tempos_are_never_mixed() -> None:
    """Half clean at 100 and all clean at 80, before and since alike: a shift to 80 alone is no improvement."""
    before, since = {100: (10, 20), 80: (5, 5)}, {100: (2, 4), 80: (20, 20)}
    assert as_clean_by_chance(before, since) > 0.5


def test_a_course_reaches_back_four_weeks() -> None:
    """What was played before those is not compared with now."""
    taken = course("corner", 1)
    assert judged(taken, [take(DRILL, 40), take(DRILL, 0)]).before == (0, 0)
    assert judged(taken, [take(DRILL, 20), take(DRILL, 0)]).before == (10, 10)
    assert day(0) == TODAY
    assert isinstance(taken.since, datetime)

"""What comes into today's plan and what waits: targets, dates, upkeep, wishes, and how long a day may be."""

from collections import Counter
from dataclasses import replace
from datetime import timedelta

import pytest

from coach.drills.drill_id import Kind
from coach.drills.pattern_drills import Drill, Material, make_drills
from coach.errors import CoachError
from coach.log.playing_time import Playing, Span
from coach.plan.deadlines import not_ready
from coach.plan.load import allowed
from coach.plan.need import OVER, Reason, View, need, reasons
from coach.plan.planner import Plan, PlanSettings, plan
from coach.plan.turns import runs
from coach.plan.wishes import Wishes
from coach.skill.history import past_of
from coach.skill.steady_tempo import SteadyTempo
from tests.made_takes import NOW, TODAY, day, ladder, take

DRILLS = ladder()
IDS = [d.id for d in DRILLS]
BY_ID = {d.id: d for d in DRILLS}
MANY = make_drills(Material(f"m{n}", f"M {n}", "4/4", 8, 4, None, (), n) for n in range(12))


def turns(made: Plan) -> list[str]:
    """Whose turns there are, in order."""
    return [b.drill for b in made.blocks if b.played]


def view(drill: str, *takes) -> View:
    """A drill as its takes leave it."""
    return View(BY_ID[drill], 0, past_of(takes), TODAY)


def evenings(drill: str, tempos: list[float], last: int = 1) -> list:
    """Clean takes on days running, the latest `last` days ago."""
    return [take(drill, last + len(tempos) - 1 - n, tempo=t) for n, t in enumerate(tempos)]


# Towards the targets


def test_of_two_drills_alike_the_nearer_to_its_target_comes_first() -> None:
    """Held at 100 of 104 it has more points than held at 70: it gets there in fewer turns."""
    near, far = view("two-lamps", take("two-lamps", 1, tempo=100)), view("two-lamps", take("two-lamps", 1, tempo=70))
    assert need(near) > need(far)
    assert near.days_to_go < far.days_to_go


def test_days_to_go_come_from_its_own_gain_and_are_told_with_it() -> None:
    """From 80 to 90 bpm in six evenings is 2.4 % an evening: some ten more to 114.4 (10 % past 104)."""
    one = view("two-lamps", *evenings("two-lamps", [80, 82, 84, 86, 88, 90]))
    assert one.days_to_go == pytest.approx(10.19, abs=0.01)
    assert any("gain of 2.4% a day of practice about 11 days to go, or more" in r.text for r in reasons(one))
    few = view("two-lamps", *evenings("two-lamps", [80, 82, 84]))
    assert not any("to go" in r.text for r in reasons(few))  # three evenings tell no gain


def test_what_is_at_its_target_says_how_far_above_it_is() -> None:
    """At 106 of 104 there is less than the tenth to spare that is asked for; at 116, begun today, a day is left."""
    for bpm, days_ago, told in ((106, 1, "with less than 10% to spare"), (116, 0, "but not on an earlier day yet")):
        words = [r.text for r in reasons(view("two-lamps", take("two-lamps", days_ago, tempo=bpm)))]
        assert f"held at {bpm}, its target of 104 bpm, {told}" in words


def test_what_gets_no_faster_steps_back_and_says_so() -> None:
    """Ten evenings at 84 with a target of 104: fewer points than one begun lately at 84, with both figures told."""
    level = view("two-lamps", *evenings("two-lamps", [84] * 10))
    young = view("two-lamps", take("two-lamps", 1, tempo=84))
    assert level.stuck
    assert need(level) < need(young)
    assert any(r.text == "no faster over its latest 10 days of practice (84, then 84)" for r in reasons(level))


def test_a_slow_climb_steps_back_and_says_why() -> None:
    """Half a bpm an evening from 84 is no standstill, but with a target of 104 it is more than 20 days away: it steps
    back and says so, unless it is wanted by a day; seven evenings are too few to tell either."""
    slow = evenings("two-lamps", [84 + n / 2 for n in range(11)])
    one = view("two-lamps", *slow)
    assert not one.level
    assert one.stuck
    told = "slow over its latest 11 days of practice (84, then 89): at that gain more than 20 days to its target"
    assert any(r.text.startswith(told) for r in reasons(one))
    wanted = View(replace(BY_ID["two-lamps"], due=TODAY + timedelta(30)), 0, past_of(slow), TODAY)
    assert not wanted.stuck
    assert not view("two-lamps", *evenings("two-lamps", [84] * 7)).stuck
    assert not view("two-lamps", *evenings("two-lamps", [84 + 1.5 * n for n in range(8)])).stuck


def test_a_target_is_reached_with_something_to_spare() -> None:
    """Held at the target of 104 it is still on its way, held 10 % past it it is finished: a month costs that much."""
    assert pytest.approx(0.1) == OVER
    assert not view("two-lamps", take("two-lamps", 1, tempo=104)).finished
    assert view("two-lamps", take("two-lamps", 1, tempo=114.5)).finished
    assert view("two-lamps", *evenings("two-lamps", [105] * 10)).finished  # there, and level: good enough
    assert not view("two-lamps", take("two-lamps", 0, tempo=114.5)).finished  # not before a night has passed


def test_no_more_is_begun_than_the_minutes_carry() -> None:
    """Twenty minutes carry six things; with six on their way nothing new comes, with one of them finished it does."""
    takes = [take(f"m{n}", 2, tempo=80) for n in range(6)]
    made = plan(MANY, takes, NOW, 20)
    assert "m6" not in turns(made)
    assert any("6 things are still on the way to their targets" in n for n in made.notes)
    there = [*takes[1:], *[take("m0", d, tempo=116) for d in (9, 2)]]
    assert "m6" in turns(plan(MANY, there, NOW, 20))
    assert any("3 things" in n for n in plan(MANY, takes[:3], NOW, 8).notes)


def test_what_is_begun_comes_every_day_rather_than_twice_every_other() -> None:
    """Six things on their way and seven turns: each has one at least."""
    takes = [take(f"m{n}", 1, tempo=80) for n in range(6)]
    assert set(turns(plan(MANY, takes, NOW, 20))) == {f"m{n}" for n in range(6)}


def test_finished_things_come_back_when_due_and_one_turn_is_enough() -> None:
    """Of five finished and five on their way the one that is due has one turn, the four others wait."""
    kept = [take(f"m{n}", d, tempo=116) for n in range(5) for d in (40, 30, 2)]
    due = [take("m0", d, tempo=116) for d in (70, 60, 30)]
    way = [take(f"m{n}", 1, tempo=80) for n in range(5, 10)]
    count = Counter(turns(plan(MANY, [*due, *[t for t in kept if t.drill != "m0"], *way], NOW, 20)))
    assert count["m0"] == 1
    assert not {f"m{n}" for n in range(1, 5)} & set(count)


def test_the_word_alone_does_not_unfinish_a_drill() -> None:
    """All passes clean past the target yesterday, called shaky today: it is due soon, but finished still."""
    takes = [take("two-lamps", 5, tempo=116), take("two-lamps", 1, tempo=116, verdict="shaky")]
    assert view("two-lamps", *takes).finished


def test_the_steady_tempo_stands_before_the_tempo_last_held() -> None:
    """Clean once at 116 but steady at 98: not finished."""
    one = View(BY_ID["two-lamps"], 0, past_of([take("two-lamps", 1, tempo=116)]), TODAY, lambda d, layer: STEADY)
    assert one.bpm == 98
    assert not one.finished


STEADY = SteadyTempo(98, 95, 101, 30, 99)


# Days to be ready by


def test_a_day_to_be_ready_by_comes_first_and_is_told() -> None:
    """Wanted in five days, a drill far from its target has the most points, and more than with five weeks to go."""
    far = take("quick-oars", 1, tempo=60)
    plain, soon, later = (
        View(replace(BY_ID["quick-oars"], due=due), 0, past_of([far]), TODAY)
        for due in (None, TODAY + timedelta(5), TODAY + timedelta(35))
    )
    assert need(soon) > need(later) > need(plain)
    assert any(r.text == "wanted in 5 days" for r in reasons(soon))


def test_a_new_thing_with_a_day_does_not_wait_for_the_others() -> None:
    """With six things on their way only what is wanted in two weeks is begun, and says so."""
    takes = [take(f"m{n}", 2, tempo=80) for n in range(6)]
    dated = [replace(d, due=TODAY + timedelta(14)) if d.id == "m9" else d for d in MANY]
    made = plan(dated, takes, NOW, 20)
    assert "m9" in turns(made)
    assert any("wanted in 14 days" in b.why for b in made.blocks if b.drill == "m9")


def dated(count: int, days: int) -> list[Drill]:
    """The first so many drills of many, wanted in some days."""
    return [replace(d, due=TODAY + timedelta(days)) if n < count else d for n, d in enumerate(MANY)]


def test_with_days_enough_what_is_wanted_waits_for_room() -> None:
    """Six things on their way and a new one wanted in six weeks: it is not begun yet."""
    takes = [take(f"m{n}", 2, tempo=80) for n in range(6)]
    drills = [replace(d, due=TODAY + timedelta(42)) if d.id == "m9" else d for d in MANY]
    assert "m9" not in turns(plan(drills, takes, NOW, 20))


def test_with_few_days_left_more_than_one_thing_a_day_is_begun() -> None:
    """Eight things never played and a day in eighteen days leave four days to begin them in: two a day, and it is said;
    three at most, however near the day."""
    takes = [take("m9", 2, tempo=80), take("m8", 2, tempo=80)]
    made = plan(dated(8, 18), takes, NOW, 30)
    assert len({b.drill for b in made.blocks} & {f"m{n}" for n in range(8)}) == 2
    assert "8 things are still new for the day in 18 days: up to 2 a day are begun, as they are ready." in made.notes
    hasty = plan(dated(8, 3), takes, NOW, 60)
    assert len({b.drill for b in hasty.blocks} & {f"m{n}" for n in range(8)}) == 3


def test_before_a_near_day_nothing_else_is_begun() -> None:
    """One thing wanted in five days cannot be begun before what it grows from was held: no pattern takes its place."""
    drills = [replace(d, due=TODAY + timedelta(5), grows_from="m9") if d.id == "m0" else d for d in MANY]
    made = plan(drills, [take("m9", 0, tempo=60, clean=0, stumbled=9, verdict="lost"), take("m8", 2)], NOW, 30)
    assert {b.drill for b in made.blocks if b.drill} <= {"m8", "m9"}


def test_what_will_not_be_ready_is_said() -> None:
    """Held at 60 of 104 and wanted in five days, at a usual gain of 2 % a day it takes 28: the plan says so by name,
    and that 60 · e^0.1 = 66 is the best to hope for; held at 100 it takes two, and nothing is said."""
    wanted = [replace(d, due=TODAY + timedelta(5)) if d.id == "two-lamps" else d for d in DRILLS]
    for bpm, told in ((60, True), (100, False)):
        notes = plan(wanted, [take("two-lamps", 1, tempo=bpm), take("landing-walk", 1)], NOW, 20).notes
        assert any("'Two lamps' would not be at tempo in 5 days" in n for n in notes) == told
        best = "It could be at about 66 of 104 bpm by then, with a turn every day."
        assert any(n.endswith(best) for n in notes) == told


def wanted_note(held: dict[str, float], days: int) -> str:
    """What is said of drills held at these tempos and wanted in some days; "" where nothing is."""
    views = [
        View(replace(BY_ID[name], due=TODAY + timedelta(days)), 0, past_of([take(name, 1, tempo=bpm)]), TODAY)
        for name, bpm in held.items()
    ]
    return " ".join(not_ready(views, TODAY))


def test_what_could_be_ready_is_said_with_numbers() -> None:
    """Targets are 104, 104, 104 and 80; 2 % a day: 100 to 104 takes ln 1.04 / 0.02 = 2 days, 60 and 50 too long."""
    held = {"two-lamps": 60.0, "rope-and-bell": 100.0, "late-crossing": 110.0, "quick-oars": 50.0}
    assert [BY_ID[name].target_bpm for name in held] == [104, 104, 104, 80]
    assert wanted_note(held, 5) == (
        "At the gain so far (2% a day where it is not known) 'Two lamps' and 'Quick oars' would not be at tempo in 5"
        " days: think of a slower tempo, the plainer way, or less of it. Of 4 things wanted then 2 could be, with a"
        " turn every day: 'Rope and bell' (from 100 to 104 bpm in about 2 days) and 'Late crossing' (at its 104 bpm"
        " now)."
    )
    assert wanted_note(held, 0).endswith("Of 4 things wanted now 1 is: 'Late crossing' (at its 104 bpm now).")
    both = wanted_note({"two-lamps": 60.0, "rope-and-bell": 80.0}, 5)
    assert both.endswith(
        " None of 2 things could be; nearest is 'Rope and bell', at about 88 of 104 bpm by then, with a turn every day."
    )
    assert wanted_note({"two-lamps": 100.0, "rope-and-bell": 110.0}, 5) == ""


def test_a_day_gone_by_presses_no_more() -> None:
    """The day after, the drill is as any other."""
    one, gone = (
        View(replace(BY_ID["two-lamps"], due=due), 0, past_of([take("two-lamps", 1)]), TODAY) for due in (None, day(1))
    )
    assert need(one) == need(gone)


# Kinds of drills, rest, wishes


@pytest.mark.parametrize("kind", [*Kind])
def test_every_kind_of_drill_finds_its_place(kind: Kind) -> None:
    """A song's drill is planned as a pattern is; only patterns, parts and songs are sung over the thumb."""
    drills = [replace(d, kind=kind) for d in DRILLS[:2]]
    takes = [take(d.id, n, tempo=120) for d in drills for n in (4, 1)]
    made = plan(drills, takes, NOW, 20)
    assert set(turns(made)) == {d.id for d in drills}
    sung = any(b.layer == "thumb" for b in made.blocks)
    assert sung == (kind in ("pattern", "part", "song"))


def test_what_rests_is_not_planned() -> None:
    """A resting drill keeps its takes and has no turn, unless it is pinned."""
    drills = [replace(d, resting=d.id == "two-lamps") for d in DRILLS]
    takes = [take(d, 3) for d in IDS[:4]]
    assert "two-lamps" not in turns(plan(drills, takes, NOW, 30))
    assert "two-lamps" in turns(plan(drills, takes, NOW, 30, wishes=Wishes(pinned=("two-lamps",))))


def test_wishes_are_obeyed() -> None:
    """Pinned comes (even when new), skipped does not, a swap puts one in the place of the other; the reasons say so."""
    takes = [take(d, 3) for d in IDS[:4]]
    plain = plan(DRILLS, takes, NOW, 20)
    pinned = plan(DRILLS, takes, NOW, 20, wishes=Wishes(pinned=("reed-bank",)))
    assert "reed-bank" not in turns(plain)
    assert any("you asked for it" in b.why for b in pinned.blocks if b.drill == "reed-bank")
    out = turns(plain)[1]
    assert out not in turns(plan(DRILLS, takes, NOW, 20, wishes=Wishes(skipped=(out,))))
    swapped = plan(DRILLS, takes, NOW, 20, wishes=Wishes(swapped=((out, "reed-bank"),)))
    assert out not in turns(swapped)
    assert any(f"in place of '{out}'" in w for b in swapped.blocks if b.drill == "reed-bank" for w in b.why)
    assert plan(DRILLS, takes, NOW, 20, wishes=Wishes(minutes=11)).minutes == 11


def test_wishes_hold_on_the_first_day_too() -> None:
    """With an empty ledger a pinned drill is among the starters and a skipped one is not."""
    made = turns(plan(DRILLS, [], NOW, 20, wishes=Wishes(pinned=("reed-bank",), skipped=("two-lamps",))))
    assert "reed-bank" in made
    assert "two-lamps" not in made


def test_with_everything_skipped_there_is_nothing_to_plan() -> None:
    """That is one sentence, not an empty evening."""
    with pytest.raises(CoachError, match="no drill to plan"):
        plan(DRILLS, [], NOW, 20, wishes=Wishes(skipped=tuple(IDS)))


def test_what_presses_takes_half_the_evening_at_most() -> None:
    """Twelve drills that all press leave room for what is on its way."""
    takes = [take(f"m{n}", 1, tempo=100) for n in range(6)] + [take(f"m{n}", 1, tempo=70) for n in range(6, 12)]
    press = {f"m{n}": [Reason(2.0, "stumbles gather")] for n in range(6, 12)}
    planned = set(turns(plan(MANY, takes, NOW, 20, pressing=press)))
    assert planned & {f"m{n}" for n in range(6)}
    assert planned & set(press)


# How long a day may be


def minutes_on(*days: tuple[int, float]) -> dict:
    """Minutes played so many days ago."""
    return {day(ago): minutes for ago, minutes in days}


def test_at_most_ten_minutes_more_than_lately() -> None:
    """Thirty minutes a day lately allow forty (BAPAM), and the note says why; twenty-five asked for are just given."""
    lately = minutes_on((3, 25), (2, 30), (1, 28))
    most, notes = allowed(60, lately, TODAY)
    assert most == 40
    assert "40 minutes instead of 60" in notes[0]
    assert "30 minutes at most" in notes[0]
    assert allowed(25, lately, TODAY) == (25, [])


def test_one_sitting_is_always_fine_and_little_knowledge_says_nothing() -> None:
    """Five minutes a day lately still allow half an hour; two logged days do not tell how much one plays."""
    assert allowed(60, minutes_on((3, 5), (2, 5), (1, 5)), TODAY)[0] == 30
    assert allowed(60, minutes_on((3, 5), (2, 5)), TODAY) == (60, [])
    assert allowed(60, {}, TODAY) == (60, [])


def test_after_a_lay_off_sessions_grow_by_levels_and_none_is_skipped() -> None:
    """Twenty days away: 10 minutes for three days of practice, then 20, then 30, then as before (BAPAM)."""
    before = minutes_on(*((n, 40) for n in range(40, 30, -1)))
    given = []
    played = dict(before)
    for ago in range(10, -1, -1):
        most, _ = allowed(40, played, day(ago))
        given.append(most)
        played[day(ago)] = most
    assert given[:9] == [10, 10, 10, 20, 20, 20, 30, 30, 30]
    assert given[9:] == [40, 40]


def test_what_was_played_today_counts() -> None:
    """Of forty allowed 25 are played: fifteen are left, and it is said. With 41 played the day is done, said kindly."""
    lately = minutes_on((3, 25), (2, 30), (1, 28))
    most, notes = allowed(60, {**lately, TODAY: 25.4}, TODAY)
    assert most == 14
    assert notes == [
        "14 minutes instead of 60: you have played 25 today already, it was 30 minutes at most on a day of the last"
        " week, and ten more a day are enough."
    ]
    most, notes = allowed(60, {**lately, TODAY: 41}, TODAY)
    assert most == 0
    assert notes == [
        "41 minutes played today, and that is a good day: let the hands rest, and go on tomorrow. It was 30 minutes at"
        " most on a day of the last week, and ten more a day are enough."
    ]


def test_rests_do_not_count_as_playing() -> None:
    """Fifty minutes of playing are allowed: with two rests of five that is an hour, and an hour is what is given; who
    keeps all rests can still add ten minutes a day."""
    lately = minutes_on((3, 40), (2, 40), (1, 40))
    assert allowed(60, lately, TODAY, lambda minutes: sum(runs(minutes))) == (60, [])
    most, notes = allowed(90, lately, TODAY, lambda minutes: sum(runs(minutes)))
    assert most == 55  # with one rest
    assert notes[0].startswith("55 minutes instead of 90")


def test_long_turns_keep_the_rest_between_them() -> None:
    """Turns of a quarter of an hour on a first evening: of 45 minutes no run is longer than half an hour."""
    for turn in range(9, 16):
        for minutes in range(31, 61):
            made = plan(DRILLS, [], NOW, minutes, PlanSettings(turn_minutes=turn))
            kinds = [b.kind for b in made.blocks]
            assert kinds.count("rest") == (1 if minutes <= 55 else 2)
            assert kinds[0] != "rest" != kinds[-1]


def test_after_half_an_hour_just_played_the_rest_comes_first() -> None:
    """Thirty minutes up to now: a rest, and it says for how long was played; two minutes later asked for five minutes:
    only the rest, and no block."""
    just = Playing(NOW, (Span(TODAY, NOW - timedelta(minutes=30), NOW),), frozenset({TODAY}))
    made = plan(DRILLS, [], NOW, 20, playing=just)
    assert [b.kind for b in made.blocks[:2]] == ["rest", "warm-up"]
    assert made.blocks[0].why[0] == "you have just played for 30 minutes"
    assert made.minutes == 20
    short = plan(DRILLS, [], NOW, 5, playing=just)
    assert (short.minutes, short.blocks, short.length()) == (0, (), "enough for now")
    told = "You have just played for 30 minutes. Rest your hands for five minutes first; then there is more."
    assert told in short.notes


def test_the_plan_keeps_to_it_unless_told_otherwise() -> None:
    """Three evenings of a few minutes: an hour asked for becomes half an hour; a setting gives the hour."""
    takes = [take(d, n) for d in IDS[:2] for n in (3, 2, 1)]
    assert plan(DRILLS, takes, NOW, 60).minutes == 30
    assert plan(DRILLS, takes, NOW, 60, PlanSettings(gently=False)).minutes == 60

"""A plan is made under what the ledger's notes ask of the day."""

from datetime import timedelta
from pathlib import Path

import pytest

from coach.drills.corners import corner, make_corner
from coach.drills.pattern_drills import Drill
from coach.drills.repertoire import make_pattern_drills
from coach.log.ledger import Ledger
from coach.log.notes import NoteKind
from coach.log.playing_time import Playing, Span
from coach.music.chords import read_bars
from coach.picking.layers import LAYERS
from coach.picking.pattern_file import parse_pattern
from coach.picking.pattern_library import Library
from coach.plan.care import Care
from coach.plan.checkup import findings, late_stumbles, map_drill, troubles
from coach.plan.day_notes import DayNotes, plan_under, read_day
from coach.plan.need import Reason
from coach.plan.planner import Block, Plan, plan
from coach.plan.remedy_turns import shape_turn
from coach.plan.wishes import MINUTES, PIN, SKIP, Wishes, wish_text
from coach.skill.diagnosis import lately
from coach.skill.remedies import ALTERNATE, CORNER, REST, SLOWER, THINNER, Finding, note_text
from coach.skill.remedies import THUMB as REMEDY_THUMB
from tests.made_takes import NOW, TODAY
from tests.skill.test_diagnosis import LANDING

PATTERNS = {name: parse_pattern(LANDING, name) for name in ("landing-stage", "reed-bank", "slow-tide", "two-lamps")}
LIBRARY = Library(PATTERNS, ())
DRILLS = make_pattern_drills(LIBRARY)
DRILL = next(d for d in DRILLS if d.id == "landing-stage")


def make(minutes: int, wishes: Wishes, pressing: object) -> Plan:
    """The plan of a first day."""
    return plan(DRILLS, (), NOW, minutes, wishes=wishes)


def test_without_notes_the_plan_is_as_it_was() -> None:
    """Nothing wished, nothing said: the same plan."""
    assert plan_under(DayNotes(), 20, DRILLS, make) == plan(DRILLS, (), NOW, 20)


def test_after_pain_there_is_no_block() -> None:
    """No more playing: no minute, no block, and the cautions as notes; the plan is not even made."""

    def never(minutes: int, wishes: Wishes, pressing: object) -> Plan:
        raise AssertionError

    found = plan_under(DayNotes(care=Care(True, 0, ("Stopped for today.",))), 20, DRILLS, never)
    assert found.as_json() == {"minutes": 0, "blocks": [], "notes": ["Stopped for today."]}


def test_care_goes_before_the_players_minutes() -> None:
    """Wished 40, at most 5: five; wished 3: three."""
    care = Care(False, 5, ("Short.",))
    assert plan_under(DayNotes(Wishes(minutes=40), care), 20, DRILLS, make).minutes == 5
    assert plan_under(DayNotes(Wishes(minutes=3), care), 20, DRILLS, make).minutes == 3


def test_in_the_days_after_pain_what_was_just_played_counts() -> None:
    """Five minutes at a time with an hour's rest (BAPAM, "Return to play"): of five that ended a quarter of an hour ago
    nothing is left, and it says until when; of three, two; an hour later all five."""
    care = Care(False, 5, ("Short.",), 60)
    for minutes, ago, left in ((5, 15, 0), (3, 15, 2), (5, 60, 5), (0, 0, 5)):
        end = NOW - timedelta(minutes=ago)
        spans = (Span(TODAY, end - timedelta(minutes=minutes), end),) if minutes else ()
        found = plan_under(DayNotes(care=care), 20, DRILLS, make, playing=Playing(NOW, spans))
        assert found.minutes == left
        assert not found.stopped
        told = "Rest until 19:45: the hands have had their 5 minutes."
        assert (told in found.notes) == (left == 0)


def test_what_rests_stays_out_unless_the_player_calls_it() -> None:
    """A rested drill has no block and is named; pinned, it comes all the same."""
    day = DayNotes(rested=frozenset({DRILL.id}))
    found = plan_under(day, 20, DRILLS, make)
    assert DRILL.id not in {b.drill for b in found.blocks}
    assert f"Resting: {DRILL.title}." in found.notes
    called = plan_under(DayNotes(Wishes(pinned=(DRILL.id,)), rested=day.rested), 20, DRILLS, make)
    assert DRILL.id in {b.drill for b in called.blocks}
    assert not any(note.startswith("Resting") for note in called.notes)


@pytest.fixture
def ledger(tmp_path: Path) -> Ledger:
    """A ledger with twelve passes of the first drill, of which eight stumbled on bar 2, beat 1."""
    ledger = Ledger(tmp_path / "ledger.sqlite3")
    at = NOW - timedelta(days=1)
    take = ledger.begin_take(DRILL.id, 80, at=at)
    for number in range(1, 13):
        stumbled = number <= 8
        if stumbled:
            ledger.add_stumble(take, 1, "0", 80, number, at=at)
        ledger.add_pass(take, number, 80, 4, int(stumbled), at=at)
    return ledger


def test_the_day_is_read_from_the_ledger(ledger: Ledger) -> None:
    """Wishes of today, pain of yesterday, a rest taken up, and the trouble as a reason for a turn."""
    ledger.add_note(NoteKind.WISH, wish_text(PIN, "reed-bank"), None, NOW)
    ledger.add_note(NoteKind.WISH, wish_text(SKIP, "two-lamps"), None, NOW + timedelta(minutes=1))
    ledger.add_note(NoteKind.WISH, wish_text(MINUTES, 12), None, NOW + timedelta(minutes=2))
    ledger.add_note(NoteKind.PAIN, "Landing stage", None, NOW - timedelta(days=1))
    ledger.add_note(NoteKind.REMEDY_CHOSEN, note_text("slow-tide", REST, "plateau"), None, NOW - timedelta(days=1))
    with ledger:
        day = read_day(ledger, DRILLS, LIBRARY, TODAY)
    assert day.wishes == Wishes(("reed-bank",), ("two-lamps",), (), 12)
    assert day.care.minutes == 5
    assert day.rested == {"slow-tide"}
    ((drill, (reason,)),) = day.pressing.items()
    assert drill == DRILL.id
    assert isinstance(reason, Reason)
    assert reason.text.startswith("stumbles gather at bar 2, beat 1")


def test_troubles_and_findings_agree(ledger: Ledger) -> None:
    """What gathers is told once, with its remedy; drills without a word are left out; old stumbles are not read."""
    with ledger:
        told = troubles(ledger, DRILLS, LIBRARY, TODAY)
        assert set(told) == {DRILL.id}
        assert findings(ledger, DRILLS, LIBRARY, TODAY)[DRILL.id].trouble == told[DRILL.id]
        assert set(findings(ledger, DRILLS, LIBRARY, TODAY)) == {DRILL.id}
        assert troubles(ledger, DRILLS, LIBRARY, TODAY + timedelta(40)) == {}


def test_the_ledger_is_asked_for_the_same_takes_as_the_value(ledger: Ledger) -> None:
    """Of twenty takes the stumbles of the latest twelve are read, as `lately` chooses them."""
    for number in range(20):
        take = ledger.begin_take(DRILL.id, 80, at=NOW - timedelta(hours=20 - number))
        ledger.add_stumble(take, number % 2, "1", 80, 1, at=NOW)
    with ledger:
        chosen = {t.id for t in lately(ledger.takes(DRILL.id), TODAY)}
        read = late_stumbles(ledger, TODAY)[DRILL.id]
        assert len(chosen) == 12
        assert {s.take for s in read} == chosen


def test_stumbles_on_other_chords_have_no_place_in_the_map(ledger: Ledger) -> None:
    """The same drill on other chords: the take counts, but where it stumbled says nothing of the drill's bars."""
    take = ledger.begin_take(DRILL.id, 80, at=NOW)
    ledger.add_note(NoteKind.OTHER_CHORDS, "G | D", take, NOW)
    for number in range(1, 9):
        ledger.add_stumble(take, 0, "2", 80, number, at=NOW)
    with ledger:
        assert len(late_stumbles(ledger, TODAY)[DRILL.id]) == 8
        assert troubles(ledger, DRILLS, LIBRARY, TODAY)[DRILL.id].hits == 8


@pytest.mark.parametrize(
    ("remedy", "drill", "layer", "slower"),
    [
        (CORNER, f"{DRILL.id}/corner/2", "full", True),
        (SLOWER, DRILL.id, "full", True),
        (THINNER, DRILL.id, list(LAYERS)[-2], False),
        (REMEDY_THUMB, DRILL.id, "thumb", False),
        (ALTERNATE, DRILL.id, "full", True),
    ],
)
def test_a_remedy_under_way_is_the_first_turn(
    ledger: Ledger, remedy: str, drill: str, layer: str, slower: bool
) -> None:
    """Taken up yesterday: the first turn of today is that corner, slower, thinner, on the thumb or in turns, and
    says since when; a later turn is as it was, and with nothing taken up so are all."""
    with ledger:
        before = plan_under(read_day(ledger, DRILLS, LIBRARY, TODAY), 20, DRILLS, make, LIBRARY)
        ledger.add_note(NoteKind.REMEDY_CHOSEN, note_text(DRILL.id, remedy, "bar 2"), None, NOW - timedelta(days=1))
        after = plan_under(read_day(ledger, DRILLS, LIBRARY, TODAY), 20, DRILLS, make, LIBRARY)
    assert [b.drill for b in before.blocks] == [b.drill for b in make(20, Wishes(), {}).blocks]
    place = next(n for n, b in enumerate(before.blocks) if b.kind == "play" and b.drill == DRILL.id)
    old, new = before.blocks[place], after.blocks[place]
    assert (new.drill, new.layer, new.minutes) == (drill, layer, old.minutes)
    assert (new.tempo_from < old.tempo_from) == slower
    assert new.why[0].startswith("under way since 9 March: ")
    assert [b.drill for b in after.blocks[place + 1 :]] == [b.drill for b in before.blocks[place + 1 :]]


def test_alternating_tempos_are_a_slow_and_a_fast_pass_in_turns() -> None:
    """The slow one 12 % below where the turn would begin, the fast one where it would end; a loop of which a slow pass
    is longer than the turn is left as it was."""
    turn = Block("play", DRILL.id, DRILL.title, 3, 75, 82, "full", step_share=0.03)
    found = Finding(DRILL.id, remedy=ALTERNATE)
    made = shape_turn(turn, DRILL, found, LIBRARY)
    assert (made.tempo_from, made.tempo_to, made.ramp, made.layer) == (66, 82, "alternate", "full")
    assert (made.as_row()["ramp"], turn.as_row()["ramp"]) == ("alternate", None)
    assert (made.tempos(), turn.tempos()) == ("66 and 82 bpm in turns", "75 to 82 bpm")
    # At 66 bpm three minutes hold 198 beats: 49 bars of four, and a half.
    for bars, ramp in ((49, "alternate"), (50, None)):
        assert shape_turn(turn, on(" | ".join(["C"] * bars)), found, LIBRARY).ramp == ramp


def test_a_drill_whose_pattern_is_gone_is_passed_over(ledger: Ledger) -> None:
    """A pattern file taken away leaves takes behind; nothing breaks."""
    with ledger:
        assert troubles(ledger, DRILLS, Library({}, ()), TODAY) == {}
    assert map_drill(DRILL, Library({}, ())) is None


# Corners ------------------------------------------------------------------------------------


def on(chords: str) -> Drill:
    """The first drill on other chords."""
    from dataclasses import replace

    return replace(DRILL, chords=chords)


@pytest.mark.parametrize(("bar", "chords"), [(2, "Am | F"), (0, "G | C"), (3, "F | G")])
def test_a_corner_is_the_bar_and_the_one_before(bar: int, chords: str) -> None:
    """At the loop's start the one before is the last bar: that is how it is come upon."""
    assert make_corner(on("C | Am | F | G"), PATTERNS[DRILL.id], bar).chords == chords


def test_two_chords_in_a_bar_stay_together() -> None:
    """A bar of F and G comes whole."""
    assert make_corner(on("C | F G | Am"), PATTERNS[DRILL.id], 1).chords == "C | F G"


def test_a_pattern_of_two_bars_keeps_its_bars_in_place() -> None:
    """The corner begins where the pattern begins, so the pattern's second bar still falls on the second."""
    two = parse_pattern(LANDING + LANDING[LANDING.index("[[bars]]") :], "two-landings")
    assert make_corner(on("C | Am | F | G"), two, 3).chords == "F | G"
    assert make_corner(on("C | Am | F | G"), two, 2).chords == "C | Am | F | G"


def test_a_corner_is_found_by_its_id() -> None:
    """The id the ledger has leads back to the same drill; what is none leads to nothing."""
    bars = len(read_bars(DRILL.chords))
    assert bars >= 2
    small = make_corner(DRILL, PATTERNS[DRILL.id], 1)
    assert corner(small.id, DRILLS, LIBRARY) == small
    for name in (DRILL.id, *(f"{DRILL.id}/corner/{n}" for n in ("0", "99", "x", "")), "no-drill/corner/1"):
        assert corner(name, DRILLS, LIBRARY) is None

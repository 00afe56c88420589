"""How far a song is, in words that the passes bear out."""

from __future__ import annotations

from dataclasses import replace

from coach.drills.drill_id import Kind, Voice
from coach.drills.pattern_drills import Drill
from coach.log.takes import Take
from coach.skill.history import past_of
from coach.skill.readiness import BEGUN, HELD, NEW, PLAYED, READY, STEADY, choose_next, make_rows, readiness, stands
from coach.skill.steady_tempo import steady
from tests.drills.test_song_drills import BY_ID, DRILLS
from tests.made_takes import TODAY, take

VERSE, CHORUS = BY_ID["landing/plain/part/Verse"], BY_ID["landing/plain/part/Chorus"]


def of(drill: Drill, takes: list[Take]) -> object:
    """How it stands today from these takes alone."""
    return stands(drill, past_of(takes), steady(takes), TODAY)


def test_words_for_each_stage() -> None:
    """Never played; played and lost; held once; steady; at its tempo. Last: once ready and not played for a year."""
    clean = [take(VERSE.id, d, tempo=t, number=d) for d, t in ((4, 70), (3, 74), (2, 78), (1, 80))]
    lost = [take(VERSE.id, d, tempo=96, clean=0, stumbled=8, minute=9, number=d) for d in (4, 3, 2)]
    fell = [take(VERSE.id, 1, clean=0, stumbled=4, verdict="lost")]
    found = [of(VERSE, t) for t in ([], fell, clean[:1], clean + lost)]
    assert [one.how for one in found] == [NEW, BEGUN, HELD, STEADY]  # type: ignore[attr-defined]
    words = [one.words for one in found]  # type: ignore[attr-defined]
    assert words[:2] == ["new", "being learned"]
    assert words[2].startswith("held at 70 of 100")
    assert words[3].startswith("steady at ")
    ready = of(VERSE, [take(VERSE.id, d, tempo=104, number=d) for d in (3, 2, 1)])
    assert ready.how == READY  # type: ignore[attr-defined]
    old = of(VERSE, [take(VERSE.id, d, tempo=104, number=d) for d in (400, 399, 398)])
    assert old.words == "ready at 100, fading"  # type: ignore[attr-defined]


def test_a_song_in_one_sentence() -> None:
    """Each part, then the voice; the whole song once it was played."""
    takes = {
        VERSE.id: [take(VERSE.id, 1, tempo=84, clean=3)],
        CHORUS.id: [take(CHORUS.id, 1, clean=0, stumbled=3, verdict="lost")],
    }
    every = [stands(d, past_of(takes.get(d.id, [])), None, TODAY) for d in DRILLS]
    assert readiness(make_rows(every, "plain")) == "Verse: held at 84 of 100; Chorus: being learned; sung: new"
    whole = take("landing/plain", 1, tempo=70, clean=3)
    every = [stands(d, past_of([whole] if d.id == "landing/plain" else []), None, TODAY) for d in DRILLS]
    assert readiness(make_rows(every, "plain")).endswith("sung: new; whole song: held at 70 of 100")


def test_rows_are_parts_as_sung_then_the_whole_and_the_small_things() -> None:
    """The ways of each side by side; of the arrangement asked for only."""
    rows = make_rows([stands(d, None, None, TODAY) for d in DRILLS], "plain")
    assert [row.name for row in rows][:3] == ["Verse", "Chorus", "whole song"]
    assert set(rows[0].ways) == {PLAYED, Kind.SPOKEN, Voice.SING, Voice.SING_FULL}
    assert set(rows[1].ways) == {PLAYED}
    assert next(row.name for row in rows if row.kind == "change") in ("D to G", "G to C", "C to D")
    assert all(one.drill.id.startswith("landing/plain") for row in rows for one in row.ways.values())
    assert rows[0].kind == Kind.PART


def test_what_fades_is_next_then_what_is_on_its_way() -> None:
    """Of nothing played the first; of one on its way that; of one fading that."""
    plain = [stands(d, None, None, TODAY) for d in DRILLS]
    first = choose_next(make_rows(plain, "plain"))
    assert first is not None
    assert first.drill == VERSE
    on_its_way = [replace(one, how=BEGUN) if one.drill == CHORUS else one for one in plain]
    following = choose_next(make_rows(on_its_way, "plain"))
    assert following is not None
    assert following.drill == CHORUS
    fading = [replace(one, fades=True) if one.drill.id == "landing/plain/change/G-C" else one for one in on_its_way]
    last = choose_next(make_rows(fading, "plain"))
    assert last is not None
    assert last.drill.id == "landing/plain/change/G-C"

"""Arrangements that are proposed: the hand, the bar and the thumb are kept to, and each choice has its reason."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coach import shelf
from coach.errors import BadInput, BadMusic
from coach.guitar.bass import bass_of
from coach.guitar.choices import add_fingers, reachable_fingerings
from coach.guitar.grip import Hand
from coach.guitar.shape import Shape
from coach.guitar.standins import hold_like
from coach.music.chords import Chord, read_bars
from coach.music.keys import Key
from coach.music.meter import METERS, Meter
from coach.music.notes import Pitch, read_range
from coach.picking.plucks import ACCENT
from coach.song.arrangement import FULL, PLAIN, Arrangement, BarWay
from coach.song.arranging.arranger import propose
from coach.song.arranging.shape_choice import TOO_HARD
from coach.song.chart import HOLD, SILENT, SOUND, ChartBar, Part, Song, TuneNote
from coach.song.files.song_file import parse_song
from coach.song.files.song_text import song_text
from coach.song.perform import perform
from coach.song.piece import Piece, PieceBar
from tests.effort import examples
from tests.sentences import is_one_sentence
from tests.song.charts import charts

PATTERNS, BOOK = shelf.library().patterns, shelf.shapes()
HANDS = [Hand(), Hand(barres="none")]
# Where a bar is heavy: its first beat, the middle of four, the second group of 6/8 and of 5/4 (three and two).
# Common practice, no source.
STRONG = {"4/4": (0, 2), "12/8": (0, 2), "6/8": (0, 1), "5/4": (0, 3)}
slow = examples(20)


def song_of(chords: str, key: str = "C", meter: str = "4/4", **more: object) -> Song:
    """A song of one part with these bars; the chords of a bar share it."""
    beats = METERS[meter].beats
    bars = tuple(
        ChartBar(tuple((Fraction(k * beats, len(bar)), c) for k, c in enumerate(bar))) for bar in read_bars(chords)
    )
    parts = {"Verse": Part("Verse", bars)}
    song = Song("made-up", "Made up", Key.parse(key), METERS[meter], Fraction(90), parts, ("Verse",))
    return replace(song, **more)  # type: ignore[arg-type]


def with_tune(song: Song, tunes: list[str]) -> Song:
    """The song with a tune in its bars: pitches of one beat each."""
    part = song.parts["Verse"]
    bars = tuple(
        replace(bar, tune=tuple(TuneNote(Fraction(k), Fraction(1), Pitch.parse(p)) for k, p in enumerate(t.split())))
        for bar, t in zip(part.bars, tunes, strict=True)
    )
    return replace(song, parts={"Verse": replace(part, bars=bars)})


def proposed(song: Song, **more: object) -> Arrangement:
    """What is proposed with the shipped patterns and shapes."""
    return propose(song, PATTERNS, BOOK, **more)  # type: ignore[arg-type]


def offset_of(bar: PieceBar) -> Fraction:
    """How much of the meter's bar lies before it: a short first bar of a part is a pick-up."""
    return bar.meter.beats - bar.beats if bar.part_bar == 0 else Fraction(0)


def strong_beats(bar: PieceBar) -> list[Fraction]:
    """The heavy beats that lie in the bar, counted from its beginning."""
    places = (Fraction(b) - offset_of(bar) for b in STRONG.get(str(bar.meter), (0,)))
    return [b for b in places if 0 <= b < bar.beats]


def in_hand(bar: PieceBar, hand: Hand, capo: int) -> bool:
    """Whether each pluck's fret is the shape's, or one that a finger reaches while the shape is held."""
    for pluck in bar.plucks:
        shape = bar.held.at(pluck.beat).shape
        assert shape is not None
        if shape.fret(pluck.string) == pluck.fret:
            continue
        frets = tuple(pluck.fret if 6 - k == pluck.string else f for k, f in enumerate(shape.frets))
        if pluck.finger == "p" or hold_like(frets, shape, pluck.string, hand, capo) is None:
            return False
    return True


def tells_chords(bar: PieceBar, capo: int, kept: set[str]) -> bool:
    """Whether what is plucked, the tune aside, belongs to the chord (or is the bass that is asked for).

    Where there is no chord nothing but the tune is plucked.
    For chords in `kept` the shape before stays with one telling note added: that is what was chosen there.
    """
    for pluck in bar.plucks:
        chord = bar.held.at(pluck.beat).chord
        if chord is None:
            if pluck.stress != ACCENT:
                return False
            continue
        if str(chord) in kept:
            continue
        allowed = {n.pitch_class for n in (*chord.tones, chord.lowest)}
        if (pluck.midi - capo) % 12 not in allowed and pluck.stress != ACCENT:
            return False
    return True


def bar_ways(arrangement: Arrangement) -> list[tuple[int, BarWay]]:
    """The bars with a way of their own, of all parts."""
    return [row for part in arrangement.parts.values() for row in part.bars.items()]


def check_piece(song: Song, piece: Piece, hand: Hand, arrangement: Arrangement | None = None) -> None:
    """The laws that every bar of a proposed arrangement keeps."""
    if arrangement:
        own = [shape for _, way in bar_ways(arrangement) for shape in way.shapes.values()]
        for shape in (*arrangement.way.shapes.values(), *own):
            assert add_fingers(Shape(shape.frets)).frets == shape.frets, "a song file could not hold it"
    recipes = arrangement.way.stand_in if arrangement else {}
    kept = {symbol for symbol, recipe in recipes.items() if ":" in recipe}
    at = Fraction(0)
    for bar in piece.bars:
        charted = song.parts[bar.part].bars[bar.part_bar]
        assert bar.start == at
        assert bar.beats == (bar.meter.beats if charted.beats is None else charted.beats)
        at += bar.beats
        moments, fingers = [(p.beat, p.string) for p in bar.plucks], [(p.beat, p.finger) for p in bar.plucks]
        assert len(set(moments)) == len(moments), "a string twice at once"
        assert len(set(fingers)) == len(fingers), "a finger twice at once"
        assert all(0 <= p.beat < bar.beats for p in bar.plucks)
        if charted.way == SOUND:
            assert all(((p.beat + offset_of(bar)) / bar.slot_beats).denominator == 1 for p in bar.plucks)
        assert in_hand(bar, hand, piece.capo)
        assert tells_chords(bar, piece.capo, kept)
        for hold in bar.held.holds:
            if hold.shape is not None:
                assert reachable_fingerings(hold.shape.frets, hand, piece.capo)
        if charted.way == SILENT:
            assert bar.plucks == ()
        thumb = {p.beat: p for p in bar.plucks if p.finger == "p"}
        held_at_end = bar.number == len(piece.bars) - 1 and len({p.beat for p in bar.plucks}) <= len(bar.held.holds)
        if charted.way == SOUND and not held_at_end:
            for beat in strong_beats(bar):
                assert bar.held.at(beat).chord is None or beat in thumb, "no bass on a strong beat"
        if charted.way != SILENT:
            for hold in bar.held.holds:
                if hold.chord and hold.bass:
                    assert thumb[hold.beat].string == hold.bass.r, "the new root is not told on the change"


@slow
@given(charts(), st.sampled_from(HANDS), st.sampled_from([PLAIN, FULL]))
def test_every_bar_keeps_to_hand_bar_and_thumb(song: Song, hand: Hand, tier: str) -> None:
    """Any chart in any meter: inside the shape, full, bass on strong beats, the new root on each change of chord."""
    if not any(c for name in song.order for bar in song.parts[name].bars for _, c in bar.chords):
        return
    arrangement = propose(song, PATTERNS, BOOK, hand, tier=tier, max_capo=2)
    check_piece(song, perform(song, arrangement, PATTERNS, BOOK, hand=hand), hand, arrangement)


@slow
@given(charts(tune=True), st.sampled_from(HANDS), st.sampled_from([PLAIN, FULL]))
def test_a_tune_placed_keeps_to_them_too(song: Song, hand: Hand, tier: str) -> None:
    """The same with the tune on top; what is accented by the fingers is the tune, note for note, and nothing else."""
    arrangement = propose(song, PATTERNS, BOOK, hand, tier=tier, melody=True, max_capo=2)
    piece = perform(song, arrangement, PATTERNS, BOOK, hand=hand)
    check_piece(song, piece, hand, arrangement)
    for bar in piece.bars:
        meant = {(n.beat, n.pitch.midi) for n in bar.tune if not n.tied}
        plucked = {(p.beat, p.midi) for p in bar.plucks if p.finger != "p" and p.stress == ACCENT}
        assert plucked <= meant
        if song.parts[bar.part].bars[bar.part_bar].way == SOUND and plucked:
            alone = {(beat, midi) for beat, midi in meant if bar.held.at(beat).chord is None}
            # Frets 0 to 12 of open G3, B3 and E4 are G3 to E5.
            assert {n for n in alone if 55 <= n[1] - piece.capo <= 76} <= plucked
        assert all(p.string <= 3 for p in bar.plucks if p.stress == ACCENT)


def test_a_song_stays_in_its_own_key_without_a_voice() -> None:
    """C, Am, F and G sound in C, and nothing is moved."""
    arrangement = proposed(song_of("C | Am | F | G | C"))
    assert arrangement.shift == 0
    assert arrangement.key is not None
    assert (arrangement.key.tonic.pitch_class + arrangement.capo) % 12 == 0
    assert "as it is charted" in arrangement.why[0]


def test_the_key_fits_the_voice() -> None:
    """A tune from G4 to C6 for a voice of A2 to D4: the tune sounds inside the voice, and the reason says so."""
    song = with_tune(song_of("G | C | D | G", "G"), ["G4 B4 D5 G5", "E5 G5 C6 G5", "F#5 D5 A4 D5", "G4"])
    voice = read_range("A2-D4")
    arrangement = proposed(song, voice=voice)
    sung = [n.pitch.midi for bar in perform(song, arrangement, PATTERNS, BOOK).bars for n in bar.tune]
    assert voice[0].midi <= min(sung)
    assert max(sung) <= voice[1].midi
    assert any("the melody lies within the voice" in why for why in arrangement.why)


def test_a_key_that_is_asked_for_sounds() -> None:
    """Asked for in A, the shapes and the capo together sound in A."""
    arrangement = proposed(song_of("C | F | G | C"), key=Key.parse("A"))
    assert arrangement.key is not None
    assert (arrangement.key.tonic.pitch_class + arrangement.capo) % 12 == Key.parse("A").tonic.pitch_class


def test_no_capo_is_used_where_none_is_wanted() -> None:
    """With --max-capo 0 the song in Eb is played without one."""
    assert proposed(song_of("Eb | Ab | Bb7 | Eb", "Eb"), max_capo=0).capo == 0


def test_the_tiers_are_a_family_and_share_key_and_shapes() -> None:
    """Plain in eighths, full in sixteenths that grow from it, the same hand in both."""
    plain, full = (propose(song_of("C | Am | F G | C"), PATTERNS, BOOK, tier=tier) for tier in (PLAIN, FULL))
    assert (plain.name, full.name) == (PLAIN, FULL)
    assert (plain.key, plain.capo, plain.way.shapes) == (full.key, full.capo, full.way.shapes)
    eighths, sixteenths = PATTERNS[plain.way.pattern], PATTERNS[full.way.pattern]
    assert (eighths.slots_per_beat, sixteenths.slots_per_beat) == (2, 4)
    assert sixteenths.grows_from == eighths.id


@pytest.mark.parametrize("meter", METERS.values(), ids=str)
def test_each_meter_has_both_tiers(meter: Meter) -> None:
    """In every meter there is a pattern of each tier, and the full one grows from the plain one."""
    plain, full = (propose(song_of("C | G", meter=str(meter)), PATTERNS, BOOK, tier=t) for t in (PLAIN, FULL))
    eighths, sixteenths = PATTERNS[plain.way.pattern], PATTERNS[full.way.pattern]
    assert eighths.meter == sixteenths.meter == meter
    assert sixteenths.slots_per_beat == 2 * eighths.slots_per_beat
    assert sixteenths.grows_from == eighths.id


def test_two_chords_a_bar_get_a_half_bar_pattern() -> None:
    """C G in one bar of 4/4: a pattern for half bars, in that bar alone, with its reason."""
    arrangement = proposed(song_of("C | C G | C"))
    ways = arrangement.parts["Verse"].bars
    assert PATTERNS[ways[1].pattern].tags[0] == "half-bar"
    assert "beat 3" in ways[1].why
    assert 0 not in ways


def test_three_chords_a_bar_get_lanes_of_their_own() -> None:
    """C F G in one bar of 4/4: a root for each on the beat it comes, the bar still full."""
    places = zip((Fraction(0), Fraction(3, 2), Fraction(3)), map(Chord.parse, "CFG"), strict=True)
    song = song_of("C | C | C")
    first, _, last = song.parts["Verse"].bars
    song = replace(song, parts={"Verse": Part("Verse", (first, ChartBar(tuple(places)), last))})
    arrangement = proposed(song)
    own = arrangement.parts["Verse"].bars[1]
    assert own.slots == 8
    lanes = dict(own.lanes)
    assert lanes["p"].split() == ["r", ".", "a", "r", "a", ".", "r", "."]
    check_piece(song, perform(song, arrangement, PATTERNS, BOOK), Hand())


def test_a_chord_too_hard_for_this_hand_gets_a_stand_in() -> None:
    """Bb without a capo asks more of a hand than it should: something easier stands in, and the reason has numbers."""
    song = song_of("F | Bb | C7 | F", "F")
    arrangement = proposed(song, max_capo=0, key=Key.parse("F"))
    piece = perform(song, arrangement, PATTERNS, BOOK)
    stand_in_lines = [why for why in arrangement.why if "stands in" in why]
    if arrangement.key == Key.parse("F"):
        assert any(f"more than {TOO_HARD:g}" in why and why.startswith("Bb") for why in stand_in_lines)
        shape = piece.bars[1].held.holds[0].shape
        assert shape is not None
        assert str(shape) != "x13331"


def test_a_pinned_shape_stays() -> None:
    """What the song pins in its own key is not overwritten."""
    song = song_of("C | F | G | C", shapes={"F": Shape.parse("133211")})
    arrangement = proposed(song, max_capo=0)
    assert arrangement.key == Key.parse("C")
    assert "F" not in arrangement.way.shapes
    piece = perform(song, arrangement, PATTERNS, BOOK)
    assert piece.bars[1].held.holds[0].shape == add_fingers(Shape.parse("133211"))


def test_the_last_chord_is_held() -> None:
    """In the last bar thumb and fingers pluck once together and let it ring."""
    song = song_of("C | G | C")
    piece = perform(song, proposed(song), PATTERNS, BOOK)
    assert {p.beat for p in piece.bars[-1].plucks} == {0}
    assert {p.finger for p in piece.bars[-1].plucks} >= {"p", "i"}


def test_a_last_part_that_comes_again_is_not_held() -> None:
    """Held once it would be held each time: the reason says why it is not."""
    song = song_of("C | G | C", order=("Verse", "Verse"))
    arrangement = proposed(song)
    assert any("played more than once" in why for why in arrangement.why)
    assert len(perform(song, arrangement, PATTERNS, BOOK).bars[-1].plucks) > 4


def test_a_pick_up_begins_on_the_root() -> None:
    """A pick-up of one beat with a chord: the thumb tells its root at once."""
    song = song_of("C | C | G | C")
    bars = list(song.parts["Verse"].bars)
    bars[0] = replace(bars[0], beats=Fraction(1))
    song = replace(song, parts={"Verse": Part("Verse", tuple(bars))})
    first = perform(song, proposed(song), PATTERNS, BOOK).bars[0]
    hold = first.held.holds[0]
    assert hold.bass is not None
    assert first.plucks[0].string == hold.bass.r
    assert first.plucks[0].beat == 0


def test_a_part_in_another_meter_has_its_own_pattern() -> None:
    """A verse in 4/4 and a chorus in 3/4: each is picked in its meter."""
    verse = song_of("C | G").parts["Verse"]
    chorus = replace(verse, name="Chorus", meter=METERS["3/4"])
    song = song_of("C | G", parts={"Verse": verse, "Chorus": chorus}, order=("Verse", "Chorus", "Verse"))
    arrangement = proposed(song)
    assert PATTERNS[arrangement.way.pattern].meter == METERS["4/4"]
    assert PATTERNS[arrangement.parts["Chorus"].pattern].meter == METERS["3/4"]


def test_held_and_silent_bars_are_left_as_charted() -> None:
    """A silent bar stays silent and a held one is plucked once, whatever is proposed."""
    song = song_of("C | C G | C")
    bars = list(song.parts["Verse"].bars)
    song = replace(
        song, parts={"Verse": Part("Verse", (replace(bars[0], way=SILENT), replace(bars[1], way=HOLD), bars[2]))}
    )
    piece = perform(song, proposed(song), PATTERNS, BOOK)
    assert piece.bars[0].plucks == ()
    assert {p.beat for p in piece.bars[1].plucks} == {0, 2}


def test_without_patterns_of_a_meter_lanes_are_woven() -> None:
    """With only 4/4 patterns a waltz is still arranged, bar by bar, and the reason says so."""
    few = {name: p for name, p in PATTERNS.items() if p.meter == METERS["4/4"]}
    song = song_of("C | G | C", meter="3/4")
    arrangement = propose(song, few, BOOK)
    check_piece(song, perform(song, arrangement, few, BOOK), Hand())
    assert any("lanes are written out" in why for why in arrangement.why)


def test_every_choice_has_its_reason() -> None:
    """Key, shapes, pattern and the last chord are each told, and each bar that differs says why."""
    arrangement = proposed(song_of("C | C G | F | C"))
    assert len(arrangement.why) >= 4
    assert all(way.why for part in arrangement.parts.values() for way in part.bars.values())


@pytest.mark.parametrize(
    "more",
    [
        {"tier": "fuller"},
        {"voice": read_range("A2-D4")},
        {"key": Key.parse("Am")},
        {"max_capo": 20},
    ],
    ids=str,
)
def test_what_cannot_be_is_told_in_one_sentence(more: dict[str, object]) -> None:
    """An unknown tier, a voice without a tune, a key of the other mode, a capo beyond the neck."""
    with pytest.raises(BadInput) as caught:
        proposed(song_of("C | G"), **more)
    assert is_one_sentence(caught.value)


def test_a_song_without_a_chord_cannot_be_arranged() -> None:
    """Only N: one sentence with the song's name."""
    with pytest.raises(BadMusic, match="made-up"):
        proposed(song_of("N | N"))


def test_the_thumb_never_takes_the_string_of_the_tune() -> None:
    """D with its tune on string 3: the alternate bass would be string 3, so the thumb stays on the root."""
    song = with_tune(song_of("D | D", "D"), ["A3 A3 A3 A3", "A3 A3 A3 A3"])
    arrangement = proposed(song, melody=True, max_capo=0)
    for bar in perform(song, arrangement, PATTERNS, BOOK).bars:
        tune = {(p.beat, p.string) for p in bar.plucks if p.stress == ACCENT}
        assert len(tune) == 4
        assert not tune & {(p.beat, p.string) for p in bar.plucks if p.finger == "p"}


def test_a_tune_is_told_where_it_lies() -> None:
    """Every note of a scale in C over C and G lies on the top strings, and the reason counts them."""
    song = with_tune(song_of("C | G | C", "C"), ["C4 D4 E4 F4", "G4 A4 B4 A4", "G4 E4 D4 C4"])
    arrangement = proposed(song, melody=True)
    piece = perform(song, arrangement, PATTERNS, BOOK)
    for bar in piece.bars:
        plucked = [(p.beat, p.midi) for p in bar.plucks if p.stress == ACCENT]
        assert plucked == [(n.beat, n.pitch.midi) for n in bar.tune]
    assert "12 of the tune's 12 notes lie on the top strings" in arrangement.why


def test_a_pick_up_without_a_chord_is_plucked_alone() -> None:
    """G4 A4 B4 before the first chord: three notes on the top strings, no thumb, and all of it in the file."""
    song = with_tune(song_of("N | C | G | C"), ["G4 A4 B4", "C5 G4 E4 G4", "D5 B4 G4 B4", "C5"])
    bars = list(song.parts["Verse"].bars)
    bars[0] = replace(bars[0], beats=Fraction(3))
    song = replace(song, parts={"Verse": Part("Verse", tuple(bars))})
    arrangement = proposed(song, melody=True)
    first = perform(song, arrangement, PATTERNS, BOOK).bars[0]
    assert [(p.beat, p.midi) for p in first.plucks] == [(n.beat, n.pitch.midi) for n in first.tune]
    assert {p.finger for p in first.plucks} <= set("ima")
    assert "12 of the tune's 12 notes lie on the top strings" in arrangement.why
    written = replace(song, arrangements={PLAIN: arrangement})
    again = parse_song(song_text(written), song.id)
    assert perform(again, again.arrangements[PLAIN], PATTERNS, BOOK).bars[0].plucks == first.plucks


def test_without_a_shape_for_it_nothing_is_picked_under_no_chord() -> None:
    """N in a chart: the bar is silent unless an arrangement says what is held there."""
    song = song_of("N | C")
    assert perform(song, proposed(song), PATTERNS, BOOK).bars[0].plucks == ()


def test_a_tune_that_is_not_known_is_told() -> None:
    """Asked to place a tune that the chart does not have, it says so and arranges the rest."""
    assert any("the tune is not known" in why for why in proposed(song_of("C | G"), melody=True).why)


def test_bass_strings_are_the_shapes_own() -> None:
    """The thumb's root of each proposed shape is one of strings 6 to 4."""
    arrangement = proposed(song_of("C | Am | F | G | Dm | E7"))
    for symbol, shape in arrangement.way.shapes.items():
        assert bass_of(shape, Chord.parse(symbol)).r in (6, 5, 4)

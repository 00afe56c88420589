"""How well the ear hears each kind of recording: `python -m tests.bench.bench_hearing [WORD ...]`. Asserts nothing.

Only kinds whose name holds every WORD. Times are of the processor, on one core; the recordings are of
tests/outside/hearing_judge.py, and their sound fonts need FluidSynth.

onsets F   of the onset finder alone (from the first beat on), within 50 ms; plucks together are one
F          of the plucks as heard, with the extra ones
hit        plucks truly hit that are told as hit; wrong, missed, unsure: what the others are told as
missed     told, of the plucks truly missed; wrong: told, of the wrong ones; named: on the string that sounded
extra      told, of the extra plucks, and how many were told that nobody plucked
ms         error of time: half of the hits within, 95 % of them, 95 % of those in no pinch; without the constant (const)
verdict    as heard / as a perfect ear would give it
cost       seconds of processor for a second of sound
With no WORD a take of ten minutes comes last.
"""

from __future__ import annotations

import os
import sys
import time
from statistics import mean

from coach.ear.hearing import hear
from coach.ear.onsets import onsets
from coach.ear.report import report
from tests.outside.hearing_judge import CHORDS, KINDS, STEADY, Judged, f_measure, judged, kind, meant, perfectly_heard
from tests.outside.recordings import missing, recorded, score, together

HEAD = (
    f"{'recording':34} {'onsets F':>8} {'F':>6} {'hit':>6} {'wrong':>6} {'missed':>6} {'unsure':>6}  "
    f"{'missed':>6} {'wrong':>6} {'named':>6} {'extra':>10}  "
    f"{'ms':>5} {'95 %':>6} {'alone':>6} {'const':>6}  {'verdict':17} {'cost':>6}"
)


def percent(share: float | None) -> str:
    """A share to a tenth of a percent, or a dot."""
    return "." if share is None else f"{100 * share:.1f}"


def row(name: str) -> tuple[str, Judged]:
    """One kind of recording."""
    of = kind(name)
    rows = meant(of.score)
    start = time.process_time()
    told = hear(of.sound, of.rate, rows)
    said = report(told).as_json()
    spent = time.process_time() - start
    found = together(o.time_s for o in onsets(of.sound, of.rate))
    begin = of.truth.onsets[0] - 0.1
    f = f_measure(of.truth.onsets, [t for t in found if t > begin])
    j = judged(told, of)
    verdicts = f"{said['verdict']}/{report(perfectly_heard(of)).as_json()['verdict']}"
    extra = f"{percent(j.extra_told)} +{j.false_extra}"
    shares = " ".join(f"{percent(x):>6}" for x in (j.hits, j.false_wrong, j.false_missed, j.unsure))
    told_of = " ".join(f"{percent(x):>6}" for x in (j.missed_told, j.wrong_told, j.string_named))
    line = (
        f"{name:34} {f:8.3f} {j.f:6.3f} {shares}  {told_of} {extra:>10}  "
        f"{j.error_ms:5.1f} {j.error95_ms:6.1f} {j.alone95_ms:6.1f} {j.constant_ms:6.1f}  "
        f"{verdicts:17} {spent / of.seconds:6.4f}"
    )
    return line, j


def long_take() -> None:
    """Ten minutes of the model at one go."""
    of = recorded(score("outside-in", CHORDS, 96, loops=60), STEADY, seed=99)
    rows = meant(of.score)
    start = time.process_time()
    told = hear(of.sound, of.rate, rows)
    spent = time.process_time() - start
    print(f"ten minutes: {spent:.1f} s of processor; hit {100 * judged(told, of).hits:.1f} %")


def main(words: list[str]) -> None:
    """Measure and print."""
    if "OPENBLAS_NUM_THREADS" not in os.environ:  # its threads wait by spinning, which would be counted as work
        again = [sys.executable, "-m", "tests.bench.bench_hearing", *words]
        os.execve(sys.executable, again, os.environ | {"OPENBLAS_NUM_THREADS": "1"})
    names = [n for n in KINDS if all(w in n for w in words) and not (missing() and not n.startswith("model"))]
    if missing():
        print(f"{missing()}: only the model's recordings")
    print(HEAD)
    all_of = []
    for name in names:
        line, j = row(name)
        print(line, flush=True)
        all_of.append(j)
    if not words:
        long_take()
    if all_of:
        print(f"{'mean':34} {'':8} {mean(j.f for j in all_of):6.3f} {100 * mean(j.hits for j in all_of):6.1f}")


if __name__ == "__main__":
    main(sys.argv[1:])

"""The sound as it leaves the machine: our engine on a JACK server, recorded by another program on the wire.

JACK 2 with its dummy driver (a general audio server, run as it is) and jack_capture; MIDI over the same server
through mido and rtmidi. Times are those of the server's own sample counter. About 45 s in all; with
`COACH_TEST_EFFORT=3` the stage is heard for a minute.
"""

from __future__ import annotations

import subprocess
import time
from pathlib import Path

import numpy as np
import pytest

from coach.log.ledger import Ledger
from tests.effort import EFFORT
from tests.jack_rig import RATE, JackServer, goes_first, jack_server, require_jack, tries
from tests.sound.hands import onsets
from tests.terminal_rig import Terminal

pytestmark = pytest.mark.jack


def said(program: subprocess.Popen[bytes], limit_s: float) -> list[str]:
    """Everything the program printed, once it has ended; its errors count as failure."""
    out, errors = program.communicate(timeout=limit_s)
    assert program.returncode == 0, errors.decode()
    return out.decode().splitlines()


def test_the_stage_on_the_wire(tmp_path: Path) -> None:
    """The whole coach plays 120 bpm while its screen glides at 160x45: 24000 samples between clicks, 1 off at most."""
    seconds = min(20 * EFFORT, 60)
    (tmp_path / "settings.toml").write_text('ramp = "steady"\nguide = "off"\ncautions_seen = true\n')
    # Heard before, so that no model pass with guide notes comes first.
    with Ledger(tmp_path / "ledger.sqlite3") as ledger:
        ledger.add_whole_take("outside-in", 120, "held", 4)

    def play(server: JackServer) -> None:
        with server.recording("coach:playback0", seconds) as take:
            stage = Terminal("-m", "coach", "drill", "outside-in", "--tempo", "120", home=str(tmp_path), env=server.env)
            goes_first(stage.pid)
            stage.drain()
            try:
                recorded = take()
                painted = stage.bytes
            finally:
                stage.close()
        found = np.array(onsets(recorded))
        assert len(found) > 2 * seconds - 10
        off = found - found[0] - 24000 * np.arange(len(found))
        assert np.max(np.abs(off)) <= 1
        assert np.max(np.abs(recorded)) <= 0.501
        assert painted > 16_000 * seconds, "the screen was not drawing"

    tries(play)


def test_a_server_that_dies_and_comes_back() -> None:
    """The server is killed while playing: it is said, bars go on by the timer, and sound returns with the server."""
    require_jack()
    with jack_server() as server:
        program = server.run(["-m", "tests.play_click", "12"])
        server.wait_port("coach:playback0")
        time.sleep(1.0)
        server.kill()
        time.sleep(1.5)
        server.begin()
        lines = said(program, 30)
    troubles = [line for line in lines if line.startswith("trouble")]
    assert troubles[:1] == ["trouble The sound device has stopped answering; going on silently and trying it again."]
    assert "trouble The sound is back." in troubles
    assert [line for line in lines if line.startswith("bar")] == [f"bar {n}" for n in range(6)]
    frames, walls = np.array([[float(x) for x in line.split()[1:]] for line in lines if line.startswith("at")]).T
    steps = np.diff(frames) / RATE - np.diff(walls)
    # Where the device is lost or found again the position may move by the latency (120 ms), not more; else not at all.
    assert np.max(np.abs(steps)) < 0.130
    assert np.count_nonzero(np.abs(steps) > 0.020) <= 3


def test_midi_through_the_server() -> None:
    """Two bars of picking and click sent over JACK MIDI arrive whole, in order, none before its time."""

    def play(server: JackServer) -> None:
        lines = said(server.run(["-m", "tests.play_midi", "2"]), 30)
        assert [line for line in lines if line.startswith("trouble")] == []
        got = [(float(line.split()[1]), line.split(maxsplit=2)[2]) for line in lines if line.startswith("got")]
        assert [message for _, message in got[:2]] == ["C0 19", "C2 49"]
        on = [(when, message.split()) for when, message in got if message[0] == "9"]
        beats = [0, 0, 0, 1, 1, 1.5, 2, 2, 2.5, 3, 3, 3.5]
        meant = [0.5 * (4 * bar + beat) for bar in range(2) for beat in beats]
        assert len(on) == len(meant)
        late = [when - due for (when, _), due in zip(on, meant, strict=True)]
        assert min(late) > -0.002
        assert float(np.median(late)) < 0.1  # a server period is 43 ms; a note sent a beat late would be 250
        clicks = [message[1] for _, message in on if message[0] == "99"]
        assert clicks == ["4C", "4D", "4D", "4D"] * 2
        thumb = [message[1] for _, message in on if message[0] == "90" and message[1] in ("30", "34")]
        assert thumb == ["30", "34", "30", "34"] * 2

    tries(play)

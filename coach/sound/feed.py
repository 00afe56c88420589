"""What the sound card's callback touches: blocks of ready bytes in a chain, and the place in it.

    block 0 ──next──> block 1 ──next──> block 2 ──next──> (not mixed yet)
              ▲
            feed.frame

The callback only slices bytes and moves on. It takes no lock, calls no numpy and makes nothing. The engine's thread
hangs new blocks on the chain, and may hang another block in the place of one that has not been taken. That is safe
without a lock, because each side first writes and then reads:

    callback at the end of a block:   1. block.closed = True      2. after = block.next    3. block.taken = after
    engine changing what comes next:  1. block.next = another     2. look at block.closed

If the engine finds the block open, its own write came before the callback's reading, so the other block will be
taken. If it finds it closed, the callback was there at the same moment; the engine waits (the callback does not)
until `taken` says which of the two it was, and when it was the old one the change comes one bar later.
"""

from __future__ import annotations

BYTES_PER_FRAME = 8  # two channels of float32


class Block:
    """Frames `start` <= f < `end` as float32 stereo bytes. `last`: silence follows, and that is meant."""

    __slots__ = ("closed", "data", "end", "last", "next", "start", "taken")

    def __init__(self, start: int, end: int, data: bytes, *, last: bool = False) -> None:
        self.start = start
        self.end = end
        self.data = data
        self.last = last
        self.next: Block | None = None
        self.closed = False
        self.taken: Block | None = None


class Feed:
    """A place in the chain. `frame` is the next one to be handed over, `asked` the size of the last request."""

    def __init__(self, block: Block, frame: int = 0) -> None:
        self.block = block
        self.frame = frame
        self.asked = 0
        self.starved = 0  # frames of silence handed over because nothing was ready
        self.final: Block | None = None  # from its start on this is played instead: how a run is faded out

    def fill(self, frames: int) -> bytes:
        """The next `frames` frames, `BYTES_PER_FRAME` bytes each. Called on the audio thread."""
        at, end = self.frame, self.frame + frames
        parts = []
        while at < end:
            final = self.final
            if final is not None and at >= final.start:
                parts.append(_cut(final, at, end))
                break
            block = self.block
            if at >= block.end:
                if self._pass(block):
                    continue
                if not block.last:
                    self.starved += end - at
                parts.append(bytes((end - at) * BYTES_PER_FRAME))
                break
            stop = min(end, block.end) if final is None else min(end, block.end, final.start)
            parts.append(_cut(block, at, stop))
            at = stop
        self.asked = frames
        self.frame = end
        return parts[0] if len(parts) == 1 else b"".join(parts)

    def advance(self, frame: int) -> None:
        """Hand over nothing but be at `frame`, or as far as is mixed: how a run goes on without a sound card."""
        while frame >= self.block.end:
            if not self._pass(self.block):
                frame = max(self.block.end, self.frame) if not self.block.last else frame
                break
        self.frame = max(frame, self.frame)

    def _pass(self, block: Block) -> bool:
        """On to the block after this one, if there is one (the order of these lines matters: see above)."""
        block.closed = True
        after = block.next
        if after is None:
            return False
        block.taken = after
        self.block = after
        return True


def _cut(block: Block, start: int, end: int) -> bytes:
    """Frames `start` to `end` of a block, silence where it has none."""
    first, last = (start - block.start) * BYTES_PER_FRAME, (end - block.start) * BYTES_PER_FRAME
    if first < 0:
        return bytes(min(-first, last - first)) + block.data[: max(last, 0)]
    piece = block.data[first:last]
    return piece if len(piece) == last - first else piece + bytes(last - first - len(piece))

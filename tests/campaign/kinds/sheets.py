"""Lead sheets as MusicXML, plain and zipped, that are damaged, endless or try to read other files."""

from __future__ import annotations

import io
import re
import zipfile
from pathlib import Path
from random import Random

from tests.campaign import homes, mutate
from tests.campaign.call import call, fault
from tests.campaign.kind import Kind
from tests.song.sheets import attributes, harmony, note, sheet

LONGEST_IMPORT_S = 20  # of processor; on an idle machine half of it should do
SECRET = "lantern behind the seventh door"
CONTAINER = '<?xml version="1.0"?><container><rootfiles><rootfile full-path="{}"/></rootfiles></container>'


def _sheet(rng: Random) -> str:
    bars = []
    for k in range(rng.choice((1, 4, 9))):
        head = (
            attributes(rng.randrange(-7, 8), rng.choice(("4/4", "3/4", "6/8"))) if not k or rng.random() < 0.2 else ""
        )
        notes = "".join(
            note(rng.choice(("-", "D4", "F#4", "Bb4")), rng.choice((0.5, 1, 2)), rng.choice(("", "fer-", "ry|bell")))
            for _ in range(rng.randrange(1, 6))
        )
        chord = harmony(rng.choice("CDFGA"), rng.choice(("major", "minor", "dominant", "half-diminished")))
        repeat = '<barline location="right"><repeat direction="backward"/></barline>' if rng.random() < 0.2 else ""
        bars.append(head + chord + notes + repeat)
    return sheet(bars)


def _damaged(rng: Random, written: str, folder: Path) -> str | bytes:
    way = rng.choice((0, 0, 0, 5, 6, 6, 7, 7, 7, 8, 8, 9, 10, 11))
    if way == 0:
        return mutate.text(rng, written)
    if way == 5:
        return mutate.blind(rng, written.encode())
    if way == 6:  # many notes of no length, or many of all
        grace = "<note><grace/><pitch><step>D</step><octave>4</octave></pitch><voice>1</voice></note>"
        many = rng.choice(
            (grace, note("D4", 0.25), harmony("C"), "<measure/>", "<backup><duration>1</duration></backup>")
        )
        return written.replace(
            "</harmony>", "</harmony>" + many * rng.choice((300, 3000, 3000, 20000)), rng.choice((1, -1))
        )
    if way == 7:  # an element less, or another in its place, one of them or all
        name = rng.choice(sorted(set(re.findall(r"<([a-z-]+)>", written))))
        by = rng.choice(("", "<gone/>", f"<{name}/>"))
        return re.sub(rf"(?s)<{name}>.*?</{name}>", by, written, count=rng.choice((0, 1)))
    if way == 8:
        name = rng.choice(("fifths", "divisions", "beats", "beat-type", "octave", "duration", "root-alter", "alter"))
        number = rng.choice((*mutate.NUMBERS, "40", "-300", "1000000"))
        return written.replace(f"</{name}>", f"</{name}><{name}>{number}</{name}>", rng.choice((1, -1)))
    if way == 9:  # another file, named from inside the document
        secret = folder / "secret.txt"
        secret.write_text(SECRET)
        url = rng.choice((secret.as_uri(), str(secret), "secret.txt"))
        entity = written.replace(
            "<!DOCTYPE score-partwise PUBLIC", f'<!DOCTYPE score-partwise [<!ENTITY e SYSTEM "{url}">]><!--'
        )
        return entity.replace('partwise.dtd">', 'partwise.dtd">-->').replace("Ferry", "&e;").replace("fer", "&e;")
    if way == 10:  # entities of entities
        names = "".join(f'<!ENTITY e{k} "{f"&e{k - 1};" * 10 if k else "row "}">' for k in range(rng.choice((4, 9))))
        begin = written.index("<!DOCTYPE")
        end = written.index(">", begin) + 1
        return f"{written[:begin]}<!DOCTYPE score-partwise [{names}]>{written[end:]}".replace("Ferry", "&e8;")
    deep = rng.choice((100, 5000))
    return written.replace("<part ", "<x>" * deep + "</x>" * deep + "<part ")


def _zipped(rng: Random, inner: bytes) -> bytes:
    made = io.BytesIO()
    root = rng.choice(("sheet.xml", "sheet.xml", "../sheet.xml", "none.xml", "", "META-INF/container.xml"))
    with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("META-INF/container.xml", CONTAINER.format(root))
        archive.writestr("sheet.xml", inner if rng.random() < 0.8 else b" " * (300 << 20))
    return mutate.blind(rng, made.getvalue()) if rng.random() < 0.4 else made.getvalue()


def musicxml(rng: Random, folder: Path) -> str | None:
    """A damaged lead sheet is brought in or refused in a sentence, soon, and no other file is read for it."""
    home = homes.make_home(folder)
    written = _damaged(rng, _sheet(rng), folder)
    inner = written if isinstance(written, bytes) else written.encode("utf-8", "surrogatepass")
    zipped = rng.random() < 0.25
    path = folder / ("sheet.mxl" if zipped else "sheet.musicxml")
    path.write_bytes(_zipped(rng, inner) if zipped else inner)
    before = homes.keep(home)
    said = call(["song", "import", path.name, "--name", "brought"], folder, cpu_s=LONGEST_IMPORT_S)
    found = homes.first(fault(said), before.lost(), homes.parts(folder))
    brought = home / "songs" / "brought.song.toml"
    if not found and SECRET in said.out + said.err + (brought.read_text() if brought.exists() else ""):
        found = "another file was read for an entity"
    if not found and said.code == 0:
        found = fault(call(["song", "check", str(brought)], folder), codes=(0,))
    return found


KINDS = (Kind("musicxml", musicxml),)

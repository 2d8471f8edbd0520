"""Attacks by files: pictures, recordings, proofs, backups and expedition files that a stranger hands on.

Each is opened by the command as people run it, a process of its own: it must end with words, within its time, without
a traceback, and without a byte that acts on a terminal (ECMA-48). Pictures: PNG (W3C), JPEG (ITU-T T.81), WebP.
"""

import asyncio
import io
import os
import sys
import tarfile
import zipfile
from asyncio.subprocess import PIPE
from functools import partial
from pathlib import Path

from PIL import Image

from abuse_attack import Attack
from abused import PATIENCE_S, PLACE, World
from canaries import Scanner
from canary_photo import photo
from relay.shell.locked.identities import new_identity
from relay.shell.locked.locking import encrypt_stream
from ship_process import ROOT
from spoilt_recordings import evil, spoilt
from test_opening import PLAN, TOLD, _archive
from test_still_file import animated, bomb, gif, original

ODD = ("body: a moment", "row: more than any", "vehicles: nothing", "delay_s: a text", "1000 deep", "target: a map")

COMMANDS = ("show", "verify", "brief", "export", "report", "publish")
ELSEWHERE = Path("/tmp/offing-evil")


async def command(*arguments: object) -> tuple[int, str]:
    """Run a command of Offing; return how it ended and all that it said, which must be fit for a terminal."""
    words = [sys.executable, "-m", "relay", *map(str, arguments)]
    environment = {**os.environ, "PYTHONPATH": ROOT}
    process = await asyncio.create_subprocess_exec(*words, stdout=PIPE, stderr=PIPE, env=environment)
    try:
        out, err = await asyncio.wait_for(process.communicate(), PATIENCE_S)
    except TimeoutError:
        process.kill()
        raise AssertionError(f"{arguments[0]} hung") from None
    said = (out + err).decode()
    assert "Traceback" not in said, f"{arguments[0]}: {said[-200:]}"
    assert all(letter.isprintable() or letter in "\n\t" for letter in said), f"{arguments[0]} let a letter act"
    assert process.returncode is not None
    return process.returncode, said


async def pictures(world: World, count: int = 7) -> str:
    """Tell a still of each: a bomb, one that moves, a script, one cut off, no picture at all; or of the first few."""
    path, refused = world.folder / "picture", 0
    script = b'<svg xmlns="http://www.w3.org/2000/svg" onload="alert(1)"/>'
    bad = [bomb(), animated("PNG"), script, original("JPEG")[:9_000], animated("WEBP"), gif(), b"%!PS-Adobe-3.0\n"]
    tell = ["tell", world.expedition, "say", "The bell.", "--looked", "--still"]
    for data in bad[:count]:
        path.write_bytes(data)
        code, said = await command(*tell, path)
        assert code == 2 and str(path) in said, said
        refused += 1
    return f"{refused} refused in words"


async def polyglot(world: World) -> str:
    """Tell a still of a photograph with its place in every carrier, that is a ZIP and a page, too."""
    path, archive = world.folder / "photo.jpg", io.BytesIO()
    with zipfile.ZipFile(archive, "w") as file:
        file.writestr("place.txt", f"{PLACE[0]} {PLACE[1]}")
    path.write_bytes(photo(PLACE) + b"<script>alert(1)</script>" + archive.getvalue())
    assert Scanner([PLACE]).find(path.read_bytes()), "the photograph tells no place"
    code, said = await command("tell", world.expedition, "say", "The bell, from ahead", "--looked", "--still", path)
    assert code == 0, said
    for _ in range(20):
        await world.reached(1)
        told = [frame for frame in world.followers[1].frames if b"from ahead" in frame]
        if told:
            break
    (frame,) = told
    jpeg = frame[frame.index(b"\xff\xd8") : frame.rindex(b"\xff\xd9") + 2]
    with Image.open(io.BytesIO(jpeg)) as read:
        assert read.format == "JPEG" and not read.getexif()
    assert Scanner([PLACE]).find(frame) == [] and b"script" not in frame and not zipfile.is_zipfile(io.BytesIO(jpeg))
    return f"a picture of {len(jpeg)} octets reached followers, and of the rest nothing"


async def recordings(world: World, names: tuple[str, ...] = COMMANDS) -> str:
    """Open recordings whose texts are hostile, and such as no relay writes, by each command that takes one."""
    path, out, count = world.folder / "dive-001.recording", world.folder / "made", 0
    commands = {
        "show": [], "verify": [], "brief": ["-o", f"{out}.b.html"], "export": ["-o", f"{out}.csv"],
        "report": ["--html", f"{out}.html"], "publish": ["--out", f"{out}"],
    }  # fmt: skip
    path.write_bytes(evil())
    for name in names:
        more = commands[name]
        code, said = await command(name, path, *more)
        assert code == (2 if name == "publish" else 0), f"{name}: {said}"
        assert name != "publish" or "aren't published" in said, said
        count += 1
    pages = [path.read_text() for path in world.folder.glob("made*.html")]
    assert len(pages) == len({"brief", "report"} & set(names)), "a page wasn't made"
    for made in pages:
        assert "window.owned" in made and "<script>window.owned" not in made and "<img src=x" not in made
    odd = spoilt()
    for name, wrong in [both for both in zip(commands, ODD, strict=True) if both[0] in names]:
        path.write_bytes(odd[wrong])
        code, said = await command(
            name, path, *commands[name], *([] if name in ("show", "verify", "publish") else ["--force"])
        )
        assert code == (0 if name == "verify" else 2), f"{name}, {wrong}: {said}"  # which judges signatures alone
        count += 1
    return f"{count} commands ended in words; no text of theirs is markup or acts on a terminal"


async def proofs(world: World, count: int = 5) -> str:
    """Verify proofs that are none: noise, nested too deep, of endless length, with hostile names; or the first few."""
    path, sound = world.folder / "x.proof", world.folder / "dive-001.recording"
    sound.write_bytes(evil())
    bad = [b"[" * 100_000, os.urandom(5_000), b'{"format": "' + b"\x1b[2J" * 1_000, b"\xdd\xff\xff\xff\xff", b""]
    for data in bad[:count]:
        path.write_bytes(data)
        code, said = await command("verify", path, sound)
        assert code == 2 and "WRONG" in said.partition(str(path))[2], said
    return f"{len(bad[:count])} refused in words"


async def backups(world: World, count: int = 7) -> str:
    """Open backups that would lay files elsewhere, or links and devices, encrypted rightly; or the first few."""
    folder, refused = world.folder / "received", 0
    folder.mkdir()
    line = new_identity(folder / "me.key")
    kinds = [tarfile.SYMTYPE, tarfile.LNKTYPE, tarfile.CHRTYPE]
    bad = [_archive(TOLD, (name, b"x")) for name in ("../evil", str(ELSEWHERE), "private/../../evil", "a\0b")]
    bad += [_archive(TOLD, PLAN, ("private/a", b""), kind=kind, link="/etc/passwd") for kind in kinds]
    for data in bad[:count]:
        code, said = await handed_on(folder, data, line)
        assert code == 2 and not (folder / "site").exists(), said
        assert not (folder.parent / "evil").exists() and not os.access(ELSEWHERE, os.F_OK)
        refused += 1
    code, said = await handed_on(folder, _archive(TOLD, PLAN), line)
    assert code == 0 and (folder / "site" / PLAN[0]).read_bytes() == PLAN[1], f"nor is a sound one opened: {said}"
    return f"{refused} refused, nothing laid anywhere; a sound one is opened"


async def handed_on(folder: Path, data: bytes, line: str) -> tuple[int, str]:
    """Encrypt a backup to whoever opens it, and open it as they would."""
    (folder / "a.age").unlink(missing_ok=True)
    encrypt_stream(lambda out: (out.write(data), None)[1], folder / "a.age", [line])
    return await command("open", folder / "a.age", "--identity", folder / "me.key", "--out", folder / "site")


async def expeditions(world: World) -> str:
    """Check expedition files whose names turn, hide, break lines and command a terminal."""
    text, path = world.expedition.read_text(), world.expedition.parent / "EVIL.toml"
    names = ["\\u001b[2J", "a\\nVerified", "a\\u202eb", "a\\u0000b", "../../evil\\r"]
    (at,) = [number for number, line in enumerate(text.splitlines(), 1) if "The search for the Isoline Marr" in line]
    for name in names:
        path.write_text(text.replace("The search for the Isoline Marr", name))
        code, said = await command("check", path)
        assert code == 2 and f"line {at}" in said, said
    path.write_text(text.replace("The search for the Isoline Marr", "<script>alert(1)</script>"))
    code, said = await command("check", path)
    assert code == 0, said
    path.unlink()
    return f"{len(names)} refused with their line; markup is a name like any other"


ATTACKS = [
    Attack(
        "pictures: a bomb, moving, cut off, script, none",
        "refused in words",
        pictures,
        True,
        partial(pictures, count=2),
    ),
    Attack(
        "a picture that is a ZIP and a page, with its place in nine carriers",
        "its pixels alone leave",
        polyglot,
        True,
        polyglot,
    ),
    Attack(
        "recordings that a stranger made, opened by six commands",
        "words; no traceback, no escape",
        recordings,
        True,
        partial(recordings, names=("brief",)),
    ),
    Attack("proofs that are none", "refused in words", proofs, True, partial(proofs, count=2)),
    Attack(
        "backups that lay files elsewhere",
        "refused, nothing laid; a sound one is opened",
        backups,
        True,
        partial(backups, count=1),
    ),
    Attack("expedition files with hostile names", "refused with the line", expeditions, True),
]

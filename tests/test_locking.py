"""Files encrypted: by published vectors, by hand on another library, whole or not at all, never over another."""

import json
import os
import stat
import subprocess
import sys
from hashlib import sha256
from pathlib import Path
from typing import Any, BinaryIO

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pyrage import x25519

import age_by_hand
from relay.core.errors import LockingError, OperatorError
from relay.shell.locked import locking
from relay.shell.locked.locking import (
    Key,
    LockedTo,
    encrypt_bytes,
    encrypt_file,
    encrypt_stream,
    locked_to,
    open_bytes,
    open_file,
)

VECTORS = json.loads((Path(__file__).with_name("vectors") / "age.json").read_text())["vectors"]
SIZES = [0, 1, 65_535, 65_536, 65_537, 131_072, 200_000]


@pytest.fixture
def identity() -> Any:
    """Return a private key of nobody's."""
    return x25519.Identity.generate()


@pytest.mark.parametrize("vector", VECTORS, ids=lambda vector: vector["name"])
def test_published_vectors_open_or_are_refused(vector: dict[str, str], tmp_path: Path) -> None:
    """Each vector of C2SP/CCTV (folder age/) opens to the payload it names, or nothing is written."""
    data = bytes.fromhex(vector["hex"]) if "hex" in vector else vector["text"].encode()
    (tmp_path / "vector.age").write_bytes(data)
    key = Key(passphrase=vector["passphrase"]) if "passphrase" in vector else _key(vector["identity"])
    if vector["expect"] == "success":
        open_file(tmp_path / "vector.age", tmp_path / "out", key)
        assert sha256((tmp_path / "out").read_bytes()).hexdigest() == vector["payload_sha256"]
    else:
        with pytest.raises(LockingError):
            open_file(tmp_path / "vector.age", tmp_path / "out", key)
        assert [path.name for path in tmp_path.iterdir()] == ["vector.age"]


def _key(*lines: str) -> Key:
    return Key(tuple(map(x25519.Identity.from_str, lines)))


@pytest.mark.parametrize("size", SIZES)
def test_files_open_by_hand_and_those_made_by_hand_open_here(size: int, identity: Any, tmp_path: Path) -> None:
    """Both directions agree with the specification worked out on `cryptography`, at the limits of a chunk."""
    data, secret = os.urandom(size), age_by_hand.secret_of(str(identity))
    (tmp_path / "plain").write_bytes(data)
    encrypt_file(tmp_path / "plain", tmp_path / "locked.age", [str(identity.to_public())])
    assert age_by_hand.opened((tmp_path / "locked.age").read_bytes(), secret=secret) == data
    public = age_by_hand.X25519PrivateKey.from_private_bytes(secret).public_key().public_bytes_raw()
    by_hand = age_by_hand.sealed(data, public, os.urandom(16), os.urandom(32), os.urandom(16))
    (tmp_path / "by-hand.age").write_bytes(by_hand)
    open_file(tmp_path / "by-hand.age", tmp_path / "out", _key(str(identity)))
    assert (tmp_path / "out").read_bytes() == data


def test_each_of_several_recipients_opens_it_and_nobody_else(identity: Any, tmp_path: Path) -> None:
    """A file for two is opened by either; a third is told whom to ask."""
    second, stranger = x25519.Identity.generate(), x25519.Identity.generate()
    encrypt_stream(
        lambda out: _write(out, b"as found"), tmp_path / "a.age", [str(k.to_public()) for k in (identity, second)]
    )
    for number, one in enumerate((identity, second)):
        open_file(tmp_path / "a.age", tmp_path / f"out{number}", _key(str(one)))
        assert (tmp_path / f"out{number}").read_bytes() == b"as found"
    with pytest.raises(LockingError, match="was encrypted to somebody else's key"):
        open_file(tmp_path / "a.age", tmp_path / "out", _key(str(stranger)))
    with pytest.raises(LockingError, match="encrypted to a key, not to a passphrase"):
        open_file(tmp_path / "a.age", tmp_path / "out", Key(passphrase="five words drawn by dice"))
    assert not (tmp_path / "out").exists()


def _write(out: BinaryIO, data: bytes) -> None:
    out.write(data)


@pytest.mark.slow
@settings(max_examples=120, deadline=None)
@given(st.data())
def test_no_bit_of_a_file_can_be_changed_nor_its_end_cut(draw: st.DataObject) -> None:
    """Any flipped bit, any cut and anything appended is found, and nothing is given out of it."""
    data, key = _locked_once()
    match draw.draw(st.sampled_from(["flip", "cut", "append"])):
        case "flip":
            at, bit = draw.draw(st.integers(0, len(data) - 1)), draw.draw(st.integers(0, 7))
            bad = data[:at] + bytes([data[at] ^ 1 << bit]) + data[at + 1 :]
        case "cut":
            bad = data[: draw.draw(st.integers(0, len(data) - 1))]
        case _:
            bad = data + draw.draw(st.binary(min_size=1, max_size=40))
    with pytest.raises(LockingError):
        open_bytes(bad, key, Path("it"))


_ONCE: list[tuple[bytes, Key]] = []


def _locked_once() -> tuple[bytes, Key]:
    """Return a file of three chunks in one process's memory, binary, with what opens it."""
    if not _ONCE:
        identity = x25519.Identity.generate()
        public = bytes(
            age_by_hand.X25519PrivateKey.from_private_bytes(age_by_hand.secret_of(str(identity)))
            .public_key()
            .public_bytes_raw()
        )
        data = age_by_hand.sealed(os.urandom(150_000), public, os.urandom(16), os.urandom(32), os.urandom(16))
        assert len(open_bytes(data, _key(str(identity)), Path("it"))) == 150_000
        _ONCE.append((data, _key(str(identity))))
    return _ONCE[0]


def test_a_torn_file_is_not_given_out_in_part(identity: Any, tmp_path: Path) -> None:
    """A file that ends at the end of a chunk, as one that was cut on its way may, opens to nothing at all."""
    (tmp_path / "plain").write_bytes(os.urandom(300_000))
    encrypt_file(tmp_path / "plain", tmp_path / "a.age", [str(identity.to_public())])
    whole = (tmp_path / "a.age").read_bytes()
    start = whole.index(b"\n", whole.index(b"\n--- ") + 1) + 17
    (tmp_path / "torn.age").write_bytes(whole[: start + 3 * (65_536 + 16)])
    with pytest.raises(LockingError, match="damaged, cut off or was changed"):
        open_file(tmp_path / "torn.age", tmp_path / "out", _key(str(identity)))
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.age", "plain", "torn.age"]


def test_nothing_is_written_over_and_a_fault_leaves_nothing(identity: Any, tmp_path: Path) -> None:
    """What is there stays as it is; whatever breaks the writing leaves no file and no beginning of one."""
    to, there = [str(identity.to_public())], tmp_path / "there.age"
    there.write_bytes(b"mine")
    with pytest.raises(OperatorError, match="is there already"):
        encrypt_stream(lambda out: _write(out, b"x"), there, to)
    with pytest.raises(OperatorError, match="can't be written"):
        encrypt_stream(lambda out: _write(out, b"x"), tmp_path / "no such folder" / "a.age", to)
    with pytest.raises(LockingError, match="can't be read"):
        encrypt_file(tmp_path / "nothing", tmp_path / "a.age", to)

    def broken(out: BinaryIO) -> None:
        out.write(bytes(1 << 20))
        raise OperatorError("the journal can't be read")

    with pytest.raises(OperatorError, match="the journal can't be read"):
        encrypt_stream(broken, tmp_path / "a.age", to)
    assert [path.name for path in tmp_path.iterdir()] == ["there.age"] and there.read_bytes() == b"mine"


def test_a_full_disk_is_said_and_leaves_nothing(identity: Any, tmp_path: Path) -> None:
    """A disk that takes no more (a limit of the process's on a file's size) is named as that."""
    script = (
        "import resource, signal, sys; from pathlib import Path\n"
        "from relay.shell.locked.locking import encrypt_stream\n"
        "signal.signal(signal.SIGXFSZ, signal.SIG_IGN)\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (1 << 20, 1 << 20))\n"
        "try: encrypt_stream(lambda out: out.write(bytes(4 << 20)), Path(sys.argv[1]), [sys.argv[2]])\n"
        "except Exception as error: print(type(error).__name__, error)\n"
    )
    command = [sys.executable, "-c", script, str(tmp_path / "a.age"), str(identity.to_public())]
    said = subprocess.run(command, check=True, capture_output=True, text=True).stdout
    assert said.startswith("OperatorError") and "can't be written" in said and "nothing was kept" in said
    assert list(tmp_path.iterdir()) == []


def test_a_file_is_for_its_owner_alone(identity: Any, tmp_path: Path) -> None:
    """Whatever is written, encrypted or opened, has mode 0600."""
    encrypt_stream(lambda out: _write(out, b"x"), tmp_path / "a.age", [str(identity.to_public())])
    open_file(tmp_path / "a.age", tmp_path / "out", _key(str(identity)))
    assert {stat.S_IMODE((tmp_path / name).stat().st_mode) for name in ("a.age", "out")} == {0o600}


@pytest.mark.parametrize(
    ("lines", "why"),
    [
        ([], "nobody is named"),
        (["somebody"], "begins with age1"),
        (["age1qqqq"], "copy it whole"),
        ([str(x25519.Identity.generate().to_public())[:-1] + "b"], "copy it whole"),
        ([str(x25519.Identity.generate())], "somebody's private key"),
    ],
)
def test_what_is_nobody_s_line_is_refused_before_anything_is_written(
    lines: list[str], why: str, tmp_path: Path
) -> None:
    """A slip, nobody at all, or a private key in the recipient's place is said, and no secret is repeated."""
    with pytest.raises(LockingError, match=why) as caught:
        encrypt_stream(lambda out: _write(out, b"x"), tmp_path / "a.age", lines)
    assert "AGE-SECRET-KEY-1" not in str(caught.value) and list(tmp_path.iterdir()) == []


def test_what_a_file_is_encrypted_to_is_known_before_it_is_opened(identity: Any, tmp_path: Path) -> None:
    """Keys, a passphrase and what is no such file are told apart, binary or armored."""
    by_name = {vector["name"]: vector for vector in VECTORS}
    (tmp_path / "passphrase").write_text(by_name["armor_scrypt"]["text"])
    (tmp_path / "armored").write_bytes(encrypt_bytes(b"x", _key(str(identity))))
    encrypt_stream(lambda out: _write(out, b"x"), tmp_path / "binary", [str(identity.to_public())])
    assert locked_to(tmp_path / "passphrase") is LockedTo.PASSPHRASE
    assert locked_to(tmp_path / "armored") is locked_to(tmp_path / "binary") is LockedTo.KEYS
    with pytest.raises(LockingError, match="the passphrase isn't the one"):
        open_file(tmp_path / "passphrase", tmp_path / "out", Key(passphrase="Password"))
    (tmp_path / "other").write_bytes(b"PK\3\4 something else")
    with pytest.raises(LockingError, match="isn't encrypted in the age format"):
        locked_to(tmp_path / "other")


def test_a_key_is_never_shown(identity: Any) -> None:
    """What stands for a key in a trace or a log holds neither a private key nor a passphrase."""
    assert repr(Key((identity,), "five words drawn by dice")) == "Key()"


def test_large_files_take_no_more_memory_than_small_ones(identity: Any, tmp_path: Path) -> None:
    """A stream of 192 MiB is encrypted and opened within a few MiB, by a process of its own."""
    script = (
        "import resource, sys; from pathlib import Path\n"
        "from pyrage import x25519\n"
        "from relay.shell.locked.locking import Key, encrypt_stream, open_file\n"
        "me, folder = x25519.Identity.generate(), Path(sys.argv[1])\n"
        "def go(name, blocks):\n"
        "    encrypt_stream(lambda out: [out.write(bytes(1 << 20)) for _ in range(blocks)], folder / name, "
        "[str(me.to_public())])\n"
        "    open_file(folder / name, folder / (name + '.out'), Key((me,)))\n"
        "    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss\n"
        "small = go('small', 4); print(go('large', 192) - small, (folder / 'large.out').stat().st_size)\n"
    )
    done = subprocess.run([sys.executable, "-c", script, str(tmp_path)], check=True, capture_output=True, text=True)
    more_kib, size = map(int, done.stdout.split())
    assert size == 192 << 20 and more_kib < 16 << 10


def test_what_a_passphrase_locks_is_opened_up_to_a_size_and_no_further(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """At the limit it is opened, a byte past it refused, with the way out; the limit itself is 64 MiB."""
    assert locking.SMALL_BYTES == 64 << 20
    vector = next(vector for vector in VECTORS if vector["name"] == "armor_scrypt")
    key, locked = Key(passphrase=vector["passphrase"]), tmp_path / "a.age"
    locked.write_text(vector["text"])
    octets = locked.stat().st_size
    monkeypatch.setattr(locking, "SMALL_BYTES", octets)
    open_file(locked, tmp_path / "out", key)
    assert sha256((tmp_path / "out").read_bytes()).hexdigest() == vector["payload_sha256"]
    monkeypatch.setattr(locking, "SMALL_BYTES", octets - 1)
    with pytest.raises(LockingError, match="any program for the age format opens it"):
        open_file(locked, tmp_path / "other", key)
    assert not (tmp_path / "other").exists()

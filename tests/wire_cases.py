"""Every case of RFC 6455 that a client's frames can make, as bytes and what a server must do: a table to run.

Sources: RFC 6455 (the section stands with each case), RFC 3629 sections 3 and 4 for UTF-8, and for close codes 1012 to
1014 IANA's "WebSocket Close Code Number Registry". Independent of the relay's code and of any library's.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum

from wire_frames import BINARY, CLOSE, CONTINUATION, MASK, PING, PONG, TEXT, frame


class Must(Enum):
    """What a server must do with a case. What it does with a message is its own: see `wire_servers.Role`."""

    FAIL = "fail the connection"
    PONG = "answer each ping, and go on"
    GO_ON = "go on"
    CLOSE = "close with the same code"
    TAKE = "do with a message what it does"
    TAKE_TEXT = "fail for text that isn't UTF-8, or do with a message what it does where it takes none"


@dataclass(frozen=True)
class Case:
    """`raw`: what the client sends behind its handshake; `codes`: that a failing server may give; `pongs`: expected.

    `close`: the code to echo, None for an empty close frame. `octets`: of the messages in it. `lenient`: the RFC
    forbids it to who sends, and doesn't say what who receives must do.
    """

    name: str
    section: str
    raw: bytes
    must: Must
    codes: tuple[int, ...] = (1002,)
    pongs: tuple[bytes, ...] = ()
    close: int | None = None
    octets: int = 0
    lenient: bool = False

    @property
    def leaves(self) -> bool:
        """Whether the client says good-bye behind it: not where it has, or where the server must end it by itself."""
        return self.must not in (Must.CLOSE, Must.TAKE_TEXT)


def fails(name: str, section: str, raw: bytes, *codes: int) -> Case:
    """Return a case that fails the connection, with 1002 where no code is named."""
    return Case(name, section, raw, Must.FAIL, codes or (1002,))


def pongs(name: str, raw: bytes, *payloads: bytes, section: str = "5.5.2") -> Case:
    """Return a case in which pings are answered."""
    return Case(name, section, raw, Must.PONG, pongs=payloads)


def takes(name: str, section: str, raw: bytes, octets: int, *answers: bytes) -> Case:
    """Return a case that is a message, or more."""
    return Case(name, section, raw, Must.TAKE, octets=octets, pongs=answers)


def opcodes() -> Iterator[Case]:
    """Each of the sixteen, empty and with a payload (section 5.2)."""
    for payload in (b"", b"x" * 5):
        words = f"with {len(payload)} octets"
        for opcode in (3, 4, 5, 6, 7, 11, 12, 13, 14, 15):
            yield fails(f"opcode {opcode:#x} {words}", "5.2", frame(opcode, payload))
            yield fails(f"opcode {opcode:#x} {words}, without FIN", "5.2", frame(opcode, payload, fin=False))
        yield fails(f"opcode 0x0 {words}: a continuation of nothing", "5.4", frame(CONTINUATION, payload))
        yield takes(f"opcode 0x1 {words}", "5.6", frame(TEXT, payload), len(payload))
        yield takes(f"opcode 0x2 {words}", "5.6", frame(BINARY, payload), len(payload))
        yield pongs(f"opcode 0x9 {words}", frame(PING, payload), payload)
        yield Case(f"opcode 0xa {words}", "5.5.3", frame(PONG, payload), Must.GO_ON)
    yield Case("opcode 0x8 with 0 octets", "5.5.1", frame(CLOSE), Must.CLOSE)


def reserved_bits() -> Iterator[Case]:
    """Each combination of RSV1 to RSV3 where no extension was agreed (section 5.2)."""
    for rsv in range(1, 8):
        for opcode in (TEXT, BINARY, CLOSE, PING, PONG):
            yield fails(f"RSV {rsv:03b} on opcode {opcode:#x}", "5.2", frame(opcode, b"", rsv=rsv))
        started = frame(BINARY, b"a", fin=False)
        yield fails(f"RSV {rsv:03b} on a continuation", "5.2", started + frame(CONTINUATION, b"b", rsv=rsv), 1002, 1008)
    yield fails("RSV 100 on text with a payload", "5.2", frame(TEXT, b"Hello", rsv=4))


def masks() -> Iterator[Case]:
    """A client masks, with any key (sections 5.1 and 5.3)."""
    for opcode in (CONTINUATION, TEXT, BINARY, CLOSE, PING, PONG):
        for payload in (b"", b"Hello"):
            raw = frame(opcode, payload if opcode != CLOSE or not payload else b"\x03\xe8", mask=None)
            yield fails(f"unmasked opcode {opcode:#x} with {len(payload)} octets", "5.1", raw)
    yield fails("unmasked after masked", "5.1", frame(PONG) + frame(PING, b"x", mask=None))
    yield fails("unmasked, 200 octets", "5.1", frame(BINARY, bytes(200), mask=None))
    for key in (bytes(4), b"\xff" * 4, b"\x00\x00\x00\x01", b"\x80\x00\x00\x00", MASK):
        yield pongs(f"mask {key.hex()}", frame(PING, b"Hello", mask=key), b"Hello", section="5.3")
    for length in range(1, 9):
        payload = bytes(range(1, length + 1))
        yield pongs(f"mask over {length} octets", frame(PING, payload), payload, section="5.3")


def lengths() -> Iterator[Case]:
    """Each border of the three forms, the forms that aren't the shortest, the bit that must be 0 (section 5.2)."""
    for length in (0, 1, 125, 126, 127, 65_535, 65_536, 65_537):
        yield takes(f"binary of {length} octets", "5.2", frame(BINARY, bytes(length)), length)
    for length in (1 << 63, (1 << 63) + 5, (1 << 64) - 1):
        yield fails(f"64-bit length {length:#x}", "5.2", frame(BINARY, form=64, length=length), 1002, 1009)
    for length in (1 << 32, (1 << 63) - 1):
        yield takes(f"64-bit length {length:#x}, not sent", "5.2", frame(BINARY, form=64, length=length), length)
    for opcode in (PING, PONG, CLOSE):
        payload = b"\x03\xe8" + b"x" * 124
        yield fails(f"control frame {opcode:#x} of 126 octets", "5.5", frame(opcode, payload))


def long_forms() -> Iterator[Case]:
    """Lengths that aren't in their shortest form, as who sends must write them (section 5.2)."""
    for length in (0, 5, 125):
        yield _lenient(f"{length} octets in the form of 16 bits", frame(BINARY, bytes(length), form=16))
    for length in (0, 125, 126, 65_535):
        yield _lenient(f"{length} octets in the form of 64 bits", frame(BINARY, bytes(length), form=64))
    for opcode in (PING, PONG, CLOSE):
        for form in (16, 64):
            raw = frame(opcode, b"\x03\xe8abc", form=form)
            yield _lenient(f"control frame {opcode:#x}, 5 octets in the form of {form} bits", raw)


def _lenient(name: str, raw: bytes) -> Case:
    return Case(name, "5.2", raw, Must.FAIL, lenient=True)


def fragments() -> Iterator[Case]:
    """Messages in pieces, with control frames between them, and what isn't a piece (section 5.4)."""
    first, last = frame(TEXT, b"Hel", fin=False), frame(CONTINUATION, b"lo")
    more = frame(CONTINUATION, b"", fin=False)
    yield takes("text in two pieces", "5.4", first + last, 5)
    yield takes("text in four, two of them empty", "5.4", first + more + more + last, 5)
    yield takes("three empty pieces", "5.4", frame(BINARY, b"", fin=False) + more + frame(CONTINUATION), 0)
    yield takes("binary in 128 pieces", "5.4", _in_pieces(128), 128)
    yield takes("a ping between pieces", "5.4", first + frame(PING, b"now") + last, 5, b"now")
    yield takes("a pong between pieces", "5.4", first + frame(PONG, b"now") + last, 5)
    yield takes("two messages in pieces", "5.4", (first + last) * 2, 10)
    yield fails("a new text between pieces", "5.4", first + frame(TEXT, b"x") + last, 1002, 1008)
    yield fails("a new binary between pieces", "5.4", first + frame(BINARY, b"x", fin=False) + last, 1002, 1008)
    yield fails("a continuation after a whole message", "5.4", frame(BINARY, b"x") + last, 1002, 1008)
    yield fails("a continuation after the last piece", "5.4", first + last + last, 1002, 1008)
    yield fails("a continuation of nothing that goes on", "5.4", more + last)
    for opcode in (PING, PONG, CLOSE):
        raw = frame(opcode, b"\x03\xe8", fin=False)
        yield fails(f"control frame {opcode:#x} in pieces", "5.5", raw + frame(CONTINUATION, b"x"))
        yield fails(f"control frame {opcode:#x} without FIN, in a message", "5.5", first + raw + last, 1002, 1008)
    yield fails("a close between pieces", "5.5.1", first + frame(CLOSE, b"\x03\xe8"), 1000, 1002, 1008)


def _in_pieces(count: int) -> bytes:
    pieces = [frame(BINARY if at == 0 else CONTINUATION, b"x", fin=at == count - 1) for at in range(count)]
    return b"".join(pieces)


VALID_CODES = (1000, 1001, 1002, 1003, 1007, 1008, 1009, 1010, 1011, 1012, 1013, 1014, 3000, 3999, 4000, 4999)
INVALID_CODES = (0, 1, 999, 1004, 1005, 1006, 1015, 1016, 1100, 2000, 2999, 5000, 32_768, 65_535)


def closes() -> Iterator[Case]:
    """Close codes, reasons, and what follows a close (sections 5.5.1, 7.1 and 7.4)."""
    for code in VALID_CODES:
        yield Case(f"close {code}", "7.4.1", frame(CLOSE, code.to_bytes(2)), Must.CLOSE, close=code)
    for code in INVALID_CODES:
        yield fails(f"close {code}, which never travels", "7.4", frame(CLOSE, code.to_bytes(2)))
    yield fails("close with one octet", "5.5.1", frame(CLOSE, b"\x03"))
    for reason in (b"x", "später".encode(), "潮".encode() * 41, b"x" * 123):
        raw = frame(CLOSE, b"\x03\xe8" + reason)
        yield Case(
            f"close with a reason of {len(reason)} octets, {len(reason.decode())} characters",
            "5.5.1",
            raw,
            Must.CLOSE,
            close=1000,
        )
    after = frame(CLOSE, b"\x03\xe8")
    yield Case("a ping after the close", "5.5.1", after + frame(PING, b"late"), Must.CLOSE, close=1000)
    yield Case("a second close", "5.5.1", after + frame(CLOSE, b"\x03\xe9"), Must.CLOSE, close=1000)
    yield Case("a message after the close", "5.5.1", after + frame(TEXT, b"late"), Must.CLOSE, close=1000)


def pings() -> Iterator[Case]:
    """Pings of every length that may be, many of them, and pongs that nobody asked for (sections 5.5.2, 5.5.3)."""
    for length in (1, 2, 124, 125):
        payload = bytes((7 * at) % 256 for at in range(length))
        yield pongs(f"ping of {length} octets", frame(PING, payload), payload)
    yield pongs("ten pings", b"".join(frame(PING, bytes([at])) for at in range(10)), *(bytes([at]) for at in range(10)))
    yield pongs("an unasked pong, then a ping", frame(PONG, b"unasked") + frame(PING, b"x"), b"x", section="5.5.3")
    yield pongs("a ping whose payload isn't UTF-8", frame(PING, b"\xff\xfe"), b"\xff\xfe")


VALID_UTF8 = {  # RFC 3629 section 3: the borders of each length, and noncharacters, which it allows
    "the empty text": "",
    "ASCII and NUL": "\x00 \x7f",
    "two octets": "\u0080\u07ff",
    "three octets": "\u0800\ud7ff\ue000\uffff",
    "four octets": "\U00010000\U0010ffff",
    "noncharacters": "\ufdd0\ufffe\U0001fffe",
    "a word of each": "κόσμε 水 🜄",
}
INVALID_UTF8 = {  # RFC 3629 sections 3 and 4
    "a lone continuation 80": "80",
    "a lone continuation bf": "bf",
    "two octets, cut off": "c3",
    "three octets, cut off": "e6b0",
    "four octets, cut off": "f09f9c",
    "an octet of two, then ASCII": "c341",
    "overlong c0 80": "c080",
    "overlong c1 bf": "c1bf",
    "overlong e0 80 80": "e08080",
    "overlong e0 9f bf": "e09fbf",
    "overlong f0 80 80 80": "f0808080",
    "overlong f0 8f bf bf": "f08fbfbf",
    "the surrogate d800": "eda080",
    "the surrogate dfff": "edbfbf",
    "a pair of surrogates": "eda0bdedb880",
    "beyond 10ffff": "f4908080",
    "f5": "f5808080",
    "five octets": "f888808080",
    "six octets": "fc8480808080",
    "fe": "fe",
    "ff": "ff",
}


def texts() -> Iterator[Case]:
    """UTF-8 in text and in reasons: whole, split inside a character, and not UTF-8 (sections 5.6, 7.1.6 and 8.1)."""
    for name, text in VALID_UTF8.items():
        yield takes(f"text: {name}", "5.6", frame(TEXT, text.encode()), len(text.encode()))
    word = "κ水🜄".encode()
    for at in range(1, len(word)):
        raw = frame(TEXT, word[:at], fin=False) + frame(CONTINUATION, word[at:])
        yield takes(f"text split after octet {at} of {len(word)}", "5.6", raw, len(word))
    for name, octets in INVALID_UTF8.items():
        wrong = bytes.fromhex(octets)
        yield Case(f"text: {name}", "8.1", frame(TEXT, wrong), Must.TAKE_TEXT, octets=len(wrong))
        pieces = frame(TEXT, b"Hello ", fin=False) + frame(CONTINUATION, wrong)
        yield Case(f"text, second piece: {name}", "8.1", pieces, Must.TAKE_TEXT, octets=6 + len(wrong))
        yield fails(f"close reason: {name}", "7.1.6", frame(CLOSE, b"\x03\xe8" + wrong), 1007)


GROUPS = {
    "opcodes": opcodes,
    "reserved bits": reserved_bits,
    "masks": masks,
    "lengths": lengths,
    "long forms": long_forms,
    "fragments": fragments,
    "closing": closes,
    "pings": pings,
    "UTF-8": texts,
}


def every() -> Iterator[tuple[str, Case]]:
    """Yield each case with its group."""
    for group, cases in GROUPS.items():
        yield from ((group, case) for case in cases())

"""A fuzz target whose property is wrong for a few inputs that none of its seeds is: the fuzzer must find one."""

from fuzz_target import Target
from relay.core.subscriber import parse_ask


def _check(data: bytes) -> None:
    """Take any dive that a query asks for, but the seventh."""
    ask = parse_ask(data.decode("latin-1"))
    assert ask is None or ask.position is None or ask.position.dive != 7, "planted: the seventh dive"


TARGETS = (Target("planted", _check, [b"audience=public&dive=1&after=0"], 64),)

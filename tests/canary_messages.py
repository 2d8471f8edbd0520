"""Where values stand in MessagePack, by the library alone: whether octets of a message are those of one value."""

import contextlib
from bisect import bisect_right

import msgpack


def ends_of_values(data: bytes) -> list[int]:
    """Return where each value in messages ends, and the head of each list and map; none if `data` isn't just those."""
    unpacker = msgpack.Unpacker(max_buffer_size=len(data) + 1, strict_map_key=False)
    unpacker.feed(data)
    ends, wanted = [0], 0
    with contextlib.suppress(ValueError, msgpack.exceptions.UnpackException):
        while ends[-1] < len(data):
            first = data[ends[-1]]
            if first & 0xF0 == 0x90 or first in (0xDC, 0xDD):
                wanted += unpacker.read_array_header() - bool(wanted)
            elif first & 0xF0 == 0x80 or first in (0xDE, 0xDF):
                wanted += 2 * unpacker.read_map_header() - bool(wanted)
            elif wanted:
                unpacker.skip()
                wanted -= 1
            else:
                return []
            ends.append(unpacker.tell())
        return [] if wanted else ends
    return []


def is_in_one_value(data: bytes, at: int, octets: int) -> bool:
    """Say if so many octets from `at` on may be those of one value: they are, or `data` isn't just messages."""
    ends = ends_of_values(data)
    return not ends or bisect_right(ends, at) == bisect_right(ends, at + octets - 1)

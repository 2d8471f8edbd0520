"""A ship's signer that looks up what it has signed before: for tests that send the same records thousands of times.

A signature follows from the key, the audience and the record alone (`test_seal` holds it to that, by the standard), so
paired runs and restarts get the very bytes that signing again would give.
"""

from functools import lru_cache

from relay.core.seal import Signer


class RememberingSigner(Signer):
    """Signs each record of an audience once."""

    __slots__ = ("_seed",)

    def __init__(self, seed: bytes) -> None:
        self._private, self.key, self._seed = _signer(seed)._private, _signer(seed).key, seed

    def seal(self, audience: str, frame: bytes) -> bytes:
        return _sealed(self._seed, audience, frame)


@lru_cache(1 << 14)
def _sealed(seed: bytes, audience: str, frame: bytes) -> bytes:
    return _signer(seed).seal(audience, frame)


@lru_cache(16)
def _signer(seed: bytes) -> Signer:
    return Signer(seed)

"""The ports that real processes are started on."""

import random
import socket

import pytest

import ship_process
from ship_process import free_port


@pytest.mark.parametrize("kind", [socket.SOCK_STREAM, socket.SOCK_DGRAM])
def test_a_port_that_was_given_is_not_given_again(kind: socket.SocketKind, monkeypatch: pytest.MonkeyPatch) -> None:
    """A site's page and its feed are asked for before either listens, and chance may name one port for both."""

    class Repeating(random.Random):
        """Draws each port three times over."""

        def randrange(self, *edges: int) -> int:  # type: ignore[override]
            if len(self.left) == 0:
                self.left = [super().randrange(*edges)] * 3
            return self.left.pop()

        left: list[int] = []  # noqa: RUF012

    monkeypatch.setattr(ship_process, "_CHANCE", Repeating(7))
    given = [free_port(kind) for _ in range(50)]
    assert len(set(given)) == len(given)

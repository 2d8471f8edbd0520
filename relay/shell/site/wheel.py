"""One timer for every connection: each open one stands on the wheel exactly once and is told when its turn comes.

Rules: no task and no timer handle per connection; time is counted in turns, and who turns the wheel decides
how long a turn is. A wheel with nobody on it means that every connection is gone.
"""

from collections.abc import Iterator
from typing import Protocol


class Connection(Protocol):
    """One connection; `deadline` belongs to the wheel."""

    deadline: int

    def due(self) -> None:
        """Act on the deadline: it is off the wheel, so put it back or end the connection."""
        ...

    def leave(self) -> None:
        """End the connection in good order: the site is going away."""
        ...

    def abort(self) -> None:
        """End the connection at once."""
        ...


class Wheel:
    """Deadlines of connections, in turns."""

    def __init__(self) -> None:
        self._now = 0
        self._standing: dict[int, set[Connection]] = {}

    def __len__(self) -> int:
        return sum(map(len, self._standing.values()))

    def __iter__(self) -> Iterator[Connection]:
        return iter([connection for standing in self._standing.values() for connection in standing])

    def put(self, connection: Connection, turns: int) -> None:
        """Let `connection` be due after `turns` turns, at least one; any earlier deadline of it is dropped."""
        self.remove(connection)
        connection.deadline = self._now + max(1, turns)
        self._standing.setdefault(connection.deadline, set()).add(connection)

    def remove(self, connection: Connection) -> None:
        """Take `connection` off the wheel, if it stands there."""
        standing = self._standing.get(connection.deadline)
        if standing is not None:
            standing.discard(connection)
            if not standing:
                del self._standing[connection.deadline]

    def turn(self) -> None:
        """Let one turn pass and tell everybody whose deadline it was."""
        self._now += 1
        for connection in self._standing.pop(self._now, ()):
            connection.due()

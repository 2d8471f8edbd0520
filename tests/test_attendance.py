"""Connections of guests: each ends with the invitation that let it in."""

import socket

from relay.shell.site.attendance import Attendance, keep_little, throw_away


class Line:
    """A connection that counts how often it was told to go."""

    def __init__(self) -> None:
        self.told = 0

    def uninvited(self) -> None:
        """Count."""
        self.told += 1


def test_connection_is_told_when_its_invitation_ends_and_no_other_is() -> None:
    """One that two invitations let in ends with either; who departed isn't told."""
    attendance = Attendance(8)
    first, second, both, gone = (Line() for _ in range(4))
    for guest_id, line in (("a", first), ("b", second), ("a", both), ("b", both), ("a", gone)):
        assert attendance.attend(guest_id, line)
    attendance.depart(gone)
    attendance.dismiss("a")
    assert [line.told for line in (first, second, both, gone)] == [1, 0, 1, 0]
    assert gone not in attendance
    assert both in attendance


def test_invitation_has_so_many_connections_and_not_one_more() -> None:
    """At the limit one is refused until another departs; the same one again takes no further place."""
    attendance = Attendance(2)
    lines = [Line() for _ in range(3)]
    assert [attendance.attend("a", line) for line in (*lines, lines[0])] == [True, True, False, True]
    assert lines[2] not in attendance
    attendance.depart(lines[0])
    assert attendance.attend("a", lines[2])


def test_nothing_is_kept_of_who_departed() -> None:
    """Whoever comes and goes leaves nothing behind."""
    attendance = Attendance(2)
    for _ in range(100):
        line = Line()
        assert attendance.attend("a", line)
        attendance.depart(line)
        attendance.depart(line)
    attendance.dismiss("a")
    assert len(attendance) == 0


class Transport:
    """What `throw_away` asks of a transport."""

    def __init__(self, line: socket.socket | None) -> None:
        self._line = line

    def get_extra_info(self, name: str) -> socket.socket | None:
        """Return the socket."""
        return self._line if name == "socket" else None


def test_what_is_thrown_away_never_reaches_the_peer() -> None:
    """Bytes that wait in the kernel go with the connection: the peer is reset (RFC 9293, 3.10.4)."""
    with socket.create_server(("127.0.0.1", 0)) as listener, socket.socket() as peer:
        peer.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4_096)
        peer.connect(listener.getsockname())
        line, _ = listener.accept()
        line.setblocking(False)
        written = 0
        try:
            while True:
                written += line.send(b"x" * 65_536)
        except BlockingIOError:
            pass
        throw_away(Transport(line))  # type: ignore[arg-type]
        line.close()
        peer.settimeout(10)
        received = 0
        try:
            while got := peer.recv(65_536):
                received += len(got)
        except ConnectionResetError:
            received = -1
        assert received == -1
        assert written > 100_000
    throw_away(Transport(None))  # type: ignore[arg-type]


def test_kernel_keeps_little_where_little_is_to_be_kept() -> None:
    """It holds no more than twice what was asked for (socket(7)); a transport without a socket is left alone."""
    with socket.create_server(("127.0.0.1", 0)) as listener, socket.create_connection(listener.getsockname()) as line:
        keep_little(Transport(line), 16_384)  # type: ignore[arg-type]
        assert line.getsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF) == 2 * 16_384
    keep_little(Transport(None), 16_384)  # type: ignore[arg-type]

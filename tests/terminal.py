"""A command on a terminal of its own, somebody typing what it asks for."""

import os
import pty
import sys


def on_terminal(words: list[str], answers: list[str]) -> tuple[int, str]:
    """Run Python with these words on a terminal, type an answer at each `: `, and return its code and all it showed."""
    child, terminal = pty.fork()
    if child == 0:
        os.execv(sys.executable, [sys.executable, *words])
    seen, left = b"", list(answers)
    while True:
        try:
            data = os.read(terminal, 4096)
        except OSError:  # the other side has closed it
            break
        if not data:
            break
        seen += data
        if left and seen.endswith(b": "):
            os.write(terminal, left.pop(0).encode() + b"\n")
    os.close(terminal)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), seen.decode()

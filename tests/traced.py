"""What a process did to files and sockets, as the kernel saw it: a trace of strace(1), read.

Every attempt counts, also one that failed. Calls are those that change a file by its name, open one to write, begin a
program, or give a socket an address (syscalls(2)); arguments are printed when a call begins, so that one which another
thread interrupts is read all the same.
"""

import os
import re
import shutil
import subprocess
from dataclasses import dataclass, field
from pathlib import Path

NAMES = "mkdir mkdirat rename renameat renameat2 unlink unlinkat rmdir link linkat symlink symlinkat truncate chmod"
MORE = "fchmodat chown lchown fchownat utime utimes utimensat futimesat mknod mknodat setxattr lsetxattr removexattr"
ROOTS = "mount umount2 pivot_root chroot chdir fchdir open_tree move_mount"
CHANGES = frozenset(f"{NAMES} {MORE} {ROOTS}".split())
OPENS = frozenset("open openat openat2 creat".split())
WRITES = re.compile(r"\bO_(WRONLY|RDWR|CREAT|TRUNC|APPEND|TMPFILE)\b")
CALL = re.compile(r"^(\d+)\s+(\w+)\((.*)$")
QUOTED = re.compile(r'(?:(?:AT_FDCWD|\d+)<([^>]*)>, )?"((?:[^"\\]|\\.)*)"')
INET = re.compile(r'sin_port=htons\((\d+)\), sin_addr=inet_addr\("([^"]+)"\)')
INET6 = re.compile(r'sin6_port=htons\((\d+)\).*?inet_pton\(AF_INET6, "([^"]+)"')
UNIX = re.compile(r'sa_family=AF_UNIX, sun_path=(@?)"([^"]*)"')


@dataclass
class Traced:
    """What was tried: paths written or changed, addresses dialled or sent to, addresses bound, kinds of socket."""

    written: set[Path] = field(default_factory=set)
    dialled: set[str] = field(default_factory=set)
    bound: set[str] = field(default_factory=set)
    families: set[str] = field(default_factory=set)
    started: list[str] = field(default_factory=list)


def tracing(out: Path) -> list[str]:
    """Return the words before a command with which it is traced, threads and children included.

    The process that is begun is the command's own, so it can be signalled; the tracer stands beside it.
    """
    return [
        "strace",
        "-D",
        "-f",
        "-q",
        "-yy",
        "-s",
        "0",
        "--seccomp-bpf",
        "-e",
        "trace=%file,%network",
        "-o",
        str(out),
    ]


def unable(folder: Path) -> str | None:
    """Return why nothing can be traced, and no room shut, here; None where it can."""
    if os.geteuid() != 0:
        return "a mount namespace needs root"
    if shutil.which("strace") is None:
        return "strace isn't installed here"
    tried = [*tracing(folder / "tried"), "unshare", "--mount", "true"]
    done = subprocess.run(tried, check=False, capture_output=True, text=True)
    return None if done.returncode == 0 else f"nothing can be traced here: {done.stderr.strip()}"


def ended(trace: Path) -> bool:
    """Whether the tracer has written down the command's end, which it does a moment after that."""
    text = trace.read_text()
    return bool(text) and re.search(rf"^{text.split()[0]} +\+\+\+ ", text, re.MULTILINE) is not None


def read_trace(text: str, folder: Path, before: int = 1) -> Traced:
    """Return what a command did, from when so many programs before it had become another.

    `folder`: where it was begun, from which paths count that name no other.
    """
    told, programs = Traced(), 0
    for line in text.splitlines():
        if match := CALL.match(line):
            _, call, rest = match.groups()
            if programs > before:
                _take(told, call, rest, folder)
            programs += call == "execve" and rest.endswith("= 0")
    assert programs > before, "the command was never begun"
    return told


def _take(told: Traced, call: str, rest: str, folder: Path) -> None:
    if call in CHANGES or (call in OPENS and (call == "creat" or WRITES.search(QUOTED.sub("", rest)))):
        named = QUOTED.findall(rest)
        told.written |= {folder / (at or ".") / name for at, name in named[call.startswith("symlink") :]}
    elif call == "execve":
        told.started.append(rest)
    elif call == "socket":
        told.families.add(rest.partition(",")[0])
    elif call == "bind":
        told.bound.add(_address(rest))
    elif call in ("connect", "sendto", "sendmsg", "sendmmsg") and (call == "connect" or "sa_family=" in rest):
        told.dialled.add(_address(rest))


def _address(rest: str) -> str:
    """Return the address in a call's words; of a kind that isn't known here, the words themselves."""
    if match := INET.search(rest) or INET6.search(rest):
        return f"{match[2]}:{match[1]}"
    match = UNIX.search(rest)
    return f"{match[1]}{match[2]}" if match else rest

"""The process that holds the embedded servers: starts them, waits until nobody uses them, stops them.

Run as a script of its own with the standard library only. Its one argument names a file with a JSON object: `alive`
and `users` (lock files), `children` (a list, see `start`), `remove` (folders to take away at the end).

Every command that uses the servers holds a shared lock on `users`. The kernel drops that lock however the command
ends, so this process needs no list of process ids and signals nobody but the children it made itself.
"""

import contextlib
import ctypes
import fcntl
import json
import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Callable
from types import FrameType
from typing import Any

PR_SET_PDEATHSIG = 1  # prctl(2)
PATIENCE = 60  # seconds for a clean stop


class Ended(Exception):
    """A child has ended, or somebody asks this process to end."""


def end_with_this_process(last_signal: int) -> Callable[[], None] | None:
    """What a child does before it becomes a server: ask the kernel for a signal when this process is gone."""
    if not sys.platform.startswith("linux"):
        return None
    libc, parent = ctypes.CDLL(None), os.getpid()

    def ask() -> None:
        libc.prctl(PR_SET_PDEATHSIG, last_signal, 0, 0, 0)
        if os.getppid() != parent:
            os._exit(1)

    return ask


def start(child: dict[str, Any]) -> subprocess.Popen[bytes]:
    """Start one server from its `argv`, `cwd`, `env`, `log`, `stop` (signal) and, under root, `uid` and `gid`."""
    account = {}
    if child["uid"] is not None:
        account = {"user": child["uid"], "group": child["gid"], "extra_groups": []}
    # A fresh file: the one before may be another account's.
    with contextlib.suppress(FileNotFoundError):
        os.unlink(child["log"])
    with open(child["log"], "xb") as log:
        return subprocess.Popen(
            child["argv"],
            cwd=child["cwd"],
            env=child["env"],
            stdin=subprocess.DEVNULL,
            stdout=log,
            stderr=log,
            umask=0o077,
            # The kernel forgets the wish when the account changes; subprocess changes it before this runs.
            preexec_fn=end_with_this_process(child["stop"]),  # noqa: PLW1509 - this process has one thread
            **account,
        )


def stop(children: list[tuple[subprocess.Popen[bytes], int]]) -> None:
    """Ask every child to end, wait for it, and end it hard only when it does not."""
    for process, last_signal in children:
        with contextlib.suppress(ProcessLookupError):
            process.send_signal(last_signal)
    for process, _ in children:
        try:
            process.wait(PATIENCE)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()


def hold(order: dict[str, Any], users: int) -> None:
    """Keep the servers up until the last user is gone, a server ends, or somebody asks for the end."""
    children: list[tuple[subprocess.Popen[bytes], int]] = []

    def interrupt(_number: int, _frame: FrameType | None) -> None:
        raise Ended

    watched = (signal.SIGCHLD, signal.SIGTERM, signal.SIGINT, signal.SIGHUP)
    try:
        for number in watched:
            signal.signal(number, interrupt)
        for child in order["children"]:
            # One by one: those that run must be known when a later one fails.
            children.append((start(child), child["stop"]))  # noqa: PERF401
        fcntl.flock(users, fcntl.LOCK_EX)
    except Ended:
        pass
    finally:
        for number in watched:
            signal.signal(number, signal.SIG_DFL if number == signal.SIGCHLD else signal.SIG_IGN)
        stop(children)


def main() -> None:
    os.setsid()  # Ctrl-C in the terminal is for the command, and for this process only through it
    os.chdir("/")
    with open(sys.argv[1]) as file:
        order = json.load(file)
    alive = os.open(order["alive"], os.O_RDWR)
    users = os.open(order["users"], os.O_RDWR)
    fcntl.flock(alive, fcntl.LOCK_EX | fcntl.LOCK_NB)
    hold(order, users)
    for folder in order["remove"]:
        shutil.rmtree(folder, ignore_errors=True)
    # In this order: whoever waits for `users` must find `alive` free.
    os.close(alive)
    os.close(users)


if __name__ == "__main__":
    main()

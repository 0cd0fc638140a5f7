"""A command in a process of its own, which begins with everything imported, and what befalls it."""

import datetime
import os
import resource
import signal
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import toolbox.survey.run as survey
from toolbox.cli import console
from toolbox.formats import stamps

__all__ = ["obey"]


def obey(order: dict[str, Any]) -> None:
    """Run a command in a folder; what it says goes into files of another one."""
    os.chdir(order["folder"])
    os.environ.update(order.get("environment", {}))
    for number, name in ((1, "out"), (2, "err")):
        file = os.open(Path(order["told"]) / name, os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
        os.dup2(file, number)
    for fault, given in order.get("faults", {}).items():
        _FAULTS[fault](given)
    sys.argv = ["leadline", *order["arguments"]]
    console()


def _limit(size: int) -> None:
    """Let no file grow beyond a size, as on a full disk."""
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, size))


def _signal(given: tuple[str, int, float]) -> None:
    """Send this process a signal some seconds after a stage began."""
    stage, number, seconds = given

    def begin() -> None:
        timer = threading.Timer(seconds, os.kill, (os.getpid(), number))
        timer.daemon = True
        timer.start()

    _at(stage, begin)


def _kill(stage: str) -> None:
    """Kill this process when a stage begins."""
    _at(stage, lambda: os.kill(os.getpid(), signal.SIGKILL))


def _pause(given: tuple[str, str]) -> None:
    """Wait at the beginning of a stage until a file is there, and say so by another."""
    stage, name = given

    def wait() -> None:
        Path(f"{name}.waits").touch()
        while not Path(name).exists():
            time.sleep(0.01)

    _at(stage, wait)


def _at(stage: str, act: Callable[[], object]) -> None:
    """Do something when a stage begins, after the watcher was told."""
    as_it_is = survey.run

    def run(*given: Any, watch: survey.Watch, **options: Any) -> Any:
        def told(name: str) -> None:
            watch(name)
            if name == stage:
                act()

        return as_it_is(*given, watch=told, **options)

    survey.run = run


def _clock(seconds: list[float]) -> None:
    """Tell these times in turn, the last one for ever after."""
    left = list(seconds)

    def now() -> float:
        return left.pop(0) if len(left) > 1 else left[0]

    class Moment(datetime.datetime):
        @classmethod
        def now(cls, tz: datetime.tzinfo | None = None) -> "Moment":
            return cls.fromtimestamp(now(), tz)

    local, world = time.localtime, time.gmtime
    time.time = now
    time.localtime = lambda moment=None: local(now() if moment is None else moment)  # type: ignore[assignment]
    time.gmtime = lambda moment=None: world(now() if moment is None else moment)  # type: ignore[assignment]
    stamps.datetime = Moment  # type: ignore[attr-defined]


_FAULTS: dict[str, Callable[[Any], None]] = {
    "limit": _limit,
    "signal": _signal,
    "kill": _kill,
    "pause": _pause,
    "clock": _clock,
}

if __name__ == "__main__":
    obey(globals()["ORDER"])

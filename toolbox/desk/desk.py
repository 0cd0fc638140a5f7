"""Desk: what is on it, and what is being done with it."""

import threading
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from toolbox.desk.hand import Hand
from toolbox.desk.seen import Seen
from toolbox.desk.workplace import Workplace
from toolbox.errors import ParameterError
from toolbox.survey.stages import STAGES

__all__ = ["Desk"]

_LONGEST = 3000


@dataclass
class Desk:
    """A desk: files, answers, and one thing that is being done.

    Parameters
    ----------
    place : Workplace
        Its folder.
    hand : Hand
        What does the work.
    """

    place: Workplace
    hand: Hand
    answers: dict[str, str] = field(default_factory=dict)
    seen: Seen = field(default_factory=Seen)
    doing: str = ""
    stage: str = ""
    fault: str = ""
    refused: str = ""
    run_notes: tuple[str, ...] = ()
    version: int = 0
    _job: int = 0
    _again: bool = False
    _begun: float = 0.0
    _lock: threading.RLock = field(default_factory=threading.RLock)

    @property
    def seconds(self) -> int:
        """How long the present work has taken."""
        return int(time.monotonic() - self._begun) if self.doing else 0

    def look(self) -> None:
        """Look at the files again; if that is being done, once more after it."""
        with self._lock:
            self.check_idle()
            self.place.forget_results()
            self.run_notes = ()
            if self.doing:
                self._again = True
                return
            self.fault = ""
            if not self.place.names:
                self.seen = Seen()
                self.version += 1
                return
            arguments: dict[str, Any] = {
                "folder": self.place.inputs,
                "names": self.place.names,
                "answers": dict(self.answers),
            }
            self._start("look", arguments)

    def given(self, names: Sequence[str], refused: str = "") -> None:
        """Look at files that were just given; a survey file overrules what was answered before.

        What is told of files that came with them and were refused stays until others come.
        """
        with self._lock:
            self.refused = refused
            if any(name.endswith(".toml") for name in names):
                self.answers = {}
            self.look()

    def answer(self, given: Mapping[str, str]) -> None:
        """Take what a person said, and look again."""
        with self._lock:
            self.check_idle()
            known = {name.split("/")[0] for name in self.place.names}
            for key, value in given.items():
                if "/" not in key or key.split("/")[0] in known:
                    self.answers[key] = value[:_LONGEST]
            self.look()

    def remove(self, name: str) -> None:
        """Take a file away."""
        with self._lock:
            self.check_idle()
            self.place.remove(name)
            kept = self.answers if self.place.names else {}
            self.answers = {k: v for k, v in kept.items() if k.split("/")[0] != name}
            self.look()

    def run(self) -> None:
        """Carry out the survey."""
        with self._lock:
            if self.doing or not self.seen.ready:
                raise ParameterError("nothing can be run yet: see what is missing")
            self.place.forget_results()
            self.fault, self.run_notes = "", ()
            self._start("run", {"survey": self.place.survey, "out": self.place.results})

    def cancel(self) -> None:
        """Stop whatever is being done."""
        with self._lock:
            if self.doing:
                self._job += 1  # what is still told is not listened to
                self.hand.stop()
                self.place.tidy()
                self.fault = "Stopped; nothing was written." if self.doing == "run" else "Stopped."
                self._again = False
                self._end()
                self.hand.ready()

    def check_idle(self) -> None:
        """Raise ParameterError while a run is going on."""
        if self.doing == "run":
            raise ParameterError("a run is going on, here or in another window: stop it first")

    def _start(self, job: str, arguments: dict[str, Any]) -> None:
        self._job += 1
        self.doing, self.stage, self._begun = job, STAGES[0], time.monotonic()
        self.version += 1
        number = self._job
        try:
            self.hand.do(job, arguments, lambda kind, value: self._told(number, kind, value))
        except OSError as error:  # of processes, memory or open files there are no more
            self.fault = f"no process can be started for this: {error.strerror or error}"
            self._end()

    def _told(self, number: int, kind: str, value: Any) -> None:
        with self._lock:
            if number != self._job:  # it was stopped
                return
            if kind == "stage":
                self.stage = str(value)
                return
            job = self.doing
            if kind == "failed":
                self.fault = str(value)
            elif job == "look":
                self.seen = value
            else:
                self.run_notes = value
            self._end()
            if self._again:
                self._again = False
                self.look()

    def _end(self) -> None:
        self.doing, self.stage = "", ""
        self.version += 1

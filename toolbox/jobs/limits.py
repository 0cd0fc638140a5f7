"""Limits: what a job may take, and all of them together."""

from dataclasses import dataclass, fields

from toolbox.errors import ParameterError

__all__ = ["GIB", "MIB", "Limits"]

MIB = 1024**2
GIB = 1024**3


@dataclass(frozen=True)
class Limits:
    """What a job may take, and all of them together.

    Parameters
    ----------
    seconds : float
        Time that a job may run.
    memory : int
        Bytes of memory that a job may take.
    running : int
        Jobs at one time.
    queued : int
        Jobs that wait for their turn.
    disk : int
        Bytes of the work folder.
    age : float
        Seconds after which a finished job or an upload is removed.
    body : int
        Bytes of a request to carry something out.
    upload : int
        Bytes of an upload, and of all files of an archive.
    patience : float
        Seconds to wait for the next piece of a request.

    Raises
    ------
    ParameterError
        If one of them is not above 0.
    """

    seconds: float = 600.0
    memory: int = 4 * GIB
    running: int = 1
    queued: int = 200
    disk: int = 20 * GIB
    age: float = 24 * 3600.0
    body: int = 64 * MIB
    upload: int = 2 * GIB
    patience: float = 20.0

    def __post_init__(self) -> None:
        for field in fields(self):
            if not getattr(self, field.name) > 0:
                raise ParameterError(f"{field.name} must be > 0, got {getattr(self, field.name)}")

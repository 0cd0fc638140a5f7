"""Compiled: loops as machine code, kept in the user's cache folder so that only one start waits."""

import functools
import hashlib
import io
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

__all__ = ["cache_folder", "njit"]

_DIGEST = hashlib.sha256().digest_size


def njit(*, cache: bool = False, **options: Any) -> Callable[[Callable[..., Any]], Any]:
    """Compile a loop by numba when it is first called.

    Parameters
    ----------
    cache : bool
        Whether machine code is kept for the next start; wanted for loops that are called from
        Python.
    **options
        As numba's ``njit`` takes them.

    Returns
    -------
    callable
        A decorator.

    Notes
    -----
    Code is kept in the user's cache folder, because a package may be installed where nobody may
    write; a variable ``NUMBA_CACHE_DIR`` in the environment names another place. Each chapter's
    loops have a folder that is named by their source, so that a changed loop is never answered
    from the code of a former one, not even through a caller in another file. Files end with a
    digest. What cannot be read, is not whole or cannot be kept is compiled anew: a cache may cost
    time, never a result. A folder that is only to be read is read.
    """
    import numba

    def decorate(function: Callable[..., Any]) -> Any:
        loop = numba.njit(**options)(function)
        folder = cache_folder(Path(function.__code__.co_filename)) if cache else None
        if folder is not None:
            _keep(loop, folder)
        return loop

    return decorate


@functools.cache
def cache_folder(source: Path) -> Path | None:
    """Name the folder in which the machine code of a file of loops is kept; None is nowhere."""
    import platformdirs
    from numba.core import config

    named = config.CACHE_DIR
    try:
        folder = Path(named).absolute() if named else platformdirs.user_cache_path("leadline")
    except RuntimeError:  # no home folder
        return None
    # nor is a folder made wherever one stands, where a home or a variable is none that is whole
    return folder / f"loops-{_digest(source)}" if folder.is_absolute() else None


def _digest(source: Path) -> str:
    """Digest a file of loops and those beside it, which may be compiled into it."""
    files = sorted(source.parent.glob("*.py")) if source.parent.name == "kernels" else [source]
    digest = hashlib.sha256()
    for file in files:
        digest.update(file.name.encode() + file.read_bytes())
    return digest.hexdigest()[:16]


def _keep(loop: Any, folder: Path) -> None:
    kept = _cache()(loop.py_func, folder)
    kept.load_overload = _or_none(kept.load_overload, kept.flush)
    kept.save_overload = _or_none(kept.save_overload)
    loop._cache = kept


@functools.cache
def _cache() -> type[Any]:
    """Make numba's cache keep what it has in a folder that is told, and prove what it reads."""
    from numba.core import caching

    class Place(caching._CacheLocator):  # type: ignore[misc]
        def __init__(self, line: int) -> None:
            self.line = line

        @classmethod
        def from_function(cls, function: Any, _: str) -> "Place":
            return cls(function.__code__.co_firstlineno)

        def get_cache_path(self) -> str:
            return ""  # told to the file itself

        def get_source_stamp(self) -> str:
            return ""

        def get_disambiguator(self) -> str:
            return str(self.line)

        def ensure_cache_path(self) -> None:
            """Let what is only to be read be read."""

    class Impl(caching.FunctionCache._impl_class):  # type: ignore[misc]
        _locator_classes = [Place]  # noqa: RUF012 as numba has it

    class Proved(caching.IndexDataCacheFile):  # type: ignore[misc]
        def _load_index(self) -> Any:
            return super()._load_index() if _is_whole(self._index_path) else {}

        def _load_data(self, name: str) -> Any:
            if not _is_whole(self._data_path(name)):
                raise ValueError(name)
            return super()._load_data(name)

        @contextmanager
        def _open_for_write(self, path: str) -> Iterator[io.BytesIO]:
            Path(path).parent.mkdir(parents=True, exist_ok=True)
            with super()._open_for_write(path) as file:
                yield (content := io.BytesIO())
                file.write(content.getvalue() + hashlib.sha256(content.getvalue()).digest())

    class Cache(caching.FunctionCache):  # type: ignore[misc]
        _impl_class = Impl

        def __init__(self, function: Any, folder: Path) -> None:
            super().__init__(function)
            self._cache_path = str(folder)
            place = {"cache_path": str(folder), "filename_base": self._impl.filename_base}
            self._cache_file = Proved(**place, source_stamp=folder.name)

    return Cache


def _is_whole(path: str) -> bool:
    """Tell whether a file ends with the digest of what stands before it.

    A power cut leaves files of the right length that hold zeros, and what reads machine code does
    not see that: it would run it.
    """
    try:
        content = Path(path).read_bytes()
    except OSError:
        return False
    return hashlib.sha256(content[:-_DIGEST]).digest() == content[-_DIGEST:]


def _or_none(step: Callable[..., Any], mend: Callable[[], Any] | None = None) -> Callable[..., Any]:
    """Let a step of the cache fail without harm: a damaged file, a full disk."""

    @functools.wraps(step)
    def tried(*arguments: Any) -> Any:
        try:
            return step(*arguments)
        except Exception:  # what unpickling of damaged bytes raises is anybody's guess
            if mend is not None:
                with suppress(OSError):
                    mend()
            return None

    return tried

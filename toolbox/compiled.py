"""Compiled: loops as machine code, kept in the user's cache folder so that only one start waits."""

import functools
import hashlib
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

__all__ = ["cache_folder", "njit"]


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
    from the code of a former one, not even through a caller in another file. What cannot be read
    or kept is compiled anew: a cache may cost time, never a result.
    """
    import numba

    def decorate(function: Callable[..., Any]) -> Any:
        loop = numba.njit(**options)(function)
        if cache:
            _keep(loop, cache_folder(Path(function.__code__.co_filename)))
        return loop

    return decorate


@functools.cache
def cache_folder(source: Path) -> Path:
    """Name the folder in which the machine code of a file of loops is kept."""
    import platformdirs

    return platformdirs.user_cache_path("leadline") / f"loops-{_digest(source)}"


def _digest(source: Path) -> str:
    """Digest a file of loops and those beside it, which may be compiled into it."""
    files = sorted(source.parent.glob("*.py")) if source.parent.name == "kernels" else [source]
    digest = hashlib.sha256()
    for file in files:
        digest.update(file.name.encode() + file.read_bytes())
    return digest.hexdigest()[:16]


def _keep(loop: Any, folder: Path) -> None:
    from numba.core import config

    named = config.CACHE_DIR
    config.CACHE_DIR = named or str(folder)
    try:
        loop.enable_caching()
    except RuntimeError:  # nowhere to write
        return
    finally:
        config.CACHE_DIR = named
    kept = loop._cache
    if not named:
        _share(kept, folder)
    kept.load_overload = _or_none(kept.load_overload, kept.flush)
    kept.save_overload = _or_none(kept.save_overload)


def _share(kept: Any, folder: Path) -> None:
    """Let all installs that have the same loops use one cache, wherever and whenever made."""
    from numba.core.caching import IndexDataCacheFile

    place = {"cache_path": str(folder), "filename_base": kept._impl.filename_base}
    kept._cache_file = IndexDataCacheFile(**place, source_stamp=folder.name)


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

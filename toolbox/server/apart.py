"""Apart: what the JSON of a request holds; of a large one its layers are written to files.

Large requests are taken apart in a process of their own, for while JSON is read nothing else of a
program goes on. It runs this file by its path, which imports nothing of the house and is therefore
ready at once.
"""

import errno
import json
import sys
from pathlib import Path
from typing import Any

__all__ = ["GEOJSON_TYPES", "RefusedError", "json_object", "split"]

GEOJSON_TYPES = frozenset({"FeatureCollection", "Feature"})

_SIZES = {b"{": 200, b"[": 88, b",": 32}
"""Bytes that what such a mark begins takes in memory, about; points in GeoJSON make it seven times
as large as its text."""

_SWOLLEN = 10
"""How many times the largest body what is made of one may take."""

_LONG = 64 * 1024
"""Letters above which a text is written to a file."""

_REST = 256 * 1024
"""Bytes that may be left beside what was written to files."""


class RefusedError(ValueError):
    """A body that cannot be read.

    Parameters
    ----------
    status : int
        Of the answer.
    detail : str
        What is wrong.
    """

    def __init__(self, status: int, detail: str) -> None:
        super().__init__(detail)
        self.status = status


def json_object(body: bytes, most: int) -> dict[str, Any]:
    """Return the object that a body holds.

    Twenty million empty lists are 60 MB as text and 1.4 GB as objects.

    Parameters
    ----------
    body : bytes
        JSON; nothing stands for an empty object.
    most : int
        Bytes that the largest body may have.

    Raises
    ------
    RefusedError
        If it is no JSON object, or would be far larger in memory.
    """
    if sum(size * body.count(mark) for mark, size in _SIZES.items()) > _SWOLLEN * most:
        raise RefusedError(413, "the body holds too many numbers, lists or objects: upload a file")
    try:
        found = json.loads(body or b"{}", parse_constant=_refuse_constant)
    except (ValueError, RecursionError) as error:
        why = "it is nested too deeply" if isinstance(error, RecursionError) else str(error)
        raise RefusedError(400, f"the body is not JSON: {why}") from error
    if not isinstance(found, dict):
        raise RefusedError(400, "the body must be a JSON object")
    return found


def _refuse_constant(text: str) -> float:
    raise ValueError(f"{text} is no number of JSON")


def split(body: dict[str, Any], folder: Path) -> dict[str, tuple[str, bool, bool]]:
    """Write layers and long texts among the inputs to files, and take them out of the body.

    Parameters
    ----------
    body : dict
        Of a request; changed in place.
    folder : Path
        Where the files are made.

    Returns
    -------
    dict
        For each such input the name of its file, whether it is GeoJSON, and whether it stood in a
        member ``value``.

    Raises
    ------
    RefusedError
        If what is left is large, too.
    """
    inputs: Any = body.get("inputs")
    found: dict[str, tuple[str, bool, bool]] = {}
    for key, value in inputs.items() if isinstance(inputs, dict) else ():
        qualified = isinstance(value, dict) and value.get("type") not in GEOJSON_TYPES
        holder, member = (value, "value") if qualified else (inputs, key)
        content = holder.get(member)
        layer = isinstance(content, dict) and content.get("type") in GEOJSON_TYPES
        if layer or (isinstance(content, str) and len(content) > _LONG):
            name = str(len(found))
            (folder / name).write_bytes(_encoded(key, content))
            found[key] = (name, layer, qualified)
            holder[member] = None
    if len(json.dumps(body)) > _REST:
        raise RefusedError(413, f"beside its layers a body may have at most {_REST:,} bytes")
    return found


def _encoded(key: str, content: Any) -> bytes:
    try:
        text = content if isinstance(content, str) else json.dumps(content, allow_nan=False)
        return text.encode()
    except ValueError as error:  # halves of characters, and numbers beyond all
        raise RefusedError(400, f"input {key[:100]!r}: {error}") from error


def _told(most: int, folder: Path) -> dict[str, Any]:
    """Take the body at our input apart; tell what is left, and of its files, or why not."""
    try:
        body = json_object(sys.stdin.buffer.read(), most)
        files = split(body, folder)
    except RefusedError as error:
        return {"refused": (error.status, str(error))}
    except RecursionError:
        return {"refused": (400, "the body is nested too deeply")}
    except MemoryError:
        return {"refused": (413, "the body takes too much memory: upload a file")}
    except OSError as error:
        if error.errno not in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG):
            raise
        return {"refused": (507, f"the body cannot be kept: {error.strerror}")}
    return {"body": body, "files": files}


if __name__ == "__main__":
    sys.stdout.write(json.dumps(_told(int(sys.argv[1]), Path(sys.argv[2]))))

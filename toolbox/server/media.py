"""Media types: of what is given and what is handed over."""

from pathlib import Path
from typing import Any

from toolbox.errors import ParameterError
from toolbox.formats.doors import SUFFIXES

__all__ = [
    "BY_SUFFIX",
    "check_content",
    "is_binary",
    "is_json",
    "media_of_schema",
    "result_suffix",
    "suffix_of",
]

GEOJSON = "application/geo+json"

BY_SUFFIX = {
    ".tif": "image/tiff; application=geotiff",
    ".gpkg": "application/geopackage+sqlite3",
    ".geojson": GEOJSON,
    ".csv": "text/csv",
    ".txt": "text/plain",
    ".toml": "application/toml",
    ".png": "image/png",
    ".svg": "image/svg+xml",
    ".pdf": "application/pdf",
    ".zip": "application/zip",
    ".fgb": "application/flatgeobuf",
    ".parquet": "application/vnd.apache.parquet",
    ".gpx": "application/gpx+xml",
    ".xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
}
"""Media types of files."""

_OTHERS = {
    "image/tiff": ".tif",
    "application/json": ".geojson",
    "application/vnd.geo+json": ".geojson",
    "application/x-parquet": ".parquet",
    "application/geopackage+vnd.sqlite3": ".gpkg",
}
_TEXT = frozenset({".csv", ".txt", ".toml", ".svg", ".geojson", ".gpx"})
_BEGINNINGS = {
    ".tif": (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+"),
    ".gpkg": (b"SQLite format 3\0",),
    ".geojson": (b"{",),
    ".json": (b"{",),
    ".fgb": (b"fgb",),
    ".parquet": (b"PAR1",),
    ".geoparquet": (b"PAR1",),
    ".zip": (b"PK\3\4", b"PK\5\6"),
    ".xlsx": (b"PK\3\4",),
}


def suffix_of(media: str) -> str | None:
    """Return the suffix of files of a media type; None if it is not known here."""
    kind, _, rest = media.lower().partition(";")
    plain = kind.strip()
    if plain == "image/tiff" and rest.strip() not in ("", "application=geotiff"):
        plain = f"{plain};{rest}"
    by_media = {known.split(";")[0]: suffix for suffix, known in BY_SUFFIX.items()}
    return by_media.get(plain) or _OTHERS.get(plain)


def is_binary(suffix: str) -> bool:
    """Tell whether a file is given and handed over in base64 within JSON."""
    return suffix not in _TEXT


def is_json(suffix: str) -> bool:
    """Tell whether a file is JSON itself."""
    return suffix == ".geojson"


def media_of_schema(schema: dict[str, Any]) -> list[str]:
    """List the media types that the schema of an input or output allows."""
    options = schema.get("oneOf", [schema])
    return [option.get("contentMediaType", GEOJSON) for option in options]


def result_suffix(schema: dict[str, Any], returns: type, media: str | None) -> str:
    """Choose the file that a result is written to.

    Parameters
    ----------
    schema : dict
        Of the output.
    returns : type
        The noun.
    media : str, optional
        The media type wanted; if left out, the first of the schema.

    Raises
    ------
    ParameterError
        If the noun is not handed over as that.
    """
    offered = media_of_schema(schema)
    suffix = suffix_of(media or offered[0])
    suffixes = [suffix_of(one) for one in offered]
    if suffix is None or suffix not in suffixes or suffix not in SUFFIXES[returns]:
        raise ParameterError(f"mediaType must be one of {', '.join(offered)}, got {media!r}")
    return suffix


def check_content(path: Path, what: str) -> None:
    """Raise ParameterError if a file does not begin as one of its name does."""
    beginnings = _BEGINNINGS.get(path.suffix.lower())
    with path.open("rb") as file:
        head = file.read(64)
    if path.suffix.lower() in (".geojson", ".json"):
        head = head.removeprefix(b"\xef\xbb\xbf").lstrip()
    if beginnings and not head.startswith(beginnings):
        kind = BY_SUFFIX.get(path.suffix.lower(), path.suffix[1:])
        raise ParameterError(f"{what} is not what its type says, {kind}")

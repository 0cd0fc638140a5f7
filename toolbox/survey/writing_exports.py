"""Writing for others: files for a handheld, a phone, a globe viewer, a drawing office."""

from collections.abc import Callable, Iterable
from pathlib import Path

from toolbox.formats.dxf import write_dxf
from toolbox.formats.gpx_file import write_gpx
from toolbox.formats.kml import write_kmz
from toolbox.formats.mbtiles import write_mbtiles
from toolbox.formats.mesh import write_mesh
from toolbox.formats.vectors_file import write_vectors
from toolbox.formats.xyz_file import write_xyz
from toolbox.layers import Vectors
from toolbox.survey.lineage import Lineage
from toolbox.survey.results import Results
from toolbox.survey.settings import Settings
from toolbox.survey.wanted import Export

__all__ = ["write_exports"]

_ON_EARTH = ("gpx", "kmz", "mbtiles")
"""What needs to know where on earth the water lies."""


def write_exports(settings: Settings, results: Results, lineage: Lineage, folder: Path) -> None:
    """Write the folder ``exports``, of the formats that the survey asks for."""
    wanted: Iterable[Export] = dict.fromkeys(settings.make.exports)
    if results.inputs.shoreline.crs is None:
        wanted = [name for name in wanted if name not in _ON_EARTH]
    if not wanted:
        return
    exports = folder / "exports"
    exports.mkdir()
    for name in wanted:
        _WRITERS[name](settings, results, lineage, exports)
    if not any(exports.iterdir()):
        exports.rmdir()


def _layers(*several: Vectors | None) -> tuple[Vectors, ...]:
    return tuple(layer for layer in several if layer is not None and len(layer))


def _gpx(settings: Settings, results: Results, lineage: Lineage, folder: Path) -> None:
    marked, title = results.marked, settings.water.name
    layers = _layers(*((marked.marks, marked.pegs) if marked else ()), results.plan)
    if layers:
        course = marked.course if marked else None
        path = folder / "marks.gpx"
        write_gpx(path, *layers, course=course, title=title, time=lineage.begun)


def _kmz(settings: Settings, results: Results, lineage: Lineage, folder: Path) -> None:
    drawn, marked = results.drawn, results.marked
    layers = _layers(
        drawn.isobaths, drawn.features, *((marked.marks, marked.pegs) if marked else ())
    )
    depth, title = results.grids[0], settings.water.name
    write_kmz(folder / "map.kmz", *layers, depth=depth, title=title)


def _mbtiles(settings: Settings, results: Results, lineage: Lineage, folder: Path) -> None:
    write_mbtiles(
        folder / "map.mbtiles",
        results.grids[0],
        isobaths=results.drawn.isobaths,
        shoreline=results.inputs.shoreline,
        title=settings.water.name,
    )


def _dxf(settings: Settings, results: Results, lineage: Lineage, folder: Path) -> None:
    layers, datum = _layers(results.drawn.isobaths), settings.datum.elevation
    if layers:
        write_dxf(folder / "isobaths.dxf", *layers, datum=datum, title=settings.water.name)


def _mesh(suffix: str) -> "_Writer":
    def write(settings: Settings, results: Results, lineage: Lineage, folder: Path) -> None:
        path, title = folder / f"bed.{suffix}", settings.water.name
        write_mesh(results.made.bed, path, datum=settings.datum.elevation, title=title)

    return write


def _xyz(settings: Settings, results: Results, lineage: Lineage, folder: Path) -> None:
    write_xyz(results.grids[0], folder / "depth.xyz")


def _vectors(suffix: str) -> "_Writer":
    def write(settings: Settings, results: Results, lineage: Lineage, folder: Path) -> None:
        for vectors in results.layers:
            write_vectors(vectors, folder / f"{vectors.name}.{suffix}")

    return write


_Writer = Callable[[Settings, Results, Lineage, Path], None]

_WRITERS: dict[Export, _Writer] = {
    "gpx": _gpx,
    "kmz": _kmz,
    "mbtiles": _mbtiles,
    "dxf": _dxf,
    "ply": _mesh("ply"),
    "glb": _mesh("glb"),
    "xyz": _xyz,
    "geojson": _vectors("geojson"),
    "flatgeobuf": _vectors("fgb"),
    "geoparquet": _vectors("parquet"),
}

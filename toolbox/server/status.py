"""Status: how jobs stand, as the standard has it told."""

from datetime import UTC, datetime
from typing import Any

from toolbox.jobs.record import Record
from toolbox.server.problems import ProblemError
from toolbox.server.results import raise_failed, result_href

__all__ = ["REL", "duration", "status_info"]

REL = "http://www.opengis.net/def/rel/ogc/1.0/"


def status_info(record: Record, base: str) -> dict[str, Any]:
    """Tell how a job stands.

    Notes
    -----
    Members ``id`` and ``processingEntityType`` are those of the standard's next edition.
    """
    told: dict[str, Any] = {
        "jobID": record.id,
        "id": record.id,
        "type": "process",
        "processingEntityType": "ogc-api-processes",
        "processID": record.process,
        "status": record.status,
        "message": record.message,
        "created": record.created,
        "started": record.started,
        "finished": record.finished,
        "updated": record.updated,
        "progress": record.progress,
        "links": _links(record, base),
    }
    told = {key: value for key, value in told.items() if value is not None}
    if record.notes:
        told["notes"] = record.notes
    if record.status == "failed":
        try:
            raise_failed(record)
        except ProblemError as problem:
            told["exception"] = problem.told
    return told


def _links(record: Record, base: str) -> list[dict[str, str]]:
    here = f"{base}/jobs/{record.id}"
    links = [
        {"href": here, "rel": "self", "type": "application/json", "title": "Status of the job"},
        {"href": f"{base}/jobs", "rel": "up", "type": "application/json", "title": "Jobs"},
    ]
    if record.status == "successful":
        document = record.wanted.get("response") == "document"
        media = "application/json" if document else record.media
        title = "Results of the job"
        links += [
            {"href": f"{here}/results", "rel": f"{REL}results", "type": media, "title": title},
            {
                "href": result_href(record, base),
                "rel": "enclosure",
                "type": record.media,
                "title": "The result as a file",
            },
        ]
    if record.status == "failed":
        media, title = "application/problem+json", "Why the job failed"
        links.append(
            {"href": f"{here}/results", "rel": f"{REL}exceptions", "type": media, "title": title}
        )
    return links


def duration(record: Record) -> float:
    """Return how long a job has run, s; 0 if it has not begun."""
    if record.started is None:
        return 0.0
    end = datetime.fromisoformat(record.finished) if record.finished else datetime.now(UTC)
    return (end - datetime.fromisoformat(record.started)).total_seconds()

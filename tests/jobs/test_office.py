"""Who asked for a job is told of it, and cannot stop the others."""

import threading
from pathlib import Path

from toolbox.jobs.limits import Limits
from toolbox.jobs.names import new_id
from toolbox.jobs.office import Office
from toolbox.jobs.record import Record
from toolbox.jobs.store import Store
from toolbox.jobs.work import Order
from toolbox.jobs.worker import DONE


def test_a_job_that_nobody_waits_for_any_more_is_told_of_all_the_same(tmp_path: Path) -> None:
    office = Office(Store(tmp_path), Limits(), set())  # never started
    record = Record(new_id(), "slope", result="result.tif")
    over = office.take(record, lambda folder: Order("slope", folder, "result.tif"))
    assert not over.cancel()  # as a server does that stops while an answer is waited for
    teller = threading.Thread(target=office._heard, args=(record, DONE, []))
    teller.start()
    teller.join()
    assert over.result(timeout=0).status == "successful"
    assert not office.busy(record)

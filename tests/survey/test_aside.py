"""Work done aside: all of it is done, and what goes wrong is told as it would be without."""

import threading
from pathlib import Path

import pytest

from toolbox.errors import OutputError
from toolbox.survey.aside import aside


def fail(words: str) -> None:
    raise OutputError(words)


def test_all_is_done_when_it_ends(tmp_path: Path) -> None:
    with aside() as beside:
        for number in range(20):
            beside.do((tmp_path / f"{number}.txt").write_text, str(number))
    assert {path.read_text() for path in tmp_path.iterdir()} == {str(n) for n in range(20)}


def test_work_is_done_in_another_thread() -> None:
    found: list[int] = []
    with aside() as beside:
        beside.do(lambda: found.append(threading.get_ident()))
    assert found != [threading.get_ident()]
    assert len(found) == 1


def test_an_error_comes_out_as_it_was_raised() -> None:
    with pytest.raises(OutputError, match=r"^the disk is full$"), aside() as beside:
        beside.do(fail, "the disk is full")


def test_of_two_errors_the_one_begun_first_is_told() -> None:
    held = threading.Event()

    def fail_late() -> None:
        held.wait(10)
        fail("first")

    def begin() -> None:
        with aside() as beside:
            beside.do(fail_late)
            threading.Timer(0.05, held.set).start()
            beside.do(fail, "second")

    with pytest.raises(OutputError, match="first"):
        begin()


def test_what_was_not_begun_is_left_out_when_the_work_beside_it_stops() -> None:
    held, done = threading.Event(), threading.Event()

    def stop() -> None:
        with aside() as beside:
            for _ in range(8):
                beside.do(held.wait, 10)
            beside.do(done.set)
            threading.Timer(0.05, held.set).start()
            raise KeyboardInterrupt("by hand")

    with pytest.raises(KeyboardInterrupt, match="by hand"):
        stop()
    assert not done.is_set()
    assert not [each for each in threading.enumerate() if each.name.startswith("writing")]

"""A process that does the work of another is quiet, is not interrupted, and ends with it."""

import subprocess
import sys
import time

import psutil

QUIET = """
import os, signal, sys, warnings
from toolbox.processes import settle_child

settle_child()
warnings.warn("of a library")
os.kill(os.getpid(), signal.SIGINT)
print("still there")
"""
PARENT = """
import multiprocessing, time
from toolbox.processes import settle_child

def work(pipe):
    settle_child()
    pipe.send(multiprocessing.current_process().pid)
    time.sleep(60)

ours, theirs = multiprocessing.get_context("fork").Pipe()
multiprocessing.get_context("fork").Process(target=work, args=(theirs,)).start()
print(ours.recv(), flush=True)
time.sleep(60)
"""


def test_it_warns_nobody_and_goes_on_when_its_terminal_is_interrupted() -> None:
    done = subprocess.run(
        [sys.executable, "-c", QUIET], capture_output=True, text=True, check=False, timeout=60
    )
    assert (done.returncode, done.stdout, done.stderr) == (0, "still there\n", "")


def test_it_ends_with_the_process_that_started_it() -> None:
    with subprocess.Popen(
        [sys.executable, "-c", PARENT], stdout=subprocess.PIPE, text=True
    ) as parent:
        assert parent.stdout is not None
        child = psutil.Process(int(parent.stdout.readline()))
        assert child.is_running()
        parent.kill()
        end = time.monotonic() + 20
        while child.is_running() and child.status() != psutil.STATUS_ZOMBIE:
            assert time.monotonic() < end
            time.sleep(0.05)

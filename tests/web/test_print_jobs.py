"""Reports in the making: one job for the same report, progress in words, faults kept apart."""

from __future__ import annotations

import threading

import pytest

from coldlash import language
from coldlash.errors import InputError
from coldlash.paper.typesetting import Printed
from coldlash.web.print_jobs import KEPT, MOST_AT_A_TIME, PrintJobs
from coldlash.web.problems import Problem

DONE = Printed(b"%PDF", 1, "Report")


def test_the_same_report_is_one_job_and_says_how_far_it_is():
    jobs, go, told = PrintJobs(), threading.Event(), threading.Event()

    def work(progress):
        progress(1, 6, "chart of I1")
        told.set()
        assert go.wait(20)
        return DONE

    job = jobs.ask("key", work)
    assert jobs.ask("key", work) is job
    assert told.wait(20)
    assert (job.busy, job.words()) == (True, "1 of 6: chart of I1")
    go.set()
    job.wait()
    assert (job.busy, job.printed) == (False, DONE)
    assert jobs.ask("key", work) is job


def test_a_fault_is_told_and_the_next_asking_tries_again():
    jobs = PrintJobs()

    def refused(_):
        raise InputError("no paper")

    job = jobs.ask("key", refused)
    job.wait()
    assert (job.printed, job.fault) == (None, "no paper")
    again = jobs.ask("key", lambda _: DONE)
    again.wait()
    assert again.printed is DONE


@pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning")
def test_a_fault_of_ours_gives_no_internals_away():
    def broken(_):
        raise RuntimeError("the inside")

    job = PrintJobs().ask("key", broken)
    job.wait()
    assert job.fault == "This is a fault of coldlash, not yours. Nothing was printed."


def test_only_so_many_are_made_at_a_time_and_so_many_kept():
    jobs, go = PrintJobs(), threading.Event()

    def work(_):
        assert go.wait(20)
        return DONE

    busy = [jobs.ask(n, work) for n in range(MOST_AT_A_TIME)]
    with pytest.raises(Problem, match="Other reports are being printed just now"):
        jobs.ask("more", work)
    go.set()
    for job in busy:
        job.wait()
    for n in range(10, 10 + KEPT):
        jobs.ask(n, work).wait()
    assert jobs.ask(0, work) is not busy[0]


def test_it_speaks_the_language_of_who_asked():
    spoken = []

    def work(_):
        spoken.append(language.current())
        return DONE

    with language.using("de"):
        PrintJobs().ask("key", work).wait()
    assert spoken == ["de"]

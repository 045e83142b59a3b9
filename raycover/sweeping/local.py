"""Rows on processes of this machine: one that dies takes no other row with it."""

from __future__ import annotations

import atexit
import multiprocessing
import os
import signal
import threading
from collections import Counter, deque
from collections.abc import Generator, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from multiprocessing.connection import wait as wait_for
from pathlib import Path

from raycover.sweeping.rows import Figures, Job, figures_of
from raycover.sweeping.sources import Source, lying, places_of, removed_for_good

#: A row, and its figures, or in words why it has none.
Outcome = tuple[Job, Figures | str]
#: A row in whose worker's hands the process dies is tried this often.
TRIES = 2
CRASHED = "the process that solved it died, twice"

_SOURCES: tuple[Source, ...] = ()


def _begin(sources: tuple[Source, ...], places: dict[str, Path]) -> None:
    """In a worker: keep the scenes and where they lie unpacked, leave ^C to the process that began it."""
    global _SOURCES
    _SOURCES = sources
    lying(places)
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    atexit.register(_tidy, places)
    threading.Thread(target=_end_with_parent, args=(places,), daemon=True).start()


def _end_with_parent(places: dict[str, Path]) -> None:
    """A process that was killed tells nobody: those that it began would wait for work for ever, its folders stay."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        wait_for([parent.sentinel])
        _tidy(places)
        os._exit(1)


def _tidy(places: dict[str, Path]) -> None:
    """Remove the folders of a process that was killed; one that lives does it itself."""
    parent = multiprocessing.parent_process()
    if parent is not None and not parent.is_alive():
        removed_for_good(places)


def _work(job: Job) -> Figures | str:
    return attempt(_SOURCES[job.scene], job)


def attempt(source: Source, job: Job) -> Figures | str:
    """A row's figures; what goes wrong in raycover itself in words, so that other rows go on."""
    try:
        return figures_of(source, job)
    except Exception as error:
        return f"{type(error).__name__}: {error}"


def on_processes(sources: Sequence[Source], jobs: Sequence[Job], n_processes: int) -> Generator[Outcome, None, None]:
    """Outcomes as they come; with one process here, else on as many of their own. Close it to stop them all."""
    if n_processes == 1:
        for job in jobs:
            yield job, attempt(sources[job.scene], job)
        return
    crew = _Crew(tuple(sources), jobs, n_processes)
    try:
        yield from crew.outcomes()
    finally:
        crew.stop()


class Abandoned(Exception):
    """Nobody is left who solves rows; the message says who is gone."""


class _Crew:
    """A pool that is begun anew when a process dies; rows that were under way are then tried one by one."""

    def __init__(self, sources: tuple[Source, ...], jobs: Sequence[Job], n_processes: int) -> None:
        self.sources = sources
        self.places = places_of(sources)
        self.n_processes = n_processes
        self.waiting = deque(jobs)
        self.suspects: deque[Job] = deque()
        self.tried: Counter[int] = Counter()
        self.running: dict[Future[Figures | str], Job] = {}
        self.pool: ProcessPoolExecutor | None = None

    def outcomes(self) -> Generator[Outcome, None, None]:
        while self.waiting or self.suspects or self.running:
            died = self.fill()
            done = wait(self.running, return_when=FIRST_COMPLETED).done if self.running else set()
            for future in done:
                job = self.running.pop(future)
                try:
                    yield job, future.result()
                except BrokenProcessPool:
                    died.append(job)
            if died:
                yield from self.after_death([*died, *self.running.values()])

    def fill(self) -> list[Job]:
        """Give the pool work: as many rows as it has processes, or one that is suspected, alone."""
        if self.pool is None:
            context = multiprocessing.get_context("spawn")
            self.pool = ProcessPoolExecutor(self.n_processes, context, _begin, (self.sources, self.places))
        while len(self.running) < self.n_processes and (self.waiting or self.suspects):
            if self.suspects and self.running:
                break
            job = (self.suspects or self.waiting).popleft()
            try:
                with _deaf_to_interrupts():
                    self.running[self.pool.submit(_work, job)] = job
            except BrokenProcessPool:
                return [job]
            if self.tried[job.row]:
                break
        return []

    def after_death(self, jobs: Sequence[Job]) -> Generator[Outcome, None, None]:
        self.stop()
        self.running.clear()
        for job in jobs:
            self.tried[job.row] += 1
            if self.tried[job.row] >= TRIES:
                yield job, CRASHED
            else:
                self.suspects.append(job)

    def stop(self) -> None:
        """End every process at once, whatever it does."""
        if self.pool is None:
            return
        processes = list((getattr(self.pool, "_processes", None) or {}).values())
        self.pool.shutdown(wait=False, cancel_futures=True)
        for process in processes:
            process.terminate()
        for process in processes:
            process.join(10)
            if process.is_alive():
                process.kill()
                process.join(10)
        self.pool = None


@contextmanager
def _deaf_to_interrupts() -> Iterator[None]:
    """What is begun within does not hear ^C, not even before it can say so itself; here it comes a moment later."""
    if not hasattr(signal, "pthread_sigmask") or threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)

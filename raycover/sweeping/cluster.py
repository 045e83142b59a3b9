"""Rows on a Dask cluster: sent as content, so that workers need raycover and nothing else of this machine."""

from __future__ import annotations

import time
from collections.abc import Generator, Sequence
from concurrent.futures import CancelledError
from contextlib import suppress
from pathlib import Path
from typing import Any

from raycover.errors import InputError, MissingPart, option_error
from raycover.sweeping.local import Abandoned, Outcome, attempt
from raycover.sweeping.rows import Figures, Job
from raycover.sweeping.sources import Source, unpacking_in

#: Seconds to wait for a scheduler to answer.
TIMEOUT_S = 10
#: Seconds without any worker, after which nobody waits for new ones: a cluster's own repairs take less.
PATIENCE_S = 120.0
#: Seconds between looks at what has come, and at who is there.
_LOOK_S, _COUNT_S = 0.05, 2.0
#: Rows are sent again this often without one that is finished.
TRIES = 3
CRASHED = "the workers that solved it died"


def on_cluster(sources: Sequence[Source], jobs: Sequence[Job], address: str) -> Generator[Outcome, None, None]:
    """Outcomes as they come from the workers of a scheduler at `tcp://HOST:PORT`. Close it to give up the others.

    Raises MissingPart without `distributed`, InputError where no scheduler answers or it has no worker, Abandoned where
    all workers stay away for `PATIENCE_S` or the scheduler vanishes.
    """
    try:
        from distributed import Client
    except ImportError:
        raise MissingPart("a cluster needs distributed: pip install 'raycover[cluster]'") from None
    if not jobs:
        return
    try:
        client = Client(address, timeout=TIMEOUT_S, set_as_default=False)
    except (OSError, ValueError, TimeoutError) as error:
        raise _wrong(f"no scheduler answers at {address} ({error or type(error).__name__})") from None
    try:
        yield from _outcomes(client, sources, jobs, address)
    finally:
        client.close()


def _outcomes(
    client: Any, sources: Sequence[Source], jobs: Sequence[Job], address: str
) -> Generator[Outcome, None, None]:
    if not client.scheduler_info(n_workers=-1)["workers"]:
        raise _wrong(f"the scheduler at {address} has no worker", "start some: dask worker ADDRESS")
    waiting = {job.row: job for job in jobs}
    # What was sent is lost with the last worker that had it: it is sent again when others come.
    in_vain = 0
    while waiting and in_vain < TRIES:
        _wait_for_workers(client, address)
        before = len(waiting)
        for job, outcome in _round(client, sources, list(waiting.values()), address):
            del waiting[job.row]
            yield job, outcome
        in_vain = in_vain + 1 if len(waiting) == before else 0
    if waiting:
        raise Abandoned(f"the workers of the scheduler at {address} do not stay")


def _round(client: Any, sources: Sequence[Source], jobs: Sequence[Job], address: str) -> Generator[Outcome, None, None]:
    """Outcomes of rows until all are done or what was sent is lost."""
    from distributed.scheduler import KilledWorker

    try:
        sent = [client.scatter(source, broadcast=True, hash=False) for source in sources]
    except OSError:  # workers that have just gone
        return
    futures = {client.submit(_attempt, sent[job.scene], job, pure=False, retries=1): job for job in jobs}
    try:
        for future in _completed(client, list(futures), address):
            outcome: Figures | str | None = None
            if future.status == "error":
                error = future.exception()
                outcome = CRASHED if isinstance(error, KilledWorker) else f"{type(error).__name__}: {error}"
            elif future.status == "finished":
                with suppress(CancelledError, OSError):  # gone with its worker, or with the scheduler
                    outcome = future.result()
            if outcome is not None:
                yield futures[future], outcome
            future.release()
    finally:
        with suppress(OSError):
            client.cancel(list(futures))


def _completed(client: Any, futures: Sequence[Any], address: str) -> Generator[Any, None, None]:
    """Futures as they end. Raises Abandoned where there has been no worker for `PATIENCE_S`."""
    from distributed import as_completed

    coming = as_completed(futures, loop=client.loop)
    counted = time.monotonic()
    while not coming.is_empty():
        ready = coming.next_batch(block=False)
        yield from ready
        if not ready:
            time.sleep(_LOOK_S)
        if time.monotonic() - counted > _COUNT_S:
            _wait_for_workers(client, address)
            counted = time.monotonic()


def _wait_for_workers(client: Any, address: str) -> None:
    """Until there is one: at once as a rule. Raises Abandoned where none comes within `PATIENCE_S`."""
    began = time.monotonic()
    while not (client.status == "running" and client.scheduler_info(n_workers=-1)["workers"]):
        if client.status == "closed":
            raise Abandoned(f"the scheduler at {address} is gone")
        if time.monotonic() - began > PATIENCE_S:
            raise Abandoned(f"all workers of the scheduler at {address} have been gone for {PATIENCE_S:.0f} s")
        time.sleep(_LOOK_S)


def _attempt(source: Source, job: Job) -> Figures | str:
    """On a worker: in its own folder, which the cluster removes however the worker ends."""
    from distributed import get_worker

    with unpacking_in(Path(get_worker().local_directory)):
        return attempt(source, job)


def _wrong(
    message: str, help_: str = "start one with: dask scheduler; give its address, tcp://HOST:8786"
) -> InputError:
    return option_error("--cluster", message, help_)

"""Rows on a Dask cluster: sent as content, so that workers need raycover and nothing else of this machine."""

from __future__ import annotations

from collections.abc import Generator, Sequence
from typing import Any

from raycover.errors import InputError, MissingPart, option_error
from raycover.sweeping.local import Outcome, attempt
from raycover.sweeping.rows import Job
from raycover.sweeping.sources import Source

#: Seconds to wait for a scheduler to answer.
TIMEOUT_S = 10
CRASHED = "the workers that solved it died"


def on_cluster(sources: Sequence[Source], jobs: Sequence[Job], address: str) -> Generator[Outcome, None, None]:
    """Outcomes as they come from the workers of a scheduler at `tcp://HOST:PORT`. Close it to give up the others.

    Raises MissingPart without `distributed`, InputError where no scheduler answers or it has no worker.
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
    from distributed import as_completed
    from distributed.scheduler import KilledWorker

    if not client.scheduler_info(n_workers=-1)["workers"]:
        raise _wrong(f"the scheduler at {address} has no worker", "start some: dask worker ADDRESS")
    sent = [client.scatter(source, broadcast=True, hash=False) for source in sources]
    futures = {client.submit(attempt, sent[job.scene], job, pure=False, retries=1): job for job in jobs}
    try:
        for future in as_completed(futures, loop=client.loop):
            job = futures[future]
            if future.status == "error":
                error = future.exception()
                yield job, CRASHED if isinstance(error, KilledWorker) else f"{type(error).__name__}: {error}"
            else:
                yield job, future.result()
            future.release()
    finally:
        client.cancel(list(futures))


def _wrong(
    message: str, help_: str = "start one with: dask scheduler; give its address, tcp://HOST:8786"
) -> InputError:
    return option_error("--cluster", message, help_)

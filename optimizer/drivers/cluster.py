"""Blocks of a search computed by the workers of a Dask scheduler, on as many machines as it has.

Owns how blocks are handed out and what happens where a worker, or the scheduler, is lost: its blocks come again from another
worker, and what no worker gives is computed here. A worker is sent the study as it was read, and makes of a block's number what
this process would; one process, this one, writes the record. A worker that runs another version of this program is refused.
The only file that imports Dask, and only where a study asks for it. May import fingerprint and results.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Any, Generic, TypeVar

from optimizer.drivers.fingerprint import code_hash
from optimizer.results import UnreachableError

if TYPE_CHECKING:
    from distributed import Client

Found = TypeVar("Found")

PATIENCE = 20.0
"""Seconds within which a scheduler has to answer, and its first worker to be there."""
_AHEAD = 3
"""Blocks a worker that are asked for at a time."""
_LOST_TOGETHER = 3
"""Workers that one block may take with it before it is computed here, where a fault is told as itself."""

Job = Callable[..., Any]


class Cluster(Generic[Found]):
    """Computes blocks by number on the workers of a scheduler.

    `job` is a function of a module that makes of `common` and a number what `compute` makes of the number here.
    """

    def __init__(self, address: str, job: Job, common: tuple[Any, ...], compute: Callable[[int], Found]) -> None:
        self.address, self.job, self.common, self.compute = address, job, common, compute
        self.messages: list[str] = []

    def blocks(self, numbers: list[int], still_wanted: Callable[[int], bool] = lambda number: True) -> Iterator[tuple[int, Found]]:
        """Each block with its number, in no promised order; one that is no longer wanted is not computed and not given.

        Raises UnreachableError where the scheduler cannot be reached, has no worker, or runs another version of this program.
        """
        done: set[int] = set()
        with _connected(self.address) as client:
            _refuse_strangers(client, self.address)
            yield from self._computed(client, numbers, still_wanted, done)
        left = [number for number in numbers if number not in done and still_wanted(number)]
        if left:
            self.messages.append(f"{len(left)} blocks that {self.address} did not give were computed here")
        for number in left:
            yield number, self.compute(number)

    def _computed(
        self, client: Client, numbers: list[int], still_wanted: Callable[[int], bool], done: set[int]
    ) -> Iterator[tuple[int, Found]]:
        from distributed import CancelledError, KilledWorker, as_completed
        from distributed.comm.core import CommClosedError

        try:
            left = iter(numbers)
            waiting: dict[Any, int] = {}
            coming = as_completed(loop=client.loop)

            def ask() -> None:
                """Keep every worker busy, and no more than that, so that other processes find blocks to do."""
                while len(waiting) < _AHEAD * max(1, sum(client.nthreads().values())):
                    number = next((one for one in left if still_wanted(one)), None)
                    if number is None:
                        return
                    future = client.submit(_run, self.job, self.common, number, pure=False)
                    waiting[future] = number
                    coming.add(future)

            ask()
            while waiting:
                future = next(coming)
                number = waiting.pop(future)
                try:
                    found = future.result()
                except KilledWorker:
                    continue  # it is computed here in the end
                done.add(number)
                ask()
                yield number, found
        except (CancelledError, CommClosedError, TimeoutError, OSError):
            return  # the scheduler is gone: what is left is computed here


def _connected(address: str) -> Client:
    """A client of the scheduler, which must have a worker within `PATIENCE`."""
    try:
        from distributed import Client
    except ImportError as error:
        cure = "install grainwright[cluster], or leave driver.cluster out"
        raise UnreachableError(f"driver.cluster needs Dask, which is not installed; {cure}") from error
    logging.getLogger("distributed").setLevel(logging.CRITICAL)  # what is lost is told by us
    try:
        client = Client(address, timeout=PATIENCE, set_as_default=False)
    except (OSError, TimeoutError, ValueError) as error:
        cure = "see that `dask scheduler` runs there and that this machine may reach it, or leave driver.cluster out"
        raise UnreachableError(f"{address}: no scheduler answers; {cure}") from error
    try:
        client.wait_for_workers(1, timeout=PATIENCE)
    except (OSError, TimeoutError) as error:
        client.close()
        raise UnreachableError(f"{address}: the scheduler has no worker; start some with `dask worker {address}`") from error
    return client


def _refuse_strangers(client: Client, address: str) -> None:
    """Raise UnreachableError where a worker runs another version of this program, whose blocks would be of another search."""
    try:
        theirs = client.run(_version, on_error="return")
    except (OSError, TimeoutError) as error:
        raise UnreachableError(f"{address}: its workers do not answer; see their logs") from error
    own = code_hash()
    strange = sorted(worker for worker, version in theirs.items() if version != own)
    if strange:
        cure = "install the same version of grainwright on every machine"
        raise UnreachableError(f"{address}: {', '.join(strange)} has another version of this program, or none; {cure}")


def _version() -> str:
    return code_hash()


_alone = threading.Lock()


def _run(job: Job, common: tuple[Any, ...], number: int) -> Any:
    """A block on a worker, one at a time in each process: what is cached of a search is not for several threads."""
    with _alone:
        return job(*common, number)

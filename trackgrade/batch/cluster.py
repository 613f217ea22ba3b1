"""Workers on other machines: the same work, handed to a running dask.distributed scheduler.

The track travels as bytes and the results come back as texts, so workers need no common file system: only the same
version of trackgrade. The bytes are packed: dask keeps those of the last thousand tasks, in the scheduler and here.
"""

from __future__ import annotations

import zlib
from collections import deque
from collections.abc import Generator, Sequence
from typing import TYPE_CHECKING

from trackgrade.batch.alone import Advance
from trackgrade.batch.pool import AHEAD
from trackgrade.batch.work import Flight, Outcome, Settings
from trackgrade.errors import TrackgradeError, UsageError

if TYPE_CHECKING:
    from distributed import Client, Future

CONNECT_S = 10.0


def run(flights: Sequence[Flight], settings: Settings, address: str, advance: Advance) -> Generator[Outcome]:
    """The outcome of each flight, in the order given, done by the workers of a scheduler.

    Raises UsageError: the extra is not installed, nobody answers at ``address``, or there are no workers.
    """
    client = _connect(address)
    try:
        threads = sum(client.nthreads().values())
        if not threads:
            raise UsageError(f"the scheduler at {address} has no workers; start one: dask worker {address}")
        waiting = deque(flights)
        running: deque[tuple[Flight, Future | Outcome]] = deque()
        while waiting or running:
            while waiting and len(running) < AHEAD * threads:
                flight = waiting.popleft()
                running.append((flight, _submit(client, flight, settings)))
            flight, future = running.popleft()
            outcome = future if isinstance(future, Outcome) else _result(flight, future)
            advance()
            yield outcome
    finally:
        client.close()


def _connect(address: str) -> Client:
    try:
        from distributed import Client
    except ImportError:
        raise UsageError(
            "--scheduler needs one more package, here and on each worker: pip install distributed"
        ) from None
    try:
        return Client(address, timeout=CONNECT_S, set_as_default=False)
    except (OSError, ValueError, TimeoutError) as error:
        reason = next(iter(str(error).splitlines()), "no reason given")
        raise UsageError(
            f"no scheduler answers at {address}: {reason}; give the address it printed at its start,"
            " such as tcp://10.0.0.5:8786"
        ) from error


def _submit(client: Client, flight: Flight, settings: Settings) -> Future | Outcome:
    from trackgrade.batch.flight import with_data

    try:
        # pure=False: two files of one content are still two flights, each with its name in its report
        packed = zlib.compress(with_data(flight).data or b"", level=1)
        return client.submit(_grade_packed, flight._replace(data=packed), settings, pure=False, retries=1)
    except TrackgradeError as error:
        return Outcome(flight.path, error=str(error))


def _grade_packed(flight: Flight, settings: Settings) -> Outcome:
    """On the worker."""
    from trackgrade.batch.flight import grade_flight

    return grade_flight(flight._replace(data=zlib.decompress(flight.data or b"")), settings)


def _result(flight: Flight, future: Future) -> Outcome:
    try:
        outcome: Outcome = future.result()
    except Exception as error:  # a worker died, or has no trackgrade: that flight failed, the others go on
        return Outcome(flight.path, error=f"{flight.path}: failed on the cluster: {type(error).__name__}: {error}")
    return outcome

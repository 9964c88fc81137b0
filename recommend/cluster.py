"""Work on a dask cluster that is there already (extra ``cluster``).

Work is cut into pieces whose results are taken in one order, so one machine and a cluster come to
the same; a piece whose worker dies is done again by another.
"""

from __future__ import annotations

import importlib
import importlib.util
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from typing import Any, TypeVar

from recommend.errors import RecommendError
from recommend.extras import not_installed

Result = TypeVar("Result")
PATIENCE = "10s"  # to connect
AHEAD = 3  # pieces under way for each thread of the workers
_clients: list[Any] = []  # the cluster that is connected; none, or one


@contextmanager
def connected(address: str | None) -> Iterator[None]:
    """Lets `pieces` run on the cluster whose scheduler is at `address`; None for this machine.

    Raises
    ------
    RecommendError
        If distributed is not installed, or no scheduler answers there.
    """
    if address is None:
        yield
        return
    if importlib.util.find_spec("distributed") is None:
        raise not_installed("--cluster", "cluster")
    try:
        client = importlib.import_module("distributed").Client(address, timeout=PATIENCE)
    except (OSError, TimeoutError, ValueError) as error:
        raise RecommendError(
            f"no dask scheduler answers at {address} ({error}); start one with `dask scheduler`, "
            "or leave --cluster out to count on this machine"
        ) from error
    _clients.append(client)
    try:
        yield
    finally:
        _clients.remove(client)
        client.close()


def pieces(
    function: Callable[..., Result], each: Iterable[tuple[tuple[Any, ...], tuple[Any, ...]]]
) -> Iterator[Result]:
    """Results of ``function(*shared, *own)`` for every pair of `each`, in their order.

    What is `shared` travels once to each worker. No more pieces are under way than keep the workers
    busy, so that `each` may be made as it is read.
    """
    if not _clients:
        yield from (function(*shared, *own) for shared, own in each)
        return
    client, held, under_way = _clients[-1], _Held(_clients[-1]), deque[Any]()
    most = AHEAD * max(1, sum(client.nthreads().values()))
    for shared, own in each:
        there = [held.of(one) for one in shared]
        under_way.append(client.submit(function, *there, *own, pure=False))
        if len(under_way) > most:
            yield under_way.popleft().result()
    while under_way:
        yield under_way.popleft().result()


class _Held:
    """What has travelled to the workers; a worker that comes later fetches it from another."""

    def __init__(self, client: Any) -> None:
        self.client, self.sent = client, dict[int, tuple[Any, Any]]()

    def of(self, one: Any) -> Any:
        """Where `one` is held; it is kept here too, so that its identity stays its own."""
        if id(one) not in self.sent:
            self.sent[id(one)] = one, self.client.scatter(one, broadcast=True, hash=False)
        return self.sent[id(one)][1]

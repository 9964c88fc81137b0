"""Work on a dask cluster that is there already (extra ``cluster``).

Work is cut into pieces whose results are taken in one order, so one machine and a cluster come to
the same; a piece whose worker dies is done again by another.
"""

from __future__ import annotations

import importlib
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, TypeVar

from recommend.errors import RecommendError
from recommend.extras import need

Result = TypeVar("Result")
PATIENCE = "10s"  # to connect
TRIES = 5  # of a piece whose workers are lost
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
    need("--cluster", "cluster", "distributed")
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
    crew, under_way = _Crew(_clients[-1], function), deque[_Sent]()
    for shared, own in each:
        under_way.append(crew.send(shared, own))
        if len(under_way) > crew.most:
            yield crew.result(under_way.popleft())
    while under_way:
        yield crew.result(under_way.popleft())


@dataclass(frozen=True)
class _Sent:
    """A piece under way, and what to send again should it be lost."""

    future: Any
    there: tuple[Any, ...]  # where what it shares is held
    shared: tuple[Any, ...]
    own: tuple[Any, ...]


class _Crew:
    """The workers of a cluster, and what has travelled to them."""

    def __init__(self, client: Any, function: Callable[..., Any]) -> None:
        self.client, self.function = client, function
        self.held = dict[int, tuple[Any, Any]]()
        self.most = AHEAD * max(1, sum(client.nthreads().values()))
        self.lost = importlib.import_module("distributed.client").FutureCancelledError

    def send(self, shared: tuple[Any, ...], own: tuple[Any, ...]) -> _Sent:
        """One piece, to whichever worker is free."""
        there = tuple(self._there(one) for one in shared)
        future = self.client.submit(self.function, *there, *own, pure=False)
        return _Sent(future, there, shared, own)

    def result(self, sent: _Sent) -> Any:
        """What came of a piece; sent again where the only worker died that held what it shares.

        Raises
        ------
        RecommendError
            If that happens again and again.
        """
        for left in reversed(range(TRIES)):
            try:
                return sent.future.result()
            except self.lost:
                for one, there in zip(sent.shared, sent.there, strict=True):
                    if self._there(one) is there:
                        del self.held[id(one)]
                sent = self.send(sent.shared, sent.own) if left else sent
        raise RecommendError(
            f"workers of the cluster were lost {TRIES} times over one piece of the work; look at "
            "their memory, or leave --cluster out to count on this machine"
        )

    def _there(self, one: Any) -> Any:
        """Where `one` is held; it is kept here too, so that its identity stays its own."""
        if id(one) not in self.held:
            self.held[id(one)] = one, self.client.scatter(one, broadcast=True, hash=False)
        return self.held[id(one)][1]

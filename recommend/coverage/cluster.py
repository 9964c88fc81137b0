"""Counting on a dask cluster that is there already (extra ``cluster``).

Work is cut into pieces whose results add up in any order, so one machine and a cluster come to the
same; a piece whose worker dies is done again by another.
"""

from __future__ import annotations

import importlib
import importlib.util
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from typing import Any, TypeVar

from recommend.errors import RecommendError
from recommend.extras import not_installed

Result = TypeVar("Result")
PATIENCE = "10s"  # to connect
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
    function: Callable[..., Result], shared: tuple[Any, ...], each: Iterable[tuple[Any, ...]]
) -> Iterator[Result]:
    """Results of ``function(*shared, *one)`` for every one of `each`, in any order.

    What is `shared` travels once to each worker.
    """
    if not _clients:
        yield from (function(*shared, *one) for one in each)
        return
    as_completed = importlib.import_module("distributed").as_completed
    client = _clients[-1]
    held = client.scatter(list(shared), broadcast=True, hash=False)
    futures = [client.submit(function, *held, *one, pure=False) for one in each]
    for _, result in as_completed(futures, with_results=True):
        yield result

"""Where buckets are worked out: in this process, or by workers of Dask distributed.

The same tasks give the same files either way.  One whose worker is lost is begun again, at most
three times (Dask's `allowed-failures`); what a task refuses is told at once.  Dask is the extra
`network` and is only imported when it is asked for.  Nothing listens beyond this machine, and no
dashboard at all; a scheduler on other machines is the user's own.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from typing import Any, Protocol, TypeVar

from pipelines.weekly.store import StoreError

HERE = "here"
_LOCAL, _REMOTE = re.compile(r"local:(\d+)"), re.compile(r"dask://(\S+:\d+)")
_BEFORE_SPAWN = "distributed.nanny.pre-spawn-environ"
Order = TypeVar("Order")
Done = TypeVar("Done")


class Run(Protocol):
    """Makes of each bucket's order what a task makes of it, by bucket in the order of names."""

    def __call__(
        self, task: Callable[[Order], Done], orders: Mapping[str, Order], /
    ) -> dict[str, Done]:
        """Run a task, a function of a module that workers can import."""
        ...


@contextmanager
def at_work(on: str = HERE, memory: str | None = None) -> Iterator[Run]:
    """Workers for as many runs as are wanted.

    Args:
        on: 'here', 'local:N' for N processes of this machine, or 'dask://HOST:PORT' for the
            scheduler there.
        memory: what a local process may take, e.g. '2GB'; it is begun again beyond.

    Raises:
        StoreError: `on` says none of these, Dask is not installed, or nobody answers there.
    """
    if on == HERE:
        yield _in_turn
        return
    with ExitStack() as stack:
        client = _client(on, memory, stack)

        def run(task: Callable[[Order], Done], orders: Mapping[str, Order], /) -> dict[str, Done]:
            names = sorted(orders)
            futures = [client.submit(task, orders[name], pure=False) for name in names]
            return dict(zip(names, client.gather(futures), strict=True))

        yield run


def _in_turn(task: Callable[[Order], Done], orders: Mapping[str, Order], /) -> dict[str, Done]:
    return {name: task(orders[name]) for name in sorted(orders)}


def run_buckets(
    task: Callable[[Order], Done],
    orders: Mapping[str, Order],
    on: str = HERE,
    memory: str | None = None,
) -> dict[str, Done]:
    """One run of `task` over all orders; arguments and errors as of `at_work`."""
    with at_work(on, memory) as run:
        return run(task, orders)


def _client(on: str, memory: str | None, stack: ExitStack) -> Any:
    local, remote = _LOCAL.fullmatch(on), _REMOTE.fullmatch(on)
    if not local and not remote:
        raise StoreError(
            f"--on {on}: write 'here', 'local:2' (so many processes), or 'dask://HOST:PORT'."
        )
    try:
        import dask  # noqa: PLC0415 - an extra
        import distributed  # noqa: PLC0415 - an extra
    except ImportError as error:
        raise StoreError(
            f"--on {on} needs the extra 'network': pip install 'ringland[network]'."
        ) from error
    dd: Any = distributed  # its calls have no types
    if remote:
        address = f"tcp://{remote[1]}"
        try:
            return stack.enter_context(dd.Client(address, timeout="10s", set_as_default=False))
        except OSError as error:
            raise StoreError(
                f"No scheduler answers at {remote[1]}. Start one (DEVELOPERS.md, Many operators) "
                f"and its workers, and try again."
            ) from error
    assert local is not None
    # before a worker imports Polars, else each takes a thread for every core
    stack.enter_context(dask.config.set({_BEFORE_SPAWN: {"POLARS_MAX_THREADS": 1}}))
    cluster = stack.enter_context(
        dd.LocalCluster(
            n_workers=int(local[1]),
            threads_per_worker=1,
            processes=True,
            host="127.0.0.1",
            dashboard_address="127.0.0.1:0",
            scheduler_kwargs={"dashboard": False},
            worker_dashboard_address=None,
            memory_limit=memory or "auto",
        )
    )
    return stack.enter_context(dd.Client(cluster, set_as_default=False))

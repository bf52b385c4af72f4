"""Runs on several machines, by dask.distributed: the same chunks in the same order, the same bits.

A piece of work is a pure function of its arguments. A worker that dies loses nothing: the
scheduler gives its pieces to another one. With a folder to store results in, a run that was
interrupted takes up where it stopped.
"""

from __future__ import annotations

import hashlib
import io
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from functools import cache
from importlib.metadata import version
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from shutoffsim.engine.run import CHUNK, Chunk, Setup, run_chunk
from shutoffsim.engine.unfinished import claim_file, clear, put_in_place
from shutoffsim.errors import ModelError, OutputError
from shutoffsim.model import layout as L
from shutoffsim.records.files import Progress
from shutoffsim.version import __version__

Arrays = dict[str, NDArray[Any]]

_PACKAGE = Path(__file__).resolve().parent.parent
_LIBRARIES = ("numpy", "numba", "llvmlite", "scipy", "fluids", "pydantic")
_CONNECT = 10.0  # s to wait for an answer
_DIGEST = 32  # bytes


class Piece(NamedTuple):
    """One piece of work.

    Attributes
    ----------
    name : str
        Of its stored result: a name that no other question and no other piece has.
    arguments : tuple
    """

    name: str
    arguments: tuple[Any, ...]


def run_chunks_on(
    cluster: Any,
    setup: Setup,
    first: int,
    end: int,
    store: Path | None = None,
    progress: Progress | None = None,
) -> Iterator[Chunk]:
    """Yield the chunks of histories ``first`` to ``end - 1`` in order, computed on a cluster.

    Parameters
    ----------
    cluster : distributed.Client or str
        A client, or the address of a scheduler such as ``tcp://10.0.0.5:8786``.
    setup : Setup
    first, end : int
        Histories.
    store : pathlib.Path, optional
        Folder where finished chunks are kept; those that are there are not computed again.
    progress : callable, optional
        Called as ``progress(histories done, histories planned)``.

    Yields
    ------
    Chunk
        The same bits as :func:`shutoffsim.engine.run.run_chunks` yields.

    Raises
    ------
    ModelError
        When no cluster answers, or a worker has another version of this program.
    OutputError
        When the folder cannot be written.
    """
    name = setup_name(setup)
    pieces = (
        Piece(f"{name}-{at}-{min(CHUNK, end - at)}", (setup, at, min(CHUNK, end - at)))
        for at in range(first, end, CHUNK)
    )
    for arrays in run_pieces_on(cluster, _chunk_arrays, pieces, store):
        chunk = _to_chunk(arrays)
        yield chunk
        if progress is not None:
            progress(chunk.first + chunk.summary.shape[1] - first, end - first)


def run_pieces_on(
    cluster: Any,
    function: Callable[..., Arrays],
    pieces: Iterable[Piece],
    store: Path | None = None,
) -> Iterator[Arrays]:
    """Yield ``function(*arguments)`` of each piece in order, computed on a cluster.

    Parameters
    ----------
    cluster : distributed.Client or str
    function : callable
        Importable by name on the workers; returns plain arrays by name.
    pieces : iterable of Piece
        Taken as needed: no more than two pieces a worker thread and four more are held.
    store : pathlib.Path, optional
        Folder of finished results.
    """
    if store is not None:
        _make_folder(store)
    with _client(cluster) as client:
        from distributed import Future, KilledWorker

        room = 2 * sum(client.nthreads().values()) + 4
        waiting: deque[tuple[Piece, Any]] = deque()

        def finish() -> Arrays:
            piece, result = waiting.popleft()
            if not isinstance(result, Future):
                return result
            try:
                arrays: Arrays = result.result()
            except KilledWorker as error:
                raise ModelError(
                    "a piece of work ended its worker again and again",
                    where=f"cluster {_address(client)}",
                    found=str(error)[:200],
                    expected="workers with enough memory",
                ) from None
            if store is not None:
                _keep(store / f"{piece.name}.result", arrays)
            return arrays

        try:
            for piece in pieces:
                ready = None if store is None else _kept(store / f"{piece.name}.result")
                if ready is None:
                    ready = client.submit(
                        _work, fingerprint(), function, piece.arguments, pure=False
                    )
                waiting.append((piece, ready))
                if len(waiting) >= room:
                    yield finish()
            while waiting:
                yield finish()
        finally:
            client.cancel([result for _, result in waiting if isinstance(result, Future)])


def sources() -> list[Path]:
    """Return the files that can change a number: all but those that only show results."""
    return sorted(
        path
        for path in _PACKAGE.rglob("*")
        if path.suffix in (".py", ".json", ".toml")
        and path.relative_to(_PACKAGE).parts[0] not in ("report", "cli")
    )


@cache
def fingerprint() -> str:
    """Return what a worker must agree on: every source of numbers, and the libraries below it."""
    text = hashlib.sha256(__version__.encode())
    for library in _LIBRARIES:
        text.update(f"|{library} {version(library)}".encode())
    for path in sources():
        name = path.relative_to(_PACKAGE).as_posix()
        text.update(b"\0" + name.encode() + b"\0" + path.read_bytes())
    return text.hexdigest()


def setup_name(setup: Setup) -> str:
    """Return 32 hexadecimal digits that stand for everything that decides a setup's results."""
    text = hashlib.sha256(fingerprint().encode())
    text.update(f"|{setup.seed}|{setup.engine}|{setup.probes}|{len(setup.params)}".encode())
    text.update(f"|{setup.extra}|{setup.tilt}".encode())
    for field in setup.params.dtype.names:  # one by one: the gaps between fields hold anything
        text.update(np.ascontiguousarray(setup.params[field]).tobytes())
    for part in (setup.placement.share_cum, setup.placement.cell_cum):
        text.update(np.ascontiguousarray(part).tobytes())
    text.update(float(setup.placement.cell).hex().encode())
    return text.hexdigest()[:32]


def _work(expected: str, function: Callable[..., Arrays], arguments: tuple[Any, ...]) -> Arrays:
    if fingerprint() != expected:
        raise ModelError(
            "a worker of the cluster has another version of shutoffsim",
            found=f"shutoffsim {__version__} with other sources or libraries",
            expected="the same version everywhere",
            hint="install the same version on all machines and start the workers again",
        )
    return function(*arguments)


def _chunk_arrays(setup: Setup, first: int, n: int) -> Arrays:
    chunk = run_chunk(setup, first, n)
    return {
        "first": np.array([first]),
        "shape": np.array(chunk.rows.shape),
        "rows": _bytes(chunk.rows),
        "natural": _bytes(chunk.natural),
        "summary": _bytes(chunk.summary),
    }


def _bytes(records: Any) -> NDArray[np.uint8]:
    return np.frombuffer(np.ascontiguousarray(records).tobytes(), np.uint8)


def _to_chunk(arrays: Arrays) -> Chunk:
    k, n, m = (int(size) for size in arrays["shape"])
    return Chunk(
        int(arrays["first"][0]),
        _records(arrays["rows"], L.INCIDENT).reshape(k, n, m),
        _records(arrays["natural"], L.INCIDENT),
        _records(arrays["summary"], L.SUMMARY).reshape(k, n),
    )


def _records(data: NDArray[Any], dtype: Any) -> Any:
    return np.frombuffer(bytearray(data.tobytes()), dtype)


def _make_folder(store: Path) -> None:
    try:
        store.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise _refusal(store, error) from None
    clear(store)


def _keep(path: Path, arrays: Arrays) -> None:
    """Write a result with its checksum, in full or not at all."""
    data = io.BytesIO()
    np.savez(data, **arrays)  # type: ignore[arg-type]
    content = data.getvalue()
    try:
        part, file = claim_file(path)
        try:
            with file:
                file.write(hashlib.sha256(content).digest() + content)
                put_in_place(part, file, path)
        finally:
            part.unlink(missing_ok=True)
    except OSError as error:
        raise _refusal(path, error) from None


def _kept(path: Path) -> Arrays | None:
    """Return a stored result, or None where there is none that is whole."""
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        return None
    except OSError as error:
        raise _refusal(path, error) from None
    if hashlib.sha256(data[_DIGEST:]).digest() != data[:_DIGEST]:
        return None  # damaged: computed and written again
    with np.load(io.BytesIO(data[_DIGEST:]), allow_pickle=False) as stored:
        return {name: stored[name] for name in stored.files}


def _refusal(path: Path, error: OSError) -> OutputError:
    return OutputError(
        "the folder of finished results cannot be used",
        where=str(path),
        found=error.strerror or str(error),
        expected="a folder where you may read and write, with room",
    )


@contextmanager
def _client(cluster: Any) -> Iterator[Any]:
    """Yield a client of the cluster; one that was made here is closed again."""
    try:
        import distributed
    except ImportError:
        raise ModelError(
            "a run on a cluster needs a package that is not installed",
            found="no package distributed",
            expected="the optional part of this program for clusters",
            hint='pip install "shutoffsim[cluster]"',
        ) from None
    if not isinstance(cluster, str):
        yield cluster
        return
    try:
        client = distributed.Client(cluster, timeout=_CONNECT)
    except (OSError, ValueError) as error:
        raise ModelError(
            "no cluster answers at this address",
            where=cluster,
            found=str(error)[:200] or type(error).__name__,
            expected="the address of a scheduler, such as tcp://127.0.0.1:8786",
            hint="start one, see docs/cluster.md",
        ) from None
    with client:
        try:
            client.wait_for_workers(1, timeout=_CONNECT)
        except TimeoutError:
            raise ModelError(
                "the cluster has no workers",
                where=cluster,
                expected="at least one worker",
                hint="start one, see docs/cluster.md",
            ) from None
        yield client


def _address(client: Any) -> str:
    return str(client.scheduler.address) if client.scheduler is not None else "unknown"

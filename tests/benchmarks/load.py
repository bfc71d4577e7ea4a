"""Clients that keep their connections and time each answer: raw sockets, so that they cost little beside the server."""

import multiprocessing
import socket
import statistics
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass


@dataclass(frozen=True)
class Timing:
    """What a run of requests took.

    Parameters
    ----------
    rate : float
        Answers per second over all clients.
    median_ms, p99_ms : float
        Of the times of single answers, [ms]
    refused : int
        Answers that were no success.
    """

    rate: float
    median_ms: float
    p99_ms: float
    refused: int


def request_bytes(method: str, path: str, body: bytes = b"", headers: dict[str, str] | None = None) -> bytes:
    """Return a request as it goes over the wire."""
    lines = [f"{method} {path} HTTP/1.1", "Host: bench", "Content-Type: application/json"]
    lines += [f"{name}: {value}" for name, value in (headers or {}).items()]
    return "\r\n".join([*lines, f"Content-Length: {len(body)}", "", ""]).encode() + body


def one_answer(connection: socket.socket, sent: bytes) -> tuple[int, bytes]:
    """Send one request and return status and body of its answer.

    Raises
    ------
    ConnectionError
        The server closed before the answer was whole.
    """
    connection.sendall(sent)
    got = b""
    while b"\r\n\r\n" not in got:
        got += _more(connection)
    head, _, body = got.partition(b"\r\n\r\n")
    length = next(int(line[15:]) for line in head.split(b"\r\n") if line[:15].lower() == b"content-length:")
    while len(body) < length:
        body += _more(connection)
    return int(head[9:12]), body


def _more(connection: socket.socket) -> bytes:
    more = connection.recv(262_144)
    if not more:
        raise ConnectionError("the server closed the connection")
    return more


def measured(port: int, requests: Callable[[int], Iterator[bytes]], *, clients: int, each: int) -> Timing:
    """Return what ``clients`` at once, in a process of their own, saw of ``each`` requests.

    Parameters
    ----------
    requests : callable
        From the number of a client to its requests.
    """
    answers: multiprocessing.Queue[Timing] = multiprocessing.get_context("fork").Queue()
    process = multiprocessing.get_context("fork").Process(target=_run, args=(answers, port, requests, clients, each))
    process.start()
    timing = answers.get(timeout=600)
    process.join()
    return timing


def _run(
    answers: "multiprocessing.Queue[Timing]", port: int, requests: Callable[[int], Iterator[bytes]], n: int, each: int
) -> None:
    times: list[float] = []
    refused: list[int] = []
    prepared = [[sent for _, sent in zip(range(each), requests(number), strict=False)] for number in range(n)]
    start = threading.Barrier(n + 1)

    def client(mine: list[bytes]) -> None:
        with socket.create_connection(("127.0.0.1", port)) as connection:
            connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            start.wait()
            for sent in mine:
                begin = time.perf_counter()
                status, _ = one_answer(connection, sent)
                times.append(time.perf_counter() - begin)
                if not 200 <= status < 300:
                    refused.append(status)

    threads = [threading.Thread(target=client, args=(mine,)) for mine in prepared]
    for thread in threads:
        thread.start()
    start.wait()
    begin = time.perf_counter()
    for thread in threads:
        thread.join()
    taken = time.perf_counter() - begin
    ranked = sorted(times)
    p99 = ranked[max(0, round(0.99 * len(ranked)) - 1)]
    answers.put(Timing(len(times) / taken, 1e3 * statistics.median(times), 1e3 * p99, len(refused)))

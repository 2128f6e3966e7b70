"""Who may keep a door busy: patience with each connection, and room for the next one.

A thread that waits for a peer is lost to all others. So its time is counted over all that it sends and takes, not from
one byte to the next; and where others wait for a thread, whoever has been waited for longest gives way, first of the
peer that holds most. Who is being answered gives way to nobody.
"""

from __future__ import annotations

import socket
from collections import Counter
from collections.abc import Callable, Iterable
from contextlib import suppress
from threading import RLock
from time import monotonic
from typing import Any

from cheroot.server import HTTPConnection, HTTPRequest

MOST_FROM_ONE = 24
"""Connections; a browser holds six at most, and a second router lets several phones come from one address."""
OPEN_PER_THREAD = 4
"""Most of those that are open are between two requests, and hold no thread."""
GIVES_WAY_S = 0.5
"""Who is waited for so long in all while another waits for the thread."""
SLOWEST_BYTES_S = 4096
"""Who keeps up with this is waited for as long as it takes, unless others need the thread."""
STOP_S = 1
PIECE_BYTES = 2**16


class Line:
    """The socket of a connection as its reader and its writer have it: each wait for the peer is counted."""

    def __init__(self, connection: Connection, sock: Any) -> None:
        self._connection = connection
        self._sock = sock

    def recv_into(self, buffer: Any) -> int:
        return self._connection.wait(self._sock.recv_into, buffer)

    def send(self, data: bytes) -> int:
        return self._connection.wait(self._sock.send, data)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._sock, name)


class Connection(HTTPConnection):
    """One peer's connection.

    has_thread: from its request to the end of the answer. is_queued: for a thread. since: it is queued, idle, or its
    peer is waited for since this moment; None while we are at it ourselves. is_earning: what moves buys time.
    """

    def __init__(self, server: Any, sock: Any, makefile: Callable[..., Any]) -> None:
        super().__init__(server, sock, lambda plain, *more: makefile(Line(self, plain), *more))
        self.has_thread = self.is_queued = self.is_earning = self.is_dropped = False
        self.patience_s = self.waited_s = 0.0
        self.since: float | None = None

    def communicate(self) -> bool:
        if not self.server.crowd.serve(self):
            return False
        self.patience_s, self.is_earning = float(self.server.timeout), False
        return bool(super().communicate())

    def wait(self, move: Callable[[Any], int], data: Any) -> int:
        """Receive or send, within what is left of the patience with this peer."""
        if self.server.crowd.is_ending:
            self.patience_s = min(self.patience_s, STOP_S)
        if self.patience_s <= 0.0:
            raise TimeoutError("timed out")
        self.socket.settimeout(self.patience_s)
        moved, began = 0, monotonic()
        self.since = began
        try:
            moved = move(data)
        finally:
            self.since = None
            waited, earned = monotonic() - began, moved / SLOWEST_BYTES_S if self.is_earning else 0.0
            self.waited_s += waited
            self.patience_s = min(self.patience_s - waited + earned, float(self.server.timeout))
        return moved

    def waited_for_s(self, now: float) -> float:
        """How long in all, for this request, or for a thread, or between two requests."""
        since = self.since
        return self.waited_s + (now - since if since is not None else 0.0)

    def drop(self) -> None:
        """End it: at once, or where a thread waits for its peer, by waking that."""
        self.is_dropped = True
        if self.is_queued:
            self.close()
            return
        with suppress(OSError):
            # Not the shutdown of TLS, which would have to be talked over with the peer.
            socket.socket.shutdown(self.socket, socket.SHUT_RDWR)

    def close(self) -> None:
        if self.server.crowd.leave(self):
            super().close()


class Request(HTTPRequest):
    """A request of which what nobody read is passed over in pieces."""

    def respond(self) -> None:
        self.conn.is_earning = True
        super().respond()

    def send_headers(self) -> None:
        # Read to the end, for a peer that is still sending hears no answer; but not kept, and not for ever.
        self.conn.is_earning = False
        while left := getattr(self.rfile, "remaining", 0):
            if not self.rfile.read(min(left, PIECE_BYTES)):
                raise ConnectionAbortedError("the rest of what was announced did not come")
        self.conn.is_earning = True
        super().send_headers()


Connection.RequestHandlerClass = Request


class Crowd:
    """The open connections of a door."""

    def __init__(self, threads: int) -> None:
        self.threads = threads
        self.is_ending = False
        self._open: dict[Connection, None] = {}
        self._lock = RLock()

    def queue(self, connection: Connection) -> bool:
        """It asks for a thread, and others may have to go for it. False: it is one of those that had to go."""
        with self._lock:
            self._open[connection] = None
            connection.is_queued, connection.waited_s, connection.since = True, 0.0, monotonic()
            self.make_room()
            return not connection.is_dropped

    def serve(self, connection: Connection) -> bool:
        """A thread begins with it. False: it had to go meanwhile."""
        with self._lock:
            connection.is_queued, connection.waited_s, connection.since = False, 0.0, None
            connection.has_thread = not connection.is_dropped
            return connection.has_thread

    def rest(self, connection: Connection) -> None:
        """It is between two requests."""
        connection.has_thread, connection.waited_s, connection.since = False, 0.0, monotonic()

    def leave(self, connection: Connection) -> bool:
        """It is closed. False: it was so before."""
        with self._lock:
            return self._open.pop(connection, self) is not self

    def make_room(self) -> None:
        """Let go who has to; looked after whenever somebody comes, and from time to time."""
        with self._lock:
            now, left = monotonic(), [each for each in self._open if not each.is_dropped]
            for peer, number in Counter(each.remote_addr for each in left).items():
                if number > MOST_FROM_ONE:
                    _thin([each for each in left if each.remote_addr == peer], number - MOST_FROM_ONE, now)
            left = [each for each in left if not each.is_dropped]
            _thin(left, len(left) - OPEN_PER_THREAD * self.threads, now)
            left = [each for each in left if not each.is_dropped]
            served = [each for each in left if each.has_thread]
            wanted = len(served) + sum(each.is_queued for each in left) - self.threads
            _thin([each for each in served if each.waited_for_s(now) >= GIVES_WAY_S], wanted, now)

    def end(self) -> None:
        """Nobody is waited for any more."""
        self.is_ending = True
        with self._lock:
            for each in self._open:
                if each.has_thread and each.since is not None:
                    each.drop()


def _thin(among: Iterable[Connection], by: int, now: float) -> None:
    """Let go so many of them, but none that we are at: always the one waited for longest, of the peer that has most."""
    left = list(among)
    for _ in range(by):
        held_by = Counter(each.remote_addr for each in left)
        able = [each for each in left if each.since is not None]
        if not able:
            return
        longest = max(able, key=lambda each: (held_by[each.remote_addr], each.waited_for_s(now)))
        longest.drop()
        left.remove(longest)

"""Connections that keep nobody else waiting: each is timed, and there are only so many.

The server beneath times only what lies between two requests. Here a request must be whole in good
time too, and an answer must be taken. Where there are too many connections, the one whose request
has been longest in coming is closed for the newest: whoever opens a thousand and says nothing only
pushes out their own.
"""

import asyncio
import sys

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

if sys.platform != "win32":
    import resource

PATIENCE_S = 20.0
SLOWEST_BYTES_PER_S = 20_000  # a large photograph over a weak network is slow, but it comes
MOST_FILES, MOST_CONNECTIONS = 4096, 256
STILL_COMING = {h11.IDLE, h11.SEND_BODY}


def how_many_connections() -> int:
    """Say how many connections one server may hold, after asking for more files if there are few.

    A quarter of the files that may be open: the book needs some, and so may a shop beside it.
    """
    if sys.platform == "win32":  # has no such limit
        return MOST_CONNECTIONS
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    wanted = MOST_FILES if hard == resource.RLIM_INFINITY else min(hard, MOST_FILES)
    if soft != resource.RLIM_INFINITY and soft < wanted:
        resource.setrlimit(resource.RLIMIT_NOFILE, (wanted, hard))
        soft = wanted
    return MOST_CONNECTIONS if soft == resource.RLIM_INFINITY else min(MOST_CONNECTIONS, soft // 4)


class Connection(H11Protocol):
    """One connection: closed when its request is too long in coming, or its answer in going."""

    most = MOST_CONNECTIONS

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Take a connection, closing another if there are too many."""
        super().connection_made(transport)
        self._since = self.loop.time()  # since when we wait for this side
        self._bytes = 0  # of the request that is coming
        self._was_answered = False
        self._request_timer: asyncio.TimerHandle | None = None
        self._answer_timer: asyncio.TimerHandle | None = None
        self._time_request()
        if len(self.connections) > self.most:
            self._make_room()

    def data_received(self, data: bytes) -> None:
        """Take what has come; from its first byte on a request is timed until it is whole."""
        self._bytes += len(data)
        super().data_received(data)
        self._time_request()

    def on_response_complete(self) -> None:
        """Begin to wait for the next request."""
        self._since, self._was_answered, self._bytes = self.loop.time(), True, 0
        super().on_response_complete()

    def pause_writing(self) -> None:
        """Time the other side: it has not taken what was sent."""
        super().pause_writing()
        self._answer_timer = self.loop.call_later(PATIENCE_S, self.transport.abort)

    def resume_writing(self) -> None:
        """Go on: it was taken."""
        _cancel(self._answer_timer)
        super().resume_writing()

    def connection_lost(self, exc: Exception | None) -> None:
        """Let the timers go."""
        _cancel(self._request_timer)
        _cancel(self._answer_timer)
        super().connection_lost(exc)

    def _time_request(self) -> None:
        if self.conn.their_state not in STILL_COMING:
            _cancel(self._request_timer)
            self._request_timer = None
        elif self._request_timer is None:
            self._request_timer = self.loop.call_later(
                PATIENCE_S, self._look_again, self.loop.time()
            )

    def _look_again(self, began: float) -> None:
        left = began + PATIENCE_S + self._bytes / SLOWEST_BYTES_PER_S - self.loop.time()
        if self.flow.read_paused:  # we are the slow ones
            left = PATIENCE_S
        if left > 0:
            self._request_timer = self.loop.call_later(left, self._look_again, began)
        else:
            self.transport.abort()

    def _make_room(self) -> None:
        waiting = [
            other
            for other in self.connections
            if isinstance(other, Connection)
            and other is not self
            and other.conn.their_state in STILL_COMING
            and not other.transport.is_closing()
        ]
        # Who was never answered goes before a browser that keeps its connection.
        first = min(waiting, key=lambda other: (other._was_answered, other._since), default=self)
        first.transport.abort()


def _cancel(timer: asyncio.TimerHandle | None) -> None:
    if timer is not None:
        timer.cancel()

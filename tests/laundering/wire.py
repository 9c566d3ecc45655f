"""The wire between a tablet and the house: it can be cut, and go dead without a word, and be restored.

A browser's own offline switch does not reach its service workers; this does.
"""

import contextlib
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from enum import Enum

SOME = 65536


class State(Enum):
    WHOLE = "whole"
    CUT = "cut"  # nobody listens: refused at once
    DEAD = "dead"  # taken, and never answered
    ONE_WAY = "one way"  # what is asked goes through, the answer does not come back


class Wire:
    """A small TCP proxy on a port of its own."""

    def __init__(self, host: str, port: int) -> None:
        self.there = (host, port)
        self.state = State.WHOLE
        self.asked = threading.Event()  # set once something has gone through
        self._open: set[socket.socket] = set()
        self._lock = threading.Lock()
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port = self._listener.getsockname()[1]
        self.url = f"http://localhost:{self.port}"
        threading.Thread(target=self._take, daemon=True).start()

    def become(self, state: State) -> None:
        """From now on; what runs over the wire breaks off."""
        self.state = state
        self.asked.clear()
        self.break_off()

    def break_off(self) -> None:
        with self._lock:
            for one in self._open:
                with contextlib.suppress(OSError):
                    one.shutdown(socket.SHUT_RDWR)

    def close(self) -> None:
        self._listener.close()
        self.become(State.CUT)

    def _take(self) -> None:
        while True:
            try:
                near, _ = self._listener.accept()
            except OSError:
                return
            if self.state is State.CUT:
                near.close()
            else:
                threading.Thread(target=self._carry, args=[near], daemon=True).start()

    def _carry(self, near: socket.socket) -> None:
        state = self.state
        with contextlib.ExitStack() as stack:
            stack.enter_context(self._known(near))
            if state is State.DEAD:
                while near.recv(SOME):
                    pass
                return
            try:
                far = stack.enter_context(self._known(socket.create_connection(self.there)))
            except OSError:
                return
            back = threading.Thread(target=self._pump, args=[far, near, state is State.WHOLE], daemon=True)
            back.start()
            self._pump(near, far, True)
            back.join()

    def _pump(self, source: socket.socket, target: socket.socket, pass_on: bool) -> None:
        with contextlib.suppress(OSError):
            while data := source.recv(SOME):
                if pass_on:
                    target.sendall(data)
                    self.asked.set()
        with contextlib.suppress(OSError):
            target.shutdown(socket.SHUT_WR)

    @contextmanager
    def _known(self, one: socket.socket) -> Iterator[socket.socket]:
        with self._lock:
            self._open.add(one)
        try:
            yield one
        except OSError:
            pass
        finally:
            with self._lock:
                self._open.discard(one)
            one.close()

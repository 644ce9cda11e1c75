"""Where the simulated bench can be connected to: a pseudo-terminal, or a loopback TCP port."""

from __future__ import annotations

import contextlib
import os
import socket
from typing import Protocol

from benchcheck.words.errors import SetupError

READ_BYTES = 65536
WAITING_BYTES = 65536  # what an instrument's own buffer holds before it drops


class Endpoint(Protocol):
    """One connection point. Nothing here ever blocks."""

    @property
    def filenos(self) -> tuple[int, ...]:
        """What to watch for reading."""

    @property
    def port(self) -> str:
        """The name by which a client opens it as a serial port."""

    @property
    def resource(self) -> str:
        """The name by which a client opens it as an instrument."""

    def read(self) -> bytes:
        """What has come."""

    def put(self, data: bytes, room: int = WAITING_BYTES) -> bool:
        """Keep `data` for the next flush; False if more than `room` would wait: then all of it is dropped."""

    def flush(self) -> bool:
        """Send what was kept; True if nothing waits any more."""

    def discard(self) -> None:
        """Throw away what was sent and not yet read, as far as this side can."""

    def baud(self) -> int | None:
        """The speed that the client has set; None where it can't be seen."""

    def close(self) -> None:
        """Close every descriptor."""


class PtyEndpoint:
    """A pseudo-terminal in raw mode. The slave side is kept open, so that a client may come and go."""

    def __init__(self) -> None:
        import termios
        import tty

        self._termios = termios
        self._speeds = {
            value: int(name[1:])
            for name, value in vars(termios).items()
            if name.startswith("B") and name[1:].isdigit() and name != "B0"
        }
        self._master, self._slave = os.openpty()
        tty.setraw(self._slave)
        os.set_blocking(self._master, False)
        self._waiting = bytearray()
        self._name = os.ttyname(self._slave)

    @property
    def filenos(self) -> tuple[int, ...]:
        return (self._master,)

    @property
    def port(self) -> str:
        return self._name

    @property
    def resource(self) -> str:
        return f"ASRL{self._name}::INSTR"

    def read(self) -> bytes:
        try:
            return os.read(self._master, READ_BYTES)
        except OSError:
            return b""

    def put(self, data: bytes, room: int = WAITING_BYTES) -> bool:
        if len(self._waiting) + len(data) > room:
            return False
        self._waiting += data
        return True

    def flush(self) -> bool:
        while self._waiting:
            try:
                done = os.write(self._master, self._waiting)
            except OSError:
                break
            del self._waiting[:done]
        return not self._waiting

    def discard(self) -> None:
        self._waiting.clear()
        with contextlib.suppress(OSError, self._termios.error):
            self._termios.tcflush(self._slave, self._termios.TCIFLUSH)

    def baud(self) -> int | None:
        try:
            return self._speeds.get(self._termios.tcgetattr(self._slave)[4])
        except (OSError, self._termios.error):
            return None

    def close(self) -> None:
        os.close(self._master)
        os.close(self._slave)


class TcpEndpoint:
    """A listening socket on loopback; the newest client is served, an older one is let go."""

    def __init__(self) -> None:
        self._server = socket.create_server(("127.0.0.1", 0))
        self._server.setblocking(False)
        self._number: int = self._server.getsockname()[1]
        self._client: socket.socket | None = None
        self._old: list[socket.socket] = []
        self._waiting = bytearray()

    @property
    def filenos(self) -> tuple[int, ...]:
        return (self._server.fileno(), *((self._client.fileno(),) if self._client else ()))

    @property
    def port(self) -> str:
        return f"socket://127.0.0.1:{self._number}"

    @property
    def resource(self) -> str:
        return f"TCPIP::127.0.0.1::{self._number}::SOCKET"

    def read(self) -> bytes:
        self._close_old()
        with contextlib.suppress(OSError):
            client, _ = self._server.accept()
            self._drop_client()
            client.setblocking(False)
            client.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            self._client = client
        if self._client is None:
            return b""
        try:
            data = self._client.recv(READ_BYTES)
        except BlockingIOError:
            return b""
        except OSError:
            data = b""
        if not data:
            self._drop_client()
        return data

    def put(self, data: bytes, room: int = WAITING_BYTES) -> bool:
        if self._client is None or len(self._waiting) + len(data) > room:
            return False
        self._waiting += data
        return True

    def flush(self) -> bool:
        while self._waiting and self._client is not None:
            try:
                done = self._client.send(self._waiting)
            except BlockingIOError:
                break
            except OSError:
                self._drop_client()
                break
            del self._waiting[:done]
        return not self._waiting

    def discard(self) -> None:
        self._waiting.clear()

    def baud(self) -> int | None:
        return None

    def close(self) -> None:
        self._drop_client()
        self._close_old()
        self._server.close()

    def _drop_client(self) -> None:
        """Let the client go; its descriptor stays until the next read, so that its number is not taken at once."""
        if self._client is not None:
            with contextlib.suppress(OSError):
                self._client.shutdown(socket.SHUT_RDWR)
            self._old.append(self._client)
            self._client = None
        self._waiting.clear()

    def _close_old(self) -> None:
        for client in self._old:
            client.close()
        self._old.clear()


def make_endpoint(transport: str) -> Endpoint:
    """A new endpoint: `pty`, `tcp`, or `auto`: a pseudo-terminal where the system has them."""
    if transport != "tcp":
        try:
            return PtyEndpoint()
        except (ImportError, AttributeError, OSError) as error:
            if transport == "pty":
                raise SetupError(
                    f"this system gives no pseudo-terminal: {error}", hint="Use --transport tcp instead."
                ) from error
    return TcpEndpoint()

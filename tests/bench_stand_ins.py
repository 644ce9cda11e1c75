"""Stand-ins at the port's other end: pseudo-terminals and loopback sockets with a small thread behind them."""

from __future__ import annotations

import os
import select
import socket
import threading
import time
import tty
from collections.abc import Callable
from types import TracebackType

Reply = bytes | None | Callable[[str], bytes | None]


def until(condition: Callable[[], bool], timeout_s: float = 10.0) -> None:
    """Wait for something that another thread does; fails when it never comes."""
    deadline = time.monotonic() + timeout_s
    pause = threading.Event()
    while not condition():
        assert time.monotonic() < deadline, "waited in vain"
        pause.wait(0.001)


class Pty:
    """A pseudo-terminal. The program under test opens `name`; closing the master is pulling the plug."""

    def __init__(self) -> None:
        self.master, slave = os.openpty()
        tty.setraw(slave)
        self.name = os.ttyname(slave)
        self._slave = slave  # held, so that the terminal outlives a close by the program under test
        self.heard = bytearray()
        self._stop_read, self._stop_write = os.pipe()
        self._thread = threading.Thread(target=self._serve, name="pty stand-in")
        self._thread.start()

    def say(self, data: bytes) -> None:
        os.write(self.master, data)

    def on_bytes(self, data: bytes) -> None:
        self.heard += data

    def unplug(self) -> None:
        if self.master < 0:
            return
        os.write(self._stop_write, b"x")
        self._thread.join()
        os.close(self.master)
        os.close(self._slave)
        self.master = -1

    def __enter__(self):
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.unplug()
        os.close(self._stop_read)
        os.close(self._stop_write)

    def _serve(self) -> None:
        while True:
            ready = select.select([self.master, self._stop_read], [], [])[0]
            if self._stop_read in ready:
                return
            self.on_bytes(os.read(self.master, 4096))


class LineServer:
    """Turns bytes into lines, and lines into replies."""

    def __init__(self, replies: dict[str, Reply]) -> None:
        self.replies = replies
        self.commands: list[str] = []
        self._rest = b""

    def feed(self, data: bytes) -> bytes:
        out = b""
        *lines, self._rest = (self._rest + data).split(b"\n")
        for raw in lines:
            command = raw.decode("ascii", "replace")
            self.commands.append(command)
            reply = self.replies.get(command)
            if reply is None and command.endswith(";*IDN?"):  # what comes first is refused, the rest of the line is not
                reply = self.replies.get("*IDN?")
            answer = reply(command) if callable(reply) else reply
            out += answer or b""
        return out


class PtyLines(Pty):
    """Answers lines on a pseudo-terminal."""

    def __init__(self, replies: dict[str, Reply]) -> None:
        self.lines = LineServer(replies)
        super().__init__()

    def on_bytes(self, data: bytes) -> None:
        answer = self.lines.feed(data)
        if answer:
            self.say(answer)


class TcpLines:
    """Answers lines on a loopback socket, one client at a time."""

    def __init__(self, replies: dict[str, Reply]) -> None:
        self.lines = LineServer(replies)
        self._server = socket.create_server(("127.0.0.1", 0))
        self.port = self._server.getsockname()[1]
        self._client: socket.socket | None = None
        self._stop_read, self._stop_write = os.pipe()
        self._thread = threading.Thread(target=self._serve, name="tcp stand-in")
        self._thread.start()

    def hang_up(self) -> None:
        """Stop serving; the client sees a closed connection."""
        if self._server.fileno() < 0:
            return
        os.write(self._stop_write, b"x")
        self._thread.join()
        if self._client is not None:
            self._client.close()
        self._server.close()

    def say(self, data: bytes) -> None:
        until(lambda: self._client is not None)
        assert self._client is not None
        self._client.sendall(data)

    def __enter__(self):
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.hang_up()
        os.close(self._stop_read)
        os.close(self._stop_write)

    def _serve(self) -> None:
        while True:
            watched: list[object] = [self._server, self._stop_read] + ([self._client] if self._client else [])
            ready = select.select(watched, [], [])[0]
            if self._stop_read in ready:
                return
            if self._server in ready:
                self._client, _ = self._server.accept()
            elif self._client is not None:
                data = self._client.recv(4096)
                if not data:
                    self._client.close()
                    self._client = None
                    continue
                answer = self.lines.feed(data)
                if answer:
                    self._client.sendall(answer)


IDN = b"Harbour Instruments,HM-31,0042,1.7\n"


def meter_replies(ohms: Reply = b"1.500\n", volts: Reply = b"24.02\n", error: Reply = b'+0,"No error"\n'):
    return {"*IDN?": IDN, "MEAS:RES?": ohms, "MEAS:VOLT:DC?": volts, "SYST:ERR?": error}


class SupplyModel:
    """The few commands of a supply, with its state."""

    def __init__(self, refuses: str = "", stuck_on: bool = False) -> None:
        self.on = False
        self.volts = self.limit = 0.0
        self.amps: float | None = None  # what its ammeter shows; None: a published example
        self.trips_above: float | None = None  # amperes above which it switches itself off
        self.says_set = True  # whether it answers VOLT? and CURR?
        self.refuses = refuses
        self.stuck_on = stuck_on
        self.queue: list[bytes] = []
        self.server: PtyLines | None = None

    def drawn(self) -> float:
        """What is plugged draws `amps` at 24 V, and less below."""
        return (self.amps or 0.0) * self.volts / 24.0

    def replies(self) -> dict[str, Reply]:
        return _Replies(self)


class _Replies(dict):
    def __init__(self, model: SupplyModel) -> None:
        super().__init__()
        self.model = model

    def get(self, command, default=None):
        model = self.model
        word, _, value = command.partition(" ")
        if model.refuses and command.startswith(model.refuses):
            model.queue.append(b'-222,"Data out of range"\n')
            return None
        if word == "VOLT":
            model.volts = float(value)
        elif word == "CURR":
            model.limit = float(value)
        elif word == "OUTP":
            model.on = value == "ON" or model.stuck_on
        elif command in ("VOLT?;*IDN?", "CURR?;*IDN?"):
            known = f"{model.volts if word.startswith('VOLT') else model.limit:.4f};" if model.says_set else ""
            if not model.says_set:
                model.queue.append(b'-113,"Undefined header"\n')
            return known.encode() + b"Harbour Instruments,PS-40,7,2.0\n"
        elif word == "OUTP?":
            return b"1\n" if model.on else b"0\n"
        elif word == "MEAS:CURR?":
            if model.amps is None:
                return b"1.50528E-2\n"  # reply form: published programming example of a supply
            amps = min(model.drawn(), model.limit) if model.on else 0.0
            if model.trips_above is not None and amps > model.trips_above:
                model.on = False
            return f"{amps:.5f}\n".encode()
        elif word == "MEAS:VOLT?":
            held = model.amps is not None and model.drawn() > model.limit
            return f"{(model.volts / 2 if held else model.volts) if model.on else 0.0:.4f}\n".encode()
        elif word == "SYST:ERR?":
            return model.queue.pop(0) if model.queue else b'+0,"No error"\n'
        elif word == "*IDN?":
            return b"Harbour Instruments,PS-40,7,2.0\n"
        return default

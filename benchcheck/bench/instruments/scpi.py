"""One instrument that speaks SCPI, through PyVISA with PyVISA-py.

What the libraries leave open is done here: a serial port gets a lock of its own; an answer has one deadline,
on the monotonic clock; an answer that comes after its deadline is never taken for the next one's; a call of the
library that hangs is given up (`own_thread.py`); what a vanished port raises becomes LinkLost. Resources are opened by their explicit name and never searched for
(searching broadcasts on the network).
"""

from __future__ import annotations

import contextlib
import re
import select
import threading
import time
from collections.abc import Callable
from typing import Any, TypeVar

from benchcheck.bench.instruments.own_thread import HungError, OwnThread
from benchcheck.bench.instruments.scpi_words import QueueEntry, parse_error
from benchcheck.bench.port import PORT_ERRORS, PortLock, opening_error, printable
from benchcheck.words.errors import LinkLost, SetupError

T = TypeVar("T")
_SERIAL = re.compile(r"ASRL(?P<port>.+?)(?:::INSTR)?\Z", re.IGNORECASE)
_SOCKET = re.compile(r"TCPIP[0-9]*::(?P<host>[^:\s]+)::(?P<port>[0-9]{1,5})::SOCKET\Z", re.IGNORECASE)
_HOW_TO_WRITE = (
    "Write it as ASRL<port>::INSTR, TCPIP::<address>::<port>::SOCKET or USB0::<maker>::<model>::<serial>::INSTR."
)
_SLICE_MS = 50  # a library call waits no longer than this, so the deadline is ours
_LONGEST_ANSWER = 4096
_STRAY_READS = 64  # how long a babbling instrument is drained before the question is put all the same
_QUEUE_DEPTH = 32  # entries read from an error queue before giving up on it
_GRACE_S = 2.0  # beyond its own deadline, before a call of the library counts as hung
_OPENING_S = 10.0  # beside the time-out: the library is loaded, a name is looked up


class NoAnswerError(Exception):
    """The instrument is there and said nothing usable in time. Drivers turn this into a reading without value."""


class _Manager:
    """One PyVISA resource manager for all instruments, closed with the last of them."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._users = 0
        self._manager: Any = None

    def take(self) -> Any:
        import pyvisa

        with self._lock:
            if self._manager is None:
                self._manager = pyvisa.ResourceManager("@py")
            self._users += 1
            return self._manager

    def give_back(self) -> None:
        with self._lock:
            self._users -= 1
            if self._users == 0:
                manager, self._manager = self._manager, None
                manager.close()


_MANAGER = _Manager()


class Instrument:
    """An open SCPI instrument: `write`, `query`, `errors`. Close it; nothing else does.

    what      what it is to the user, "meter", for messages
    resource  `ASRL/dev/serial/by-id/...::INSTR`, `TCPIP::192.0.2.7::5025::SOCKET`, `USB0::...::INSTR`
    expect    text that must stand in its identity, if the bench's description names one
    """

    def __init__(self, what: str, resource: str, *, expect: str = "", baud: int = 9600, timeout_s: float = 3.0) -> None:
        self.what = what
        self.resource = resource
        self.timeout_s = timeout_s
        self.identity = ""
        self._out_of_step = False
        self._lost = ""
        self._closed = False
        self._lock: PortLock | None = None
        self._session: Any = None
        self._manager: Any = None
        self._thread = OwnThread(f"{what} {resource}")
        try:
            self._thread.call(lambda: self._open(baud), _OPENING_S + timeout_s)
            self._greet(expect)
        except HungError:
            self.close()
            raise SetupError(
                "does not come back from being opened",
                where=self.where,
                hint="Switch it off and on, or pull its cable.",
            ) from None
        except BaseException:
            self.close()
            raise

    @property
    def where(self) -> str:
        return f"{self.what} at {self.resource}"

    def write(self, command: str) -> None:
        """Send one command. LinkLost when the instrument is gone."""
        self._check_open()
        self._in_time(lambda: self._write(command), self.timeout_s + _GRACE_S, f"sending {command}")

    def _in_time(self, work: Callable[[], T], within_s: float, doing: str) -> T:
        try:
            return self._thread.call(work, within_s)
        except HungError:
            self._lost = f"hangs: {doing} does not come back"
            raise LinkLost(self._lost, where=self.where, hint="Switch it off and on, or pull its cable.") from None

    def _write(self, command: str) -> None:
        try:
            self._session.write(command)
        except Exception as error:
            if self._is_timeout(error):
                raise NoAnswerError("it does not take commands") from None
            raise self._link_lost(error) from None

    def query(self, command: str, timeout_s: float | None = None) -> str:
        """The answer to one query, without its line end, printable. NoAnswerError or LinkLost."""
        self._check_open()
        wait_s = self.timeout_s if timeout_s is None else timeout_s
        return self._in_time(
            lambda: self._query(command, wait_s), wait_s + 2 * self.timeout_s + _GRACE_S, f"asking {command}"
        )

    def _query(self, command: str, wait_s: float) -> str:
        if self._out_of_step:
            self._resynchronise()
        self._discard_input()
        self._write(command)
        return self._read_line(wait_s)

    def query_if_known(self, command: str, timeout_s: float = 1.0) -> str | None:
        """The answer to a query that not every instrument knows; None where this one refuses it. LinkLost.

        Its identity is asked in the same line, so that a refusal is heard at once and not waited out.
        """
        try:
            answer = self.query(f"{command};*IDN?", timeout_s)
            self.errors()  # a refusal is left in its queue
        except NoAnswerError:
            return None
        known = answer.removesuffix(self.identity).rstrip()
        return known.removesuffix(";").strip() or None if known != answer and known.endswith(";") else None

    def errors(self) -> list[QueueEntry]:
        """Everything in the instrument's error queue, oldest first; reading empties it. NoAnswerError or LinkLost."""
        found: list[QueueEntry] = []
        for _ in range(_QUEUE_DEPTH):
            entry = parse_error(self.query("SYST:ERR?"))
            if entry.clean:
                return found
            found.append(entry)
            if entry.code is None:
                raise NoAnswerError(f"its error queue answers '{entry.text}'")
        return found

    def close(self) -> None:
        """Close port, session and lock; may be called twice, and after the link was lost."""
        self._closed = True

        def put_away() -> None:
            session, self._session = self._session, None
            manager, self._manager = self._manager, None
            lock, self._lock = self._lock, None
            try:
                if session is not None:
                    # closing a port that is already gone raises what we know already
                    with contextlib.suppress(*PORT_ERRORS):
                        session.close()
            finally:
                if manager is not None:
                    _MANAGER.give_back()
                if lock is not None:
                    lock.release()

        self._thread.end(put_away)

    def _open(self, baud: int) -> None:
        serial_port = _SERIAL.match(self.resource)
        options: dict[str, Any] = {"read_termination": "\n", "write_termination": "\n", "timeout": _SLICE_MS}
        if serial_port:
            options["baud_rate"] = baud
            self._lock = PortLock(serial_port["port"])
        elif "?" in self.resource or "*" in self.resource:
            raise SetupError(
                "is a pattern, not a name", where=self.where, hint="Name the one instrument: searching would broadcast."
            )
        elif self.resource.upper().endswith("::SOCKET"):
            self._check_address()
            options["open_timeout"] = round(self.timeout_s * 1000)
        self._manager = _MANAGER.take()
        failure: BaseException
        try:
            self._session = self._manager.open_resource(self.resource, **options)
            self._send_at_once()
            return
        except Exception as error:
            failure = error
        if serial_port or isinstance(failure, OSError):
            raise opening_error(self.where, failure)
        raise SetupError(f"can't be opened: {printable(str(failure))[:200]}", where=self.where, hint=_HOW_TO_WRITE)

    def _send_at_once(self) -> None:
        """Without this a command that follows another one waits 40 ms on TCP; the library's own switch does nothing."""
        found = self._socket()
        if found is not None:
            import socket

            found[1].setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)

    def _check_address(self) -> None:
        """Before the library sees it: on a name that nobody knows it leaves a socket open."""
        import socket

        address = _SOCKET.match(self.resource)
        if address is None or int(address["port"]) > 65535:
            raise SetupError("is no address", where=self.where, hint=_HOW_TO_WRITE)
        try:
            socket.getaddrinfo(address["host"], int(address["port"]), socket.AF_INET, socket.SOCK_STREAM)
        except (OSError, UnicodeError) as error:
            raise SetupError(
                f"nobody knows the address {printable(address['host'])}: {printable(str(error))}",
                where=self.where,
                hint="Correct it, or write it as four numbers.",
            ) from None

    def _greet(self, expect: str) -> None:
        """Clear what was left over, and learn who answers."""
        try:
            self.write("*CLS")
            identity = self.query("*IDN?")
        except NoAnswerError as error:
            raise SetupError(
                f"does not answer ({error})",
                where=self.where,
                hint="Is it switched on, set to remote, and at the speed that it was set to?",
            ) from None
        except LinkLost as error:
            raise SetupError(f"does not answer ({error.text})", where=self.where, hint="Is it switched on?") from None
        if identity.count(",") < 2 or not any(sign.isalpha() for sign in identity):
            raise SetupError(
                f"something answers there that is no {self.what}: '{identity[:80]}'",
                where=self.where,
                hint="Check which port is which.",
            )
        if expect and expect.casefold() not in identity.casefold():
            raise SetupError(
                f"another instrument answers there: '{identity}'", where=self.where, hint=f"Expected: '{expect}'."
            )
        self.identity = identity

    def _read_line(self, timeout_s: float) -> str:
        """Bytes up to the line end. Byte by byte: a longer read that times out in the library loses what it had."""
        deadline_ns = time.monotonic_ns() + round(timeout_s * 1e9)
        line = bytearray()
        while not line.endswith(b"\n"):
            try:
                line += self._session.read_bytes(1)
            except Exception as error:
                if not self._is_timeout(error):
                    raise self._link_lost(error) from None
                if self._peer_has_closed():
                    raise self._link_lost(error) from None
            if time.monotonic_ns() > deadline_ns and not line.endswith(b"\n"):
                self._out_of_step = True
                heard = f"only '{printable(bytes(line))[:60]}'" if line else "nothing"
                raise NoAnswerError(f"{heard} within {timeout_s:g} s")
            if len(line) > _LONGEST_ANSWER:
                self._out_of_step = True
                raise NoAnswerError(f"more than {_LONGEST_ANSWER} bytes without a line end")
        return printable(bytes(line).strip())

    def _resynchronise(self) -> None:
        """After an answer that was missed: ask for what we know, until we hear it, so nothing late is believed."""
        self._discard_input()
        self._write("*IDN?")
        deadline_ns = time.monotonic_ns() + round(self.timeout_s * 1e9)
        while True:
            left_s = (deadline_ns - time.monotonic_ns()) / 1e9
            if left_s <= 0:
                raise NoAnswerError("it has not answered since")
            if self._read_line(left_s) == self.identity:
                self._out_of_step = False
                return

    def _discard_input(self) -> None:
        """Drop what came unasked before a question is put. LinkLost when the other end has closed."""
        from pyvisa.constants import BufferOperation, InterfaceType

        try:
            if self._session.interface_type == InterfaceType.asrl:
                self._session.flush(BufferOperation.discard_read_buffer)
            else:
                self._discard_from_socket()
        except Exception as error:
            raise self._link_lost(error) from None

    def _socket(self) -> tuple[Any, Any] | None:
        """PyVISA-py's session and the TCP socket in it, to which there is no public door; None for other resources.

        The library's own `clear` waits 0.1 s at least, and for ever on a connection that was closed.
        """
        inner = getattr(self._session.visalib, "sessions", {}).get(self._session.session)
        interface = getattr(inner, "interface", None)
        return (inner, interface) if hasattr(interface, "recv") else None

    def _discard_from_socket(self) -> None:
        found = self._socket()
        if found is None:
            return
        inner, interface = found
        getattr(inner, "_pending_buffer", bytearray()).clear()
        for _ in range(_STRAY_READS):
            if not select.select([interface], [], [], 0)[0]:
                return
            if not interface.recv(_LONGEST_ANSWER):
                raise ConnectionResetError("the other end has closed")

    def _peer_has_closed(self) -> bool:
        """The library takes a closed TCP connection for a slow one."""
        found = self._socket()
        if found is None:
            return False
        import socket

        try:
            return bool(select.select([found[1]], [], [], 0)[0]) and found[1].recv(1, socket.MSG_PEEK) == b""
        except OSError:
            return True

    def _is_timeout(self, error: BaseException) -> bool:
        from pyvisa.constants import StatusCode
        from pyvisa.errors import VisaIOError

        return isinstance(error, VisaIOError) and error.error_code == StatusCode.error_timeout

    def _check_open(self) -> None:
        if self._lost:
            raise LinkLost(self._lost, where=self.where, hint="Check its cable and power, then open it again.")
        if self._closed:
            raise LinkLost("was closed", where=self.where)

    def _link_lost(self, error: BaseException) -> LinkLost:
        self._lost = f"link lost ({printable(' '.join(str(error).split()))[:120] or type(error).__name__})"
        return LinkLost(self._lost, where=self.where, hint="Check its cable and power, then open it again.")

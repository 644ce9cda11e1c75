"""Opening a serial port so that nobody else has it and no unit is rebooted by it.

A port is a device (`/dev/serial/by-id/...`, `COM4`) or a URL that pyserial takes (`socket://127.0.0.1:4001`).
"""

from __future__ import annotations

import contextlib
import errno
import os
import re
from pathlib import Path
from types import TracebackType
from typing import Any

from benchcheck.words.errors import SetupError

try:
    import termios

    # what a port raises when it fails or has gone: the system's own error, pyserial's (one of them), and this
    PORT_ERRORS: tuple[type[Exception], ...] = (OSError, termios.error)
except ImportError:  # not a POSIX system
    PORT_ERRORS = (OSError,)

_ASKING_ERRORS: tuple[type[Exception], ...] = (*PORT_ERRORS, NameError, AttributeError, TypeError, ValueError)
_SETTING_ERRORS: tuple[type[Exception], ...] = (*PORT_ERRORS, ValueError, TypeError)

_FRAMING = re.compile(r"([5-8])([NEOMS])(1|1\.5|2)\Z")


def is_url(port: str) -> bool:
    return "://" in port


def split_framing(framing: str) -> tuple[int, str, float]:
    """`8N1` as data bits, parity letter and stop bits. SetupError when it is none."""
    match = _FRAMING.match(framing.upper())
    if match is None:
        raise SetupError(f"'{framing}' is no framing", hint="Write data bits, parity, stop bits: 8N1, 7E1, 8N2.")
    bits, parity, stop = match.groups()
    return int(bits), parity, float(stop) if "." in stop else int(stop)


def open_port(port: str, *, baud: int = 115200, framing: str = "8N1", timeout_s: float = 0.05) -> Any:
    """An open pyserial port, exclusively ours, DTR and RTS low from the start.

    Opening with DTR high reboots some units, and a plain open succeeds on a port that another program has.
    A pseudo-terminal and a TCP URL have neither line nor lock: pyserial passes over both there.
    SetupError with what, where and what next.
    """
    import serial

    bits, parity, stop = split_framing(framing)
    where = f"port {port}"
    try:
        handle = serial.serial_for_url(port, do_not_open=True, exclusive=True)
        handle.baudrate, handle.bytesize, handle.parity, handle.stopbits = baud, bits, parity, stop
        handle.timeout = timeout_s
        handle.write_timeout = 2.0
        handle.dtr = False
        handle.rts = False
    except _SETTING_ERRORS as error:
        raise SetupError(f"can't be used: {_short(error)}", where=where, hint=existing_ports_hint()) from None
    try:
        handle.open()
    except _SETTING_ERRORS as error:
        close_port(handle)
        if _errno_of(error) == errno.EINVAL:
            raise _refused(port, baud, framing, error) from None
        raise opening_error(where, error) from None
    if not _took(handle, bits, parity):
        close_port(handle)
        raise _refused(port, baud, framing, OSError("it stays at another framing"))
    return handle


def set_speed(handle: Any, baud: int, framing: str) -> None:
    """Another speed and framing on an open port; what it had received is dropped. SetupError when it refuses."""
    bits, parity, stop = split_framing(framing)
    settings = {"baudrate": baud, "bytesize": bits, "parity": parity, "stopbits": stop}
    try:
        handle.apply_settings({**handle.get_settings(), **settings})
        handle.reset_input_buffer()
    except _SETTING_ERRORS as error:
        raise _refused(handle.port, baud, framing, error) from None
    if not _took(handle, bits, parity):
        raise _refused(handle.port, baud, framing, OSError("it stays at another framing"))


def _took(handle: Any, bits: int, parity: str) -> bool:
    """Whether the system has these data bits and this parity, read back: some ports pass over what they don't have."""
    try:
        flags = termios.tcgetattr(handle.fileno())[2]
    except _ASKING_ERRORS:
        return True  # nothing that can be asked
    size = {5: termios.CS5, 6: termios.CS6, 7: termios.CS7, 8: termios.CS8}[bits]
    return flags & termios.CSIZE == size and bool(flags & termios.PARENB) == (parity != "N")


def close_port(handle: Any) -> None:
    """Close a pyserial port, also one whose other end has gone.

    The library leaves a TCP socket open when the connection was closed from the other side.
    """
    inner = getattr(handle, "_socket", None)
    # the port may have gone already; it is closed either way
    with contextlib.suppress(*PORT_ERRORS):
        handle.close()
    if inner is not None:
        inner.close()


def _refused(port: str, baud: int, framing: str, error: BaseException) -> SetupError:
    return SetupError(
        f"does not take {baud} baud {framing}: {_short(error)}",
        where=f"port {printable(port)}",
        hint="Use another adapter for this line, or correct speed and framing.",
    )


def opening_error(where: str, error: BaseException) -> SetupError:
    """What an exception of the system or of a library means to somebody at the bench."""
    code = _errno_of(error)
    text = _short(error)
    if code in (errno.ENOENT, errno.ENXIO, errno.ENODEV) or "FileNotFoundError" in text:
        return SetupError("is not there", where=where, hint=existing_ports_hint())
    if code in (errno.EACCES, errno.EPERM) or "PermissionError" in text:
        return SetupError(
            "may not be opened by this user",
            where=where,
            hint="Join the group that owns the port (often 'dialout' or 'uucp'), log in again, and check that no "
            "other program has it.",
            mend=_join_group(error, where),
        )
    if code in (errno.EAGAIN, errno.EBUSY) or "lock" in text.lower():
        return SetupError(
            "is in use by another program",
            where=where,
            hint="Close the other program, or name another port.",
            mend=f"fuser -v {_port_of(error, where)}" if os.name == "posix" else "",
        )
    if code == errno.ECONNREFUSED or "refused" in text:
        return SetupError("nobody listens there", where=where, hint="Start what should answer, or correct the address.")
    return SetupError(f"can't be opened: {text}", where=where, hint=existing_ports_hint())


def _port_of(error: BaseException | None, where: str) -> str:
    """The device that an error is about: what the system names, else the last word of where it was met."""
    while error is not None:
        name = getattr(error, "filename", None)
        if isinstance(name, str) and name:
            return printable(name)
        error = error.__cause__ or error.__context__
    return where.split()[-1]


def _join_group(error: BaseException, where: str) -> str:
    """The command that lets this user open a port that belongs to a group."""
    if os.name != "posix":
        return ""
    try:
        import grp

        group = grp.getgrgid(Path(_port_of(error, where)).stat().st_gid).gr_name
    except (ImportError, OSError, KeyError):
        group = "dialout"
    return f'sudo usermod -aG {group} "$USER"'


class PortLock:
    """Our own lock on a port that a library opens without one. It is the lock that pyserial takes too.

    Held from before the library opens the port until after it has closed it. Nothing to do for a URL, or on
    a system where every open is exclusive. SetupError when somebody else has the port.
    """

    def __init__(self, port: str) -> None:
        self._fd = -1
        if is_url(port) or os.name != "posix":
            return
        import fcntl

        fd = -1
        try:
            fd = os.open(port, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK | os.O_CLOEXEC)
            fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            if fd >= 0:
                os.close(fd)
            raise opening_error(f"port {port}", error) from None
        self._fd = fd

    def release(self) -> None:
        if self._fd >= 0:
            os.close(self._fd)
            self._fd = -1

    def __enter__(self) -> PortLock:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.release()


def existing_ports() -> list[str]:
    """Serial ports of this machine, by an identity that stays when they are plugged elsewhere where there is one."""
    from serial.tools import list_ports

    stable: dict[str, str] = {}
    by_id = Path("/dev/serial/by-id")
    if by_id.is_dir():
        stable = {str(link.resolve()): str(link) for link in sorted(by_id.iterdir())}
    found = []
    for entry in sorted(list_ports.comports()):
        name = stable.get(str(Path(entry.device).resolve()), entry.device) if os.name == "posix" else entry.device
        found.append(f"{name} (serial number {entry.serial_number})" if entry.serial_number else name)
    return found


def existing_ports_hint() -> str:
    ports = existing_ports()
    if not ports:
        return "This machine has no serial port now: is the adapter plugged in?"
    return "Serial ports here: " + ", ".join(ports[:8]) + (", ..." if len(ports) > 8 else "") + "."


def printable(data: bytes | str) -> str:
    """Received bytes made fit to be shown: nothing in them can move the cursor or colour a screen."""
    text = data.decode("ascii", "backslashreplace") if isinstance(data, bytes) else data
    return "".join(sign if sign.isascii() and sign.isprintable() else ascii(sign)[1:-1] for sign in text)


def _errno_of(error: BaseException | None) -> int | None:
    """Libraries wrap the system's error: look for its number through the chain of causes."""
    while error is not None:
        if isinstance(error, OSError) and error.errno is not None:
            return error.errno
        if isinstance(error, PORT_ERRORS) and error.args and isinstance(error.args[0], int):
            return error.args[0]
        error = error.__cause__ or error.__context__
    return None


def _short(error: BaseException) -> str:
    return printable(" ".join(str(error).split()))[:200] or type(error).__name__

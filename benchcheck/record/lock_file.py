"""One writer for one job: an advisory lock of the operating system on `NAME.job.lock`.

The system lets go of it when the program ends, however it ends, so a kill never leaves a job locked. What the file
says (who holds it) is only for the message.
"""

from __future__ import annotations

import contextlib
import errno
import os
import socket
import sys
from pathlib import Path

from benchcheck.words.errors import RecordError, SetupError

# Windows locks bytes so that nobody can read them: lock one far behind the text.
_LOCKED_BYTE = 1 << 20

if sys.platform == "win32":
    import msvcrt

    def _lock(handle: int) -> None:
        os.lseek(handle, _LOCKED_BYTE, os.SEEK_SET)
        msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)

else:
    import fcntl

    def _lock(handle: int) -> None:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)


_HELD = {errno.EWOULDBLOCK, errno.EAGAIN, errno.EACCES, errno.EDEADLK}


class LockFile:
    """Held from construction to `release`. Raises RecordError when another program holds it."""

    def __init__(self, job: Path, who: str) -> None:
        self._path = job.with_name(job.name + ".lock")
        self._handle = -1
        while self._handle < 0:
            self._handle = self._take(job)
        with contextlib.suppress(OSError):  # a full disk: the lock holds without the words
            os.lseek(self._handle, 0, os.SEEK_SET)
            os.ftruncate(self._handle, 0)
            os.write(self._handle, f"{who}, process {os.getpid()} on {socket.gethostname()}\n".encode())

    def _take(self, job: Path) -> int:
        """The handle, or -1 when the file was removed by the last holder while we waited for it."""
        try:
            handle = os.open(self._path, os.O_RDWR | os.O_CREAT, 0o666)
        except OSError as error:
            raise SetupError(
                f"can't write beside the job record: {error.strerror}",
                where=str(self._path),
                hint="Choose a folder in which you may write, or look at the job with `benchcheck job show`.",
            ) from error
        try:
            _lock(handle)
            if os.path.samestat(os.fstat(handle), self._path.stat()):
                return handle
        except FileNotFoundError:
            pass
        except OSError as error:
            held = error.errno in _HELD
            holder = _holder(handle) if held else ""
            os.close(handle)
            if held:
                raise RecordError(
                    f"the job is open for writing elsewhere{f' ({holder})' if holder else ''}",
                    where=str(job),
                    hint="Close it there first. Looking at it (`benchcheck job show`) is possible meanwhile.",
                ) from error
            raise SetupError(
                f"this folder can't lock files: {error.strerror}",
                where=str(self._path),
                hint="Keep the job on a local disk.",
            ) from error
        os.close(handle)
        return -1

    def release(self) -> None:
        """Let go, and leave no file behind. Safe to call twice."""
        if self._handle < 0:
            return
        # Removed while still held, and `_take` checks that what it locked is still in the folder: nobody gets two.
        with contextlib.suppress(OSError):
            self._path.unlink()
        os.close(self._handle)
        self._handle = -1
        with contextlib.suppress(OSError):
            if sys.platform == "win32":  # an open file can't be removed there; another holder keeps it
                self._path.unlink()


def _holder(handle: int) -> str:
    try:
        os.lseek(handle, 0, os.SEEK_SET)
        return os.read(handle, 200).decode("utf-8", "replace").strip()
    except OSError:
        return ""

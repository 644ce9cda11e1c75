"""Sixteen lines at 115,200 baud at once: is every byte heard, and what does it cost?

By hand: `python tests/bench/lines/bench_lines.py [SECONDS]` (20 by default). Each line is a pseudo-terminal, fed in one other process at 11,520
bytes/s in pieces of 16 bytes, as a converter's buffer hands them on. The share is that of one core, the kernel's work included.
"""

from __future__ import annotations

import multiprocessing
import os
import sys
import time
import tty
from contextlib import ExitStack, closing

from benchcheck.bench.lines.line_hub import LineHub
from benchcheck.bench.lines.serial_line import LineListener

LINES = 16
BYTES_S = 11_520
PIECE = 16


def feed(masters: list[int], seconds: float, ready: object, told: object) -> None:
    ready.wait()  # type: ignore[attr-defined]
    for master in masters:
        os.set_blocking(master, False)
    start, sent, lost = time.monotonic(), 0, 0
    while sent < BYTES_S * seconds:
        left = start + sent / BYTES_S - time.monotonic()
        if left > 0:
            time.sleep(left)
        for number, master in enumerate(masters):
            try:
                lost += PIECE - os.write(master, bytes([65 + number]) * PIECE)
            except BlockingIOError:
                lost += PIECE
        sent += PIECE
    told.put((sent * len(masters), lost))  # type: ignore[attr-defined]
    time.sleep(1.0)


def main(seconds: float) -> None:
    context = multiprocessing.get_context("fork")
    ready, told = context.Event(), context.Queue()
    ports = []
    for _ in range(LINES):
        master, slave = os.openpty()
        tty.setraw(slave)
        ports.append((master, slave, os.ttyname(slave)))
    context.Process(target=feed, args=([master for master, _, _ in ports], seconds, ready, told), daemon=True).start()
    with ExitStack() as stack:
        hub = LineHub()
        lines = []
        for _, _, name in ports:
            line = LineListener(name, 115200, hub=hub)
            line.open()
            lines.append(stack.enter_context(closing(line)))
        ready.set()
        begun, spent, heard = time.monotonic(), time.process_time(), 0
        while told.empty() or time.monotonic() < begun + seconds + 0.3:
            time.sleep(0.1)
            heard += sum(len(chunk.data) for line in lines for chunk in line.drain())
        share = (time.process_time() - spent) / (time.monotonic() - begun)
        sent, lost = told.get()
        print(
            f"{LINES} lines: {sent:,} bytes sent, {lost:,} found the port full, {heard:,} heard; {100 * share:.1f} % of one core"
        )


if __name__ == "__main__":
    main(float(sys.argv[1]) if len(sys.argv) > 1 else 20.0)

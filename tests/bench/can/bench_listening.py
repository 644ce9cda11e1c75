"""Four serial-line adapters at once, each a full 1 Mbit/s bus: is every frame heard, and what does it cost?

By hand: `python tests/bench/can/bench_listening.py [SECONDS]` (60 by default). Each adapter is a pseudo-terminal, fed in a process of its
own at 9,000 frames/s of 8 bytes, evenly as a full bus gives them. Heard here as in a live stage: read, parsed, tallied
with exact bits, written to a capture. What the library's own reader makes of one such adapter is measured beside it. The share is that
of one core, all threads of this process, the kernel's work for it included.
"""

from __future__ import annotations

import multiprocessing
import os
import sys
import tempfile
import time
import tty
from contextlib import ExitStack, closing
from pathlib import Path

import can

from benchcheck.bench.can.can_adapter import CanAdapter
from benchcheck.bench.clock import Clock
from benchcheck.capture.pcapng_writer import CaptureWriter
from benchcheck.traffic.tallies.traffic_tally import TrafficTally

RATE = 9_000
BATCH = 18  # frames in 2 ms
ADAPTERS = 4


def feed(master: int, seconds: float, ready: object, told: object) -> None:
    """Play one adapter: answers come from a yes to everything, then frames on an absolute schedule."""
    lines = [b"T18FE%04X8%016X\r" % (number & 0xFFFF, number) for number in range(RATE)]
    while b"L\r" not in os.read(master, 4096):
        os.write(master, b"\r")
    os.write(master, b"\r")
    ready.wait()  # type: ignore[attr-defined]
    os.set_blocking(master, False)
    start, lost, sent = time.monotonic(), 0, 0
    while sent < RATE * seconds:
        due = start + sent / RATE
        left = due - time.monotonic()
        if left > 0:
            time.sleep(left)
        at = sent % RATE
        text = b"".join(lines[at : at + BATCH])
        try:
            written = os.write(master, text)
        except BlockingIOError:
            written = 0
        if written < len(text):  # the port is full: as with a real one, what comes now is lost, by whole lines
            kept = text[:written].count(b"\r")
            lost += BATCH - kept
            rest = (
                text[written : text.find(b"\r", written) + 1]
                if written and text[written - 1 : written] != b"\r"
                else b""
            )
            while rest:
                try:
                    rest = rest[os.write(master, rest) :]
                except BlockingIOError:
                    time.sleep(0.0005)
        sent += BATCH
    told.put((sent, lost))  # type: ignore[attr-defined]
    time.sleep(1.0)


def main(seconds: float) -> None:
    context = multiprocessing.get_context("fork")
    ready, told = context.Event(), context.Queue()
    with ExitStack() as stack:
        folder = stack.enter_context(tempfile.TemporaryDirectory())
        ports = []
        for _ in range(ADAPTERS):
            master, slave = os.openpty()
            tty.setraw(slave)
            ports.append((master, slave, os.ttyname(slave)))
            context.Process(target=feed, args=(master, seconds, ready, told), daemon=True).start()
        clock = Clock()
        adapters = []
        for number, (_, _, name) in enumerate(ports):
            adapter = CanAdapter(f"can{number}", "slcan", name, 1_000_000, bus_index=number, clock=clock)
            adapter.open()
            adapters.append(stack.enter_context(closing(adapter)))
        writer = stack.enter_context(CaptureWriter(Path(folder) / "live.pcapng"))
        interfaces = [writer.add_bus(adapter.bus, 1_000_000) for adapter in adapters]
        tally = TrafficTally()
        ready.set()
        begun, spent = time.monotonic(), time.process_time()
        done: list[tuple[int, int]] = []
        while len(done) < ADAPTERS or time.monotonic() < begun + seconds + 0.5:
            time.sleep(0.1)
            for adapter, interface in zip(adapters, interfaces, strict=True):
                batch = adapter.drain()
                if len(batch):
                    tally.update(batch)
                    writer.write_frames(interface, batch)
            writer.keep_up(clock.stamp_ns())
            while not told.empty():
                done.append(told.get())
        took = time.monotonic() - begun
        share = (time.process_time() - spent) / took
        sent, lost = (sum(column) for column in zip(*done, strict=True))
        dropped = sum(adapter.counts.dropped for adapter in adapters)
        garbled = sum(adapter.counts.garbled for adapter in adapters)
        print(
            f"{ADAPTERS} adapters, {sent:,} frames in {took:.1f} s: {tally.frames:,} heard, {lost:,} found the port full, "
            f"{dropped} dropped, {garbled} garbled; {100 * share:.1f} % of one core"
        )
    library(min(seconds, 10.0))


def library(seconds: float) -> None:
    """One adapter, read by python-can's own interface."""
    context = multiprocessing.get_context("fork")
    ready, told = context.Event(), context.Queue()
    master, slave = os.openpty()
    tty.setraw(slave)
    process = context.Process(target=feed, args=(master, seconds, ready, told), daemon=True)
    process.start()
    with can.Bus(
        interface="slcan",
        channel=os.ttyname(slave),
        bitrate=1_000_000,
        listen_only=True,
        sleep_after_open=0.0,
        ignore_config=True,
    ) as bus:
        ready.set()
        heard, spent, begun = 0, time.process_time(), time.monotonic()
        while told.empty() or time.monotonic() < begun + seconds:
            heard += bus.recv(timeout=0.1) is not None
        share = (time.process_time() - spent) / (time.monotonic() - begun)
    sent, lost = told.get()
    print(
        f"the library's own reader, one adapter: {heard:,} of {sent:,} heard ({lost:,} found the port full); {100 * share:.0f} % of one core"
    )
    process.join()


if __name__ == "__main__":
    main(float(sys.argv[1]) if len(sys.argv) > 1 else 60.0)

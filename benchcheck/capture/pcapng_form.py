"""The pcapng file format as far as this project writes and reads it.

Blocks and options: IETF draft-ietf-opsawg-pcapng. Link types: the registry at tcpdump.org. Three are used:

LINKTYPE_CAN_SOCKETCAN (227), one frame a packet:
    identifier and flag bits, 4 bytes, big-endian: 0x80000000 extended, 0x40000000 remote, 0x20000000 error
    length of data, 1 byte; for a remote frame the bytes it asks for, with no data behind
    FD flags, 1 byte: 0x01 bit-rate switch, 0x02 error state, 0x04 FD frame
    reserved, 1 byte, 0
    length code as sent where a classic frame has one of 9 to 15, 1 byte, else 0
    data: of a classic frame always 8 bytes, those beyond its length 0; readers take any number from the length on

LINKTYPE_USER0 (147), one read or write of a serial line a packet, the payload being this project's own:
    version, 1 byte: 1; 2 where the port tells of framing errors
    direction, 1 byte: 0 received, 1 sent by this bench
    of version 2: how many framing errors the port told of with these bytes, 2 bytes, big-endian; 0 says there were none
    the raw bytes, wrongly framed ones included

LINKTYPE_USER1 (148), marks, the payload being a UTF-8 JSON object with a key `kind` (`power_on`, `step_started`,
`gap`, `continues` and `continued` where a capture goes on in another file, ...) and whatever belongs to it. Readers pass over kinds they don't know.

A mark `gap` says that the recorder did not record everything: `from_ns` and `to_ns`, stamps; `bus` or `line`, the name of
the interface, left out where it is so of all; `why`, in words; `dropped`, how many frames (of a line: packets) are known
to be missing. It stands behind what was recorded meanwhile, and before the statistics that count the same ones. What the
statistics have more of than such marks was dropped somewhere since the statistics before.

Interface options: `if_name` is the name of the bus or line, `if_speed` its bit or baud rate, `if_tsresol` 9 (stamps in
nanoseconds). `if_description` holds words `key=value`: `data_bitrate=` for the second rate of an FD bus, `protocol=` for
a line. Frames that this bench sent have the `epb_flags` direction outbound. Frames that were dropped are the `isb_ifdrop`
and `isb_osdrop` counts of the Interface Statistics Block, which are running totals.
"""

from __future__ import annotations

SECTION_HEADER = 0x0A0D0D0A
INTERFACE_DESCRIPTION = 1
INTERFACE_STATISTICS = 5
ENHANCED_PACKET = 6
BYTE_ORDER_MAGIC = 0x1A2B3C4D

MAGIC = SECTION_HEADER.to_bytes(4, "big")  # reads the same in both byte orders

LINK_CAN = 227
LINK_SERIAL = 147
LINK_MARKS = 148

OPT_END = 0
OPT_COMMENT = 1
SHB_HARDWARE = 2
SHB_USERAPPL = 4
IF_NAME = 2
IF_DESCRIPTION = 3
IF_SPEED = 8
IF_TSRESOL = 9
IF_TSOFFSET = 14
EPB_FLAGS = 2
EPB_DROPCOUNT = 4
ISB_IFRECV = 4
ISB_IFDROP = 5
ISB_OSDROP = 7

EPB_OUTBOUND = 2

CAN_EXTENDED = 0x8000_0000
CAN_REMOTE = 0x4000_0000
CAN_ERROR = 0x2000_0000
FD_BRS = 1
FD_ESI = 2
FD_FRAME = 4

SERIAL_VERSION = 1
SERIAL_CHECKED_VERSION = 2  # the port tells of framing errors
MOST_FRAMING_ERRORS = 0xFFFF
SERIAL_RECEIVED = 0
SERIAL_SENT = 1

LONGEST_BLOCK = 16 * 1024 * 1024  # longer ones are taken for damage

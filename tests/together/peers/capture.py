"""Recorded requests and answers as a capture file that dissectors read: classic pcap, raw IPv4,
one TCP connection of made-up addresses, with its handshake. Checksums are left out (0)."""

import struct

CLIENT, SERVER = bytes((192, 0, 2, 1)), bytes((192, 0, 2, 2))  # RFC 5737: documentation
CLIENT_PORT = 40000
RAW_IPV4 = 228
SYN, ACK, PUSH = 0x02, 0x10, 0x08


class Capture:
    """One connection to `port`; `asked` and `answered` add a segment each."""

    def __init__(self, port):
        self.port = port
        self.packets = []
        self.next = {CLIENT: 1000, SERVER: 5000}
        self._segment(CLIENT, b"", SYN)
        self._segment(SERVER, b"", SYN | ACK)
        self._segment(CLIENT, b"", ACK)

    def asked(self, data):
        self._segment(CLIENT, data, PUSH | ACK)

    def answered(self, data):
        self._segment(SERVER, data, PUSH | ACK)

    def write(self, path):
        head = struct.pack("<IHHiIII", 0xA1B2C3D4, 2, 4, 0, 0, 65535, RAW_IPV4)
        records = [
            struct.pack("<IIII", 1_700_000_000, 1000 * n, len(packet), len(packet)) + packet
            for n, packet in enumerate(self.packets)
        ]
        path.write_bytes(head + b"".join(records))

    def _segment(self, sender, data, flags):
        other = SERVER if sender is CLIENT else CLIENT
        ports = (CLIENT_PORT, self.port) if sender is CLIENT else (self.port, CLIENT_PORT)
        acknowledged = self.next[other] if flags & ACK else 0
        tcp = struct.pack(
            ">HHIIBBHHH", *ports, self.next[sender], acknowledged, 5 << 4, flags, 65535, 0, 0
        )
        size = 20 + len(tcp) + len(data)
        ip = struct.pack(">BBHHHBBH", 0x45, 0, size, len(self.packets), 0, 64, 6, 0)
        self.packets.append(ip + sender + other + tcp + data)
        self.next[sender] += len(data) + (1 if flags & SYN else 0)

#!/usr/bin/env python3
"""Recorded packets by another hand: a general-purpose library's pcap files, and its reading of ours.

    pcaps.py write FOLDER   writes five exchanges of vectors/join in every form below, a folder each, and in the
                            folder `network` what a network says of a gateway whose datagrams do not arrive
    pcaps.py check FOLDER   reads FOLDER/own/<exchange>.pcap, which `cargo test --test formats` wrote there

The library is scapy (PyPI), of which the layers of Ethernet, IP, UDP, ICMP and DNS and the pcap files are used. `tests/all/formats.rs`
reads what is written here.
"""

import gzip
import json
import sys
from datetime import datetime, timezone
from pathlib import Path

from scapy.layers.dns import DNS, DNSQR
from scapy.layers.inet import ICMP, IP, UDP
from scapy.layers.inet6 import ICMPv6DestUnreach, IPv6
from scapy.layers.l2 import CookedLinux, CookedLinuxV2, Dot1AD, Dot1Q, Ether, Loopback
from scapy.utils import PcapNgWriter, RawPcapReader, RawPcapWriter

HERE = Path(__file__).resolve().parent
EXCHANGES = ("jf-02", "jf-05", "jf-08", "jf-19", "jf-23")
KINDS = ("PUSH_DATA", "PUSH_ACK", "PULL_DATA", "PULL_RESP", "PULL_ACK", "TX_ACK")
MACS = {"src": "02:00:00:00:00:07", "dst": "02:00:00:00:00:01"}


def datagrams(exchange):
    """Yields the time in nanoseconds, whether it comes from the gateway, and the octets of each datagram."""
    for line in (HERE / "join" / exchange / "capture.ndjson").read_text(encoding="utf-8").splitlines():
        line = json.loads(line)
        whole, _, fraction = line["at"].removesuffix("Z").partition(".")
        seconds = int(datetime.fromisoformat(whole).replace(tzinfo=timezone.utc).timestamp())
        at = seconds * 10**9 + int(fraction.ljust(9, "0"))
        up = line["kind"] in ("PUSH_DATA", "PULL_DATA", "TX_ACK")
        octets = bytes([2]) + bytes.fromhex(line["token"]) + bytes([KINDS.index(line["kind"])])
        if up:
            octets += bytes.fromhex(line["gateway"])
        if line.get("datagram") is not None:
            octets += json.dumps(line["datagram"]).encode()
        yield at, up, octets


def v4(up, octets):
    ends = {"src": "192.0.2.7", "dst": "192.0.2.1"} if up else {"src": "192.0.2.1", "dst": "192.0.2.7"}
    return IP(**ends) / udp(up, octets)


def v6(up, octets):
    ends = {"src": "2001:db8::7", "dst": "2001:db8::1"} if up else {"src": "2001:db8::1", "dst": "2001:db8::7"}
    return IPv6(**ends) / udp(up, octets)


def udp(up, octets):
    return UDP(sport=40123 if up else 1700, dport=1700 if up else 40123) / octets


LINKS = {
    "ethernet": (1, lambda ip: Ether(**MACS) / ip),
    "vlan": (1, lambda ip: Ether(**MACS) / Dot1Q(vlan=7) / ip),
    "vlan-in-vlan": (1, lambda ip: Ether(**MACS) / Dot1AD(vlan=8) / Dot1Q(vlan=7) / ip),
    "cooked": (113, lambda ip: CookedLinux(proto=0x0800 if ip.version == 4 else 0x86DD) / ip),
    "cooked-2": (276, lambda ip: CookedLinuxV2(proto=0x0800 if ip.version == 4 else 0x86DD) / ip),
    "raw": (101, lambda ip: ip),
    "null": (0, lambda ip: Loopback(type=2 if ip.version == 4 else 30) / ip),
}


def write(folder):
    for exchange in EXCHANGES:
        into = folder / exchange
        into.mkdir(parents=True, exist_ok=True)
        for family, ip in (("v4", v4), ("v6", v6)):
            packets = [(at, ip(up, octets)) for at, up, octets in datagrams(exchange)]
            for link, (number, layer) in LINKS.items():
                framed = [(at, layer(packet)) for at, packet in packets]
                name = f"{link}-{family}"
                for order, nano in (("<", False), (">", False), ("<", True), (">", True)):
                    end = ("little" if order == "<" else "big") + ("-nano" if nano else "")
                    path = into / f"{name}-{end}.pcap"
                    with RawPcapWriter(str(path), linktype=number, endianness=order, nano=nano) as out:
                        out.write_header(framed[0][1])
                        for at, packet in framed:
                            part = at % 10**9
                            octets = bytes(packet)
                            out.write_packet(octets, sec=at // 10**9, usec=part if nano else part // 1000)
                blocks = into / f"{name}.pcapng"
                with PcapNgWriter(str(blocks)) as out:
                    out.write_header(framed[0][1])
                    for at, packet in framed:
                        # It counts in microseconds, cut off: half a one keeps a float from falling short.
                        out.write_packet(packet, sec=(at + 500) / 10**9)
                (into / f"{name}.pcapng.gz").write_bytes(gzip.compress(blocks.read_bytes()))
        print(f"{exchange}: {len(list(into.iterdir()))} files")


GATEWAY = bytes.fromhex("020000fffeea0051")
BEGINS = 1_775_889_000


def network(folder):
    """Three minutes of a gateway whose server's port is closed, whose server is away, or whose server has no name."""
    into = folder / "network"
    into.mkdir(parents=True, exist_ok=True)
    for family, layer, error in (
        ("v4", v4, {
            "port": lambda up: v4_answer() / ICMP(type=3, code=3) / bytes(up)[:28 + 8],
            "host": lambda up: v4_answer("192.0.2.254") / ICMP(type=3, code=1) / bytes(up)[:28],
        }),
        ("v6", v6, {
            "port": lambda up: v6_answer() / ICMPv6DestUnreach(code=4) / bytes(up),
            "host": lambda up: v6_answer("2001:db8::fe") / ICMPv6DestUnreach(code=3) / bytes(up),
        }),
    ):
        for what, answer in error.items():
            packets = []
            for n in range(18):
                pull = layer(True, bytes([2, n, 0x51, 2]) + GATEWAY)
                packets += [(BEGINS + 10 * n, pull), (BEGINS + 10 * n + 0.02, answer(pull))]
            save(into / f"{what}-{family}.pcap", packets)
        names = []
        for n in range(12):
            question = DNS(id=n, rd=1, qd=DNSQR(qname="lns.orchard.example"))
            answer = DNS(id=n, qr=1, ra=1, rcode=3, qd=DNSQR(qname="lns.orchard.example"))
            names += [
                (BEGINS + 15 * n, dns(layer, True, question)),
                (BEGINS + 15 * n + 0.03, dns(layer, False, answer)),
            ]
        save(into / f"name-{family}.pcap", names)
    print(f"network: {len(list(into.iterdir()))} files")


def v4_answer(src="192.0.2.1"):
    return IP(src=src, dst="192.0.2.7")


def v6_answer(src="2001:db8::1"):
    return IPv6(src=src, dst="2001:db8::7")


def dns(layer, up, message):
    packet = layer(up, bytes(message))
    packet[UDP].sport, packet[UDP].dport = (40124, 53) if up else (53, 40124)
    return packet


def save(path, packets):
    with RawPcapWriter(str(path), linktype=1) as out:
        framed = [(at, Ether(**MACS) / packet) for at, packet in packets]
        out.write_header(framed[0][1])
        for at, packet in framed:
            out.write_packet(bytes(packet), sec=int(at), usec=round(at % 1 * 1e6))


def check(folder):
    """Every packet of our writer is IP and UDP with the checksums that the library computes."""
    for exchange in EXCHANGES:
        wanted = list(datagrams(exchange))
        with RawPcapReader(str(folder / "own" / f"{exchange}.pcap")) as own:
            assert own.nano and own.linktype == 101, (own.nano, own.linktype)
            packets = list(own)
        assert len(packets) == len(wanted), (len(packets), len(wanted))
        for (octets, meta), (at, up, payload) in zip(packets, wanted):
            assert meta.sec * 10**9 + meta.usec == at
            assert meta.caplen == meta.wirelen == len(octets)
            packet = IP(octets)
            assert json_of(bytes(packet[UDP].payload), up) == json_of(payload, up)
            sums = packet.chksum, packet[UDP].chksum
            del packet.chksum, packet[UDP].chksum
            again = IP(bytes(packet))
            assert sums == (again.chksum, again[UDP].chksum), sums
    print(f"{len(EXCHANGES)} files of ours hold")


def json_of(octets, up):
    """The header as it is, and what the JSON says: its spaces are each writer's own."""
    at = 12 if up else 4
    return octets[:at], json.loads(octets[at:]) if octets[at:] else None


if __name__ == "__main__":
    for step in {"write": (write, network), "check": (check,)}[sys.argv[1]]:
        step(Path(sys.argv[2]))

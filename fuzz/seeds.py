#!/usr/bin/env python3
"""Lays the vectors into fuzz/corpus/<target>/ as seeds: frames as octets, captures and rosters whole."""

import gzip
import hashlib
import json
import struct
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
VECTORS = HERE.parent / "vectors"
FRAME_MEMBERS = {"phy_hex", "phy_payload", "decrypted_hex", "opened_hex"}


def frames(value):
    if isinstance(value, dict):
        for name, member in value.items():
            if name in FRAME_MEMBERS and isinstance(member, str):
                yield bytes.fromhex(member)
            else:
                yield from frames(member)
    elif isinstance(value, list):
        for member in value:
            yield from frames(member)


def files(*folders):
    for folder in folders:
        yield from (path for path in sorted((VECTORS / folder).rglob("*")) if path.is_file())


def seeds(target):
    yield from (path.read_bytes() for path in files(f"fuzz/{target}"))
    if target == "frame":
        for path in files("frames", "crypto"):
            yield from frames(json.loads(path.read_text(encoding="utf-8")))
    elif target == "intake":
        yield from (p.read_bytes() for p in files("intake", "join") if p.suffix != ".toml")
    elif target == "pcap":
        text = (VECTORS / "intake" / "orchard.ndjson").read_text(encoding="utf-8")
        for whole in (pcap(text), pcapng(text), loratap_file()):
            yield whole
            yield gzip.compress(whole)
        yield zstd(pcap(text))
    elif target == "loratap":
        yield from (loratap(version) for version in (0, 1))
    elif target == "log":
        yield from (line.encode() for line in LOG_LINES)
        yield from (json.dumps(message).encode() for message in EVENTS)
    elif target == "station":
        yield "\n".join(json.dumps(message) for message in STATION).encode()
        yield from (json.dumps(message).encode() for message in STATION)
    elif target == "console":
        yield from ("\n".join(lines).encode() for lines in CONSOLES)
    elif target == "roster":
        yield from (p.read_bytes() for p in files("intake", "join") if p.suffix == ".toml")


UPLINK = "40dabb0102800200022721029daeaf9ee9"
DOWNLINK = "60dabb0102a00500007efc0f41fe4bd10617"
LOG_LINES = (
    f"2026-03-02T08:00:03.210Z gateway 020000fffea09442 rx {UPLINK} 868.1 MHz SF7BW125 rssi -84 snr 7.5",
    "[2026-03-02 08:00:03,210] INFO PHYPayload: 40 DA BB 01 02 80 02 00 02 27 21 02 9D AE AF 9E E9",
    "08:00:03.210 data QNq7AQKAAgACJyECna6vnuk= lora",
    '1772438403.210 PUSH_DATA {"rxpk":[{"tmst":5,"freq":868.1,"datr":"SF7BW125","data":"QNq7AQKAAgACJyECna6vnuk="}]}',
    "Mar  2 08:00:03 shed TX_ACK token 353c TOO_LATE",
)
CONSOLES = (
    ("join request", "2205.8 ms tx done", "8587.8 ms receive on 868.1 MHz SF9"),
    ("[2205] TX_DONE", "[8587] RX1 868100000"),
    ("I (2205) mac: TX_COMPLETE", "I (8587) mac: RX_WINDOW_1"),
    ("23:59:58.205 tx done", "00:00:04.587 rx1 867.1"),
)
EVENTS = (
    {"time": 1772438403.25, "event": {"phyPayload": UPLINK, "heard": [{"gatewayId": "020000fffea09442",
     "rssi": -84, "snr": 7.5, "context": "AAAABQ=="}], "radio": {"frequency": 868100000, "sf": 7, "bw": 125}}},
    {"downlinkId": 7, "items": [{"phyPayload": DOWNLINK, "timing": {"delay": "1s"}, "context": "AAAABQ=="},
                                {"phyPayload": DOWNLINK, "timing": {"delay": "2s"}, "context": "AAAABQ=="}]},
    {"downlinkId": 7, "items": [{"status": "TOO_LATE"}, {"status": "OK"}]},
)
STATION = (
    {"router": "::2"},
    {"msgtype": "router_config", "NetID": [1], "region": "EU863", "DRs": [[12, 125, 0], [0, 0, 0], [-1, 0, 0]],
     "JoinEui": [["0-0-0-0-0-0-0-1", "::f"]], "upchannels": [[868100000, 0, 5]], "freq_range": [863000000, 870000000]},
    {"msgtype": "jreq", "MHdr": 0, "JoinEui": "::1", "DevEui": "02-00-00-FF-FE-1A-2B-3C", "DevNonce": 258,
     "MIC": -174315986, "DR": 0, "Freq": 868300000, "upinfo": {"xtime": 281474976711680, "rssi": -84, "snr": 7.5}},
    {"msgtype": "updf", "MHdr": 64, "DevAddr": 33668058, "FCtrl": 128, "FCnt": 2, "FOpts": "", "FPort": -1,
     "FRMPayload": "", "MIC": -1},
    {"msgtype": "dnmsg", "dC": 0, "diid": 9, "pdu": DOWNLINK, "RxDelay": 1, "RX1DR": 0, "RX1Freq": 868300000,
     "RX2DR": 0, "RX2Freq": 869525000, "xtime": 281474976711680},
    {"msgtype": "dntxed", "diid": 9, "DR": 0, "Freq": 869525000},
    {"msgtype": "dnsched", "schedule": [{"DR": 0, "Freq": 869525000, "pdu": DOWNLINK, "gpstime": 1456500022000000}]},
)


def packets(text):
    """The datagrams of capture lines as IPv4 packets, checksums left out."""
    kinds = ("PUSH_DATA", "PUSH_ACK", "PULL_DATA", "PULL_RESP", "PULL_ACK", "TX_ACK")
    for line in text.splitlines():
        line = json.loads(line) if line.startswith("{") else {}
        kind = line.get("kind")
        if kind not in kinds:
            continue
        up = kind in ("PUSH_DATA", "PULL_DATA", "TX_ACK")
        octets = bytes([2]) + bytes.fromhex(line.get("token", "0000")) + bytes([kinds.index(kind)])
        octets += bytes.fromhex(line.get("gateway", "00" * 8)) if up else b""
        octets += json.dumps(line["datagram"]).encode() if line.get("datagram") else b""
        ports = (40123, 1700) if up else (1700, 40123)
        udp = struct.pack(">HHHH", *ports, 8 + len(octets), 0) + octets
        ends = [bytes([192, 0, 2, 7]), bytes([192, 0, 2, 1])]
        ends = ends if up else ends[::-1]
        yield struct.pack(">BBHHHBBH", 0x45, 0, 20 + len(udp), 0, 0, 64, 17, 0) + b"".join(ends) + udp


def pcap(text, link=101, records=None):
    out = struct.pack("<IHHIIII", 0xA1B2C3D4, 2, 4, 0, 0, 262144, link)
    for packet in records or packets(text):
        out += struct.pack("<IIII", 1776492603, 0, len(packet), len(packet)) + packet
    return out


def pcapng(text):
    def block(kind, body):
        body += bytes(-len(body) % 4)
        length = struct.pack(">I", len(body) + 12)
        return struct.pack(">I", kind) + length + body + length

    out = block(0x0A0D0D0A, struct.pack(">IHHq", 0x1A2B3C4D, 1, 0, -1))
    out += block(1, struct.pack(">HHI", 101, 0, 0) + struct.pack(">HHB3x", 9, 1, 9) + bytes(4))
    for packet in packets(text):
        head = struct.pack(">IIIII", 0, 0x18A7, 0x5C3B0000, len(packet), len(packet))
        out += block(6, head + packet)
    return out


def loratap(version):
    head = struct.pack(">BBHIBBBBBbB", version, 0, 35 if version else 15, 868300000, 1, 9, 55, 255, 255, 30, 0x34)
    more = bytes.fromhex("020000fffea09442") + struct.pack(">IBBHBBH", 369601898, 8, 5, 0, 1, 1, 0)
    return head + (more if version else b"") + bytes.fromhex("40dabb0102800200022721029daeaf9ee9")


def loratap_file():
    return pcap("", 270, [loratap(0), loratap(1)])


def zstd(octets):
    """One frame of one raw block: magic, descriptor, window, block header (RFC 8878, 3.1.1)."""
    assert len(octets) < 1 << 17
    return bytes([0x28, 0xB5, 0x2F, 0xFD, 0, 0x58]) + (len(octets) << 3 | 1).to_bytes(3, "little") + octets


def main(target):
    corpus = HERE / "corpus" / target
    corpus.mkdir(parents=True, exist_ok=True)
    laid = {hashlib.sha1(octets).hexdigest(): octets for octets in seeds(target)}
    for name, octets in laid.items():
        (corpus / name).write_bytes(octets)
    print(f"{target}: {len(laid)} seeds")


if __name__ == "__main__":
    main(sys.argv[1])

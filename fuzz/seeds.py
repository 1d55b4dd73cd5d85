#!/usr/bin/env python3
"""Lays the vectors into fuzz/corpus/<target>/ as seeds: frames as octets, captures and rosters whole."""

import hashlib
import json
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
    elif target == "roster":
        yield from (p.read_bytes() for p in files("intake", "join") if p.suffix == ".toml")


def main(target):
    corpus = HERE / "corpus" / target
    corpus.mkdir(parents=True, exist_ok=True)
    laid = {hashlib.sha1(octets).hexdigest(): octets for octets in seeds(target)}
    for name, octets in laid.items():
        (corpus / name).write_bytes(octets)
    print(f"{target}: {len(laid)} seeds")


if __name__ == "__main__":
    main(sys.argv[1])

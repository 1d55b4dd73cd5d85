#!/usr/bin/env python3
"""Reads the text of `--working` back and does each step again with an AES of its own.

Usage: check_working.py PROGRAM

AES and CMAC come from the `cryptography` package. What a step is given is taken from the text, and
everything else is computed: a step that comes out otherwise, a name that no step bears, a line that
is none of the layout ends the run with status 1. Blocks, keys and MICs are held against values worked
by hand from LoRaWAN 1.0.4 and 1.1, which `recompute.py` computes as well.
"""

import json
import re
import subprocess
import sys
from collections import Counter

from cryptography.hazmat.primitives.ciphers import Cipher, algorithms, modes
from cryptography.hazmat.primitives.cmac import CMAC

OCTET = "[0-9A-F]{2}"
OCTETS = re.compile(rf"{OCTET}( {OCTET})*$")


class Wrong(Exception):
    pass


def aes(key, block):
    if len(block) != 16:
        raise Wrong(f"{len(block)} octets are no block")
    worker = Cipher(algorithms.AES(key), modes.ECB()).encryptor()
    return worker.update(block) + worker.finalize()


def double(block):
    value = int.from_bytes(block, "big") << 1
    return ((value & (1 << 128) - 1) ^ (0x87 if value >> 128 else 0)).to_bytes(16, "big")


def pad(octets):
    return octets + b"\x80" + bytes(15 - len(octets))


def xor(parts):
    out = parts[0]
    for part in parts[1:]:
        out = bytes(a ^ b for a, b in zip(out, part))
    return out


class Step:
    def __init__(self, name):
        self.name, self.formula, self.parts, self.output = name, "", [], None


def sheets(text):
    """The sheets of a text: a title, the steps, the last sentence."""
    found, sheet, step, where = [], None, None, None
    for line in text.splitlines():
        if line.startswith("Working: "):
            sheet, step = {"title": line[9:], "steps": [], "end": ""}, None
            found.append(sheet)
            continue
        if sheet is None or not line.strip() or line.startswith("  Signs: "):
            sheet = sheet if line.strip() and not line.startswith("  Signs: ") else None
            continue
        head = re.match(r"  (\S+) +?= (.+)$", line)
        output = re.match(r"   +?= (.+)$", line)
        part = re.match(rf"    (\S+) +({OCTET}(?: {OCTET})*)(?:  (?! ).*)?$", line)
        more = re.match(rf" +({OCTET}(?: {OCTET})*)$", line)
        if re.match(r"  \S", line) and head:
            step = Step(head[1])
            sheet["steps"].append(step)
            if OCTETS.match(head[2]):
                step.output, where = bytes.fromhex(head[2]), "output"
            elif head[2] == "(nothing)":
                step.output, where = b"", None
            else:
                step.formula, where = head[2], "formula"
        elif re.match(r"  \S", line):
            sheet["end"] = line.strip()
        elif output:
            step.output = b"" if output[1] == "(nothing)" else bytes.fromhex(output[1])
            where = "output"
        elif where == "formula" and line.strip().startswith("| "):
            step.formula += " " + line.strip()
        elif part and where in ("formula", "part") and re.match(r"    \S", line):
            step.parts.append([part[1], bytes.fromhex(part[2])])
            where = "part"
        elif more and where == "output":
            step.output += bytes.fromhex(more[1])
        elif more and where == "part":
            step.parts[-1][1] += bytes.fromhex(more[1])
        elif re.match(r" +\(", line) or where == "note":
            where = {"part": "part"}.get(where, "note")
        else:
            raise Wrong(f"no line of a working: {line!r}")
    return found


def redo(sheet, counts):
    """Does every step again; returns the outputs by name."""
    known = {}

    def of(name):
        if name not in known:
            raise Wrong(f"{sheet['title']}: nothing before is called {name}")
        return known[name]

    for step in sheet["steps"]:
        if step.name in known:
            raise Wrong(f"{sheet['title']}: two steps are called {step.name}")
        formula = step.formula
        if not formula:
            kind, ours = "given", step.output
        elif found := re.fullmatch(r"AES\((\S+), (\S+)\)", formula):
            kind, ours = "AES", aes(of(found[1]), of(found[2]))
        elif found := re.fullmatch(r"double\((\S+)\)", formula):
            kind, ours = "double", double(of(found[1]))
        elif found := re.fullmatch(r"pad\((\S+)\)", formula):
            kind, ours = "pad", pad(of(found[1]))
        elif found := re.fullmatch(r"(\S+)\[(\d+)\.\.(\d+)\]", formula):
            kind, ours = "octets", of(found[1])[int(found[2]):int(found[3]) + 1]
        elif " xor " in formula:
            kind, ours = "xor", xor([of(name) for name in formula.split(" xor ")])
        else:
            names = formula.split(" | ")
            if names != [name for name, _ in step.parts]:
                raise Wrong(f"{step.name}: {formula} is not joined of {step.parts}")
            for name, octets in step.parts:
                if name in known and known[name] != octets:
                    raise Wrong(f"{step.name}: its part {name} is not the {name} above")
            kind, ours = "join", b"".join(octets for _, octets in step.parts)
        if ours != step.output:
            raise Wrong(f"{sheet['title']}: {step.name} = {formula}: ours {ours.hex()}, "
                        f"given {step.output.hex()}")
        known[step.name] = ours
        counts[kind] += 1
    whole_cmac(sheet, known)
    return known


def whole_cmac(sheet, known):
    """The chain as a whole is the CMAC that the package computes."""
    if "T" not in known:
        return
    key = next(step.name for step in sheet["steps"] if step.name.endswith("Key"))
    worker = CMAC(algorithms.AES(known[key]))
    worker.update(known["M"])
    if worker.finalize() != known["T"]:
        raise Wrong(f"{sheet['title']}: T is not the CMAC of M under {key}")


APP = "2B7E151628AED2A6ABF7158809CF4F3C"
NWK = "00112233445566778899AABBCCDDEEFF"
REQUEST = "0001000BFEFF0000023C2B1AFEFF00000202012E269CF5"
REQUEST_11 = "0001000BFEFF0000023C2B1AFEFF00000202018AFBF774"
ACCEPT = "20D94ACFD06540984F241461506659C3AAADB5152AAFF250202FBA28E71693051D"
ACCEPT_11 = "2052AF301BCA7BE931C662CDDA61CB6739"
ACCEPT_OF_REJOIN = "208DB08CAB02D8DEDD56A23FEA6EA304BC"
REJOIN_0 = "C0000100003C2B1AFEFF0000020100623EFA5B"
REJOIN_1 = "C00101000BFEFF0000023C2B1AFEFF00000201003A1DAE15"
WHO = ["--dev-eui", "020000FFFE1A2B3C", "--join-eui", "020000FFFE0B0001"]
SESSION = ["--nwk-s-key", "4BFD96BCE7BDA8054D563C80486C0390",
           "--app-s-key", "4C4ADDCE1783C8B89B98C1B43AD17E09"]
SESSION_11 = ["--f-nwk-s-int-key", "D7CBEEC26F99D59820EBB411DD1E4EEC",
              "--s-nwk-s-int-key", "AC70BCE4F43A128378AEB3702AEED5DD",
              "--nwk-s-enc-key", "FAEBAE13DA4F4D4C1B1393C7A7A34C81",
              "--app-s-key", "24EC05F37545D6566A7B28941A197B3F"]
UPLINK_11 = "40DABB0102220100ED41023B6C5DDA8CDC0AEF"
# FCnt 9, port 2: 40 octets of payload, three blocks; its MIC is not this one
LONG = "40DABB01028009000220" + "5A" * 39 + "00000000"

# Each: what is run, then outputs that must come out, by name; `T` of a sheet before is not looked at.
CASES = [
    (["read", REQUEST, "--app-key", APP], {"MIC": "2E269CF5"}),
    (["read", REQUEST_11, "--nwk-key", NWK], {"MIC": "8AFBF774"}),
    (["read", REQUEST_11, "--app-key", APP, "--no-search"], {"MIC": "2E269CF5"}),
    (["read", ACCEPT, "--app-key", APP, "--dev-nonce", "258"],
     {"plaintext": "B2A100010000DABB01020301184F84E85684B85E84886684586E84009CDB46F3",
      "MIC": "9CDB46F3", "NwkSKey": "4BFD96BCE7BDA8054D563C80486C0390",
      "AppSKey": "4C4ADDCE1783C8B89B98C1B43AD17E09"}),
    (["read", ACCEPT, "--app-key", NWK, "--no-search"], {}),
    (["read", ACCEPT_11, "--nwk-key", NWK, "--app-key", APP, "--dev-nonce", "258", *WHO],
     {"JSIntKey": "EE12A327383698A2EFA2624BD6AD75B5", "MIC": "3CCF1E13",
      "FNwkSIntKey": "D7CBEEC26F99D59820EBB411DD1E4EEC",
      "SNwkSIntKey": "AC70BCE4F43A128378AEB3702AEED5DD",
      "NwkSEncKey": "FAEBAE13DA4F4D4C1B1393C7A7A34C81",
      "AppSKey": "24EC05F37545D6566A7B28941A197B3F"}),
    (["read", ACCEPT_OF_REJOIN, "--nwk-key", NWK, "--dev-nonce", "1", *WHO],
     {"JSEncKey": "002A01CEDA47CBF45B6C8D49C02C93B0", "MIC": "92E95083"}),
    (["read", REJOIN_0, *SESSION_11], {"MIC": "623EFA5B"}),
    (["read", REJOIN_1, "--nwk-key", NWK], {"MIC": "3A1DAE15"}),
    (["read", "40DABB0102800200022721029DAEAF9EE9", *SESSION],
     {"B0": "490000000000DABB010202000100000D", "A_1": "010000000000DABB0102020001000001",
      "MIC": "AEAF9EE9", "plaintext": "016700E1"}),
    (["read", "60DABB0102A00500007EFC0F41FE4BD10617", *SESSION],
     {"MIC": "4BD10617", "plaintext": "0350070001"}),
    (["read", LONG, *SESSION[2:]], {}),
    (["read", LONG, *SESSION[:2], "--no-search"], {}),
    (["read", UPLINK_11, *SESSION_11, "--conf-fcnt", "7"],
     {"B0": "490000000000DABB010201000000000F", "B1": "490700050200DABB010201000000000F",
      "A": "010000000100DABB0102010000000001", "MIC": "0AEF", "plaintext": "016700E1"}),
    (["read", UPLINK_11, *SESSION_11], {"MIC": "0AEF"}),
    (["read", "60DABB0102020000AE01D0EA01DE", *SESSION_11],
     {"MIC": "D0EA01DE", "plaintext": "0B01"}),
    (["read", "60DABB010221090014029A08496394", *SESSION_11, "--conf-fcnt", "1"],
     {"MIC": "08496394", "plaintext": "AA"}),
    (["keys", "--app-key", APP, "--join-nonce", "41394", "--net-id", "000001", "--dev-nonce", "258"],
     {"NwkSKey": "4BFD96BCE7BDA8054D563C80486C0390",
      "AppSKey": "4C4ADDCE1783C8B89B98C1B43AD17E09"}),
    (["keys", "--app-key", APP, "--request", REQUEST, "--accept", ACCEPT],
     {"NwkSKey": "4BFD96BCE7BDA8054D563C80486C0390", "MIC": "9CDB46F3"}),
    (["keys", "--nwk-key", NWK, "--app-key", APP, "--request", REQUEST_11, "--accept", ACCEPT_11],
     {"NwkSEncKey": "FAEBAE13DA4F4D4C1B1393C7A7A34C81",
      "JSEncKey": "002A01CEDA47CBF45B6C8D49C02C93B0"}),
    (["keys", "--nwk-key", NWK, "--opt-neg", "0", "--join-nonce", "41394", "--net-id", "000001",
      "--dev-nonce", "258"],
     {"NwkSKey": "075E7C6E8EF7046DDEBE270A5B18186E",
      "AppSKey": "B8731E0BC3FB1F8046DB7FA072BDD49F"}),
    (["keys", "--gen-app-key", APP, "--mc-key-encrypted", NWK, "--mc-addr", "01020304"], {}),
    (["diagnose", "--demo", "--digits", "1", "--show-keys"], {}),
]

KINDS = ["given", "join", "AES", "xor", "double", "pad", "octets"]


def run(program, args):
    done = subprocess.run([program, *args, "--working"], capture_output=True, text=True, check=False)
    if done.returncode not in (0, 1):
        raise Wrong(f"{' '.join(args)}: status {done.returncode}: {done.stderr}")
    if "caution: " not in done.stderr:
        raise Wrong(f"{' '.join(args)}: no word of caution")
    return done.stdout


def same_in_json(program, args, found):
    """`--json` has the same steps."""
    objects = [json.loads(line) for line in run(program, [*args, "--json"]).splitlines()]
    told = [(step["name"], step.get("formula", ""), step["output"])
            for one in objects if "gateway" not in one or "node" in one or "PHYPayload" in one
            for sheet in one["working"] for step in sheet["steps"]]
    ours = [(step.name, step.formula, step.output.hex())
            for sheet in found for step in sheet["steps"]]
    if told != ours:
        raise Wrong(f"{' '.join(args)}: text and JSON differ")


def notices_a_slip(text):
    """One digit of one output changed must not pass."""
    for line in re.findall(r"(?m)^ +=? .*\b[0-9A-F]{2}$", text):
        slip = line[:-1] + ("0" if line[-1] != "0" else "1")
        try:
            for sheet in sheets(text.replace(line, slip, 1)):
                redo(sheet, Counter())
        except Wrong:
            continue
        raise Wrong(f"not noticed: {slip!r} in place of {line!r}")


def main(program):
    text = run(program, CASES[0][0])
    notices_a_slip(text[text.index("Working: "):])
    counts = Counter()
    for args, wanted in CASES:
        found = sheets(run(program, args))
        if not found:
            raise Wrong(f"{' '.join(args)}: no working")
        outputs = {}
        for sheet in found:
            outputs.update(redo(sheet, counts))
            fails = args[0] == "diagnose" or args[-1] == "--no-search"
            if "FAILS" in sheet["end"] and not fails:
                raise Wrong(f"{' '.join(args)}: {sheet['title']}: {sheet['end']}")
        for name, digits in wanted.items():
            if name not in outputs or outputs[name] != bytes.fromhex(digits):
                raise Wrong(f"{' '.join(args)}: {name} is not {digits}")
        same_in_json(program, args, found)
        counts["runs"] += 1
        counts["sheets"] += len(found)
    if missing := [kind for kind in KINDS if counts[kind] == 0]:
        raise Wrong(f"never done: {', '.join(missing)}")
    for kind, count in sorted(counts.items()):
        print(f"{count:6} {kind}")


if __name__ == "__main__":
    try:
        main(sys.argv[1])
    except Wrong as wrong:
        sys.exit(f"check_working: {wrong}")

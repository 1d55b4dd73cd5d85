#!/usr/bin/env python3
"""Recomputes the vectors in crypto/ and frames/ with an implementation of its own.

AES, CMAC and key wrap come from the `cryptography` package; the formulas of LoRaWAN are written
here a second time, from the standard. Prints how many items of each kind were recomputed, and
ends with status 1 when a value differs, 2 when there is a kind it does not know.
"""

import json
import sys
from collections import Counter
from pathlib import Path

from cryptography.hazmat.primitives import keywrap
from cryptography.hazmat.primitives.ciphers import Cipher, algorithms, modes
from cryptography.hazmat.primitives.cmac import CMAC


def octets(text):
    return bytes.fromhex(text)


def reverse(text):
    """An identifier as printed, turned into the order of the wire."""
    return bytes.fromhex(text)[::-1]


def little(value, width):
    return value.to_bytes(width, "little")


def encrypt(key, blocks):
    worker = Cipher(algorithms.AES(key), modes.ECB()).encryptor()
    return worker.update(blocks) + worker.finalize()


def decrypt(key, blocks):
    worker = Cipher(algorithms.AES(key), modes.ECB()).decryptor()
    return worker.update(blocks) + worker.finalize()


def cmac(key, message):
    worker = CMAC(algorithms.AES(key))
    worker.update(message)
    return worker.finalize()


def pad16(message):
    return message + bytes(-len(message) % 16)


def xor(left, right):
    return bytes(a ^ b for a, b in zip(left, right))


def b_block(direction, address, counter, length, conf=0, rate=0, channel=0):
    return (b"\x49" + little(conf, 2) + bytes([rate, channel, direction]) + address
            + little(counter, 4) + bytes([0, length]))


def a_block(direction, address, counter, last, constant=0):
    return (bytes([1, 0, 0, 0, constant, direction]) + address + little(counter, 4)
            + bytes([0, last]))


def payload(key, direction, address, counter, data):
    count = (len(data) + 15) // 16
    stream = b"".join(encrypt(key, a_block(direction, address, counter, i + 1))
                      for i in range(count))
    return xor(data, stream)


FOPTS_RULES = {"as-published": (0, 0), "erratum": (1, 1), "erratum-app-counter": (2, 1)}


def fopts(key, direction, address, counter, data, rule):
    constant, last = FOPTS_RULES[rule]
    return xor(data, encrypt(key, a_block(direction, address, counter, last, constant)))


def session_1_0(root, join_nonce, net_id, dev_nonce):
    rest = little(join_nonce, 3) + reverse(net_id) + little(dev_nonce, 2)
    key = {name: encrypt(root, pad16(bytes([first]) + rest))
           for name, first in (("NwkSKey", 1), ("AppSKey", 2))}
    key["FNwkSIntKey"] = key["NwkSKey"]
    return key


def session_1_1(nwk, app, join_nonce, join_eui, nonce):
    rest = little(join_nonce, 3) + reverse(join_eui) + little(nonce, 2)
    key = {name: encrypt(nwk, pad16(bytes([first]) + rest))
           for name, first in (("FNwkSIntKey", 1), ("SNwkSIntKey", 3), ("NwkSEncKey", 4))}
    if app is not None:
        key["AppSKey"] = encrypt(app, pad16(b"\x02" + rest))
    return key


def js_keys(nwk, dev_eui):
    return {"JSIntKey": encrypt(nwk, pad16(b"\x06" + reverse(dev_eui))),
            "JSEncKey": encrypt(nwk, pad16(b"\x05" + reverse(dev_eui)))}


class Differs(Exception):
    pass


def same(what, ours, given):
    if isinstance(given, str):
        given = octets(given)
    if ours != given:
        raise Differs(f"{what}: ours {ours.hex()}, given {given.hex()}")


def holds(what, truth):
    if not truth:
        raise Differs(f"{what} does not hold")


# One function a kind: `v` is the item.

def aes_ecb(v):
    same("ciphertext", encrypt(octets(v["key"]), octets(v["plaintext"])), v["ciphertext"])
    same("plaintext", decrypt(octets(v["key"]), octets(v["ciphertext"])), v["plaintext"])


def aes_ctr(v):
    mode = modes.CTR(octets(v["initial_counter"]))
    worker = Cipher(algorithms.AES(octets(v["key"])), mode).encryptor()
    same("ciphertext", worker.update(octets(v["plaintext"])) + worker.finalize(), v["ciphertext"])


def cmac_subkeys(v):
    def double(block):
        value = int.from_bytes(block, "big") << 1
        return ((value & (1 << 128) - 1) ^ (0x87 if value >> 128 else 0)).to_bytes(16, "big")
    first = encrypt(octets(v["key"]), bytes(16))
    same("L", first, v["aes_of_zero"])
    same("K1", double(first), v["K1"])
    same("K2", double(double(first)), v["K2"])


def plain_cmac(v):
    same("CMAC", cmac(octets(v["key"]), octets(v["message"])), v["mac"])


def wycheproof_cmac(v):
    tag = cmac(octets(v["key"]), octets(v["msg"]))[:v["tagSize"] // 8]
    holds(v["result"], (tag == octets(v["tag"])) == (v["result"] == "valid"))


def key_wrap(v):
    kek = octets(v["kek"])
    same("wrapped", keywrap.aes_key_wrap(kek, octets(v["key"])), v["wrapped"])
    same("unwrapped", keywrap.aes_key_unwrap(kek, octets(v["wrapped"])), v["key"])


def wycheproof_key_wrap(v):
    try:
        data = keywrap.aes_key_unwrap(octets(v["key"]), octets(v["ct"]))
    except (keywrap.InvalidUnwrap, ValueError):
        data = None
    if v["result"] == "valid":
        holds("unwrapping", data == octets(v["msg"]))
        same("wrapped", keywrap.aes_key_wrap(octets(v["key"]), octets(v["msg"])), v["ct"])
    elif v["result"] == "acceptable":
        holds("refusing 64 bits, or taking them rightly", data in (None, octets(v["msg"])))
    else:
        holds("refusing", data is None)


def mic_input(v):
    same("MIC", cmac(octets(v["key"]), octets(v["cmac_input"]))[:4], v["mic"])


def mic_up(v):
    message, address = octets(v["msg"]), reverse(v["DevAddr"])
    b1 = b_block(0, address, v["FCntUp"], len(message), v["ConfFCnt"], v["TxDr"], v["TxCh"])
    b0 = b_block(0, address, v["FCntUp"], len(message))
    same("B1", b1, v["B1"])
    same("MIC", cmac(octets(v["SNwkSIntKey"]), b1 + message)[:2]
         + cmac(octets(v["FNwkSIntKey"]), b0 + message)[:2], v["mic"])


def frm_payload(v):
    address = reverse(v["DevAddr"])
    if "A1" in v:
        same("A_1", a_block(v["Dir"], address, v["FCnt"], 1), v["A1"])
    same("ciphertext", payload(octets(v["key"]), v["Dir"], address, v["FCnt"],
                               octets(v["plaintext"])), v["ciphertext"])


def fopts_item(v):
    address = reverse(v["DevAddr"])
    constant, last = FOPTS_RULES[v["rule"]]
    if "block" in v:
        same("A", a_block(v["Dir"], address, v["FCnt"], last, constant), v["block"])
    same("ciphertext", fopts(octets(v["NwkSEncKey"]), v["Dir"], address, v["FCnt"],
                             octets(v["plaintext"]), v["rule"]), v["ciphertext"])


def blocks(v):
    address, conf = reverse(v["DevAddr"]), v.get("ConfFCnt", 0)
    b0 = b_block(v["Dir"], address, v["FCnt"], v["len"], conf if v["Dir"] else 0)
    same("B0", b0, v["B0"])
    if "B1" in v:
        same("B1", b_block(v["Dir"], address, v["FCnt"], v["len"], conf, v["TxDr"], v["TxCh"]),
             v["B1"])
    if "A1" in v:
        same("A_1", a_block(v["Dir"], address, v["FCnt"], 1), v["A1"])
    if "A_FOpts" in v:
        constant, last = FOPTS_RULES[v["FOptsRule"]]
        same("A", a_block(v["Dir"], address, v["FCnt"], last, constant), v["A_FOpts"])


def accept_mic_1_1(v):
    key = octets(v["JSIntKey"]) if "JSIntKey" in v else js_keys(octets(v["NwkKey"]),
                                                                 v["DevEUI"])["JSIntKey"]

    def mic(nonce):
        return cmac(key, octets(v["JoinReqType"]) + reverse(v["JoinEUI"]) + little(nonce, 2)
                    + b"\x20" + octets(v["body"]))[:4]
    same("MIC", mic(v["nonce"]), v["mic"])
    for nonce in v.get("mic_fails_with_nonce", ()):
        holds(f"a mismatch with nonce {nonce}", mic(nonce) != octets(v["mic"]))


def session_1_0_item(v):
    root = octets(v["AppKey"] if "AppKey" in v else v["NwkKey"])
    keys = session_1_0(root, v["JoinNonce"], v["NetID"], v["DevNonce"])
    if "block_01" in v:
        same("block 01", pad16(b"\x01" + little(v["JoinNonce"], 3) + reverse(v["NetID"])
                               + little(v["DevNonce"], 2)), v["block_01"])
    for name in ("NwkSKey", "FNwkSIntKey", "AppSKey"):
        if name in v:
            same(name, keys[name], v[name])


def session_1_1_item(v):
    keys = session_1_1(octets(v["NwkKey"]), octets(v["AppKey"]), v["JoinNonce"], v["JoinEUI"],
                       v["DevNonce"])
    if "block_01" in v:
        same("block 01", pad16(b"\x01" + little(v["JoinNonce"], 3) + reverse(v["JoinEUI"])
                               + little(v["DevNonce"], 2)), v["block_01"])
    for name, key in keys.items():
        same(name, key, v[name])


def join_server_keys(v):
    for name, key in js_keys(octets(v["NwkKey"]), v["DevEUI"]).items():
        same(name, key, v[name])


def relay_key(v):
    same("RootWorSKey", encrypt(octets(v["NwkSEncKey_or_NwkSKey"]), pad16(b"\x01")),
         v["RootWorSKey"])


def multicast_keys(v):
    steps = 0
    if "McRootKey" in v and ("GenAppKey" in v or "AppKey" in v):
        root = (encrypt(octets(v["GenAppKey"]), bytes(16)) if "GenAppKey" in v
                else encrypt(octets(v["AppKey"]), pad16(b"\x20")))
        same("McRootKey", root, v["McRootKey"])
        steps += 1
    if "McRootKey" in v and "McKEKey" in v:
        same("McKEKey", encrypt(octets(v["McRootKey"]), bytes(16)), v["McKEKey"])
        steps += 1
    if "McKEKey" in v and "McKey" in v:
        same("McKey_encrypted", decrypt(octets(v["McKEKey"]), octets(v["McKey"])),
             v["McKey_encrypted"])
        steps += 1
    if "McKey" in v and "McAddr" in v:
        for first, name in ((1, "McAppSKey"), (2, "McNwkSKey")):
            same(name, encrypt(octets(v["McKey"]), pad16(bytes([first]) + reverse(v["McAddr"]))),
                 v[name])
        steps += 1
    holds("at least one step", steps > 0)


def ping_offset(v):
    block = encrypt(bytes(16), pad16(little(v["beacon_time"], 4) + reverse(v["DevAddr"])))
    holds("pingOffset", int.from_bytes(block[:2], "little") % v["pingPeriod"] == v["pingOffset"])


def join_request(v):
    frame, key = octets(v["phy_hex"]), v["expect"].get("mic_key")
    if key is not None:
        same("MIC", cmac(octets(v["keys"][key]), frame[:-4])[:4], frame[-4:])
    return key is not None


def join_accept(v):
    frame, keys, context, expect = octets(v["phy_hex"]), v["keys"], v.get("context", {}), v["expect"]
    root = octets(keys["NwkKey"] if "NwkKey" in keys else keys["AppKey"])
    server = js_keys(root, context["DevEUI"]) if "DevEUI" in context else {}
    kind = context.get("JoinReqType", "ff")
    key = root if kind == "ff" else server["JSEncKey"]
    opened = frame[:1] + encrypt(key, frame[1:])
    same("decrypted octets", opened, expect["decrypted_hex"])
    same("sealed again", frame[:1] + decrypt(key, opened[1:]), frame)
    nonce = next((context[n] for n in ("DevNonce", "RJcount0", "RJcount1") if n in context), None)
    if expect["mic_key"] == "JSIntKey":
        signer = octets(keys["JSIntKey"]) if "JSIntKey" in keys else server["JSIntKey"]
        signed = octets(kind) + reverse(context["JoinEUI"]) + little(nonce, 2) + opened[:-4]
    else:
        signer, signed = octets(keys[expect["mic_key"]]), opened[:-4]
    same("MIC", cmac(signer, signed)[:4], opened[-4:])
    if "derived" in expect:
        join_nonce = int.from_bytes(opened[1:4], "little")
        if expect["mic_key"] == "JSIntKey":
            app = octets(keys["AppKey"]) if "AppKey" in keys else None
            ours = session_1_1(root, app, join_nonce, context["JoinEUI"], nonce)
        else:
            ours = session_1_0(root, join_nonce, opened[4:7][::-1].hex(), nonce)
        ours.update(server)
        for name, value in expect["derived"].items():
            same(name, ours[name], value)


def rejoin_request(v):
    return join_request(v)


def data(v):
    frame, keys, context, expect = octets(v["phy_hex"]), v["keys"], v.get("context", {}), v["expect"]
    if "mic_key" not in expect:
        return False
    message, mic, address = frame[:-4], frame[-4:], frame[1:5]
    direction, counter = frame[0] >> 5 & 1, expect["fcnt32"]
    acknowledged = context.get("ConfFCnt", 0)

    def computed(counter):
        b0 = b_block(direction, address, counter, len(message),
                     acknowledged if direction else 0)
        if expect["mic_key"] == "SNwkSIntKey+FNwkSIntKey":
            b1 = b_block(0, address, counter, len(message), acknowledged, context["TxDr"],
                         context["TxCh"])
            return (cmac(octets(keys["SNwkSIntKey"]), b1 + message)[:2]
                    + cmac(octets(keys["FNwkSIntKey"]), b0 + message)[:2])
        return cmac(octets(keys[expect["mic_key"]]), b0 + message)[:4]
    same("MIC", computed(counter), mic)
    for wrong in expect.get("mic_fails_at_fcnt32", ()):
        holds(f"a mismatch at counter {wrong}", computed(wrong) != mic)
    clear = expect.get("plaintext", {})
    start = 8 + (frame[5] & 15)
    if "FOpts" in clear:
        options = frame[8:start]
        if "NwkSEncKey" in keys:
            options = fopts(octets(keys["NwkSEncKey"]), direction, address, counter, options,
                            context["FOptsRule"])
        same("FOpts in clear", options, clear["FOpts"])
    if "FRMPayload" in clear:
        names = ("NwkSEncKey", "NwkSKey") if frame[start] == 0 else ("AppSKey", "McAppSKey")
        key = octets(next(keys[name] for name in names if name in keys))
        ours = payload(key, direction, address, counter, frame[start + 1:-4])
        same("FRMPayload in clear", ours, clear["FRMPayload"])
    return True


KINDS = {
    "aes-ecb": aes_ecb, "aes-ctr": aes_ctr, "cmac-subkeys": cmac_subkeys, "cmac": plain_cmac,
    "wycheproof-cmac": wycheproof_cmac, "key-wrap": key_wrap,
    "wycheproof-key-wrap": wycheproof_key_wrap, "mic-input": mic_input, "mic-up-1.1": mic_up,
    "frm-payload": frm_payload, "fopts": fopts_item, "blocks": blocks,
    "join-accept-mic-1.1": accept_mic_1_1, "session-keys-1.0": session_1_0_item,
    "session-keys-1.1": session_1_1_item, "join-server-keys": join_server_keys,
    "relay-key": relay_key, "multicast-keys": multicast_keys, "ping-offset": ping_offset,
    "join-request": join_request, "join-accept": join_accept, "rejoin-request": rejoin_request,
    "data-up": data, "data-down": data, "multicast-down": data,
}

# Layout only: nothing here is computed with a key.
LAYOUT = {"cflist", "fctrl", "damaged", "proprietary", "opened-join-accept"}


def main():
    held, keyless, wrong, unknown = Counter(), Counter(), [], set()
    here = Path(__file__).resolve().parent
    for path in sorted([*here.glob("crypto/*.json"), *here.glob("frames/*.json")]):
        for item in json.loads(path.read_text(encoding="utf-8"))["items"]:
            kind = item["kind"]
            if kind in LAYOUT:
                keyless[kind] += 1
            elif kind not in KINDS:
                unknown.add(kind)
            else:
                try:
                    if KINDS[kind](item) is False:
                        keyless[kind] += 1
                    else:
                        held[kind] += 1
                except (Differs, KeyError, ValueError, StopIteration) as error:
                    wrong.append(f"{path.name}: {item['id']} ({kind}): {error!r}")
    for kind, count in sorted(held.items()):
        print(f"{count:5} {kind}")
    print(f"{held.total()} items recomputed; {keyless.total()} have no key and are layout only")
    for line in wrong:
        print(line, file=sys.stderr)
    for kind in sorted(unknown):
        print(f"unknown kind {kind}", file=sys.stderr)
    return 1 if wrong else 2 if unknown or not held else 0


if __name__ == "__main__":
    sys.exit(main())

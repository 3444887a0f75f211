"""A second check of a bundle, written from VERIFY.md alone: the standard library, one Ed25519 library, no code of ours.

    python independent_verify.py DIR [CODE ...]

Its step numbers are those of VERIFY.md. It stops at the first fault of a step that makes the next ones senseless; what
matters is whether it finds a bundle whole.
"""

import base64
import csv
import hashlib
import io
import json
import os
import re
import struct
import sys
from datetime import UTC, datetime, timedelta
from itertools import accumulate, islice
from pathlib import Path

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

SIGNS = "0123456789ABCDEFGHJKMNPRSTVWXYZ"
ZEROS = "0" * 64


class FaultError(Exception):
    pass


def need(condition, what):
    if not condition:
        raise FaultError(what)


def sha(data):
    return hashlib.sha256(data).hexdigest()


def parsed(text):
    """Canonical JSON; checked to be that where it holds no fractions, for which one would need all of RFC 8785."""
    value = json.loads(text)
    if "." not in text and "e" not in re.sub(r'"(?:[^"\\]|\\.)*"', "", text).replace("true", "").replace("false", ""):
        again = json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
        need(again == text, f"not canonical: {text[:80]}")
    return value


def lines(path):
    data = path.read_bytes()
    need(not data or data.endswith(b"\n"), f"{path} is cut short")
    return [parsed(line.decode()) for line in data.split(b"\n")[:-1]]


def exactly(value, *names):
    need(isinstance(value, dict) and set(value) == set(names), f"should have {names}")
    return value


def signed(public, kind, text, signature):
    try:
        Ed25519PublicKey.from_public_bytes(bytes.fromhex(public)).verify(
            bytes.fromhex(signature), f"wallclime-{kind} 1\n{text}".encode()
        )
    except (InvalidSignature, ValueError):
        return False
    return True


def node(left, right):
    return hashlib.sha256(b"\x01" + left + right).digest()


def included(root, size, index, leaf, proof):  # RFC 9162, 2.1.3.2
    if index >= size or index < 0 or any(len(one) != 32 for one in [root, leaf, *proof]):
        return False
    fn, sn, r = index, size - 1, leaf
    for p in proof:
        if sn == 0:
            return False
        if fn % 2 or fn == sn:
            r = node(p, r)
            while fn % 2 == 0 and fn != 0:
                fn, sn = fn // 2, sn // 2
        else:
            r = node(r, p)
        fn, sn = fn // 2, sn // 2
    return sn == 0 and r == root


def begins_with(root1, first, root2, second, proof):  # RFC 9162, 2.1.4.2
    if any(len(one) != 32 for one in [root1, root2, *proof]) or not 0 < first <= second:
        return False
    if first == second:
        return not proof and root1 == root2
    if not proof:
        return False
    if first & (first - 1) == 0:
        proof = [root1, *proof]
    fn, sn = first - 1, second - 1
    while fn % 2:
        fn, sn = fn // 2, sn // 2
    fr = sr = proof[0]
    for c in proof[1:]:
        if sn == 0:
            return False
        if fn % 2 or fn == sn:
            fr, sr = node(c, fr), node(c, sr)
            while fn % 2 == 0 and fn != 0:
                fn, sn = fn // 2, sn // 2
        else:
            sr = node(sr, c)
        fn, sn = fn // 2, sn // 2
    return fr == root1 and sr == root2 and sn == 0


def hashes(texts):
    need(all(re.fullmatch("[0-9a-f]{64}", text) for text in texts), "no hash")
    return [bytes.fromhex(text) for text in texts]


def step_1_files(root):
    found = {}
    for folder, names, files in os.walk(root):
        need(names or files, f"{folder} is empty")
        for name in names + files:
            path = Path(folder, name)
            need(not path.is_symlink() and (path.is_dir() or path.is_file()), f"{path} is no plain file")
        found |= {Path(folder, name).relative_to(root).as_posix(): Path(folder, name) for name in files}
    return found


def manifest(path):
    listed = {}
    data = path.read_bytes().decode()
    need(data.endswith("\n") or not data, "manifest cut short")
    for line in data.split("\n")[:-1]:
        match = re.fullmatch(r"([0-9a-f]{64})  (\S.*)", line)
        need(match, f"no line of a manifest: {line}")
        name = re.sub("%(0D|0A|25)", lambda m: chr(int(m[1], 16)), match[2], flags=re.I)
        need(name not in listed, f"{name} twice")
        listed[name] = match[1]
    return listed


def step_2_bag(files):
    need(files["bagit.txt"].read_bytes() == b"BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n", "bagit.txt")
    tags, payload = manifest(files["tagmanifest-sha256.txt"]), manifest(files["manifest-sha256.txt"])
    need(set(tags) == {"bag-info.txt", "bagit.txt", "manifest-sha256.txt"}, "tag manifest lists others")
    need(set(payload) == {name for name in files if name.startswith("data/")}, "payload and manifest differ")
    rest = set(files) - set(tags) - set(payload) - {"tagmanifest-sha256.txt"}
    need(rest <= {"signature.json"}, f"added: {rest}")
    for name, expected in [*tags.items(), *payload.items()]:
        need(name in files and sha(files[name].read_bytes()) == expected, f"{name} was altered")
    size = sum(files[name].stat().st_size for name in payload)
    stated = re.findall(r"^Payload-Oxum: (.*)$", files["bag-info.txt"].read_text(), re.M)
    need(stated == [f"{size}.{len(payload)}"], "Payload-Oxum")
    (about,) = lines(files["data/bundle.json"])
    return about


def step_3_signature(files, about, key, last):
    if "signature.json" not in files:
        need(about["disclosure"], "no signature")
        return
    (value,) = lines(files["signature.json"])
    exactly(value, "statement", "signature")
    said = exactly(parsed(value["statement"]), "tagmanifest", "made", "head", "key")
    need(said["tagmanifest"] == sha(files["tagmanifest-sha256.txt"].read_bytes()), "another tag manifest was signed")
    need((said["made"], said["head"]) == (about["made"], last), "signature of another bundle")
    need(said["key"] == sha(bytes.fromhex(key)), "not the newest key")
    need(signed(key, "bundle", value["statement"], value["signature"]), "broken signature of the bundle")


def step_4_keys(path):
    found = []
    for value in lines(path):
        exactly(value, "statement", "new", "old")
        said = parsed(value["statement"])
        need((said["statement"] == "first") == (not found), "the first key begins")
        need(signed(said["key"], "key", value["statement"], value["new"]), "new key did not sign")
        if found:
            need(said["statement"] in ("rotation", "lost"), "no such statement")
            need(said["old"] == sha(bytes.fromhex(found[-1]["key"])), "another old key")
            if said["statement"] == "rotation":
                need(signed(found[-1]["key"], "key", value["statement"], value["old"]), "old key did not sign")
        found.append(said)
    need(found, "no key")
    return found


def day_ms(text):
    day = datetime.strptime(text, "%Y-%m-%d").replace(tzinfo=UTC)
    need(day.strftime("%Y-%m-%d") == text, "no day")
    return round(day.timestamp() * 1000)


def step_5_heads(path, keys):
    prints = [sha(bytes.fromhex(said["key"])) for said in keys]
    found = []
    values = lines(path)
    need(values, "no head")
    last = parsed(values[-1]["head"])
    closed = None
    for value in values:
        exactly(value, "head", "signature", "consistency")
        head = parsed(value["head"])
        before = found[-1] if found else None
        need(head["number"] == len(found) + 1, "heads out of order")
        need(head["previous"] == (before[1] if before else ZEROS), "heads do not follow")
        need(head["key"] in prints, "unknown key")
        place = prints.index(head["key"])
        need(signed(keys[place]["key"], "head", value["head"], value["signature"]), "broken signature of a head")
        if before:
            was = prints.index(before[0]["key"])
            need(place >= was, "an old key")
            need(
                all(said["head"] == before[1] for said in keys[was + 1 : place + 1]), "key took over from another head"
            )
        proof = hashes(value["consistency"])
        roots = hashes([head["root"], last["root"]])
        need(begins_with(roots[0], head["size"], roots[1], last["size"], proof), "head is not part of the last one")
        if head["closes"] is not None:
            day = day_ms(head["closes"])
            need(closed is None or day == closed, "days with a hole")
            closed = day + 86_400_000
            need(head["made"] >= closed, "closed before the end")
        found.append((head, sha(b"wallclime-head 1\n" + value["head"].encode())))
    return found, closed


def step_6_records(path, head, disclosure):
    found, last, whole = {}, {}, {}
    (root,) = hashes([head["root"]])
    newest = -1
    for value in lines(path):
        exactly(value, "index", "leaf", "inclusion")
        index = value["index"]
        need(index > newest, "records out of order")
        newest = index
        leaf = hashlib.sha256(b"\x00" + value["leaf"].encode()).digest()
        need(
            included(root, head["size"], index, leaf, hashes(value["inclusion"])), f"record {index} is not in the tree"
        )
        record = parsed(value["leaf"])
        thread = ("sensor", record["stream"]) if "stream" in record else ("log", record.get("chain"))
        before = last.get(thread)
        left_out = record["previous"] is not None and record["previous"] > (-1 if before is None else before)
        need(record["previous"] == before or (left_out and (disclosure or before is None)), "a record is left out")
        last[thread] = index
        if record["record"] == "segment":
            need((thread, record["day"]) not in whole, "a day sealed twice")
            whole[thread, record["day"]] = index
        if record["record"] == "amendment":
            need(record["amends"] == whole.get((thread, record["day"])), "amends another day")
        found[index] = record
    return found


def read_segment(data):  # copied from VERIFY.md
    magic, header, body = data.split(b"\n", 2)
    assert magic == b"wallclime-segment 1"
    head, numbers, number, shift = json.loads(header), [], 0, 0
    raw = sum(8 * c["count"] for c in head["channels"] if c["decimals"] is None)
    for byte in body[: len(body) - raw]:
        number |= (byte & 127) << shift
        shift += 7
        if byte < 128:
            numbers.append(number // 2 if number % 2 == 0 else -(number + 1) // 2)
            number = shift = 0
    rest, doubles = iter(numbers), iter(struct.unpack(f">{raw // 8}d", body[len(body) - raw :]))
    times, lags, origins, masks = (list(accumulate(islice(rest, head["rows"]))) for _ in range(4))
    for c in head["channels"]:
        whole = c["decimals"] is not None
        values = accumulate(islice(rest, c["count"])) if whole else islice(doubles, c["count"])
        c["values"] = iter([v / 10 ** c["decimals"] if whole else v for v in values])
    readings = []
    for t, lag, origin, mask in zip(times, lags, origins, masks, strict=True):
        for bit, c in enumerate(head["channels"]):
            if mask >> bit & 1:  # times in ms since the day began
                at, arrival = t * head["t_tick"], t * head["t_tick"] + lag * head["lag_tick"]
                readings.append((c["quantity"], at, next(c["values"]), c["unit"], arrival, head["origins"][origin]))
    return head["stream"], head["day"], readings


def segment(data, stream, day):
    got = read_segment(data)
    need(got[:2] == (stream, day), "a segment of another sensor or day")
    midnight = day_ms(day)
    return [(q, midnight + t, v, u, midnight + a, o) for q, t, v, u, a, o in got[2]]


def thinned_days(path, records):
    """Leaf -> what the last sealed entry says is left of it."""
    sealed = max((r["number"] for r in records.values() if r["record"] == "log head" and r["chain"] == ""), default=0)
    bodies = [parsed(value["body"]) for value in lines(path) if "body" in value and value["number"] <= sealed]
    return {one["leaf"]: one for body in bodies if body["kind"] == "thinned" for one in body["body"]["days"]}


def step_7_readings(files, about, records, closed):
    """Sensor -> list of (quantity, time, value, unit, arrival, origin, leaf)."""
    found, used = {}, set()
    thinned = thinned_days(files["data/log/sensors.jsonl"], records)
    for place, stream in enumerate(about["sensors"], 1):
        rows = found.setdefault(stream, [])
        for index, record in records.items():
            if record.get("stream") != stream or record["record"] not in ("segment", "amendment"):
                continue
            stem = f"data/segments/{place:03d}/{record['day']}-{index}"
            parts = {f"{stem}.segment": record, **{f"{stem}-{q}.segment": c for q, c in record["channels"].items()}}
            left = f"{stem}-thinned.segment"
            parts |= {left: thinned[index]} if index in thinned else {}
            there = [name for name in parts if name in files]
            expected = thinned[index]["readings"] if left in there else record["readings"]
            count = 0
            for name in there:
                data = files[name].read_bytes()
                got = segment(data, stream, record["day"])
                need(sha(data) == parts[name]["sha256"], f"{name} is not what was sealed")
                need(len(got) == parts[name]["readings"], f"{name} has another number of readings")
                rows += [(*one, index) for one in got]
                count += len(got)
                used.add(name)
            need(count == expected or (about["disclosure"] and count < expected), f"{stem} missing")
        for name in files:
            if name.startswith(f"data/unsealed/{place:03d}/"):
                day = name.split("/")[-1].removesuffix(".segment")
                need(closed is None or day_ms(day) >= closed, "readings of a closed day are not sealed")
                rows += [(*one, "") for one in segment(files[name].read_bytes(), stream, day)]
                used.add(name)
    rest = {name for name in files if name.startswith(("data/segments/", "data/unsealed/"))} - used
    need(not rest, f"segments of nothing: {rest}")
    need({r["stream"] for r in records.values() if "stream" in r} <= set(found), "a sensor without a folder")
    return found


def moment(ms):
    text = (datetime(1970, 1, 1) + timedelta(milliseconds=ms)).isoformat(timespec="milliseconds")
    return text + "Z"


def guarded(text):
    return "'" + text if text[:1] in ("=", "+", "-", "@", "'", "\t", "\r", "\n") and text else text


def step_8_tables(files, about, readings):
    used = set()
    for place, stream in enumerate(about["sensors"], 1):
        rows = sorted(readings[stream], key=lambda r: (r[1], r[0], r[3]))
        need(len({(r[0], r[1]) for r in rows}) == len(rows), "two readings at one time")
        for month in sorted({moment(r[1])[:7] for r in rows}):
            own = [r for r in rows if moment(r[1])[:7] == month]
            name = f"data/readings/{place:03d}/{month}.csv"
            table = list(csv.reader(io.StringIO(files[name].read_bytes().decode("utf-8-sig"), newline="")))[1:]
            expected = [
                [
                    moment(t),
                    str(t),
                    guarded(stream),
                    q,
                    repr(v),
                    guarded(u),
                    moment(a),
                    str(a),
                    o[0],
                    guarded(o[1]),
                    str(i),
                ]
                for q, t, v, u, a, o, i in own
            ]
            need(table == expected, f"{name} is not what was sealed")
            pack = f"data/senml/{place:03d}/{month}.json"
            records = json.loads(files[pack].read_text())
            need(records[0].pop("bn") == f"sensor{place:03d}/", "base name")
            need([senml(*r[:4]) for r in own] == records, f"{pack} is not what was sealed")
            used |= {name, pack}
    rest = {name for name in files if name.startswith(("data/readings/", "data/senml/"))} - used
    need(not rest, f"tables of nothing: {rest}")


def senml(quantity, t, value, unit):
    base = {"degF": lambda v: (v - 32) / 1.8, "K": lambda v: v - 273.15, "1": lambda v: v * 100}.get(unit, float)(value)
    if quantity == "wall_moisture":
        return {"n": quantity, "u": "/", "t": t / 1000, "v": base / 100}
    unit = {"air_humidity": "%RH", "battery": "%EL"}.get(quantity, "Cel")
    return {"n": quantity, "u": unit, "t": t / 1000, "v": base}


def step_9_log(path, chain, records):
    previous, links, shown = bytes(32), {}, []
    for number, entry in enumerate(lines(path), 1):
        need(entry["number"] == number and entry["chain"] == chain, "log out of order")
        if "body_hash" in entry:
            exactly(entry, "chain", "number", "entered", "link", "body_hash")
            said = bytes.fromhex(entry["body_hash"])
        else:
            exactly(entry, "chain", "number", "entered", "link", "salt", "body")
            said = hashlib.sha256(b"\x03" + bytes.fromhex(entry["salt"]) + entry["body"].encode()).digest()
            shown.append(parsed(entry["body"]))
        frame = {name: entry[name] for name in ("chain", "entered", "number")}
        text = json.dumps(frame, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
        previous = hashlib.sha256(b"\x02" + previous + said + text.encode()).digest()
        need(previous.hex() == entry["link"], f"entry {number} of {chain} was altered")
        links[number] = entry["link"]
    for record in records.values():
        if record["record"] == "log head" and record["chain"] == chain:
            need(links.get(record["number"]) == record["link"], "the log is not the one that was sealed")
    return shown


def step_10_attachments(files, bodies, disclosure):
    named = {b["body"]["sha256"] for b in bodies if {"sha256", "media_type"} <= set(b["body"])}
    there = {n.split("/")[-1].split(".")[0]: n for n in files if n.startswith("data/attachments/")}
    need(set(there) <= named and (disclosure or set(there) == named), "photos are missing or added")
    for digest, name in there.items():
        need(sha(files[name].read_bytes()) == digest, f"{name} was altered")


def step_11_refused(path, records):
    for value in lines(path):
        exactly(value, "record", "place", "item", "raw", "inclusion")
        record = records.get(value["record"], {})
        need(record.get("record") == "quarantine", "no record of its day")
        leaf = hashlib.sha256(b"\x00" + value["item"].encode()).digest()
        proof = hashes(value["inclusion"])
        need(included(*hashes([record["root"]]), record["items"], value["place"], leaf, proof), "not in its tree")
        raw = base64.b64decode(value["raw"], validate=True)
        need(parsed(value["item"])["raw"] == sha(raw), "other bytes")


def step_12_codes(codes, heads):
    known = {digest for _, digest in heads}
    for digest in list(known):
        rest, signs = int(digest, 16), []
        for _ in range(23):
            signs.append(rest % 31)
            rest //= 31
        signs.append(next(s for s in range(31) if (sum((i + 1) * x for i, x in enumerate(signs)) + 24 * s) % 31 == 0))
        known.add("".join(SIGNS[s] for s in signs))
    for code in codes:
        plain = code.replace("-", "").replace(" ", "")
        typed = plain.upper().replace("I", "1").replace("L", "1").replace("O", "0")
        need(typed in known or plain.lower() in known, f"no head has the code {code}")


def check(root, codes=()):
    """Raises FaultError, or what reading a broken file raises; answers nothing when the bundle is whole."""
    files = step_1_files(Path(root))
    about = step_2_bag(files)
    keys = step_4_keys(files["data/seals/keys.jsonl"])
    heads, closed = step_5_heads(files["data/seals/heads.jsonl"], keys)
    step_3_signature(files, about, keys[-1]["key"], heads[-1][1])
    records = step_6_records(files["data/seals/records.jsonl"], heads[-1][0], about["disclosure"])
    readings = step_7_readings(files, about, records, closed)
    step_8_tables(files, about, readings)
    bodies = step_9_log(files["data/log/job.jsonl"], about["job"], records)
    bodies += step_9_log(files["data/log/sensors.jsonl"], "", records)
    step_10_attachments(files, bodies, about["disclosure"])
    step_11_refused(files["data/quarantine.jsonl"], records)
    step_12_codes(codes, heads)


def is_whole(root, codes=()):
    try:
        check(root, codes)
    except (
        FaultError,
        ValueError,
        LookupError,
        TypeError,
        AttributeError,
        AssertionError,
        OSError,
        struct.error,
    ) as exc:
        return False, f"{type(exc).__name__}: {exc}"
    return True, ""


if __name__ == "__main__":
    whole, why = is_whole(sys.argv[1], sys.argv[2:])
    print("whole" if whole else f"NOT WHOLE: {why}")
    sys.exit(0 if whole else 1)

#!/usr/bin/env python3
"""Writes the test vectors beside it. Shares no code with the codecs: the CRC is Python's own
(binascii.crc_hqx from 0xFFFF is CRC-16/IBM-3740), bodies are packed by the tables of SPEC.md."""
import binascii
import json
import os
import struct

HERE = os.path.dirname(os.path.abspath(__file__))


def cobs(p):
    out = b""
    for block in p.split(b"\0"):
        assert len(block) < 254, "a frame is never this long"
        out += bytes([len(block) + 1]) + block
    return out


def crc(p):
    return struct.pack("<H", binascii.crc_hqx(p, 0xFFFF))


def frame(body):
    return cobs(body + crc(body)) + b"\0"


def i24(v):
    return struct.pack("<i", v)[:3]


u24 = i24


def hexed(p):
    return p.hex(" ").upper()


def write(name, lines):
    with open(os.path.join(HERE, name), "w") as f:
        f.write("".join(f"{k}: {v}\n" for k, v in lines))


def vec(name, comment, to, wire, expect, bodies=(), typ=None, fields=(), records=(), encode=True):
    lines = [("comment", comment), ("to", to)]
    lines += [("wire", hexed(w)) for w in (wire if isinstance(wire, list) else [wire])]
    lines += [("expect", expect)] + [("body", hexed(b)) for b in bodies]
    if not encode:
        lines.append(("encode", "no"))
    if typ:
        lines.append(("type", typ))
    lines += [("field", f"{k} {v}") for k, v in fields]
    lines += [("record", r) for r in records]
    write(name + ".txt", lines)


def good(name, comment, to, typ, body, fields, records=(), encode=True):
    vec("good_" + name, comment, to, frame(body), "ok", [body], typ, fields, records, encode)


def named(fmt, typ, pairs):
    """Packs numbers by one letter each: B u8, H u16, I u32, i i32, t i24, T u24."""
    body = bytes([typ])
    for letter, (_, v) in zip(fmt, pairs):
        body += i24(v) if letter in "tT" else struct.pack("<" + letter, v)
    assert len(fmt) == len(pairs)
    return body


def host():
    b = b"\x01LG" + struct.pack("<BBH", 1, 0, 0x1234)
    good("hello_ask", "begins a conversation", "stand", "hello_ask", b, [("major", 1), ("minor", 0), ("nonce", 0x1234)])
    f = [("tag", 2), ("hz", 1000), ("mask", 7)]
    good("setup", "three joints at 1 kHz", "stand", "setup", named("BHB", 2, f), f)
    f = [("tag", 0x11), ("joint", 2), ("flags", 1), ("range_min", -75000), ("range_max", 75000), ("pulse_min", 500),
         ("pulse_max", 2500), ("command_min", -90000), ("command_max", 90000), ("current_max", 2500), ("over", 300),
         ("joint_zero", -1234), ("motor_zero", 0)]
    setup = named("BBBttHHttHHtt", 3, f)
    good("setup_joint", "a knee, as a host of version 1.0 says it", "stand", "setup_joint", setup, f + [("frame_hz", 0)])
    good("setup_joint_odd", "half a field of a later minor version is none", "stand", "setup_joint", setup + b"\xfa", f + [("frame_hz", 0)], encode=False)
    g = f + [("frame_hz", 250)]
    good("setup_joint_frame", "its servo gets 250 pulses a second; the longest message to a stand", "stand", "setup_joint",
         named("BBBttHHttHHttH", 3, g), g)
    good("setup_joint_frame_0", "the stand's own rate, said", "stand", "setup_joint", setup + b"\0\0", f + [("frame_hz", 0)], encode=False)
    f = [("tag", 7), ("joint", 2), ("kind", 2), ("segment", 40), ("target", -30000), ("rate", 20000), ("dwell", 600)]
    good("move", "a stair to -30 deg at 20 deg/s, dwell 0.6 s", "stand", "move", named("BBBHtTI", 9, f), f)
    f = [("tag", 255), ("joint", 0), ("kind", 4), ("segment", 65535), ("target", 8388607), ("rate", 16777215), ("dwell", 4294967295)]
    good("move_greatest", "every number at its greatest", "stand", "move", named("BBBHtTI", 9, f), f)
    f = [("tag", 1), ("joint", 0), ("kind", 1), ("segment", 1), ("target", -8388608), ("rate", 0), ("dwell", 0)]
    good("move_least", "every number at its least", "stand", "move", named("BBBHtTI", 9, f), f)
    for typ, name in [(4, "clock_ask"), (6, "arm_ask"), (8, "disarm"), (0x0B, "status_ask"), (0x0C, "bye")]:
        good(name, "nothing but a tag", "stand", name, bytes([typ, 9]), [("tag", 9)])
    good("heartbeat", "count 0: a body that ends in a zero", "stand", "heartbeat", b"\x05\x00", [("count", 0)])
    f = [("tag", 5), ("token", 0xBEEF), ("mask", 4)]
    good("arm", "arms joint 2", "stand", "arm", named("BHB", 7, f), f)
    good("stop", "all joints", "stand", "stop", b"\x0a\x06\xff", [("tag", 6), ("mask", 255)])
    return named("BBBHtTI", 9, [("", v) for v in (7, 2, 2, 40, -30000, 20000, 600)]), setup


def stand():
    joints = [(0x4D, 4096, 0), (0x4D, 4096, 0), (0x4F, 4096, 16384)]
    b = b"\x41LG" + struct.pack("<BBHBBBBBHBB", 1, 0, 0x1234, 0, 3, 1, 10, 8, 1000, 3, 6)
    f = [("major", 1), ("minor", 0), ("nonce", 0x1234), ("firmware", "0.3.1"), ("reset", 10), ("queue", 8), ("max_hz", 1000)]
    for has, jc, mc in joints:
        b += bytes([has]) + u24(jc) + u24(mc)
        f.append(("joint", f"{has} {jc} {mc}"))
    b += b"stand3"
    f.append(("name", "stand3"))
    good("hello", "three joints, the knee with a motor-side sensor", "host", "hello", b, f)
    good("hello_longer", "two bytes of a later minor version behind the name are ignored", "host", "hello", b + b"\x01\x02", f, encode=False)
    other = b"\x41LG" + struct.pack("<BBH", 2, 5, 0x1234)
    good("hello_other_major", "a stand of version 2.5: only the first seven bytes are known", "host", "hello", other,
         [("major", 2), ("minor", 5), ("nonce", 0x1234), ("firmware", "0.0.0"), ("reset", 0), ("queue", 0), ("max_hz", 0), ("name", "")], encode=False)
    good("ack", "a move was queued", "host", "ack", b"\x42\x07\x09", [("tag", 7), ("of", "move")])
    good("refusal", "a move out of the knee's range", "host", "refusal", b"\x43\x07\x09\x09\x02",
         [("tag", 7), ("of", "move"), ("code", "range"), ("joint", 2)])
    good("refusal_frame", "a servo frame rate that is not that of the other joints", "host", "refusal", b"\x43\x07\x03\x0f\x01",
         [("tag", 7), ("of", "setup_joint"), ("code", "frame"), ("joint", 1)])
    f = [("tag", 9), ("time", 4294967295)]
    good("clock", "the last microsecond before the wrap", "host", "clock", named("BI", 0x44, f), f)
    f = [("tag", 9), ("token", 0xBEEF)]
    good("arm_token", "a token", "host", "arm_token", named("BH", 0x45, f), f)
    head = [("tag", 0), ("state", "tripped"), ("trip", "current"), ("trip_joint", 2), ("time", 81234567), ("bad_frames", 3)]
    b = b"\x46" + struct.pack("<BBBBIHB", 0, 2, 2, 2, 81234567, 3, 2)
    for j in [(3, 8, 0, 12, 4000, 0, 1), (1, 2, 40, 11, 65535, 2, 0)]:
        b += struct.pack("<BBHHHHH", *j)
        head.append(("joint", " ".join(map(str, j))))
    good("status", "two joints, tripped by the current of a third", "host", "status", b, head)
    head = [("tag", 9), ("state", "disarmed"), ("trip", "none"), ("trip_joint", 255), ("time", 5), ("bad_frames", 0)]
    b = b"\x46" + struct.pack("<BBBBIHB", 9, 0, 0, 255, 5, 0, 3)
    magnets = [(1 | 1 << 2 | 4 << 5, 4, 0, 0, 0, 0, 0), (2 << 2 | 3 << 5, 4, 0, 0, 0, 0, 0), (3 << 2, 4, 0, 0, 0, 0, 0)]
    for j in magnets:
        b += struct.pack("<BBHHHHH", *j)
        head.append(("joint", " ".join(map(str, j))))
    good("status_magnets", "magnets of joint and motor side: good and none; weak and strong; strong and not known", "host", "status", b, head)
    b = b"\x47" + struct.pack("<BBIii", 2, 2, 81234567, 2612, 2500)
    good("trip", "current over its limit", "host", "trip", b,
         [("reason", "current"), ("joint", 2), ("time", 81234567), ("value", 2612), ("limit", 2500)])
    b = b"\x47" + struct.pack("<BBIii", 3, 1, 5, -78100, -75000)
    good("trip_negative", "values may be negative", "host", "trip", b,
         [("reason", "range"), ("joint", 1), ("time", 5), ("value", -78100), ("limit", -75000)])
    b = b"\x48" + struct.pack("<BBHHI", 2, 1, 40, 12, 81234567)
    good("move_gone", "a move was discarded", "host", "move_gone", b,
         [("joint", 2), ("how", 1), ("segment", 40), ("gone", 12), ("time", 81234567)])
    good("log", "text for people", "host", "log", b"\x49supply 5.1 V", [("text", "supply 5.1 V")])
    good("log_control", "bytes that would steer a terminal are shown as ?", "host", "log", b"\x49a\x1b[2Jb\xff", [("text", "a?[2Jb?")], encode=False)
    return samples()


WIDTHS = [(i24, "<h"), (i24, "<h"), ("<h", "<h"), ("<H", "<H"), ("<h", "<h"), ("<h", "<h")]


def pack_samples(joint, has, kind, segment, seq, recs):
    """recs: time, command, then six values, None where absent."""
    b = struct.pack("<BBBBHHI", 0x50, joint, has, kind, segment, seq, recs[0][0]) + i24(recs[0][1])
    for i, r in enumerate(recs):
        if i:
            b += struct.pack("<Hh", (r[0] - recs[i - 1][0]) & 0xFFFFFFFF, r[1] - recs[i - 1][1])
        for bit in range(6):
            if has >> bit & 1:
                w, v = WIDTHS[bit][1 if i else 0], r[2 + bit]
                if i and bit < 2:
                    v -= recs[i - 1][2 + bit]
                b += w(v) if callable(w) else struct.pack(w, v)
    return b


def samples():
    def one(name, comment, joint, has, kind, segment, seq, recs):
        b = pack_samples(joint, has, kind, segment, seq, recs)
        assert len(b) <= 96, (name, len(b))
        f = [("joint", joint), ("has", has), ("kind", kind), ("segment", segment), ("seq", seq)]
        text = [" ".join("-" if v is None else str(v) for v in r) for r in recs]
        good("samples_" + name, comment, "host", "samples", b, f, text)
        return b

    n = None
    first = one("one", "a single sample without a motor-side angle", 2, 0x0D, 2, 40, 4000,
                [(81234567, -30000, -29912, n, 412, 5980, n, n)])
    one("full", "six samples with both angles fill a frame; one more would not fit", 2, 0x0F, 3, 41, 65533,
        [(1000 * k, 1000 * k - 2500, 1000 * k - 2600, 990 * k - 2400, 300 + k, 5900 - k, n, n) for k in range(6)])
    one("all_fields", "every field, negative torque, current and temperature", 0, 0x3F, 5, 7, 9,
        [(10, -1, -2, -3, -4, 5, -6, -7), (1010, 0, 0, 0, 0, 65535, 32767, -32768)])
    one("time_wrap", "the clock wraps between two records", 1, 0x01, 0, 0, 0,
        [(4294967000, 100, 88, n, n, n, n, n), (704, 100, 88, n, n, n, n, n)])
    one("greatest_steps", "time and angle steps at the ends of their width", 1, 0x03, 4, 2, 77,
        [(0, 0, 0, 0, n, n, n, n), (65535, 32767, -32768, 1, n, n, n, n)])
    one("no_fields", "all sensors silent: only time and command", 0, 0x00, 5, 7, 10, [(10, -8388608, n, n, n, n, n, n)])
    return first


def bad(move, setup, sample):
    f = frame(move)
    flip = bytearray(f)
    flip[4] ^= 0x10
    vec("bad_checksum_body", "one bit of the body flipped", "stand", bytes(flip), "checksum")
    b = move + bytes([crc(move)[0], crc(move)[1] ^ 0x01])
    vec("bad_checksum_crc", "one bit of the CRC flipped", "stand", cobs(b) + b"\0", "checksum")
    b = move + crc(move)[::-1]
    vec("bad_checksum_order", "the two bytes of the CRC the wrong way round", "stand", cobs(b) + b"\0", "checksum")
    b = move + struct.pack("<H", binascii.crc_hqx(move, 0))
    vec("bad_checksum_start", "CRC started at 0 instead of 0xFFFF", "stand", cobs(b) + b"\0", "checksum")
    vec("bad_stuffing_past_end", "the code byte points past the end", "stand", bytes([len(f) + 5]) + f[1:], "stuffing")
    vec("bad_cut", "the last byte before the delimiter is missing", "stand", f[:-2] + b"\0", "stuffing")
    vec("bad_too_short", "a CRC and no body", "stand", frame(b""), "too_short")
    vec("bad_one_byte", "a single byte of stuffing, nothing in it", "stand", b"\x01\x00", "too_short")
    vec("bad_too_long", "150 bytes without a zero, then a good frame", "stand", [b"\x55" * 150 + b"\0", f], "too_long", [move], "move",
        fields_of_move(), encode=False)
    body = b"\x49" + b"x" * 96
    vec("bad_too_long_by_one", "a body of 97 bytes, its CRC right", "host", frame(body), "too_long")
    vec("good_longest", "a body of 81 bytes: the longest log", "host", frame(b"\x49" + b"x" * 80), "ok", [b"\x49" + b"x" * 80], "log", [("text", "x" * 80)])
    vec("good_zeros_between", "any number of zeros between frames is nothing", "stand", [b"\0\0", f, b"\0\0\0", f, b"\0"], "ok", [move, move],
        "move", fields_of_move(), encode=False)
    vec("good_in_pieces", "a frame may come in pieces of any size", "stand", [f[:1], f[1:2], f[2:9], f[9:-1], f[-1:]], "ok", [move], "move",
        fields_of_move(), encode=False)
    vec("bad_glued", "two frames without the zero between them: both are lost, the third is not", "stand", [f[:-1] + f, f], "checksum", [move],
        "move", fields_of_move(), encode=False)
    vec("bad_garbage_between", "text between two frames costs one drop and no frame", "stand", [f, b"\xffboot v1\r\n\0", f], "stuffing", [move, move],
        "move", fields_of_move(), encode=False)
    vec("unknown_to_stand", "a type of a later version", "stand", frame(b"\x3f\x09\x01"), "unknown", [b"\x3f\x09\x01"])
    vec("unknown_to_host", "a type of a later version", "host", frame(b"\x7f\x01\x02\x03"), "unknown", [b"\x7f\x01\x02\x03"])
    vec("unknown_direction", "an ack sent to a stand: an echo, or two stands on one line", "stand", frame(b"\x42\x07\x09"), "unknown", [b"\x42\x07\x09"])
    vec("malformed_move_short", "a move without the last byte of its dwell", "stand", frame(move[:-1]), "malformed", [move[:-1]])
    vec("malformed_setup_joint_short", "a setup_joint of 29 bytes", "stand", frame(setup[:-1]), "malformed", [setup[:-1]])
    vec("good_move_longer", "a byte of a later minor version at the end is ignored", "stand", frame(move + b"\x05"), "ok", [move + b"\x05"],
        "move", fields_of_move(), encode=False)
    b = b"\x01XG" + struct.pack("<BBH", 1, 0, 1)
    vec("malformed_magic", "a hello_ask without the magic bytes", "stand", frame(b), "malformed", [b])
    b = b"\x41LG" + struct.pack("<BBHBBBBBHBB", 1, 0, 1, 0, 0, 0, 0, 8, 100, 7, 0) + bytes(49)
    vec("malformed_hello_joints", "seven joints", "host", frame(b), "malformed", [b])
    b = b"\x41LG" + struct.pack("<BBHBBBBBHBB", 1, 0, 1, 0, 0, 0, 0, 8, 100, 0, 9) + b"name"
    vec("malformed_hello_name", "a name shorter than its length says", "host", frame(b), "malformed", [b])
    b = b"\x46" + struct.pack("<BBBBIHB", 0, 0, 0, 255, 5, 0, 2) + bytes(12)
    vec("malformed_status", "two joints announced, one there", "host", frame(b), "malformed", [b])
    b = sample[:-1]
    vec("malformed_samples_cut", "the body ends inside a record", "host", frame(b), "malformed", [b])
    b = sample[:2] + b"\x4d" + sample[3:]
    vec("malformed_samples_bits", "a reserved bit of the fields set: the records can not be read", "host", frame(b), "malformed", [b])
    b = pack_samples(0, 1, 0, 0, 0, [(0, 8388600, 0) + (None,) * 5]) + struct.pack("<Hhh", 1000, 100, 0)
    vec("malformed_samples_overflow", "a step leads past the greatest angle", "host", frame(b), "malformed", [b])


def fields_of_move():
    return [("tag", 7), ("joint", 2), ("kind", 2), ("segment", 40), ("target", -30000), ("rate", 20000), ("dwell", 600)]


def text():
    os.makedirs(os.path.join(HERE, "text"), exist_ok=True)

    def t(name, comment, line, expect, record=None):
        lines = [("comment", comment), ("joints", "hip knee"), ("line", json.dumps(line)), ("expect", expect)]
        if record:
            lines.append(("record", record))
        write(os.path.join("text", name + ".txt"), lines)

    t("good_least", "only what is needed", "sample,joint=knee command_deg=12.5,joint_deg=12.31 81234567", "ok",
      "1 - 0 0 81234567 12500 12310 - - - - -")
    t("good_full", "everything", 'sample,joint=hip command_deg=-1,joint_deg=-1.0004,motor_deg=2e1,current_a=0.41,supply_v=5.98,torque_nm=-0.0125,temp_c=31.25,seq=17u,move="stair",segment=3u 5',
      "ok", "0 17 2 3 5 -1000 -1000 20000 410 5980 -13 3125")
    t("good_integers", "whole numbers in all their forms", "sample,joint=hip command_deg=12i,joint_deg=12u,seq=65535i,segment=4 0", "ok",
      "0 65535 0 4 0 12000 12000 - - - - -")
    t("good_cr", "a carriage return before the line feed", "sample,joint=hip command_deg=1,joint_deg=1 7\r", "ok", "0 - 0 0 7 1000 1000 - - - - -")
    t("good_unknown", "unknown tags and fields are ignored", 'sample,joint=hip,leg=fore-left command_deg=1,joint_deg=1,mood="good" 7', "ok",
      "0 - 0 0 7 1000 1000 - - - - -")
    t("ignored_empty", "an empty line", "", "ignored")
    t("ignored_comment", "a comment", "# boot v1", "ignored")
    t("ignored_measurement", "another measurement", "battery volts=7.4 12", "ignored")
    t("log", "text for the user", 'log text="ready"', "log")
    t("bad_syntax", "no line protocol", "knee;12.5;12.31", "syntax")
    t("bad_cut", "the line ends inside a field", "sample,joint=knee command_deg=12.5,joint_d", "syntax")
    t("bad_no_joint", "the joint tag is missing", "sample command_deg=1,joint_deg=1 7", "missing")
    t("bad_no_angle", "the angle is missing", "sample,joint=knee command_deg=1 7", "missing")
    t("bad_no_time", "the time is missing", "sample,joint=knee command_deg=1,joint_deg=1", "missing")
    t("bad_joint", "a joint the bench does not have", "sample,joint=elbow command_deg=1,joint_deg=1 7", "unknown_joint")
    t("bad_kind", "a string where a number belongs", 'sample,joint=knee command_deg="1",joint_deg=1 7', "value")
    t("bad_move", "an unknown move", 'sample,joint=knee command_deg=1,joint_deg=1,move="dance" 7', "value")
    t("bad_large", "an angle beyond 2,000,000 mdeg", "sample,joint=knee command_deg=1,joint_deg=2001 7", "value")
    t("bad_seq", "a number beyond 65535", "sample,joint=knee command_deg=1,joint_deg=1,seq=65536u 7", "value")
    t("bad_segment", "half a segment", "sample,joint=knee command_deg=1,joint_deg=1,segment=1.5 7", "value")
    t("bad_time", "a negative time", "sample,joint=knee command_deg=1,joint_deg=1 -7", "value")
    t("bad_too_long", "513 bytes with its line feed", "# " + "x" * 510, "too_long")


move, setup = host()
sample = stand()
bad(move, setup, sample)
text()

"""A reader of sealed runs: as much of Parquet as they use, by NumPy. Pages of version 2, zstd, integers
in delta binary packing, texts by dictionary (apache/parquet-format: README.md, Encodings.md, parquet.thrift;
Thrift compact protocol for the headers). A row group holds one joint."""
import numpy as np
import zstandard


class Thrift:
    """Decodes one struct of the Thrift compact protocol into a dict by field number."""

    def __init__(self, data, at=0):
        self.d, self.at = data, at

    def varint(self):
        v = shift = 0
        while True:
            b = self.d[self.at]
            self.at += 1
            v |= (b & 127) << shift
            if b < 128:
                return v
            shift += 7

    def zigzag(self):
        v = self.varint()
        return (v >> 1) ^ -(v & 1)

    def value(self, kind):
        if kind in (1, 2):
            return kind == 1
        if kind == 3:
            self.at += 1
            return self.d[self.at - 1]
        if kind in (4, 5, 6):
            return self.zigzag()
        if kind == 7:
            self.at += 8
            return self.d[self.at - 8:self.at]
        if kind == 8:
            n = self.varint()
            self.at += n
            return bytes(self.d[self.at - n:self.at])
        if kind in (9, 10):
            head = self.d[self.at]
            self.at += 1
            n = head >> 4 if head >> 4 < 15 else self.varint()
            if head & 15 in (1, 2):  # a list of truths has a byte each
                self.at += n
                return [x == 1 for x in self.d[self.at - n:self.at]]
            return [self.value(head & 15) for _ in range(n)]
        if kind == 12:
            return self.struct()
        raise ValueError(f"thrift type {kind}")

    def struct(self):
        out, field = {}, 0
        while True:
            head = self.d[self.at]
            self.at += 1
            if head == 0:
                return out
            field = field + (head >> 4) if head >> 4 else self.zigzag()
            out[field] = self.value(head & 15)


def zigzag(v):
    return (v >> 1) ^ -(v & 1)


def unpack_delta(data, out):
    """Delta binary packing of one page into out, which has room for its values. Headers are walked block by
    block; the packed differences of all blocks are then taken apart together."""
    at = 0

    def varint():
        nonlocal at
        v = shift = 0
        while True:
            b = data[at]
            at += 1
            v |= (b & 127) << shift
            if b < 128:
                return v
            shift += 7
    block, minis, total, first = varint(), varint(), varint(), zigzag(varint())
    per = block // minis
    starts, widths, least = [], [], []
    left = total - 1
    while left > 0:
        m = zigzag(varint())
        ws = data[at:at + minis]
        at += minis
        for w in ws:
            if left <= 0:
                break
            starts.append(at)
            widths.append(w)
            least.append(m)
            at += w * per // 8
            left -= per
    out[0] = first
    if not starts:
        return
    widths = np.array(widths)
    diff = np.repeat(np.array(least, dtype=np.int64), per).reshape(-1, per)
    words = np.ndarray((len(data),), dtype="<u8", buffer=bytes(data) + b"\0" * 8, strides=(1,))
    starts = np.array(starts)
    for w in np.unique(widths):
        if w:
            mine = np.flatnonzero(widths == w)
            bit = np.arange(per) * int(w)
            packed = words[starts[mine][:, None] + (bit >> 3)] >> (bit & 7).astype(np.uint64)
            diff[mine] += (packed & np.uint64((1 << int(w)) - 1)).astype(np.int64)
    np.cumsum(diff.ravel()[:total - 1], out=out[1:total])
    out[1:total] += first


def unpack_hybrid(data, width, n):
    """Runs and bit packing of indexes below 2^width."""
    out = np.empty(n, dtype=np.int32)
    t, i = Thrift(data), 0
    while i < n:
        head = t.varint()
        if head & 1:
            count = (head >> 1) * 8
            size = count * width // 8
            bits = np.unpackbits(np.frombuffer(data, np.uint8, size, t.at), bitorder="little").reshape(count, width)
            v = bits @ (1 << np.arange(width))
            t.at += size
        else:
            count, size = head >> 1, (width + 7) // 8
            v = int.from_bytes(data[t.at:t.at + size], "little")
            t.at += size
        k = min(count, n - i)
        out[i:i + k] = v[:k] if head & 1 else v
        i += k
    return out


class File:
    def __init__(self, path):
        self.d = open(path, "rb").read()
        size = int.from_bytes(self.d[-8:-4], "little")
        self.meta = Thrift(self.d[-8 - size:-8]).struct()
        self.groups = len(self.meta[4])
        self.zstd = zstandard.ZstdDecompressor()

    def read(self, group):
        """The name of the joint and its columns: integers, texts as (names, codes), none for a column without values."""
        g = self.meta[4][group]
        cols = {}
        for c in g[1]:
            m = c[3]
            cols[m[3][0].decode()] = self.column(m, g[3])
        names, code = cols["joint"]
        return names[code[0]], cols

    def column(self, m, rows):
        text = m[1] == 6
        out = np.empty(rows, dtype=np.int32 if m[1] in (1, 6) else np.int64)
        at = m[11] if m.get(11) else m[9]
        names, i = [], 0
        seen = False
        while i < rows:
            t = Thrift(self.d, at)
            h = t.struct()
            body = self.d[t.at:t.at + h[3]]
            at = t.at + h[3]
            if h[1] == 2:  # dictionary
                plain, k = self.zstd.decompress(body, h[2]), 0
                while k < len(plain):
                    n = int.from_bytes(plain[k:k + 4], "little")
                    names.append(plain[k + 4:k + 4 + n].decode())
                    k += 4 + n
                continue
            v2 = h[8]
            n, nulls, levels = v2[1], v2[2], v2[5] + v2[6]
            if nulls == n:
                i += n
                continue
            if nulls:
                raise ValueError("a column with single values missing")
            seen = True
            data = self.zstd.decompress(body[levels:], h[2] - levels) if v2.get(7, True) else body[levels:]
            if text:
                out[i:i + n] = unpack_hybrid(data[1:], data[0], n)
            else:
                page = np.empty(n, dtype=np.int64)
                unpack_delta(data, page)
                out[i:i + n] = page
            i += n
        if text:
            return names, out
        return out if seen else None

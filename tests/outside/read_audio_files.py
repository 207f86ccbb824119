"""What another reader finds in audio files: scipy.io.wavfile and a walk over the chunks for WAV, the stream information
and tags for FLAC (RFC 9639). For each file named on the command line one line of JSON on standard output; the samples of
a WAV file go beside it, NAME.f64, interleaved doubles with full scale 1."""
import hashlib
import json
import pathlib
import struct
import sys

import numpy as np
from scipy.io import wavfile


def wav_comment(data):
    at = 12
    while at + 8 <= len(data):
        name, size = data[at : at + 4], struct.unpack("<I", data[at + 4 : at + 8])[0]
        if name == b"LIST" and data[at + 8 : at + 12] == b"INFO":
            inner = at + 12
            while inner + 8 <= at + 8 + size:
                entry, length = data[inner : inner + 4], struct.unpack("<I", data[inner + 4 : inner + 8])[0]
                if entry == b"ICMT":
                    return data[inner + 8 : inner + 8 + length].rstrip(b"\0").decode()
                inner += 8 + length + length % 2
        at += 8 + size + size % 2
    return None


def read_wav(path):
    data = path.read_bytes()
    rate, samples = wavfile.read(path)
    stored = str(samples.dtype)
    if samples.dtype.kind == "i":  # scipy puts 24-bit codes at the top of 32 bits
        scaled = samples.astype(np.float64) / 2.0 ** (8 * samples.dtype.itemsize - 1)
    else:
        scaled = samples.astype(np.float64)
    path.with_name(path.name + ".f64").write_bytes(scaled.astype("<f8").tobytes())
    return {
        "rate": rate,
        "shape": list(samples.shape),
        "stored": stored,
        "riff_size_right": struct.unpack("<I", data[4:8])[0] == len(data) - 8,
        "comment": wav_comment(data),
    }


def read_flac(path):
    data = path.read_bytes()
    assert data[:4] == b"fLaC"
    found = {"comment": None}
    at, last = 4, False
    while not last:
        last, kind = bool(data[at] & 0x80), data[at] & 0x7F
        size = int.from_bytes(data[at + 1 : at + 4], "big")
        block = data[at + 4 : at + 4 + size]
        if kind == 0:
            packed = int.from_bytes(block[10:18], "big")
            found["rate"] = packed >> 44
            found["channels"] = ((packed >> 41) & 7) + 1
            found["bits"] = ((packed >> 36) & 31) + 1
            found["frames"] = packed & (2**36 - 1)
            found["md5"] = block[18:34].hex()
        if kind == 4:
            inner = 4 + struct.unpack("<I", block[:4])[0]
            count = struct.unpack("<I", block[inner : inner + 4])[0]
            inner += 4
            for _ in range(count):
                length = struct.unpack("<I", block[inner : inner + 4])[0]
                name, _, value = block[inner + 4 : inner + 4 + length].decode().partition("=")
                if name.upper() == "COMMENT":
                    found["comment"] = value
                inner += 4 + length
        at += 4 + size
    # Beside the file lie the samples the test meant to write, as doubles: their checksum by FLAC's own definition.
    meant = np.fromfile(path.with_name(path.name + ".meant"), "<f8") * 2.0 ** (found["bits"] - 1)
    width = found["bits"] // 8
    raw = meant.astype("<i4").view(np.uint8).reshape(-1, 4)[:, :width].tobytes()
    found["md5_meant"] = hashlib.md5(raw).hexdigest()
    return found


for name in sys.argv[1:]:
    path = pathlib.Path(name)
    print(json.dumps(read_flac(path) if path.suffix == ".flac" else read_wav(path)))

"""Bytes of one file in, text out: refuse what is not text, find the encoding and say how sure that is."""

from __future__ import annotations

import codecs
import hashlib
import json
import os
import re
import stat
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

import charset_normalizer

from pipeline.errors import FileRefused, UsageError, cut

SAMPLE = 1 << 16
"""Bytes looked at where a share is enough and the whole file would cost time."""

MAGIC: tuple[tuple[bytes, str], ...] = (
    (b"\x1f\x8b", "a gzip-compressed file"),
    (b"PK\x03\x04", "a spreadsheet or a zip archive"),
    (b"PK\x05\x06", "an empty zip archive"),
    (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "an old spreadsheet or office document"),
    (b"%PDF-", "a PDF document"),
    (b"PAR1", "a Parquet file"),
    (b"ARROW1\x00\x00", "an Arrow file"),
    (b"\x89PNG\r\n\x1a\n", "an image"),
    (b"\xff\xd8\xff", "an image"),
    (b"GIF87a", "an image"),
    (b"GIF89a", "an image"),
    (b"II*\x00", "an image"),
    (b"MM\x00*", "an image"),
    (b"BZh", "a bzip2-compressed file"),
    (b"\xfd7zXZ\x00", "an xz-compressed file"),
    (b"\x28\xb5\x2f\xfd", "a zstd-compressed file"),
    (b"\x04\x22\x4d\x18", "an lz4-compressed file"),
    (b"7z\xbc\xaf\x27\x1c", "a 7z archive"),
    (b"Rar!\x1a\x07", "a rar archive"),
    (b"SQLite format 3\x00", "a database"),
    (b"\x7fELF", "a program"),
    (b"{\\rtf", "a word-processor document"),
)
"""First bytes of formats that are not CSV (each format's published file signature)."""

NEEDS_MORE: dict[bytes, re.Pattern[bytes]] = {
    b"BZh": re.compile(rb"BZh[1-9](?:1AY&SY|\x17rE8P\x90)"),
    b"PAR1": re.compile(rb"PAR1.*PAR1\Z", re.DOTALL),
}
"""Signatures that a header line could begin with, and what must follow before they count."""

MARKUP = re.compile(rb"\s*<(?:!doctype|html|head|body|table|\?xml|workbook)\b", re.IGNORECASE)

TEXT_CONTROLS = bytes([0x01, 0x09, 0x0A, 0x0B, 0x0C, 0x0D, 0x1A, 0x1B, 0x1C, 0x1D, 0x1E, 0x1F])
"""Control bytes that text exports do carry: white space, end of file, separators."""

BOMS: tuple[tuple[bytes, str], ...] = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)

LETTERS = frozenset("äöüÄÖÜßéèêëÉÈÊáàâãåÁÀÂÅíîïÍóôõøÓÔØúùûÚñÑçÇæÆœ")
SYMBOLS = frozenset("°µ±–—‘’“”•…€£®™½¼²³\u00a0")
"""What office text outside ASCII mostly consists of; tells single-byte encodings apart (judgement, no source)."""

SINGLE_BYTE = ("cp1252", "mac_roman", "cp850")


@dataclass(frozen=True)
class Decoded:
    """Text of a file; bytes that the encoding does not know are lone surrogates U+DC80 to U+DCFF.

    ``cut`` is true where the file ends inside a character.
    """

    text: str
    encoding: str
    confidence: float
    damaged: bool
    cut: bool


def read_bytes(path: Path, name: str) -> bytes:
    """Return the file's bytes.

    Raises
    ------
    FileRefused
        If it cannot be opened, is no regular file, is empty, or changes while it is read.
    """
    try:
        # Looked at before it is opened: opening a pipe waits for its writer.
        if not stat.S_ISREG(path.stat().st_mode):
            raise FileRefused(f"{name} is not a file: give the name of a CSV file", slug="not-a-file")
        with path.open("rb") as handle:
            before = os.fstat(handle.fileno())
            data = handle.read()
    except OSError as error:
        reason = error.strerror or type(error).__name__
        raise FileRefused(f"{name} cannot be opened ({reason}): check the name and its permissions") from error
    if len(data) != before.st_size:
        raise FileRefused(CHANGED.format(name=name), slug="file-changed")
    refuse_changed(path, name, before)
    if not data:
        raise FileRefused(f"{name} is empty (0 bytes): export it again", slug="empty-file")
    return data


CHANGED = "{name} changed while it was being read: wait until the program that writes it has finished, then run again"


def refuse_changed(path: Path, name: str, before: os.stat_result) -> None:
    """Raise FileRefused if the file at ``path`` is no longer the one that ``before`` describes."""
    try:
        now = path.stat()
    except OSError as error:
        raise FileRefused(CHANGED.format(name=name), slug="file-changed") from error
    if (now.st_ino, now.st_size, now.st_mtime_ns) != (before.st_ino, before.st_size, before.st_mtime_ns):
        raise FileRefused(CHANGED.format(name=name), slug="file-changed")


def digest(data: bytes) -> str:
    """Return the SHA-256 of the file's bytes in hexadecimal."""
    return hashlib.sha256(data).hexdigest()


def refuse_what_is_not_text(data: bytes, name: str) -> None:
    """Raise FileRefused, saying what the file is, if its content is not delimited text."""
    what = _what_it_is(data)
    if what is not None:
        message = f"{name} is {what}, not CSV text: open it in its own program and save it as CSV"
        raise FileRefused(message, slug="not-text")


def _what_it_is(data: bytes) -> str | None:
    for magic, what in MAGIC:
        if data.startswith(magic) and (magic not in NEEDS_MORE or NEEDS_MORE[magic].match(data)):
            return what
    if data[8:12] == b"DUCK":
        return "a database"
    head = data[:SAMPLE]
    if MARKUP.match(head.removeprefix(codecs.BOM_UTF8)):
        return "a web page or XML document"
    if _is_json(data):
        return "a JSON file"
    if any(head.startswith(bom) for bom, _ in BOMS) or _utf16_without_bom(head):
        return None
    nul = head.count(0)
    controls = len(head.translate(None, delete=bytes(range(0x20, 0x100)) + TEXT_CONTROLS)) - nul
    if nul == len(head):
        return "a file of zero bytes"
    if controls > max(8, 0.05 * len(head)) or (nul > 0.3 * len(head) and controls > 0):
        return "a binary file"
    return None


def _is_json(data: bytes) -> bool:
    head = data[:SAMPLE].lstrip()
    if not head.startswith((b"{", b"[")):
        return False
    try:
        json.loads(data)
    except ValueError:
        first = head.split(b"\n", 1)[0]
        try:
            return isinstance(json.loads(first), dict)
        except ValueError:
            return False
    except RecursionError:
        return True
    return True


def _utf16_without_bom(head: bytes) -> str | None:
    # ASCII text in UTF-16 has a zero in every second byte; two thirds leaves room for other scripts.
    even, odd = head[0::2], head[1::2]
    if not odd:
        return None
    zero_even, zero_odd = even.count(0) / len(even), odd.count(0) / len(odd)
    if zero_odd > 0.65 and zero_even < 0.05:
        return "utf-16-le"
    if zero_even > 0.65 and zero_odd < 0.05:
        return "utf-16-be"
    return None


def decode(data: bytes, *, encoding: str | None = None) -> Decoded:
    """Return the text of ``data`` with the encoding used and a confidence between 0 and 1.

    Parameters
    ----------
    data : bytes
        The whole file.
    encoding : str, optional
        The encoding the mapping file states; nothing is guessed then.

    Raises
    ------
    UsageError
        If ``encoding`` is not a known name.
    """
    if encoding is not None:
        return _decode_as(data, _known(encoding), 1.0)
    for bom, codec in BOMS:
        if data.startswith(bom):
            return _decode_as(data, codec, 1.0)
    wide = _utf16_without_bom(data[:SAMPLE])
    if wide is not None:
        return _decode_as(data, wide, 0.95)
    try:
        return Decoded(data.decode("utf-8"), "utf-8", 1.0, damaged=False, cut=False)
    except UnicodeDecodeError:
        return _decode_not_utf8(data)


def _known(encoding: str) -> str:
    wrong = f'encoding "{cut(encoding)}" in mapping.toml is not a text encoding: write utf-8, utf-16 or cp1252'
    try:
        codec = codecs.lookup(encoding)
    except (LookupError, ValueError) as error:
        raise UsageError(wrong) from error
    if not getattr(codec, "_is_text_encoding", True):
        raise UsageError(wrong)
    return {"utf-16": "utf-16", "utf-8": "utf-8-sig"}.get(codec.name, codec.name)


def _decode_as(data: bytes, codec: str, confidence: float) -> Decoded:
    cut_off = False
    if codec == "utf-16":
        codec = "utf-16-be" if data.startswith(codecs.BOM_UTF16_BE) else "utf-16-le"
    if codec.startswith("utf-16"):
        cut_off = len(data) % 2 == 1
        data = data[: len(data) - len(data) % 2]
    errors = "surrogatepass" if codec.startswith("utf-16") else "surrogateescape"
    try:
        text = data.decode(codec, errors)
    except UnicodeDecodeError:
        # Multi-byte codecs may refuse even escapes; the unreadable characters are marked instead.
        text = data.decode(codec, "replace").replace("\ufffd", "\udcff")
    text = text.lstrip("\ufeff")
    damaged = bool(SURROGATE.search(text))
    return Decoded(text, codec.removesuffix("-sig"), confidence, damaged, cut_off)


SURROGATE = re.compile("[\ud800-\udfff]")
"""Marks a byte that the encoding does not know."""


def _decode_not_utf8(data: bytes) -> Decoded:
    lossy = data.decode("utf-8", "surrogateescape")
    bad = len(SURROGATE.findall(lossy))
    good = sum(1 for _ in VALID_MULTIBYTE.finditer(lossy))
    if good > bad or (good and _only_the_end_is_cut(data)):
        # A few broken bytes in a UTF-8 file: another encoding would misread every good character.
        return Decoded(lossy, "utf-8", round(good / (good + bad), 2), damaged=True, cut=_only_the_end_is_cut(data))
    shares = {codec: _believable_share(data, codec) for codec in SINGLE_BYTE}
    best = max(SINGLE_BYTE, key=lambda codec: shares[codec])
    if shares["cp1252"] >= 0.7 or shares[best] < 0.9:
        best = "cp1252"
    if shares[best] < 0.5:
        guess = _guess_by_library(data)
        if guess is not None:
            return guess
    text = data.decode(best, "surrogateescape")
    confidence = round(0.5 + 0.45 * shares[best], 2)
    return Decoded(text, best, confidence, bool(SURROGATE.search(text)), cut=False)


VALID_MULTIBYTE = re.compile("[^\x00-\x7f\ud800-\udfff]")


def _only_the_end_is_cut(data: bytes) -> bool:
    decoder = codecs.getincrementaldecoder("utf-8")()
    try:
        decoder.decode(data)
    except UnicodeDecodeError:
        return False
    return True


def _believable_share(data: bytes, codec: str) -> float:
    """Return how much of what is not ASCII looks right: letters in words, symbols at their edges."""
    found = [m[0].decode(codec, "replace") for m in islice(re.finditer(rb"(?s).?[\x80-\xff].?", data), 2000)]
    total = 0.0
    for near in found:
        letter = next(c for c in near if c > "\x7f")
        in_word = len(near) == 3 and near[0].isalpha() and near[2].isalpha()
        if letter in LETTERS or (letter in SYMBOLS and (not in_word or letter == "’")):
            total += 1.0 if in_word or letter not in "øØæÆåÅ" else 0.3
        elif letter.isalpha() or not in_word:
            total += 0.3 if letter != "\ufffd" else 0.0
    return total / max(len(found), 1)


def _guess_by_library(data: bytes) -> Decoded | None:
    lines = [line for line in data[: 16 * SAMPLE].split(b"\n") if not line.isascii()][:2000]
    best = charset_normalizer.from_bytes(b"\n".join(lines)).best()
    if best is None or best.encoding in {"ascii", "utf_8", *SINGLE_BYTE, "latin_1"}:
        return None
    return _decode_as(data, best.encoding, round(max(0.1, min(0.8, 1 - best.chaos) * 0.8), 2))

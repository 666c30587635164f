"""A fast structural look at a body of clean text: where records are, and whether a plain CSV reader may be trusted.

Only text in which every quote is regular passes; all else is for the tokenizer in ``records``. The reader's answer
is believed only where its rows and the characters in its cells add up to what was counted here: it pads short
records without a word, and each missing delimiter shows in that sum.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

LINE_FEED, RETURN = 10, 13


@dataclass(frozen=True)
class Outline:
    """Records of a body: byte offsets of start and end (without the line end), physical line from 0.

    ``opens`` are the offsets of the odd-numbered quotes, ``removed`` how many bytes of quoting belong to each.
    """

    starts: NDArray[np.int64]
    ends: NDArray[np.int64]
    lines: NDArray[np.int64]
    opens: NDArray[np.int64]
    removed: NDArray[np.int64]


def outline(body: bytes, delimiter: str, quote: str) -> Outline | None:
    """Return the records of ``body``, or None where a quote or a line end is irregular.

    Parameters
    ----------
    body : bytes
        UTF-8 text, from the start of a record on.
    delimiter, quote : str
        One ASCII character each; ``quote`` may be empty.
    """
    if len(delimiter) != 1 or not delimiter.isascii() or not quote.isascii():
        return None
    letters = np.frombuffer(body, dtype=np.uint8)
    feeds = np.flatnonzero(letters == LINE_FEED)
    if body.count(b"\r") != np.count_nonzero(letters[feeds[feeds > 0] - 1] == RETURN):
        return None
    stops = feeds
    opens = removed = np.empty(0, dtype=np.int64)
    if quote and quote.encode() in body:
        at = np.flatnonzero(letters == ord(quote))
        opens, closes = at[0::2], at[1::2]
        if len(at) % 2 or not _regular(letters, opens, closes, delimiter, quote):
            return None
        stops = feeds[np.searchsorted(at, feeds) % 2 == 0]
        doubled = (opens > 0) & (letters[opens - 1] == ord(quote))
        removed = np.where(doubled, 1, 2)
    starts = np.concatenate([np.zeros(1, dtype=np.int64), stops + 1])
    if starts[-1] == len(body):
        starts = starts[:-1]
    else:
        stops = np.append(stops, len(body))
    ends = stops - ((stops > starts) & (letters[stops - 1] == RETURN))
    lines = np.arange(len(starts)) if len(opens) == 0 else np.searchsorted(feeds, starts)
    return Outline(starts, ends, lines, opens, removed)


def _regular(
    letters: NDArray[np.uint8], opens: NDArray[np.int64], closes: NDArray[np.int64], delimiter: str, quote: str
) -> bool:
    """Whether each quote stands at the edge of a cell or is doubled."""
    edges = np.zeros(256, dtype=bool)
    edges[[ord(delimiter), LINE_FEED, ord(quote)]] = True
    first = opens[1:] if opens[0] == 0 else opens
    if not edges[letters[first - 1]].all():
        return False
    edges[RETURN] = True
    last = closes[:-1] if closes[-1] == len(letters) - 1 else closes
    return bool(edges[letters[last + 1]].all())


def widths(body: bytes, found: Outline, delimiter: str, quote: str) -> NDArray[np.int64]:
    """Return the number of cells of each record."""
    letters = np.frombuffer(body, dtype=np.uint8)
    apart = letters == ord(delimiter)
    if len(found.opens):
        apart &= ~np.bitwise_xor.accumulate(letters == ord(quote))
    separators = np.flatnonzero(apart)
    before = np.searchsorted(separators, found.starts)
    counts: NDArray[np.int64] = np.diff(np.append(before, len(separators))) + 1
    return counts


def read_all(body: bytes, found: Outline, width: int, delimiter: str, quote: str) -> pl.DataFrame | None:
    """Return every record as text columns c0, c1, …, or None where they are not all ``width`` cells wide."""
    size = int((found.ends - found.starts).sum()) - len(found.starts) * (width - 1) - int(found.removed.sum())
    return _read(body, len(found.starts), size, width, delimiter, quote)


def read_some(
    body: bytes, found: Outline, which: NDArray[np.bool_], width: int, delimiter: str, quote: str
) -> pl.DataFrame | None:
    """Return the selected records, each ``width`` cells wide, or None where the reader's answer does not add up."""
    quoting = np.concatenate([np.zeros(1, dtype=np.int64), np.cumsum(found.removed)])
    edges = np.append(np.searchsorted(found.opens, found.starts), len(found.opens))
    sizes = found.ends - found.starts - (width - 1) - np.diff(quoting[edges])
    return _read(
        b"".join(_runs(body, found, which)), int(which.sum()), int(sizes[which].sum()), width, delimiter, quote
    )


def _read(text: bytes, height: int, size: int, width: int, delimiter: str, quote: str) -> pl.DataFrame | None:
    try:
        frame = pl.read_csv(
            text,
            has_header=False,
            separator=delimiter,
            quote_char=quote or None,
            schema={f"c{n}": pl.String() for n in range(width)},
            empty_string_is_null=False,
            extra_columns="raise",
        )
    except (pl.exceptions.PolarsError, ValueError):
        return None
    if frame.shape != (height, width):
        return None
    letters = frame.select(pl.sum_horizontal(pl.all().str.len_bytes().cast(pl.Int64).sum())).item()
    return frame if letters == size else None


def _runs(body: bytes, found: Outline, which: NDArray[np.bool_]) -> list[bytes]:
    """Return the selected records with their line ends, neighbours in one piece."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], which, [False]]).astype(np.int8)))
    stops = np.append(found.starts[1:], len(body))
    pieces = [body[found.starts[a] : stops[b - 1]] for a, b in zip(edges[0::2], edges[1::2], strict=True)]
    return [piece if piece.endswith(b"\n") else piece + b"\n" for piece in pieces]

"""Delimiter, quote and escape of a file, found by trying each pair and judging the table it gives.

A reading is good when most records have the same number of cells and the cells look like values. The idea
(row patterns times cell types) is published in van den Burg, Nazábal and Sutton, "Wrangling messy CSV files by
detecting row and type patterns", Data Mining and Knowledge Discovery 33 (2019); the weights here are our own.
"""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass

from pipeline.ingest.records import OK, OPEN, Dialect, Record, is_blank, records

COMMON = (",", ";", "\t", "|")
RARE = ("^", "~", "\x1f", "\x01", "§", "¦", "#", "!", ":", " ")
"""Delimiters taken only where no common one gives a table."""

QUOTES = ('"', "'", "`", "~", "^", "|", "$", "%", "*", "@", "/")
ESCAPES = ("\\", "^", "~", "/", "|", "$", "%", "&", "!", "?", "*", "+", "@", "`")
SAMPLE_LINES = 300
SAMPLE_TYPED = 60
"""Records whose cells are judged by type; more cost time and change nothing."""
RARE_WEIGHT = 0.6
NO_NAMES_WEIGHT = 0.75
"""For a table of which no early record could be the header."""

NUMBER = re.compile(r"\(?[-+]?[$€£]?\s?\d[\d.,' \u00a0]*(?:[eE][-+]?\d+)?\s?(?:%|[°µμ]?[A-Za-z]{1,4})?\)?$")
DATE = re.compile(
    r"\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4}(?:[T ]\d{1,2}:\d{2}.*)?$|\d{1,2}:\d{2}(?::\d{2})?(?:\s?[AaPp]\.?[Mm]\.?)?$"
)
WORD = re.compile(r"[\w.\-#°µ%@+/()&]+$")
PROSE = re.compile(r"[^;|\t\"\x00-\x1f]*$")


@dataclass(frozen=True)
class Detected:
    """The dialect, the usual numbers of cells (most usual first), and the sample's records read with it."""

    dialect: Dialect
    widths: tuple[int, ...]


def detect(text: str, *, delimiter: str | None = None) -> Detected:
    """Return the dialect in which the beginning of ``text`` makes the best table.

    Parameters
    ----------
    text : str
        Decoded text of the file.
    delimiter : str, optional
        The delimiter the mapping file states; only quote and escape are found then.
    """
    hinted = delimiter or _spreadsheet_hint(text)
    head = _head(text)
    best: tuple[float, Dialect, Counter[int]] | None = None
    for candidate in _candidates(head, hinted):
        score, widths = _score(_sample(text, candidate), candidate)
        if best is None or score > best[0] + 1e-9:
            best = (score, candidate, widths)
    assert best is not None
    _, dialect, widths = best
    escape = (_escape(text, dialect) or _late_backslash(text, dialect, widths)) if not dialect.escape else ""
    if escape and dialect.quote:
        dialect = Dialect(dialect.delimiter, dialect.quote, escape)
        _, widths = _score(_sample(text, dialect), dialect)
    return Detected(dialect, _usual(widths))


def _spreadsheet_hint(text: str) -> str | None:
    # Spreadsheets write and obey a first line such as sep=;
    match = re.match(r'"?sep=([^\r\n"]{1,2})"?\r?\n', text, re.IGNORECASE)
    return match[1] if match else None


def _head(text: str) -> str:
    return text[:16384].replace("\r\n", "\n").replace("\r", "\n")


def _candidates(head: str, delimiter: str | None) -> list[Dialect]:
    delimiters = [delimiter] if delimiter else [d for d in COMMON if d in head]
    if not delimiter:
        delimiters += [d + " " for d in (",", ";", "|") if d + " " in head]
        delimiters += [" | "] if " | " in head else []
        delimiters += [d for d in RARE if d in head]
    found: list[Dialect] = []
    if "," not in delimiters and not delimiter:
        # A file of one column has no delimiter.
        delimiters.insert(0, ",")
    for d in delimiters:
        quotes = [q for q in QUOTES if q not in d and (q == '"' or _encloses(head, d, q))]
        for q in quotes:
            found.append(Dialect(d, q))
            if q == '"' or q == "'":
                found.extend(Dialect(d, q, "\\") for _ in range("\\" + q in head))
        if "\\" + d in head and len(d) == 1:
            found.append(Dialect(d, "", "\\"))
    return found


def _encloses(head: str, delimiter: str, quote: str) -> bool:
    """Whether ``quote`` opens and closes cells: those that need it, a good share of all, or a whole line of them."""
    if head.count(quote) < 2:
        return False
    d, q = re.escape(delimiter), re.escape(quote)
    inside = re.findall(rf"(?:^|{d}){q}([^\n]{{0,300}}?){q}(?={d}|$)", head, re.MULTILINE)
    spread = re.findall(rf"(?:^|{d}){q}([^{q}]{{0,300}}\n[^{q}]{{0,300}}){q}(?={d}|$)", head, re.MULTILINE)
    opens = re.findall(rf"(?:^|{d}){q}", head, re.MULTILINE)
    if len(inside) + len(spread) < max(1, 0.6 * len(opens)):
        return False
    if spread or len(inside) >= 0.2 * (head.count(delimiter) + head.count("\n") + 1):
        return True
    first = next((line for line in head.splitlines() if line.count(quote) >= 4), "")
    whole = all(cell[:1] == cell[-1:] == quote for cell in first.split(delimiter))
    return whole or any(delimiter in cell or quote in cell for cell in inside)


def _sample(text: str, dialect: Dialect) -> list[Record]:
    found = list(records(text, dialect, most=SAMPLE_LINES))
    if len(found) > 2 and text[found[-1].end : found[-1].end + 4].strip("\r\n"):
        found.pop()
    return [record for record in found if not is_blank(record.cells)]


def _score(sample: list[Record], dialect: Dialect) -> tuple[float, Counter[int]]:
    """Return how good a table the sample is (0 = one column), and how often each width occurs."""
    widths = Counter(len(record.cells) for record in sample)
    if not sample:
        return 0.0, widths
    shape = sum((n / len(sample)) ** 2 * (width - 1) / width for width, n in widths.items())
    step = max(1, len(sample) // SAMPLE_TYPED)
    chosen = sample[:20] + sample[20::step]
    judged = [cell for record in chosen for cell in record.cells[:200]]
    types = sum(_looks_like_a_value(cell) for cell in judged) / max(len(judged), 1)
    flaws = sum(1.0 if r.flaw == OPEN else 0.5 for r in sample if r.flaw != OK) / len(sample)
    score = shape * types * (1 - 0.7 * flaws) * (1.0 if _has_names(sample, widths) else NO_NAMES_WEIGHT)
    if dialect.delimiter in RARE:
        score *= RARE_WEIGHT * _rare_weight(sample, widths, dialect.delimiter, types)
    if dialect.quote != '"':
        score *= 0.999 if dialect.quote else 0.97
    return score, widths


def _has_names(sample: list[Record], widths: Counter[int]) -> bool:
    """Whether one of the first records has the usual width and nothing that looks like a number or date."""
    usual = max((n, width) for width, n in widths.items())[1]
    early = (record.cells for record in sample[:20] if len(record.cells) == usual)
    return any(not any(NUMBER.match(c.strip()) or DATE.match(c.strip()) for c in cells) for cells in early)


def _rare_weight(sample: list[Record], widths: Counter[int], delimiter: str, types: float) -> float:
    """Return how far a rare delimiter may be believed; all of them occur inside values."""
    n, usual = max((n, width) for width, n in widths.items())
    share = n / len(sample)
    if delimiter not in " :":
        return 1.0 if usual > 2 or share > (0.5 if delimiter in "^~" else 0.95) else 0.0
    quoted = sum(delimiter in cell for record in sample for cell in record.cells) >= 0.3 * len(sample)
    return 0.8 if share >= 0.5 and types >= 0.8 and (usual > 2 or quoted) else 0.0


def _looks_like_a_value(cell: str) -> float:
    value = cell.strip()
    if not value:
        return 0.7
    padded = 0.9 if cell[0] == " " else 1.0
    value = value[:300]
    if NUMBER.match(value) or DATE.match(value) or WORD.match(value):
        return padded
    if len(value) > 1 and value[0] == value[-1] and value[0] in "'\"`~^$%*@|/":
        return 0.3
    if value[0] in "'`\"":
        return 0.3
    if PROSE.match(value):
        return padded * (0.95 if "," not in value else 0.85 if re.search(r",\s|\d,\d", value) else 0.5)
    return 0.25


def _usual(widths: Counter[int]) -> tuple[int, ...]:
    total = sum(widths.values())
    common = widths.most_common(4)
    return tuple(width for width, n in common if n >= max(2, 0.1 * total)) or tuple(width for width, _ in common[:1])


def _late_backslash(text: str, dialect: Dialect, widths: Counter[int]) -> str:
    """Return a backslash where lines beyond the sample read better with it as the escape."""
    mark = "\\" + dialect.quote
    if not dialect.quote or "\\" not in text or mark not in text:
        return ""
    lines = [m[0] for _, m in zip(range(50), re.finditer(rf"[^\r\n]*{re.escape(mark)}[^\r\n]*", text), strict=False)]
    usual = set(_usual(widths))
    wrong = {"": 0, "\\": 0}
    for escape in wrong:
        tried = Dialect(dialect.delimiter, dialect.quote, escape)
        for line in lines:
            record = next(records(line, tried))
            wrong[escape] += (len(record.cells) not in usual) + (record.flaw != OK)
    return "\\" if wrong["\\"] < wrong[""] else ""


def _escape(text: str, dialect: Dialect) -> str:
    """Return the character that stands before every quote inside quoted cells, if there is one."""
    if not dialect.quote:
        return ""
    before: Counter[str] = Counter()
    edges = set(dialect.delimiter) | {"\r", "\n"}
    for match in re.finditer(f"(.)({re.escape(dialect.quote)}+)(.)", text[:262144]):
        if match[1] in edges or match[3] in edges:
            continue
        if len(match[2]) > 1:
            return ""
        before[match[1]] += 1
    if before.total() < 2:
        return ""
    mark, n = before.most_common(1)[0]
    return mark if n == before.total() and mark in ESCAPES and mark != dialect.delimiter else ""

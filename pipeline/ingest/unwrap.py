"""Lines that a spreadsheet put in quotes as a whole, because it took a foreign delimiter for text, laid open again.

``Ticket;Unit;Herm`` opened where the comma parts cells and saved again becomes ``"1;U1;38,5"``: one cell a line.
"""

from __future__ import annotations

import re

from pipeline.ingest.dialect import detect

WRAPPED = re.compile(r'^"((?:[^"\r\n]|"")*)"(?=\r?$|\r)', re.MULTILINE)
SAMPLE_LINES = 100
LEAST_SHARE = 0.4
"""Share of lines that must be wrapped; a line without the own delimiter inside is not (judgement)."""


def unwrap(text: str) -> str | None:
    """Return ``text`` with whole-line quotes taken off, or None where lines are not wrapped.

    Line ends, and so line numbers, stay as they are.
    """
    lines = [line for line in re.split(r"\r\n|\n|\r", text[:65536])[:SAMPLE_LINES] if line.strip()]
    wrapped = [match[1] for line in lines if (match := WRAPPED.fullmatch(line))]
    bare = [line for line in lines if not WRAPPED.fullmatch(line)]
    if len(wrapped) < max(2, LEAST_SHARE * len(lines)) or any('"' in line for line in bare):
        return None
    opened = "\n".join(_open(line) for line in lines)
    found = detect(opened)
    if not found.widths:
        return None
    width = found.widths[0]
    mark = found.dialect.delimiter
    inside = sum(mark in line for line in wrapped)
    if width < 3 or len(found.widths) > 1 or inside < 0.9 * len(wrapped):
        return None
    return WRAPPED.sub(lambda match: match[1].replace('""', '"'), text)


def _open(line: str) -> str:
    match = WRAPPED.fullmatch(line)
    return match[1].replace('""', '"') if match else line

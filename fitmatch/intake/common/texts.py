"""Bytes of a file to text: UTF-8 with or without a byte order mark, and no invisible characters."""

import re
from typing import Final

from fitmatch.intake.common.findings import Findings, Paper

_LINE_END: Final = re.compile(r"\r\n|\r|\n")
_CONTROL: Final = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f]")


def decode(data: bytes, paper: Paper, findings: Findings) -> str | None:
    """The text of a file; None, with a problem noted, if it is empty or not plain UTF-8 text."""
    if data.startswith((b"\xff\xfe", b"\xfe\xff")) or _every_other_byte_is_nul(data):
        findings.report("wrong-encoding", "is UTF-16 text; save it again as UTF-8", paper)
        return None
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        # With a byte order mark the decoder counts from after it.
        start = error.start + (3 if data.startswith(b"\xef\xbb\xbf") else 0)
        row = len(_LINE_END.findall(data[:start].decode())) + 1
        what = f"byte 0x{data[start]:02X} in this line is not UTF-8; save the file again as UTF-8"
        findings.report("wrong-encoding", what, paper, row)
        return None
    hidden = _CONTROL.search(text)
    if hidden:
        row = len(_LINE_END.findall(text, 0, hidden.start())) + 1
        name = "a NUL byte" if hidden.group() == "\0" else f"the control character 0x{ord(hidden.group()):02X}"
        what = f"{name} is in this line; save the file again as plain text"
        findings.report("control-character", what, paper, row)
        return None
    if not text.strip():
        findings.report("empty-file", "is empty; fill it in or remove it", paper)
        return None
    return text


def _every_other_byte_is_nul(data: bytes) -> bool:
    """UTF-16 without a byte order mark, as long as the text is mostly ASCII."""
    start = data[:200]
    return len(start) >= 4 and any(start[::2]) != any(start[1::2])

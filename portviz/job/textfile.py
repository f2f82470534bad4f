"""Files as text: read within bounds and decoded, or one message that says why not."""

from __future__ import annotations

from pathlib import Path

from portviz.errors import JobError

#: A longer line is refused before it fills the memory.
LONGEST_LINE = 50_000


def read_bytes(path: Path, limit: int, what: str) -> bytes:
    """Return a file's content, or raise JobError saying why it can't be read."""
    try:
        if path.is_dir():
            raise JobError("this is a folder, not a file", file=path.name, expected=what)
        if path.exists() and not path.is_file():
            raise JobError("this is a pipe or a device, not a file", file=path.name, expected=what)
        size = path.stat().st_size
        if size > limit:
            raise JobError(
                "the file is too large",
                file=path.name,
                value=f"{size / 2**20:.0f} MB",
                expected=f"{what} of at most {limit / 2**20:.0f} MB",
            )
        return path.read_bytes()
    except OSError as error:
        reason = error.strerror or str(error)
        raise JobError(f"the file can't be read: {reason}", file=path.name, expected=what) from None


def decode(content: bytes, file: str) -> str:
    """Return UTF-8 text, with or without byte order mark."""
    save = (
        "Save the file as 'CSV UTF-8' or plain UTF-8"
        if file.lower().endswith(".csv")
        else "Save it again in a text editor with the encoding UTF-8"
    )
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise JobError("the file is written in UTF-16", file=file, expected="UTF-8", mend=save)
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        raise JobError(
            f"byte {content[error.start]:#04x} is not UTF-8 text",
            file=file,
            place=f"line {line}",
            value=_line_with(content, error.start),
            mend=save,
        ) from None
    if "\0" in text:
        line = text.count("\n", 0, text.index("\0")) + 1
        raise JobError("the file holds a zero byte and is no text", file=file, place=f"line {line}", mend=save)
    return text


def _line_with(content: bytes, place: int) -> str:
    """Return the line at a byte, as it would read in Latin-1, cut to what a message shows."""
    start = max(content.rfind(b"\n", 0, place) + 1, place - 30)
    return content[start : place + 30].split(b"\n")[0].decode("latin-1").strip()


def require_short_lines(text: str, file: str, what: str) -> None:
    """Raise JobError for a line longer than any that a person types."""
    for number, line in enumerate(text.split("\n"), start=1):
        if len(line) > LONGEST_LINE and max(map(len, line.split("\r"))) > LONGEST_LINE:
            raise JobError(
                f"this line is too long for {what}",
                file=file,
                place=f"line {number}",
                value=line[:80],
                expected=f"at most {LONGEST_LINE:,} characters",
            )

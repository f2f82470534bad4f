"""job.toml as text: what the TOML reader finds wrong, in plain words and with the line."""

from __future__ import annotations

import re
import tomllib
from typing import Any

from portviz.errors import JobError

_QUOTED = 'Text and quantities stand in straight quotes, such as width = "1.6 mm"; a remark begins with #'
#: How the reader's finding begins; what it means; what to do.
_FINDINGS: tuple[tuple[str, str, str | None], ...] = (
    ("Duplicate inline table key", "a key is there twice between { and }", "Keep one of the two"),
    ("Cannot mutate immutable", "this section is already written out in { ... }", "Write it in one place"),
    ("Cannot redefine", "this section is already written out in another way", "Write it in one place"),
    ("Expected '='", "a key must be followed by = and its value", 'Write it like: name = "value"'),
    ("Expected newline", "there is something behind the value", _QUOTED),
    ("Expected ']'", "the name of a section is not closed by a bracket", "Write it like: [valve]"),
    ("Expected ']]'", "the name of a section is not closed by its brackets", "Write it like: [valve]"),
    ("Invalid initial", "a name is missing, or has a sign that can't stand there", 'Write it like: name = "value"'),
    ("Invalid statement", "this is no key, no [section] and no # remark", 'Write it like: name = "value"'),
    ("Unclosed array", "a list is not closed: a comma or the bracket ] is missing", "Write it like: [0, 90, 180]"),
    ("Unclosed inline", "a comma or the closing } is missing", 'Write it like: { angle = "30 deg", width = "1 mm" }'),
    ("Unescaped", "a backslash can't stand alone in a text", "Write it twice, or leave it out"),
    ("Invalid hex", "a backslash can't stand alone in a text", "Write it twice, or leave it out"),
    ("Escaped character", "a backslash can't stand alone in a text", "Write it twice, or leave it out"),
    ("Unterminated string", "a quote is opened and not closed", _QUOTED),
    ("Illegal character '\\n'", "a quote is opened and not closed", _QUOTED),
    ("Illegal character", "there is a sign that can't be seen", "Delete it, or save the file as plain text"),
    ("Found invalid character", "there is a sign that can't be seen", "Delete it, or save the file as plain text"),
    ("Invalid date", "this is no date and no number", _QUOTED),
    ("Invalid value", "the value can't be read", _QUOTED),
)
_TYPOGRAPHIC = "“”„‟«»‘’‚‛′″"


def parse_toml(text: str, file: str) -> dict[str, Any]:
    """Return the content of a TOML text.

    Raises
    ------
    JobError
        For the first line that is no TOML, with the line itself and what to do.
    """
    try:
        return tomllib.loads(text)
    except ValueError as error:
        raise _fault(text, file, str(error)) from None
    except RecursionError:
        raise JobError("brackets are nested too deep", file=file) from None


def _fault(text: str, file: str, finding: str) -> JobError:
    lines = text.split("\n")
    at = re.search(r"at line (\d+)", finding)
    if at is None:
        return _fault_without_line(lines, file, finding)
    number = int(at[1])
    line = lines[number - 1].strip()
    where = {"file": file, "place": f"line {number}", "value": line or None}
    if finding.startswith(("Cannot overwrite", "Cannot declare")):
        return _twice(lines, number, where)
    problem, mend = _in_plain_words(finding)
    return JobError(problem, **where, mend=_mend_of_line(line) or mend)


def _fault_without_line(lines: list[str], file: str, finding: str) -> JobError:
    if "end of document" not in finding:
        return JobError("a number in it is too long to be read", file=file)
    problem, mend = _in_plain_words(finding)
    last = max((number for number, line in enumerate(lines, start=1) if line.strip()), default=1)
    return JobError(problem, file=file, place=f"line {last}", value=lines[last - 1].strip() or None, mend=mend)


def _in_plain_words(finding: str) -> tuple[str, str | None]:
    words = ((problem, mend) for start, problem, mend in _FINDINGS if finding.startswith(start))
    return next(words, ("this line can't be read", _QUOTED))


def _mend_of_line(line: str) -> str | None:
    """Return what to do about slips that a line itself shows."""
    if set(_TYPOGRAPHIC) & set(line.split("#")[0]):
        return 'Use straight quotes ("), as a plain text editor types them'
    if re.search(r"=\s*[+-]?\d+,\d", line):
        return "Write numbers with a decimal point"
    if re.fullmatch(r"[A-Za-z_.-]+\]?", line):
        return f"The name of a section stands in square brackets: [{line.rstrip(']')}]"
    bare = re.fullmatch(r"([\w-]+)\s*=\s*([+-]?[\w.%°][^\"'\[\]{}#=]*?)\s*(#.*)?", line)
    if bare is not None and re.search(r"[^\W\d]|%", bare[2]):
        return f'Put the value in straight quotes: {bare[1]} = "{bare[2]}"'
    return None


def _twice(lines: list[str], number: int, where: dict[str, str | None]) -> JobError:
    """Return the error for a key or section that is there twice, with the line of the first where it is found."""
    line = lines[number - 1]
    name = _name_of(line)
    what = "section" if line.lstrip().startswith("[") else "key"
    for earlier in range(number - 1, 0, -1):
        if name is not None and _name_of(lines[earlier - 1]) == name:
            return JobError(f"this {what} is already in line {earlier}", **where, mend="Keep one of the two")
        if what == "key" and lines[earlier - 1].lstrip().startswith("["):
            break
    return JobError(f"this {what} is there twice", **where, mend="Keep one of the two")


def _name_of(line: str) -> str | None:
    """Return ``"[valve]"`` for a section's line, ``"width"`` for a key's, or None."""
    match = re.match(r"\s*(\[+[^\]]*\]+|[\w.\"'-]+\s*(?==))", line)
    return "".join(match[1].split()).replace('"', "").replace("'", "") if match else None

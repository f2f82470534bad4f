"""Words from files that would steer a terminal: whatever a job and its runs are called, signs that can't be seen are
spelled out in all that is printed.

Controls: ECMA-48 (C0, delete, C1; \\x1b[31m turns the type red, \\x9b is the same begun with one sign). Direction:
Unicode Standard Annex 9 (U+202E turns what follows round). Both from memory; the categories are Python's `unicodedata`.
"""

from __future__ import annotations

import shutil
import unicodedata

import pytest

from portviz.__main__ import main
from portviz.errors import spelled_out
from portviz.report.layout import shown_plainly

TITLE = r"red \u001b[31m back \u202E bell \u0000 wipe \u009b2J"
AS_FOUND, RELIEVED = "as \x1b[31mfound\u202e", "\x9b2Jwall\x7f relieved\u2066"
SPELLED = (r"red \x1b[31m back \u202e bell \x00 wipe \x9b2J", r"as \x1b[31mfound\u202e", r"\x9b2Jwall\x7f relieved")


def unseen(text: str) -> set[str]:
    """Signs that steer or can't be seen: controls, formats, lone surrogates, separators; but line ends."""
    return {each for each in text if unicodedata.category(each) in ("Cc", "Cf", "Cs", "Zl", "Zp")} - {"\n"}


@pytest.fixture(scope="module")
def job(examples, tmp_path_factory):
    folder = shutil.copytree(examples / "sidecar_intake", tmp_path_factory.mktemp("hostile") / "job")
    text = (folder / "job.toml").read_text(encoding="utf-8").splitlines()
    text = [f'title = "{TITLE}"' if line.startswith("title") else line for line in text]
    (folder / "job.toml").write_text("\n".join(text), encoding="utf-8")
    for name in ("readings.csv", "flow.csv"):
        table = (folder / name).read_text(encoding="utf-8")
        table = table.replace("as found", AS_FOUND).replace("wall relieved", RELIEVED)
        (folder / name).write_text(table, encoding="utf-8")
    return folder


@pytest.mark.parametrize(
    ("arguments", "wanted"),
    [
        (["findings", "--evidence"], SPELLED),
        (["summary", "--stations"], SPELLED),
        (["event"], SPELLED),
        (["event", "--against", AS_FOUND], SPELLED),
        (["compare", AS_FOUND, RELIEVED, "--stations"], SPELLED[1:]),
        (["check"], SPELLED),
        (["distortion"], SPELLED),
        (["plan"], SPELLED),
        (["study", "--vary", "seat.width=1.4:1.8:0.2 mm"], SPELLED[:1]),
        (["find", "width", "--keep", "95 %", "--at", "1 mm"], SPELLED[:1]),
        (["tolerance", "--samples", "100"], SPELLED[:1]),
        (["summary", "--json"], (r"red \u001b[31m back \u202e bell \u0000 wipe \u009b2J",)),
    ],
)
def test_nothing_printed_steers_the_terminal(job, capsys, arguments, wanted):
    command, *more = arguments
    assert main([command, str(job), *more]) == 0
    said = capsys.readouterr()
    assert unseen(said.out + said.err) <= ({"\x7f"} if "--json" in arguments else set())
    printed = " ".join(said.out.split())
    for words in wanted:
        assert words in printed


def test_a_terminal_gets_the_tables_own_type_and_no_other(job, capsys, monkeypatch):
    monkeypatch.setenv("FORCE_COLOR", "1")
    monkeypatch.setenv("TERM", "xterm-256color")
    assert main(["summary", str(job)]) == 0
    out = capsys.readouterr().out
    assert "\x1b[1m" in out  # bold titles
    assert "\x1b[31m" not in out
    assert not unseen(out) - {"\x1b"}


def test_the_name_of_a_written_file_is_spelled_out(job, tmp_path, capsys):
    target = tmp_path / "a\x1b[31m\nb.csv"
    assert main(["export", str(job), str(target)]) == 0
    assert target.is_file()
    out = capsys.readouterr().out
    assert out.endswith("a\\x1b[31m\\nb.csv\n")
    assert out.count("\n") == 1


def test_words_keep_their_looks_and_what_can_be_seen():
    from rich.console import Group
    from rich.text import Text

    text = Text("a\x1b\x00b", style="bold").append("c\x9b", style="red")
    (made,) = shown_plainly(Group(text)).renderables
    assert made.plain == r"a\x1b\x00bc\x9b"
    assert made.style == "bold"
    assert [made.plain[span.start : span.end] for span in made.spans if span.style == "red"] == ["c"]
    plain = "Zürich – 45° ± 1 “x” ²³ \u00a0 жук 阀 🔧\n"
    assert shown_plainly(Text(plain)).plain == plain
    assert spelled_out(plain, kept="\n\u00a0") == plain

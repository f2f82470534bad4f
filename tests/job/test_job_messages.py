"""What is said of a job.toml that is wrong: the line or key, plain words, and what to do."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest

from portviz.errors import JobError
from portviz.job.read import read_job

MakeJob = Callable[..., Path]


def refusal(make_job: MakeJob, changes: dict[str, str], **files: str | bytes) -> str:
    with pytest.raises(JobError) as refused:
        read_job(make_job(changes, **files))
    return str(refused.value)


# A key in the wrong section ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("section", "line", "mend"),
    [
        ("valve", 'seat_width = "1.6 mm"', "It belongs to the section [seat]: width = ..."),
        ("valve", 'width = "1.6 mm"', "It belongs to the section [seat]; here there is face_width"),
        ("valve", 'throat_diameter = "35 mm"', "It belongs to the section [seat]"),
        ("valve", "top_cut = {}", "It belongs to the section [seat]"),
        ("valve", 'valve_margin = "1 mm"', "The name of the section stays away: margin = ..."),
        ("seat", 'margin = "1 mm"', "It belongs to the section [valve]"),
        ("seat", 'head_diameter = "40 mm"', "It belongs to the section [valve]"),
        ("bench", "coefficient = 0.98", "It belongs to the section [gauge]"),
        ("bench", 'reads = "velocity"', "It belongs to the section [gauge]"),
        ("gauge", 'test_pressure = "28 inH2O"', "It belongs to the section [bench]"),
        ("gauge", 'reference = "the plug"', "It belongs to the section [stations]"),
        ("stations", 'title = "Twin"', "It belongs to the top of the file, above the first section"),
    ],
)
def test_a_key_is_sent_to_its_section(make_job: MakeJob, section: str, line: str, mend: str) -> None:
    text = refusal(make_job, {f"[{section}]\n": f"[{section}]\n{line}\n"})
    assert text.startswith(f"job.toml, {section}.{line.split(' = ')[0]}: unknown key (got ")
    assert f"). {mend}" in text


def test_a_key_above_all_sections_is_sent_to_its_own(make_job: MakeJob) -> None:
    text = refusal(make_job, {"[valve]\n": 'humidity = "40 %"\n[valve]\n'})
    assert text == "job.toml, humidity: unknown key (got '40 %'). It belongs to the section [bench]."


def test_a_cut_with_a_section_of_its_own_is_sent_to_the_seat(make_job: MakeJob) -> None:
    text = refusal(make_job, {"[gauge]\n": '[top_cut]\nangle = "30 deg"\nwidth = "1 mm"\n[gauge]\n'})
    assert "job.toml, top_cut: unknown key" in text
    assert "It belongs to the section [seat]" in text


def test_a_slip_of_the_pen_goes_before_a_key_of_another_section(make_job: MakeJob) -> None:
    text = refusal(make_job, {"angles =": "angle ="})
    assert "Did you mean angles?" in text
    assert "belongs" not in text


# Values of the wrong kind --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('width = "1.6 mm"\n', 'width = "1.6 mm"\nbottom_cuts = { angle = "60 deg" }\n', "Put it in [ ... ]"),
        ('width = "1.6 mm"\n', 'width = "1.6 mm"\nbottom_cuts = "60 deg"\n', "a list in square brackets is needed"),
        ('width = "1.6 mm"\n', 'width = "1.6 mm"\nbottom_cuts = ["60 deg"]\n', "{ ... } with angle, width"),
        ('width = "1.6 mm"\n', 'width = "1.6 mm"\ntop_cut = 5\n', "keys and values are needed here"),
        ("[gauge]\n", "[gauge]\ncoefficient = 98\n", "between 0.01 and 10 (got 98). If it is in per cent, write 0.98."),
        ("[gauge]\n", "[gauge]\ncoefficient = -1\n", "between 0.01 and 10 (got -1)."),
        ("[gauge]\n", '[gauge]\ncoefficient = "0.98"\n', "a plain number is needed here (got '0.98'). Write it"),
        ("[gauge]\n", "[gauge]\ncoefficient = true\n", "a plain number is needed here (got True)."),
        ("[0, 90, 180, 270]", '["0", 90, 180]', "(got '0'). Write it without quotes."),
        ("[0, 90, 180, 270]", '["0 deg", 90, 180]', "(got '0 deg'). Write it without quotes and unit."),
        ("[0, 90, 180, 270]", "[0, 180]", "this list has 2 entries (got [0, 180]); expected at least 3"),
        ("[0, 90, 180, 270]", "[0]", "this list has 1 entry (got [0]); expected at least 3"),
        ("[0, 90, 180, 270]", str(list(range(3601))), "this list has 3601 entries"),
        ("[0, 90, 180, 270]", '"0, 90"', "Write it without quotes, in [ ... ]: angles = [0, 90, 180, 270]."),
        ("[0, 90, 180, 270]", "90", "Write each one in [ ... ]: angles = [0, 90, 180, 270]."),
        ("[0, 90, 180, 270]", '[0, 90, 180, 270]\nreference = ""', "reference: there are no words between the quotes"),
        ("[0, 90, 180, 270]", '[0, 90, 180, 270]\nreference = "  "', "reference: there are no words"),
        ('"Small twin"', "5", 'title: words in quotes are needed here (got 5). Write it like: "5".'),
        ('"Small twin"', "2026-01-20", "title: words in quotes are needed here (got 2026-01-20)."),
        ('"40 mm"', "2026-01-20", "head_diameter: 2026-01-20 is not a length; write number and unit"),
        ('"Small twin"', "[5]", "title: words in quotes are needed here (got [5])."),
        ('"Small twin"', f'"{"x" * 201}"', "these words are too long, 201 letters where at most 200 fit"),
        ("format = 1", "format = 2", "format: this does not fit here (got 2); expected 1."),
        ('"intake"', '"Intake"', 'Did you mean "intake"?'),
        ("[valve]", "[[valve]]", "Write [valve], in single brackets."),
        ("[stations]\nangles = [0, 90, 180, 270]\n", "", "stations: this section is missing; expected a section with"),
        ('"40 %"', '"0.55"', 'such as "55 %"'),
        ('"20 degC"', '"18 C"', "Did you mean degC?"),
        ('"7000 Pa"', '"28 in"', "Did you mean inH2O?"),
        ('"100 kPa"', '"29.92 in"', "Did you mean inHg?"),
        ('"100 kPa"', "100", 'such as "100 kPa"'),
        ('"100 kPa"', '"29.92"', 'such as "100 kPa"'),
        ('"40 mm"', '"1 13/16 in"', 'Write it as a decimal: "1.8125 in".'),
    ],
)  # fmt: skip
def test_values_of_the_wrong_kind(make_job: MakeJob, old: str, new: str, words: str) -> None:
    text = refusal(make_job, {old: new})
    assert words in text
    # The library that checks the file speaks otherwise.
    assert not re.search(r"Input|should|valid|string|tuple|dictionary|instance|Field", text)


@pytest.mark.parametrize(
    ("typed", "limits"),
    [
        ('"200 degF"', "a room has between -58 degF and 158 degF (got '200 degF')"),
        ('"80 degC"', "a room has between -50 degC and 70 degC (got '80 degC')"),
    ],
)
def test_limits_stand_in_the_unit_that_was_typed(make_job: MakeJob, typed: str, limits: str) -> None:
    assert limits in refusal(make_job, {'"20 degC"': typed})


def test_the_vapour_of_a_room_stands_in_the_unit_of_the_barometer(make_job: MakeJob) -> None:
    hot = {'"20 degC"': '"70 degC"', '"40 %"': '"100 %"', '"100 kPa"': '"4 inHg"', '"7000 Pa"': '"100 Pa"'}
    assert re.search(r"9\.2\d+ inHg of vapour \(got 'barometer 4 inHg'\)", refusal(make_job, hot))


# Text that is no TOML ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        (
            'head_diameter = "40 mm"',
            "head_diameter = 40 mm",
            "line 6: there is something behind the value (got 'head_diameter = 40 mm'). "
            'Put the value in straight quotes: head_diameter = "40 mm".',
        ),
        (
            'head_diameter = "40 mm"',
            "head_diameter = “40 mm”",
            "line 6: the value can't be read (got 'head_diameter = “40 mm”'). "
            'Use straight quotes ("), as a plain text editor types them.',
        ),
        (
            'head_diameter = "40 mm"',
            'head_diameter = "40 mm',
            "line 6: a quote is opened and not closed (got 'head_diameter = \"40 mm'). Text and quantities",
        ),
        (
            'head_diameter = "40 mm"',
            'head_diameter: "40 mm"',
            "line 6: a key must be followed by = and its value (got 'head_diameter: \"40 mm\"'). Write it like",
        ),
        ('"intake"', "intake", 'Put the value in straight quotes: side = "intake".'),
        ("[gauge]\n", "[gauge]\ncoefficient = 0,98\n", "line 21: there is something behind the value (got "),
        ("[gauge]\n", "[gauge]\ncoefficient = 0,98\n", "Write numbers with a decimal point."),
        ('"intake"\n', '"intake"\nside = "intake"\n', "line 4: this key is already in line 3 (got 'side = "),
        ("[gauge]", "[bench]\n[gauge]", "line 20: this section is already in line 14 (got '[bench]'). Keep one"),
        ("[valve]", "[valve", "line 5: the name of a section is not closed by a bracket (got '[valve'). Write it like"),
        ("180, 270]", "180, 270", "a list is not closed: a comma or the bracket ] is missing"),
        ("[0, 90, 180, 270]", "[0 90 180 270]", "line 24: a list is not closed"),
        ("Small twin", "Small \\twin\\q", "line 2: a backslash can't stand alone in a text"),
        ("[gauge]", 'top = { a = "1" b = "2" }\n[gauge]', "line 20: a comma or the closing } is missing"),
        ("[gauge]", 'top = { a = "1", a = "2" }\n[gauge]', "line 20: a key is there twice between { and }"),
        ("[gauge]", "remark\n[gauge]", "line 20: a key must be followed by = and its value (got 'remark')"),
        ("[gauge]", "gauge", "line 20: a key must be followed by = and its value (got 'gauge'). The name of a section"),
        ("[gauge]", "= 5\n[gauge]", "line 20: this is no key, no [section] and no # remark (got '= 5')"),
    ],
)  # fmt: skip
def test_a_line_that_is_no_toml_is_shown_with_what_to_do(make_job: MakeJob, old: str, new: str, message: str) -> None:
    text = refusal(make_job, {old: new})
    assert re.match(r"job\.toml, line \d+: ", text)
    assert message in text


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ("Zürich".encode("latin-1"), "byte 0xfc is not UTF-8 text (got 'title = \"Zürich\"')"),
        ("45°".encode("cp1252"), "byte 0xb0 is not UTF-8 text (got 'title = \"45°\"')"),
    ],
)
def test_a_job_in_another_encoding_says_how_to_save_a_text_file(
    make_job: MakeJob, small_job: str, content: bytes, words: str
) -> None:
    job = small_job.encode().replace(b"Small twin", content)
    text = refusal(make_job, {}, job_toml=job)
    assert text.startswith(f"job.toml, line 2: {words}")
    assert text.endswith("Save it again in a text editor with the encoding UTF-8.")
    assert "CSV" not in text


def test_a_table_in_another_encoding_says_how_a_spreadsheet_saves_it(make_job: MakeJob) -> None:
    text = refusal(make_job, {}, readings_csv="run,lift [mm],station,reading [Pa]\nZürich,4,0,1\n".encode("latin-1"))
    assert text.startswith("readings.csv, line 2: byte 0xfc is not UTF-8 text (got 'Zürich,4,0,1')")
    assert "'CSV UTF-8'" in text

"""Who hands a report over: words of job.toml and command line, and a logo that is nothing but a picture."""

from __future__ import annotations

import io

import pytest
from PIL import Image, PngImagePlugin

from portviz.errors import JobError
from portviz.job.model import Handover
from portviz.job.read import read_job
from portviz.report.letterhead import MOST_BYTES, MOST_PIXELS, letterhead, read_logo

NOTHING = Handover()


def picture(path, size=(300, 100), kind="PNG", **options):
    Image.new("RGB", size, "#336699").save(path, kind, **options)
    return path


def test_the_sections_shop_and_customer_are_read(small_job, tmp_path):
    text = small_job + (
        '\n[shop]\nname = "Valve & Guide"\naddress = """Lane 1\nVillage"""\nlogo = "logo.png"\n'
        '[customer]\nname = "N. N."\nhead = "sidecar single"\norder = "7"\n'
    )
    (tmp_path / "job.toml").write_text(text, encoding="utf-8")
    picture(tmp_path / "logo.png")
    job = read_job(tmp_path)
    made = letterhead(job.folder, job.handover, Handover(customer="Another"))
    assert (made.shop, made.address, made.customer, made.head, made.order) == (
        "Valve & Guide",
        "Lane 1\nVillage",
        "Another",
        "sidecar single",
        "7",
    )
    assert made.logo is not None
    assert (made.logo.width, made.logo.height) == (300, 100)


def test_a_misspelt_key_of_the_shop_is_explained(small_job, tmp_path):
    (tmp_path / "job.toml").write_text(f'{small_job}\n[shop]\nnmae = "Valve & Guide"\n', encoding="utf-8")
    with pytest.raises(JobError, match=r"shop\.nmae: unknown key.*Did you mean name\?"):
        read_job(tmp_path)


@pytest.mark.parametrize("kind", ["PNG", "JPEG"])
def test_a_logo_is_made_anew_without_what_else_its_file_holds(tmp_path, kind):
    note = PngImagePlugin.PngInfo()
    note.add_text("comment", "<script>hidden</script>")
    options = {"pnginfo": note} if kind == "PNG" else {"comment": b"<script>hidden</script>"}
    path = picture(tmp_path / "logo.bin", (2400, 600), kind, **options)
    logo = read_logo(path, "logo.bin", None)
    assert (logo.width, logo.height) == (1200, 300)
    assert b"hidden" in path.read_bytes()
    assert b"hidden" not in logo.png
    with Image.open(io.BytesIO(logo.png)) as again:
        assert again.format == "PNG"
        assert max(abs(a - b) for a, b in zip(again.getpixel((9, 9)), (0x33, 0x66, 0x99, 255), strict=True)) <= 2


@pytest.mark.parametrize(
    "name", ["../logo.png", "a/../../logo.png", "/etc/logo.png", "C:\\logo.png", "..\\logo.png", "lo\x00go.png"]
)
def test_a_logo_outside_the_jobs_folder_is_refused(tmp_path, name):
    folder = tmp_path / "job"
    folder.mkdir()
    picture(tmp_path / "logo.png")
    with pytest.raises(JobError, match="must lie in the job's folder"):
        letterhead(folder, Handover(logo=name), NOTHING)


def test_a_link_out_of_the_folder_is_refused(tmp_path):
    folder = tmp_path / "job"
    folder.mkdir()
    (folder / "logo.png").symlink_to(picture(tmp_path / "logo.png"))
    with pytest.raises(JobError, match="must lie in the job's folder"):
        letterhead(folder, Handover(logo="logo.png"), NOTHING)


def test_what_is_no_picture_is_refused(tmp_path):
    cases = {
        "text.png": (b"<svg onload=alert(1)>", "no picture that can be read"),
        "empty.png": (b"", "no picture that can be read"),
        "large.png": (b"\x89PNG\r\n\x1a\n" + bytes(MOST_BYTES), "at most 5 MB"),
    }
    for name, (content, words) in cases.items():
        (tmp_path / name).write_bytes(content)
        with pytest.raises(JobError, match=words):
            letterhead(tmp_path, Handover(logo=name), NOTHING)
    whole = picture(tmp_path / "whole.png", (600, 600)).read_bytes()
    (tmp_path / "half.png").write_bytes(whole[: len(whole) // 2])
    with pytest.raises(JobError, match="no picture that can be read"):
        letterhead(tmp_path, Handover(logo="half.png"), NOTHING)
    with pytest.raises(JobError, match="the logo is not there"):
        letterhead(tmp_path, Handover(logo="none.png"), NOTHING)
    picture(tmp_path / "film.gif", kind="GIF")
    with pytest.raises(JobError, match="no picture that can be read"):
        letterhead(tmp_path, Handover(logo="film.gif"), NOTHING)


def test_a_picture_of_very_many_pixels_is_refused_before_it_is_decoded(tmp_path):
    # A few kilobytes that would take gigabytes: of one colour, larger than Pillow's own limit.
    Image.new("1", (MOST_PIXELS + 1, 20000)).save(tmp_path / "bomb.png")
    with pytest.raises(JobError, match=f"8 to {MOST_PIXELS} pixels a side"):
        letterhead(tmp_path, Handover(logo="bomb.png"), NOTHING)


def test_a_logo_of_the_command_line_may_lie_anywhere(tmp_path):
    folder = tmp_path / "job"
    folder.mkdir()
    assert letterhead(folder, NOTHING, NOTHING, picture(tmp_path / "logo.png")).logo is not None

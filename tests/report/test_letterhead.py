"""Who hands a report over: words of job.toml and command line, and a logo that is nothing but a picture."""

from __future__ import annotations

import io
import json

import numpy as np
import pytest
from PIL import Image, PngImagePlugin

from portviz.__main__ import main
from portviz.errors import JobError
from portviz.job.model import Handover
from portviz.job.read import read_job
from portviz.report.letterhead import MOST_BYTES, MOST_PIXELS, letterhead, read_logo


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
    made = letterhead(job.folder, job.handover)
    assert (made.shop, made.address, made.customer, made.head, made.order) == (
        "Valve & Guide",
        "Lane 1\nVillage",
        "N. N.",
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
        letterhead(folder, Handover(logo=name))


def test_a_link_out_of_the_folder_is_refused(tmp_path):
    folder = tmp_path / "job"
    folder.mkdir()
    (folder / "logo.png").symlink_to(picture(tmp_path / "logo.png"))
    with pytest.raises(JobError, match="must lie in the job's folder"):
        letterhead(folder, Handover(logo="logo.png"))


def test_links_that_lead_in_a_circle_are_refused(tmp_path):
    (tmp_path / "a.png").symlink_to("a.png")
    # Python tells of the circle before 3.13; after it there is nothing at its end.
    with pytest.raises(JobError, match=r"the logo (can't be read: links lead in a circle|is not there)"):
        letterhead(tmp_path, Handover(logo="a.png"))
    with pytest.raises(JobError, match="the logo is not there"):
        letterhead(tmp_path, Handover(), tmp_path / "a.png")


@pytest.mark.parametrize(
    # Where the picture's first row and first column stand: EXIF 2.3, tag 274, table of orientations (from memory).
    ("orientation", "size", "red"),
    [(1, (80, 40), (5, 5)), (3, (80, 40), (75, 35)), (6, (40, 80), (35, 5)), (8, (40, 80), (5, 75))],
)
def test_a_logo_stands_upright_as_its_camera_says(tmp_path, orientation, size, red):
    lying = Image.new("RGB", (80, 40), "blue")
    lying.paste("red", (0, 0, 16, 16))
    exif = Image.Exif()
    exif[274] = orientation
    lying.save(tmp_path / "logo.jpg", exif=exif, quality=95)
    logo = read_logo(tmp_path / "logo.jpg", "logo.jpg", None)
    with Image.open(io.BytesIO(logo.png)) as made:
        assert made.size == (logo.width, logo.height) == size
        corners = [(x, y) for x in (5, size[0] - 6) for y in (5, size[1] - 6)]
        reddest = max(corners, key=lambda place: made.getpixel(place)[0])
    assert np.abs(np.subtract(reddest, red)).max() <= 1


def test_a_logo_lies_as_it_is_where_its_camera_says_nothing_that_can_be_read(tmp_path):
    for place, content in enumerate((b"Exif\x00\x00II*\x00\x08", b"Exif\x00\x00nonsense", b"Exif\x00\x00")):
        path = picture(tmp_path / f"{place}.jpg", (80, 40), "JPEG", exif=content)
        logo = read_logo(path, path.name, None)
        assert (logo.width, logo.height) == (80, 40)


def test_sixteen_bits_of_grey_become_eight(tmp_path):
    """65535 is white (PNG specification, 13.12: sample depth scaled by the ratio of the largest values)."""
    deep = np.repeat(np.array([[0, 257 * 64, 257 * 128, 65535]], dtype=np.uint16), 16, axis=0).repeat(16, axis=1)
    Image.fromarray(deep).save(tmp_path / "logo.png")
    logo = read_logo(tmp_path / "logo.png", "logo.png", None)
    with Image.open(io.BytesIO(logo.png)) as made:
        assert [made.getpixel((x, 8)) for x in (8, 24, 40, 56)] == [(v, v, v, 255) for v in (0, 64, 128, 255)]


def test_what_is_no_picture_is_refused(tmp_path):
    cases = {
        "text.png": (b"<b onload=alert(1)>", "no picture that can be read"),
        "empty.png": (b"", "no picture that can be read"),
        "large.png": (b"\x89PNG\r\n\x1a\n" + bytes(MOST_BYTES), "at most 5 MB"),
    }
    for name, (content, words) in cases.items():
        (tmp_path / name).write_bytes(content)
        with pytest.raises(JobError, match=words):
            letterhead(tmp_path, Handover(logo=name))
    whole = picture(tmp_path / "whole.png", (600, 600)).read_bytes()
    (tmp_path / "half.png").write_bytes(whole[: len(whole) // 2])
    with pytest.raises(JobError, match="no picture that can be read"):
        letterhead(tmp_path, Handover(logo="half.png"))
    with pytest.raises(JobError, match="the logo is not there"):
        letterhead(tmp_path, Handover(logo="none.png"))


SVG = b'<svg xmlns="http://www.w3.org/2000/svg" width="9" height="9"/>'
OTHER_KINDS = {
    "a GIF": "GIF",
    "a WebP": "WEBP",
    "a BMP": "BMP",
    "a TIFF": "TIFF",
    "a PDF": "PDF",
    # An XML document may begin with a byte order mark, a declaration, a comment and a type (XML 1.0, 2.8 and F.1).
    "an SVG": SVG,
    "an SVG ": b'\xef\xbb\xbf<?xml version="1.0"?>\n<!-- drawn --><!DOCTYPE svg>\n' + SVG,
}


@pytest.mark.parametrize(("kind", "content"), OTHER_KINDS.items())
def test_a_sound_picture_of_another_kind_is_called_by_its_name(tmp_path, kind, content):
    """The files are written by Pillow; the texts of SVG are after SVG 2, 5.1 (a root element svg)."""
    path = tmp_path / "logo.png"
    if isinstance(content, bytes):
        path.write_bytes(content)
    else:
        picture(path, kind=content)
    with pytest.raises(JobError, match=rf"shop\.logo: the logo is {kind.strip()} .*\. Save it as \.png or \.jpg\.$"):
        letterhead(tmp_path, Handover(logo=path.name))


def test_check_looks_at_the_logo_and_tells_of_shop_and_customer(small_job, tmp_path, capsys):
    shop = 'name = "Valve & Guide"\naddress = """Lane 1\nVillage"""\nlogo = "logo.png"'
    text = f'{small_job}\n[shop]\n{shop}\n[customer]\norder = "7"\n'
    (tmp_path / "job.toml").write_text(text, encoding="utf-8")
    assert main(["check", str(tmp_path)]) == 1
    said = capsys.readouterr()
    assert said.out == ""
    assert "job.toml, shop.logo: the logo is not there" in said.err
    picture(tmp_path / "logo.png")
    assert main(["check", str(tmp_path)]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "shop Valve & Guide, Lane 1, Village, logo logo.png customer order 7 No errors." in said
    assert main(["check", str(tmp_path), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["handover"] == {
        "shop": "Valve & Guide",
        "address": "Lane 1\nVillage",
        "contact": None,
        "logo": "logo.png",
        "customer": None,
        "head": None,
        "order": "7",
    }


def test_check_tells_nothing_of_a_shop_that_is_not_stated(small_job, tmp_path, capsys):
    (tmp_path / "job.toml").write_text(small_job, encoding="utf-8")
    assert main(["check", str(tmp_path)]) == 0
    assert "shop" not in capsys.readouterr().out
    assert main(["check", str(tmp_path), "--json"]) == 0
    assert set(json.loads(capsys.readouterr().out)["handover"].values()) == {None}


def test_a_picture_of_very_many_pixels_is_refused_before_it_is_decoded(tmp_path):
    # A few kilobytes that would take gigabytes: of one colour, larger than Pillow's own limit.
    Image.new("1", (MOST_PIXELS + 1, 20000)).save(tmp_path / "bomb.png")
    with pytest.raises(JobError, match=f"8 to {MOST_PIXELS} pixels a side"):
        letterhead(tmp_path, Handover(logo="bomb.png"))


def test_a_logo_of_the_command_line_may_lie_anywhere(tmp_path):
    folder = tmp_path / "job"
    folder.mkdir()
    assert letterhead(folder, Handover(), picture(tmp_path / "logo.png")).logo is not None

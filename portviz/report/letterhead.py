"""Who hands a report over and to whom: the job's own words, those of the command line, and the shop's logo."""

from __future__ import annotations

import io
import re
import warnings
from dataclasses import asdict
from pathlib import Path, PurePosixPath, PureWindowsPath
from typing import TYPE_CHECKING

from portviz.errors import JobError, spelled_out
from portviz.job.model import JOB_FILE, Handover
from portviz.report.content import Letterhead, Logo

if TYPE_CHECKING:
    from PIL.Image import Image

#: A picture larger than this is no logo [bytes], [pixels a side].
MOST_BYTES, MOST_PIXELS = 5 * 2**20, 6000
#: A logo is made anew at most so large [pixels].
_KEPT = (1200, 600)
_KINDS = ("PNG", "JPEG")
_EXPECTED = "a .png or .jpg picture"


def letterhead(folder: Path, stated: Handover, logo: Path | None = None) -> Letterhead:
    """Return the head of a report.

    Parameters
    ----------
    folder : Path
        The job's, in which a logo named in job.toml lies.
    stated : Handover
        What job.toml and the command line state.
    logo : Path, optional
        A picture that the command line names, wherever it lies; it goes before that of job.toml.

    Raises
    ------
    JobError
        If the logo can't be found, lies outside the job's folder, or is no picture that can be used.
    """
    picture = None
    if logo is not None:
        picture = read_logo(logo, str(logo), None)
    elif stated.logo:
        picture = read_logo(_inside(folder, stated.logo), JOB_FILE, stated.logo)
    # Lines of an address stay lines.
    words = {name: spelled_out(text, "\n") for name, text in asdict(stated).items() if name != "logo"}
    return Letterhead(**words, logo=picture)


def _inside(folder: Path, name: str) -> Path:
    """Return the path of a file that must lie in a folder, whatever tricks its name plays."""
    parts = {*PurePosixPath(name).parts, *PureWindowsPath(name).parts}
    rooted = PurePosixPath(name).is_absolute() or PureWindowsPath(name).anchor
    outside = JobError(
        "a logo named here must lie in the job's folder",
        file=JOB_FILE,
        place="shop.logo",
        value=name,
        expected="a file's name, such as logo.png",
        mend="Copy the picture into the folder, or name it on the command line: --logo FILE",
    )
    if rooted or ".." in parts or "\x00" in name:
        raise outside
    try:
        path = (folder / name).resolve()
        if not path.is_relative_to(folder.resolve()):
            raise outside
    except (OSError, RuntimeError) as error:
        # Links that lead in a circle are a RuntimeError before Python 3.13; after it they are not there.
        why = (error.strerror or error) if isinstance(error, OSError) else "links lead in a circle"
        raise JobError(f"the logo can't be read: {why}", file=JOB_FILE, place="shop.logo", value=name) from None
    return path


def read_logo(path: Path, file: str, name: str | None) -> Logo:
    """Return a picture taken apart and made anew, so that nothing but its pixels is handed on.

    Parameters
    ----------
    path : Path
    file : str
        The file that names it, or the picture itself, for messages.
    name : str or None
        How it is named there, where another file names it.

    Raises
    ------
    JobError
        If it can't be read, is too large, or is no PNG or JPEG.
    """
    from PIL import Image, UnidentifiedImageError

    place = None if name is None else "shop.logo"

    def refusal(problem: str, expected: str = _EXPECTED, mend: str | None = None) -> JobError:
        return JobError(problem, file=file, place=place, value=name, expected=expected, mend=mend)

    try:
        if not path.is_file():
            raise refusal("the logo is not there" if not path.exists() else "the logo is no plain file")
        size = path.stat().st_size
        if size > MOST_BYTES:
            raise refusal(f"the logo has {size / 2**20:.1f} MB", f"at most {MOST_BYTES // 2**20} MB")
        with path.open("rb") as opened:
            content = opened.read(MOST_BYTES + 1)
    except OSError as error:
        raise refusal(f"the logo can't be read: {error.strerror or error}") from None
    try:
        with warnings.catch_warnings():
            # How many pixels it has is looked at below, before any is decoded.
            warnings.simplefilter("ignore")
            with Image.open(io.BytesIO(content), formats=_KINDS) as picture:
                if not min(picture.size) >= 8 or max(picture.size) > MOST_PIXELS:
                    raise refusal(
                        f"the logo has {picture.width} x {picture.height} pixels", f"8 to {MOST_PIXELS} pixels a side"
                    )
                made = _eight_bit(_upright(picture)).convert("RGBA")
    except (UnidentifiedImageError, OSError, SyntaxError, ValueError, Image.DecompressionBombError):
        kind = _other_kind(content)
        if kind is None:
            raise refusal("the logo is no picture that can be read") from None
        raise refusal(f"the logo is {kind}", mend="Save it as .png or .jpg") from None
    made.thumbnail(_KEPT)
    out = io.BytesIO()
    made.save(out, "PNG")
    return Logo(out.getvalue(), made.width, made.height)


#: How pictures of other kinds begin.
_OTHER_KINDS = (
    ("a GIF", rb"GIF8[79]a"),
    ("a WebP", rb"RIFF.{4}WEBP"),
    ("a BMP", rb"BM.{4}\0{4}"),
    ("a TIFF", rb"II\*\0|MM\0\*"),
    ("a HEIC or AVIF", rb".{4}ftyp(?:hei[cfmsx]|hev[cmsx]|mif1|msf1|avi[fs])"),
    ("a PDF", rb"%PDF-"),
    ("an SVG", rb"(?:\xef\xbb\xbf)?\s*(?:<svg[\s>]|<(?:\?xml|!DOCTYPE|!--).*<svg[\s>])"),
)
#: So much of a file is looked at [bytes].
_BEGINNING = 4096


def _other_kind(content: bytes) -> str | None:
    """Return of which other kind a file is, as far as its beginning tells."""
    return next(
        (kind for kind, begins in _OTHER_KINDS if re.match(begins, content[:_BEGINNING], re.DOTALL | re.IGNORECASE)),
        None,
    )


def _upright(picture: Image) -> Image:
    """Return a picture turned as its camera says (EXIF); as it lies where what the camera says can't be read."""
    from PIL import ImageOps

    picture.load()
    try:
        return ImageOps.exif_transpose(picture)
    except Exception:  # A broken block of EXIF breaks the library in many ways; the pixels are there already.
        return picture


def _eight_bit(picture: Image) -> Image:
    """Return a picture of 16 bits of grey with 8 of them, 0 to 255; others as they are."""
    import numpy as np
    from PIL.Image import fromarray

    if not picture.mode.startswith("I"):
        return picture
    values = np.asarray(picture)
    grey = fromarray(np.round(values / 257.0).astype(np.uint8))
    clear = picture.info.get("transparency")
    if isinstance(clear, int):
        grey.putalpha(fromarray(np.where(values == clear, 0, 255).astype(np.uint8)))
    return grey

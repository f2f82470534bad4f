"""Moving pictures into files: frames come one by one and are not kept."""

from __future__ import annotations

import itertools
import queue
import subprocess
import tempfile
import threading
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from portviz.errors import UsageError

if TYPE_CHECKING:
    from PIL import Image

#: A picture, shape (height, width, 3).
Frame = npt.NDArray[np.uint8]

ENDINGS = (".gif", ".webp", ".mp4")
#: Colours of a GIF's one palette; its last place stands for "as before".
_COLOURS, _AS_BEFORE = 255, 255
#: Of these: steps of the colour scale, and colours of the largest even areas, such as the background's.
_SCALE_STEPS, _EVEN_AREAS = 64, 16
#: Colours that differ by no more in red, green and blue are one [of 255].
_SAME_COLOUR = 3
#: Frames that may wait for the encoder, and how long to wait before looking if it still works [s].
_WAITING, _PATIENCE = 2, 0.1
#: Colours as in HD television (ITU-R BT.709), exactly rounded, and named so in the file.
_HD_COLOURS = (
    "scale=out_color_matrix=bt709:out_range=tv:flags=accurate_rnd+full_chroma_int,"
    "setparams=colorspace=bt709:color_primaries=bt709:color_trc=bt709"
)


def require_film_name(path: Path) -> None:
    """Raise UsageError where the name has no ending that we write, or what writes it is missing."""
    if path.suffix.lower() not in ENDINGS:
        raise UsageError(f"film: {path.name!r} must end in {', '.join(ENDINGS[:-1])} or {ENDINGS[-1]}")
    if path.suffix.lower() == ".mp4":
        _ffmpeg()


def frame_seconds(ending: str, rate: float) -> float:
    """Return how long a frame lasts [s]: the time nearest to the rate's [1/s] that a kind of file can state.

    All frames last equally long; GIF counts in hundredths of a second, WebP in thousandths.

    Examples
    --------
    >>> frame_seconds(".gif", 30.0), frame_seconds(".webp", 30.0)
    (0.03, 0.033)
    """
    if ending == ".mp4":
        return 1.0 / rate
    steps = {".gif": 100, ".webp": 1000}[ending]
    return max(round(steps / rate), 1) / steps


def write_film_file(
    path: Path, frames: Iterator[Frame], count: int, seconds: float, palette: Image.Image | None
) -> None:
    """Write frames, each shown for so many seconds, in the format of the path's ending.

    They are encoded in a thread of its own while the caller's thread draws the next: OpenGL stays in that one.

    Parameters
    ----------
    path : Path
    frames : iterator of ndarray, each of shape (height, width, 3)
    count : int
        Number of frames.
    seconds : float
        How long each is shown [s].
    palette : PIL.Image.Image or None
        Of a GIF; see `palette_of`.

    Raises
    ------
    OSError
        If the file can't be written.
    """
    handing = _Handing()
    encoder = threading.Thread(
        target=handing.take_all, args=(lambda taken: _encode(path, taken, count, seconds, palette),), daemon=True
    )
    encoder.start()
    try:
        for frame in frames:
            if not handing.give(frame):
                break
    except BaseException:
        handing.abandoned = True
        raise
    finally:
        handing.give(None)
        encoder.join()
    if handing.trouble is not None:
        raise handing.trouble


class _Handing:
    """Frames on their way from the thread that draws them to the one that encodes them."""

    def __init__(self) -> None:
        self._queue: queue.Queue[Frame | None] = queue.Queue(_WAITING)
        self._done = threading.Event()
        #: True where no more frames come though some are missing.
        self.abandoned = False
        #: What ended the encoding early.
        self.trouble: BaseException | None = None

    def give(self, frame: Frame | None) -> bool:
        """Hand a frame over, or None after the last, once there is room; False where nobody takes it any more."""
        while not self._done.is_set():
            try:
                self._queue.put(frame, timeout=_PATIENCE)
                return True
            except queue.Full:
                pass
        return False

    def take_all(self, encode: Callable[[Iterator[Frame]], None]) -> None:
        """Encode the frames as they come; trouble is kept for the other thread."""
        try:
            encode(self._taken())
        except BaseException as error:
            self.trouble = error
        finally:
            self._done.set()

    def _taken(self) -> Iterator[Frame]:
        while (frame := self._queue.get()) is not None:
            yield frame
        if self.abandoned:
            raise _AbandonedError


class _AbandonedError(Exception):
    """The drawing has ended early, and its own error tells why."""


def _encode(path: Path, frames: Iterator[Frame], count: int, seconds: float, palette: Image.Image | None) -> None:
    ending = path.suffix.lower()
    if ending == ".gif":
        assert palette is not None
        _write_gif(path, frames, round(seconds * 1000.0), palette)
    elif ending == ".webp":
        _write_webp(path, frames, count, round(seconds * 1000.0))
    else:
        _write_mp4(path, frames, 1.0 / seconds)


def palette_of(samples: Iterable[Frame], scale: npt.NDArray[np.uint8]) -> Image.Image:
    """Return an image whose palette suits all samples.

    Parameters
    ----------
    samples : iterable of ndarray, each of shape (height, width, 3)
    scale : ndarray, shape (K, 3)
        Colours of a scale; some of them, evenly spaced, are in the palette so that it has no bands.

    Returns
    -------
    PIL.Image.Image
        Its palette has at most 255 colours: of the scale, of the largest even areas, and what suits the rest.
    """
    from PIL import Image

    found: dict[int, int] = {}
    for sample in samples:
        values, counts = np.unique(_numbered(sample), return_counts=True)
        for value, count in zip(values.tolist(), counts.tolist(), strict=True):
            found[value] = found.get(value, 0) + count
    number, count = np.array(sorted(found.items())).T
    colours = np.stack([number >> 16, number >> 8, number], axis=1).astype(np.uint8)
    even = colours[np.argsort(-count, kind="stable")[:_EVEN_AREAS]]
    steps = np.round(np.linspace(0, len(scale) - 1, min(_SCALE_STEPS, len(scale)))).astype(int)
    kept = np.concatenate([even, scale[steps]])
    apart = np.abs(colours[:, None].astype(np.int16) - kept).max(axis=2).min(axis=1)
    other = apart > _SAME_COLOUR
    # The square root of its area: a small thing has few pixels, but is looked at.
    weight = np.maximum(np.sqrt(count[other]), 1.0).astype(int)
    rest = np.repeat(colours[other], weight, axis=0)
    more = np.empty((0, 3), dtype=np.uint8)
    if len(rest):
        room = _COLOURS - len(kept)
        quantized = Image.fromarray(rest[None]).quantize(room, method=Image.Quantize.MEDIANCUT, kmeans=2)
        more = np.array(quantized.getpalette(), dtype=np.uint8).reshape(-1, 3)[:room]
    palette = Image.new("P", (1, 1))
    palette.putpalette(np.concatenate([kept, more]).ravel().tolist())
    return palette


def _numbered(frame: Frame) -> npt.NDArray[np.uint32]:
    """Return each pixel's colour as one number."""
    red, green, blue = (frame[..., place].astype(np.uint32) for place in range(3))
    return np.asarray(red << 16 | green << 8 | blue)


def _write_gif(path: Path, frames: Iterator[Frame], duration: int, palette: Image.Image) -> None:
    """Write a GIF that goes round for ever: one palette for all, of each frame what differs from the one before."""
    from PIL import GifImagePlugin, Image

    colours = palette.getpalette()
    assert colours is not None
    colours = (colours + [0] * 768)[:768]
    before: npt.NDArray[np.uint8] | None = None
    with path.open("wb") as file:
        for frame in frames:
            now = np.asarray(Image.fromarray(frame).quantize(palette=palette, dither=Image.Dither.NONE))
            if before is None:
                height, width = now.shape
                file.write(b"GIF89a" + width.to_bytes(2, "little") + height.to_bytes(2, "little") + b"\xf7\x00\x00")
                file.write(bytes(colours))
                file.write(b"!\xff\x0bNETSCAPE2.0\x03\x01\x00\x00\x00")
                part, place = now, (0, 0)
            else:
                part, place = _changed_part(now, before)
            image = Image.fromarray(np.ascontiguousarray(part), "P")
            details = {"duration": duration, "disposal": 1, "transparency": _AS_BEFORE}
            for piece in GifImagePlugin.getdata(image, place, **details):
                file.write(piece)
            before = now
        file.write(b";")


def _changed_part(
    now: npt.NDArray[np.uint8], before: npt.NDArray[np.uint8]
) -> tuple[npt.NDArray[np.uint8], tuple[int, int]]:
    """Return the least rectangle with all that has changed, and its upper left corner; what is as before is clear."""
    changed = now != before
    rows, columns = np.flatnonzero(changed.any(axis=1)), np.flatnonzero(changed.any(axis=0))
    if not rows.size:
        return np.full((1, 1), _AS_BEFORE, dtype=np.uint8), (0, 0)
    part = np.s_[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
    return np.where(changed[part], now[part], np.uint8(_AS_BEFORE)), (int(columns[0]), int(rows[0]))


class _FramesToCome:
    """Frames that pass for one image with many: each is drawn when the encoder turns to it."""

    def __init__(self, frames: Iterator[Frame], count: int) -> None:
        self.n_frames = count
        self._frames = frames
        self._image: Any = None

    def seek(self, _place: int) -> None:
        from PIL import Image

        self._image = Image.fromarray(next(self._frames))

    def __getattr__(self, name: str) -> Any:
        return getattr(self._image, name)


def _write_webp(path: Path, frames: Iterator[Frame], count: int, duration: int) -> None:
    from PIL import Image

    first = Image.fromarray(next(frames))
    following = [_FramesToCome(frames, count - 1)] if count > 1 else []
    # Without loss: with it the encoder keeps patches of the frame before, which show as blocks in even colours.
    first.save(
        path,
        save_all=True,
        append_images=following,
        duration=duration,
        loop=0,
        lossless=True,
        quality=20,
        method=1,
        # Between the two each frame is encoded twice, to see which way is the smaller.
        kmin=47,
        kmax=48,
    )


def _ffmpeg() -> str:
    """Return the path of the program that encodes MP4.

    Raises
    ------
    UsageError
        If it is not installed.
    """
    try:
        from imageio_ffmpeg import get_ffmpeg_exe

        return str(get_ffmpeg_exe())
    except (ImportError, RuntimeError) as error:
        raise UsageError(
            f"film: what writes .mp4 is not installed ({error}). Install it with: "
            '.venv/bin/pip install ".[film]"; or let the film end in .webp or .gif'
        ) from None


def _write_mp4(path: Path, frames: Iterator[Frame], rate: float) -> None:
    """Write H.264 that plays in browsers and phones: 4:2:0, colours as HD television has them, index in front."""
    first = next(frames)
    height, width = first.shape[:2]
    command = [_ffmpeg(), "-y", "-v", "error", "-f", "rawvideo", "-pix_fmt", "rgb24", "-s", f"{width}x{height}"]
    command += ["-framerate", f"{rate:.6f}", "-i", "-", "-an", "-c:v", "libx264", "-crf", "17", "-preset", "medium"]
    command += ["-vf", f"{_HD_COLOURS},format=yuv420p", "-color_range", "tv"]
    command += ["-movflags", "+faststart", str(path)]
    with tempfile.TemporaryFile() as complaints:
        # In a session of its own: a key that interrupts us shall not make it complain too.
        encoder = subprocess.Popen(
            command, stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, stderr=complaints, start_new_session=True
        )
        assert encoder.stdin is not None
        try:
            try:
                for frame in itertools.chain([first], frames):
                    encoder.stdin.write(np.ascontiguousarray(frame).data)
                encoder.stdin.close()
            except BrokenPipeError:
                pass  # It has ended; what it says of it comes below.
            code = encoder.wait()
        except BaseException:
            encoder.kill()
            encoder.wait()
            raise
        if code != 0:
            complaints.seek(0)
            said = complaints.read().decode(errors="replace").strip().splitlines()
            raise OSError(f"the encoder ended with code {code}: {said[-1] if said else 'no reason given'}")

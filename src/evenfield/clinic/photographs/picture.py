"""An uploaded picture made harmless: only its pixels are kept, upright, of bounded size, without metadata.

Cameras write place, time, owner and device into a file. The pixels are copied into a new picture, so that no
such field, comment or hidden preview can come along; colours are brought to sRGB first, since the profile
goes too.
"""

import io
import warnings
from dataclasses import dataclass

from PIL import Image, ImageCms, ImageOps, UnidentifiedImageError

MOST_BYTES = 24 * 1024 * 1024
MOST_PIXELS = 60_000_000
LONGEST_SIDE = 2400
SMALL_SIDE = 480
_SHORTEST_SIDE = 64
_FORMATS = ("JPEG", "PNG", "WEBP")
_QUALITY = 90
_TOO_MANY = f"The picture has more than {MOST_PIXELS // 1_000_000} million pixels."


class PictureError(ValueError):
    """What was sent cannot be kept; one sentence."""


@dataclass(frozen=True)
class Picture:
    """A JPEG and a small copy of it for lists, without metadata; size in pixels."""

    jpeg: bytes
    small: bytes
    width: int
    height: int


def read_picture(sent: bytes) -> Picture:
    """The picture in what was sent. Raises PictureError if it is none, damaged, too large or too small."""
    if len(sent) > MOST_BYTES:
        raise PictureError(f"The file is larger than {MOST_BYTES // 1024**2} MB.")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of damaged metadata, which is dropped anyway
            pixels = _pixels(sent)
    except PictureError:
        raise
    except Image.DecompressionBombError:
        raise PictureError(_TOO_MANY) from None
    except UnidentifiedImageError:
        raise PictureError("This is not a JPEG, PNG or WebP picture.") from None
    except (OSError, ValueError, SyntaxError, MemoryError, ImageCms.PyCMSError):
        raise PictureError("The picture is damaged or only half there: send it again.") from None
    large, small = _fitted(pixels, LONGEST_SIDE), _fitted(pixels, SMALL_SIDE)
    return Picture(_jpeg(large), _jpeg(small), large.width, large.height)


def _pixels(sent: bytes) -> Image.Image:
    with Image.open(io.BytesIO(sent), formats=_FORMATS) as opened:
        if opened.width * opened.height > MOST_PIXELS:
            raise PictureError(_TOO_MANY)
        if min(opened.size) < _SHORTEST_SIDE:
            raise PictureError(f"The picture is smaller than {_SHORTEST_SIDE} pixels.")
        opened.draft("RGB", (LONGEST_SIDE, LONGEST_SIDE))
        opened.load()
        upright = ImageOps.exif_transpose(opened)
        profile = opened.info.get("icc_profile")
        if upright.mode in ("RGBA", "LA", "P", "PA"):
            over = upright.convert("RGBA")
            upright = Image.new("RGB", over.size, "white")
            upright.paste(over, mask=over.getchannel("A"))
        elif profile and upright.mode in ("RGB", "CMYK"):
            upright = _to_srgb(upright, profile)
        plain = upright.convert("RGB")
        return Image.frombytes("RGB", plain.size, plain.tobytes())


def _to_srgb(picture: Image.Image, profile: bytes) -> Image.Image:
    try:
        source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
        changed = ImageCms.profileToProfile(picture, source, ImageCms.createProfile("sRGB"), outputMode="RGB")
    except (ImageCms.PyCMSError, OSError):
        return picture  # a damaged profile: the colours stay as the numbers are
    return changed or picture


def _fitted(picture: Image.Image, longest: int) -> Image.Image:
    fitted = picture.copy()
    fitted.thumbnail((longest, longest), Image.Resampling.LANCZOS)
    return fitted


def _jpeg(picture: Image.Image) -> bytes:
    buffer = io.BytesIO()
    picture.save(buffer, "JPEG", quality=_QUALITY, optimize=True)
    return buffer.getvalue()

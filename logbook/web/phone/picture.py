"""A photograph as it is kept: scaled, and with nothing in it but the picture.

Promises that what comes out is a JPEG of ours, made anew from the points alone: no position, no camera, no hidden
second file. What is no photograph, or would grow beyond bounds when it is unpacked, is refused before it is.
"""

from __future__ import annotations

import io

from PIL import Image, ImageOps

from logbook.domain.entries.faults import PHOTO_MOST

SIDE = 1_280
"""The longer side of a kept photograph, in points."""
POINTS_MOST = 64_000_000
"""Points of what is taken: a phone's largest common photographs; a JPEG of that size is unpacked smaller at once."""
POINTS_MOST_WHOLE = 25_000_000
"""The same for PNG and WebP, which are unpacked whole."""
SCANS_MOST = 40
"""Passes over the points that a JPEG may ask for: cameras and programs make a dozen, and each takes as long as all."""
_FORMATS = ("JPEG", "PNG", "WEBP")
_QUALITIES = (80, 65, 50, 35)


class NotAPicture(Exception):
    """What came is no photograph that can be kept. `reason`: unreadable, or large."""

    def __init__(self, reason: str) -> None:
        super().__init__(reason)
        self.reason = reason


def kept_form(raw: bytes) -> bytes:
    """The photograph as a JPEG of at most PHOTO_MOST octets. Raises NotAPicture."""
    if _scans(raw) > SCANS_MOST:
        raise NotAPicture("large")
    try:
        with Image.open(io.BytesIO(raw), formats=_FORMATS) as opened:
            points = opened.width * opened.height
            if points > (POINTS_MOST if opened.format == "JPEG" else POINTS_MOST_WHOLE):
                raise NotAPicture("large")
            opened.draft("RGB", (SIDE, SIDE))  # a JPEG is unpacked at a half, a quarter or an eighth, never below this
            upright = ImageOps.exif_transpose(opened)
            upright.thumbnail((SIDE, SIDE), Image.Resampling.LANCZOS)
            plain = _flat(upright)
    except NotAPicture:
        raise
    except Image.DecompressionBombError:
        raise NotAPicture("large") from None
    except Exception:  # noqa: BLE001 - whatever a broken file makes its reader say: it is no photograph
        raise NotAPicture("unreadable") from None
    return _packed(plain)


def _scans(raw: bytes) -> int:
    """How many scans a JPEG has (ITU-T T.81, B.1.1): by its markers up to its end, not by what stands behind it."""
    if raw[:2] != b"\xff\xd8":
        return 0
    found, place = 0, 2
    while (place := raw.find(b"\xff", place)) >= 0 and place + 3 < len(raw):
        marker = raw[place + 1]
        if marker == 0xD9:
            break
        if (
            marker in (0x00, 0x01, 0xFF) or 0xD0 <= marker <= 0xD8
        ):  # a stuffed octet, a fill, a restart: no length follows
            place += 1 if marker == 0xFF else 2
            continue
        found += marker == 0xDA
        if found > SCANS_MOST:
            break
        place += 2 + int.from_bytes(raw[place + 2 : place + 4], "big")
    return found


def _flat(image: Image.Image) -> Image.Image:
    """The points alone, on white where they are transparent; what came along with the file stays behind."""
    whole = image.convert("RGBA") if image.mode in ("RGBA", "LA", "PA", "P") else image.convert("RGB")
    plain = Image.new("RGB", whole.size, "white")
    plain.paste(whole, mask=whole.getchannel("A") if whole.mode == "RGBA" else None)
    return plain


def _packed(plain: Image.Image) -> bytes:
    while True:
        for quality in _QUALITIES:
            out = io.BytesIO()
            plain.save(out, "JPEG", quality=quality, optimize=True)
            if out.tell() <= PHOTO_MOST:
                return out.getvalue()
        plain = plain.resize((max(1, plain.width * 3 // 4), max(1, plain.height * 3 // 4)))

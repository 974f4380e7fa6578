"""What may hang on a ticket: pictures, written anew so that nothing is left of what cameras hide in
them (place, time, owner), and PDF as it is."""

import io
import warnings
from dataclasses import dataclass
from typing import Final

from PIL import Image, ImageOps, UnidentifiedImageError

from people.errors import Unacceptable

LARGEST_BYTES: Final = 5 * 1024 * 1024
LARGEST_PIXELS: Final = 50_000_000
"""A picture that says it is larger is not unpacked at all."""
LONGEST_SIDE_PX: Final = 2400
SUFFIXES: Final = {
    "image/jpeg": ".jpg",
    "image/png": ".png",
    "image/webp": ".webp",
    "application/pdf": ".pdf",
}
_FORMATS: Final = {"JPEG": "image/jpeg", "PNG": "image/png", "WEBP": "image/webp"}


@dataclass(frozen=True)
class Clean:
    """What is kept of a file."""

    name: str
    media_type: str
    raw: bytes


def cleaned(name: str, raw: bytes, *, pdf: bool) -> Clean:
    """The file as it may be kept, judged by what it is and not by its name. Raises Unacceptable."""
    if not raw:
        raise _refused("the file is empty", "empty_file")
    if len(raw) > LARGEST_BYTES:
        raise _refused(
            f"the file has {len(raw) / 1024 / 1024:.1f} MB; at most 5 MB are taken",
            "file_too_large",
        )
    if raw.startswith(b"%PDF-") and pdf:
        return Clean(_name(name, "application/pdf"), "application/pdf", raw)
    media_type, written = _rewritten(raw, pdf=pdf)
    return Clean(_name(name, media_type), media_type, written)


def _rewritten(raw: bytes, *, pdf: bool) -> tuple[str, bytes]:
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            with Image.open(io.BytesIO(raw), formats=tuple(_FORMATS)) as found:
                kind = str(found.format)
                if found.width * found.height > LARGEST_PIXELS:
                    raise _refused("the picture has too many pixels; send a smaller one", "pixels")
                turned = ImageOps.exif_transpose(found)
                plain = turned.convert("RGBA" if _is_clear(turned, kind) else "RGB")
    except (
        UnidentifiedImageError,
        OSError,
        SyntaxError,
        ValueError,
        Image.DecompressionBombError,
        Image.DecompressionBombWarning,
    ) as error:
        kinds = "JPEG, PNG or WebP" + (" picture, or a PDF" if pdf else " picture")
        raise _refused(f"the file is no {kinds} that can be read", "file_type") from error
    plain.thumbnail((LONGEST_SIDE_PX, LONGEST_SIDE_PX))
    # A picture of its own, made of nothing but the pixels.
    clean = Image.frombytes(plain.mode, plain.size, plain.tobytes())
    out = io.BytesIO()
    clean.save(out, format=kind, **({} if kind == "PNG" else {"quality": 85}))
    return _FORMATS[kind], out.getvalue()


def _is_clear(picture: Image.Image, kind: str) -> bool:
    return kind != "JPEG" and (
        picture.mode in ("RGBA", "LA", "PA") or "transparency" in picture.info
    )


def _name(given: str, media_type: str) -> str:
    base = given.replace("\\", "/").rsplit("/", 1)[-1]
    stem = "".join(sign for sign in base.rsplit(".", 1)[0] if sign.isprintable()).strip(" .")
    kept = "".join(sign if sign.isalnum() or sign in " -_." else "_" for sign in stem)
    return f"{kept[:80] or 'picture'}{SUFFIXES[media_type]}"


def _refused(message: str, code: str) -> Unacceptable:
    return Unacceptable(message, code=code, fields={"file": message})

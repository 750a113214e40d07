import hashlib
import struct
import zlib
from io import BytesIO

import pytest
from PIL import Image

from kb.errors import NotFoundError, ParseError
from kb.store.photo_files import (
    MAX_SIDE,
    SMALL_SIDE,
    encode_photo,
    keep_as_it_is,
    keep_photo,
    photo_path,
    read_photo,
)
from tests.factories import a_picture

GPS = 0x8825
ORIENTATION = 0x0112
MAKER = 0x010F


def opened(data):
    return Image.open(BytesIO(data))


def with_exif(**options):
    exif = Image.Exif()
    exif[MAKER] = "Secretphone"
    exif[ORIENTATION] = options.get("orientation", 1)
    exif.get_ifd(GPS).update({1: "N", 2: (48.0, 8.0, 14.0)})
    return a_picture(exif=exif.tobytes(), comment=b"taken by Ines")


def claims(width, height):
    """Return a PNG of a few bytes that claims to be of that size."""

    def chunk(kind, body):
        return (
            struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))
        )

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    body = zlib.compress(b"\0" * 1000)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", body) + chunk(b"IEND", b"")


def test_where_and_by_what_a_photo_was_taken_is_gone():
    before = with_exif()
    assert dict(opened(before).getexif().get_ifd(GPS))
    assert b"Secretphone" in before
    assert b"taken by Ines" in before
    after = encode_photo(before)
    assert not dict(opened(after).getexif())
    for word in (b"Secretphone", b"Ines", b"Exif"):
        assert word not in after


def test_a_photo_taken_sideways_is_kept_upright():
    upright = opened(encode_photo(with_exif(orientation=6)))
    assert upright.size == (48, 64)
    # Turned a quarter to the right, what was top left is top right.
    assert upright.getpixel((40, 5))[0] > 200
    assert upright.getpixel((5, 5))[0] < 60


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_every_kind_taken_is_kept_as_jpeg(kind):
    made = opened(encode_photo(a_picture(kind)))
    assert (made.format, made.mode, made.size) == ("JPEG", "RGB", (64, 48))


@pytest.mark.parametrize("kind", ["JPEG", "PNG"])
def test_a_large_photo_is_made_smaller_in_proportion(kind):
    made = opened(encode_photo(a_picture(kind, size=(4000, 3000))))
    assert made.size == (MAX_SIDE, MAX_SIDE * 3 // 4)


def test_what_was_clear_becomes_white_and_grey_stays_grey():
    clear = BytesIO()
    Image.new("RGBA", (8, 8), (0, 0, 0, 0)).save(clear, "PNG")
    assert min(opened(encode_photo(clear.getvalue())).getpixel((4, 4))) > 250
    grey = BytesIO()
    Image.new("L", (8, 8), 128).save(grey, "JPEG")
    assert all(
        abs(part - 128) < 4 for part in opened(encode_photo(grey.getvalue())).getpixel((4, 4))
    )


@pytest.mark.parametrize("size", [(30_000, 30_000), (12_000, 9_000), (8_000, 5_001)])
def test_a_small_file_that_claims_to_be_huge_is_refused_before_it_is_unpacked(size):
    with pytest.raises(ParseError, match="at most 40 million pixels"):
        encode_photo(claims(*size))


@pytest.mark.parametrize(
    "data",
    [
        b"<svg xmlns='http://www.w3.org/2000/svg'><script>alert(1)</script></svg>",
        b"%PDF-1.4 not a picture",
        b"MZ\x90\0 a program",
        b"GIF89a\x01\x00\x01\x00\x80\x00\x00\xff\xff\xff\x00\x00\x00,\x00\x00\x00\x00\x01\x00",
        a_picture("GIF"),
        a_picture("TIFF"),
        a_picture("BMP"),
    ],
    ids=["svg", "pdf", "exe", "short gif", "gif", "tiff", "bmp"],
)
def test_a_file_of_another_kind_is_refused_in_plain_words(data):
    with pytest.raises(ParseError, match="got a file of another kind; send a JPEG, PNG or WebP"):
        encode_photo(data)


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_a_photo_cut_short_is_refused_in_plain_words(kind):
    whole = a_picture(kind, size=(600, 400))
    with pytest.raises(ParseError, match=r"damaged one|another kind"):
        encode_photo(whole[: len(whole) // 2])


def test_an_empty_file_is_refused_in_plain_words():
    with pytest.raises(ParseError, match="got an empty file"):
        encode_photo(b"")


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore::UserWarning:PIL")
def test_no_damaged_byte_makes_anything_but_a_refusal():
    whole = with_exif()
    refused = 0
    for at in range(0, len(whole), 7):
        broken = bytearray(whole)
        broken[at] ^= 0xFF
        try:
            encode_photo(bytes(broken))
        except ParseError:
            refused += 1
    assert refused > 0


def test_the_same_photo_twice_is_one_file_named_by_its_content(tmp_path):
    first, second = (keep_photo(tmp_path, a_picture()) for _ in range(2))
    assert first == second
    (path,) = (found for found in tmp_path.rglob("*") if found.is_file())
    assert path == photo_path(tmp_path, first.content_hash)
    assert hashlib.sha256(path.read_bytes()).hexdigest() == first.content_hash
    assert (first.media_type, first.size_bytes) == ("image/jpeg", path.stat().st_size)


@pytest.mark.parametrize(
    "name", ["../../etc/passwd", "", "A" * 64, "0" * 63, "0" * 63 + "/", "0" * 64 + "\n"]
)
def test_only_a_hash_becomes_part_of_a_path(tmp_path, name):
    with pytest.raises(NotFoundError, match="64 digits"):
        photo_path(tmp_path, name)


def test_the_small_picture_is_small_made_once_and_shows_the_same(tmp_path):
    noise = BytesIO()
    Image.effect_noise((2400, 1600), 60).convert("RGB").save(noise, "JPEG", quality=90)
    stored = keep_photo(tmp_path, noise.getvalue())
    whole = read_photo(tmp_path, stored.content_hash)
    assert len(whole) == stored.size_bytes
    small = read_photo(tmp_path, stored.content_hash, small=True)
    assert max(opened(small).size) == SMALL_SIDE
    assert opened(small).size == (320, 213)
    assert len(small) < 0.1 * len(whole)
    assert read_photo(tmp_path, stored.content_hash, small=True) == small
    assert len(list(tmp_path.rglob("*.jpg"))) == 2


def test_no_small_picture_is_made_of_a_photo_that_is_not_there(tmp_path):
    for name in ("0" * 64, "../x"):
        with pytest.raises(NotFoundError):
            read_photo(tmp_path, name, small=True)


def test_a_photo_that_was_kept_elsewhere_is_kept_as_it_is(tmp_path):
    stored = keep_photo(tmp_path / "a", a_picture())
    data = read_photo(tmp_path / "a", stored.content_hash)
    for _ in range(2):
        assert keep_as_it_is(tmp_path / "b", data, stored.content_hash) == stored
    assert read_photo(tmp_path / "b", stored.content_hash) == data


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"<script>", "whole JPEG"),
        (a_picture("PNG"), "whole JPEG"),
        (a_picture()[:-200], "whole JPEG"),
        (a_picture(size=(MAX_SIDE + 1, 2)), f"{MAX_SIDE} pixels"),
    ],
)
def test_bytes_that_are_no_photo_of_a_shop_are_not_kept_whatever_their_hash(tmp_path, data, said):
    with pytest.raises(ParseError, match=said):
        keep_as_it_is(tmp_path, data, hashlib.sha256(data).hexdigest())
    with pytest.raises(ParseError, match="other bytes"):
        keep_as_it_is(tmp_path, data, "0" * 64)
    assert list(tmp_path.iterdir()) == []

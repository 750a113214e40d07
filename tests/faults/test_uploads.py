"""Files that are no picture, or built to hurt: a plain refusal, quickly, in little memory."""

import resource
import struct
import sys
import time
import zlib
from io import BytesIO

import pytest

from kb.errors import ParseError
from kb.store.photo_files import encode_photo
from tests.factories import a_picture

# CPU seconds and bytes of memory that a refusal may take (our choice).
MOST_S, MOST_BYTES = 0.2, 50_000_000


def chunk(kind, data):
    checked = zlib.crc32(kind + data)
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", checked)


def bomb(side):
    """Return a PNG of one bit a pixel whose rows are all the same: small to send, huge to draw."""
    packer = zlib.compressobj(9)
    row = bytes(1 + (side + 7) // 8)
    rows = b"".join([*(packer.compress(row) for _ in range(side)), packer.flush()])
    head = struct.pack(">IIBBBBB", side, side, 1, 0, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", rows) + chunk(b"IEND", b"")


# How a HEIC file of a phone begins; nothing of it is decoded.
HEIC = b"\x00\x00\x00\x18ftypheic\x00\x00\x00\x00mif1heic" + bytes(400)
JPEG = a_picture(size=(640, 480))
REFUSED = {
    "a bomb of 900 million pixels": bomb(30_000),
    "a little more than 40 million pixels": bomb(6_400),
    "nothing": b"",
    "text": b"this is no picture " * 50,
    "HEIC": HEIC,
    "GIF": a_picture("GIF"),
    "the head of a picture alone": JPEG[:20],
    "half a PNG": a_picture("PNG", size=(640, 480))[:200],
    "SVG with script": b'<svg xmlns="http://www.w3.org/2000/svg"><script>alert(1)</script></svg>',
    "PDF": b"%PDF-1.7\n1 0 obj\n<<>>\nendobj\n",
    "zip": b"PK\x03\x04" + bytes(200),
}


def memory_used():
    """Return the most memory that this process ever used, in bytes."""
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return most if sys.platform == "darwin" else most * 1024


@pytest.mark.parametrize("name", REFUSED)
def test_what_is_no_picture_is_refused_quickly_and_in_little_memory(name):
    before, begun = memory_used(), time.process_time()
    with pytest.raises(ParseError) as told:
        encode_photo(REFUSED[name])
    assert time.process_time() - begun < MOST_S
    assert memory_used() - before < MOST_BYTES
    assert "expected" in str(told.value)


@pytest.mark.parametrize("tail", [b"<script>alert(1)</script>", b"PK\x03\x04", b"\xff\xd9" * 9])
def test_what_hangs_on_to_a_picture_is_not_kept(tail):
    kept = encode_photo(JPEG + tail)
    assert tail not in kept
    assert kept == encode_photo(JPEG)


@pytest.mark.parametrize("length", range(0, len(JPEG), 97))
def test_a_picture_that_was_cut_off_is_refused_or_drawn_never_a_fault(length):
    try:
        assert encode_photo(JPEG[:length]).startswith(b"\xff\xd8")
    except ParseError:
        # A refusal in words is what a person is to see.
        return


def test_a_sending_of_bad_files_keeps_the_good_one_and_says_why_of_each(site):
    job = site.opened()
    named = {"bomb.png": bomb(30_000), "notes.jpg": b"text", "phone.heic": HEIC, "good.jpg": JPEG}
    files = [(BytesIO(data), name) for name, data in named.items()]
    answer = site.client.post(
        f"/job/{job}/photo", data={"csrf_token": site.token(), "photo": files}
    )
    assert answer.status_code == 400
    for name in ("bomb.png", "notes.jpg", "phone.heic"):
        assert name in answer.text
    assert "good.jpg" not in answer.text
    with site.store.read() as unit:
        assert len(unit.photos.of(job)) == 1

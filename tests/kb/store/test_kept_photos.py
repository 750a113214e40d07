from io import BytesIO

from PIL import Image

from kb.store.kept_photos import PARTS, copy_photos
from kb.store.photo_files import keep_photo, photo_path


def a_picture(shade):
    out = BytesIO()
    Image.new("RGB", (8, 8), (shade, 9, 9)).save(out, "PNG")
    return out.getvalue()


def some(folder, count=3):
    return [keep_photo(folder, a_picture(40 * at)).content_hash for at in range(count)]


def test_photos_are_copied_once(tmp_path):
    source, target = tmp_path / "a", tmp_path / "b"
    names = some(source)
    first = copy_photos(names, source, target)
    assert (first.copied, first.known, first.missing) == (3, 0, ())
    again = copy_photos(names, source, target)
    assert (again.copied, again.known) == (0, 3)
    for name in names:
        assert photo_path(target, name).read_bytes() == photo_path(source, name).read_bytes()


def test_a_photo_without_a_sound_file_is_named_and_never_copied(tmp_path):
    source, target = tmp_path / "a", tmp_path / "b"
    lost, rotten, good = some(source)
    photo_path(source, lost).unlink()
    photo_path(source, rotten).write_bytes(b"rotten")
    found = copy_photos([lost, rotten, good], source, target)
    assert set(found.missing) == {lost, rotten}
    assert found.copied == 1
    assert not photo_path(target, rotten).exists()


def test_a_week_of_backups_reads_every_kept_photo_and_mends_it(tmp_path):
    source, target = tmp_path / "a", tmp_path / "b"
    names = some(source)
    copy_photos(names, source, target)
    for name in names:
        photo_path(target, name).write_bytes(b"rotten")
    mended = [copy_photos(names, source, target, read_part=day).copied for day in range(PARTS)]
    assert sum(mended) == 3
    assert copy_photos(names, source, target).copied == 0

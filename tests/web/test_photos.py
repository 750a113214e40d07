from io import BytesIO

import pytest
from PIL import Image

from tests.factories import a_picture
from web import photos
from web.photos import MAX_PHOTOS


def files(*pictures):
    return [(BytesIO(data), f"p{number}.jpg") for number, data in enumerate(pictures)]


def sent(site, job, *pictures, **form):
    return site.send(f"/job/{job}/photo", photo=files(*pictures), **form)


def kept(site, job):
    with site.store.read() as unit:
        return unit.photos.of(job)


def test_a_photo_is_shown_on_its_job_and_sent_as_it_is_kept(site):
    job = site.opened()
    answer = sent(site, job, a_picture(), caption="fan <still>")
    assert (answer.status_code, answer.location) == (302, f"/job/{job}#photos")
    (row,) = kept(site, job)
    text = site.page(f"/job/{job}")
    assert f'src="/photo/{row.content_hash}?size=small" width="160" height="120"' in text
    assert 'alt="fan &lt;still&gt;"' in text

    answer = site.client.get(f"/photo/{row.content_hash}")
    assert answer.content_type == "image/jpeg"
    assert Image.open(BytesIO(answer.data)).size == (64, 48)
    control = answer.headers["Cache-Control"]
    for word in ("private", "immutable", "max-age=31536000"):
        assert word in control
    assert "public" not in control
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    assert "img-src 'self'" in answer.headers["Content-Security-Policy"]
    again = site.client.get(
        f"/photo/{row.content_hash}", headers={"If-None-Match": answer.headers["ETag"]}
    )
    assert again.status_code == 304


def test_a_photo_without_words_says_whose_it_is(site):
    job = site.opened()
    sent(site, job, a_picture(), a_picture(colour="navy"))
    text = site.page(f"/job/{job}")
    assert f'alt="Photo 1 of {job}"' in text
    assert f'alt="Photo 2 of {job}"' in text
    assert len([row for row in site.history(job) if row.verb == "photo"]) == 2


def test_the_form_of_photos_works_without_a_script_and_on_a_phone(site):
    text = site.page(f"/job/{site.opened()}")
    assert 'enctype="multipart/form-data"' in text
    assert 'accept="image/*" capture="environment" multiple' in text
    assert '<label for="photo">' in text


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "a file of another kind"),
        (a_picture("GIF"), "a file of another kind"),
        (b"%PDF-1.4", "a file of another kind"),
        (a_picture(size=(600, 400))[:900], "a damaged one"),
        (b"", "an empty file"),
    ],
    ids=["svg", "gif", "pdf", "cut", "empty"],
)
def test_what_is_no_photo_is_refused_at_the_field(site, data, said):
    job = site.opened()
    answer = sent(site, job, data, caption="the fan")
    assert answer.status_code == 400
    assert said in answer.text
    assert 'aria-describedby="photo-error"' in answer.text
    assert 'id="photo-error" role="alert"' in answer.text
    assert 'value="the fan"' in answer.text
    assert kept(site, job) == ()


def test_no_photo_and_too_many_are_refused_at_the_field(site):
    job = site.opened()
    none = site.send(f"/job/{job}/photo", photo=(BytesIO(b""), ""))
    assert (none.status_code, "got none" in none.text) == (400, True)
    many = sent(site, job, *[a_picture()] * (MAX_PHOTOS + 1))
    assert (many.status_code, f"at most {MAX_PHOTOS} photos" in many.text) == (400, True)
    assert kept(site, job) == ()


def test_the_good_ones_of_several_are_kept_and_the_bad_one_is_named(site):
    job = site.opened()
    answer = sent(site, job, a_picture(), b"%PDF-1.4")
    assert answer.status_code == 400
    assert "p1.jpg: expected a picture" in answer.text
    assert "the other 1 kept" in answer.text
    assert len(kept(site, job)) == 1


def test_the_same_photo_twice_is_one_file_and_one_photo(site):
    job = site.opened()
    sent(site, job, a_picture())
    sent(site, job, a_picture())
    assert len(kept(site, job)) == 1
    assert len(list((site.home / "photos").rglob("*.jpg"))) == 1


def test_a_photo_survives_undo_and_undo_takes_back_the_entry_before_it(site):
    job = site.opened()
    site.send(f"/job/{job}/add", text="hi 318 psi")
    sent(site, job, a_picture())
    undone = site.send(f"/job/{job}/undo")
    assert ">hi 318 psi</textarea>" in site.page(undone.location)
    assert len(kept(site, job)) == 1
    assert site.get(job).lines == ("cold on the road, warm at lights",)


def test_a_closed_job_takes_photos_too_and_says_what_it_refused(site):
    assert sent(site, "S1", a_picture()).status_code == 302
    assert len(kept(site, "S1")) == 1
    refused = sent(site, "S1", b"%PDF-1.4")
    assert (refused.status_code, "a file of another kind" in refused.text) == (400, True)


@pytest.mark.parametrize(
    "path",
    ["/photo/..%2F..%2Fform.key", "/photo/../form.key", "/photo/form.key", "/photo/" + "f" * 64],
)
def test_no_path_but_a_photos_is_ever_read(site, path):
    answer = site.client.get(path)
    assert answer.status_code == 404
    assert site.app.config["SECRET_KEY"] not in answer.text


def test_a_photo_whose_file_is_gone_says_what_to_do(site):
    content_hash = site.with_photo(site.opened())
    photos_kept = list((site.home / "photos").rglob("*.jpg"))
    photos_kept[0].unlink()
    assert "restore the photos from a backup" in site.page(f"/photo/{content_hash}", 404)


def test_photos_may_be_longer_than_words_but_not_without_end(site, monkeypatch):
    job = site.opened()
    noise = BytesIO()
    Image.effect_noise((200, 150), 90).save(noise, "PNG")
    site.app.config["MAX_CONTENT_LENGTH"] = 10_000
    assert len(noise.getvalue()) > 10_000
    assert sent(site, job, noise.getvalue()).status_code == 302
    assert site.send(f"/job/{job}/add", text="x" * 10_001).status_code == 413
    monkeypatch.setattr(photos, "MAX_BYTES", 2_000)
    assert sent(site, job, noise.getvalue()).status_code == 413


def test_a_sending_of_photos_that_is_too_long_says_how_long_it_may_be(site):
    answer = site.client.post(
        "/job/J1/photo",
        content_type="multipart/form-data; boundary=x",
        environ_overrides={"CONTENT_LENGTH": "40000001"},
    )
    assert answer.status_code == 413
    assert "at most 40 megabytes" in answer.text


def test_a_page_shows_the_small_picture_and_leads_to_the_whole_one(site):
    job = site.opened()
    photo = site.with_photo(job)
    assert f'<a href="/photo/{photo}"><img src="/photo/{photo}?size=small"' in site.page(
        f"/job/{job}"
    )
    whole = site.client.get(f"/photo/{photo}")
    small = site.client.get(f"/photo/{photo}?size=small")
    assert (small.status_code, small.mimetype) == (200, "image/jpeg")
    assert small.headers["ETag"] != whole.headers["ETag"]
    assert small.headers["Content-Security-Policy"]

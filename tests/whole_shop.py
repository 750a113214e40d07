"""A shop that holds something in every table that is exported; all of it invented."""

from datetime import UTC, date, datetime

from kb.case.shop_rows import ShopTerm
from kb.store.answers import Gain, ShownAnswer
from kb.store.decisions import DONE, About, Plan
from kb.store.exported import BEFORE_JOBS, HISTORY
from kb.store.notes import NoteText, Pattern
from kb.store.photo_files import StoredPhoto, keep_photo
from kb.workflow.notes import note_html
from kb.workflow.week.kept import kept_text
from tests.factories import a_case, a_full_case, a_job, a_picture

NOW = datetime(2026, 5, 14, 9, 30, 15, 123456, tzinfo=UTC)
ROLES = ("viewer", "advisor", "technician", "foreman", "owner")


def fill(store, photos):
    """Write something into every table."""
    with store.write("Ines", NOW) as unit:
        fill_jobs(unit)
        fill_beside(unit, keep_photo(photos, a_picture()))
        fill_week(unit)


def fill_jobs(unit):
    job = a_job(unit.jobs.next_id())
    unit.jobs.add(job, verb="open")
    unit.jobs.save(a_case(job.id, invoice="4711", body="**fan**\n"), verb="close", what="=fan")
    unit.jobs.add_many([a_full_case(), a_job("J900004")], verb="import", what="tables")
    unit.answers.keep(
        job.id,
        ShownAnswer(
            causes=(("condenser_fan_dead", 0.7), (None, 0.3)),
            matches=("J900003",),
            first_check="condenser_air_boost",
            gains=(
                Gain(
                    ordinal=0,
                    check="condenser_air_boost",
                    subject=None,
                    outcome="unclear",
                    minutes=None,
                    bits=-0.25,
                    lead_changed=True,
                ),
            ),
        ),
    )


def fill_beside(unit, photo: StoredPhoto):
    unit.photos.add("J900003", photo, 'the =plug, "left"')
    unit.unread.add("J900004", ["blorp", "+plus"])
    unit.settled.add("J900004", "at lights")
    unit.searches.add("@nothing like it", "Pellarin")
    unit.settings.set("holding days", "60")
    unit.settings.set("pack sender", "0123456789abcdef" * 2)
    person = unit.people.add("Ines", "owner", password_hash="hash-of-ines", pin_hash="hash-of-pin")
    unit.people.set_active(person, active=False)
    body = {"system": "hvac", "part": "", "complaints": []}
    unit.terms.add(ShopTerm(kind="cause", key="own_cause", name="mouse nest", body=body))
    unit.jobs.add(a_case("J900007", "own_cause"), verb="import")


def fill_week(unit):
    week = "2026-W19"
    claim = unit.reviews.claim(week)
    unit.reviews.keep(week, claim, kept_text({"week": week, "jobs": 0, "cases": 0, "rows": []}))
    unit.reviews.claim("2026-W20")
    about = About(week=week, row_key="rising:fan", said="twice")
    decision = unit.decisions.add(about, Plan(what="order", owner="Ines", due=date(2026, 6, 1)))
    unit.decisions.settle(decision, state=DONE, outcome="ordered")
    text = NoteText(
        title="Fans", body="# Look", body_html=note_html("# Look"), pattern=Pattern(system="hvac")
    )
    unit.notes.add(text, week=week, row_key="rising:fan")


def held(store):
    """Return all that is exported, but not what an import writes about itself, and the numbers."""
    with store.read() as unit:
        whole = unit.whole
        rows = {table.name: list(whole.rows(table)) for table in (*BEFORE_JOBS, HISTORY)}
        jobs, damaged = whole.jobs(sorted(unit.jobs.ids()))
        assert damaged == ()
        number = whole.last_job()
    rows["settings"] = [row for row in rows["settings"] if not row["key"].startswith("state of")]
    rows["reviews"] = [row for row in rows["reviews"] if row["body"]]
    rows["history"] = [
        row for row in rows["history"] if row["verb"] != "import" or row["job_id"] is not None
    ]
    return rows, jobs, number

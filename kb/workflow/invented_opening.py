"""What an invented job is written up with: the car, the complaint, symptoms, readings, checks."""

from collections import defaultdict
from dataclasses import replace
from random import Random
from typing import Final

from kb.case.model import (
    Complaint,
    Finding,
    Job,
    Origin,
    Phase,
    Polarity,
    ReadingSet,
    Scan,
    Symptom,
    Tried,
    Vehicle,
)
from kb.case.term_rows import CauseTerm, Phrase
from kb.case.terms import Vocabulary
from kb.case.vin import check_digit
from kb.diagnosis.proving import subject_of
from kb.workflow.invented_closing import usual_price
from kb.workflow.invented_plan import Plan, Platform
from kb.workflow.invented_readings import Readings
from kb.workflow.invented_visits import Visit

# The world's makers have no sign that begins with 0 (ISO 3780, from memory), so a VIN that does
# belongs to no car; its check digit is right, as 49 CFR 565 wants it.
_NO_MAKER: Final = "0ZZ"
_VIN_LETTERS: Final = "ABCDEFGHJKLMNPRSTUVWXYZ"
# Checks of a job, least and most; how often one is not done or tells nothing (our choice).
_CHECKS: Final = (1, 3)
_NOT_DONE: Final = 0.05
_UNCLEAR: Final = 0.06
_SCANNED: Final = 0.25


def invented_vin(rng: Random) -> str:
    """Return a VIN that belongs to no maker, with a check digit that is right."""
    letters = "".join(rng.choices(_VIN_LETTERS, k=5))
    rest = f"{rng.choice(_VIN_LETTERS)}V{rng.randrange(1_000_000):06d}"
    digit = check_digit(f"{_NO_MAKER}{letters}0{rest}")
    return f"{_NO_MAKER}{letters}{digit}{rest}"


class Opening:
    """Writes invented jobs up.

    Parameters
    ----------
    plan : Plan
        Words, shares and prices.
    words : Vocabulary
        Causes with their complaints and checks.
    """

    def __init__(self, plan: Plan, words: Vocabulary) -> None:
        self._plan = plan
        self._words = words
        self.readings = Readings(words, plan.tables["course"])
        self._phrases: dict[str, list[Phrase]] = defaultdict(list)
        for phrase in words.phrases:
            self._phrases[phrase.symptom].append(phrase)

    def job(self, rng: Random, visit: Visit, *, job_id: str, more: int) -> Job:
        """Return the open job of a visit; ``more`` symptoms than usual are written down."""
        job = Job(
            id=job_id,
            opened=visit.opened,
            origin=Origin.INVENTED,
            vehicle=visit.vehicle or self._vehicle(rng, visit),
            comeback_of=visit.first.id if visit.first else None,
            scan=Scan(none_found=True) if rng.random() < _SCANNED else None,
            body=self._plan.mark,
        )
        if visit.likeness is not None:
            return self._one_of_the_alike(rng, job, visit.likeness)
        cause = self._words.causes[visit.cause]
        symptoms = self._symptoms(rng, cause, more)
        return replace(
            job,
            system=cause.system,
            complaint=self._complaint(rng, symptoms[0]),
            symptoms=symptoms,
            reading_sets=self.readings.of(rng, system=cause.system, cause=cause.key),
            findings=self._findings(rng, cause),
            tried=(visit.tried,) if visit.tried else self._tried(rng, cause),
        )

    def like(self, cause: str) -> tuple[str, ...]:
        """Return the causes that are taken for one."""
        return self._words.causes[cause].like

    def _vehicle(self, rng: Random, visit: Visit) -> Vehicle:
        platform = visit.platform
        assert platform is not None
        first, last = platform.years
        # Many years back a model may not be there yet; it is invented, so its years begin earlier.
        newest = min(last, visit.opened.year - 1)
        year = rng.randint(min(first, newest), newest)
        miles = (visit.opened.year - year) * rng.randint(7_000, 15_000) + rng.randrange(9_000)
        with_vin = rng.random() < self._plan.tables["volume"]["vin"]
        return Vehicle(
            year=year,
            make=platform.make,
            model=platform.model,
            engine=platform.engine,
            vin=invented_vin(rng) if with_vin or self._is_of_the_fleet(platform) else None,
            odometer=float(miles - miles % 10),
            odometer_unit="mi",
        )

    def _is_of_the_fleet(self, platform: Platform) -> bool:
        return platform == self._plan.platform(self._plan.tables["fleet"])

    def _symptoms(self, rng: Random, cause: CauseTerm, more: int) -> tuple[Symptom, ...]:
        count = min(len(cause.complaints), rng.choice((1, 1, 2)) + more)
        # The first complaint of a cause is its commonest.
        keys = [cause.complaints[0], *rng.sample(cause.complaints[1:], count - 1)]
        made = [self._symptom(rng, key, Polarity.YES) for key in keys]
        others = [key for like in cause.like for key in self._words.causes[like].complaints]
        absent = sorted(set(others) - set(cause.complaints))
        if absent and rng.random() < 0.15 + more / 2:
            made.append(self._symptom(rng, rng.choice(absent), Polarity.NO))
        return tuple(made)

    def _symptom(self, rng: Random, key: str, polarity: Polarity) -> Symptom:
        phrase = rng.choice(self._phrases[key]) if self._phrases[key] else None
        text = phrase.text if phrase and rng.random() < 0.6 else self._words.symptoms[key].say
        there = polarity is Polarity.YES
        return Symptom(
            text=text if there else f"no: {self._words.symptoms[key].say}",
            concept=key,
            polarity=polarity,
            conditions=phrase.conditions if phrase and there else (),
        )

    def _complaint(self, rng: Random, symptom: Symptom) -> Complaint:
        texts = self._plan.tables["words"]
        said = f"{rng.choice(texts['openers'])}{symptom.text}{rng.choice(texts['endings'])}"
        return Complaint(
            said=said,
            since=rng.choice(texts["since"]) if rng.random() < 0.3 else None,
            frequency=rng.choice(texts["frequency"]) if rng.random() < 0.2 else None,
        )

    def _findings(self, rng: Random, cause: CauseTerm) -> tuple[Finding, ...]:
        proving = rng.choice(
            [key for key in cause.prove if key in cause.expect] or list(cause.expect)
        )
        others = [key for key in cause.expect if key != proving]
        keys = rng.sample(others, min(len(others), rng.randint(*_CHECKS) - 1))
        return tuple(self._finding(rng, cause, key) for key in (*keys, proving))

    def _finding(self, rng: Random, cause: CauseTerm, key: str) -> Finding:
        check = self._words.checks[key]
        subject = subject_of(self._words, cause.key, check) or None
        if (luck := rng.random()) < _NOT_DONE:
            return Finding(check=key, subject=subject, outcome="not_done")
        return Finding(
            check=key,
            subject=subject,
            outcome="unclear" if luck < _NOT_DONE + _UNCLEAR else cause.expect[key],
            minutes=float(round(rng.uniform(*check.minutes) * rng.lognormvariate(0, 0.2)) or 1),
            note=rng.choice(self._plan.tables["words"]["notes"]) if rng.random() < 0.25 else "",
        )

    def _tried(self, rng: Random, cause: CauseTerm) -> tuple[Tried, ...]:
        course = self._plan.tables["course"]
        if not cause.like or rng.random() >= course["tried"]:
            return ()
        other = self._words.causes[rng.choice(cause.like)]
        text = rng.choice(self._plan.tables["words"]["tried"])
        cents = 100 * round(usual_price(self._plan, other))
        return (Tried(part=other.part.replace("_", " "), text=text, cost_cents=cents),)

    def _one_of_the_alike(self, rng: Random, job: Job, at: int) -> Job:
        row = self._plan.tables["cluster"]
        readings = tuple(
            self.readings.typed(
                self._words.quantities[each["quantity"]],
                rng.uniform(each["around"] - each["within"], each["around"] + each["within"]),
                unit=each["unit"],
                position=each.get("position"),
            )
            for each in row["readings"]
        )
        symptom = Symptom(
            text=row["said"][at], concept=row["symptom"], conditions=("engine_running",)
        )
        return replace(
            job,
            system=row["system"],
            complaint=Complaint(said=row["said"][at]),
            symptoms=(symptom,),
            reading_sets=(ReadingSet(phase=Phase.BEFORE, state=("at_idle",), readings=readings),),
        )
